"""Digits on the terminal: the rules all faces share."""

from __future__ import annotations

from chaffinch.book.figures import decimals_for, percent, plain_number, range_words, rounded, seeds_text

__all__ = ["decimals_for", "percent", "plain_number", "range_words", "rounded", "seeds_text"]

"""Somebody's own spreadsheet of past checks, and how it comes into the book."""

"""Logs larger than memory, piece by piece, with the same answers."""

"""Sums over fields and seasons, and who can be said to lose less."""

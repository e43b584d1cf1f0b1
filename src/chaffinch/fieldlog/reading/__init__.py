"""Readers: every open format to the same records, and what a file leaves open."""

"""This setting or that: trials of the book."""

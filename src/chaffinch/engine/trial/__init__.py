"""This setting or that."""

"""The hours of a coming day."""

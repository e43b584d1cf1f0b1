"""The hours of a day."""

"""Signs, causes, and one change."""

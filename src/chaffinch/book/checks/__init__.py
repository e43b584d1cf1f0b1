"""Checks: logging and finding one, answering it, and what each tells of its field."""

"""The one inference kernel and what it draws from."""

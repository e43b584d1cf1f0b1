"""``chaffinch book``: a module for each of its commands."""

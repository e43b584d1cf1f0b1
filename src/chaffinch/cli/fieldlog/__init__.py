"""``chaffinch fieldlog``: a module for each of its commands."""

"""``chaffinch report``: a module for each kind of report."""

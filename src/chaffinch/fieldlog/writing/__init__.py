"""Records handed on in open formats."""

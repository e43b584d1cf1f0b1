"""``python -m chaffinch``."""

from chaffinch.cli.main import main

main()

"""Every command about the book has help that stands for itself, and listing them costs nothing."""

from __future__ import annotations

import subprocess
import sys

import pytest

from chaffinch.cli.book.group import BOOK_COMMANDS


@pytest.mark.parametrize("words", [("where",), ("book",), *(("book", name) for name in BOOK_COMMANDS)], ids=" ".join)
def test_every_command_has_help_of_80_columns(chaffinch, words):
    """Help stands for itself: usage, what it does, no line beyond 80 columns."""
    ran = chaffinch(*words, "--help")

    assert ran.status == 0
    assert ran.out.startswith(f"Usage: chaffinch {' '.join(words)}")
    assert max(map(len, ran.out.splitlines())) <= 80
    assert len(ran.out.split("\n\n")[1].strip()) > 30


def test_the_list_of_commands_imports_none(chaffinch):
    """The help of the group needs no database library, and every listed command can be loaded."""
    code = (
        "import sys\nfrom chaffinch.cli.main import run\nrun(['book'])\nrun(['--help'])\n"
        "assert not any(name.startswith('sqlalchemy') for name in sys.modules)"
    )
    subprocess.run([sys.executable, "-c", code], check=True, capture_output=True)
    ran = chaffinch("book")
    assert all(f"\n  {name} " in ran.out for name in BOOK_COMMANDS)

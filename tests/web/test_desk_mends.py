"""No page names a command: every mend that the book or a record tells is something a person in a browser can do."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest
from desk_farm import COMMAND

import chaffinch
from chaffinch.errors import BookError, InputError
from chaffinch.web.mends import mend_here, said

SOURCE = Path(chaffinch.__file__).parent


def texts(path: Path) -> Iterator[str]:
    """Texts of a module as they would be said; facts in braces become a word."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    said_of = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    inside = {id(part) for node in ast.walk(tree) if isinstance(node, ast.JoinedStr) for part in node.values}
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            yield "".join(str(v.value) if isinstance(v, ast.Constant) else "1234abcd" for v in node.values)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and not {id(node)} & (inside | said_of):
            yield node.value


def test_every_mend_with_a_command_becomes_one_for_the_desk() -> None:
    seen = 0
    for room in ("book", "records", "engine", "units", "web"):
        for path in sorted((SOURCE / room).rglob("*.py")):
            if path.name in ("mends.py", "app.py", "network.py", "receiving.py", "stops.py"):
                continue
            for text in texts(path):
                if COMMAND.search(text) and "\n" not in text and " " in text:
                    seen += 1
                    assert not COMMAND.search(mend_here(text)), (path.name, text, mend_here(text))
    assert seen >= 15


@pytest.mark.parametrize(
    ("mend", "here"),
    [
        ("correct it: chaffinch book replace 12ab FILE --reason WHY", "correct it on the check's page"),
        ("chaffinch book add field puts one there", "add it under Set-up"),
        ("note the bar with the next check: chaffinch book log … --bar NUMBER", "note the bar with the next check"),
        ("say time; or, where it was set otherwise, chaffinch book log … --anyway",
         "say time; or, where it was set otherwise, tick the box below"),
        ("write it like 12.5 g", "write it like 12.5 g"),
        ("own time zone; --zone says another.", "own time zone; say another under Time zone."),
        ("add a column for it, or say it for all rows: --fixed spreading=…",
         "add a column for it, or say it for all rows: under “For every row”"),
        ("write it like rotor speed = 600 rpm", "write it like rotor speed = 600 rpm"),
        ('write crop = "canola"', "choose the crop, or a field that has one"),
        ('write speed = "7.5 km/h" at the top of the file', "write “speed” as 7.5 km/h"),
        ('write drop_width = "66 in" (off) or spread_width = "30 ft" (on)',
         "write “drop width” as 66 in (off) or “spread width” as 30 ft (on)"),
        ("write spreading = false or spreading = true at the top", "write “spreading” as no or “spreading” as yes"),
        ("tape it and say so where the widths stand for ± 2 %.", "tape it and say so under Set-up for ± 2 %."),
    ],
)  # fmt: skip
def test_a_mend_at_the_desk(mend: str, here: str) -> None:
    assert mend_here(mend) == here
    assert said(InputError("catch 1", "x", "is wrong", mend)) == f"catch 1: is wrong (got 'x'); {here}"


def test_other_errors_are_said_as_they_are() -> None:
    assert said(BookError("farm.chaffinch", "cannot be read")) == str(BookError("farm.chaffinch", "cannot be read"))

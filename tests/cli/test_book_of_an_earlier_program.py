"""A book of an earlier program on the command line: a bar while it is brought up to date, and where the copy is."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Callable
from contextlib import contextmanager
from itertools import count
from pathlib import Path

import pytest

from chaffinch.cli.options import which_book as book_which

OLD = Path(__file__).parents[1] / "store" / "old_books" / "step-2.chaffinch"
BOOK = "old.chaffinch"


@pytest.fixture(autouse=True)
def old_book(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TZ", "UTC")
    monkeypatch.delenv("CHAFFINCH_BOOK", raising=False)
    shutil.copyfile(OLD, tmp_path / BOOK)
    return tmp_path / BOOK


@pytest.fixture
def long_job(monkeypatch: pytest.MonkeyPatch) -> Callable[[], None]:
    """From its call on: a terminal, and a clock on which two seconds pass whenever somebody looks at it."""

    def begin() -> None:
        now = count(0.0, 2.0)
        monkeypatch.setattr(book_which.time, "monotonic", lambda: next(now))
        monkeypatch.setattr(sys.stderr, "isatty", lambda: True)

    return begin


def the_copy(folder: Path) -> Path:
    (copy,) = folder.glob(f"{BOOK}.before-step-*")
    return copy


def test_where_the_copy_lies_is_said_once_and_shown_afterwards(chaffinch, tmp_path):
    """On stderr when it happens, whatever the command prints; in the overview and its data from then on."""
    ran = chaffinch("book", "show", "fields", "--json")
    assert ran.status == 0
    assert ran.data["things"]
    copy = the_copy(tmp_path)
    assert ran.err == f"The book is of an earlier program. A copy as it was before the update: {copy}\n"
    again = chaffinch("book", "show")
    assert again.err == ""
    assert f"    {copy}\n" in again.out
    assert "Brought up to date" in again.out
    (told,) = chaffinch("book", "show", "--json").data["copies_before_updates"]
    assert (told["file"], told["step"]) == (str(copy), 2)
    assert chaffinch("book", "restore", str(copy), "as-it-was.db").status == 0


def test_a_book_on_a_server_says_where_its_copy_is(chaffinch, postgres, tmp_path):
    """The copy is a file in the folder the command runs in, named without a password."""
    address = postgres.new_book()
    sys.path.insert(0, str(OLD.parents[1]))
    try:
        from make_old_books import carry_to_server
    finally:
        sys.path.pop(0)
    carry_to_server(2, address)
    ran = chaffinch("book", "--book", address, "show")
    assert ran.status == 0
    (copy,) = tmp_path.glob("books.*.before-step-3-*")
    assert f"before the update: {copy}\n" in ran.err
    assert f"    {copy}\n" in ran.out
    assert "pa5s" not in ran.out + ran.err


def test_a_bar_moves_while_it_is_brought_up_to_date(chaffinch, long_job):
    """Copying, each step and the index rows are parts of one bar, which comes to its end."""
    long_job()
    ran = chaffinch("book", "show", "fields")
    assert ran.status == 0
    assert "Opening the book  [" in ran.err
    assert "100%" in ran.err
    assert "Opening" not in ran.out


@pytest.mark.parametrize(
    ("label", "words"),
    [
        ("records", "verify"),
        ("records", "rebuild"),
        ("Copying and verifying", "backup safe.copy"),
        ("Copying and verifying", "restore old.chaffinch new.db"),
        ("records", "export out"),
        ("records", "merge other.db"),
        ("lines", "import out"),
        ("lines", "import out --dry-run"),
        ("checks", "show checks"),
        ("checks", "show field Siskin_Bend"),
    ],
)
def test_whatever_takes_over_a_second_is_seen_going_on(chaffinch, long_job, label, words):
    """Each by its own name on stderr, and nothing of it on stdout."""
    words = [word.replace("_", " ") for word in words.split()]
    chaffinch("book", "show")
    if words[0] == "merge":
        chaffinch("book", "new", "other.db", "--title", "Other")
    if words[0] == "import":
        chaffinch("book", "export", "out")
    long_job()
    ran = chaffinch("book", *(() if words[0] == "restore" else ("--book", BOOK)), *words)
    assert ran.status == 0, ran.err
    assert label in ran.err
    assert "%" in ran.err or " s" in ran.err
    assert "\r" not in ran.out
    assert "[#" not in ran.out


@pytest.mark.parametrize("what", [(), ("things",), ("trials",), ("conflicts",)])
def test_reading_a_large_book_is_seen_going_on(chaffinch, monkeypatch, what):
    """A look at the whole book counts its seconds: nobody can say beforehand how long it is."""
    begun = []

    @contextmanager
    def noted(label):
        begun.append(label)
        yield lambda _done, _of: None

    monkeypatch.setattr("chaffinch.cli.book.show.progress", noted)
    assert chaffinch("book", "show", *what).status == 0
    assert begun[0] == "Reading the book"

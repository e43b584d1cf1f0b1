"""Questions to a person at a terminal: every answer is tried at once, and asked again when it cannot be used."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from typing import TypeVar

from chaffinch.cli.terminal.page import Page, to_ascii
from chaffinch.errors import InputError

T = TypeVar("T")


class Stopped(Exception):  # noqa: N818 (not an error: the person's wish)
    """The person pressed Ctrl-C (``ended`` False), or no more input will come (``ended`` True)."""

    def __init__(self, *, ended: bool) -> None:
        self.ended = ended
        super().__init__("stopped")


def a_person_types() -> bool:
    """Whether questions can be asked: standard input is a terminal."""
    return sys.stdin.isatty()


def ask(
    question: str, read: Callable[[str], T], *, offered: str = "", example: str = "", known: Sequence[str] = ()
) -> T:
    """Ask until the answer can be used.

    Parameters
    ----------
    question : str
        A few words.
    read : callable
        Makes the value of the answer, or raises InputError with the line to show.
    offered : str
        Taken when nothing is typed; shown in brackets.
    example : str
        Shown after "like".
    known : sequence of str
        Shown when the person types ``?``.

    Raises
    ------
    Stopped
        On Ctrl-C, or when input has ended.
    """
    shown = question + (f", like {example}" if example else "") + (f" [{offered}]" if offered else "") + ": "
    while True:
        text = read_line(shown).strip()
        if text == "?":
            Page.here().paragraph(", ".join(known) or (f"like {example}" if example else "no list for this one"))
            continue
        try:
            return read(text or offered)
        except InputError as error:
            Page.here().say(f"  {error}")


def ask_yes(question: str, *, offered: bool | None = None) -> bool:
    """Ask until the answer is yes or no."""
    shown = {True: "Y/n", False: "y/N", None: "y/n"}[offered]

    def read(text: str) -> bool:
        plain = text.strip().casefold()
        if not plain and offered is not None:
            return offered
        if plain in ("y", "yes"):
            return True
        if plain in ("n", "no"):
            return False
        raise InputError("answer", text, "is neither yes nor no", "type y or n")

    return ask(f"{question} ({shown})", read)


def read_line(prompt: str) -> str:
    """Read one line that a person types.

    Raises
    ------
    Stopped
        On Ctrl-C, or when input has ended.
    """
    page = Page.here()
    while True:
        try:
            return input(prompt if page.fine else to_ascii(prompt))
        except KeyboardInterrupt:
            page.say()
            raise Stopped(ended=False) from None
        except EOFError:
            page.say()
            raise Stopped(ended=True) from None
        except UnicodeDecodeError:
            page.say("  answer: holds characters this terminal's encoding does not have; type it again")

"""Every error Chaffinch raises on purpose.

::

    ChaffinchError
    ├── InputError (ValueError)        something a person gave us; command exit status 2
    │   ├── UnitError                  a quantity without a unit we know
    │   ├── UnknownKeyError            a key the check file does not have
    │   ├── UnknownCropError           no crop of that name in the reference
    │   └── CheckFileError             the file itself cannot be read
    ├── ReferenceDataError             our own published figures are damaged; exit status 1
    ├── BookError                      a book cannot be read or written: disk, server, damage; exit status 1
    └── SamplerError (RuntimeError)    a posterior could not be sampled well enough; exit status 1
"""

from __future__ import annotations

from collections.abc import Iterable

_LONGEST_SHOWN_VALUE = 60


class ChaffinchError(Exception):
    """Root of the tree: catch this to catch everything raised on purpose."""


class InputError(ChaffinchError, ValueError):
    """A value from outside cannot be used.

    Parameters
    ----------
    field : str
        Where the value stood, in the reader's words: ``"catch 2, amount"``.
    value : object
        The offending value as it was given; shortened when long.
    problem : str
        What is wrong with it, as a short clause: ``"must be above 0"``.
    mend : str
        What to write instead, as an instruction: ``"write it like 12.5 g"``.
    """

    def __init__(self, field: str, value: object, problem: str, mend: str) -> None:
        self.field = field
        self.value = value
        self.problem = problem
        self.mend = mend
        super().__init__(self.line())

    def line(self) -> str:
        """Return the whole error as one line: field, value, problem, mend."""
        shown = "" if self.value is None else f" (got {_shorten(self.value)})"
        text = f"{self.field}: {self.problem}{shown}; {self.mend}"
        return " ".join(text.split())

    def within(self, place: str) -> InputError:
        """Return the same error with ``place`` put in front of its field name."""
        self.__init__(f"{place}, {self.field}", self.value, self.problem, self.mend)  # type: ignore[misc]
        return self


class UnitError(InputError):
    """A quantity came without a unit, or with one that is not accepted here."""


class UnknownKeyError(InputError):
    """The check file holds a key that the schema does not have."""


class UnknownCropError(InputError):
    """No crop of that name in the reference."""


class CheckFileError(InputError):
    """The check file cannot be opened, decoded or parsed."""


class ReferenceDataError(ChaffinchError):
    """A shipped reference file is damaged or breaks its own rules."""


class BookError(ChaffinchError):
    """A book cannot be read or written: the disk is full, the server is down, the file is damaged."""

    def __init__(self, where: str, reason: str) -> None:
        self.where = where
        self.reason = reason
        super().__init__(f"book {where}: {reason}")


class SamplerError(ChaffinchError, RuntimeError):
    """Too few effective draws: the answer would not be trustworthy."""


def _shorten(value: object) -> str:
    text = repr(value) if isinstance(value, str) else str(value)
    text = text.encode("unicode_escape").decode("ascii") if not text.isprintable() else text
    return text if len(text) <= _LONGEST_SHOWN_VALUE else text[: _LONGEST_SHOWN_VALUE - 1] + "…"


def one_of(names: Iterable[str]) -> str:
    """Return the mend of a choice: ``use one of a, b``, and ``use a`` where there is only one.

    Parameters
    ----------
    names : iterable of str
        What may be chosen; empty: that there is none is said.
    """
    known = list(names)
    if len(known) == 1:
        return f"use {known[0]}"
    return f"use one of {', '.join(known)}" if known else "leave it out: there is none to choose"

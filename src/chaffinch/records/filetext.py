"""What table do the bytes of a check file hold?

Bytes → text → table, as TOML or JSON. A file that cannot be read is told apart from one that says something wrong:
it raises :class:`~chaffinch.errors.CheckFileError` with the byte, or the line and column, and the mend.
"""

from __future__ import annotations

import re
from typing import Any, Final, Literal

from chaffinch.errors import CheckFileError

MOST_BYTES: Final = 1_000_000
"""Largest check file that is read [bytes]. 500 catches with notes take about a tenth of it."""

_PLACE_IN_TOML = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)\s*$")


def table_in(text: str | bytes, name: str, format: Literal["toml", "json"] | None) -> dict[str, Any]:  # noqa: A002
    """Return the table a check file holds.

    Parameters
    ----------
    text : str or bytes
        The whole file; bytes must be UTF-8, with or without a byte order mark.
    name : str
        How errors name the file.
    format : {"toml", "json"} or None
        None: JSON when the first sign is ``{``, else TOML.

    Raises
    ------
    CheckFileError
        When it is empty, larger than ``MOST_BYTES``, no UTF-8, or no TOML or JSON.
    """
    name = name if name.isprintable() else ascii(name)
    plain = _decoded(text, name)
    if format not in (None, "toml", "json"):
        raise CheckFileError(name, format, "cannot be read in that format", "use toml or json")
    as_json = plain.lstrip().startswith("{") if format is None else format == "json"
    try:
        return _json(plain, name) if as_json else _toml(plain, name)
    except RecursionError:
        problem = "has tables or lists nested too deep"
        raise CheckFileError(name, None, problem, "check that it is a check file") from None


def _decoded(text: str | bytes, name: str) -> str:
    """Return the file as text, or say what kind of file it is instead."""
    size = len(text) if isinstance(text, bytes) or len(text) > MOST_BYTES else len(text.encode("utf-8", "replace"))
    if size > MOST_BYTES:
        problem = f"has {size / 1e6:.1f} MB, and a check file has 1 MB at most"
        raise CheckFileError(name, None, problem, "check that it is the right file")
    if isinstance(text, bytes):
        if wide := _wide_encoding(text):
            raise CheckFileError(name, None, f"is written in {wide}, not UTF-8", "save it again as UTF-8")
        try:
            text = text.decode("utf-8")
        except UnicodeDecodeError as error:
            problem = f"is not UTF-8 text: byte {error.start + 1} is 0x{error.object[error.start]:02x}"
            raise CheckFileError(
                name, None, problem, "save it again as UTF-8, or check that it is a text file"
            ) from None
    text = text.removeprefix("\ufeff")
    if not text.strip():
        raise CheckFileError(name, None, "is empty", 'write at least crop = "canola" and one [[catch]]')
    return text


def _wide_encoding(data: bytes) -> str:
    """Return the name of a two- or four-byte encoding the bytes are in; empty for none.

    Recognised by its byte order mark, or by every other byte of the head being 0, which text in UTF-8 never has.
    """
    if data.startswith((b"\xff\xfe\x00\x00", b"\x00\x00\xfe\xff")):
        return "UTF-32"
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "UTF-16"
    head = data[:64]
    for start in (0, 1):
        every_other = head[start::2]
        if len(every_other) > 1 and not any(every_other):
            return "UTF-16"
    return ""


def _toml(text: str, name: str) -> dict[str, Any]:
    import tomllib

    try:
        return tomllib.loads(text)
    except ValueError as error:
        reason = str(error)
        spot = _PLACE_IN_TOML.search(reason)
        if spot is None:
            where = ""
        elif spot[1] is None:
            lines = text.split("\n")
            where = f"line {len(lines)}, column {len(lines[-1]) + 1}: "
        else:
            where = f"line {spot[1]}, column {spot[2]}: "
        reason = _PLACE_IN_TOML.sub("", reason)
        mend = 'mend that line; text and values with a unit stand in quotes, like yield = "45 bu/ac"'
        raise CheckFileError(name, None, f"is not TOML: {where}{_one_line(reason)}", mend) from None


def _json(text: str, name: str) -> dict[str, Any]:
    import json

    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        table: dict[str, Any] = {}
        for key, value in pairs:
            if key in table:
                problem = f"is not a check file: the key {_one_line(ascii(key))} stands twice in one table"
                raise CheckFileError(name, None, problem, "keep one of them")
            table[key] = value
        return table

    def no_number(word: str) -> None:
        problem = f"is not JSON: {word} is not a number"
        raise CheckFileError(name, None, problem, "write a finite number, or leave the key out")

    try:
        table = json.loads(text, object_pairs_hook=once, parse_constant=no_number)
    except json.JSONDecodeError as error:
        problem = f"is not JSON: line {error.lineno}, column {error.colno}: {_one_line(error.msg)}"
        raise CheckFileError(name, None, problem, "mend that line") from None
    except CheckFileError:
        raise
    except ValueError as error:  # a whole number of thousands of digits
        raise CheckFileError(name, None, f"is not JSON: {_one_line(str(error))}", "check its numbers") from None
    if not isinstance(table, dict):
        raise CheckFileError(name, None, "does not hold one table in { }", 'write {"crop": …, "catch": […]}')
    return table


def _one_line(reason: str) -> str:
    plain = reason if reason.isprintable() else ascii(reason)
    return plain[:200]

"""Is this body what its kind says? One validator for every kind, and the summaries the book's index keeps."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any, Final

from chaffinch import units
from chaffinch.errors import InputError, UnknownKeyError
from chaffinch.records.checkfile import check_from_table
from chaffinch.records.kinds import CHECK, EDIT, KINDS, LONGEST_NAME, LONGEST_TEXT, Kind, Part
from chaffinch.reference import crop

_UUID: Final = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
_UTC: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}Z")
_DATE: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
YEARS: Final = (1900, 2200)
"""First and last year a record may speak of."""
_SHA256: Final = re.compile(r"[0-9a-f]{64}")
_DAYS: Final = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
MOST_SETTINGS: Final = 60
HIGHEST_REVISION: Final = 1_000_000
"""Highest revision of an edit: more than people make, and one that leaves nobody's next edit without a number."""

CONDITIONS: Final = {
    "air_temperature_c": (-60.0, 60.0),
    "humidity_pct": (0.0, 100.0),
    "wind_kmh": (0.0, 200.0),
    "grain_moisture_pct": (0.1, 60.0),
    "straw_moisture_pct": (0.1, 90.0),
}
"""Conditions a record may hold, each with the span it can be meant in."""


def validate(kind_name: str, schema: int, body: Mapping[str, Any]) -> None:
    """Refuse a body that is not what its kind says.

    Parameters
    ----------
    kind_name, schema
        From the envelope.
    body : mapping
        The record.

    Raises
    ------
    InputError
        For an unknown kind, a schema newer than this program, an unknown, missing or ill-formed part.
    """
    kind = KINDS.get(kind_name)
    if kind is None:
        raise InputError("kind", kind_name, "is not known to this program", "update the program, then send it again")
    if schema > kind.schema:
        raise InputError(
            f"{kind_name}, schema", schema, f"is newer than this program's {kind.schema}", "update the program"
        )
    known = [part.name for part in kind.parts]
    for name in body:
        if name not in known:
            near = get_close_matches(str(name), known, n=1)
            mend = f"did you mean {near[0]}?" if near else f"use {', '.join(known)}"
            raise UnknownKeyError(f"{kind_name}, {str(name)[:40]}", None, "is not a part of it", mend)
    for part in kind.parts:
        if part.name in body:
            check_part(kind, part, body[part.name])
        elif part.must:
            raise InputError(f"{kind_name}, {part.name}", None, "is missing", f"give {part.about}")
    if kind_name == EDIT:
        if body["revision"] > HIGHEST_REVISION:
            raise InputError("edit, revision", body["revision"], f"is above {HIGHEST_REVISION}", "count edits from 1")
        _check_edit_value(body)


def check_part(kind: Kind, part: Part, value: object) -> None:
    """Refuse a value that the part cannot hold."""
    field = f"{kind.name}, {part.name}"
    if part.holds in _TESTS:
        _TESTS[part.holds](field, value)
    elif part.holds.startswith("one of "):
        allowed = part.holds.removeprefix("one of ").split(", ")
        if value not in allowed:
            raise InputError(field, value, "is none of the known ones", f"use one of {', '.join(allowed)}")
    else:
        # Bushels in a book were turned to kg or a mass per bushel by the crop's weight before they were stored.
        units.read_positive(_text(field, value, LONGEST_NAME), part.holds, field=field)


def suits(kind: str, field: str, value: object) -> bool:
    """Whether a thing of that kind can hold that value in that field; None: whether the field can be cleared.

    An edit is taken without looking at its target, which may arrive later; one that does not suit it holds nothing.
    """
    known = KINDS.get(kind)
    part = known.part(field) if known is not None and known.thing else None
    if known is None or part is None:
        return False
    if value is None:
        return not part.must
    try:
        check_part(known, part, value)
    except InputError:
        return False
    return True


@dataclass(frozen=True, slots=True)
class CheckSummary:
    """What the index keeps of a check: its row, and (place, amount) of each catch."""

    row: dict[str, Any]
    catches: tuple[tuple[str, str], ...]


def check_summary(body: Mapping[str, Any]) -> CheckSummary:
    """Summary of a valid check body."""
    table = body["check"]
    catches = table["catch"]
    return CheckSummary(
        {
            "taken_at": body["taken_at"],
            "season": body.get("season"),
            "field": body.get("field"),
            "combine": body.get("combine"),
            "operator": body.get("operator"),
            "crop": crop(table["crop"]).key,
            "catches": len(catches),
        },
        tuple(
            (one["place"], str(one.get("amount") or f"{one.get('gross')} less {one.get('tare')}")) for one in catches
        ),
    )


def replaced_by(body: Mapping[str, Any]) -> tuple[str, ...]:
    """Ids that this record is the correction of."""
    return tuple(body.get("replaces", ()))


def _check_edit_value(body: Mapping[str, Any]) -> None:
    """An edit does not know its target's kind; its value must suit a field of that name in some kind of thing."""
    candidates = [(kind, part) for kind in KINDS.values() if kind.thing and (part := kind.part(body["field"]))]
    if not candidates:
        raise InputError("edit, field", body["field"], "is not a field of any thing", "name a field, like note")
    if body["value"] is None:
        return
    errors = []
    for kind, part in candidates:
        try:
            check_part(kind, part, body["value"])
            return
        except InputError as error:
            errors.append(error)
    raise errors[0]


def _text(field: str, value: object, longest: int) -> str:
    if not isinstance(value, str) or not value.strip():
        raise InputError(field, value, "must be text", "write it in quotes")
    if len(value) > longest:
        raise InputError(field, value, f"is longer than {longest} characters", "shorten it")
    if any(ord(c) < 32 and c not in "\n\t" for c in value):
        raise InputError(field, value, "holds control characters", "write plain text")
    return value


def _name(field: str, value: object) -> None:
    _text(field, value, LONGEST_NAME)


def _long_text(field: str, value: object) -> None:
    _text(field, value, LONGEST_TEXT)


def _anything(field: str, value: object) -> None:
    """JSON of any shape: the envelope has already refused what JSON cannot hold."""


def _form(pattern: re.Pattern[str], what: str, mend: str) -> Callable[[str, object], None]:
    def test(field: str, value: object) -> None:
        if not isinstance(value, str) or not pattern.fullmatch(value):
            raise InputError(field, value, f"is no {what}", mend)

    return test


def _moment(pattern: re.Pattern[str], what: str, mend: str) -> Callable[[str, object], None]:
    of_form = _form(pattern, what, mend)

    def test(field: str, value: object) -> None:
        of_form(field, value)
        # By hand: the datetime module holds a clock, and no clock comes into this room.
        text = str(value)
        year, month, day = (int(part) for part in text[:10].split("-"))
        clock = [int(part) for part in text[11:].rstrip("Z").split(":")] if len(text) > 10 else [0, 0, 0]
        leap = year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)
        days = 29 if leap and month == 2 else _DAYS[month - 1] if 1 <= month <= 12 else 0
        if not 1 <= day <= days or clock[0] > 23 or clock[1] > 59 or clock[2] > 59:  # the 31st of February
            raise InputError(field, value, f"is no {what}: there is none such in the calendar", mend)
        if not YEARS[0] <= year <= YEARS[1]:
            raise InputError(field, value, f"is not within {YEARS[0]} to {YEARS[1]}", mend)

    return test


def _flag(field: str, value: object) -> None:
    if not isinstance(value, bool):
        raise InputError(field, value, "must be true or false", "write true or false")


def _whole(field: str, value: object) -> None:
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value < 2**53:
        raise InputError(field, value, "must be a whole number", "write it like 3")


def _number(field: str, value: object) -> None:
    if not isinstance(value, int | float) or isinstance(value, bool) or not math.isfinite(value):
        raise InputError(field, value, "must be a number", "write it like 12.5")


def _ids(field: str, value: object) -> None:
    if not isinstance(value, list | tuple) or not 1 <= len(value) <= 1000:
        raise InputError(field, value, "must be a list of ids", "name at least one")
    for one in value:
        _TESTS["id"](field, one)
    if len(set(value)) < len(value):
        raise InputError(field, value, "names an id twice", "name each once")


def _settings(field: str, value: object) -> None:
    if not isinstance(value, list | tuple) or len(value) > MOST_SETTINGS:
        raise InputError(field, value, f"must be a list of at most {MOST_SETTINGS} settings", "list name, value, unit")
    names = []
    for one in value:
        if not isinstance(one, Mapping) or not {"name", "value"} <= set(one) <= {"name", "value", "unit"}:
            raise InputError(field, one, "is no setting", 'write {"name": "rotor speed", "value": 600, "unit": "rpm"}')
        names.append(_text(f"{field}, name", one["name"], 60))
        _number(f"{field}, {names[-1]}", one["value"])
        if "unit" in one:
            _text(f"{field}, {names[-1]}, unit", one["unit"], 20)
    if len(set(names)) < len(names):
        raise InputError(field, names, "names a setting twice", "give each setting once")


def _conditions(field: str, value: object) -> None:
    if not isinstance(value, Mapping) or not value:
        raise InputError(field, value, "must be a table of conditions", f"use {', '.join(CONDITIONS)}")
    for name, reading in value.items():
        if name not in CONDITIONS:
            near = get_close_matches(str(name), list(CONDITIONS), n=1)
            raise UnknownKeyError(
                f"{field}, {str(name)[:40]}",
                None,
                "is not a condition",
                f"did you mean {near[0]}?" if near else "leave out",
            )
        _number(f"{field}, {name}", reading)
        low, high = CONDITIONS[name]
        if not low <= reading <= high:
            raise InputError(
                f"{field}, {name}", reading, "is beyond what can be meant", f"it can be {low:g} to {high:g}"
            )


def _check(field: str, value: object) -> None:
    if not isinstance(value, Mapping):
        raise InputError(field, value, "must be a check as in a check file", "see the page on the check file")
    try:
        check_from_table(value)
    except InputError as error:
        raise error.within(field) from None


def _crop(field: str, value: object) -> None:
    crop(_text(field, value, LONGEST_NAME), field=field)


_TESTS: Final[dict[str, Callable[[str, object], None]]] = {
    "name": _name,
    "text": _long_text,
    "flag": _flag,
    "whole": _whole,
    "number": _number,
    "id": _form(_UUID, "id", "use the id of a record, a UUID in lower case"),
    "ids": _ids,
    "utc": _moment(_UTC, "time in UTC", "write it like 2026-08-14T16:40:00Z"),
    "date": _moment(_DATE, "date", "write it like 2026-08-14"),
    "sha256": _form(_SHA256, "SHA-256", "use 64 hexadecimal digits"),
    "settings": _settings,
    "conditions": _conditions,
    "check": _check,
    "json": _anything,
    "crop": _crop,
}


__all__ = [
    "CHECK",
    "CONDITIONS",
    "HIGHEST_REVISION",
    "CheckSummary",
    "check_part",
    "check_summary",
    "replaced_by",
    "suits",
    "validate",
]

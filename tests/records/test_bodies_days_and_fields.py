"""Days must be in the calendar, and a label must suit the kind of thing it is given to."""

from __future__ import annotations

from typing import Any

import pytest

from chaffinch.errors import InputError
from chaffinch.records.bodies import _TESTS, HIGHEST_REVISION, suits, validate

ID = "00000004-0000-4000-8000-000000000004"


@pytest.mark.parametrize("day", ["2026-08-14", "2024-02-29", "1900-01-01", "2200-12-31"])
def test_days_that_are(day: str) -> None:
    _TESTS["date"]("day", day)
    _TESTS["utc"]("time", f"{day}T23:59:59Z")


@pytest.mark.parametrize(
    "day",
    ["2026-02-31", "2025-02-29", "2026-04-31", "2026-00-10", "2026-13-01", "2026-01-00", "0000-01-01", "9999-12-31",
     "1899-12-31", "2201-01-01", "٢٠٢٦-08-14", "2026-8-14", "20260814", "2026-W33-5", "2026-08-14\n", "",
     None, 20260814],
)  # fmt: skip
def test_days_that_are_not(day: Any) -> None:
    with pytest.raises(InputError):
        _TESTS["date"]("day", day)
    with pytest.raises(InputError):
        _TESTS["utc"]("time", f"{day}T10:00:00Z")


@pytest.mark.parametrize("time", ["24:00:00Z", "10:60:00Z", "10:00:60Z", "10:00:00", "10:00:00+00:00", "10:00Z"])
def test_times_that_are_not(time: str) -> None:
    with pytest.raises(InputError):
        _TESTS["utc"]("time", f"2026-08-14T{time}")


@pytest.mark.parametrize(
    ("kind", "field", "value", "does"),
    [
        ("field", "area", "62 ha", True),
        ("field", "area", "a lot", False),
        ("field", "area", None, True),
        ("field", "name", None, False),
        ("combine", "area", "62 ha", False),
        ("combine", "name", "Big Wren", True),
        ("check", "field", ID, False),
        ("barn", "name", "Big Wren", False),
    ],
)
def test_what_suits(kind: str, field: str, value: Any, does: bool) -> None:
    assert suits(kind, field, value) is does


def test_a_revision_beyond_the_highest_is_refused() -> None:
    body = {"target": ID, "field": "note", "value": "wet", "revision": HIGHEST_REVISION}
    validate("edit", 1, body)
    for beyond in (HIGHEST_REVISION + 1, 2**53 - 1):
        with pytest.raises(InputError, match="revision"):
            validate("edit", 1, body | {"revision": beyond})

"""Records for the store tests: an invented field with its checks, sealed as a device would."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from chaffinch.store import opening, records, verify
from chaffinch.store.opening import Store
from chaffinch.sync.accept import Receipt
from chaffinch.sync.envelope import Envelope, seal

NOW = "2026-08-14T16:40:00Z"
FARM, SEASON, COMBINE, FIELD, OPERATOR, TRIAL = 1, 2, 3, 4, 5, 6


def clock() -> str:
    return NOW


def uid(number: int) -> str:
    """An id that is easy to tell apart and to order."""
    return f"{number:08x}-0000-4000-8000-{number:012x}"


def sealed(number: int, kind: str, body: dict[str, Any], *, device: str = "phone", at: str = NOW) -> Envelope:
    return seal(uid(number), kind, 1, device, at, body)


def check(number: int, *, mass_g: float = 12.5, field: int = FIELD, hour: int = 10, **more: Any) -> Envelope:
    """A check of one pan."""
    table = {
        "crop": "canola",
        "limit": "40 kg/ha",
        "combine": {"cut_width": "12.2 m", "drop_width": "1.7 m"},
        "catch": [{"place": "discharge", "pan": "0.37 m2", "amount": f"{mass_g:.1f} g", "step": "0.1 g"}],
    }
    body = {"taken_at": f"2026-08-14T{hour:02d}:00:00Z", "check": table, "field": uid(field), "combine": uid(COMBINE)}
    return sealed(number, "check", body | more)


def correction(number: int, old: Sequence[int], *, mass_g: float = 9.5, **more: Any) -> Envelope:
    return check(number, mass_g=mass_g, replaces=[uid(o) for o in old], reason="misread", **more)


def edit(number: int, value: Any, revision: int, *, target: int = FIELD, field: str = "note") -> Envelope:
    return sealed(number, "edit", {"target": uid(target), "field": field, "value": value, "revision": revision})


def farm() -> list[Envelope]:
    """What every book here starts with: a farm, a season, a combine and a field."""
    return [
        sealed(FARM, "farm", {"name": "Larkhollow", "country": "CA"}),
        sealed(SEASON, "season", {"name": "2026"}),
        sealed(COMBINE, "combine", {"name": "Big Wren", "cut_width": "12.2 m", "drop_width": "1.7 m"}),
        sealed(
            FIELD,
            "field",
            {"name": "Siskin Bend", "season": uid(SEASON), "crop": "canola", "area": "62 ha", "price": "640 /t"},
        ),
    ]


def full() -> list[Envelope]:
    """A book with something of everything: checks, a correction, labels twice over, a conflict last."""
    return [
        *farm(),
        check(10, mass_g=12.5, hour=9),
        check(11, mass_g=9.8, hour=10),
        check(12, mass_g=15.1, hour=11),
        correction(13, [12], mass_g=11.5, hour=11),
        edit(20, "wet corner in the north", 1),
        edit(21, "wet corner drained", 2),
        edit(22, "60 ha", 1, field="area"),
        sealed(
            30, "monitor", {"taken_at": "2026-08-14T09:00:00Z", "combine": uid(COMBINE), "reading": 34, "per": "time"}
        ),
        sealed(31, "weather", {"taken_at": "2026-08-14T09:00:00Z", "conditions": {"air_temperature_c": 24.5}}),
        check(11, mass_g=98.0, hour=10),
    ]


def filed() -> list[Envelope]:
    """Checks filed under season, operator and trial, beside what ``full`` holds."""
    where = {"season": uid(SEASON), "operator": uid(OPERATOR)}
    settings = {
        name: [{"name": "rotor speed", "value": value, "unit": "rpm"}] for name, value in (("a", 600), ("b", 650))
    }
    trial = {"taken_at": "2026-08-14T13:00:00Z", "combine": uid(COMBINE), "field": uid(FIELD), **settings}
    return [
        sealed(OPERATOR, "operator", {"name": "Wren"}),
        sealed(TRIAL, "trial", trial),
        check(14, mass_g=8.5, hour=13, **where, trial=uid(TRIAL), side="A"),
        check(15, mass_g=6.5, hour=14, **where, trial=uid(TRIAL), side="B"),
        check(16, mass_g=14.5, hour=15, **where),
        check(17, mass_g=15.5, hour=16, season=uid(SEASON)),
    ]


def begin(address: str, items: Iterable[Envelope] = ()) -> Store:
    """Start a book and put records into it."""
    store = opening.start(address, book_id=uid(999), title="Larkhollow", clock=clock, program="test")
    put(store, items)
    return store


def again(address: str) -> Store:
    """Open a book as the next program would."""
    return opening.open_book(address, clock=clock, program="test")


def put(store: Store, items: Iterable[Envelope | Receipt]) -> list[str]:
    """Append one batch and give the outcomes."""
    return [r.outcome for r in records.append(store, list(items))]


def identities(store: Store) -> list[tuple[str, str]]:
    """(id, hash) of everything in the book, sorted; a record kept twice shows twice."""
    return sorted(records.identities(store))


def problems(store: Store) -> tuple[str, ...]:
    return verify.verify(store).problems

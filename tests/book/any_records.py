"""Records of every kind with any body the book takes, made by hypothesis from the table of kinds itself."""

from __future__ import annotations

from datetime import date
from typing import Any

from hypothesis import strategies as st

from chaffinch import units
from chaffinch.records.bodies import CONDITIONS
from chaffinch.records.kinds import EDIT, KINDS, Kind, Part
from chaffinch.reference import crop_keys
from chaffinch.sync.envelope import Envelope, seal

POOL = [f"{n:08x}-0000-4000-8000-{n:012x}" for n in range(40)]
"""Ids that things point at; small, so that they often point at each other."""

ids = st.sampled_from(POOL)
any_text = st.text(st.characters(exclude_categories=["Cc", "Cs"]), min_size=1, max_size=12)
# Also the beginnings a spreadsheet would take for a formula.
words = st.one_of(any_text, st.builds(lambda a, b: a + b, st.sampled_from("=+-@'"), any_text)).filter(str.strip)
lines = st.lists(words, min_size=1, max_size=3).map("\n".join)
numbers = st.one_of(st.integers(-(2**53) + 1, 2**53 - 1), st.floats(allow_nan=False, allow_infinity=False))
json_values = st.recursive(
    st.one_of(st.none(), st.booleans(), numbers, words),
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(words, inner, max_size=3)),
    max_leaves=6,
)
days = st.dates(min_value=date(2000, 1, 1), max_value=date(2200, 12, 31)).map(str)
times = st.builds(
    lambda day, h, m, s: f"{day}T{h:02}:{m:02}:{s:02}Z",
    days,
    st.integers(0, 23),
    st.integers(0, 59),
    st.integers(0, 59),
)
settings_list = st.lists(
    st.fixed_dictionaries({"name": words, "value": numbers}, optional={"unit": st.sampled_from(("rpm", "mm"))}),
    max_size=3,
    unique_by=lambda one: one["name"],
)
conditions = st.fixed_dictionaries(
    {"humidity_pct": st.floats(0, 100)},
    optional={name: st.floats(low, high) for name, (low, high) in CONDITIONS.items() if name != "humidity_pct"},
)
amounts = st.one_of(
    st.integers(0, 400).map(lambda n: f"{n / 10} g"),
    st.integers(0, 300).map(lambda n: f"{n} seeds"),
    st.integers(0, 60).map(lambda n: f"{n} mL"),
)
catches = st.fixed_dictionaries(
    {"place": st.sampled_from(("standing", "header strip", "discharge", "behind")), "amount": amounts},
    optional={"note": words.filter(str.isprintable), "moisture": st.just("8,5 %"), "bag": st.just("=W-3")},
)
checks = st.fixed_dictionaries(
    {
        "crop": st.sampled_from(("canola", "wheat", "pea")),
        "country": st.just("CA"),
        "combine": st.just({"name": "Wren", "cut_width": "40 ft", "drop_width": "66 in"}),
        "pan": st.just({"area": "4 ft2"}),
        "catch": st.lists(catches, min_size=1, max_size=3),
    },
    optional={"yield": st.just("45 bu/ac"), "price": st.just("$14.50 /bu"), "speed": st.just("7,5 km/h")},
)


def quantities(kind: str) -> st.SearchStrategy[str]:
    ways = [unit for unit in units.accepted(kind) if "bu" not in unit.split("/")]
    return st.builds(lambda n, unit: f"{n} {unit}", st.integers(1, 900), st.sampled_from(ways))


def values(part: Part) -> st.SearchStrategy[Any]:
    known = {
        "name": words,
        "text": lines,
        "flag": st.booleans(),
        "whole": st.integers(0, 2**53 - 1),
        "number": numbers,
        "id": ids,
        "ids": st.lists(ids, min_size=1, max_size=3, unique=True),
        "utc": times,
        "date": days,
        "sha256": st.text("0123456789abcdef", min_size=64, max_size=64),
        "settings": settings_list,
        "conditions": conditions,
        "check": checks,
        "json": json_values,
        "crop": st.sampled_from(crop_keys()),
    }
    if part.holds.startswith("one of "):
        return st.sampled_from(part.holds.removeprefix("one of ").split(", "))
    return known[part.holds] if part.holds in known else quantities(part.holds)


@st.composite
def bodies(draw: st.DrawFn, kind: Kind) -> dict[str, Any]:
    """Any valid body of a kind."""
    if kind.name == EDIT:
        thing = draw(st.sampled_from([k for k in KINDS.values() if k.thing]))
        part = draw(st.sampled_from(thing.parts))
        value = draw(st.one_of(st.none(), values(part)))
        revision = draw(st.integers(1, 3))
        return {"target": draw(ids), "field": part.name, "value": value, "revision": revision}
    body = {p.name: draw(values(p)) for p in kind.parts if p.must}
    return body | draw(st.fixed_dictionaries({}, optional={p.name: values(p) for p in kind.parts if not p.must}))


@st.composite
def envelopes(draw: st.DrawFn) -> Envelope:
    """A sealed record of any kind; ids repeat, so that some are in conflict."""
    kind = draw(st.sampled_from(list(KINDS.values())))
    body = draw(bodies(kind))
    own = draw(ids.filter(lambda one: one not in body.get("replaces", ())))
    return seal(own, kind.name, kind.schema, draw(st.sampled_from(("phone", "=laptop"))), "2026-08-14", body)


def one_check(**more: Any) -> dict[str, Any]:
    """Body of a plain check."""
    table = {
        "crop": "canola",
        "combine": {"cut_width": "40 ft", "drop_width": "66 in"},
        "catch": [{"place": "discharge", "pan": "4 ft2", "amount": "12.5 g", "step": "0.1 g"}],
    }
    return {"taken_at": "2026-08-14T16:40:00Z", "check": table, **more}

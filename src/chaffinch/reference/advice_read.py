"""How are the advice tables read, and what must be true of them?"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType
from typing import Final

from chaffinch.errors import ReferenceDataError
from chaffinch.reference import loader
from chaffinch.reference.advice import (
    ANY,
    HEADERS,
    MACHINES,
    OTHER,
    PARTS,
    SOURCES,
    AdviceTable,
    Cause,
    Change,
    Cited,
    Effect,
    LeakPlace,
    Origin,
    Says,
    Sign,
)
from chaffinch.reference.advice_rows import cited_keys, origin_of, ranged, weights
from chaffinch.reference.loader import Table

FIGURES: Final = (
    "usual_sd_log", "lapse", "elsewhere_low", "elsewhere_high", "lead", "settled", "least_bits", "most_questions",
    "air_dry_pct", "air_damp_pct", "straw_dry_pct", "straw_damp_pct", "load_light", "load_heavy", "pods_many_pct",
    "pods_few_pct", "bar_high",
)  # fmt: skip


@lru_cache(maxsize=1)
def advice_table() -> AdviceTable:
    """Read and check all files of the advice, once.

    Raises
    ------
    ReferenceDataError
        Naming file, row and field of the first thing that is wrong.
    """
    return read_table()


def read_table() -> AdviceTable:
    """As :func:`advice_table`, read anew."""
    cited = _cited(loader.read("advice/sources.toml"))
    levels = loader.read("advice/levels.toml")
    levels.allow("groups", "usual", "figures")
    groups = _groups(levels)
    usual = _usual(levels, groups)
    figures = _figures(levels)
    names = (*groups, OTHER)
    causes = tuple(_cause(one, cited, names) for one in _rows("advice/causes.toml", "causes"))
    _once("advice/causes.toml", "causes", [one.key for one in causes])
    known = tuple(one.key for one in causes)
    for must in ("usual", "unexplained"):
        if must not in known:
            raise ReferenceDataError(f"advice/causes.toml: causes: {must} is missing")
    signs = tuple(_sign(one, cited, known) for one in _rows("advice/signs.toml", "signs"))
    _once("advice/signs.toml", "signs", [one.key for one in signs])
    gates = tuple(one.key for one in signs if "rises" in one.answers)
    changes = tuple(_change(one, cited, known, names, gates) for one in _rows("advice/changes.toml", "changes"))
    _once("advice/changes.toml", "changes", [one.key for one in changes])
    helped = {effect.cause for one in changes for effect in one.helps}
    for key in known:
        if key not in helped and key not in ("usual", "unexplained"):
            raise ReferenceDataError(f"advice/changes.toml: changes: none helps against the cause {key}")
    leaks = tuple(_leak(one, cited) for one in _rows("advice/leaks.toml", "places"))
    _once("advice/leaks.toml", "places", [one.key for one in leaks])
    return AdviceTable(causes, signs, changes, leaks, groups, usual, figures, cited)


def _rows(file: str, key: str) -> list[Table]:
    whole = loader.read(file)
    whole.allow(key)
    rows = list(whole.tables(key))
    if not rows:
        raise whole.damaged(key, "holds no row")
    return rows


def _once(file: str, key: str, names: list[str]) -> None:
    for place, name in enumerate(names, start=1):
        if name in names[: place - 1]:
            raise ReferenceDataError(f"{file}: {key} {place}.key: {name!r} stands there twice")


def _cited(whole: Table) -> Mapping[str, Cited]:
    found = {}
    for key in whole.rows:
        one = whole.table(key)
        one.allow("title", "org", "year", "number", "address", "read")
        year = int(one.number("year")) if "year" in one.rows else None
        found[key] = Cited(
            key, one.text("title"), one.text("org"), year, one.text("number", ""), one.text("address", ""),
            one.text("read"),
        )  # fmt: skip
    return MappingProxyType(found)


def _groups(levels: Table) -> Mapping[str, tuple[str, ...]]:
    from chaffinch.reference.crops import crop_keys

    table, known, seen = levels.table("groups"), crop_keys(), set[str]()
    found = {}
    for name in table.rows:
        keys = table.texts(name)
        for key in keys:
            if key not in known:
                raise table.damaged(name, f"{key!r} is no crop")
            if key in seen:
                raise table.damaged(name, f"{key!r} stands in two groups")
            seen.add(key)
        found[name] = keys
    return MappingProxyType(found)


def _usual(levels: Table, groups: Mapping[str, tuple[str, ...]]) -> Mapping[str, Mapping[str, float]]:
    table = levels.table("usual")
    table.allow(*groups, OTHER)
    found = {}
    for name in (*groups, OTHER):
        row = table.table(name)
        row.allow(*SOURCES)
        found[name] = MappingProxyType({source: row.number(source) for source in SOURCES})
    return MappingProxyType(found)


def _figures(levels: Table) -> Mapping[str, float]:
    table = levels.table("figures")
    table.allow(*FIGURES)
    return MappingProxyType({name: table.number(name) for name in FIGURES})


def _origin(row: Table, cited: Mapping[str, Cited]) -> Origin:
    return Origin(*origin_of(row, cited), cited_keys(row, "deduced", cited))


def _only(row: Table) -> tuple[str, str, str]:
    machine, header, crop_is = row.text("machine", ""), row.text("header", ""), row.text("crop_is", "")
    if header and header not in HEADERS:
        raise row.damaged("header", f"must be one of {', '.join(HEADERS)} (got {header!r})")
    if machine and machine not in MACHINES:
        raise row.damaged("machine", f"must be one of {', '.join(MACHINES)} (got {machine!r})")
    if crop_is and crop_is not in ("standing", "windrowed"):
        raise row.damaged("crop_is", f"must be standing or windrowed (got {crop_is!r})")
    return machine, header, crop_is


def _part(row: Table) -> str:
    part = row.text("part")
    if part not in PARTS:
        raise row.damaged("part", f"must be one of {', '.join(PARTS)} (got {part!r})")
    return part


def _cause(row: Table, cited: Mapping[str, Cited], groups: tuple[str, ...]) -> Cause:
    row.allow("key", "part", "says", "odds", "odds_for", "lifts", "machine", "header", "crop_is", "origin", "source")
    odds = row.table("odds")
    odds.allow(ANY, *groups)
    if ANY not in odds.rows:
        raise odds.damaged(ANY, "is missing: the weight of groups that are not named")
    by_kind: dict[str, float] = {}
    if "odds_for" in row.rows:
        kinds = row.table("odds_for")
        kinds.allow(*MACHINES)
        by_kind = {name: kinds.number(name) for name in kinds.rows}
    lifts = row.table("lifts")
    lifts.allow(*SOURCES)
    found = {source: ranged(lifts, source) for source in lifts.rows}
    shares = MappingProxyType({name: _not_negative(odds, name) for name in odds.rows})
    return Cause(
        row.text("key"), _part(row), row.text("says"), shares, MappingProxyType(by_kind), MappingProxyType(found),
        *_only(row), _origin(row, cited),
    )  # fmt: skip


def _sign(row: Table, cited: Mapping[str, Cited], causes: tuple[str, ...]) -> Sign:
    row.allow("key", "asks", "how", "near", "effort", "auto", "answers", "usual", "says")
    answers = {}
    for one in row.tables("answers"):
        one.allow("key", "says")
        answers[one.text("key")] = one.text("says")
    if len(answers) < 2:
        raise row.damaged("answers", "must be two different ones at least")
    usual = weights(row.table("usual"), answers, all_of_them=True)
    total = sum(usual.values())
    says = []
    for one in row.tables("says"):
        one.allow("cause", "part", "origin", "source", *answers)
        cause, part = one.text("cause", ""), one.text("part", "")
        if bool(cause) == bool(part):
            raise one.damaged("cause", "or part: exactly one of them must be given")
        if cause and cause not in causes:
            raise one.damaged("cause", f"{cause!r} is no cause")
        if part and part not in PARTS:
            raise one.damaged("part", f"{part!r} is no part")
        given = Table(one.file, {k: v for k, v in one.rows.items() if k in answers}, one.where)
        if not given.rows:
            raise one.damaged("", "names no answer")
        says.append(
            Says(cause, part, MappingProxyType(weights(given, answers)), Origin(*origin_of(one, cited, "practice")))
        )
    asks, auto = row.text("asks", ""), row.text("auto", "")
    if not asks and not auto:
        raise row.damaged("asks", "is empty, and nothing answers it by itself")
    effort = row.number("effort", positive=bool(asks))
    return Sign(
        row.text("key"), asks, row.text("how", ""), row.flag("near"), effort, auto, MappingProxyType(answers),
        MappingProxyType({name: share / total for name, share in usual.items()}), tuple(says),
    )  # fmt: skip


def _change(
    row: Table, cited: Mapping[str, Cited], causes: tuple[str, ...], groups: tuple[str, ...], gates: tuple[str, ...]
) -> Change:
    row.allow(
        "key", "part", "says", "step", "undo", "setting", "way", "near", "minutes", "gate", "machine", "header",
        "crop_is", "not", "helps", "spoils", "rows",
    )  # fmt: skip
    way, gate = row.text("way", ""), row.text("gate", "")
    if way not in ("", "+", "-"):
        raise row.damaged("way", f"must be +, - or empty (got {way!r})")
    if gate and gate not in gates:
        raise row.damaged("gate", f"{gate!r} is no sign that can rise")
    unfit = row.texts("not") if "not" in row.rows else ()
    for name in unfit:
        if name not in groups:
            raise row.damaged("not", f"{name!r} is no crop group")
    helps = []
    for one in row.tables("helps"):
        one.allow("cause", "loss", "low", "high", "origin", "source", "deduced")
        cause, loss = one.text("cause"), one.text("loss")
        if cause not in causes:
            raise one.damaged("cause", f"{cause!r} is no cause")
        if loss not in (*SOURCES, "value"):
            raise one.damaged("loss", f"{loss!r} is no loss")
        low, high = _ends(one, zero=loss == "value")
        helps.append(Effect(cause, loss, "", low, high, _origin(one, cited)))
    if not helps:
        raise row.damaged("helps", "is empty: a change must help against something")
    spoils = []
    for one in row.tables("spoils"):
        one.allow("what", "says", "low", "high", "origin", "source")
        what = one.text("what")
        if what not in (*SOURCES, "value", "time"):
            raise one.damaged("what", f"{what!r} is nothing that can be spoilt")
        low, high = _ends(one, zero=True)
        spoils.append(Effect("", what, one.text("says"), low, high, _origin(one, cited)))
    rows = row.rows.get("rows")
    if not isinstance(rows, list) or not all(isinstance(r, str) and re.fullmatch(r"adj\d\d", r) for r in rows):
        raise row.damaged("rows", "must be a list of row ids like adj01")
    minutes = _not_negative(row, "minutes")
    return Change(
        row.text("key"), _part(row), row.text("says"), row.text("step"), row.text("undo"), row.text("setting", ""), way,
        row.flag("near"), minutes, gate, *_only(row), unfit, tuple(helps), tuple(spoils), tuple(rows),
    )  # fmt: skip


def _ends(row: Table, *, zero: bool) -> tuple[float, float]:
    low, high = row.number("low", positive=not zero), row.number("high")
    if low < 0.0 or low >= high:
        raise row.damaged("low", f"must be 0 or more and below high (got {low:g} and {high:g})")
    return low, high


def _not_negative(row: Table, key: str) -> float:
    number = row.number(key, positive=False)
    if number < 0.0:
        raise row.damaged(key, f"must be 0 or more (got {number:g})")
    return number


def _leak(row: Table, cited: Mapping[str, Cited]) -> LeakPlace:
    row.allow("key", "part", "says", "look", "mend", "origin", "source")
    origin = _origin(row, cited)
    return LeakPlace(row.text("key"), row.text("part"), row.text("says"), row.text("look"), row.text("mend"), origin)

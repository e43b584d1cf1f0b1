"""Which tables does an exported book hold for people, and what does each column say?

The columns follow from :data:`chaffinch.records.kinds.KINDS`, so a new part of a record has its column at once. The
page ``docs/open-formats.md`` shows the same rows; a test compares the two.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Any, Final

from chaffinch import units
from chaffinch.book.checks.catches import prepare
from chaffinch.engine.evidence import SOURCES
from chaffinch.engine.plain import plain
from chaffinch.errors import InputError
from chaffinch.records.bodies import CONDITIONS
from chaffinch.records.check import Amount, Catch, Check
from chaffinch.records.checkfile import check_from_table
from chaffinch.records.kinds import CHECK, EDIT, KINDS, Kind, Part
from chaffinch.sync.envelope import Envelope

Cell = str | float | bool | None
Row = tuple[str, list[Cell]]
"""A table's name and one row of it."""

TABLE_OF: Final = {
    "farm": "farms",
    "season": "seasons",
    "operator": "operators",
    "combine": "combines",
    "pan": "pans",
    "scale": "scales",
    "field": "fields",
    "check": "checks",
    "monitor": "monitor",
    "trial": "trials",
    "weather": "weather",
    "photo": "photos",
    "note": "notes",
    "report": "reports",
    "edit": "edits",
}
"""Name of the table of each kind of record, without ``.csv``."""

_STARTS_A_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r", "\n")
_GUARD: Final = "'"
_READING_UNITS: Final = {"weighed": "g", "measured": "mL", "counted": "seeds", "flat": "cm2 flat"}
_SUFFIXES: Final = {"_kmh": "km/h", "_pct": "%", "_c": "°C"}
_HAVE_A_NAME: Final = ("season", "field", "combine", "operator")


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its name, its unit (empty for text and plain numbers), and what it says."""

    name: str
    unit: str
    about: str

    @property
    def header(self) -> str:
        """The cell at its head: ``cut_width (m)``."""
        return f"{self.name} ({self.unit})" if self.unit else self.name


@dataclass(slots=True)
class Known:
    """What the tables need to know of the whole book while they are written row by row.

    Attributes
    ----------
    things : dict of str to (str, mapping)
        Kind and parts, with all edits applied, by id.
    counting : set of str
        Ids of the readings that count.
    holding : set of str
        Ids of the edits that hold.
    """

    things: dict[str, tuple[str, Mapping[str, Any]]] = field(default_factory=dict)
    counting: set[str] = field(default_factory=set)
    holding: set[str] = field(default_factory=set)

    def name(self, record_id: object) -> str | None:
        """Name of a thing; None when it is not in the book."""
        found = self.things.get(str(record_id))
        return None if found is None else str(found[1].get("name") or "") or None


def protected(text: str) -> str:
    """Text as it can stand in a cell without being taken for a formula.

    An apostrophe is put before text that begins with ``=``, ``+``, ``-``, ``@``, a tab or a line end, and before text
    that begins with an apostrophe already, so that taking one away gives the text back. Numbers are left alone.
    """
    return _GUARD + text if text.startswith((*_STARTS_A_FORMULA, _GUARD)) else text


def unprotected(cell: str) -> str:
    """The text that :func:`protected` was given."""
    return cell.removeprefix(_GUARD)


def written(cell: Cell) -> str:
    """A cell as it is written: ``yes`` and ``no``, numbers with a decimal point, text protected, nothing for None."""
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, str):
        return protected(cell)
    return repr(cell).removesuffix(".0")


@cache
def tables() -> dict[str, tuple[Column, ...]]:
    """Every table with its columns, in the order they are written."""
    found = {TABLE_OF[kind.name]: _columns(kind) for kind in KINDS.values()}
    found["catches"] = tuple(column for column, _ in _CATCH_COLUMNS)
    found["settings"] = _SETTINGS
    found["conditions"] = _CONDITIONS
    found["corrections"] = _CORRECTIONS
    return found


def rows_of(one: Envelope, known: Known) -> Iterator[Row]:
    """Rows of all tables that one record fills."""
    kind = KINDS[one.kind]
    now = known.things.get(one.id)
    parts: Mapping[str, Any] = now[1] if now is not None and now[0] == one.kind else one.body
    check = check_from_table(one.body["check"]) if one.kind == CHECK else None
    cells: list[Cell] = [one.id]
    for part in kind.parts:
        cells += _part_cells(part, parts.get(part.name), known)
    if check is not None:
        losses = _plain_losses(check)
        cells += [read(check) for _, read in _CHECK_COLUMNS] + [losses.get(source) for source in (*SOURCES, "total")]
    if kind.reading:
        cells.append(one.id in known.counting)
    if one.kind == EDIT:
        target = known.things.get(one.body["target"])
        cells += [target and target[0], known.name(one.body["target"]), one.id in known.holding]
    yield TABLE_OF[one.kind], [*cells, one.device, one.device_time]
    if check is not None:
        for catch in check.catches:
            yield "catches", [read(one.id, catch) for _, read in _CATCH_COLUMNS]
    yield from _side_rows(one)


def _side_rows(one: Envelope) -> Iterator[Row]:
    body = one.body
    when = body.get("taken_at")
    for key, side in (("settings", None), ("a", "A"), ("b", "B")) if one.kind in (CHECK, "trial") else ():
        for setting in body.get(key, ()):
            yield "settings", [one.id, one.kind, when, side, setting["name"], setting["value"], setting.get("unit")]
    if "conditions" in body:
        yield "conditions", [one.id, one.kind, when, *(body["conditions"].get(name) for name in CONDITIONS)]
    for old in body.get("replaces", ()):
        yield "corrections", [one.id, old, one.kind, body.get("reason"), one.device, one.device_time]


def _columns(kind: Kind) -> tuple[Column, ...]:
    columns = [Column("id", "", "id of the record")]
    for part in kind.parts:
        columns += _part_columns(part)
    if kind.name == CHECK:
        columns += [column for column, _ in _CHECK_COLUMNS]
        columns += [
            Column(f"{source}_loss_plain", "kg/ha", f"plain textbook loss, {source}; empty where no catch gives it")
            for source in (*SOURCES, "total")
        ]
    if kind.reading:
        columns.append(Column("counts", "", "yes when no correction and no conflict stands against it"))
    if kind.name == EDIT:
        columns += [
            Column("target_kind", "", "kind of that thing"),
            Column("target_name", "", "name of that thing now"),
            Column("holds", "", "no when a later edit of the same field took its place"),
        ]
    return (
        *columns,
        Column("device", "", "device it was made on"),
        Column("device_time", "", "what that device's clock said"),
    )


def _part_columns(part: Part) -> list[Column]:
    match part.holds:
        case "settings" | "conditions" | "check":
            return []
        case "ids" if part.name == "replaces":
            return []
        case "id" if part.name in _HAVE_A_NAME:
            return [Column(part.name, "", part.about), Column(f"{part.name}_id", "", f"{part.about}, its id")]
        case "price" | "money_rate" as holds:
            return [
                Column(part.name, units.inside_unit(holds), part.about),
                Column(f"{part.name}_currency", "", f"currency of {part.name}, where one was written"),
            ]
        case "utc":
            return [Column(part.name, "UTC", part.about.removesuffix(", in UTC"))]
        case "json":
            return [Column(part.name, "", f"{part.about}, as JSON")]
        case holds if holds in units.KINDS:
            return [Column(part.name, units.inside_unit(holds), part.about)]
    return [Column(part.name, "", part.about)]


def _part_cells(part: Part, value: Any, known: Known) -> list[Cell]:
    match part.holds:
        case "settings" | "conditions" | "check":
            return []
        case "ids" if part.name == "replaces":
            return []
        case "id" if part.name in _HAVE_A_NAME:
            return [known.name(value), value]
        case "ids":
            return [None if value is None else " ".join(value)]
        case "json":
            return [json.dumps(value, ensure_ascii=False, sort_keys=True)]
        case holds if holds in units.KINDS:
            amount, currency = _quantity(value, holds)
            return [amount, currency] if holds in ("price", "money_rate") else [amount]
    return [value]


def _quantity(value: Any, holds: str) -> tuple[Cell, Cell]:
    if not isinstance(value, str):
        return None, None
    try:
        found = units.read(value, holds, field=holds)
    except InputError:
        # An edit is checked against every kind that has such a field; what this kind cannot read stays as written.
        return value, None
    return found.value, found.currency or None


def _plain_losses(check: Check) -> dict[str, float | None]:
    try:
        losses = plain(prepare(check).catches)
    except InputError:
        return {}  # the check is on record but cannot be answered; its cells stay empty, its catches are all there
    return {**{source: losses.of(source) for source in SOURCES}, "total": losses.total}


def _split(suffixed: str) -> tuple[str, str]:
    suffix = next(s for s in _SUFFIXES if suffixed.endswith(s))
    return suffixed.removesuffix(suffix), _SUFFIXES[suffix]


def _unthreshed(catch: Catch, read: Callable[[Amount], Cell]) -> Cell:
    return None if catch.unthreshed is None else read(catch.unthreshed)


_CHECK_COLUMNS: Final[tuple[tuple[Column, Callable[[Check], Cell]], ...]] = (
    (Column("crop", "", "key of the crop"), lambda c: c.crop),
    (Column("catches", "", "how many catches"), lambda c: len(c.catches)),
    (Column("speed", "km/h", "ground speed"), lambda c: c.speed_kmh),
    (Column("spreading", "", "spreader or chopper was on"), lambda c: c.spreading),
    (Column("windrowed", "", "the crop lay in windrows"), lambda c: c.windrowed),
    (Column("cut_width", "m", "cut width used"), lambda c: c.combine.cut_width_m if c.combine else None),
    (Column("drop_width", "m", "drop width used"), lambda c: c.combine.drop_width_m if c.combine else None),
    (Column("spread_width", "m", "spread width used"), lambda c: c.combine.spread_width_m if c.combine else None),
    (Column("windrower_width", "m", "width the windrower cut"), lambda c: c.windrower_width_m),
    (Column("working_width", "m", "width really cut, where narrower"), lambda c: c.working_width_m),
    (Column("yield", "kg/ha", "yield expected"), lambda c: c.yield_kg_ha),
    (Column("limit", "kg/ha", "loss above which acting pays"), lambda c: c.limit_kg_ha),
    (Column("price", "money/t", "price of the crop"), lambda c: c.price_per_t),
    (Column("currency", "", "currency of the price"), lambda c: c.currency or None),
    (Column("tkw", "g", "measured thousand-kernel weight"), lambda c: c.tkw_g),
    (Column("test_weight", "kg/hL", "measured test weight"), lambda c: c.test_weight_kg_hl),
    (Column("market_moisture", "%", "moisture that loss is reported at"), lambda c: c.market_moisture_pct),
    (Column("when", "", "local time as written"), lambda c: c.when or None),
    (Column("note", "", "anything else"), lambda c: c.note or None),
)

_CATCH_COLUMNS: Final[tuple[tuple[Column, Callable[[str, Catch], Cell]], ...]] = (
    (Column("check_id", "", "id of the check it belongs to"), lambda i, _: i),
    (Column("number", "", "its number in that check"), lambda _, c: c.number),
    (Column("place", "", "where it was taken"), lambda _, c: c.place),
    (Column("reading", "", "weighed, measured, counted or flat"), lambda _, c: c.amount.kind),
    (Column("amount", "", "the reading, in amount_unit"), lambda _, c: c.amount.value),
    (Column("step", "", "smallest division read, in amount_unit"), lambda _, c: c.amount.step),
    (Column("amount_unit", "", "g, mL, seeds or cm2 flat"), lambda _, c: _READING_UNITS[c.amount.kind]),
    (Column("pan_area", "m2", "area of pan or frame"), lambda _, c: c.pan.area_m2 if c.pan else None),
    (Column("pan_width", "m", "its width across travel"), lambda _, c: c.pan.width_m if c.pan else None),
    (Column("pan_length", "m", "its length along travel"), lambda _, c: c.pan.length_m if c.pan else None),
    (Column("subsample", "", "part of the catch that was read"), lambda _, c: c.subsample),
    (Column("clean", "", "part of the reading that is seed"), lambda _, c: c.clean),
    (Column("moisture", "%", "wet-basis moisture of the seed as read"), lambda _, c: c.moisture_pct),
    (
        Column("unthreshed", "", "seed rubbed out of unthreshed heads, in unthreshed_unit"),
        lambda _, c: _unthreshed(c, lambda a: a.value),
    ),
    (
        Column("unthreshed_unit", "", "g, mL, seeds or cm2 flat"),
        lambda _, c: _unthreshed(c, lambda a: _READING_UNITS[a.kind]),
    ),
    (Column("heads", "", "unthreshed heads counted"), lambda _, c: c.heads),
    (Column("seeds_per_head", "", "seeds in one of them"), lambda _, c: c.seeds_per_head),
    (Column("offset", "m", "pan's middle from the discharge's middle, + right"), lambda _, c: c.offset_m),
    (Column("run", "", "pass, for pans at offsets"), lambda _, c: c.run),
    (Column("length", "m", "metres of windrow shaken out"), lambda _, c: c.length_m),
    (Column("time", "s", "time a leak was caught"), lambda _, c: c.seconds),
    (Column("variation", "", "own coefficient of variation between such catches"), lambda _, c: c.variation),
    (Column("bag", "", "what is written on its bag"), lambda _, c: c.bag or None),
    (Column("note", "", "anything else"), lambda _, c: c.note or None),
)

_SETTINGS: Final = (
    Column("record_id", "", "id of the check or trial"),
    Column("kind", "", "check or trial"),
    Column("taken_at", "UTC", "when"),
    Column("side", "", "A or B of a trial"),
    Column("setting", "", "name of the setting"),
    Column("value", "", "its value, in setting_unit"),
    Column("setting_unit", "", "unit, where it has one"),
)

_CONDITIONS: Final = (
    Column("record_id", "", "id of the check or weather record"),
    Column("kind", "", "check or weather"),
    Column("taken_at", "UTC", "when"),
    *(Column(*_split(name), f"{_split(name)[0].replace('_', ' ')} as read") for name in CONDITIONS),
)

_CORRECTIONS: Final = (
    Column("new_id", "", "id of the correction"),
    Column("old_id", "", "id of the record it replaces"),
    Column("kind", "", "kind of both"),
    Column("reason", "", "why it was corrected"),
    Column("device", "", "device it was made on"),
    Column("device_time", "", "what that device's clock said"),
)

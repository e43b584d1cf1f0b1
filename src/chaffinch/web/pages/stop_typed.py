"""What did a person type of a stop? A form's fields → the table of a check file, and what it is filed under.

Every value is read by the check file's own reader, so that a form refuses what the command line refuses, in the same
line. A form that corrects a check keeps whatever of it the person left alone, to the last digit.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from chaffinch import units
from chaffinch.book.desk import Desk
from chaffinch.book.monitors.key import counts_per
from chaffinch.book.names import folded
from chaffinch.book.shown_unit import farm_of
from chaffinch.book.things import Thing, by_ids, refuse_retired, things
from chaffinch.book.trials.trial import find_trial
from chaffinch.errors import InputError
from chaffinch.paper.check_record_told import shown_amount, shown_size
from chaffinch.reference import crop as find_crop
from chaffinch.units.numerals import alone
from chaffinch.web.pages.frame import Form

FIRST_ROWS: Final = 3
"""Rows for catches that an empty form has; own figure."""
MOST_ROWS: Final = 60
"""Rows for catches that a form can have; a check file holds more. Own figure."""
_BY: Final = re.compile(r"\s+(?:x|×|by)\s+", re.IGNORECASE)
_SIZES: Final = ("pan", "width", "length", "time")
FILED: Final = ("season", "field", "combine", "operator")


@dataclass
class Stop:
    """A stop as typed.

    Attributes
    ----------
    table : dict
        For :func:`chaffinch.records.checkfile.check_from_table`.
    where : dict of str to str
        Ids it is filed under.
    rows : list of int
        Row of the form of each catch, in their order.
    """

    table: dict[str, Any] = field(default_factory=dict)
    where: dict[str, str] = field(default_factory=dict)
    rows: list[int] = field(default_factory=list)

    def fields(self) -> dict[str, str]:
        """What errors call a value → the field of the form it stands in."""
        names = {name: name for name in ("crop", "speed", "spreading", "combine", "field", "operator", "when", "reason",
                                         "trial", "side", "bar", "settings", "catch")}  # fmt: skip
        names |= {"combine, drop_width": "width", "combine, spread_width": "width", "scale, step": "step",
                  "bar_per": "per", "combine, cut_width": "combine", "at": "at"}  # fmt: skip
        for number, row in enumerate(self.rows, start=1):
            names[f"catch {number}, place"] = f"catch-{row}-place"
            for key in ("amount", "gross", "step"):
                names[f"catch {number}, {key}"] = f"catch-{row}-amount"
            for key in _SIZES:
                names[f"catch {number}, {key}"] = f"catch-{row}-pan"
            names[f"catch {number}"] = f"catch-{row}-amount"
        return names


def rows_of(form: Form) -> int:
    """How many rows for catches the form has."""
    text = form.get("rows")
    return min(MOST_ROWS, int(text)) if text.isdecimal() and 0 < len(text) < 4 and int(text) > 0 else FIRST_ROWS


def new_stop(desk: Desk, form: Form) -> Stop:
    """A new check as typed, with what its field, its combine and the farm say of themselves.

    Raises
    ------
    InputError
        For something chosen that is retired or not there, or a value that cannot be read.
    """
    stop = Stop()
    chosen = _filed(desk, form, stop)
    farm = farm_of(desk)
    parts = {} if farm is None else farm.parts
    stop.table |= {key: parts[key] for key in ("country", "currency", "report_in") if key in parts}
    _field(chosen.get("field"), form, stop)
    _combine(chosen.get("combine"), form, stop)
    if "operator" in chosen:
        stop.table["operator"] = chosen["operator"].name
    _terms(form, stop)
    stop.table["catch"] = _catches(desk, form, stop, [])
    return stop


def corrected_stop(desk: Desk, form: Form, original: Mapping[str, Any], filed: Mapping[str, str]) -> Stop:
    """A check corrected as typed; everything left alone stays as it is.

    Parameters
    ----------
    desk, form
        The open book, and what was typed.
    original : mapping
        The check's table.
    filed : mapping of str to str
        Ids of what it is filed under. Another combine brings its widths along.
    """
    stop = Stop(table={key: value for key, value in original.items() if key not in ("catch", "scale")})
    chosen = {kind: thing for kind, thing in _filed(desk, form, stop).items() if thing.id != filed.get(kind)}
    if "field" in chosen and "field" in original:
        stop.table["field"] = {**original["field"], "name": chosen["field"].name}
    if "operator" in chosen and "operator" in original:
        stop.table["operator"] = chosen["operator"].name
    if "combine" in chosen:
        _combine(chosen["combine"], form, stop)
    shown = {"speed": shown_speed(original), "spreading": _flag_said(original.get("spreading"))}
    if form.told("crop") is not None and form.get("crop") != original["crop"]:
        stop.table["crop"] = form.get("crop")
        for key in ("yield", "limit", "price", "bushel", "market_moisture", "tkw", "test_weight"):
            stop.table.pop(key, None)  # they are another crop's
    if form.get("speed") != shown["speed"]:
        stop.table.pop("speed", None)
    if form.get("spreading") != shown["spreading"]:
        stop.table.pop("spreading", None)
    _terms(form, stop, only_missing=True)
    if form.told("width") is not None:
        key = "spread_width" if stop.table.get("spreading") is True else "drop_width"
        stop.table["combine"] = {**stop.table.get("combine", {}), key: form.get("width")}
    stop.table["catch"] = _catches(desk, form, stop, list(original["catch"]))
    return stop


def values_of(original: Mapping[str, Any], *, feet: bool) -> dict[str, str]:
    """A check's table as the values of a form that corrects it."""
    values = {
        "crop": str(original["crop"]),
        "speed": shown_speed(original),
        "spreading": _flag_said(original.get("spreading")),
        "rows": str(len(original["catch"]) + 1),
    }
    for row, one in enumerate(original["catch"], start=1):
        values[f"catch-{row}-place"] = str(one["place"])
        values[f"catch-{row}-pan"] = shown_size(one, feet=feet)
        values[f"catch-{row}-amount"] = shown_amount(one)
    return values


def shown_speed(table: Mapping[str, Any]) -> str:
    """The speed with at most four digits."""
    number, _, unit = str(table.get("speed", "")).partition(" ")
    return f"{float(number):.4g} {unit}" if unit else number


def trial_and_bar(desk: Desk, form: Form, stop: Stop) -> dict[str, Any] | None:
    """File the stop under its trial, and read what the monitor showed.

    Raises
    ------
    InputError
        For a trial of another machine, a side without a trial, a bar that is no number or whose way of counting
        nobody told.
    """
    trial, side = form.told("trial"), form.told("side")
    if (trial is None) != (side is None):
        missing, mend = ("trial", "choose the trial") if trial is None else ("side", "choose A or B")
        raise InputError(missing, None, "is missing beside the other", mend)
    if trial is not None and side is not None:
        record = find_trial(desk, trial)
        own = stop.where.setdefault("combine", "" if record.combine is None else record.combine.id)
        if record.combine is not None and own != record.combine.id:
            raise InputError("trial", record.id[:8], f"is a trial on {record.combine.name}", "choose that combine")
        stop.where |= {"trial": record.id, "side": side}
    text = form.told("bar")
    if text is None:
        return None
    shown = shown_by_bar(text)
    if "combine" not in stop.where:
        raise InputError("bar", text, "belongs to no combine", "choose the combine")
    per = form.told("per") or counts_per(desk, stop.where["combine"], stop.table.get("crop"))
    if per is None:
        raise InputError("bar_per", None, "is not told, and the book has no earlier bar", "choose per time or per area")
    return {"reading": shown, "per": per}


def shown_by_bar(text: str, *, called: str = "bar") -> float:
    """What a loss monitor showed, in its own units.

    Raises
    ------
    InputError
        For what is no number, or one that no monitor shows.
    """
    shown = alone(text, field=called, mend="write what the monitor shows, like 40")
    if not 0.0 <= shown < 1e9:
        raise InputError(called, text, "cannot be meant", "write what the monitor shows, 0 or more")
    return shown


def _filed(desk: Desk, form: Form, stop: Stop) -> dict[str, Thing]:
    chosen: dict[str, Thing] = {}
    here = by_ids(desk, [form.get(kind) for kind in FILED])
    for kind in FILED:
        wanted = form.told(kind)
        if wanted is None:
            continue
        thing = here.get(wanted)
        if thing is None or thing.kind != kind:
            raise InputError(kind, wanted[:40], "is not in the book", "choose one of the list")
        refuse_retired(thing, kind)
        chosen[kind] = thing
        stop.where[kind] = thing.id
    if "field" in chosen and chosen["field"].parts.get("season"):
        stop.where["season"] = str(chosen["field"].parts["season"])
    return chosen


def _field(thing: Thing | None, form: Form, stop: Stop) -> None:
    """What the field says of itself; yield, limit and price only where the crop is the field's."""
    table = stop.table
    if form.told("crop") is not None:
        table["crop"] = form.get("crop")
    if thing is None:
        return
    table["field"] = {"name": thing.name, **({"area": thing.parts["area"]} if "area" in thing.parts else {})}
    own = thing.parts.get("crop")
    if own is None:
        return
    table.setdefault("crop", own)
    if find_crop(str(table["crop"]), field="crop").key != find_crop(str(own), field="field, crop").key:
        return
    for key, part in (("yield", "yield_actual"), ("yield", "yield_expected"), ("limit", "limit"), ("price", "price")):
        if part in thing.parts and key not in table:
            table[key] = thing.parts[part]
    if thing.parts.get("windrowed"):
        table["windrowed"] = True
    if "price" in table and units.read(table["price"], "price", field="field, price").currency:
        table.pop("currency", None)  # the price has its own


def _combine(thing: Thing | None, form: Form, stop: Stop) -> None:
    if thing is None:
        return
    keys = ("cut_width", "drop_width", "spread_width", "widths_taped")
    own = {"name": thing.name, **{key: thing.parts[key] for key in keys if key in thing.parts}}
    width = form.told("width")
    if width is not None:
        own["spread_width" if form.get("spreading") == "yes" else "drop_width"] = width
        own.pop("widths_taped", None)
    stop.table["combine"] = own


def _terms(form: Form, stop: Stop, *, only_missing: bool = False) -> None:
    if form.told("speed") is not None and not (only_missing and "speed" in stop.table):
        stop.table["speed"] = form.get("speed")
    if form.get("spreading") in ("yes", "no") and not (only_missing and "spreading" in stop.table):
        stop.table["spreading"] = form.get("spreading") == "yes"
    if form.told("step") is not None:
        stop.table["scale"] = {"step": form.get("step")}


def _catches(desk: Desk, form: Form, stop: Stop, originals: list[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """The catches typed; a row without an amount is none, one without a place or pan is as the one above."""
    pans = {folded(t.name): t for t in things(desk, "pan") if not t.retired}
    found: list[dict[str, Any]] = []
    place, size = "", ""
    for row in range(1, rows_of(form) + 1):
        amount = form.get(f"catch-{row}-amount")
        place = form.get(f"catch-{row}-place") or place
        size = form.get(f"catch-{row}-pan") or size
        if not amount:
            continue
        stop.rows.append(row)
        original = originals[row - 1] if row <= len(originals) else None
        found.append(_catch(len(found) + 1, place, size, amount, pans, original))
    if not found:
        raise InputError("catch", None, "is missing", "write what a pan held, like 12.5 g")
    return found


def _catch(
    number: int, place: str, size: str, amount: str, pans: Mapping[str, Thing], original: Mapping[str, Any] | None
) -> dict[str, Any]:
    if not place:
        raise InputError(f"catch {number}, place", None, "is missing", "choose where it was taken")
    one: dict[str, Any] = {"place": place}
    if original is not None:
        one = {**original, "place": place}
        if amount == shown_amount(original):
            amount = ""
        if size in (shown_size(original, feet=True), shown_size(original, feet=False)):
            size = ""
    if size:
        for key in _SIZES:
            one.pop(key, None)
        one |= _size(number, place, size, pans)
    if amount:
        for key in ("amount", "gross", "tare", "step"):
            one.pop(key, None)
        one["amount"] = amount
    return one


def _size(number: int, place: str, size: str, pans: Mapping[str, Thing]) -> dict[str, Any]:
    if place == "leak":
        return {"time": size}
    if place == "windrow":
        return {"length": size}
    known = pans.get(folded(size))
    if known is not None:
        if {"width", "length"} <= set(known.parts):
            return {key: known.parts[key] for key in ("width", "length")}
        if "area" in known.parts:
            return {"pan": known.parts["area"]}
        raise InputError(f"catch {number}, pan", size, "has no size in the book", "give its area, under Set-up")
    sides = _BY.split(size)
    return {"width": sides[0], "length": sides[1]} if len(sides) == 2 else {"pan": size}


def _flag_said(value: object) -> str:
    return "" if value is None else "yes" if value else "no"

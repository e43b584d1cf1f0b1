"""Which cab cards can a book print? The check behind the card of each machine, crop and pan of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from chaffinch.book.desk import Desk
from chaffinch.book.shown_unit import farm_of
from chaffinch.book.things import Thing, things
from chaffinch.errors import InputError
from chaffinch.records.check import Check
from chaffinch.records.checkfile import check_from_table
from chaffinch.reference import crop as find_crop

USUAL_STEP: Final = "0.1 g"
"""Step of a kitchen scale, used where the book has no scale; the card says what it shows."""
MOST: Final = 200
"""Cards of one print at most; own figure."""
_WIDTHS: Final = {"drop_width", "spread_width"}


@dataclass(frozen=True, slots=True)
class MachineCard:
    """What one card is of.

    Attributes
    ----------
    combine, pan : Thing
    check : Check
        With one empty catch in the discharge: ready for :func:`chaffinch.book.planning.card.card`.
    """

    combine: Thing
    pan: Thing
    check: Check


def machine_cards(
    desk: Desk,
    *,
    combine: Thing | None = None,
    field: Thing | None = None,
    crop: str | None = None,
    pan: Thing | None = None,
    report_in: str | None = None,
) -> list[MachineCard]:
    """The checks behind the cards of a book: one for each combine, crop and pan in use.

    Parameters
    ----------
    desk : Desk
        The open book.
    combine, pan : Thing or None
        Only this one; None for every one in use.
    field : Thing or None
        Whose crop, limit, yield and price apply; None: each crop's newest field that has a limit or a yield.
    crop : str or None
        Only this crop.
    report_in : str or None
        Unit of loss; None for the farm's.

    Raises
    ------
    InputError
        When the book has no combine, no pan or no crop to make a card of, or a width is missing.
    """
    named = _in_use(desk, "combine", combine)
    combines = [one for one in named if _WIDTHS & set(one.parts)]
    if not combines:
        raise InputError(
            f"combine {named[0].name}", None, "has neither the width of its discharge nor that of its throw",
            f'chaffinch book edit-label combine "{named[0].name}" drop_width "66 in"',
        )  # fmt: skip
    pans = [one for one in _in_use(desk, "pan", pan) if {"area", "width"} & set(one.parts)]
    if not pans:
        raise InputError("pan", None, "has no size in the book", 'chaffinch book add pan tray --set area="4 ft2"')
    fields = _fields(desk, field, crop)
    if len(combines) * len(pans) * len(fields) > MOST:
        raise InputError("card", None, f"would be more than {MOST} cards", "name a combine, a field or a pan")
    scales = [t for t in things(desk, "scale") if not t.retired]
    step = str(scales[0].parts["step"]) if len(scales) == 1 else USUAL_STEP
    return [
        MachineCard(machine, tray, _check(desk, machine, tray, home, step, report_in))
        for machine in combines
        for home in fields
        for tray in pans
    ]


def without_widths(desk: Desk) -> list[str]:
    """Names of the combines of which no card can be made: nothing says how wide their discharge lies."""
    return [t.name for t in things(desk, "combine") if not t.retired and not _WIDTHS & set(t.parts)]


def _in_use(desk: Desk, kind: str, chosen: Thing | None) -> list[Thing]:
    if chosen is not None:
        return [chosen]
    found = [t for t in things(desk, kind) if not t.retired]
    if not found:
        raise InputError(kind, None, "there is none in the book", f"chaffinch book add {kind}")
    return found


def _fields(desk: Desk, field: Thing | None, crop: str | None) -> Sequence[Thing]:
    """The field told, else the newest of each crop that says from when on acting pays, or what is expected."""
    wanted = None if crop is None else find_crop(crop, field="--crop").key
    if field is not None:
        return [field]
    newest: dict[str, Thing] = {}
    for one in things(desk, "field"):
        if one.retired or "crop" not in one.parts or not {"limit", "yield_expected", "yield_actual"} & set(one.parts):
            continue
        newest[find_crop(str(one.parts["crop"]), field="field, crop").key] = one
    found = [one for key, one in newest.items() if wanted in (None, key)]
    if not found:
        what = "no field with a crop and a limit or yield" if wanted is None else f"no such field of {wanted}"
        raise InputError("card", None, f"the book has {what}", "name a field that has one: --field NAME")
    return found


def _check(desk: Desk, machine: Thing, pan: Thing, field: Thing, step: str, report_in: str | None) -> Check:
    farm = farm_of(desk)
    parts = {} if farm is None else farm.parts
    table: dict[str, Any] = {key: parts[key] for key in ("country", "currency", "report_in") if key in parts}
    if report_in is not None:
        table["report_in"] = report_in
    for key, part in (("crop", "crop"), ("limit", "limit"), ("price", "price"), ("yield", "yield_actual"),
                      ("yield", "yield_expected")):  # fmt: skip
        if part in field.parts and key not in table:
            table[key] = field.parts[part]
    widths = ("cut_width", "drop_width", "spread_width", "widths_taped")
    table["combine"] = {"name": machine.name, **{key: machine.parts[key] for key in widths if key in machine.parts}}
    size = {key: pan.parts[key] for key in ("width", "length") if key in pan.parts}
    held = size if len(size) == 2 else {"pan": pan.parts["area"]}
    table["catch"] = [{"place": "discharge", "amount": "0 g", "step": step, **held}]
    table["spreading"] = "drop_width" not in machine.parts
    if "price" in table and any(sign.isalpha() or sign in "$€£" for sign in str(table["price"]).split("/")[0]):
        table.pop("currency", None)  # The price has its own.
    try:
        return check_from_table(table)
    except InputError as error:
        raise error.within(f"card of {machine.name} in {field.name}") from None

"""The cab card: one small page for one machine, crop and pan, to be read at arm's length."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from markupsafe import Markup

from chaffinch import __version__, units
from chaffinch.book.checks.in_trade_unit import land_unit, loss_factor, money_factor
from chaffinch.book.figures import plain_number, seeds_text
from chaffinch.book.planning.card import Card
from chaffinch.book.wording import CAUTION
from chaffinch.errors import InputError
from chaffinch.paper.axes import Axis
from chaffinch.paper.drawing import LETTER, ruled, text_at
from chaffinch.paper.ink import Drawing, drawn
from chaffinch.paper.typeset import SIZES, Printed, typeset
from chaffinch.paper.words import words

SIZES_OF_CARDS: Final = ("a5", "half-letter")
MARGIN_MM: Final = 9.0
MM_PER_PX: Final = 0.25
LONGEST_ADDRESS: Final = 200
"""Characters of an address a code of this size is still read from; own figure."""
LONGEST_NAME: Final = 40
"""Characters of a machine's or pan's name on a card; own figure."""
STEPS: Final = 5
LARGEST_PT, SMALLEST_PT, USUAL_DIGITS = 15.5, 7.5, 4.1
"""Sizes of the table's letters [pt], and the characters of a figure up to which they are at their largest; own."""


def cab_card(
    found: Card, *, size: str, date: str, pan: str = "", address: str = "", combine_id: str = ""
) -> dict[str, Any]:
    """One card as data for the layout.

    Parameters
    ----------
    found : Card
        From :func:`chaffinch.book.planning.card.card`.
    size : {"a5", "half-letter"}
    date : str
        Like 2026-08-14.
    pan : str
        Name of the pan; its size is told with it.
    address : str
        Where the app is, like https://farm.local:8443; "" for no code.
    combine_id : str
        Of the book; the code opens this machine.

    Raises
    ------
    InputError
        For another size, or an address out of form.
    """
    if size not in SIZES_OF_CARDS:
        raise InputError("--paper", size, "is no size of a card", f"use {', '.join(SIZES_OF_CARDS)}")
    check = found.check
    unit, factor = check.trade_unit, loss_factor(check)
    machine = "" if check.combine is None else _cut(check.combine.name)
    limit = None if check.limit_kg_ha is None else check.limit_kg_ha * factor
    crop = found.figures.crop.name.capitalize()
    rule = _rule(found, limit)
    link = link_of(address, combine_id)
    return {
        "title": words("card.title", crop=f"{crop} · {machine}" if machine else crop),
        "crop": crop,
        "machine": machine,
        "pan": words("card.pan", pan=_pan(found, _cut(pan))),
        "sides": [
            {
                "name": words("card.on" if side.spreading else "card.off"),
                "ratio": words("card.ratio", ratio=f"{side.width_ratio:.1f}"),
                "smallest": _smallest(side.smallest_kg_ha, factor, unit, spreading=side.spreading),
            }
            for side in found.sides
        ],
        "limit": words("card.no_limit") if limit is None else f"{words('card.limit')}: {plain_number(limit)} {unit}",
        "head": _head(found),
        "rows": _rows(found),
        **_letters_pt(_rows(found)),
        "rule": {"svg": rule.ink(_width_px(size)), "alt": rule.alt, "width_mm": _width_px(size) * MM_PER_PX},
        "notes": f"{words('card.machine')} {words('card.clean')}",
        "caution": CAUTION,
        "steps_title": words("card.steps"),
        "steps": [words(f"card.step.{number}") for number in range(1, STEPS + 1)],
        "qr": _code(link),
        "made": words("card.made", version=__version__, date=date),
        "size": size,
        "date": date,
    }


def print_cards(cards: Sequence[dict[str, Any]]) -> Printed:
    """Cards as one PDF, a page each."""
    first = cards[0]
    title = first["title"] if len(cards) == 1 else words("card.many", n=len(cards))
    return typeset("card", {"title": title, "size": first["size"], "date": first["date"], "cards": list(cards)})


def link_of(address: str, combine_id: str = "") -> str:
    """What the code says: the app at that address, with this machine chosen; "" without an address.

    Raises
    ------
    InputError
        For what is no address of a page.
    """
    plain = address.strip().rstrip("/")
    if not plain:
        return ""
    mend = "write it as the browser shows it, like https://farm.local:8443"
    scheme, mark, rest = plain.partition("://")
    if not mark or scheme not in ("http", "https") or not rest or any(c.isspace() or c in "<>\"'@" for c in rest):
        raise InputError("--address", address, "is no address of a page", mend)
    if len(plain) > LONGEST_ADDRESS:
        raise InputError("--address", address, f"is longer than {LONGEST_ADDRESS} characters", "use a shorter one")
    root = plain.removesuffix("/app")
    return f"{root}/app/#/where/{combine_id}" if combine_id else f"{root}/app/"


def _code(link: str) -> dict[str, str]:
    if not link:
        return {}
    import segno

    svg = segno.make(link, error="m", micro=False).svg_inline(scale=4, border=4, dark="#000", light="#fff")
    with_space = svg.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1) if "xmlns" not in svg else svg
    return {"svg": with_space, "alt": words("card.qr.alt", address=link), "said": words("card.qr"), "link": link}


def _cut(name: str) -> str:
    """A name as long as a card has room for."""
    return name if len(name) <= LONGEST_NAME else name[: LONGEST_NAME - 1] + "…"


def _pan(found: Card, name: str) -> str:
    pan = found.check.catches[0].pan
    if pan is None:
        return name
    feet = land_unit(found.check) == "ac"
    area = f"{units.write(pan.area_m2, 'ft2', 'area'):.3g} ft²" if feet else f"{pan.area_m2:.3g} m²"
    return f"{name}, {area}" if name else area


def _smallest(kg_ha: float | None, factor: float, unit: str, *, spreading: bool) -> str:
    if kg_ha is None:
        return ""
    side = words("card.on" if spreading else "card.off")
    return words("card.smallest", loss=plain_number(kg_ha * factor, 2), unit=unit, side=side)


def _head(found: Card) -> list[str]:
    check = found.check
    head = [check.trade_unit]
    if check.price_per_t is not None:
        head.append(words("card.money", sign=check.currency or "money", land=land_unit(check)))
    return head + ["g", "mL", words("card.seeds")] * len(found.sides)


def _rows(found: Card) -> list[dict[str, Any]]:
    check, factor = found.check, loss_factor(found.check)
    rows = []
    for i, loss in enumerate(found.losses_kg_ha):
        cells = [plain_number(loss * factor)]
        if check.price_per_t is not None:
            cells.append(plain_number(loss * check.price_per_t / 1000.0 * money_factor(check)))
        for side in found.sides:
            held = side.rows[i]
            cells += [plain_number(held.mass_g), plain_number(held.volume_ml), seeds_text(held.seeds)]
        at_limit = check.limit_kg_ha is not None and abs(loss - check.limit_kg_ha) < 1e-9 * loss
        rows.append({"cells": cells, "limit": at_limit})
    return rows


def _letters_pt(rows: Sequence[dict[str, Any]]) -> dict[str, float]:
    """Sizes of the table's letters [pt]: large, and smaller where figures are long."""
    longest = max(len(cell) for row in rows for cell in row["cells"])
    large = min(LARGEST_PT, max(SMALLEST_PT, LARGEST_PT * USUAL_DIGITS / longest))
    return {"large_pt": large, "small_pt": min(12.0, large)}


def _width_px(size: str) -> int:
    return int((SIZES[size][0] - 2 * MARGIN_MM) / MM_PER_PX)


def _rule(found: Card, limit: float | None) -> Drawing:
    """The ruler of this pan: losses on it, and below each what the pan then holds in grams."""
    check, factor = found.check, loss_factor(found.check)
    unit = check.trade_unit
    top = max(found.losses_kg_ha) * factor
    sides = [
        (words("card.on_short" if s.spreading else "card.off_short"), s.rows[-1].mass_g / top) for s in found.sides
    ]
    high = plain_number(top)
    told = "" if limit is None else words("card.ruler.about", high=high, unit=unit, limit=plain_number(limit))

    def draw(width: int) -> tuple[int, list[Markup]]:
        room = max(LETTER * len(unit), *(LETTER * len(name) for name, _ in sides)) + 26
        x = Axis.around(0.0, top, most=6, start=14.0, end=width - room)
        parts = ruled(x, 50.0, unit, limit, "" if limit is None else words("limit", limit=plain_number(limit)))
        y = 72.0
        for name, per_unit in sides:
            parts += [text_at(x.at(v), y, plain_number(v * per_unit, 2), "middle") for v in x.ticks()]
            parts.append(text_at(x.end + 24, y, name, "start"))
            y += 18.0
        return round(y - 6), parts

    return drawn(draw, "rule", words("card.ruler", unit=unit), told)

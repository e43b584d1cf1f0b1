"""How the loss of a whole field looks in the terminal, and as JSON."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from chaffinch.book.check_json import as_range
from chaffinch.book.fieldlog_said import doubts_said
from chaffinch.book.fieldlogs import moment_text
from chaffinch.book.figures import plain_number, range_words
from chaffinch.cli.book_figures import headline
from chaffinch.cli.page import Page

if TYPE_CHECKING:
    from chaffinch.book.log_losses import LogLoss
    from chaffinch.book.shown_unit import PaceUnit
    from chaffinch.engine.estimate import Range
    from chaffinch.fieldlog.loss import ClassLoss

T = 1 / 1000.0


def class_kmh(unit: PaceUnit) -> float:
    """How wide a class of speed is on this page: a kilometre or half a mile per hour [km/h]."""
    return 2.0 * unit.step_kmh


def show(found: LogLoss, unit: PaceUnit, sign: str, page: Page) -> None:
    """Print what a field lost."""
    _head(found, page)
    what = "machine loss" if found.header_kg is None else "header and machine loss"
    headline(page, found.kg_ha.times(unit.loss.factor), unit.loss.name, f"{what}, mean of the field")
    page.say()
    _amounts(found, unit, sign, page)
    page.say()
    if len(found.by_speed) > 1:
        rows = [["speed", unit.loss.land, unit.loss.name]]
        for one in found.by_speed:
            ends = " to ".join(plain_number(unit.speeds(v)) for v in (one.low, one.low + class_kmh(unit)))
            rows.append([f"{ends} {unit.speed}", *_of_class(one, unit)])
        page.print_table(rows)
        page.say()
    if len(found.by_hour) > 1:
        rows = [["hour from (UTC)", unit.loss.land, unit.loss.name]]
        rows += [[moment_text(one.low)[:16], *_of_class(one, unit)] for one in found.by_hour]
        page.print_table(rows)
        page.say()
    _told(found, page)
    page.say()


def show_other(found: LogLoss, unit: PaceUnit, sign: str, page: Page) -> None:
    """Print what another pace would have brought."""
    other = found.other
    assert other is not None
    _head(found, page)
    at = f"{plain_number(unit.speeds(other.speed_kmh))} {unit.speed}"
    rows = [
        ["", "lost, t", "likely", "hours cutting"],
        ["as it was cut", *_tonnes(found.total_kg), f"{found.hours:.2f}"],
        [f"at {at}", *_tonnes(other.total_kg), f"{other.hours:.2f}"],
        ["saved", *_tonnes(other.saved_kg), f"{-other.hours_more:.2f}"],
    ]
    page.print_table(rows)
    if other.money_saved is not None:
        low, middle, high = range_words(other.money_saved)
        page.paragraph(
            f"Grain saved: {sign}{middle}, likely {sign}{low} to {sign}{high}; time is not in it.", bullet="· "
        )
    if other.beyond_share > 0:
        share = f"{100 * other.beyond_share:.0f} %"
        page.paragraph(
            f"At that pace {share} of the area lies beyond the loads tested by more than a tenth.", bullet="! "
        )
    page.paragraph("Turns and waiting are in neither; what an hour costs, chaffinch pace weighs.", bullet="· ")
    _told(found, page)
    page.say()


def as_json(found: LogLoss) -> dict[str, Any]:
    """What a field lost, as data."""
    other = found.other
    return {
        "total_kg": as_range(found.total_kg),
        "machine_kg": as_range(found.machine_kg),
        "header_kg": as_range(found.header_kg),
        "kg_ha": as_range(found.kg_ha),
        "money": as_range(found.money),
        "cut_ha": found.cut_ha,
        "counted_ha": found.known_ha,
        "hours_cutting": found.hours,
        "beyond_tested_share": _plain(found.beyond_share),
        "load_kind": found.curves.load_kind,
        "checks": len(found.curves.own),
        "joined": [
            {
                "check": one.id,
                "taken_at": one.taken_at,
                "throughput_t_h": _plain(one.moment.throughput_t_h),
                "speed_kmh": _plain(one.moment.speed_kmh),
                "told_speed_kmh": one.told_kmh,
                "doubts": list(one.moment.doubts),
            }
            for one in found.joined
        ],
        "by_speed": [_class_json(one, "speed_kmh") for one in found.by_speed],
        "by_hour": [_class_json(one, "time_s") for one in found.by_hour],
        "squares": len(found.squares),
        "other_pace": None
        if other is None
        else {
            "speed_kmh": other.speed_kmh,
            "total_kg": as_range(other.total_kg),
            "saved_kg": as_range(other.saved_kg),
            "hours_cutting": other.hours,
            "hours_more": other.hours_more,
            "beyond_tested_share": _plain(other.beyond_share),
            "money_saved": as_range(other.money_saved),
        },
    }


def _head(found: LogLoss, page: Page) -> None:
    page.say()
    name = found.curves.combine.name
    page.two_ends(f"{name} · {found.curves.crop}", f"{found.log.found.records:,} records of its log")
    page.say()


def _amounts(found: LogLoss, unit: PaceUnit, sign: str, page: Page) -> None:
    middle, likely = _tonnes(found.total_kg)
    text = f"In all {middle} t on {plain_number(found.cut_ha / unit.ha, 4)} {unit.loss.land}, likely {likely}"
    if found.money is not None:
        low, money, high = range_words(found.money)
        text += f": {sign}{money}, likely {sign}{low} to {sign}{high}"
    page.paragraph(f"{text}.", bullet="· ")
    if found.header_kg is not None:
        header, machine = (_tonnes(r) for r in (found.header_kg, found.machine_kg))
        page.paragraph(f"Header {header[0]} t ({header[1]}), machine {machine[0]} t ({machine[1]}).", bullet="· ")


def _told(found: LogLoss, page: Page) -> None:
    """What the answer rests on."""
    own = len(found.curves.own)
    checks = "no check" if own == 0 else "1 check" if own == 1 else f"{own} checks"
    page.paragraph(f"It rests on {checks} of this combine in this crop.", bullet="· ")
    stands = sum(one.moment.stands for one in found.joined)
    if found.joined:
        page.paragraph(
            f"{stands} of {len(found.joined)} checks taken while the log ran got their load from it.", bullet="· "
        )
    for one in found.joined:
        if not one.moment.stands:
            page.paragraph(f"{one.taken_at}: {doubts_said(one.moment.doubts)}; its load is as told.", bullet="  ")
    share = f"{100 * found.known_ha / found.cut_ha:.0f} %"
    page.paragraph(f"Records that count make {share} of the area; the rest is taken to have lost alike.", bullet="· ")
    if found.header_kg is None:
        page.paragraph("Machine only: header loss was not measured and comes on top.", bullet="! ")
    if found.curves.load_kind == "speed":
        page.paragraph("Some checks tell no yield, so the curve stands over speed and not over load.", bullet="! ")
    if math.isnan(found.beyond_share):
        page.paragraph("This combine was never tested in this crop.", bullet="! ")
    elif found.beyond_share > 0:
        share = f"{100 * found.beyond_share:.0f} %"
        page.paragraph(f"{share} of the area was cut more than a tenth beyond the loads tested.", bullet="! ")


def _tonnes(r: Range) -> tuple[str, str]:
    low, middle, high = range_words(r.times(T))
    return middle, f"{low} to {high}"


def _of_class(one: ClassLoss, unit: PaceUnit) -> list[str]:
    return [plain_number(one.area_ha / unit.ha), plain_number(one.kg_ha * unit.loss.factor)]


def _class_json(one: ClassLoss, name: str) -> dict[str, float]:
    return {f"{name}_from": one.low, "area_ha": one.area_ha, "kg_ha": one.kg_ha}


def _plain(value: float) -> float | None:
    return value if math.isfinite(value) else None

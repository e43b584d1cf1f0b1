"""How the loss of a whole field looks in the terminal, and as JSON."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, Final

from chaffinch.book.checks.plain_data import as_range
from chaffinch.book.fieldlogs.answer import hours_said
from chaffinch.book.fieldlogs.said import doubts_said
from chaffinch.book.fieldlogs.zones import zone_rows
from chaffinch.book.figures import kept_digits, plain_number, range_words
from chaffinch.book.times import local_moment
from chaffinch.cli.book.figures import headline
from chaffinch.cli.fieldlog.machines_page import machines_table, name_of, paces_table
from chaffinch.cli.terminal.page import Page

if TYPE_CHECKING:
    from chaffinch.book.fieldlogs.losses import LogLoss, MachineLoss
    from chaffinch.book.fieldlogs.sensor import LogSensor
    from chaffinch.book.shown_unit import PaceUnit
    from chaffinch.engine.estimate import Range
    from chaffinch.engine.pace.best import Pace, Remark
    from chaffinch.fieldlog.loss.parts import ClassLoss

T = 1 / 1000.0
BEST_REMARKS: Final[dict[Remark, str]] = {
    "time costs nothing": "An hour costs 0, so the answer is as slow as you like.",
    "grain costs nothing": "The price is 0, so the answer is as fast as you can.",
    "not tested": "This combine was never tested in this crop: this is expectation, not advice.",
    "header not measured": "Header loss was not measured; it may move the best pace.",
    "may lie beyond": "The best pace may lie beyond the speeds tried: take a check there.",
    "beyond tested": "The best pace lies a little beyond the speeds tried: take a check there.",
    "more than the crop": "At some speeds the curve, carried on, would lose more than grew: it is held at the yield.",
    "today far from tested": "The field was cut far from the speeds tried.",
    "slope not learned": "The checks have not shown how loss rises with speed.",
}


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
    if found.several:
        machines_table(found, unit, sign, page)
    if len(found.by_speed) > 1:
        rows = [["speed", unit.loss.land, unit.loss.name]]
        for one in found.by_speed:
            ends = " to ".join(plain_number(unit.speeds(v)) for v in (one.low, one.low + class_kmh(unit)))
            rows.append([f"{ends} {unit.speed}", *_of_class(one, unit)])
        page.print_table(rows)
        page.say()
    if len(found.by_hour) > 1:
        rows = [["hour from", unit.loss.land, unit.loss.name]]
        rows += [[local_moment(one.low), *_of_class(one, unit)] for one in found.by_hour]
        page.print_table(rows)
        page.say()
    if found.by_zone:
        _zones(found, unit, sign, page)
        page.say()
    _told(found, page)
    page.say()


def _zones(found: LogLoss, unit: PaceUnit, sign: str, page: Page) -> None:
    """What each zone lost."""
    priced = found.money is not None
    head = ["zone", unit.loss.land, unit.loss.name, "likely"]
    rows = zone_rows(
        found.by_zone, unit.loss.factor, lambda ha: plain_number(ha / unit.ha),
        none="in no zone", empty="no record counts", priced=priced,
    )  # fmt: skip
    page.print_table([head + [f"lost, {sign.strip() or 'money'}"] * priced, *rows])
    if found.in_several:
        page.paragraph(f"{found.in_several:,} records lie in several zones and count in the first.")


def show_other(found: LogLoss, unit: PaceUnit, sign: str, page: Page) -> None:
    """Print what another pace would have brought."""
    other = found.other
    assert other is not None
    _head(found, page)
    each = math.isnan(other.speed_kmh)
    at = "each at its best" if each else f"at {_speed(other.speed_kmh, unit)}"
    if found.best is not None:
        _best(found.best, unit, page)
    if found.several:
        _bests(found, unit, page)
        paces_table(found, unit, page)
    rows = [
        ["", "lost, t", "likely", "hours cutting"],
        ["as it was cut", *_tonnes(found.total_kg), f"{found.hours:.2f}"],
        [at, *_tonnes(other.total_kg), f"{other.hours:.2f}"],
        ["saved", *_tonnes(other.saved_kg), f"{-other.hours_more:.2f}".replace("-", "−")],
    ]
    page.print_table(rows)
    if other.money_saved is not None:
        low, middle, high = range_words(other.money_saved)
        alone = "; time is not in it" if other.time_cost is None else ""
        page.paragraph(
            f"Grain saved: {_money(middle, sign)}, likely {_money(low, sign)} to {_money(high, sign)}{alone}.",
            bullet="· ",
        )
    if other.time_cost is not None:
        # Machines whose hours cost unlike may take longer together and yet save, or the other way round.
        what = f"{'more' if other.hours_more >= 0 else 'less'} {'cost' if other.time_cost >= 0 else 'save'}"
        hours = f"{abs(other.hours_more):.2f} hours {what} {sign}{plain_number(abs(other.time_cost))}"
        page.paragraph(f"{hours}.", bullet="· ")
    if other.gain is not None:
        low, middle, high = range_words(other.gain)
        page.paragraph(
            f"Both together: {_money(middle, sign)} gained, likely {_money(low, sign)} to {_money(high, sign)}.",
            bullet="· ",
        )
    if other.beyond_share > 0:
        share = f"{100 * other.beyond_share:.0f} %"
        page.paragraph(
            f"At that pace {share} of the area lies beyond the loads tested by more than a tenth.", bullet="! "
        )
    for text in hours_said(found, sign):
        page.paragraph(text, bullet="· ")
    page.paragraph("Turns and waiting take as long at any pace and are in neither.", bullet="· ")
    _told(found, page)
    page.say()


def _best(best: Pace, unit: PaceUnit, page: Page) -> None:
    """Where grain and time cost least together."""
    page.figure(_speed(best.best_kmh, unit), "would have cost least on this field, grain and time together")
    low, high = (_speed(v, unit) for v in best.band_kmh)
    page.say()
    page.paragraph(f"From {low} to {high} the cost is about the same.", bullet="· ")
    own_low, _, own_high = range_words(best.own_best_kmh.times(1 / unit.kmh))
    page.paragraph(
        f"Were the curves known, it would likely lie from {own_low} to {own_high} {unit.speed}.", bullet="· "
    )
    for remark in best.remarks:
        page.paragraph(BEST_REMARKS[remark], bullet="! ")
    page.say()


def _bests(found: LogLoss, unit: PaceUnit, page: Page) -> None:
    """The best pace of each of several machines."""
    for one in found.machines:
        if one.best is not None:
            low, high = (_speed(v, unit) for v in one.best.band_kmh)
            text = f"{name_of(one)}: {_speed(one.best.best_kmh, unit)} would have cost least; {low} to {high} the same."
            page.paragraph(text, bullet="· ")
            for remark in one.best.remarks:
                page.paragraph(BEST_REMARKS[remark], bullet="! ")
    if found.machines[0].best is not None:
        page.say()


def _speed(kmh: float, unit: PaceUnit) -> str:
    return f"{plain_number(unit.speeds(kmh))} {unit.speed}"


def as_json(found: LogLoss) -> dict[str, Any]:
    """What a field lost, as data."""
    from chaffinch.book.fieldlogs.losses import measured  # numpy and the curves, which other pages do without

    other = found.other
    return {
        **measured(found),
        "beyond_tested_share": _plain(found.beyond_share),
        "load_kind": found.curves.load_kind,
        "checks": len(found.own),
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
            "speed_kmh": _plain(other.speed_kmh),
            "total_kg": as_range(other.total_kg),
            "saved_kg": as_range(other.saved_kg),
            "hours_cutting": other.hours,
            "hours_more": other.hours_more,
            "beyond_tested_share": _plain(other.beyond_share),
            "money_saved": as_range(other.money_saved),
            "time_cost": other.time_cost,
            "gain": as_range(other.gain),
        },
        "best_pace": None
        if found.best is None
        else {
            "speed_kmh": found.best.best_kmh,
            "about_the_same_kmh": list(found.best.band_kmh),
            "own_best_kmh": as_range(found.best.own_best_kmh),
            "cost_per_ha": found.best.mean_cost_per_ha,
            "at_edge": found.best.at_edge,
            "remarks": list(found.best.remarks),
        },
        "mean_speed_kmh": _plain(found.mean_kmh),
        "records_in_several_zones": found.in_several,
        "sensor": None
        if found.sensor is None
        else {
            "column": found.sensor.column,
            "checks_beside": found.sensor.pairs,
            "missing": list(found.sensor.missing),
            "machine_kg": as_range(found.sensor.machine_kg),
            "beyond_tried_share": _plain(found.sensor.beyond_share),
        },
    }


def _head(found: LogLoss, page: Page) -> None:
    page.say()
    records = f"{found.log.cleaned.records:,} records of {'their' if found.several else 'its'} log"
    page.two_ends(f"{found.combines} · {found.curves.crop}", records)
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
    for one in found.machines:
        own = len(one.curves.own)
        checks = "no check" if own == 0 else "1 check" if own == 1 else f"{own} checks"
        whose = name_of(one) if found.several else "this combine"
        page.paragraph(f"It rests on {checks} of {whose} in this crop.", bullet="· ")
    stands = sum(one.moment.stands for one in found.joined)
    if found.joined:
        page.paragraph(
            f"{stands} of {len(found.joined)} checks taken while the log ran got their load from it.", bullet="· "
        )
    for joined in found.joined:
        if not joined.moment.stands:
            why = doubts_said(joined.moment.doubts)
            page.paragraph(f"{joined.taken_at}: {why}; its load is as told.", bullet="  ")
    share = f"{100 * found.known_ha / found.cut_ha:.0f} %"
    page.paragraph(f"Records that count make {share} of the area; the rest is taken to have lost alike.", bullet="· ")
    for one in found.machines:
        whose = f"{name_of(one)}: " if found.several else ""
        if one.sensor is not None:
            page.paragraph(whose + _sensor(one.sensor), bullet="· ")
        for text in _warned(one):
            page.paragraph(whose + text, bullet="! ")


def _warned(one: MachineLoss) -> Iterator[str]:
    """What is not in the sum of a machine."""
    if one.header_kg is None:
        yield "Machine only: header loss was not measured and comes on top."
    if one.curves.load_kind == "speed":
        yield "Some checks tell no yield, so the curve stands over speed and not over load."
    if math.isnan(one.beyond_share):
        yield "This combine was never tested in this crop."
    elif one.beyond_share > 0:
        yield f"{100 * one.beyond_share:.0f} % of the area was cut more than a tenth beyond the loads tested."


def _money(amount: str, sign: str) -> str:
    """An amount with the currency behind its minus."""
    return f"−{sign}{amount[1:]}" if amount.startswith("−") else f"{sign}{amount}"


def _sensor(sensor: LogSensor) -> str:
    """What the machine's own loss sensor says."""
    if sensor.machine_kg is None:
        return (
            f"The log holds readings of a loss sensor ({sensor.column}); they say nothing yet. Needed: "
            f"{'; '.join(sensor.missing)}."
        )
    middle, likely = _tonnes(sensor.machine_kg)
    far = (
        f" {100 * sensor.beyond_share:.0f} % of the area shows readings beyond those tried."
        if sensor.beyond_share
        else ""
    )
    return (
        f"By its own loss sensor ({sensor.column}), read by {sensor.pairs} checks beside it, the machine lost "
        f"{middle} t, likely {likely}.{far}"
    )


def _tonnes(r: Range) -> tuple[str, str]:
    low, middle, high = range_words(r.times(T))
    return middle, f"{low} to {high}"


def _of_class(one: ClassLoss, unit: PaceUnit) -> list[str]:
    return [plain_number(one.area_ha / unit.ha), kept_digits(one.kg_ha * unit.loss.factor, 3)]


def _class_json(one: ClassLoss, name: str) -> dict[str, float]:
    return {f"{name}_from": one.low, "area_ha": one.area_ha, "kg_ha": one.kg_ha}


def _plain(value: float) -> float | None:
    return value if math.isfinite(value) else None

"""``chaffinch monitor``: what the bar of a loss monitor means, from readings beside checks in the book."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final

import click
import numpy as np

from chaffinch import units
from chaffinch.cli.options.which_book import book_option, open_the_book, print_json, progress
from chaffinch.cli.terminal.page import Page
from chaffinch.errors import InputError
from chaffinch.units.numerals import alone

if TYPE_CHECKING:
    from chaffinch.book.desk import Desk
    from chaffinch.book.monitors.key import MonitorFound
    from chaffinch.cli.pace_page import PaceUnit
    from chaffinch.engine.estimate import Range
    from chaffinch.engine.monitor.stale import Conditions

ROWS: Final = 6


@click.command("monitor")
@book_option
@click.option("--combine", metavar="NAME", help="The combine; may be left out where the book has one.")
@click.option("--crop", metavar="NAME", required=True, help="The crop, like canola.")
@click.option("--season", metavar="NAME", help="Only pairs of this season; else of all.")
@click.option("--sensor", metavar="NAME", help='A field log\'s sensor, like "left sieve"; else the bar in the cab.')
@click.option("--bar", "bar", metavar="NUMBER", help="What it shows now: the loss that stands for.")
@click.option("--speed", metavar="TEXT", help='Speed now, like "6 km/h"; a bar per time needs it.')
@click.option("--condition", "given_conditions", metavar="KEY=NUMBER", multiple=True,
              help="Now, like humidity_pct=45: does the key still hold?")  # fmt: skip
@click.option("--json", "as_data", is_flag=True, help="Print as JSON.")
def command(address: str | None, as_data: bool, **given: Any) -> None:
    """Read the loss monitor in real units.

    The key is learned from pairs: what the bar showed and what a check found at the same place. It needs four pairs
    over a span of 1.5 times before it claims anything, and says where it has not been tried.

    Readings that chaffinch fieldlog bars noted from a log have a key for each sensor.
    """
    from chaffinch.book.monitors.key import monitor
    from chaffinch.cli.options.filing import one_thing, read_conditions
    from chaffinch.cli.pace import only_combine
    from chaffinch.cli.pace_page import unit_of

    desk = open_the_book(address)
    combine = only_combine(desk, given["combine"])
    season = None if given["season"] is None else one_thing(desk, "season", given["season"], flag="--season").id
    told = read_conditions(given["given_conditions"])
    bar = None if given["bar"] is None else alone(given["bar"], field="--bar", mend="write what it shows, like 40")
    speed = None if given["speed"] is None else units.read_positive(given["speed"], "speed", field="--speed").value
    with progress("Reading the checks") as step:
        found = monitor(
            desk, combine, given["crop"], season=season, sensor=given["sensor"], now=_now(desk, told), progress=step
        )
    unit = unit_of(desk, found.crop)
    if bar is not None and not found.key.missing:
        # Said before anything is printed: a bar that was never tried.
        found.key.loss_kg_ha(bar, speed)
    if as_data:
        print_json(_as_json(found, bar, speed))
        return
    _show(found, Page.here(), unit, bar, speed)


def _now(desk: Desk, told: dict[str, float]) -> Conditions | None:
    if not told:
        return None
    from datetime import datetime

    from chaffinch.engine.monitor.stale import Conditions

    return Conditions(
        grain_moisture_pct=told.get("grain_moisture_pct"),
        humidity_pct=told.get("humidity_pct"),
        time_h=datetime.fromisoformat(desk.now()).timestamp() / 3600.0,
    )


def _show(found: MonitorFound, page: Page, unit: PaceUnit, bar: float | None, speed: float | None) -> None:
    from chaffinch.book.figures import rounded
    from chaffinch.book.monitors.said import HEADER, NOT_YET, PER, catches_said, sensors_said, standing_said
    from chaffinch.cli.book.figures import headline

    key = found.key
    page.say()
    count = len(found.pairs)
    page.two_ends(
        f"{found.combine.name} · {found.crop}", f"{count} {'pair' if count == 1 else 'pairs'} of bar and check"
    )
    page.say()
    page.paragraph(HEADER)
    if key.missing:
        page.paragraph(f"◆ {NOT_YET.format(missing='; '.join(key.missing))}")
        for text in sensors_said(found):
            page.paragraph(text, bullet="· ")
        _left_out(found, page)
        page.say()
        return
    if bar is not None:
        page.say()
        r = key.loss_kg_ha(bar, speed)
        at = "" if speed is None else f" at {rounded(unit.speeds(speed), 1)} {unit.speed}"
        headline(page, r.times(unit.loss.factor), unit.loss.name, f"machine loss where the bar shows {bar:g}{at}")
    if speed is not None and not found.near_a_pair(speed):
        page.paragraph(_untried(found, unit, speed), bullet="! ")
    page.say()
    _bar_to_loss(found, page, unit)
    page.say()
    _loss_to_bar(found, page, unit)
    page.say()
    page.paragraph(PER[key.per], bullet="· ")
    for text in (*sensors_said(found), *standing_said(found.standing, found.tested_on), *catches_said(found)):
        page.paragraph(text, bullet="· ")
    _left_out(found, page)
    page.say()


def _left_out(found: MonitorFound, page: Page) -> None:
    from chaffinch.book.monitors.said import left_out_said

    for text in left_out_said(found.left_out):
        page.paragraph(text, bullet="· ")


def _untried(found: MonitorFound, unit: PaceUnit, speed: float) -> str:
    from chaffinch.book.figures import rounded
    from chaffinch.book.monitors.said import UNTRIED_SPEED

    ends = (speed, found.speeds_kmh[0], found.speeds_kmh[-1])
    said, low, high = (f"{rounded(unit.speeds(v), 1)} {unit.speed}" for v in ends)
    return UNTRIED_SPEED.format(speed=said, low=low, high=high)


def _columns(found: MonitorFound) -> Sequence[float | None]:
    return found.speeds_kmh if found.key.per == "time" else (None,)


def _bar_to_loss(found: MonitorFound, page: Page, unit: PaceUnit) -> None:
    key = found.key
    speeds = _columns(found)
    ends = [key.readings_tried(v) for v in speeds]
    bars = _round_steps(min(low for low, _ in ends), max(high for _, high in ends), ROWS)
    both = key.table(bars, [], speeds)
    rows = [["bar", *_heads(speeds, unit)]]
    for reading, cells in zip(both.readings, both.loss_kg_ha, strict=True):
        rows.append([f"{reading:g}", *(_cell(r, unit) for r in cells)])
    _print(rows, page, f"Machine loss in {unit.loss.name} by what the bar shows; – where it was not tried.")


def _loss_to_bar(found: MonitorFound, page: Page, unit: PaceUnit) -> None:
    key = found.key
    speeds = _columns(found)
    ends = [(key.loss_kg_ha(low, v).median, key.loss_kg_ha(high, v).median) for v in speeds
            for low, high in [key.readings_tried(v)]]  # fmt: skip
    factor = unit.loss.factor
    # A line that falls, as chance can draw it, has its higher loss at the lower bar.
    reached = [loss * factor for both in ends for loss in both]
    losses = _round_steps(min(reached), max(reached), ROWS)
    both = key.table([], [x / factor for x in losses], speeds)
    rows = [[unit.loss.name, *_heads(speeds, unit)]]
    for loss, cells in zip(losses, both.reading_for, strict=True):
        rows.append([f"{loss:g}", *("–" if r is None else _bars(r) for r in cells)])
    _print(rows, page, "Bar to drive by for a machine loss: at the lower, 95 % of places lose less; at the upper, 5 %.")


def _print(rows: list[list[str]], page: Page, caption: str) -> None:
    page.print_table(rows, gap=3)
    page.paragraph(caption)


def _heads(speeds: Sequence[float | None], unit: PaceUnit) -> list[str]:
    from chaffinch.book.figures import rounded

    return ["any speed" if v is None else f"at {rounded(unit.speeds(v), 1)} {unit.speed}" for v in speeds]


def _cell(r: Range | None, unit: PaceUnit) -> str:
    from chaffinch.book.figures import range_words

    if r is None:
        return "–"
    low, middle, high = range_words(r.times(unit.loss.factor))
    return f"{middle} ({low} to {high})"


def _bars(r: Range) -> str:
    from chaffinch.book.figures import plain_number

    return f"{plain_number(r.low, 2)} to {plain_number(r.high, 2)}"


def _round_steps(low: float, high: float, most: int) -> list[float]:
    """Round numbers from about ``low`` to about ``high``."""
    if not 0 <= low < high:
        raise InputError("monitor", high, "shows one reading only", "take a check while the bar shows something else")
    raw = (high - low) / (most - 1)
    power = 10.0 ** np.floor(np.log10(raw))
    step = next(f * power for f in (1.0, 2.0, 5.0, 10.0) if f * power >= raw * (1 - 1e-9))
    return [round(float(step * k), 10) for k in range(max(1, int(np.ceil(low / step))), int(high / step) + 1)]


def _as_json(found: MonitorFound, bar: float | None, speed: float | None) -> dict[str, Any]:
    from chaffinch.book.checks.own_variation import variation_json
    from chaffinch.book.checks.plain_data import as_range

    key = found.key
    return {
        "combine": {"id": found.combine.id, "name": found.combine.name},
        "crop": found.crop,
        "machine_only": True,
        "sensor": found.sensor or None,
        "other_sensors": list(found.others),
        "per": key.per,
        "pairs": [
            {"reading": p.reading, "speed_kmh": p.speed_kmh, "check": p.point.logged.id, "taken_at": p.taken_at}
            for p in found.pairs
        ],
        "missing": list(key.missing),
        "slope": as_range(key.slope),
        "scatter": as_range(key.scatter),
        "readings_tried": None
        if key.missing
        else [
            {"speed_kmh": v, "low": low, "high": high} for v in _columns(found) for low, high in [key.readings_tried(v)]
        ],
        "now": None
        if bar is None
        else {
            "bar": bar,
            "speed_kmh": speed,
            "near_a_pair": speed is None or found.near_a_pair(speed),
            "loss_kg_ha": None if key.missing else as_range(key.loss_kg_ha(bar, speed)),
        },
        "standing": None
        if found.standing is None
        else {
            "stale": found.standing.stale,
            "triggers": list(found.standing.triggers),
            "reminders": list(found.standing.reminders),
            "pairs": found.standing.pairs,
            "outside": found.standing.outside,
            "p_chance": found.standing.p_chance,
        },
        "left_out": found.left_out,
        "variation": variation_json(pair.point.logged for pair in found.pairs),
    }

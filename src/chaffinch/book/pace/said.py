"""What a pace says, in sentences and rows: shared by every face that shows one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from chaffinch.book.checks.own_variation import variation_said
from chaffinch.book.figures import percent, plain_number, range_words, rounded
from chaffinch.book.pace.best import PaceAnswer
from chaffinch.book.pace.curves import Curves, seen_range
from chaffinch.book.shown_unit import PaceUnit
from chaffinch.engine.estimate import CLEAR, Range
from chaffinch.engine.pace.best import Advice
from chaffinch.engine.pace.cost import SpeedRow

SHAPE: Final[dict[Advice, str]] = {"slower": "◂", "faster": "▸", "stay": "■", "not settled": "◆"}
SENDS_OUT: Final = frozenset({"may lie beyond", "beyond tested", "slope not learned"})
"""Remarks that send somebody to the machine with a pan."""
ROWS: Final = 9
"""Rows of the table; own figure."""

ADVICE: Final[dict[Advice, str]] = {
    "slower": "Go slower: {best}. This machine's own checks show that it pays.",
    "faster": "Go faster: {best}. The time saved is worth more than the grain.",
    "stay": "Stay at {today}: it costs within {tolerance} per {land} of the best pace.",
    "not settled": "Not settled: the checks do not say clearly enough that another speed than {today} pays.",
}
WITHOUT_GROUND: Final = {
    "today far from tested": "Not settled: no check was taken near {today}, so nothing can be said of leaving it.",
    "slope not learned": "Not settled: {best} looks better, but not by what this machine itself has shown.",
    "slope partly learned": (
        "Not settled: {best} looks better, but not yet clearly enough by what this machine itself has shown."
    ),
    "in the band": (
        "Not settled: {today} is expected to cost about as much as the best pace, but the checks leave room for a "
        "better one."
    ),
}
"""What stands in place of the general sentence where it would sit badly beside the chance told next to it."""
NO_TODAY: Final = "Tell today's speed with --now, and its cost is held against this."

REMARK: Final = {
    "time costs nothing": (
        "An hour costs 0, so any grain saved is worth any time: the answer is as slow as you like. "
        "Enter what an hour costs: driver, fuel, wear, the carts that wait, the weather."
    ),
    "grain costs nothing": "The price is 0, so the answer is as fast as you can. Enter the price of the grain.",
    "not tested": "This machine has no check in this crop: what stands here is expectation, not advice. {expected}",
    "header not measured": (
        "Machine only: header loss was not measured. It may rise or fall with speed, and the best pace would move."
    ),
    "may lie beyond": "The best pace may lie beyond the speeds tried. Take a check there before you trust more.",
    "beyond tested": "The best pace lies a little beyond the speeds tried: take a check there.",
    "today far from tested": (
        "Today's speed is more than 10 % beyond the speeds tried: its cost is expectation, and no ground for advice. "
        "Take a check at it."
    ),
    "more than the crop": (
        "At some of these speeds the curve, carried on beyond what was tried, would lose more than the crop: the loss "
        "is held at the yield there. It is no measurement."
    ),
    "slope not learned": (
        "Slower looks better, but from what machines do in general, not from what this one has shown. "
        "Two checks at clearly different speeds would tell."
    ),
}

PARTLY_LEARNED: Final = (
    "Slower looks better, but part of that is what machines do in general: this machine's own checks do not say it "
    "clearly enough yet. More checks at its slowest and at its fastest speed would tell."
)
"""What stands in place of "slope not learned" where this machine was checked at clearly different speeds already."""
CLEARLY_DIFFERENT: Final = 1.25
"""Fastest over slowest checked speed from which they are clearly different [1]; own figure."""

OF_NOBODY: Final = (
    "Taken is a machine loss of 40 kg/ha at 5 km/h, likely within a factor of 8, that rises somewhat faster than the "
    "speed does. Own figures."
)
OF_OTHERS: Final = "Taken is what the other machines' checks in this crop lead one to expect of one more."

ASSUMED: Final = {
    "price from field": "Price: the field's.",
    "price from checks": "Price: that of the last check.",
    "price from their field": "Price: that of the last check's field.",
    "yield from field": "Yield: the field's.",
    "yield from checks": "Yield: the middle of the checks'; --yield or --field tells today's.",
    "efficiency": (
        "Field efficiency 70 % at 5 km/h (typical of combines, from memory of a standard's table): turning and "
        "unloading take the same time at any speed. --efficiency with --efficiency-at tells yours."
    ),
    "usual condition": "Conditions: the middle of the checks'; --condition tells today's.",
    "setup of last check": "Settings: as at the last check.",
    "load and speed apart": (
        "Today's crop is so much heavier or lighter than at the checks that no speed lies within the loads and the "
        "speeds tried: what stands here is expectation, not advice."
    ),
}


def remarks_said(found: PaceAnswer) -> list[str]:
    """Every remark as a sentence, each thing told once; and what was learned of this machine's catches."""
    told = [r for r in found.pace.remarks if r != "not tested" or "load and speed apart" not in found.assumed]
    if "beyond tested" in told and "may lie beyond" in told:
        told.remove("beyond tested")
    if "time costs nothing" in told:
        # As slow as you like: which end that is, and what the slope says of it, would only lead astray.
        told = [r for r in told if r not in ("beyond tested", "slope not learned")]
    expected = OF_OTHERS if found.curves.points else OF_NOBODY
    words = {**REMARK, "slope not learned": PARTLY_LEARNED} if speeds_differ(found) else REMARK
    return [*(words[r].format(expected=expected) for r in told), *variation_said(p.logged for p in found.curves.own)]


def speeds_differ(found: PaceAnswer) -> bool:
    """Whether this machine was checked at clearly different speeds."""
    speeds = [p.speed_kmh for p in found.curves.own if p.speed_kmh is not None]
    return bool(speeds) and max(speeds) >= CLEARLY_DIFFERENT * min(speeds)


def limit_may_be_told(found: PaceAnswer) -> bool:
    """Whether the loss at the best pace is a limit: only where own checks have shown a curve that rises with load.

    By these checks alone, with a slope that leans neither way: the fit of all machines leans to a rise from the start.
    """
    return found.pace.limit_that_pays_kg_ha is not None and found.p_rises is not None and found.p_rises >= CLEAR


def advice_has_a_ground(found: PaceAnswer) -> bool:
    """Whether a sentence of advice says anything: not where a figure or a check is missing, which a remark tells."""
    return not {"time costs nothing", "grain costs nothing", "not tested"} & set(found.pace.remarks)


def best_said(found: PaceAnswer, unit: PaceUnit) -> str:
    """What stands behind the best speed."""
    low, high = (rounded(unit.speeds(v), 1) for v in found.pace.band_kmh)
    if "not tested" in found.pace.remarks:
        return f"expected to cost least; anything from {low} to {high} about the same"
    return f"best pace; anything from {low} to {high} costs about the same"


def advice_said(found: PaceAnswer, unit: PaceUnit) -> str:
    """The advice as a sentence; empty without today's speed, and where nothing stands behind any advice."""
    pace = found.pace
    if pace.today is None or not advice_has_a_ground(found):
        return ""
    text = ADVICE[pace.advice]
    if pace.advice == "not settled":
        in_band = pace.band_kmh[0] <= pace.today.speed_kmh <= pace.band_kmh[1]
        why = next((r for r in WITHOUT_GROUND if r in pace.remarks), "in the band" if in_band else "")
        if why == "slope not learned" and speeds_differ(found):
            why = "slope partly learned"
        text = WITHOUT_GROUND.get(why, text)
    return text.format(
        best=_speed(pace.best_kmh, unit),
        today=_speed(pace.today.speed_kmh, unit),
        tolerance=unit.money(pace.tolerance_per_ha),
        land=unit.loss.land,
    )


def today_said(found: PaceAnswer, unit: PaceUnit) -> str:
    """What today's speed costs against the best pace, and how sure that is; empty without today's speed."""
    pace, today = found.pace, found.pace.today
    if today is None:
        return ""
    here, land = _speed(today.speed_kmh, unit), unit.loss.land
    money = unit.money(today.mean_extra_per_ha)
    likely = f"(likely {unit.money(today.extra_per_ha.low)} to {unit.money(today.extra_per_ha.high)})"
    if "today far from tested" in pace.remarks or not advice_has_a_ground(found):
        # No chance is told of what rests on no check: it would read as if it were known.
        return f"As far as can be expected, {here} costs {money} per {land} more than the best pace {likely}."
    sure = f"{percent(today.p_saves)} % sure that changing saves anything"
    if found.p_own is not None and found.p_own < CLEAR:
        sure += f" by the checks of all machines, {percent(found.p_own)} % by this machine's own"
    elif "slope not learned" in pace.remarks and today.p_needed < 1.0:
        has, needs = apart(today.p_saves, today.p_needed)
        sure = f"{has} % sure that changing saves anything, and {needs} % are asked for with what its slope has taught"
    return f"Against the best pace, {here} costs {money} per {land} {likely}; {sure}."


def apart(less: float, more: float) -> tuple[str, str]:
    """Two chances in percent, with as many digits as tell them apart: 94 held against 94 would be no reason."""
    words = percent(less), percent(more)
    for digits in (1, 2, 3):
        if words[0] != words[1]:
            break
        words = f"{100 * less:.{digits}f}", f"{100 * more:.{digits}f}"
    return words


def limit_said(found: PaceAnswer, unit: PaceUnit) -> str:
    """The limit that pays, as a sentence; empty where none may be told."""
    limit = found.pace.limit_that_pays_kg_ha
    if limit is None or not limit_may_be_told(found):
        return ""
    low, middle, high = range_words(limit.times(unit.loss.factor))
    what = "machine loss" if found.pace.machine_only else "header and machine loss"
    if "slope not learned" in found.pace.remarks:
        # "Losing more, a slower pace pays" would say what the advice beside it does not dare to.
        return (
            f"The loss at the best pace, not yet a limit: {middle} {unit.loss.name} of {what} (likely {low} to {high})."
        )
    return (
        f"The limit that pays: {middle} {unit.loss.name} of {what} (likely {low} to {high}). "
        "Losing clearly more than that, a slower pace pays; clearly less, a faster one."
    )


def _speed(kmh: float, unit: PaceUnit) -> str:
    return f"{rounded(unit.speeds(kmh), 1)} {unit.speed}"


def table_rows(found: PaceAnswer, unit: PaceUnit) -> list[list[str]]:
    """The table of costs, its head first: speed, both losses, grain, time, cost with its range, and what marks it."""
    pace = found.pace
    rows = [[unit.speed, "machine", "header", "grain", "time", f"cost/{unit.loss.land}", "likely", ""]]
    best = nearest(pace.table, pace.best_kmh).speed_kmh
    for row in _chosen(pace.table, pace.best_kmh, None if pace.today is None else pace.today.speed_kmh):
        marks = ["best"] if row.speed_kmh == best else []
        marks += [] if row.tested else ["not tried"]
        rows.append(
            [
                plain_number(unit.speeds(row.speed_kmh)),
                _loss(row.machine_kg_ha, unit),
                "not seen" if row.header_kg_ha is None else _loss(row.header_kg_ha, unit),
                unit.money(row.loss_cost_per_ha),
                unit.money(row.time_cost_per_ha),
                unit.money(row.mean_cost_per_ha),
                f"{unit.money(row.cost_per_ha.low)}–{unit.money(row.cost_per_ha.high)}",
                ", ".join(marks),
            ]
        )
    return rows


def table_about(unit: PaceUnit) -> str:
    """What the figures of the table are."""
    return f"Losses in {unit.loss.name}, low to high; money per {unit.loss.land}."


def _loss(r: Range, unit: PaceUnit) -> str:
    low, _, high = range_words(r.times(unit.loss.factor))
    return f"{low}–{high}"


def nearest(rows: Sequence[SpeedRow], kmh: float) -> SpeedRow:
    """The row of the table whose speed is nearest."""
    return min(rows, key=lambda row: abs(row.speed_kmh - kmh))


def _chosen(rows: Sequence[SpeedRow], best_kmh: float, today_kmh: float | None) -> list[SpeedRow]:
    """A handful of rows over the whole span, the best one and today's always among them."""
    spread = {rows[round(i)].speed_kmh: rows[round(i)] for i in np.linspace(0, len(rows) - 1, ROWS - 2)}
    wanted = [nearest(rows, best_kmh), *([] if today_kmh is None else [nearest(rows, today_kmh)])]
    spread |= {row.speed_kmh: row for row in wanted}
    return [spread[kmh] for kmh in sorted(spread)]


def own_checks(found: PaceAnswer, unit: PaceUnit) -> list[tuple[float, Range, str]]:
    """This machine's checks on the curve: the speed that gives their load today, their machine loss, their id."""
    told = []
    for point in found.curves.own:
        load = point.throughput_t_h if found.curves.load_kind == "throughput" else point.speed_kmh
        if load is None:
            raise ValueError("a check on the curve has a load")
        r = seen_range(point, "machine").times(unit.loss.factor)
        told.append((unit.speeds(found.speed_of(load)), r, point.logged.id))
    return told


def hour_said(found: PaceAnswer, unit: PaceUnit) -> str:
    """What one more hour costs, in its parts where it was built from them; said where the book stores it."""
    if found.stored is not None:
        return found.stored.said(f"{unit.sign}{plain_number(found.hour_cost_per_h)}")
    hour = f"{unit.sign}{plain_number(found.hour_cost_per_h)} per hour" if found.hour_cost_per_h else "nothing"
    parts = found.parts
    if parts is None:
        return f"One more hour costs {hour}."
    named = {
        "driver": parts.labour_per_h,
        "fuel and oil": parts.fuel_per_h,
        "wear": parts.wear_per_h,
        "helpers": parts.helpers_per_h,
        "weather": parts.weather_per_h,
    }
    told = ", ".join(f"{name} {unit.sign}{plain_number(value)}" for name, value in named.items() if value > 0)
    rules = "driver paid 1.2 hours an hour, oil 15 % of fuel: printed rules of thumb"
    return f"One more hour costs {hour}: {told} ({rules})." if told else f"One more hour costs {hour}."


def headers_behind(found: PaceAnswer) -> str:
    """Where the header curve comes from, in one sentence; empty where there is none."""
    curves = found.curves
    if curves.header is None:
        return ""
    own, every = len(curves.own_header), len(curves.header_points)
    if own == 0:
        return f"Header loss was never measured on this machine: its curve is that of the others ({every} checks)."
    return f"Header loss has its own curve, from {own} {'check' if own == 1 else 'checks'} of this machine."


def points_left_out(curves: Curves) -> str:
    """Which checks say nothing to the curve, in one sentence; empty where all do."""
    told = [
        f"1 check of those that {why}" if count == 1 else f"{count} checks that {why}"
        for why, count in curves.left_out.items()
    ]
    return f"Left out: {', '.join(told)}." if told else ""


def load_said(curves: Curves) -> str:
    """Why the curve stands over speed where it does; empty over throughput."""
    if curves.load_kind == "throughput" or not curves.points:
        return ""
    return "The curve stands over speed: some checks have no yield, so their throughput is not known."

"""What a day says, in sentences: shared by every face that shows one."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from chaffinch.book.day.hours import DayAnswer
from chaffinch.book.figures import plain_number, rounded
from chaffinch.book.pace.said import ASSUMED as ASSUMED_OF_PACE
from chaffinch.book.shown_unit import PaceUnit
from chaffinch.engine.air.grain import Grade, grade, keeps_days
from chaffinch.engine.day.hours import Hour
from chaffinch.reference import source
from chaffinch.reference.grain_air import StorageDays, long_term_pct, storage_days

GUIDE: Final = (
    "A guide: what tough straw does to this machine's loss was hardly learned from its checks, so the change over the "
    "day rests on expectation, and the ranges are wide. Checks at dry and at tough hours, with the humidity noted, "
    "teach it."
)
NO_CHECKS: Final = (
    "A guide only: this machine has no check in this crop. Losses and paces are expectation; take a check before you "
    "trust any of it."
)
OVER: Final = "This forecast lies in the past: these hours are over."
NOT_IN_IT: Final = (
    "Rain and fire danger are not reckoned with, also where the forecast tells them: strike out hours of rain, and "
    "follow local harvest bans."
)
ASSUMED: Final = {
    "working hours": "Working hours: 08:00 to 23:00, unless you tell yours.",
    "cheapest hours": (
        "No area told: hours that cost at most a quarter more than the cheapest are marked. Tell the area they are to "
        "finish, and the cheapest hours that do it are."
    ),
    "humidity beyond isotherm": (
        "Some hours are more humid than 90 % or drier than 10 %: grain is reckoned at that end, for isotherms hold no "
        "farther."
    ),
    "hours in UTC": (
        "Hours are UTC: so the forecast has them, and so has this computer's clock. Where you work by another clock, "
        "give a forecast in its zone."
    ),
    "clock of this computer": "The forecast's times are UTC; hours are told by this computer's clock.",
    "cold beyond isotherm": (
        "Some hours are colder than −10 °C or hotter than 60 °C: grain is reckoned at that end, for isotherms hold no "
        "farther."
    ),
    "hours left out": "Only three days from now on are planned; farther out a forecast is none for a combine.",
}
GRADE: Final[dict[Grade, str]] = {"dry": "dry", "tough": "tough", "damp": "damp", "over": "not dry"}
WHY: Final = {"not a working hour": "no work", "grain too moist": "too moist"}
APART: Final = {
    ("up", "down"): "header loss falls while machine loss rises",
    ("down", "up"): "header loss rises while machine loss falls",
    ("up", "up"): "header and machine loss both rise",
    ("down", "down"): "header and machine loss both fall",
}
MOVES: Final = 0.05
"""Change of a loss over the day that is worth a word [share]; own figure."""


def clock(found: DayAnswer, k: int) -> str:
    """The hour of a row, with the days after that of the first row: ``08:00 +1``."""
    days = found.hours[k].minute // 1440 - found.hours[0].minute // 1440
    return found.hours[k].at[11:16] + (f" +{days}" if days else "")


def spans(found: DayAnswer) -> list[tuple[int, int]]:
    """Rows worked without a break, as first and last row."""
    worked = [k for k, hour in enumerate(found.plan.hours) if hour.worked > 0.0]
    found_spans: list[tuple[int, int]] = []
    for _, group in itertools.groupby(enumerate(worked), key=lambda pair: pair[1] - pair[0]):
        rows = [k for _, k in group]
        found_spans.append((rows[0], rows[-1]))
    return found_spans


def headline(found: DayAnswer) -> str:
    """The hours to work, as clock times."""
    told = spans(found)
    if not told:
        return "No hour to work"
    return ", ".join(f"{clock(found, first)}–{_end(found, last)}" for first, last in told)


def _end(found: DayAnswer, k: int) -> str:
    """The hour after a row, on the same clock."""
    minute = (found.hours[k].minute + 60) % 1440
    return f"{minute // 60:02d}:{minute % 60:02d}"


def what_it_does(found: DayAnswer, unit: PaceUnit) -> str:
    """How much these hours do and cost, in one sentence; why there are none where there are none."""
    worked = [h for h in found.plan.hours if h.worked > 0.0]
    if not worked:
        moist = any(h.why_not == "grain too moist" for h in found.plan.hours)
        return (
            "The grain is too moist in every working hour." if moist else "No hour of the forecast is a working hour."
        )
    area = found.plan.done_ha
    per_ha = sum(h.worked * h.ha_h * (h.loss_per_ha + h.time_per_ha) for h in worked) / area
    done = f"{rounded(area / unit.ha, 0)} {unit.loss.land}"
    cost = f"{unit.money(per_ha)} per {unit.loss.land} of grain and time"
    if found.job.area_left_ha is None:
        return f"These hours cost least: {done} at about {cost}."
    if area < found.job.area_left_ha * (1.0 - 1e-9):
        left = f"{rounded((found.job.area_left_ha - area) / unit.ha, 0)} {unit.loss.land}"
        return f"All the forecast's hours do {done} at about {cost}; {left} are left standing."
    return f"The cheapest hours that finish {done}, at about {cost}."


def check_again(found: DayAnswer) -> str:
    """When somebody should check again, in one sentence."""
    last = found.last_check
    if last is None:
        return "No check of this machine in this crop in the last two days: take one before you start."
    if not found.plan.shift:
        return "The last check has no humidity beside it, so it cannot be said how far the loss moves: take a new one."
    if found.plan.check_again is None:
        return "The loss is expected to stay within the range of the last check all the time."
    first = found.plan.check_again
    factor = found.plan.shift[first]
    way = f"{rounded(100 * abs(factor - 1), 0)} % {'more' if factor > 1 else 'less'}"
    when = clock(found, first)
    return f"Check again at {when}: {way} machine loss than at the last check is expected then, beyond its range."


def sends_out(found: DayAnswer) -> bool:
    """Whether any sentence sends somebody to the machine with a pan: the caution then comes first."""
    again = found.last_check is None or not found.plan.shift or found.plan.check_again is not None
    return again or found.plan.is_a_guide or not found.curves.own or bool(_ends(found))


def _ends(found: DayAnswer) -> set[str]:
    """Ends of the speeds tried on which best paces of worked hours stand."""
    return {h.at_edge for h in found.plan.hours if h.worked > 0.0 and h.at_edge} if found.curves.own else set()


def moving(found: DayAnswer) -> str:
    """Which way the losses move from the driest to the toughest working hour; empty where nothing moves."""
    able = [h for h in found.plan.hours if h.why_not is None]
    if len(able) < 2 or able[0].header_kg_ha is None:
        return ""
    dry, tough = min(able, key=lambda h: h.toughness), max(able, key=lambda h: h.toughness)
    ways = []
    for one, other in ((tough.machine_kg_ha, dry.machine_kg_ha), (tough.header_kg_ha, dry.header_kg_ha)):
        if one is None or other is None or abs(one.median / other.median - 1.0) < MOVES:
            return ""
        ways.append("up" if one.median > other.median else "down")
    return f"Towards the toughest hour {APART[(ways[0], ways[1])]}, each at its best pace."


def grain_said(found: DayAnswer) -> str:
    """When the grain is dry enough to sell, and how it keeps, in a few sentences."""
    if found.isotherm is None:
        return f"No isotherm of {found.curves.crop} could be found, so grain moisture is not foretold: use your meter."
    sure = f"± {found.isotherm.plus_minus.value:g} points by its isotherm"
    rests = (
        f"{found.grain_readings} {'reading' if found.grain_readings == 1 else 'readings'} of the last day draw it in"
        if found.grain_readings
        else "no reading of the last day: tell your meter's"
    )
    if found.limits is None:
        return f"Grain moisture: {sure}; {rests}. No delivery limit is listed for your country.{_storage(found)}"
    dry = [k for k, h in enumerate(found.plan.hours) if hour_grade(found, h) == "dry"]
    limit = f"{found.limits.dry_up_to:g} %"
    if not dry:
        told = f"Grain stays above {limit}"
    elif len(dry) == len(found.hours):
        told = f"Grain is dry ({limit} or less) all the time"
    else:
        told = f"Grain is dry ({limit} or less) first at {clock(found, dry[0])}"
    return f"{told}, by the middle of its range ({sure}; {rests}).{_storage(found)}"


def _storage(found: DayAnswer) -> str:
    """What storage asks for, with who printed it; empty where nobody was found who did."""
    crop = {"durum": "wheat", "malting-barley": "barley"}.get(found.curves.crop, found.curves.crop)
    told = ""
    if (figure := long_term_pct().get(crop)) is not None:
        who = _printed(figure.source, figure.origin)
        told = f" To keep over the seasons: {figure.value:g} % or less ({who})."
    table = next((one for one in storage_days().values() if crop in one.crops), None)
    return told if table is None else told + _keeps(found, table)


def _keeps(found: DayAnswer, table: StorageDays) -> str:
    """How long the moistest grain of the hours worked keeps as it comes in; empty where it is drier than the table.

    Taken at the upper end of its range, and as warm as the air it was cut in (own figure).
    """
    worked = [
        (hour.grain_pct.high, 1.8 * air.temperature_c + 32.0)
        for hour, air in zip(found.plan.hours, found.hours, strict=True)
        if hour.worked > 0.0 and hour.grain_pct is not None and hour.grain_pct.high >= table.moisture_pct[0]
    ]
    if not worked:
        return ""
    coldest, warmest, wettest = table.temperature_f[0], table.temperature_f[-1], table.moisture_pct[-1]

    def days(one: tuple[float, float]) -> float | None:
        return keeps_days(table, min(one[0], wettest), min(max(one[1], coldest), warmest))

    wet, warm = min(worked, key=lambda one: (days(one) or math.inf, -one[1], -one[0]))
    least = days((wet, warm))
    grain = f"at up to {wet:.1f} % and {(warm - 32.0) / 1.8:.0f} °C ({warm:.0f} °F)"
    if least is None:
        long = "more than 300 days"
    else:
        beyond = wet > wettest or warm > warmest
        days_kept = round(least)
        long = f"{'less than' if beyond else 'about'} {days_kept} {'day' if days_kept == 1 else 'days'}"
    who = _printed(table.source, table.origin)
    return f" Neither dried nor cooled, the moistest grain of the hours worked, {grain}, keeps {long} ({who})."


def _printed(key: str, origin: str) -> str:
    printed = source(key)
    return f"{printed.org}, {printed.year}, {origin}"


def hour_grade(found: DayAnswer, hour: Hour) -> Grade | None:
    """How the grain of an hour sells, by the middle of its range; None where that is not known."""
    if found.limits is None or hour.grain_pct is None:
        return None
    return grade(min(99.0, hour.grain_pct.median), found.limits)


def remarks(found: DayAnswer) -> list[str]:
    """What must be known before the plan is trusted, each once."""
    told = [OVER] if "forecast over" in found.assumed else []
    if not found.curves.own:
        told.append(NO_CHECKS)
    elif found.plan.is_a_guide:
        told.append(GUIDE)
    if found.curves.header is None:
        told.append("Machine only: header loss was not measured. It moves the other way over the day as a rule.")
    if ends := _ends(found):
        told.append(f"Some best paces stand on the {' and the '.join(sorted(ends))} speed tried: check beyond it.")
    if found.grain_left_out_pct:
        values = ", ".join(f"{one:g} %" for one in found.grain_left_out_pct)
        told.append(
            f"Grain moisture of {values} was read in the last day, far from what the air and the other readings give, "
            "and is not reckoned with. Unripe or rained-on grain does not follow the air: go by your meter."
        )
    told += found.notes
    return [*told, NOT_IN_IT]


def seen(found: DayAnswer) -> str:
    """Which checks stand behind the day."""
    own = len(found.curves.own)
    return f"{own} {'check' if own == 1 else 'checks'} of its own, {found.told_checks} with humidity"


def hour_said(found: DayAnswer, unit: PaceUnit) -> str:
    """What one more hour costs; said where the book stores it."""
    hour = found.job.hour_cost_per_h
    money = f"{unit.sign}{plain_number(hour)}" if hour else "nothing"
    return f"One more hour costs {money}." if found.stored is None else found.stored.said(money)


def taken(found: DayAnswer, unit: PaceUnit, here: Mapping[str, str] = MappingProxyType({})) -> list[str]:
    """What was taken as given, in sentences; ``here`` has those that a face says in its own words, by key."""
    told = [hour_said(found, unit)]
    said = {**ASSUMED_OF_PACE, **ASSUMED, **here}
    return told + [said[key] for key in found.assumed if key != "forecast over"]

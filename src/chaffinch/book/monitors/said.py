"""What a monitor key says, in sentences: shared by every face that shows one."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from chaffinch.book.checks.own_variation import variation_said
from chaffinch.book.monitors.key import ALONE, NO_SPEED, OTHER_WIDTH, SECOND, UNCOUNTED, UNSEEN, MonitorFound
from chaffinch.engine.monitor.stale import Reminder, Standing, Trigger

HEADER: Final = "The sensor does not see the header: this is machine loss only, whatever the bar shows."
NOT_YET: Final = "Too little to claim anything yet. Needed: {missing}."
STANDS: Final = "The last day ({count}) agrees with the key of the pairs before."
STALE: Final = "The key no longer holds: {why}. Take new pairs before you drive by it."
UNTRIED_SPEED: Final = (
    "No pair was taken near {speed}: they lie between {low} and {high}. What the bar means at {speed} is carried over "
    "from there, not tried."
)
ONE_LEFT_OUT: Final = {
    ALONE: "stands beside no check",
    UNCOUNTED: "stands beside a check in conflict, or one that has not arrived",
    SECOND: "is a second reading beside a check",
    UNSEEN: "stands beside a check that did not see machine loss",
    NO_SPEED: "tells no speed or cut width, which a bar per time needs",
    OTHER_WIDTH: "was cut at another width than most",
}
TRIGGER: Final[dict[Trigger, str]] = {
    "pairs": "the pairs of the last day lie further off than chance allows",
    "crop": "another crop",
    "grain moisture": "grain moisture moved by 2 points or more (judgement)",
    "fan or sieve": "fan or sieve were changed",
}
REMINDER: Final[dict[Reminder, str]] = {
    "field": "another field",
    "operator": "another driver",
    "humidity": "humidity moved by 15 points or more (judgement)",
    "other setting": "another setting was changed",
    "hours": "four hours or more have passed (judgement)",
}
IN_THE_CAB: Final = "the bar in the cab"
OTHERS: Final = "The book has readings of other sensors too, each with a key of its own: {names}."
OF_LOG: Final = (
    "These are readings of {name} from field logs, in the log's own unit; the bar in the cab counts otherwise."
)
PER: Final = {
    "time": "The bar counts hits per time: at the same bar, a faster machine loses less per area.",
    "area": "The bar counts hits per area: the same bar means the same loss at any speed.",
}


def left_out_said(left_out: Mapping[str, int]) -> list[str]:
    """Readings that make no pair, in sentences."""
    return [
        f"Left out: 1 reading that {ONE_LEFT_OUT.get(why, why)}."
        if count == 1
        else f"Left out: {count} readings that {why}."
        for why, count in left_out.items()
    ]


def sensor_said(sensor: str) -> str:
    """What a sensor is called: ``loss_left_sieve_g_s`` is "left sieve (g/s)"."""
    from chaffinch.fieldlog.rows import COLUMNS, loss_reading

    reading = loss_reading(sensor)
    if reading is None:
        return sensor or IN_THE_CAB
    unit = "share × yield" if reading[0] == "loss_share_pct" else COLUMNS[reading[0]].unit
    return f"{reading[1].replace('_', ' ') or 'the loss sensor'} ({unit})"


def sensors_said(found: MonitorFound) -> list[str]:
    """Which sensor a key is of, where that is not plain, and which others the book has."""
    told = [OF_LOG.format(name=sensor_said(found.sensor))] if found.sensor else []
    if found.others:
        told.append(OTHERS.format(names=", ".join(sensor_said(one) for one in found.others)))
    return told


def catches_said(found: MonitorFound) -> list[str]:
    """What was learned of the catches behind the pairs."""
    return variation_said(pair.point.logged for pair in found.pairs)


def standing_said(standing: Standing | None, tested_on: int) -> list[str]:
    """Whether the key still stands, in sentences."""
    if standing is None:
        return []
    told = []
    if standing.stale:
        told.append(STALE.format(why="; ".join(TRIGGER[t] for t in standing.triggers)))
    elif tested_on:
        told.append(STANDS.format(count="1 pair" if tested_on == 1 else f"{tested_on} pairs"))
    if standing.reminders:
        told.append(f"Check again soon: {', '.join(REMINDER[r] for r in standing.reminders)}.")
    return told

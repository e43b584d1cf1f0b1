"""What a monitor key says, in sentences: shared by every face that shows one."""

from __future__ import annotations

from typing import Final

from chaffinch.engine.monitor_stale import Reminder, Standing, Trigger

HEADER: Final = "The sensor does not see the header: this is machine loss only, whatever the bar shows."
NOT_YET: Final = "Too little to claim anything yet. Needed: {missing}."
STANDS: Final = "The last day ({count}) agrees with the key of the pairs before."
STALE: Final = "The key no longer holds: {why}. Take new pairs before you drive by it."
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
PER: Final = {
    "time": "The bar counts hits per time: at the same bar, a faster machine loses less per area.",
    "area": "The bar counts hits per area: the same bar means the same loss at any speed.",
}


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

"""What a trial says, in sentences: shared by every face that shows one."""

from __future__ import annotations

from typing import Final

from chaffinch.book.checks.own_variation import variation_said
from chaffinch.book.trials.trial import Aside, TrialFound
from chaffinch.engine.trial.design import Caution
from chaffinch.engine.trial.prior import widest_factor
from chaffinch.engine.trial.ratio import KEEP, TrialVerdict

VERDICT: Final[dict[TrialVerdict, str]] = {
    "keep B": "Keep B: {chance} % sure that it loses less.",
    "go back": "Go back to A: only {chance} % chance that B loses less.",
    "not settled": "Not settled: {chance} % chance that B loses less.",
}

CAUTIONS: Final[dict[Caution, str]] = {
    "one side only": "Only one side has been tried: there is nothing to compare it with yet.",
    "order is time": (
        "All of one side came before the other, so a change in crop or weather looks like the setting. "
        "No verdict until one side stands on both ends: A, B, A."
    ),
    "few stops": "One stop on a side cannot tell the setting from the place: take at least two on each.",
    "long trial": "The stops lie more than four hours apart: the day may have changed more than the setting did.",
    "loads unknown": "Speeds are not told, so nobody knows whether both sides worked under the same load.",
    "loads partly known": "Some stops tell no speed: the sides' loads cannot wholly be compared.",
    "loads differ": "The sides worked under different loads, which moves the loss by itself: no verdict from that.",
    "adjusted for load": "The sides worked under different loads; that is allowed for by the curve of loss.",
    "gain without shared error": "The gain leaves out the error all catches share; the ratio has none of it.",
}

LOOKING: Final = (
    f"You may look after every stop: the bar for keeping B is {100 * KEEP:.0f} %, set so that a change that does "
    "nothing is kept in at most one trial of ten however often you look."
)
DRAWN: Final = (
    "The ratio is drawn towards 1 by what settings usually do: before the first stop, a factor within "
    f"{widest_factor(0.9):.1f} either way in nine trials of ten, and far more in a few (our own figures). Few stops "
    "leave a large difference looking smaller than it is."
)
ASIDE: Final[dict[Aside, str]] = {
    "another combine": "is filed under another combine and is no part of this trial",
    "another crop": "is of another crop and is no part of this trial",
    "set otherwise": "was recorded with a setting that is not its side's and is left out",
}
ASIDE_SEVERAL: Final[dict[Aside, str]] = {
    "another combine": "are filed under another combine and are no part of this trial",
    "another crop": "are of another crop and are no part of this trial",
    "set otherwise": "were recorded with a setting that is not their side's and are left out",
}
ALIKE: Final = 1.25
"""Ratio, and its inverse, between which both ends of the range must lie before two setups are called alike [1]; own
figure: a quarter more or less is about what two places under one setup differ by."""
SEVERAL: Final = "Several settings changed at once ({names}): the difference belongs to all of them together."
NONE_CHANGED: Final = "The two sides have the same settings: what is compared is only the time and the place."
OTHERS: Final = "Other settings were not the same throughout: {names}."


def next_step(found: TrialFound) -> str:
    """What to do next, in one sentence."""
    answer = found.answer
    if answer.verdict == "keep B":
        return "write B's settings down as the new usual ones, and look at the tank: less loss must not be more damage."
    if answer.verdict == "go back":
        return "set A again. The change cost more than it brought."
    if "loads differ" in answer.cautions:
        return "drive both sides at one speed in even crop, and take the stops again."
    if "order is time" in answer.cautions or "one side only" in answer.cautions:
        return "go on in turn, so that one side stands on both ends of the other: A, B, B, A."
    if "few stops" in answer.cautions:
        return "take at least two stops on each side, in turn: A, B, B, A."
    if answer.more_each is None:
        alike = answer.ratio.low > 1.0 / ALIKE and answer.ratio.high < ALIKE
        why = "the two are too alike here to matter much" if alike else "places differ more here than the two sides do"
        return f"even 12 more stops on each side may not settle it: {why}."
    stops = "stop" if answer.more_each == 1 else "stops"
    return f"about {answer.more_each} more {stops} on each side would likely settle it, in turn: A, B, B, A."


def about_stops(found: TrialFound) -> list[str]:
    """What must be said of the stops: those filed under the trial that are not part of it, and what few of them do."""
    told = []
    for why, count in found.set_aside.items():
        text = f"1 stop {ASIDE[why]}" if count == 1 else f"{count} stops {ASIDE_SEVERAL[why]}"
        told.append(f"{text}.")
    if found.left_out:
        stops = "stop" if found.left_out == 1 else "stops"
        told.append(f"{found.left_out} {stops} of the trial did not see this loss.")
    return [*told, DRAWN, *variation_said(p.logged for p in found.points)]


def about_settings(found: TrialFound) -> list[str]:
    """What must be said of the settings: several at once, none, others that moved."""
    names = found.record.changed.names
    told = []
    if len(names) > 1:
        told.append(SEVERAL.format(names=", ".join(names)))
    if not names:
        told.append(NONE_CHANGED)
    if found.other_settings:
        told.append(OTHERS.format(names=", ".join(found.other_settings)))
    return told

"""What a pace says, in sentences: shared by every face that shows one."""

from __future__ import annotations

from typing import Final

from chaffinch.book.pace import PaceAnswer
from chaffinch.engine.pace import Advice

ADVICE: Final[dict[Advice, str]] = {
    "slower": "Go slower: {best}. This machine's own checks show that it pays.",
    "faster": "Go faster: {best}. The time saved is worth more than the grain.",
    "stay": "Stay at {today}: it costs within {tolerance} per {land} of the best pace.",
    "not settled": "Not settled: the checks do not say clearly enough that another speed than {today} pays.",
}
NO_TODAY: Final = "Tell today's speed with --now, and its cost is held against this."

REMARK: Final = {
    "time costs nothing": (
        "An hour costs 0, so any grain saved is worth any time: the answer is as slow as you like. "
        "Enter what an hour costs: driver, fuel, wear, the carts that wait, the weather."
    ),
    "grain costs nothing": "The price is 0, so the answer is as fast as you can. Enter the price of the grain.",
    "not tested": "This machine has no check in this crop: what stands here is expectation, not advice.",
    "header not measured": (
        "Machine only: header loss was not measured. It may rise or fall with speed, and the best pace would move."
    ),
    "may lie beyond": "The best pace may lie beyond the speeds tried. Take a check there before you trust more.",
    "beyond tested": "The best pace lies a little beyond the speeds tried: take a check there.",
    "today far from tested": "Today's speed is more than 10 % beyond the speeds tried: its cost is expectation.",
    "slope not learned": (
        "Slower looks better, but from what machines do in general, not from what this one has shown. "
        "Two checks at clearly different speeds would tell."
    ),
}

ASSUMED: Final = {
    "price from field": "Price: the field's.",
    "price from checks": "Price: that of the last check.",
    "yield from field": "Yield: the field's.",
    "yield from checks": "Yield: the middle of the checks'; --yield or --field tells today's.",
    "efficiency": (
        "Field efficiency 70 % at 5 km/h (typical of combines, from memory of a standard's table): turning and "
        "unloading take the same time at any speed. --efficiency with --efficiency-at tells yours."
    ),
    "usual condition": "Conditions: the middle of the checks'; --condition tells today's.",
    "setup of last check": "Settings: as at the last check.",
}


def headers_behind(found: PaceAnswer) -> str:
    """Where the header curve comes from, in one sentence; empty where there is none."""
    curves = found.curves
    if curves.header is None:
        return ""
    own, every = len(curves.own_header), len(curves.header_points)
    if own == 0:
        return f"Header loss was never measured on this machine: its curve is that of the others ({every} checks)."
    return f"Header loss has its own curve, from {own} {'check' if own == 1 else 'checks'} of this machine."


def points_left_out(found: PaceAnswer) -> str:
    """Which checks say nothing to the curve, in one sentence; empty where all do."""
    told = [f"{count} {why}" for why, count in found.curves.left_out.items()]
    return f"Left out: {', '.join(told)}." if told else ""


def load_said(found: PaceAnswer) -> str:
    """Why the curve stands over speed where it does; empty over throughput."""
    if found.curves.load_kind == "throughput" or not found.curves.points:
        return ""
    return "The curve stands over speed: some checks have no yield, so their throughput is not known."

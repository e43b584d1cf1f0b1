"""What a pace says, in sentences: shared by every face that shows one."""

from __future__ import annotations

from typing import Final

from chaffinch.book.pace import PaceAnswer
from chaffinch.engine.estimate import CLEAR
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
    "load and speed apart": (
        "Today's crop is so much heavier or lighter than at the checks that no speed lies within the loads and the "
        "speeds tried: what stands here is expectation, not advice."
    ),
}


def remarks_said(found: PaceAnswer) -> list[str]:
    """Every remark as a sentence, each thing told once."""
    told = [r for r in found.pace.remarks if r != "not tested" or "load and speed apart" not in found.assumed]
    if "beyond tested" in told and "may lie beyond" in told:
        told.remove("beyond tested")
    return [REMARK[r] for r in told]


def limit_may_be_told(found: PaceAnswer) -> bool:
    """Whether the loss at the best pace is a limit: only where own checks have shown a curve that rises with load."""
    curves = found.curves
    return (
        found.pace.limit_that_pays_kg_ha is not None
        and "not tested" not in found.pace.remarks
        and len(curves.own) > 1
        and curves.machine.p_rises(curves.combine.id) >= CLEAR
    )


def advice_has_a_ground(found: PaceAnswer) -> bool:
    """Whether a sentence of advice says anything: not where a figure or a check is missing, which a remark tells."""
    return not {"time costs nothing", "grain costs nothing", "not tested"} & set(found.pace.remarks)


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

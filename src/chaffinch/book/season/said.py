"""What a season's ledger says, in sentences: shared by every face that shows one."""

from __future__ import annotations

from typing import Final

from chaffinch.book.checks.own_variation import variation_said
from chaffinch.book.season.ledger import Ledger
from chaffinch.engine.ledger.fair import Pair, Why

MEASURED: Final = "Measured area only: {area}. Fields without a check are not in it."
ASSUMED: Final = (
    "If the fields, and losses, that nobody checked were like those of their crop that were: {kg} on {area} "
    "(an assumption, not a measurement)."
)
MACHINE_ONLY: Final = "Machine only: header loss was measured in none of these fields. It comes on top."
HEADER_ONLY: Final = "Header only: machine loss was measured in none of these fields. It comes on top."
LEAK_ONLY: Final = "A leak only: neither header nor machine loss was measured in these fields. They come on top."
HEADER_MISSING: Final = "Header loss was not measured in: {names}. It comes on top there."
MACHINE_MISSING: Final = "Machine loss was not measured in: {names}. It comes on top there."
PRICES: Final = "Money at the price of each field's own day, as it stands in the book now."
SHARED: Final = (
    "Errors that checks share (a width guessed once, a table's TKW) move the whole sum together and are counted so."
)
OTHER_CROP: Final = "{field}: {checks} of {crop}, the field is of {own}; counted in its sum all the same."
DOUBTED: Final = (
    "Check {check} in {field} is far from all others there: a spill, a missed pan, a number slipped? It hardly counts "
    "in the sum. Look at it, and correct it if it is wrong."
)
NO_RECORD: Final = "This is no insurance or legal record."

FAIR: Final = (
    "Compared within the same field on the same day (stops less than 8 hours apart), the load allowed for. "
    "In a table without any true difference, at most one in twenty makes a claim."
)
CLAIM: Final = "{claim} loses less: {chance} % sure."
NO_CLAIM: Final = "No difference can be claimed: {why}."
WHY: Final[dict[Why, str]] = {
    "too few checks": "fewer than three checks of each where both were",
    "never in the same field on the same day": "they were never in the same field on the same day",
    "never drove the same machine": "they never drove the same machine, so it may be the machine's doing",
    "loads do not overlap": "their loads do not overlap",
    "not sure enough": "not sure enough to name anybody by",
}

DRIVERS_APART: Final = "The two were never under the same driver: what differs may be the drivers'."


def left_by(found: Ledger) -> str:
    """By what the grain in the headline was lost, and what of it nobody measured: "machine (header not measured)"."""
    seen = found.judged_seen
    missing = [name for name in ("header", "machine") if name not in seen]
    by = " and ".join("a leak" if name == "leak" else name for name in seen)
    return f"{by} ({' and '.join(missing)} not measured)" if missing else by


def missing_said(found: Ledger) -> list[str]:
    """Which losses were not measured, and where."""
    if found.loss is None:
        return []
    seen = {
        one.thing.name: found.loss.fields[one.thing.id].coverage.missing
        for one in found.fields
        if one.thing.id in found.loss.fields
    }
    nowhere = [source for source in ("header", "machine") if source not in found.judged_seen]
    if nowhere:
        return [{1: MACHINE_ONLY if nowhere == ["header"] else HEADER_ONLY, 2: LEAK_ONLY}[len(nowhere)]]
    told = []
    for source, text in (("header", HEADER_MISSING), ("machine", MACHINE_MISSING)):
        names = [name for name, missing in seen.items() if source in missing]
        if names:
            told.append(text.format(names=", ".join(names)))
    return told


def taken_said(found: Ledger) -> list[str]:
    """How errors that checks share were counted, and what was learned of the catches."""
    return [SHARED, *variation_said(check for one in found.fields if one.area_ha is not None for check in one.checks)]


def other_crops_said(found: Ledger) -> list[str]:
    """Checks of another crop than their field's, one sentence for each such crop of a field."""
    return [
        OTHER_CROP.format(field=one.thing.name, checks=counted(count), crop=crop, own=one.crop)
        for one in found.fields
        for crop, count in one.other_crops.items()
    ]


def doubted_said(found: Ledger) -> list[str]:
    """Checks that do not fit the others of their field, one sentence each."""
    return [DOUBTED.format(check=check.id[:8], field=one.thing.name) for one, check in found.doubted]


def left_out_said(why: str, count: int) -> str:
    """Which checks a comparison could not use."""
    return f"Left out: {counted(count)} {'of those ' if count == 1 else ''}that {why}."


def counted(checks: int) -> str:
    """A number of checks."""
    return "1 check" if checks == 1 else f"{checks} checks"


def pair_said(pair: Pair) -> str:
    """What one pair of a comparison comes to."""
    if pair.claim is not None:
        sure = pair.p_first_less if pair.claim == pair.first else 1.0 - pair.p_first_less
        # 99 at most: nothing is certain.
        return CLAIM.format(claim=pair.claim, chance=min(99, round(100 * sure)))
    return NO_CLAIM.format(why="; ".join(WHY[w] for w in pair.why_not))

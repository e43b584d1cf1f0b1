"""What a season's ledger says, in sentences: shared by every face that shows one."""

from __future__ import annotations

from typing import Final

from chaffinch.engine.fair import Pair, Why

MEASURED: Final = "Measured area only: {area}. Fields without a check are not in it."
ASSUMED: Final = (
    "If the fields, and losses, that nobody checked were like those of their crop that were: {kg} on {area} "
    "(an assumption, not a measurement)."
)
MACHINE_ONLY: Final = "Machine only: header loss was measured in none of these fields. It comes on top."
HEADER_MISSING: Final = "Header loss was not measured in: {names}. It comes on top there."
MACHINE_MISSING: Final = "Machine loss was not measured in: {names}. It comes on top there."
PRICES: Final = "Money at the price of each field's own day, as it stands in the book now."
SHARED: Final = (
    "Errors that checks share (a width guessed once, a table's TKW) move the whole sum together and are counted so."
)
NO_RECORD: Final = "This is no insurance or legal record."

FAIR: Final = (
    "Compared within the same field on the same day, the load allowed for. "
    "In a table without any true difference, at most one in twenty makes a claim."
)
CLAIM: Final = "{claim} loses less: {chance} % sure."
NO_CLAIM: Final = "No difference can be claimed: {why}."
WHY: Final[dict[Why, str]] = {
    "too few checks": "fewer than three checks of each where both were",
    "never in the same field on the same day": "they were never in the same field on the same day",
    "loads do not overlap": "their loads do not overlap",
    "not sure enough": "not sure enough to name anybody by",
}


def pair_said(pair: Pair) -> str:
    """What one pair of a comparison comes to."""
    if pair.claim is not None:
        sure = pair.p_first_less if pair.claim == pair.first else 1.0 - pair.p_first_less
        # 99 at most: nothing is certain.
        return CLAIM.format(claim=pair.claim, chance=min(99, round(100 * sure)))
    return NO_CLAIM.format(why="; ".join(WHY[w] for w in pair.why_not))

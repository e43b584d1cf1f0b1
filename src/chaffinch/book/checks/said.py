"""Notices and verdicts as sentences in the person's own unit."""

from __future__ import annotations

from chaffinch import units
from chaffinch.book.checks.answer import CheckAnswer
from chaffinch.book.checks.in_trade_unit import loss_factor
from chaffinch.book.checks.notices import Notice
from chaffinch.book.figures import percent
from chaffinch.book.wording import NEXT_STEP, NOTICE, SOURCE, TAPED
from chaffinch.engine.estimate import CLEAR
from chaffinch.records.check import Check

EVEN = 0.5
"""Probability of being the largest source from which a source is named as the likeliest place."""


def sentence(notice: Notice, check: Check, *, say_so: str = TAPED) -> str:
    """The sentence of a notice, losses and widths in the check's units; ``say_so`` is how taped widths are told."""
    facts = {**notice.facts, "say_so": say_so}
    for key in ("kg_ha", "smallest_kg_ha"):
        if key in facts:
            facts["loss"] = f"{_short(float(str(facts[key])) * loss_factor(check))} {check.trade_unit}"
    if "width_m" in facts:
        unit = "ft" if check.trade_unit.endswith("/ac") else "m"
        facts["width"] = f"{_short(units.write(float(str(facts['width_m'])), unit, 'length'))} {unit}"
    if "source" in facts:
        facts["source"] = SOURCE[str(facts["source"])]
    if "sources" in facts:
        names = facts["sources"]
        assert isinstance(names, tuple)
        facts["sources"] = " and ".join(SOURCE[name] for name in names)
    return NOTICE[notice.key].format(**facts)


def next_step(found: CheckAnswer) -> str:
    """What to do next, in one or two sentences; empty without a verdict."""
    if found.verdict is None:
        return ""
    if found.verdict == "unsettled" and found.further is not None:
        like, n = found.further_like, found.further.catches
        place = next((one.place for one in found.check.catches if one.number == like), "")
        return NEXT_STEP["further" if n is not None else "further-none"].format(
            n=n,
            catches="catch" if n == 1 else "catches",
            like=like,
            place=place,
            chance=percent(found.further.chance),
            **_toss_up(found),
        )
    if found.verdict != "over":
        return NEXT_STEP[found.verdict]
    if "header" not in found.judged:
        return NEXT_STEP["over-machine-only"]
    source, loss = max(found.sources.items(), key=lambda item: item[1].p_largest)
    if loss.p_largest < EVEN or len(found.sources) == 1:
        return NEXT_STEP["over"]
    if source == "standing":
        return NEXT_STEP["over-standing-largest"]
    key = "over-mostly" if loss.p_largest >= CLEAR else "over-likely"
    return NEXT_STEP[key].format(source=SOURCE[source], p=min(99, round(100 * loss.p_largest)))


def _toss_up(found: CheckAnswer) -> dict[str, str]:
    """What else stands in the way of a clear answer, as far as it does, and the mend for it."""
    keys = {notice.key for notice in found.notices}
    if "width-guessed" in keys:
        return {"doubt": ", or the widths are too uncertain", "mend": ", or tape the widths"}
    if keys & {"not-told-apart", "standing-left-in"}:
        return {
            "doubt": ", or the sources are not told apart",
            "mend": ", or take frames in standing crop and in the cut strip",
        }
    return {"doubt": "", "mend": ""}


def _short(value: float) -> str:
    return f"{value:.2g}" if abs(value) < 10 else f"{value:.0f}"

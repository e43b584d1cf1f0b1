"""What stands behind a report's figures: prices, method, coverage, and the corrections of its checks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from chaffinch import __version__
from chaffinch.book.checks.held import LoggedCheck
from chaffinch.book.desk import Desk
from chaffinch.book.figures import plain_number
from chaffinch.book.wording import SOURCE
from chaffinch.engine.estimate import default_prior
from chaffinch.paper.blocks import Block, facts, heading, notes, text
from chaffinch.paper.check_record_told import versions_told
from chaffinch.paper.wanted import SEED
from chaffinch.paper.words import words

LONGEST_DIFFERENCE = 240
"""Characters of what a correction changed that are printed; own figure."""


def method(kinds: Sequence[str], sources: Sequence[str], *, yield_kg_ha: float | None = None) -> list[Block]:
    """How the figures were made: one line for each kind of figure on the page; ``sources`` are those it tells of."""
    told = [source for source in ("header", "machine") if source in sources] or list(sources)
    said = ", ".join(
        words(
            "report.method.prior",
            source=SOURCE[source],
            median=plain_number(default_prior(source, yield_kg_ha).median_kg_ha, 2),
        )
        for source in told
    )
    lines = [words("report.method.range"), words("report.method.check", prior=said)]
    lines += [words(f"report.method.{kind}") for kind in kinds]
    lines.append(words("report.method.frozen", version=__version__, seed=SEED))
    lines.append(words("report.method.pages", version=__version__))
    return notes(words("report.method"), lines)


def coverage(count: str, area: str, saw: Mapping[str, int]) -> str:
    """On how many checks and which area the figures rest, and how many of them saw header and machine loss."""
    return words(
        "report.method.coverage", checks=count, area=area, header=saw.get("header", 0), machine=saw.get("machine", 0)
    )


def corrections(desk: Desk, checks: Sequence[LoggedCheck], *, feet: bool, short: bool) -> list[Block]:
    """Every check that was corrected, with why and what differs."""
    changed = [one for one in checks if len(one.versions.all) > 1]
    if not changed:
        return (
            [] if short else [heading(words("report.corrections")), text(words("report.corrections.none"), soft=True)]
        )
    if short:
        return [text(words("report.corrections.few", n=len(changed), of=len(checks)), soft=True)]
    lines = []
    for one in changed:
        for version in versions_told(desk, one, feet=feet):
            if not version["corrects"]:
                continue
            differs = "; ".join(str(line).replace(" → ", " to ") for line in version["differs"])
            lines.append(
                words(
                    "report.corrections.line",
                    id=version["id"],
                    reason=(version["reason"] or words("report.corrections.no_reason")).rstrip("."),
                    differs=_cut(differs) or words("report.corrections.same"),
                )
            )
        if one.versions.disagree:
            lines.append(words("report.corrections.disagree", id=one.id[:8], counts=str(one.versions.counts)[:8]))
    return [heading(words("report.corrections")), *notes("", lines)]


def prices(rows: Sequence[tuple[str, str]]) -> list[Block]:
    """The prices the money was reckoned with: what each is of, and the price with its day."""
    title = words("report.prices")
    if not rows:
        return [heading(title), text(words("report.prices.none"), soft=True)]
    return [heading(title), *facts(rows)]


def _cut(text_given: str) -> str:
    return text_given if len(text_given) <= LONGEST_DIFFERENCE else text_given[: LONGEST_DIFFERENCE - 1] + "…"

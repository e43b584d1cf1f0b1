"""What a person should know before trusting a check: warnings, and figures that were assumed.

Found here as keys with numbers; :mod:`chaffinch.book.wording` has the sentences.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, Literal

from chaffinch.book.checks.catches import Prepared, crop_figures
from chaffinch.engine import plain as textbook
from chaffinch.engine.kit import resolves, smallest_loss_kg_ha
from chaffinch.engine.plain import Plain
from chaffinch.records.check import Check

LITTLE_LEARNED: Final = 0.20
"""Below this narrowing of ln(loss) the catches are said to tell nothing about a source [1]; own figure."""
FEW_SEEDS: Final = 10
"""Seeds in all below which a count says little: 10 seeds are ± 32 % by counting alone (derived, 1/√10)."""
UNEVEN_RATIO: Final = 4.0
"""Largest over smallest reading of catches taken alike that is pointed out [1]; own figure. Published residue
behind spreaders varied 1.4 to 5.1 fold across the cut (Allmaras et al. 1985, abstract, printed)."""

DISAGREE_RATIO: Final = 2.5
"""Largest over smallest mean of places that see the same loss that is pointed out [1]; own figure."""

Kind = Literal["warning", "assumed"]


@dataclass(frozen=True, slots=True)
class Notice:
    """One thing to know: a key for the sentence, and what to put into it."""

    key: str
    kind: Kind = "warning"
    facts: Mapping[str, object] = field(default_factory=dict)


def of(
    check: Check,
    ready: Prepared,
    plain: Plain,
    seen: Sequence[str],
    judged: Sequence[str],
    learned: Mapping[str, float],
) -> tuple[Notice, ...]:
    """All notices of a check, warnings first, the ones that change the meaning of the number foremost."""
    return (
        *_about_places(check, ready, plain, seen, learned),
        *_about_kit(check, ready, judged),
        *_disagreeing_places(ready),
        *_about_terms(check, seen),
        *_assumed(check, ready),
    )


def _about_places(
    check: Check, ready: Prepared, plain: Plain, seen: Sequence[str], learned: Mapping[str, float]
) -> Iterator[Notice]:
    if "machine" in seen and "header" not in seen:
        yield Notice("machine-only-windrowed" if check.windrowed else "machine-only")
    if "machine" not in seen and "header" in seen:
        yield Notice("header-only")
    if tuple(seen) == ("standing",):
        yield Notice("standing-only")
    if tuple(seen) == ("leak",):
        yield Notice("leak-only")
    elif "leak" in seen:
        yield Notice("leak-apart")
    blurred = [s for s in seen if len(seen) > 1 and learned[s] < LITTLE_LEARNED]
    if blurred:
        yield Notice("not-told-apart", facts={"sources": tuple(blurred)})
    if textbook.STANDING_LEFT_IN in plain.left_in:
        yield Notice("standing-left-in")
    if textbook.HEADER_LEFT_IN in plain.left_in:
        yield Notice("header-left-in")
    for source in ("header", "machine"):
        value = plain.of(source)
        if value is not None and value < 0:
            yield Notice("negative-plain", facts={"source": source, "kg_ha": value})
    on = [n for n, c in zip(ready.numbers, ready.catches, strict=True) if c.exposure.taken == "spread"]
    if len(on) == 1 and len(on[0]) == 1:
        yield Notice("one-position-spreading")
    if check.working_width_m is not None:
        yield Notice("part-width", facts={"width_m": check.working_width_m})
    if check.windrowed and check.combine is not None:
        yield Notice("windrower-width-used", kind="assumed", facts={"width_m": ready.cut_width_m})


def _about_kit(check: Check, ready: Prepared, judged: Sequence[str]) -> Iterator[Notice]:
    if check.limit_kg_ha is not None:
        for catch, numbers in zip(ready.catches, ready.numbers, strict=True):
            area = max(catch.exposure.area_m2(s) for s in judged)
            step = catch.reading.step_g if catch.reading.count is None else 1.0 / catch.reading.seeds_per_g
            if step == 0.0:  # pans at offsets that were counted: one catch without a count of its own
                step = catch.reading.seed_g
            if area > 0 and not resolves(step, area, check.limit_kg_ha):
                yield Notice(
                    "coarse-kit",
                    facts={"catch": numbers[0], "smallest_kg_ha": smallest_loss_kg_ha(step, area)},
                )
                break
    counts = [c.reading.count for c in ready.catches if c.reading.count is not None]
    if counts and len(counts) == len(ready.catches) and sum(counts) < FEW_SEEDS:
        yield Notice("few-seeds", facts={"seeds": sum(counts)})
    alike: dict[object, list[float]] = {}
    for place, catch in zip(ready.places, ready.catches, strict=True):
        area = max(catch.exposure.area_m2(s) for s in ("standing", "machine", "leak"))
        alike.setdefault((place, catch.alike), []).append(catch.reading.mass_g / area)
    for (place, _), values in alike.items():  # type: ignore[misc]
        if max(values) == 0 and place != "standing":  # where nothing fell before harvest, nothing was missed
            yield Notice("all-empty", facts={"place": place})
        if min(values) > 0 and max(values) > UNEVEN_RATIO * min(values):
            yield Notice("uneven", facts={"place": place, "ratio": max(values) / min(values)})


def _disagreeing_places(ready: Prepared) -> Iterator[Notice]:
    """Places that see machine loss alone and tell it very differently."""
    by_place: dict[str, list[float]] = {}
    for place, catch in zip(ready.places, ready.catches, strict=True):
        if catch.exposure.standing_m2 == 0 and catch.exposure.machine_m2 > 0:
            by_place.setdefault(place, []).append(catch.reading.mass_g / catch.exposure.machine_m2)
    means = [sum(values) / len(values) for values in by_place.values()]
    if len(means) > 1 and min(means) > 0 and max(means) > DISAGREE_RATIO * min(means):
        yield Notice("places-disagree", facts={"ratio": max(means) / min(means)})


def _about_terms(check: Check, seen: Sequence[str]) -> Iterator[Notice]:
    if check.limit_kg_ha is None and {"header", "machine"} & set(seen):
        yield Notice("no-limit", kind="assumed")
    if check.yield_kg_ha is None:
        yield Notice("no-yield", kind="assumed")


def _assumed(check: Check, ready: Prepared) -> Iterator[Notice]:
    figures = crop_figures(check)
    if "tkw" in figures.assumed:
        known = figures.crop
        yield Notice(
            "tkw-from-table",
            "assumed",
            {"tkw_g": known.tkw_g.value, "low_g": known.tkw_low_g.value, "high_g": known.tkw_high_g.value},
        )
    if "test-weight" in figures.assumed:
        yield Notice("test-weight-from-table", "assumed", {"kg_hl": figures.test_weight_kg_hl})
    if "seed-size" in figures.assumed:
        yield Notice("seed-size-from-table", "assumed")
    if any(one.amount.kind == "counted" for one in check.catches):
        yield Notice("lost-seed-is-lighter", "assumed")
    weighed = [one for one in check.catches if one.amount.kind != "counted"]
    if weighed and all(one.moisture_pct is None for one in weighed):
        yield Notice("moisture-as-is", "assumed")
    inferred = sorted({one.amount.step for one in weighed if one.amount.step_inferred})
    if inferred:
        units = {"weighed": "g", "measured": "mL", "flat": "cm²"}
        first = next(one for one in weighed if one.amount.step_inferred)
        yield Notice("step-from-digits", "assumed", {"step": first.amount.step, "unit": units[first.amount.kind]})
    uses_width = any(c.exposure.by_width for c in ready.catches)
    if uses_width and check.combine is not None and not check.combine.widths_taped:
        yield Notice("width-guessed", "assumed")

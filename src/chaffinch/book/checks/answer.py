"""Answer a check: how much was lost, where, what it costs, and whether it is over the limit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from chaffinch.book.checks import notices
from chaffinch.book.checks.catches import Prepared, prepare
from chaffinch.book.checks.notices import Notice
from chaffinch.engine import estimate as est
from chaffinch.engine.estimate import Belief, DrawBelief, Range, Verdict
from chaffinch.engine.evidence import Catch, evidence
from chaffinch.engine.plain import Plain, plain
from chaffinch.engine.plan import (
    Outlook,
    Prospect,
    further_catches,
    prospect_of_joint,
    prospect_of_one_source,
)
from chaffinch.engine.sources import Joint, common_scale_sd, locate, sources_seen
from chaffinch.errors import InputError
from chaffinch.records.check import Check

KG_PER_T = 1000.0
MACHINE_AND_LEAK = "machine and leak"
CUT_OFF = 0.001
"""Probability at the ends of the grid from which the sampler answers in its place [1]."""


@dataclass(frozen=True, slots=True)
class Loss:
    """One loss with its range, in every measure the check allows.

    Attributes
    ----------
    plain_kg_ha : float or None
        Textbook arithmetic [kg/ha]; None where it gives no such figure; may be negative.
    kg_ha : Range
        Estimate [kg/ha].
    share_pct : Range or None
        Percent of (harvested + lost) [%]; None without a yield.
    money_per_ha : Range or None
        [money/ha]; None without a price.
    part_of_loss_pct : float
        Expected part of the total loss [%].
    p_largest : float
        Probability of being the largest source seen.
    learned : float
        How much the catches narrowed this loss, 0 for nothing.
    """

    plain_kg_ha: float | None
    kg_ha: Range
    share_pct: Range | None
    money_per_ha: Range | None
    part_of_loss_pct: float
    p_largest: float
    learned: float


@dataclass(frozen=True, slots=True)
class CheckAnswer:
    """What a check says.

    Attributes
    ----------
    check : Check
        The record answered.
    prepared : Prepared
        Catches, widths and crop figures as used.
    sources : mapping of str to Loss
        One entry per source the catches see, in the order standing, header, machine, leak.
    total : Loss
        All sources seen together.
    judged : tuple of str
        Sources whose sum the limit is held against: header, machine and leak as far as seen, since no setting of the
        combine brings back what fell before it came.
    judged_kg_ha : Range
        That sum [kg/ha].
    verdict : {"over", "under", "unsettled"} or None
        None without a limit, or when neither header nor machine loss was seen.
    p_over : float or None
        Probability that the judged loss exceeds the limit.
    further : Outlook or None
        Further catches to a clear verdict, when it is unsettled.
    further_like : int or None
        Number of the catch (in the record) they should be like.
    plain : Plain
        The textbook arithmetic as a whole.
    unthreshed_pct : float or None
        Part of the caught seed that was still in heads or pods [%]; None when none was looked for.
    beliefs : mapping of str to Belief
        The losses themselves by source, and under ``judged`` their judged sum: for sums over several checks.
    money_per_h, money_per_field : Range or None
        Judged loss in money per hour of cutting at the check's speed, and for the whole field.
    notices : tuple of Notice
        Warnings and stated assumptions.
    """

    check: Check
    prepared: Prepared
    sources: Mapping[str, Loss]
    total: Loss
    judged: tuple[str, ...]
    judged_kg_ha: Range
    beliefs: Mapping[str, Belief]
    verdict: Verdict | None
    p_over: float | None
    further: Outlook | None
    further_like: int | None
    plain: Plain
    unthreshed_pct: float | None
    money_per_h: Range | None
    money_per_field: Range | None
    notices: tuple[Notice, ...]


def answer(check: Check, *, seed: int = 1) -> CheckAnswer:
    """Answer a check.

    Parameters
    ----------
    check : Check
        From :func:`chaffinch.records.checkfile.read_check_file`.
    seed : int
        Seed of the sampler; the same seed gives the same digits.

    Raises
    ------
    InputError
        When the record lacks something the catches need; names the field, the value and the mend.
    SamplerError
        When the catches contradict each other beyond what the model can hold.
    """
    ready = prepare(check)
    priors = {s: est.default_prior(s, check.yield_kg_ha) for s in sources_seen(ready.catches)}
    textbook = plain(ready.catches)
    posterior = _Posterior.of(ready, priors, seed)
    judged = tuple(s for s in ("header", "machine", "leak") if s in posterior.seen) or ("standing",)
    sources = {s: _loss(posterior, (s,), textbook.of(s), check) for s in posterior.seen}
    total = _loss(posterior, posterior.seen, textbook.total, check)
    belief = posterior.of_sources(*judged)
    judged_range = est.range_of(belief)
    p_over, verdict, further, like = None, None, None, None
    if check.limit_kg_ha is not None and {"header", "machine"} & set(judged):
        p_over = belief.probability_above(check.limit_kg_ha)
        verdict = est.verdict(p_over)
        if verdict == "unsettled":
            further, like = _outlook(ready, posterior, judged, check.limit_kg_ha, seed)
    per_ha = _money_per_ha(judged_range, check)
    found = notices.of(check, ready, textbook, posterior.seen, judged, posterior.learned)
    return CheckAnswer(
        check,
        ready,
        sources,
        total,
        judged,
        judged_range,
        {"judged": belief, **_parts_of(posterior)},
        verdict,
        p_over,
        further,
        like,
        textbook,
        _unthreshed_pct(check, ready.catches),
        _money_per_h(per_ha, check, ready),
        None if per_ha is None or check.field_area_ha is None else per_ha.times(check.field_area_ha),
        found,
    )


def prospect_of_another(check: Check, *, seed: int = 1) -> Prospect:
    """What one more catch like the check's first of judged loss would meet, and the judged loss it is about.

    Raises
    ------
    InputError
        When no catch sees header or machine loss.
    """
    ready = prepare(check)
    priors = {s: est.default_prior(s, check.yield_kg_ha) for s in sources_seen(ready.catches)}
    posterior = _Posterior.of(ready, priors, seed)
    judged = tuple(s for s in ("header", "machine", "leak") if s in posterior.seen)
    like = next((c for c in ready.catches if any(c.exposure.area_m2(s) > 0 for s in judged)), None)
    if like is None:
        raise InputError("check", None, "saw nothing that is held against the combine", "take a catch behind it")
    return posterior.prospect(ready, like, judged, seed)


def _parts_of(posterior: _Posterior) -> dict[str, Belief]:
    """Each source seen; and the machine with its leak in it, as checks without a leak catch see them."""
    parts = {s: posterior.of_sources(s) for s in posterior.seen}
    if {"machine", "leak"} <= set(posterior.seen):
        parts[MACHINE_AND_LEAK] = posterior.of_sources("machine", "leak")
    return parts


@dataclass(frozen=True, slots=True)
class _Posterior:
    """The posterior on the grid for a single source read one way, as joint draws otherwise."""

    seen: tuple[str, ...]
    grid: est.GridBelief | None
    joint: Joint | None
    prior: est.Prior | None
    scale_sd: float
    learned: Mapping[str, float]

    @staticmethod
    def of(ready: Prepared, priors: Mapping[str, est.Prior], seed: int) -> _Posterior:
        seen = tuple(priors)
        scale_sd = common_scale_sd(ready.catches, ready.width_sd)
        if len(seen) == 1 and scale_sd is not None:
            prior = priors[seen[0]]
            belief = est.estimate(evidence(ready.catches, seen[0]), prior, scale_sd)
            # A loss that may lie beyond the grid (a drip, a disaster) is left to the sampler, which has no ends.
            if belief.at_the_ends() <= CUT_OFF:
                learned = 1.0 - belief.sd_log() / prior.sd_log
                return _Posterior(seen, belief, None, prior, scale_sd, {seen[0]: learned})
        joint = locate(ready.catches, priors, width_sd=ready.width_sd, seed=seed)
        return _Posterior(seen, None, joint, None, 0.0, joint.learned)

    def of_sources(self, *sources: str) -> Belief:
        if self.grid is not None:
            return self.grid
        assert self.joint is not None
        return self.joint.of(*sources)

    def parts(self) -> tuple[Mapping[str, float], Mapping[str, float]]:
        if self.joint is None:
            return {self.seen[0]: 100.0}, {self.seen[0]: 1.0}
        return self.joint.part_of_loss_pct(), self.joint.p_largest()

    def prospect(self, ready: Prepared, like: Catch, judged: Sequence[str], seed: int) -> Prospect:
        if self.joint is not None:
            return prospect_of_joint(self.joint, like, judged, seed=seed)
        assert self.prior is not None
        return prospect_of_one_source(ready.catches, self.seen[0], self.prior, self.scale_sd, like, seed=seed)


def _loss(posterior: _Posterior, sources: tuple[str, ...], plain_kg_ha: float | None, check: Check) -> Loss:
    belief = posterior.of_sources(*sources)
    kg_ha = est.range_of(belief)
    parts, largest = posterior.parts()
    share = None
    if check.yield_kg_ha is not None:
        share = _share_range(posterior, sources, check.yield_kg_ha)
    return Loss(
        plain_kg_ha,
        kg_ha,
        share,
        _money_per_ha(kg_ha, check),
        sum(parts[s] for s in sources),
        largest[sources[0]] if len(sources) == 1 else 1.0,
        min(posterior.learned[s] for s in sources),
    )


def _share_range(posterior: _Posterior, sources: tuple[str, ...], yield_kg_ha: float) -> Range:
    """Percent of (harvested + lost): per draw where there are draws, since part and whole move together."""
    if posterior.joint is None:
        r = est.range_of(posterior.of_sources(*sources))
        return Range(*(est.share_pct(x, x, yield_kg_ha) for x in (r.low, r.median, r.high)))
    part, whole = posterior.joint.of(*sources), posterior.joint.of(*posterior.seen)
    pct = 100.0 * part.loss_kg_ha / (yield_kg_ha + whole.loss_kg_ha)
    return est.range_of(DrawBelief(pct, part.weights))


def _money_per_ha(kg_ha: Range, check: Check) -> Range | None:
    return None if check.price_per_t is None else kg_ha.times(check.price_per_t / KG_PER_T)


def _money_per_h(per_ha: Range | None, check: Check, ready: Prepared) -> Range | None:
    width = check.working_width_m or (check.combine.cut_width_m if check.combine else ready.cut_width_m)
    if check.windrowed:
        # A pick-up follows one windrow at a time: the windrower's width is what it brings in.
        width = ready.cut_width_m
    if per_ha is None or check.speed_kmh is None or width is None:
        return None
    from chaffinch.engine.work import spot_capacity_ha_h

    return per_ha.times(spot_capacity_ha_h(check.speed_kmh, width))


def _unthreshed_pct(check: Check, catches: Sequence[Catch]) -> float | None:
    if all(one.unthreshed is None and one.heads is None for one in check.catches):
        return None
    mass = sum(c.reading.mass_g for c in catches)
    return 100.0 * sum(c.reading.unthreshed_g for c in catches) / mass if mass else None


def _outlook(
    ready: Prepared, posterior: _Posterior, judged: Sequence[str], limit_kg_ha: float, seed: int
) -> tuple[Outlook | None, int | None]:
    """Try one more catch like each kind taken, and keep the kind that settles the verdict soonest."""
    best: tuple[Outlook, int] | None = None
    tried = set()
    for catch, place, numbers in zip(ready.catches, ready.places, ready.numbers, strict=True):
        if (place, catch.alike) in tried or not any(catch.exposure.area_m2(s) > 0 for s in judged):
            continue
        tried.add((place, catch.alike))
        outlook = further_catches(posterior.prospect(ready, catch, judged, seed), limit_kg_ha, seed=seed)
        if best is None or _sooner(outlook, best[0]):
            best = outlook, numbers[0]
    return best if best is not None else (None, None)


def _sooner(a: Outlook, b: Outlook) -> bool:
    far = 10_000
    return (a.catches or far, -a.chance) < (b.catches or far, -b.chance)

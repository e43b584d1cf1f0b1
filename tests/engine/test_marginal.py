"""One source out of a joint posterior: against the grid where it sees that source alone, and against simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from made_catches import DESIGN_PAN, PRIORS, counted, field_area, weighed
from scipy import stats

from chaffinch.engine import exposure as ex
from chaffinch.engine import marginal
from chaffinch.engine.estimate import Prior, estimate
from chaffinch.engine.evidence import LN_LOSS, evidence
from chaffinch.engine.marginal import evidence_of, evidence_of_source
from chaffinch.engine.sources import locate
from chaffinch.errors import InputError

ALONE = {
    "one pan": [weighed(12.5)],
    "three pans": [weighed(g) for g in (12.5, 9.8, 15.1)],
    "one empty pan": [weighed(0.0)],
    "two of three empty": [weighed(0.0), weighed(0.2), weighed(0.0)],
    "eight pans spanning": [weighed(12.0 + 0.5 * g, field_area(2.0), tkw_g=40.0) for g in range(8)],
}
MIXED = [
    weighed(0.4, ex.in_standing_crop(1.0), tkw_g=40.0),
    weighed(2.1, ex.in_header_strip(1.0), tkw_g=40.0),
    weighed(3.3, ex.in_header_strip(1.0), tkw_g=40.0),
    weighed(14.0, DESIGN_PAN, tkw_g=40.0),
    weighed(22.0, ex.behind(0.5, 12.0, 2.0), tkw_g=40.0),
]


@pytest.mark.parametrize("catches", ALONE.values(), ids=ALONE.keys())
def test_where_one_source_is_seen_it_is_the_evidence_on_the_grid(catches):
    found = evidence_of_source(locate(catches, PRIORS, width_sd=0.08), "machine", PRIORS)
    exact = evidence(catches, "machine")

    # What it is for: the posterior under the same prior, and under others that look elsewhere. 7,000 effective draws
    # and a kernel leave a few hundredths of an sd, and more (a tenth) where a prior looks into the tail.
    for prior, off in ((PRIORS["machine"], 0.05), (Prior(40.0, 0.5), 0.08), (Prior(120.0), 0.12), (Prior(15.0), 0.12)):
        mine, theirs = (estimate(e, prior, 0.0) for e in (found, exact))
        for p in (0.05, 0.5, 0.95):
            apart = math.log(mine.quantile(p) / theirs.quantile(p)) / theirs.sd_log()
            assert abs(apart) < off, f"prior {prior}, {p:.0%}: off by {apart:.3f} sd"
        assert mine.sd_log() == pytest.approx(theirs.sd_log(), rel=0.05)


def test_the_source_s_own_prior_given_back_gives_the_joint_answer():
    joint = locate(MIXED, PRIORS, width_sd=0.0)
    for source in joint.sources:
        belief = estimate(evidence_of_source(joint, source, PRIORS), PRIORS[source], 0.0)
        drawn = np.log(joint.caught_kg_ha[:, joint.sources.index(source)])
        mean = joint.weights @ drawn
        sd = math.sqrt(joint.weights @ np.square(drawn - mean))
        assert belief.mass @ LN_LOSS == pytest.approx(mean, abs=0.03 * sd)
        # Header loss has a long leg towards 0 (all of it may have lain there before); its end is a parabola's.
        assert belief.sd_log() == pytest.approx(sd, rel=0.05)


def test_errors_common_to_all_catches_are_not_in_it():
    exact, guessed = (
        evidence_of_source(locate(ALONE["three pans"], PRIORS, width_sd=sd), "machine", PRIORS) for sd in (0.0, 0.5)
    )
    assert guessed.log_likelihood == pytest.approx(exact.log_likelihood, abs=1e-9)


def test_a_sum_of_sources_has_its_own_prior_taken_off():
    joint = locate(MIXED, PRIORS, width_sd=0.0)
    total = evidence_of(joint, joint.sources, PRIORS)

    # The prior of the sum by draws: 200,000 of them, in a histogram.
    rng = np.random.default_rng(4)
    parts = [PRIORS[s].median_kg_ha * np.exp(1.3 * rng.standard_normal(200_000)) for s in joint.sources]
    prior = stats.gaussian_kde(np.log(sum(parts))[:20_000])(LN_LOSS)
    mass = np.exp(total.log_likelihood) * prior
    mass /= mass.sum()
    drawn = np.log(joint.caught_kg_ha.sum(axis=1))
    mean = joint.weights @ drawn
    sd = math.sqrt(joint.weights @ np.square(drawn - mean))
    assert mass @ LN_LOSS == pytest.approx(mean, abs=0.05 * sd)
    # And the prior itself against the same draws.
    mine = np.exp(marginal._ln_prior_of_sum([PRIORS[s] for s in joint.sources]))
    centre = mine @ LN_LOSS / mine.sum()
    assert mine.sum() * (LN_LOSS[1] - LN_LOSS[0]) == pytest.approx(1.0, abs=2e-3)
    assert centre == pytest.approx(np.log(sum(parts)).mean(), abs=0.02)


def test_where_the_catches_say_nothing_of_a_source_it_is_nearly_flat():
    # Frames behind see the sum; the standing part of it could be anything below.
    joint = locate([weighed(22.0, ex.behind(0.5, 12.0, 2.0), tkw_g=40.0)], PRIORS, width_sd=0.08)
    found = evidence_of_source(joint, "standing", PRIORS)
    possible = (np.exp(LN_LOSS) > 0.5) & (np.exp(LN_LOSS) < 40.0)
    assert np.ptp(found.log_likelihood[possible]) < 1.0
    # 22 g on 0.5 m² are 440 kg/ha, and no more. Draws that reach so far know it.
    wide = {**PRIORS, "standing": Prior(60.0)}
    joint = locate([weighed(22.0, ex.behind(0.5, 12.0, 2.0), tkw_g=40.0)], wide, width_sd=0.08)
    found = evidence_of_source(joint, "standing", wide).log_likelihood
    assert found[np.searchsorted(LN_LOSS, math.log(4000.0))] < -2.0


def test_it_never_rises_beyond_the_draws():
    joint = locate(MIXED, PRIORS, width_sd=0.0)
    for source in joint.sources:
        found = evidence_of_source(joint, source, PRIORS).log_likelihood
        low, high = (
            np.searchsorted(np.exp(LN_LOSS), q)
            for q in np.quantile(joint.caught_kg_ha[:, joint.sources.index(source)], [0.0005, 0.9995])
        )
        assert (np.diff(found[: max(low, 1)]) >= -1e-12).all()
        assert (np.diff(found[min(high, 575) :]) <= 1e-12).all()
        assert found.max() == 0.0


def test_it_holds_the_truth_in_simulation():
    # Frames in the strip and a pan in the discharge, header loss asked for: 80 truths from the prior, and the range
    # of header loss from its marginal evidence. 90 % of 80, with four standard deviations either way.
    rng = np.random.default_rng(8)
    held = 0
    for _ in range(80):
        loss = {s: PRIORS[s].median_kg_ha * math.exp(1.3 * rng.standard_normal()) for s in ("standing", "header")}
        catches, c = [], 0.5 * math.exp(0.35 * rng.standard_normal())
        for place, seen in (("standing", ("standing",)), ("strip", ("standing", "header"))):
            for _ in range(2):
                seeds = rng.poisson(0.1 * sum(loss[s] for s in seen) / 0.04 * rng.gamma(1 / c**2, c**2))
                area = ex.in_standing_crop(1.0) if place == "standing" else ex.in_header_strip(1.0)
                catches.append(weighed(round(float(seeds) * 0.04, 1), area, tkw_g=40.0))
        joint = locate(catches, PRIORS, width_sd=0.0)
        belief = estimate(evidence_of_source(joint, "header", PRIORS), PRIORS["header"], 0.01)
        held += belief.quantile(0.05) < loss["header"] < belief.quantile(0.95)
    assert abs(held / 80 - 0.9) < 4 * math.sqrt(0.09 / 80)


@pytest.mark.parametrize("area_m2", [0.25, 1.0, 4.0])
@pytest.mark.parametrize("frames", [1, 2, 6])
def test_frames_without_a_seed_leave_the_draws_below_the_grid(area_m2, frames):
    # One seed on 4 m² is 0.009 kg/ha, a fifth of where the grid begins.
    empty = [counted(0, ex.in_standing_crop(area_m2))] * frames
    found = evidence_of_source(locate(empty, PRIORS, width_sd=0.08), "standing", PRIORS).log_likelihood
    exact = evidence(empty, "standing").log_likelihood
    likely = exact > -3.0
    # Level to the left; how far right it reaches is what the frames say. 0.35: what 4,000 draws and a kernel leave
    # of a likelihood in the 0.1 % of the prior that it lies in.
    assert np.abs(found[likely] - exact[likely]).max() < 0.35
    assert found[0] > -0.35


def test_one_catch_that_is_full_beside_empty_ones_is_an_answer():
    catches = [weighed(8.0), counted(700, ex.in_header_strip(1.0)), *[counted(0, ex.in_standing_crop(1.0))] * 2]
    joint = locate(catches, PRIORS, width_sd=0.08)
    standing, header, machine = (evidence_of_source(joint, s, PRIORS).log_likelihood for s in joint.sources)
    assert standing[np.searchsorted(LN_LOSS, math.log(5.0))] < -5.0
    # 700 seeds of 3.5 mg on 1 m² are 24.5 kg/ha.
    assert LN_LOSS[header.argmax()] == pytest.approx(math.log(24.5), abs=0.25)
    assert np.isfinite(machine).all()


def test_empty_pans_beside_strips_and_pans_too_full_for_the_grid():
    strips = [counted(30, ex.in_header_strip(1.0))] * 2
    joint = locate([counted(0)] * 6 + strips, PRIORS, width_sd=0.08)
    found = evidence_of_source(joint, "machine", PRIORS).log_likelihood
    assert found[0] > -0.5
    assert found[np.searchsorted(LN_LOSS, math.log(5.0))] < -5.0
    # 40 kg from 4 ft² at ratio 6 are 180,000 kg/ha: nothing on the grid is likelier than its end.
    full = [weighed(40_000.0)] * 2
    joint = locate(full + strips, PRIORS, width_sd=0.08)
    found = evidence_of_source(joint, "machine", PRIORS).log_likelihood
    assert found.argmax() == LN_LOSS.size - 1
    assert found[np.searchsorted(LN_LOSS, math.log(500.0))] < -5.0


@pytest.mark.parametrize(
    ("sources", "priors", "names"),
    [((), PRIORS, "sources"), (("leak",), PRIORS, "source"), (("machine",), {}, "priors")],
)
def test_what_was_not_seen_cannot_be_asked_for(sources, priors, names):
    joint = locate(ALONE["one pan"], PRIORS, width_sd=0.08)
    with pytest.raises(InputError, match=names):
        evidence_of(joint, sources, priors)

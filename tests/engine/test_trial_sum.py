"""Evidence about header and machine together: by integration, from draws, and through a trial."""

from __future__ import annotations

import math

import numpy as np
import pytest
from made_catches import PRIORS, weighed
from made_trials import normal, pans, trial
from scipy import stats
from sum_by_integration import sum_of_evidence

from chaffinch.engine import exposure as ex
from chaffinch.engine.estimate import Prior
from chaffinch.engine.evidence import LN_LOSS, evidence
from chaffinch.engine.marginal import evidence_of
from chaffinch.engine.sources import locate
from chaffinch.engine.trial.ratio import compare
from chaffinch.engine.trial.scatter import mean_of, sd_of

# A frame that sees header loss alone (standing loss is nil), so that evidence() and locate() see the same.
HEADER_ONLY = ex.Exposure(0.0, 1.0, 0.0, "ground", False)
STRIP = [weighed(g, HEADER_ONLY) for g in (2.1, 3.3, 1.8)]
PANS = [weighed(m) for m in (12.5, 9.8, 15.1)]


def test_sum_by_integration_agrees_with_draws_by_chance():
    header, machine = normal(20.0, 0.3), normal(55.0, 0.2)
    found = sum_of_evidence([(header, PRIORS["header"]), (machine, PRIORS["machine"])])
    # Draws of both losses from prior times likelihood (normals in the log), the sum's prior then divided out.
    rng = np.random.default_rng(2)
    n = 5_000

    def drawn(median: float, sd: float, prior: Prior) -> np.ndarray:
        weight = np.array([1 / sd**2, 1 / prior.sd_log**2])
        mean = (weight @ [math.log(median), math.log(prior.median_kg_ha)]) / weight.sum()
        return np.exp(mean + rng.standard_normal(n) / math.sqrt(weight.sum()))

    after = np.log(drawn(20.0, 0.3, PRIORS["header"]) + drawn(55.0, 0.2, PRIORS["machine"]))
    before = stats.gaussian_kde(
        np.log(np.exp(rng.normal(math.log(20), 1.3, 10_000)) + np.exp(rng.normal(math.log(40), 1.3, 10_000)))
    )
    ratio = 1.0 / before(after)
    mean = np.average(after, weights=ratio)
    sd = math.sqrt(np.average(np.square(after - mean), weights=ratio))
    # 5,000 draws: 0.014 sd of the mean and 1 % of the sd, and the kernel's blur of a wide prior on top.
    assert mean_of(found) == pytest.approx(mean, abs=0.05 * sd)
    assert sd_of(found) == pytest.approx(sd, rel=0.04)


@pytest.mark.parametrize("sources", [("header", "machine"), ("machine",), ("header",)])
def test_draws_and_integration_are_two_roads(sources):
    joint = locate([*STRIP, *PANS], PRIORS, width_sd=0.0)
    from_draws = evidence_of(joint, sources, PRIORS)
    seen = {"header": evidence(STRIP, "header"), "machine": evidence(PANS, "machine")}
    exact = sum_of_evidence([(seen[s], PRIORS[s]) for s in sources])
    # 3,000 effective draws: 0.02 sd of a mean, 1.3 % of an sd; the kernel cuts a skew a little.
    assert mean_of(from_draws) == pytest.approx(mean_of(exact), abs=0.05 * sd_of(exact))
    assert sd_of(from_draws) == pytest.approx(sd_of(exact), rel=0.05)
    near = exact.log_likelihood > -2.0
    assert np.abs(from_draws.log_likelihood - exact.log_likelihood)[near].max() < 0.25


def test_one_loss_alone_is_its_own_sum():
    alone = pans(12.5, 9.8)
    same = sum_of_evidence([(alone, PRIORS["machine"])])
    np.testing.assert_allclose(same.log_likelihood, alone.log_likelihood, atol=1e-9)


def test_nothing_in_the_pans_says_the_sum_is_small():
    joint = locate([weighed(0.0), weighed(0.0, HEADER_ONLY)], PRIORS, width_sd=0.08)
    found = evidence_of(joint, ("header", "machine"), PRIORS)
    assert np.isfinite(found.log_likelihood).all()
    assert found.log_likelihood[0] > found.log_likelihood[int(np.searchsorted(LN_LOSS, math.log(100.0)))] + 2.0


def test_a_setup_that_only_moves_loss_to_the_header_is_not_kept():
    # B halves the machine loss and puts the same amount on the header.
    a, b = (normal(20.0, 0.1), normal(40.0, 0.1)), (normal(40.0, 0.1), normal(20.0, 0.1))
    machine = compare(trial("ABBAABBA", [(b if s == "B" else a)[1] for s in "ABBAABBA"]), prior=PRIORS["machine"])
    sums = {s: sum_of_evidence([(h, PRIORS["header"]), (m, PRIORS["machine"])]) for s, (h, m) in (("A", a), ("B", b))}
    judged = compare(trial("ABBAABBA", [sums[s] for s in "ABBAABBA"]), source="header and machine", prior=Prior(60.0))
    assert machine.verdict == "keep B"
    assert judged.verdict == "not settled"
    assert judged.ratio.median == pytest.approx(1.0, abs=0.05)
    assert judged.source == "header and machine"

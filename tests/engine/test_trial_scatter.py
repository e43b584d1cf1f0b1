"""Evidence blurred by the scatter between places, against adaptive quadrature and the normal case in closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest
from made_trials import normal, pans
from scipy import stats

from chaffinch.engine.evidence import LN_LOSS, Evidence
from chaffinch.engine.trial.scatter import Scattered, blurred, by_itself, mean_of, sd_of
from chaffinch.errors import InputError

SEEN = {
    "three pans": pans(12.5, 9.8, 15.1),
    "one pan": pans(12.5),
    "empty pans": pans(0.0, 0.0, 0.0),
    "nearly exact": normal(60.0, 0.05),
}


def by_quadrature(evidence: Evidence, x: float, tau: float) -> float:
    """ln ∫ L(x + u) N(u; 0, τ²) du by the trapezoid rule on a fine net, the likelihood read on straight in the log."""
    u = np.linspace(-8 * tau, 8 * tau, 20_001)
    likelihood = np.exp(np.interp(x + u, LN_LOSS, evidence.log_likelihood))
    return math.log(np.trapezoid(likelihood * stats.norm.pdf(u, scale=tau), u))


@pytest.mark.parametrize("evidence", SEEN.values(), ids=SEEN.keys())
@pytest.mark.parametrize("tau", [0.06, 0.25, 0.8])
def test_agrees_with_quadrature(evidence, tau):
    wide = math.hypot(tau, min(0.5, sd_of(evidence)))
    at = np.array([max(mean_of(evidence), 1.0) + d * wide for d in (-2.0, -0.7, 0.0, 0.5, 1.9)])
    found = Scattered([blurred(evidence)]).at(at[:, None], np.full(at.size, math.log(tau)))[:, 0]
    exact = np.array([by_quadrature(evidence, float(x), tau) for x in at])
    # Straight reading between nodes of ln τ 0.127 apart: (0.127)²/8 · 20 = 0.04 three sds off, less nearer by.
    assert np.abs((found - found[2]) - (exact - exact[2])).max() < 0.03


def test_normal_evidence_stays_normal_and_far_draws_stay_finite():
    table = blurred(normal(60.0, 0.2))
    tau, ln_tau = 0.3, math.log(0.3)
    x = math.log(60.0) + np.linspace(-1.5, 1.5, 31)
    found = Scattered([table]).at(x[:, None], np.full(x.size, ln_tau))[:, 0]
    exact = -0.5 * np.square(x - math.log(60.0)) / (0.2**2 + tau**2)
    assert np.abs((found - found.max()) - exact).max() < 0.04
    # Level of the whole against τ: the narrower likelihood is the higher one at its middle.
    levels = Scattered([table]).at(np.full((2, 1), math.log(60.0)), np.log([0.1, 0.6]))[:, 0]
    assert levels[0] - levels[1] == pytest.approx(0.5 * math.log((0.04 + 0.36) / (0.04 + 0.01)), abs=0.01)
    far = Scattered([table]).at(np.array([[-30.0], [40.0], [math.log(60.0)]]), np.array([-9.0, 9.0, 0.0]))
    assert np.isfinite(far).all()
    assert far[:2].max() < far[2, 0] - 20.0


def test_several_stops_are_read_each_from_its_own_table():
    tables = [blurred(e) for e in SEEN.values()]
    rng = np.random.default_rng(1)
    x, ln_tau = rng.normal(4.0, 1.0, (50, len(tables))), rng.normal(-1.4, 0.5, 50)
    together = Scattered(tables).at(x, ln_tau)
    for k, table in enumerate(tables):
        np.testing.assert_array_equal(together[:, k], Scattered([table]).at(x[:, k : k + 1], ln_tau)[:, 0])


def test_impossible_losses_get_a_falling_line_and_no_hole():
    ln = np.full(LN_LOSS.size, -np.inf)
    ln[300:330] = 0.0
    table = blurred(Evidence(ln, 1))
    assert np.isfinite(table).all()
    assert (np.diff(table[0, : 300 + 100]) > 0).all()
    assert (np.diff(table[0, 330 + 200 :]) < 0).all()


def test_moments_of_normal_evidence():
    evidence = normal(60.0, 0.2)
    assert mean_of(evidence) == pytest.approx(math.log(60.0), abs=1e-3)
    assert sd_of(evidence) == pytest.approx(0.2, rel=1e-3)
    alone = by_itself(blurred(evidence))
    assert sd_of(alone) == pytest.approx(math.hypot(0.2, 0.03), rel=1e-2)


def test_what_is_no_evidence_is_refused():
    with pytest.raises(InputError, match="no log-likelihood"):
        blurred(Evidence(np.zeros(3), 1))

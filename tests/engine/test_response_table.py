"""What a check says of the curve through it: the tables against plain integration, and what bounds a wild check."""

from __future__ import annotations

import math

import numpy as np
import pytest
from made_catches import field_area, weighed
from response_second_road import GRID, WILD, bell
from scipy import stats
from scipy.interpolate import CubicSpline

from chaffinch.engine.evidence import LN_LOSS, Evidence, evidence
from chaffinch.engine.response.table import SmoothedChecks, cubic

CHECKS = {
    "one pan": evidence([weighed(12.5)], "machine"),
    "three pans": evidence([weighed(g) for g in (12.5, 9.8, 15.1)], "machine"),
    "an empty pan": evidence([weighed(0.0)], "machine"),
    "eight pans spanning the discharge": evidence([weighed(40.0 + g, field_area(2.0)) for g in range(8)], "machine"),
    "nothing said": Evidence(np.zeros(577), 0),
    "narrower than any real one": bell(3.0, 0.06),
}


def plainly(seen: Evidence, eta: float, tau: float, blur: float = 0.0) -> float:
    """The definition, by 4001 nodes of u; beyond the grid the ends go on along their slope unless they rise there."""
    spread = math.hypot(tau, blur)
    u = np.linspace(-8.0 * spread, 8.0 * spread, 4001)
    inside = np.maximum(seen.log_likelihood, -700.0)
    before, after = max(0.0, inside[1] - inside[0]) / 0.02, max(0.0, inside[-2] - inside[-1]) / 0.02
    x = eta + u
    # A cubic: straight lines between the grid's points lie 0.01 too low where evidence is narrow.
    read = (
        CubicSpline(GRID, inside)(np.clip(x, GRID[0], GRID[-1]))
        - before * np.maximum(GRID[0] - x, 0.0)
        - after * np.maximum(x - GRID[-1], 0.0)
    )
    mean = np.trapezoid(np.exp(read) * stats.norm.pdf(u, 0.0, spread), u)
    wild = np.trapezoid(np.exp(inside), GRID) / (GRID[-1] - GRID[0])
    return math.log((1.0 - WILD) * mean + WILD * wild)


@pytest.mark.parametrize("seen", CHECKS.values(), ids=CHECKS.keys())
def test_tables_agree_with_plain_integration(seen):
    checks = SmoothedChecks.of([seen], [0.0])
    eta = np.linspace(-1.0, 7.0, 81)
    for tau in (0.04, 0.1, 0.25, 0.6, 1.5):
        found = checks.at(slice(0, 1), eta[:, None], np.full(eta.size, math.log(tau)))[:, 0]
        exact = np.array([plainly(seen, e, tau) for e in eta])
        # Cubics over lines 0.04 apart in η and 0.2 in ln τ; out where a check is close to being wild they bend most.
        assert found == pytest.approx(exact, abs=0.02), f"τ {tau}"
        near = exact > exact.max() - 3.0
        assert found[near] == pytest.approx(exact[near], abs=0.01), f"τ {tau}"


def test_what_no_parameter_stands_for_blurs_the_check():
    seen = CHECKS["three pans"]
    blurred = SmoothedChecks.of([seen, seen], [0.0, 0.4])
    eta, tau = np.linspace(2.0, 6.0, 21), 0.25
    found = blurred.at(slice(0, 2), np.repeat(eta[:, None], 2, axis=1), np.full(eta.size, math.log(tau)))

    assert found[:, 0] == pytest.approx([plainly(seen, e, tau) for e in eta], abs=0.005)
    assert found[:, 1] == pytest.approx([plainly(seen, e, tau, 0.4) for e in eta], abs=0.005)


def test_a_check_cannot_say_less_than_a_wild_one():
    checks = SmoothedChecks.of([bell(3.0, 0.2)], [0.0])
    eta = np.linspace(-8.0, 14.0, 401)
    found = checks.at(slice(0, 1), eta[:, None], np.full(eta.size, math.log(0.25)))[:, 0]

    width = GRID[-1] - GRID[0]
    assert found.min() == pytest.approx(math.log(WILD * 0.2 * math.sqrt(2 * math.pi) / width), abs=0.005)
    assert found.min() >= checks.ln_wild[0] - 1e-3
    # The pull of a check on the curve, its slope, is bounded and dies away.
    pull = np.abs(np.diff(found) / np.diff(eta))
    assert pull.max() < 12.0
    assert pull[np.abs(eta[:-1] - 3.0) > 3.0].max() < 1e-2


def test_evidence_that_rules_losses_out_is_no_trouble():
    sure = np.where(np.abs(LN_LOSS - 3.0) < 1.0, 0.0, -np.inf)
    checks = SmoothedChecks.of([Evidence(sure, 1)], [0.0])
    assert np.isfinite(checks.table).all()


def test_a_slice_of_the_checks_is_those_checks():
    all_of_them = SmoothedChecks.of(list(CHECKS.values()), [0.0] * len(CHECKS))
    eta, ln_tau = np.full((3, 2), 3.5), np.log([0.1, 0.25, 0.6])
    few = all_of_them.only([2, 4])

    both = all_of_them.at(slice(2, 4), eta, ln_tau)
    assert few.at(slice(0, 2), eta, ln_tau)[:, 0] == pytest.approx(both[:, 0], abs=1e-12)
    assert [i for s in all_of_them.chunks(50_000) for i in range(6)[s]] == list(range(6))


def test_the_cubic_follows_a_cubic_and_holds_its_ends():
    place = np.linspace(-3.0, 12.0, 61)
    start, weights = cubic(place, 10)

    def wavy(x):
        return 0.3 * x**3 - 4.0 * x**2 + x

    read = sum(w * wavy(start + i) for i, w in enumerate(weights))
    assert read == pytest.approx(wavy(np.clip(place, 0.0, 9.0)), abs=1e-9)
    assert sum(weights) == pytest.approx(np.ones(61))

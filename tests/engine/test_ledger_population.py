"""Fields of one crop tell of each other: against plain integration over M and ω."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from chaffinch.engine.ledger.population import FIELD_SD, FIELD_SD_SPREAD, Alone, population
from chaffinch.engine.ledger.shared import DRAWS

EXPECTED, WIDE = math.log(40.0), 1.3


def alone(ln_loss: float, sd: float) -> Alone:
    """A field whose checks said Normal(ln_loss, sd²), with the prior multiplied in."""
    precision = 1.0 / sd**2 + 1.0 / WIDE**2
    centre = (ln_loss / sd**2 + EXPECTED / WIDE**2) / precision
    level = (np.arange(DRAWS) + 0.5) / DRAWS
    rows = centre + stats.norm.ppf(level) / math.sqrt(precision)
    return Alone(np.random.default_rng(int(1000 * ln_loss)).permutation(rows), EXPECTED, WIDE)


def test_population_and_fields_against_integration_over_a_grid():
    """Mean and sd of M, ω and each field; 4,096 rows know a mean to 0.016 sd and an sd to 1.1 %, four of each."""
    seen, sds = np.array([3.0, 3.4, 4.4, 3.6]), np.array([0.3, 0.5, 0.25, 0.4])
    m, ln_w = np.meshgrid(np.linspace(0.0, 7.0, 701), math.log(FIELD_SD) + np.linspace(-2.0, 2.0, 401), indexing="ij")
    w2 = np.exp(2 * ln_w)
    log_p = stats.norm.logpdf(m, EXPECTED, WIDE) + stats.norm.logpdf(ln_w, math.log(FIELD_SD), FIELD_SD_SPREAD)
    for y, s in zip(seen, sds, strict=True):
        log_p += stats.norm.logpdf(y, m, np.sqrt(w2 + s**2))
    p = np.exp(log_p - log_p.max())
    p /= p.sum()

    found = population([alone(y, s) for y, s in zip(seen, sds, strict=True)], rng=np.random.default_rng(1))

    def close(rows, mean: float, sd: float) -> None:
        assert abs(rows.mean() - mean) < 4 * 0.016 * sd
        assert rows.std() == pytest.approx(sd, rel=0.045)

    def moments(values, extra=0.0) -> tuple[float, float]:
        mean = float((p * values).sum())
        return mean, math.sqrt(float((p * (np.square(values - mean) + extra)).sum()))

    close(found.centre, *moments(m))
    close(np.log(found.omega), *moments(ln_w))
    for rows, y, s in zip(found.fields, seen, sds, strict=True):
        precision = 1 / s**2 + 1 / w2
        close(rows, *moments((y / s**2 + m / w2) / precision, 1 / precision))


def test_a_single_field_stays_as_its_checks_left_it():
    one = alone(3.0, 0.4)

    assert population([one], rng=np.random.default_rng(1)).fields[0] is one.ln_loss


def test_fields_known_exactly_stay_and_others_lean_on_them():
    sharp, vague = alone(4.5, 0.01), alone(2.5, 0.8)
    found = population([sharp, sharp, sharp, vague], rng=np.random.default_rng(1))

    assert found.fields[0].mean() == pytest.approx(4.5, abs=0.005)
    assert found.fields[3].mean() > vague.ln_loss.mean() + 0.3
    assert found.fields[3].std() < vague.ln_loss.std()


def test_a_field_whose_checks_said_nothing_is_one_of_the_population():
    nothing = Alone(alone(EXPECTED, 1e3).ln_loss, EXPECTED, WIDE)
    found = population([alone(4.5, 0.05), alone(4.6, 0.05), alone(4.4, 0.05), nothing], rng=np.random.default_rng(1))

    assert np.isfinite(found.fields[3]).all()
    assert found.fields[3].mean() == pytest.approx(4.5, abs=0.1)

"""How much a combine's catches differ: learned from repeats, by the same likelihood."""

from __future__ import annotations

import math

import numpy as np
import pytest
from made_catches import DESIGN_PAN, weighed
from made_fields import coverage
from scipy import integrate, stats

from chaffinch.engine import exposure
from chaffinch.engine.evidence import Catch
from chaffinch.engine.variation import log_likelihood_of_c, own_variation
from chaffinch.errors import InputError


def played(c0: float, checks: int, catches: int = 3, seed: int = 1) -> list[list[Catch]]:
    rng = np.random.default_rng(seed)
    return [coverage.pans(40.0 * math.exp(rng.standard_normal()), catches, 1.0, rng, c0=c0) for _ in range(checks)]


def test_nothing_is_claimed_below_eight_checks_with_repeats():
    checks = played(0.4, 8)

    assert own_variation(checks[:7], "narrow") is None
    assert own_variation([*checks[:7], checks[7][:1]], "narrow") is None
    assert own_variation(checks, "spanning") is None
    found = own_variation(checks, "narrow")
    assert (found.taken, found.checks, found.catches) == ("narrow", 8, 24)


def test_a_planted_variation_is_found_within_its_range():
    found = own_variation(played(0.8, 30), "narrow")

    assert found.c0.low < 0.8 < found.c0.high
    assert found.c0.low > 0.45
    assert found.sd_log < 0.2
    even = own_variation(played(0.15, 30), "narrow")
    assert even.c0.low < 0.15 < even.c0.high < 0.4


def test_catches_that_differ_more_say_more():
    def c0(*masses: float) -> float:
        return own_variation([[weighed(m) for m in masses]] * 8, "narrow").c0.median

    assert c0(12.0, 12.5, 13.0) < 0.25 < c0(8.0, 12.5, 18.0) < c0(3.0, 12.5, 30.0)


def test_more_checks_narrow_the_figure():
    few, many = (own_variation(played(0.4, n), "narrow").sd_log for n in (8, 40))

    assert many < 0.7 * few


def test_likelihood_of_c_against_scipy():
    """∫ Π gamma density d ln κ by adaptive quadrature; the readings are so fine that densities are intervals."""
    masses, seed_g = (9.0, 14.0), 0.0035
    check = [weighed(m) for m in masses]
    c = np.array([0.15, 0.4, 0.9])

    def brute(cv: float) -> float:
        def at(ln_loss: float) -> float:
            mean = 0.1 * math.exp(ln_loss) * DESIGN_PAN.machine_m2
            variance = (cv * mean) ** 2 + seed_g * mean
            law = stats.gamma(mean**2 / variance, scale=variance / mean)
            return math.prod(law.pdf(m) for m in masses)

        return integrate.quad(at, math.log(2.0), math.log(2000.0), points=[math.log(50.0)], limit=200)[0]

    ours = log_likelihood_of_c(check, c)
    theirs = np.log([brute(float(v)) for v in c])

    assert ours - ours[1] == pytest.approx(theirs - theirs[1], abs=2e-3)


def test_order_and_size_of_the_loss_do_not_show():
    checks = played(0.5, 8)
    doubled = [[weighed(2 * m) for m in (9.0, 14.0, 11.0)]] * 8
    plain = [[weighed(m) for m in (9.0, 14.0, 11.0)]] * 8

    assert own_variation(checks[::-1], "narrow").c0.median == pytest.approx(own_variation(checks, "narrow").c0.median)
    # Seeds count for little in 10 g of 3.5 mg seed.
    assert own_variation(doubled, "narrow").c0.median == pytest.approx(
        own_variation(plain, "narrow").c0.median, rel=0.01
    )


def test_frames_that_see_all_sources_alike_will_do():
    behind = [Catch(weighed(m).reading, exposure.behind(0.5, 12.0, 2.0)) for m in (20.0, 26.0)]

    assert own_variation([behind] * 8, "ground").catches == 16
    mixed = [behind[0], Catch(weighed(2.0).reading, exposure.in_header_strip(0.5))]
    with pytest.raises(InputError, match="check 1"):
        own_variation([mixed] * 8, "ground")


def test_an_unknown_way_is_refused():
    with pytest.raises(InputError, match="taken"):
        own_variation(played(0.4, 8), "thrown")


@pytest.mark.slow
def test_ranges_hold_and_later_checks_gain():
    """50 combines whose pans differ twice as much as the default; bounds are 4 binomial sds of a true 90 and 85 %.

    The bench holds 500, and 500 drawn as assumed.
    """
    found = coverage.cover_variation(50, 1, factor=2.0)

    assert found.covers > 0.85 - 4 * math.sqrt(0.85 * 0.15 / 50)
    assert 0.75 < found.median_ratio < 1.1
    assert found.later_learned > found.later_default

"""Errors that all catches share: quadrature against ``uncertainties``, blur and draws against plain arithmetic."""

from __future__ import annotations

import math

import numpy as np
import pytest
from made_catches import DESIGN_PAN, PRIORS, counted, field_area, measured, weighed
from scipy import stats
from uncertainties import ufloat

from chaffinch.engine import exposure as ex
from chaffinch.engine.catch import read, together
from chaffinch.engine.estimate import GridBelief, Prior, blur, estimate, range_of
from chaffinch.engine.evidence import LN_LOSS, Catch, evidence
from chaffinch.engine.sources import common_scale_sd, locate

# relative standard errors of design §4.1
TABLE_TKW, OWN_TKW, BULK, GUESSED, TAPED, PAN = 0.08, 0.02, 0.04, 0.08, 0.02, 0.01


def loss_by_propagation(*, seeds=None, tkw=None, ml=None, kg_hl=None, grams=None, area, cut=12.0, drop=None):
    """Plain loss [kg/ha] with the errors of everything it is made of, propagated by ``uncertainties``."""
    mass = grams if grams is not None else seeds * tkw / 1000.0 if seeds is not None else ml * kg_hl / 100.0
    return mass / (0.1 * area * (cut / drop if drop is not None else 1.0))


def relative(nominal: float, share: float):
    return ufloat(nominal, nominal * share)


PROPAGATED = {
    "weighed, guessed drop width": (
        [weighed(12.5)],
        GUESSED,
        loss_by_propagation(grams=12.5, area=relative(0.37, PAN), drop=relative(2.0, GUESSED)),
    ),
    "weighed, taped": (
        [weighed(12.5)],
        TAPED,
        loss_by_propagation(grams=12.5, area=relative(0.37, PAN), drop=relative(2.0, TAPED)),
    ),
    "counted, table TKW": (
        [counted(200)],
        GUESSED,
        loss_by_propagation(
            seeds=200, tkw=relative(3.5, TABLE_TKW), area=relative(0.37, PAN), drop=relative(2.0, GUESSED)
        ),
    ),
    "counted, own TKW, windrow": (
        [counted(200, field_area(2.2), tkw_measured=True)],
        GUESSED,
        loss_by_propagation(seeds=200, tkw=relative(3.5, OWN_TKW), area=relative(2.2, PAN)),
    ),
    "measured in a cup": (
        [measured(40.0, DESIGN_PAN)],
        TAPED,
        loss_by_propagation(ml=40, kg_hl=relative(77.0, BULK), area=relative(0.37, PAN), drop=relative(2.0, TAPED)),
    ),
}


@pytest.mark.parametrize(("catches", "width_sd", "loss"), PROPAGATED.values(), ids=PROPAGATED.keys())
def test_the_shared_error_is_the_quadrature_of_its_parts(catches, width_sd, loss):
    assert common_scale_sd(catches, width_sd) == pytest.approx(loss.std_dev / loss.nominal_value, rel=1e-12)


def test_a_shared_error_that_not_all_share_is_not_folded_in_at_the_end():
    assert common_scale_sd([weighed(12.5), counted(3000)], 0.08) is None
    assert common_scale_sd([weighed(12.5), weighed(12.5, field_area(2.0))], 0.08) is None


def test_unlike_mixtures_of_a_kind_err_as_the_worse_whatever_their_order():
    # Loose seed weighed and heads counted, in unlike parts: one kind, two sizes of error.
    parts = [
        [read("weighed", g, 0.1, tkw_g=40.0), read("counted", n, 1.0, tkw_g=40.0)] for g, n in ((9.0, 25), (2.0, 100))
    ]
    catches = [Catch(together(p, unthreshed=[False, True]), field_area(2.0)) for p in parts]

    one, other = common_scale_sd(catches, 0.08), common_scale_sd(catches[::-1], 0.08)

    assert one == other == pytest.approx(math.hypot(0.08 * 4 / 6, PAN))


@pytest.mark.parametrize("sd", [0.006, 0.02, 0.08, 0.2, 0.6])
def test_the_blur_adds_its_variance(sd):
    z = (LN_LOSS - math.log(30.0)) / 0.3
    before = GridBelief(np.exp(-0.5 * z**2) / np.exp(-0.5 * z**2).sum())
    after = GridBelief(blur(before.mass, sd))

    # The kernel is cut at 4.5 sd (1e-3 of its variance at most) and set on the grid: below one step of 0.02 it is too
    # narrow, by less than a tenth of a step squared.
    assert after.sd_log() ** 2 - before.sd_log() ** 2 == pytest.approx(sd**2, rel=1e-3, abs=0.1 * 0.02**2)
    assert after.mass @ LN_LOSS == pytest.approx(math.log(30.0), abs=1e-9)


def test_no_error_no_blur():
    mass = np.full(LN_LOSS.size, 1.0 / LN_LOSS.size)

    assert blur(mass, 0.0) is mass


@pytest.mark.parametrize("cell", [0, 3, LN_LOSS.size - 1])
def test_the_blur_loses_nothing_at_the_ends(cell):
    mass = np.zeros(LN_LOSS.size)
    mass[cell] = 1.0

    assert blur(mass, 0.3).sum() == pytest.approx(1.0, abs=1e-12)


def test_the_blur_is_a_lognormal_factor_on_every_draw():
    catches = [weighed(m) for m in (12.5, 9.8, 15.1)]
    sharp, blurred = (estimate(evidence(catches, "machine"), Prior(40.0), sd) for sd in (0.0, 0.25))
    rng = np.random.default_rng(21)
    n = 400_000
    draws = np.interp(rng.random(n), np.cumsum(sharp.mass) - sharp.mass / 2, LN_LOSS)
    draws += 0.25 * rng.standard_normal(n)

    # Monte Carlo: sqrt(p(1 − p)/n)/density, 0.0015 of a log at the ends, times three; and a fifth of a grid step.
    found = range_of(blurred)
    assert np.log([found.low, found.median, found.high]) == pytest.approx(
        np.quantile(draws, [0.05, 0.5, 0.95]), abs=0.0085
    )


def test_the_draws_carry_the_shared_errors_once_each():
    # Counted throughout, header strip and discharge: pan and TKW move all losses together, the drop width the
    # machine's alone.
    catches = [counted(60, ex.in_header_strip(0.25), tkw_g=40.0), counted(300, DESIGN_PAN, tkw_g=40.0)]
    joint = locate(catches, PRIORS, width_sd=GUESSED)
    error = np.log(joint.loss_kg_ha / joint.caught_kg_ha)
    mean = joint.weights @ error
    cov = (joint.weights[:, None] * (error - mean)).T @ (error - mean)
    shared, machine = TABLE_TKW**2 + PAN**2, joint.sources.index("machine")

    # Some 3,000 effective draws: variances and covariances to about 2·sqrt(2/3000) = 5 %.
    assert mean == pytest.approx(np.zeros(3), abs=4 * 0.12 / math.sqrt(3000))
    assert (cov[0, 0], cov[1, 1]) == pytest.approx((shared, shared), rel=0.08)
    assert cov[machine, machine] == pytest.approx(shared + GUESSED**2, rel=0.08)
    assert cov[0, machine] == pytest.approx(shared, rel=0.08)
    # And they have nothing to do with what was caught.
    caught = np.log(joint.caught_kg_ha)
    for s in range(3):
        both = np.stack([error[:, machine], caught[:, s]])
        centred = both - (both @ joint.weights)[:, None]
        c = (joint.weights * centred) @ centred.T
        assert abs(c[0, 1]) / math.sqrt(c[0, 0] * c[1, 1]) < 4 / math.sqrt(3000)


def test_a_wrong_tkw_does_not_average_out():
    widths = []
    for n in (1, 4, 40):
        catches = [counted(3000, field_area(2.0), variation=0.1) for _ in range(n)]
        found = range_of(estimate(evidence(catches, "machine"), PRIORS["machine"], common_scale_sd(catches, 0.0)))
        widths.append(math.log(found.high / found.low))
    floor = 2 * stats.norm.ppf(0.95) * math.hypot(TABLE_TKW, PAN)

    assert widths[0] > widths[1] > widths[2] > floor
    assert widths[2] == pytest.approx(floor, rel=0.05)


def test_counts_and_weights_correct_each_other():
    # Ten even catches weighed and ten counted that show a fifth less: the table TKW (8 %) must give way to the scale.
    weighed_, counts = (
        [weighed(10.0, field_area(2.0), tkw_g=40.0, variation=0.05)] * 10,
        [counted(200, field_area(2.0), tkw_g=40.0, variation=0.05)] * 10,
    )
    joint = locate([*weighed_, *counts], PRIORS, width_sd=0.0)
    found = joint.of("machine").quantile(0.5)
    error = joint.reading_error["counted"]

    # 10 g says 50 kg/ha, 200 seeds of 0.04 g 40. Unevenness 0.05/√10 and the counts' own noise, 0.07/√10, are far below
    # the 8 %; the latter still leaves 3 % of room.
    assert 47.0 < found < 50.0
    assert joint.weights @ np.log(error) == pytest.approx(math.log(40.0 / found), abs=0.03)


def test_leaning_on_the_drop_width_or_not_keeps_its_error_apart():
    # A windrow length needs no drop width; a pan beside it does. With both, the windrow holds the machine loss down.
    pans = [weighed(12.5, variation=0.05)] * 4
    lengths = [weighed(11.2, field_area(2.0), variation=0.05)] * 4
    widths = {}
    for name, catches in (("pans", pans), ("lengths", lengths), ("both", [*pans, *lengths])):
        found = range_of(locate(catches, PRIORS, width_sd=0.2).of("machine"))
        widths[name] = math.log(found.high / found.low)

    assert widths["pans"] > 3 * widths["lengths"]
    # Sampler noise of 0.05 sd on either side.
    assert widths["both"] < 1.1 * widths["lengths"]

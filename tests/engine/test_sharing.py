"""Errors a check shares with others: named for each source, out of the check's evidence, and put back once."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from made_catches import DESIGN_PAN, PRIORS, counted, field_area, measured, weighed

from chaffinch.engine import exposure as ex
from chaffinch.engine.catch import PAN_SD
from chaffinch.engine.estimate import DrawBelief, Prior, range_of
from chaffinch.engine.evidence import evidence
from chaffinch.engine.ledger.check import field_check
from chaffinch.engine.ledger.field import FieldCheck, FieldEntry, field_loss
from chaffinch.engine.ledger.shared import common_and_own, shift
from chaffinch.engine.ledger.sharing import (
    SharedByBoth,
    SharedNames,
    factors_together,
    shared_by_source,
    without_shared_readings,
)
from chaffinch.engine.pace.curves import pair_posteriors, paired
from chaffinch.engine.response.fit import fit_response
from chaffinch.engine.response.loss_point import LossPoint
from chaffinch.engine.sources import locate

NAMES = SharedNames(("width", "c"), ("figures", "canola"))
PANS = [weighed(12.0), weighed(14.0)]
STRIPS = [counted(735, ex.in_header_strip(1.0)) for _ in range(4)]
FRAMES = [counted(3, ex.in_standing_crop(1.0)) for _ in range(2)]
COUNTED = ("figures", "canola", "counted")


def test_each_source_has_the_errors_of_the_catches_that_see_it():
    found = shared_by_source(PANS + STRIPS + FRAMES, NAMES, width_sd=0.05)

    assert found == {
        "standing": {("pan",): PAN_SD, COUNTED: 0.08},
        "header": {("pan",): PAN_SD, COUNTED: 0.08},
        "machine": {("pan",): PAN_SD, ("width", "c"): 0.05},
    }


def test_counts_and_volumes_rest_on_figures_of_their_own():
    pans = [measured(40.0, DESIGN_PAN), counted(4000, DESIGN_PAN)]
    found = shared_by_source(pans, NAMES, width_sd=0.0)["machine"]

    assert found == {("pan",): PAN_SD, ("figures", "canola", "measured"): 0.02, COUNTED: 0.04}


def test_a_leak_catch_does_not_part_the_pans_from_their_width():
    leak = weighed(120.0, ex.leaking(10.0, 5.4, 12.0))
    found = shared_by_source([*PANS, leak], NAMES, width_sd=0.05)

    assert found["machine"][("width", "c")] == 0.05
    assert ("width", "c") not in found["leak"]


def test_a_pan_that_spans_the_discharge_takes_its_part_of_the_width_s_error():
    # c 0.20 against 0.40: the spanning pan tells four times as much.
    found = shared_by_source([weighed(40.0, field_area(2.0)), weighed(12.0)], NAMES, width_sd=0.05)

    assert found["machine"][("width", "c")] == pytest.approx(0.05 / 5.0)


@pytest.mark.parametrize(
    ("pans", "counts"),
    [
        ([weighed(12.0)] * 2, [counted(3429)] * 2),
        ([weighed(12.0)] * 3, [counted(3429)]),
        ([weighed(12.0, replace(DESIGN_PAN, taken="spanning"))], [counted(n) for n in (2200, 5300, 2800, 4300)]),
    ],
    ids=["two and two", "three and one", "one spanning and four"],
)
def test_the_part_is_what_a_joint_posterior_moves_by(pans, counts):
    """Second road: with the error a parameter of the joint posterior, ln(loss) follows it with the slope told here."""
    loose = [replace(c, reading=replace(c.reading, scale_sd=0.3)) for c in counts]
    joint = locate(pans + loose, {"machine": PRIORS["machine"]}, width_sd=0.0)
    ln_loss, error = np.log(joint.caught_kg_ha[:, 0]), -np.log(joint.reading_error["counted"])
    error = error - joint.weights @ error
    slope = (joint.weights @ (ln_loss * error)) / (joint.weights @ np.square(error))

    part = shared_by_source(pans + counts, NAMES, width_sd=0.0)["machine"][COUNTED] / 0.08

    # c itself is learned a little: the four counts scatter by 0.4, as is expected of them.
    assert part == pytest.approx(slope, abs=0.06)


def test_a_check_s_evidence_does_not_know_how_wrong_the_table_may_be():
    """The same catches with a measured and with a table TKW: one cloud, two sds beside it."""
    own = [counted(735, ex.in_header_strip(1.0), tkw_measured=True) for _ in range(4)]
    own += [counted(3, ex.in_standing_crop(1.0), tkw_measured=True) for _ in range(2)]
    table, measured_once = (field_check(PANS + c, PRIORS, NAMES, width_sd=0.05) for c in (STRIPS + FRAMES, own))

    assert np.array_equal(table.together.ln_loss, measured_once.together.ln_loss)
    assert table.shared["header"][COUNTED] == 0.08
    assert measured_once.shared["header"][("figures", "canola", "counted, own TKW")] == 0.02
    assert all(c.reading.scale_sd == 0.0 for c in without_shared_readings(STRIPS))


def test_twelve_checks_do_not_wear_the_table_s_error_down():
    checks = [field_check(PANS + STRIPS + FRAMES, PRIORS, NAMES, width_sd=0.0, seed=k) for k in range(1, 13)]
    exact = [replace(c, shared={}) for c in checks]
    ours, free = (
        np.log(field_loss(FieldEntry("a", 62.0, c, priors=PRIORS), seed=1).draws["header"]) for c in (checks, exact)
    )

    # Independent errors add in the square; 4,096 rows know an sd to 1.1 %.
    assert ours.std() == pytest.approx(math.hypot(free.std(), 0.08, PAN_SD), rel=0.05)
    assert ours.std() > 0.08


def test_an_error_that_moves_one_check_further_is_the_same_error():
    common, own = common_and_own([{"width": 0.1, "pan": 0.01}, {"width": 0.25, "pan": 0.01}])

    assert common == {"width": 0.1, "pan": 0.01}
    assert own == [{}, {"width": pytest.approx(0.15)}]
    together = shift({"width": 0.1}, seed=3) + shift(own[1], seed=3)
    assert together == pytest.approx(shift({"width": 0.25}, seed=3))


def test_the_width_s_error_is_no_parameter_where_there_is_none():
    """A narrow pan beside a spanning one, the width known exactly: nothing is left to sample for it."""
    joint = locate([weighed(40.0, field_area(2.0)), weighed(12.0)], {"machine": PRIORS["machine"]}, width_sd=0.0)
    belief = DrawBelief(joint.caught_kg_ha[:, 0], joint.weights)

    assert (joint.width_error == 1.0).all()
    assert 20.0 < belief.quantile(0.5) < 400.0


def test_one_error_of_both_curves_moves_their_sum_as_one():
    """Closed form: one error in both multiplies the sum by one lognormal factor; two errors add their variances."""
    parts = np.array([30.0, 15.0])
    one = SharedByBoth({("TKW",): 0.3}, {("TKW",): 0.3}).factors(8192, seed=1) @ parts
    two = SharedByBoth({("width",): 0.3}, {("TKW",): 0.3}).factors(8192, seed=1) @ parts

    assert np.quantile(one, [0.05, 0.5, 0.95]) == pytest.approx(
        45.0 * np.exp(0.3 * np.array([-1.645, 0, 1.645])), rel=0.01
    )
    variance = math.expm1(0.09) * math.exp(0.09)
    assert np.var(two) == pytest.approx(variance * np.square(parts).sum(), rel=0.03)
    assert np.var(one) == pytest.approx(variance * parts.sum() ** 2, rel=0.03)


def test_errors_of_two_curves_keep_their_sds_and_what_they_have_in_common():
    machine, header = {("TKW",): 0.08, ("width",): 0.06, ("pan",): 0.01}, {("TKW",): 0.04, ("pan",): 0.01, ("x",): 0.05}
    ln = np.log(SharedByBoth(machine, header).factors(8192, seed=3))

    common = 0.08 * 0.04 + 0.01**2
    assert np.cov(ln.T) == pytest.approx(np.array([[0.0101, common], [common, 0.0042]]), rel=0.03)
    # One after the other, every error drawn for itself.
    rng = np.random.default_rng(4)
    drawn = {name: rng.standard_normal(200_000) for name in sorted({*machine, *header})}
    second = np.stack([sum(sd * drawn[name] for name, sd in part.items()) for part in (machine, header)])
    assert np.cov(ln.T) == pytest.approx(np.cov(second), rel=0.04)
    assert (SharedByBoth({}, {}).factors(64, seed=1) == 1.0).all()


def test_errors_of_several_combines_move_together_as_far_as_they_are_the_same():
    tkw, own = ("canola", "from a table", "counted"), ("width", "combine 2")
    parts = [{tkw: 0.08}, {tkw: 0.08, own: 0.05}, {tkw: 0.08}, {}]
    ln = np.log(factors_together(parts, 1 << 14, seed=3))
    common, extra = 0.08**2, 0.05**2
    expected = np.array(
        [[common, common, common, 0], [common, common + extra, common, 0], [common, common, common, 0], [0, 0, 0, 0]]
    )
    assert np.cov(ln.T) == pytest.approx(expected, abs=3e-5)
    assert ln[:, 0] == pytest.approx(ln[:, 2], abs=1e-12), "one error alone is the same number in both"
    both = SharedByBoth(parts[0], parts[1])
    assert both.factors(256, seed=3) == pytest.approx(factors_together(parts[:2], 256, seed=3))


def test_combines_in_different_places_are_drawn_apart_and_share_what_they_share():
    curves, weights = np.exp(np.linspace(-1, 1, 512))[:, None], np.full(512, 1 / 512)
    factors = factors_together([{"tkw": 0.2}, {}, {"tkw": 0.2}, {}], 4096, seed=1, first=4)
    one, two = (
        paired((curves, weights), None, draws=4096, place=k, factors=factors[:, 2 * k : 2 * k + 2])[0][:, 0]
        for k in range(2)
    )
    common = np.log(factors[:, 0])
    left = [np.log(rows) - common for rows in (one, two)]
    assert abs(np.corrcoef(*left)[0, 1]) < 0.03
    assert np.corrcoef(np.log(one), np.log(two))[0, 1] == pytest.approx(0.04 / (0.04 + 1 / 3), abs=0.03)


def test_curves_under_one_uncertain_tkw_are_those_fitted_under_every_tkw_it_may_have():
    """Second road for the whole chain: machine and header counted by one TKW of 8 %, fitted anew under five TKWs."""

    def curves(tkw_g):
        fits = []
        for source, seen, count in (
            ("machine", DESIGN_PAN, (3100, 3400, 4300, 4700, 5600, 6100)),
            ("header", ex.Exposure(0.0, 1.0, 0.0, "ground", False), (700, 610, 650, 560, 600, 520)),
        ):
            points = [
                LossPoint(evidence([counted(n, seen, tkw_g=tkw_g, tkw_measured=True)] * 3, source), v)
                for n, v in zip(count, (4.0, 4.5, 5.0, 5.5, 6.0, 6.5), strict=True)
            ]
            fits.append(fit_response(points, source=source, prior=Prior(60.0), load_kind="speed"))
        return [(f.loss_kg_ha(speeds, shared_error=False), f.weights) for f in fits]

    speeds = np.array([4.0, 5.0, 6.0, 7.0])
    names = {("TKW",): 0.08}
    here = pair_posteriors(speeds, *curves(3.5), tested_kmh=None, shared=SharedByBoth(names, names))
    z, weights = np.polynomial.hermite_e.hermegauss(5)
    fitted = [pair_posteriors(speeds, *curves(3.5 * math.exp(0.08 * k)), tested_kmh=None) for k in z]
    totals = np.concatenate([one.together_kg_ha() for one in fitted])
    mass = np.repeat(weights / weights.sum() / len(fitted[0].weights), len(fitted[0].weights))
    for column in range(len(speeds)):
        there = range_of(DrawBelief(totals[:, column], mass))
        found = range_of(DrawBelief(here.together_kg_ha()[:, column], here.weights))
        assert [found.low, found.median, found.high] == pytest.approx([there.low, there.median, there.high], rel=0.02)
    apart = pair_posteriors(speeds, *curves(3.5), tested_kmh=None, shared=SharedByBoth(names, {("other",): 0.08}))
    assert np.log(apart.together_kg_ha()[:, 1]).std() < 0.93 * np.log(here.together_kg_ha()[:, 1]).std()


def test_a_field_s_sum_has_an_error_of_both_sources_once():
    """In the sums of fields and seasons too: the row of a key is the same for every source."""
    both = ("machine", "header")
    seen = evidence([weighed(40.0)] * 6, "machine")
    checks = [FieldCheck(dict.fromkeys(both, seen), {s: {("TKW",): 0.3} for s in both}) for _ in range(8)]
    found = field_loss(FieldEntry("Long Hollow", 40.0, checks), seed=1)

    ln = np.log(np.stack([found.draws["machine"], found.draws["header"]]))
    assert np.corrcoef(ln)[0, 1] > 0.6
    assert found.shared["machine"] == pytest.approx(found.shared["header"])

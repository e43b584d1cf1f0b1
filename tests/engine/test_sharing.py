"""Errors a check shares with others: named for each source, out of the check's evidence, and put back once."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from made_catches import DESIGN_PAN, PRIORS, counted, field_area, measured, weighed

from chaffinch.engine import exposure as ex
from chaffinch.engine.catch import PAN_SD
from chaffinch.engine.estimate import DrawBelief
from chaffinch.engine.ledger import FieldEntry, field_loss
from chaffinch.engine.ledger_check import field_check
from chaffinch.engine.ledger_shared import common_and_own, shift
from chaffinch.engine.sharing import SharedNames, shared_by_source, without_shared_readings
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

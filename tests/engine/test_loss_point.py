"""Points of a curve, and the choice between throughput and speed: never mixed, never in silence."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from response_second_road import bell

from chaffinch.engine.evidence import Evidence
from chaffinch.engine.response.loss_point import LossPoint, choose_load
from chaffinch.errors import InputError


def test_throughput_only_where_every_check_has_one():
    found = choose_load([5.0, 6.0, None], [12.0, 15.0, 18.0])

    assert (found.kind, found.loads, found.kept, found.without_throughput) == (
        "throughput",
        (12.0, 15.0, 18.0),
        (0, 1, 2),
        (),
    )
    assert found.why == "every check has a throughput"


def test_one_yield_missing_means_speed_for_all_and_says_so():
    found = choose_load([5.0, 6.0, 7.0], [12.0, None, 18.0])

    assert (found.kind, found.loads, found.kept) == ("speed", (5.0, 6.0, 7.0), (0, 1, 2))
    assert (found.why, found.without_throughput) == ("some checks have no throughput", (1,))


def test_or_the_check_is_left_out_and_that_is_said():
    found = choose_load([5.0, 6.0, 7.0], [12.0, None, 18.0], leave_out=True)

    assert (found.kind, found.loads, found.kept) == ("throughput", (12.0, 18.0), (0, 2))
    assert (found.why, found.without_throughput) == ("checks without one left out", (1,))


@given(st.lists(st.tuples(st.booleans(), st.floats(1.0, 12.0), st.floats(1.0, 60.0)), max_size=8), st.booleans())
def test_loads_are_always_of_one_kind(checks, leave_out):
    speeds = [v for _, v, _ in checks]
    throughputs = [q if known else None for known, _, q in checks]
    if checks and leave_out and not any(known for known, *_ in checks):
        with pytest.raises(InputError, match="none of the checks has one"):
            choose_load(speeds, throughputs, leave_out=True)
        return
    found = choose_load(speeds, throughputs, leave_out=leave_out)
    whole = speeds if found.kind == "speed" else throughputs
    assert found.loads == tuple(whole[i] for i in found.kept)
    assert found.kind == "throughput" or not all(known for known, *_ in checks)


@pytest.mark.parametrize(
    ("speeds", "throughputs", "names"),
    [
        ([5.0], [1.0, 2.0], "throughputs"),
        ([5.0, None], [1.0, None], "speed of check 2"),
        ([0.0], [None], "speed of check 1"),
        ([5.0], [-3.0], "throughput of check 1"),
        ([5.0, 5.0], [1.0, math.nan], "throughput of check 2"),
    ],
)
def test_loads_that_cannot_be_are_refused_by_name(speeds, throughputs, names):
    with pytest.raises(InputError, match=names):
        choose_load(speeds, throughputs)


@pytest.mark.parametrize(
    ("change", "names"),
    [
        ({"load": 0.0}, "load"),
        ({"load": math.inf}, "load"),
        ({"load": True}, "load"),
        ({"conditions": {"humidity": math.nan}}, "condition humidity"),
        ({"evidence": Evidence(np.zeros(5), 1)}, "evidence"),
        ({"evidence": Evidence(np.full(577, -np.inf), 1)}, "evidence"),
    ],
)
def test_points_that_cannot_be_are_refused(change, names):
    with pytest.raises(InputError, match=names):
        LossPoint(**{"evidence": bell(3.0, 0.2), "load": 10.0, **change})

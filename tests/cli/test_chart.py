"""The chart in characters: everything lands where its number says, nothing is lost off the edge."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chaffinch.cli.terminal.chart import BAND, BAR, MARK, MIDDLE, POINT, Curve, Spot, chart
from chaffinch.cli.terminal.page import to_ascii
from chaffinch.engine.estimate import Range

CURVE = Curve([3.0, 5.0, 8.0], [Range(5, 10, 20), Range(12, 20, 35), Range(30, 50, 80)])


def drawn(lines: list[str]) -> list[str]:
    """The drawing alone, without units, labels and axes."""
    rows = lines[1 : next(i for i, line in enumerate(lines) if "┼" in line)]
    return [row.split("┤" if "┤" in row else "│", 1)[1] for row in rows]


def test_a_point_stands_over_its_speed_and_beside_its_loss():
    lines = chart(None, [Spot(5.0, Range(10, 20, 30)), Spot(7.0, Range(10, 40, 60))], x_unit="km/h", y_unit="kg/ha")
    rows = drawn(lines)
    high, low = (next(i for i, row in enumerate(rows) if POINT in row[a:b]) for a, b in ((30, 61), (0, 30)))

    assert high < low
    assert lines[0] == "kg/ha"
    assert lines[-1].endswith("km/h")
    assert sum(row.count(POINT) for row in rows) == 2


def test_a_curve_rises_from_left_to_right_with_its_range_around_it():
    rows = drawn(chart(CURVE, [], x_unit="km/h", y_unit="kg/ha", mark_x=5.0))
    heights = [next((i for i, row in enumerate(rows) if row[at : at + 1] == MIDDLE), None) for at in range(60)]
    seen = [h for h in heights if h is not None]

    assert seen == sorted(seen, reverse=True)
    assert any(BAND in row for row in rows)


def test_the_mark_points_at_its_speed():
    lines = chart(CURVE, [], x_unit="km/h", y_unit="kg/ha", mark_x=8.0)

    assert lines[-1].strip() == MARK
    rule = next(line for line in lines if "┼" in line)
    assert lines[-1].index(MARK) == rule.rindex("┬")


def test_a_range_far_above_everything_is_cut_and_shown_as_cut():
    lines = chart(None, [Spot(4.0, Range(1, 10, 5000)), Spot(5.0, Range(8, 12, 20))], x_unit="km/h", y_unit="kg/ha")

    assert any("^" in row for row in drawn(lines))
    assert lines[0] == "kg/ha   ranges reach 5 000"
    assert sum(row.count(POINT) for row in drawn(lines)) == 2


def test_a_curves_range_that_is_cut_is_said_and_one_that_is_not_is_not():
    high = Curve([4.0, 5.0, 6.0], [Range(1, 10, 12), Range(1, 11, 40.4), Range(1, 12, 14)])
    lines = chart(high, [], x_unit="h", y_unit="bu/ac")
    assert lines[0] == "bu/ac   ranges reach 40"
    assert chart(CURVE, [], x_unit="km/h", y_unit="kg/ha")[0] == "kg/ha"


def test_a_point_that_is_the_end_of_its_axis_is_drawn():
    """0.1 is not ten hundredths to the last digit, and was taken for a point above the top."""
    spot = Spot(1.0, Range(0.10000000000000002, 0.10000000000000002, 0.10000000000000002))
    assert any(POINT in line for line in chart(None, [spot], x_unit="km/h", y_unit="bu/ac", width=1, height=1))


def test_plain_terminals_get_plain_characters():
    text = "\n".join(chart(CURVE, [Spot(4.0, Range(5, 9, 30))], x_unit="km/h", y_unit="kg/ha", mark_x=4.0))

    assert to_ascii(text).isascii()
    assert "?" not in to_ascii(text)


@given(
    spots=st.lists(
        st.tuples(st.floats(0.1, 30.0), st.floats(0.01, 3000.0), st.floats(1.0, 20.0)), min_size=1, max_size=12
    ),
    width=st.integers(1, 80),
    height=st.integers(1, 20),
)
@settings(max_examples=200, deadline=None)
def test_any_points_can_be_drawn(spots, width, height):
    told = [Spot(x, Range(y / f, y, y * f)) for x, y, f in spots]
    lines = chart(None, told, x_unit="km/h", y_unit="bu/ac", width=width, height=height)

    assert len({len(line) for line in drawn(lines)} - {0}) >= 1
    assert any(POINT in line for line in lines)
    assert all(len(line) <= max(24, width) + 24 for line in lines)
    assert all(math.isfinite(s.y.median) for s in told)


def test_nothing_to_draw_is_said():
    with pytest.raises(ValueError, match="a curve or a point"):
        chart(None, [], x_unit="km/h", y_unit="kg/ha")


def test_one_bar_is_as_tall_as_its_range():
    rows = drawn(chart(None, [Spot(5.0, Range(0.0, 50, 80))], x_unit="km/h", y_unit="kg/ha", height=11))

    assert sum(BAR in row or POINT in row for row in rows) >= 9

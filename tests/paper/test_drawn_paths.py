"""Every line of a drawing has a place for each of its points: read back out of the SVG, at any size of figure."""

from __future__ import annotations

import re
from itertools import pairwise

import pytest

from chaffinch.engine.estimate import Range
from chaffinch.paper.drawing import Chart, Curve, Line, chart

NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
SPEEDS = [3.0 + 0.25 * k for k in range(13)]


def places(points: str) -> list[tuple[float, float]]:
    """The points of a polyline; anything else than two plain numbers and a comma is refused."""
    found = []
    for one in points.split(" "):
        x, comma, y = one.partition(",")
        assert comma, one
        assert NUMBER.fullmatch(x), one
        assert NUMBER.fullmatch(y), one
        found.append((float(x), float(y)))
    return found


@pytest.mark.parametrize("money", [0.004, 43.0, 12_345.0, 98_765_432.0])
@pytest.mark.parametrize("width", [320, 680])
def test_no_line_is_broken_by_a_large_figure(money: float, width: int) -> None:
    """A cost of thousands has a blank in its label; none may come into a path."""
    whole = [money * (1.4 - 0.05 * k) for k in range(13)]
    curve = Curve(SPEEDS, [Range(0.9 * v, v, 1.1 * v) for v in whole], (4.0, 5.0))
    lines = (
        Line("time", SPEEDS, [0.8 * v for v in whole], "dashed"),
        Line("grain", SPEEDS, [0.2 * v for v in whole], "dotted", "start"),
    )
    point = (5.0, Range(0.5 * money, money, 1.2 * money))
    given = Chart(curve, [point], "km/h", "₦/ha", Range(4.5, 5.0, 5.5), lines=lines)
    drawing = chart(given, title="Cost", about="A cost.", name="cost")
    svg = drawing.ink(width)
    lengths = []
    for points in re.findall(r'<polyline class="[^"]*" points="([^"]*)"/>', svg):
        found = places(points)
        lengths.append(len(found))
        assert all(a[0] < b[0] for a, b in pairwise(found)), "x rises from point to point"
        assert all(0.0 <= x <= width and 0.0 <= y <= 300.0 for x, y in found), "no point lies off the drawing"
        heights = [y for _, y in found]
        assert heights == sorted(heights), "every one of these costs falls with speed, so its line never turns"
    assert lengths == [13, 5, 13, 13], "the whole curve, its tried part, time and grain"
    (band,) = re.findall(r'<polygon class="band" points="([^"]*)"/>', svg)
    assert len(places(band)) == 26
    for name in ("x1", "y1", "x2", "y2", "x", "y", "width", "height", "cx", "cy", "r"):
        for value in re.findall(rf'[ ]{name}="([^"]*)"', svg):
            assert NUMBER.fullmatch(value), (name, value)

"""Does a drawing say what its numbers say? Places of bars, ticks and notches, held against the arithmetic."""

from __future__ import annotations

import re
from itertools import pairwise
from xml.etree import ElementTree as Xml

import pytest
from hypothesis import given
from hypothesis import strategies as st
from markupsafe import Markup

from chaffinch.engine.estimate import Range
from chaffinch.paper import drawing
from chaffinch.paper.drawing import NARROW, WIDE, Axis, Chart, Curve, Row, Spot

positive = st.floats(1e-3, 1e5)


def pictures(html: Markup) -> list[Xml.Element]:
    """Both widths of a drawing."""
    whole = Xml.fromstring(f"<both>{html}</both>")
    found = whole.findall(".//svg")
    assert [int(one.get("width", "0")) for one in found] == [WIDE, NARROW]
    return found


def a_ruler(r: Range, limit: float | None = None, unit: str = "bu/ac") -> Markup:
    return drawing.ruler(r, unit, title="Loss", about="Likely.", name="one", limit=limit, limit_name="limit")


def ticks_of(svg: Xml.Element) -> list[tuple[float, float]]:
    """Value and place of each number on the rule."""
    found = []
    for text in svg.findall("text"):
        plain = (text.text or "").replace("\u2009", "").replace("\u202f", "").replace(" ", "").replace("−", "-")
        if text.get("class") == "at-middle" and re.fullmatch(r"-?[\d.]+", plain):
            found.append((float(plain), float(text.get("x", "0"))))
    return found


def place(svg: Xml.Element, value: float) -> float:
    """Where a value lies by the numbers on the rule."""
    (v0, x0), (v1, x1) = ticks_of(svg)[0], ticks_of(svg)[-1]
    return x0 + (value - v0) / (v1 - v0) * (x1 - x0)


@given(positive, positive, positive)
def test_the_bar_lies_where_the_rule_says(a: float, b: float, c: float) -> None:
    low, median, high = sorted((a, b, c))
    for svg in pictures(a_ruler(Range(low, median, high))):
        bar = svg.find("rect")
        assert bar is not None
        start, width = float(bar.get("x", "0")), float(bar.get("width", "0"))
        assert start == pytest.approx(place(svg, low), abs=0.2)
        assert start + width == pytest.approx(max(place(svg, high), place(svg, low) + 2.0), abs=0.3)
        middle = next(line for line in svg.findall("line") if line.get("class") == "middle")
        assert float(middle.get("x1", "0")) == pytest.approx(place(svg, median), abs=0.2)
        # Ticks rise, stand apart, and nothing leaves the picture.
        places = [x for _, x in ticks_of(svg)]
        assert all(b - a > 20 for a, b in pairwise(places))
        assert 0 <= places[0] < places[-1] <= int(svg.get("width", "0"))


@given(positive, st.floats(0.05, 20.0))
def test_the_notch_is_the_limit(median: float, times: float) -> None:
    r, limit = Range(0.5 * median, median, 2.0 * median), times * median
    for svg in pictures(a_ruler(r, limit)):
        notch = svg.find("path")
        assert notch is not None
        xs = [float(x) for x in re.findall(r"[ML](-?[\d.]+) ", notch.get("d", ""))]
        end = ticks_of(svg)[-1][0]
        if limit <= end:
            assert xs[1] == pytest.approx(place(svg, limit), abs=0.2)
        else:
            # Far beyond: an arrow at the end, and the range keeps its scale.
            assert limit >= 3 * r.high * 0.99
            assert max(xs) == pytest.approx(place(svg, end), abs=0.2)


def test_a_range_below_nothing_is_drawn() -> None:
    for svg in pictures(a_ruler(Range(-0.8, -0.2, 0.3))):
        assert ticks_of(svg)[0][0] <= -0.8
        bar = svg.find("rect")
        assert bar is not None
        assert float(bar.get("x", "0")) == pytest.approx(place(svg, -0.8), abs=0.2)


def test_everything_is_said_too() -> None:
    html = a_ruler(Range(1, 2, 3), 2.5)
    ids = re.findall(r'id="([^"]+)"', html)
    assert len(ids) == len(set(ids)) == 4
    for svg in pictures(html):
        assert svg.get("role") == "img"
        for name in (svg.get("aria-labelledby") or "").split():
            assert name in ids
        assert svg.findtext("title") == "Loss"
        assert svg.findtext("desc") == "Likely."


def test_a_point_leads_to_its_check_and_a_drawing_with_links_is_no_picture() -> None:
    spot = Spot("/check/12ab", "12ab · 7 km/h · 40 kg/ha")
    given = [Row("morning", Range(1, 2, 3), spot=spot), Row("noon", Range(2, 3, 4))]
    as_rows = drawing.rows(given, "kg/ha", title="Loss", about="Likely.", name="one")
    curve = drawing.Chart(None, [(5.0, Range(1, 2, 3)), (6.0, Range(2, 3, 9))], "km/h", "kg/ha", spots=[spot, spot])
    for html, links in ((as_rows, 1), (drawing.chart(curve, title="Loss", about="Likely.", name="two"), 2)):
        for svg in pictures(html):
            assert svg.get("role") == "group"
            found = svg.findall("a")
            assert [(a.get("href"), a.get("aria-label")) for a in found] == [("/check/12ab", spot.said)] * links
            for a in found:
                reach = a.find("circle")
                assert reach is not None
                assert float(reach.get("r", "0")) >= 12.0, "24 px for a finger"
                assert float(reach.get("cy", "0")) >= 0.0
        assert "reach { fill: none; }" in html.ink(470)


def test_text_is_escaped() -> None:
    evil = "</text><script>alert(1)</script>"
    spot = Spot(f'/check/{evil}"', evil + '"')
    leading = drawing.rows([Row("a", Range(1, 2, 3), spot=spot)], "u", title="t", about="a", name="two")
    for svg in pictures(leading):
        assert svg.findall(".//script") == []
        link = svg.find("a")
        assert link is not None
        assert link.attrib == {"class": "spot", "href": f'/check/{evil}"', "aria-label": evil + '"'}
    html = drawing.rows([Row(evil, Range(1, 2, 3))], evil, title=evil, about=evil, name="one", limit=1, limit_name=evil)
    for svg in pictures(html):
        assert svg.findall(".//script") == []
        assert evil in [text.text for text in svg.findall("text")]


@given(st.lists(st.tuples(positive, positive, positive), min_size=1, max_size=12))
def test_rows_share_one_rule(given_ranges: list[tuple[float, float, float]]) -> None:
    ranges = [Range(*sorted(one)) for one in given_ranges]
    html = drawing.rows(
        [Row(f"row {i}", r, "dot" if i % 2 else "box") for i, r in enumerate(ranges)], "kg/ha", title="t", about="a",
        name="r",
    )  # fmt: skip
    for svg in pictures(html):
        bars = [rect for rect in svg.findall("rect") if rect.get("class") == "bar"]
        assert len(bars) == len(ranges)
        for bar, r in zip(bars, ranges, strict=True):
            assert float(bar.get("x", "0")) == pytest.approx(place(svg, r.low), abs=0.3)
        tops = [float(bar.get("y", "0")) for bar in bars]
        assert all(b - a >= 30 for a, b in pairwise(tops))
        assert tops[-1] + 12 <= int(svg.get("height", "0"))


def test_a_chart_shows_points_curve_band_and_notch() -> None:
    speeds = [4.0, 5.0, 6.0, 7.0, 8.0]
    curve = Curve(speeds, [Range(0.8 * v, v, 1.3 * v) for v in speeds], (5.0, 7.0))
    points = [(5.0, Range(3.0, 5.0, 9.0)), (7.0, Range(5.0, 6.0, 40.0))]
    html = drawing.chart(
        Chart(curve, points, "km/h", "kg/ha", Range(5.5, 6.0, 6.5), 5.2, "now"), title="t", about="a", name="c"
    )
    for svg in pictures(html):
        dots = svg.findall("circle")
        assert [float(dot.get("cx", "0")) for dot in dots] == pytest.approx([place(svg, 5.0), place(svg, 7.0)], abs=0.3)
        tried = [one for one in svg.findall("polyline") if one.get("class") == "curve"]
        assert len(tried[0].get("points", "").split()) == 3, "only the speeds tried are drawn in full"
        whiskers = [one for one in svg.findall("path") if one.get("class") == "whisker"]
        assert len(whiskers) == 1, "the range beyond the upper edge ends in an arrow"
        band = next(rect for rect in svg.findall("rect") if rect.get("class") == "bar")
        assert float(band.get("x", "0")) == pytest.approx(place(svg, 5.5), abs=0.3)
    with pytest.raises(ValueError, match="needs a curve or a point"):
        drawing.chart(Chart(None, [], "km/h", "kg/ha"), title="t", about="a", name="c")


@given(st.floats(-1e4, 1e4), st.floats(0, 1e4), st.integers(2, 9))
def test_an_axis_holds_its_values(low: float, wide: float, most: int) -> None:
    axis = Axis.around(low, low + wide, most=most, start=0.0, end=100.0)
    assert len(axis.ticks()) <= most + 2
    if wide > 1e-6 * max(1.0, abs(low)):
        assert axis.low <= low + 1e-6 * axis.step
        assert axis.high >= low + wide - 1e-6 * axis.step
    assert axis.at(axis.low) == 0.0
    assert axis.at(axis.high) == 100.0
    assert axis.at(axis.high + axis.step) == 100.0


def test_hours_begin_anew_at_midnight() -> None:
    """A plan that goes on into the next day is read on a clock, and its places are those of its hours all the same."""
    hours = [6.0 + k for k in range(30)]
    given_chart = Chart(
        Curve(hours, [Range(1, 2, 3)] * 30, (6.0, 35.0)), [], "h", "kg/ha", x_ends=(6.0, 36.0, 6.0), clock=True
    )
    made = drawing.chart(given_chart, title="t", about="a", name="c")
    for svg in pictures(made):
        below = [text for text in svg.findall("text") if text.get("class") == "at-middle"]
        assert [text.text for text in below] == ["6", "12", "18", "0", "6", "12"]
        places = [float(text.get("x", "0")) for text in below]
        assert places == sorted(places)


def test_ranges_cut_at_the_end_of_the_axis_are_said_in_the_drawing_and_in_its_text() -> None:
    def curve(high: float) -> Chart:
        return Chart(
            Curve([5.0, 6.0, 7.0], [Range(5, 10, 14), Range(6, 11, high), Range(7, 12, 18)]), [], "km/h", "kg/ha"
        )

    cut = str(drawing.chart(curve(73.2), title="Loss", about="A curve.", name="c"))
    assert "A curve. Its axis ends at 20; ranges reach up to 73 kg/ha and are cut there." in cut
    # In both sizes of it, for those who see it.
    assert cut.count("ranges reach 73<") == 2
    whole = str(drawing.chart(curve(16), title="Loss", about="A curve.", name="c"))
    assert "reach" not in whole

"""How is a loss drawn? The ruler, rows of ranges on one ruler, and a curve with its points: SVG, for desk and paper.

What is drawn has classes and no colours: the desk's style sheet colours it in light and dark, and paper puts the sheet
of :mod:`chaffinch.paper.ink` into it, in greys and strokes. Each drawing says in a title and a description what it
shows; the page has the same figures in a table.

::

    0        0.5        1        1.5        2   bu/ac
    ┬─────────┬─────────▽─────────┬─────────┬
                 ━━━━━━━━━┿━━━━━━━━━━━━
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Final, Literal

from markupsafe import Markup, escape

from chaffinch.engine.estimate import Range
from chaffinch.paper.axes import Axis, ClockAxis, step_of
from chaffinch.paper.ink import NARROW, WIDE, Drawing, drawn
from chaffinch.paper.words import words

__all__ = [
    "NARROW",
    "WIDE",
    "Axis",
    "Chart",
    "Curve",
    "Drawing",
    "Line",
    "Row",
    "Spot",
    "chart",
    "rows",
    "ruler",
    "step_of",
]

LETTER: Final = 7.4
"""Width of a letter at the drawings' size of 13 px [px]; a guess on the safe side, for the space beside an axis."""


@dataclass(frozen=True, slots=True)
class Spot:
    """Where a measured point leads, for a page: its path there, and its figures in one line."""

    path: str
    said: str


@dataclass(frozen=True, slots=True)
class Row:
    """One range in a drawing of several, with its name; ``mark`` is "dot", "box" or "tick", ``spot`` where it leads."""

    name: str
    range: Range
    mark: str = "tick"
    spot: Spot | None = None


@dataclass(frozen=True, slots=True)
class Curve:
    """A curve with its range: one Range for each place along x, x rising; not tried places are drawn fainter."""

    x: Sequence[float]
    y: Sequence[Range]
    tried: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Line:
    """A line without a range beside a chart's curve, told apart by its strokes and its name.

    Attributes
    ----------
    name : str
        Written at its ``named_at`` end.
    x, y : sequence of float
    stroke : {"dashed", "dotted"}
    named_at : {"start", "end"}
    """

    name: str
    x: Sequence[float]
    y: Sequence[float]
    stroke: Literal["dashed", "dotted"] = "dashed"
    named_at: Literal["start", "end"] = "end"


@dataclass(frozen=True, slots=True)
class Chart:
    """What a chart of a curve shows.

    Attributes
    ----------
    curve : Curve or None
    points : sequence of (float, Range)
        Measured, each with its range.
    spots : sequence of Spot
        Where each of the points leads; empty where they lead nowhere.
    x_unit, y_unit : str
    band : Range or None
        Of x: drawn as a bar below the axis, with a tick at its middle.
    notch : float or None
        Of x: cut into the axis.
    notch_name : str
        Written below it.
    lines : sequence of Line
        More lines in the unit of y.
    x_ends : tuple of float or None
        Low end, high end and step of x where round tens would read oddly, as for hours; None: found.
    clock : bool
        With ``x_ends``: x is hours, which begin anew at midnight.
    """

    curve: Curve | None
    points: Sequence[tuple[float, Range]]
    x_unit: str
    y_unit: str
    band: Range | None = None
    notch: float | None = None
    notch_name: str = ""
    lines: Sequence[Line] = field(default_factory=tuple)
    x_ends: tuple[float, float, float] | None = None
    clock: bool = False
    spots: Sequence[Spot] = field(default_factory=tuple)


def ruler(
    r: Range, unit: str, *, title: str, about: str, name: str, limit: float | None = None, limit_name: str = ""
) -> Drawing:
    """The ruler: a rule in ``unit``, the limit as a notch, the range as a bar, the middle as a tick.

    Parameters
    ----------
    r : Range
        In ``unit``; may lie below 0 in part.
    unit : str
    title, about : str
        For who does not see the drawing.
    name : str
        Beginning of the ids inside; unique on its page.
    limit : float or None
        In ``unit``.
    limit_name : str
        Written above the notch.
    """

    def draw(width: int) -> tuple[int, list[Markup]]:
        x = _ruler_axis([r], limit, width - 26 - LETTER * len(unit), width)
        parts = [*_rule(x, 46.0, unit), *_notch(x, 46.0, limit, limit_name), *_bar(x, r, 60.0, "tick")]
        return 78, parts

    return drawn(draw, name, title, about)


def rows(
    given: Sequence[Row], unit: str, *, title: str, about: str, name: str, limit: float | None = None,
    limit_name: str = "", reach: float = 0.0,
) -> Drawing:  # fmt: skip
    """Several ranges below one ruler, a line each, with their names.

    Parameters
    ----------
    given : sequence of Row
        At least one.
    unit, title, about, name, limit, limit_name
        As for :func:`ruler`.
    """

    def draw(width: int) -> tuple[int, list[Markup]]:
        wide = width >= WIDE
        margin = min(0.36 * width, 12 + LETTER * max(len(one.name) for one in given)) if wide else 4.0
        x = _ruler_axis(
            [one.range for one in given], limit, width - 18 - LETTER * len(unit), width, start=margin, reach=reach
        )
        each = 30 if wide else 44
        parts = [*_rule(x, 46.0, unit), *_notch(x, 46.0, limit, limit_name)]
        y = 74.0 if wide else 88.0
        for one in given:
            if wide:
                parts.append(_text(margin - 12, y + 4.5, one.name, "end"))
            else:
                parts.append(_text(2.0, y - 15, one.name, "start"))
            parts.append(_line(x.start, y, x.end, y, "hair"))
            bar, middle = _bar(x, one.range, y, one.mark), x.at(one.range.median)
            parts += bar if one.spot is None else [_leading(one.spot, bar, middle, y)]
            y += each
        if limit is not None and x.low <= limit <= x.high:
            parts.append(_line(x.at(limit), 52.0, x.at(limit), y - each + 12, "limit"))
        return round(y - each + 20), parts

    return drawn(draw, name, title, about)


def chart(given: Chart, *, title: str, about: str, name: str) -> Drawing:
    """A curve with its range, the measured points with theirs, axes with units; below the axis a band of x.

    Ranges that reach above the axis are cut at its end, which is said in the drawing and in its text.
    """

    def draw(width: int) -> tuple[int, list[Markup]]:
        wide = width >= WIDE
        height = 300 if wide else 250
        x, y = _chart_axes(given, width, height)
        fits = wide and LETTER * len(given.y_unit) <= x.start - 6
        parts: list[Markup] = [_text(x.start - 6, y.end - 14, given.y_unit, "end" if fits else "start", at_least=2.0)]
        if beyond := _beyond(given, y):
            parts.append(_text(x.end, y.end - 14, words("drawing.beyond", high=beyond), "end"))
        for value in y.ticks():
            if value > y.low:
                parts.append(_line(x.start, y.at(value), x.end, y.at(value), "hair"))
            parts.append(_text(x.start - 8, y.at(value) + 4.5, y.label(value), "end"))
        if given.curve is not None:
            parts += _curve(given.curve, x, y)
        for line in given.lines:
            parts += _named_line(line, x, y)
        for number, (at, r) in enumerate(given.points):
            drawn_point = _point(x.at(at), r, y)
            if given.spots:
                drawn_point = [_leading(given.spots[number], drawn_point, x.at(at), max(y.end, y.at(r.median)))]
            parts += drawn_point
        parts += _rule(x, y.start, given.x_unit, below=True)
        parts += _notch(x, y.start, given.notch, "", flip=True)
        if given.notch is not None and given.notch_name:
            parts.append(_text(x.at(given.notch), y.start + 42, given.notch_name, "middle"))
        if given.band is not None:
            parts += _bar(x, given.band, y.start + 58, "tick")
        return height + (70 if given.band is not None else 34), parts

    y = _chart_axes(given, WIDE, 300)[1]
    if beyond := _beyond(given, y):
        cut = words("drawing.beyond.about", high=beyond, unit=given.y_unit, end=y.label(y.high))
        about = f"{about} {cut}".strip()
    return drawn(draw, name, title, about)


def _beyond(given: Chart, y: Axis) -> str:
    """The highest end of a range that is cut at the axis, as its numbers are written; empty where none is cut."""
    high = max(r.high for r in [*(given.curve.y if given.curve else ()), *(r for _, r in given.points)])
    told = y.label(high)
    return told if high > y.high and told != y.label(y.high) else ""


def _chart_axes(given: Chart, width: int, height: int) -> tuple[Axis, Axis]:
    curve_x = given.curve.x if given.curve else ()
    curve_y = given.curve.y if given.curve else ()
    xs = [*curve_x, *(at for at, _ in given.points), *([] if given.notch is None else [given.notch])]
    if given.band is not None:
        xs += [given.band.low, given.band.high]
    ranges = [*curve_y, *(r for _, r in given.points)]
    if not xs or not ranges:
        raise ValueError("a chart needs a curve or a point")
    # One wide range must not press everything else flat: the axis ends at 1.6 times the highest middle.
    top = min(max(r.high for r in ranges), 1.6 * max(r.median for r in ranges))
    top = max(top, *(value for line in given.lines for value in line.y)) if given.lines else top
    y = Axis.around(0.0, top, most=5 if width >= WIDE else 4, start=float(height), end=34.0)
    left = 16 + LETTER * max(len(y.label(value)) for value in y.ticks())
    most = 9 if width >= WIDE else 5
    right = width - 14 - LETTER * len(given.x_unit)
    if given.x_ends is not None:
        return (ClockAxis if given.clock else Axis)(*given.x_ends, left, right), y
    x = Axis.around(min(xs), max(xs), most=most, start=left, end=right)
    return x, y


def _ruler_axis(
    ranges: Iterable[Range], limit: float | None, end: float, width: int, start: float = 12.0, reach: float = 0.0
) -> Axis:
    all_of = list(ranges)
    high = max(reach, *(r.high for r in all_of))
    # A limit far beyond the range would squeeze the bar to a dot: then the range sets the scale.
    # One that is shown has some rule on its far side, so that the notch is no corner.
    reach = max(high, 1.06 * limit if limit is not None and limit < 3 * high else 0.0)
    return Axis.around(min(0.0, *(r.low for r in all_of)), reach, most=8 if width >= WIDE else 4, start=start, end=end)


def ruled(x: Axis, y: float, unit: str, limit: float | None, limit_name: str) -> list[Markup]:
    """The rule alone with its numbers, unit and notch, for drawings that hang something else below it."""
    return [*_rule(x, y, unit), *_notch(x, y, limit, limit_name)]


def text_at(x: float, y: float, words: str, anchor: str) -> Markup:
    """One text of a drawing; ``anchor`` is start, middle or end."""
    return _text(x, y, words, anchor)


def _rule(x: Axis, y: float, unit: str, *, below: bool = False) -> list[Markup]:
    """The rule with its steps, halves between them, numbers and unit."""
    way = 1.0 if below else -1.0
    parts = [_line(x.start, y, x.end, y, "rule")]
    halves = [a + x.step / 2 for a in x.ticks()[:-1]]
    parts += [_line(x.at(v), y, x.at(v), y + way * 5, "rule") for v in halves]
    for value in x.ticks():
        parts.append(_line(x.at(value), y, x.at(value), y + way * 9, "rule"))
        parts.append(_text(x.at(value), y + (24 if below else -15), x.label(value), "middle"))
    parts.append(_text(x.end + 8, y + 4.5, unit, "start"))
    return parts


def _notch(x: Axis, y: float, limit: float | None, name: str, *, flip: bool = False) -> list[Markup]:
    """The limit cut into the rule as a V; beyond the rule's end an arrow."""
    if limit is None:
        return []
    at = x.at(limit)
    tip = -10 if flip else 10
    if limit > x.high:
        path = f"M{at - 8:.1f} {y - 6:.1f}L{at:.1f} {y:.1f}L{at - 8:.1f} {y + 6:.1f}"
    else:
        path = f"M{at - 8:.1f} {y:.1f}L{at:.1f} {y + tip:.1f}L{at + 8:.1f} {y:.1f}"
    parts = [Markup('<path class="notch" d="{}"/>').format(path)]
    if name:
        half = LETTER * len(name) / 2
        parts.append(_text(min(max(at, half), x.end + 20 - half), y - 32, name, "middle"))
    return parts


def _bar(x: Axis, r: Range, y: float, mark: str) -> list[Markup]:
    low, middle, high = x.at(r.low), x.at(r.median), x.at(r.high)
    width = max(2.0, high - low)
    parts = [Markup('<rect class="bar" x="{}" y="{}" width="{}" height="8" rx="1"/>').format(
        f"{low:.1f}", f"{y - 4:.1f}", f"{width:.1f}")]  # fmt: skip
    if mark == "dot":
        parts.append(Markup('<circle class="dot" cx="{}" cy="{}" r="6"/>').format(f"{middle:.1f}", f"{y:.1f}"))
    elif mark == "box":
        box = Markup('<rect class="dot hollow" x="{}" y="{}" width="11" height="11"/>')
        parts.append(box.format(f"{middle - 5.5:.1f}", f"{y - 5.5:.1f}"))
    else:
        parts.append(_line(middle, y - 10, middle, y + 10, "middle"))
    return parts


def _curve(curve: Curve, x: Axis, y: Axis) -> list[Markup]:
    def line(values: Iterable[tuple[float, float]]) -> str:
        return " ".join(f"{x.at(a):.1f},{y.at(b):.1f}" for a, b in values)

    upper = [(a, r.high) for a, r in zip(curve.x, curve.y, strict=True)]
    lower = [(a, r.low) for a, r in zip(curve.x, curve.y, strict=True)]
    parts = [Markup('<polygon class="band" points="{}"/>').format(line([*upper, *reversed(lower)]))]
    middle = [(a, r.median) for a, r in zip(curve.x, curve.y, strict=True)]
    parts.append(Markup('<polyline class="curve untried" points="{}"/>').format(line(middle)))
    if curve.tried is not None:
        inside = [(a, b) for a, b in middle if curve.tried[0] - 1e-9 <= a <= curve.tried[1] + 1e-9]
        parts.append(Markup('<polyline class="curve" points="{}"/>').format(line(inside)))
    return parts


def _named_line(line: Line, x: Axis, y: Axis) -> list[Markup]:
    points = " ".join(f"{x.at(a):.1f},{y.at(b):.1f}" for a, b in zip(line.x, line.y, strict=True))
    at = 0 if line.named_at == "start" else -1
    return [
        Markup('<polyline class="curve {}" points="{}"/>').format(line.stroke, points),
        _text(x.at(line.x[at]), y.at(line.y[at]) - 7, line.name, line.named_at),
    ]


def _point(at: float, r: Range, y: Axis) -> list[Markup]:
    parts = [_line(at, y.at(r.low), at, y.at(r.high), "whisker")]
    if r.high > y.high:
        top = y.end
        path = f"M{at - 4:.1f} {top + 6:.1f}L{at:.1f} {top:.1f}L{at + 4:.1f} {top + 6:.1f}"
        parts.append(Markup('<path class="whisker" d="{}"/>').format(path))
    if r.median <= y.high:
        parts.append(
            Markup('<circle class="dot" cx="{}" cy="{}" r="4.5"/>').format(f"{at:.1f}", f"{y.at(r.median):.1f}")
        )
    return parts


def _leading(spot: Spot, parts: Iterable[Markup], x: float, y: float) -> Markup:
    """Parts that lead somewhere: with a name of their own, and reach enough for a finger."""
    whole = Markup('<a class="spot" href="{}" aria-label="{}">{}{}</a>')
    reach = Markup('<circle class="reach" cx="{}" cy="{}" r="13"/>').format(f"{x:.1f}", f"{y:.1f}")
    return whole.format(spot.path, spot.said, reach, Markup("").join(parts))


def _line(x1: float, y1: float, x2: float, y2: float, kind: str) -> Markup:
    return Markup('<line class="{}" x1="{}" y1="{}" x2="{}" y2="{}"/>').format(
        kind, f"{x1:.1f}", f"{y1:.1f}", f"{x2:.1f}", f"{y2:.1f}"
    )


def _text(x: float, y: float, words: str, anchor: str, *, at_least: float | None = None) -> Markup:
    if anchor == "start" and at_least is not None:
        x = at_least
    return Markup('<text class="at-{}" x="{}" y="{}">{}</text>').format(anchor, f"{x:.1f}", f"{y:.1f}", escape(words))

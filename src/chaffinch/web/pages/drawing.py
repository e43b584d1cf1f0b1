"""The drawings of the desk's pages: those of :mod:`chaffinch.paper.drawing`, which paper shows too."""

from __future__ import annotations

from chaffinch.paper.drawing import (
    NARROW,
    WIDE,
    Axis,
    Chart,
    Curve,
    Drawing,
    Line,
    Row,
    Spot,
    chart,
    rows,
    ruler,
    step_of,
)

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

"""What area of field a catch stands for.

A catch sees each source s through an area e_s [m²] of field whose loss lands in the pan or frame. Its expected mass
is 0.1 · Σ λ_s · e_s, with the loss λ in kg/ha and the mass in g (1 kg/ha = 0.1 g/m²).

==========================================  ========  ======  =============  =============
place                                       standing  header  machine        leak
==========================================  ========  ======  =============  =============
frame in standing crop, area A              A         0       0              0
frame in the cut strip (header strip)       A         A       0              0
pan in the discharge                        0         0       A · cut/drop   0
pan as wide as the discharge, length ℓ      0         0       ℓ · cut        0
frame on the ground behind                  A         A       A · cut/drop   A · cut/drop
strip across the whole cut                  A         A       A              A
ℓ metres of windrow or straw shaken out     0         0       ℓ · cut        0
timed leak catch, t seconds at v m/s        0         0       0              v · t · cut
==========================================  ========  ======  =============  =============

A leak comes on top of what leaves with straw and chaff, so it is a source of its own once a leak catch was taken.
Without one nothing can tell it apart, and what drips under the machine is part of the machine loss that frames behind
see.

Source: geometry; the width ratio cut/drop is the concentration factor of the extension guides (printed, among them
University of Missouri G1280 and NDSU sunflower production p. 110). With spreading on, the spread width
stands in place of the drop width.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from chaffinch.engine.domain import positive
from chaffinch.errors import InputError

Taken = Literal["spanning", "narrow", "spread", "ground", "across"]
"""How a catch was taken, as far as it changes how much catches differ from each other."""

VARIATION: Final[dict[Taken, float]] = {
    "spanning": 0.20,
    "narrow": 0.40,
    "spread": 0.60,
    "ground": 0.50,
    "across": 0.30,
}
"""Median coefficient of variation c0 between catches taken alike [1]. Design §4.3: a pan spanning the discharge, a
narrower pan with spreading off, spreading on, ground frames; ``across`` (strip over the whole cut, leak catch) is
our own figure between spanning and ground. All from memory of practice, no source; settable."""

WIDTH_SD: Final = {"guessed": 0.08, "taped": 0.02}
"""Standard deviation of the log of a drop or spread width [1] (design §4.1)."""


@dataclass(frozen=True, slots=True)
class Exposure:
    """Field area through which a catch sees each source.

    Attributes
    ----------
    standing_m2, header_m2, machine_m2, leak_m2 : float
        Areas e_s [m²], 0 or more.
    taken : Taken
        Which default variation between catches applies.
    by_width : bool
        True when ``machine_m2`` rests on the drop or spread width and so shares that width's error.
    variation_factor : float
        Multiplies the coefficient of variation: below 1 for a profile of several pans [1].
    """

    standing_m2: float
    header_m2: float
    machine_m2: float
    taken: Taken
    by_width: bool
    variation_factor: float = 1.0
    leak_m2: float = 0.0

    def area_m2(self, source: str) -> float:
        """Return e_s of ``standing``, ``header``, ``machine`` or ``leak`` [m²]."""
        areas = {"standing": self.standing_m2, "header": self.header_m2, "machine": self.machine_m2}
        return (areas | {"leak": self.leak_m2})[source]


def width_ratio(cut_width_m: float, discharge_width_m: float) -> float:
    """Cut width over discharge width [1]; the trade also says concentration factor."""
    return positive("cut_width_m", cut_width_m) / positive("discharge_width_m", discharge_width_m)


def in_standing_crop(area_m2: float) -> Exposure:
    """Frame in standing crop: sees what fell before harvest only."""
    return Exposure(positive("area_m2", area_m2), 0.0, 0.0, "ground", False)


def in_header_strip(area_m2: float) -> Exposure:
    """Frame in the cut strip ahead of the discharge: before-harvest and header loss."""
    area = positive("area_m2", area_m2)
    return Exposure(area, area, 0.0, "ground", False)


def in_discharge(
    area_m2: float,
    cut_width_m: float,
    discharge_width_m: float,
    *,
    pan_width_m: float | None = None,
    spreading: bool = False,
) -> Exposure:
    """Pan that received the discharge only.

    Parameters
    ----------
    area_m2 : float
        Pan area [m²].
    cut_width_m, discharge_width_m : float
        Cut width and drop (or spread) width [m].
    pan_width_m : float or None
        Pan width across travel [m]; a pan as wide as the discharge or wider catches all of it, so only its length
        counts and no evenness is assumed. None: the pan is taken as lying within the discharge.
    spreading : bool
        True with the spreader or chopper on.

    Raises
    ------
    InputError
        When the pan is given by area alone and a square of that area would be wider than the discharge.
    """
    machine, spans = _discharge_area(area_m2, cut_width_m, discharge_width_m, pan_width_m)
    return Exposure(0.0, 0.0, machine, "spanning" if spans else _loose(spreading, "narrow"), not spans)


def behind(
    area_m2: float,
    cut_width_m: float,
    discharge_width_m: float,
    *,
    frame_width_m: float | None = None,
    spreading: bool = False,
) -> Exposure:
    """Frame on the ground behind, in the discharge band: all three sources at once.

    Parameters as for :func:`in_discharge`.
    """
    area = positive("area_m2", area_m2)
    machine, spans = _discharge_area(area, cut_width_m, discharge_width_m, frame_width_m)
    return Exposure(area, area, machine, _loose(spreading, "ground"), not spans, leak_m2=machine)


def across_whole_cut(area_m2: float) -> Exposure:
    """Strip across the whole cut behind the machine: every source once, spreading on or off."""
    area = positive("area_m2", area_m2)
    return Exposure(area, area, area, "across", False, leak_m2=area)


def in_windrow(length_m: float, cut_width_m: float) -> Exposure:
    """Windrow or straw of ``length_m`` metres shaken out: machine loss of length × cut width."""
    machine = positive("length_m", length_m) * positive("cut_width_m", cut_width_m)
    return Exposure(0.0, 0.0, machine, "spanning", False)


def leaking(seconds: float, speed_kmh: float, cut_width_m: float) -> Exposure:
    """Timed leak catch: the field covered in that time at that speed, v · t · cut."""
    travelled_m = positive("speed_kmh", speed_kmh) / 3.6 * positive("seconds", seconds)
    area = travelled_m * positive("cut_width_m", cut_width_m)
    return Exposure(0.0, 0.0, 0.0, "across", False, leak_m2=area)


def profile_lengths_m(offsets_m: Sequence[float], discharge_width_m: float) -> tuple[float, ...]:
    """Length of discharge each pan of a profile stands for [m].

    The density across the discharge is taken as piecewise linear through the pans and zero at both edges; the
    trapezoid rule gives pan i the weight (x_{i+1} − x_{i−1})/2, the edges being ± half the width.

    Parameters
    ----------
    offsets_m : sequence of float
        Pan middles from the middle of the discharge [m], in any order, all different and within the edges.
    discharge_width_m : float
        Drop or spread width [m].

    Returns
    -------
    tuple of float
        Weights in the order of ``offsets_m`` [m].

    Raises
    ------
    InputError
        For fewer than two pans, equal offsets, or an offset outside the discharge.
    """
    half = positive("discharge_width_m", discharge_width_m) / 2.0
    if len(offsets_m) < 2:
        raise InputError("offset", list(offsets_m), "one pan makes no profile", "give two or more, or none")
    for x in offsets_m:
        if not -half < x < half:
            raise InputError("offset", x, f"lies outside the discharge (± {half:g} m)", "measure from its middle")
    order = sorted(range(len(offsets_m)), key=lambda i: offsets_m[i])
    edges = [-half, *(offsets_m[i] for i in order), half]
    weights = [0.0] * len(offsets_m)
    for rank, i in enumerate(order, start=1):
        if edges[rank] == edges[rank + 1]:
            raise InputError("offset", offsets_m[i], "stands twice in one run", "give the second pan its own run")
        weights[i] = (edges[rank + 1] - edges[rank - 1]) / 2.0
    return tuple(weights)


def across_profile(cut_width_m: float, shares: Sequence[float]) -> Exposure:
    """Several pans at known offsets, integrated to grams per metre of travel: 1 m × cut.

    ``shares`` are the parts each pan contributes to the sum; independent pans average out, so the coefficient
    of variation falls by √Σ share². Unevenness across the discharge is measured here, not assumed, hence the variation
    of a narrow pan even with spreading on.
    """
    factor = sum(s * s for s in shares) ** 0.5
    return Exposure(0.0, 0.0, positive("cut_width_m", cut_width_m), "narrow", True, factor)


def _discharge_area(
    area_m2: float, cut_width_m: float, discharge_width_m: float, pan_width_m: float | None
) -> tuple[float, bool]:
    """Machine exposure [m²] and whether the pan spans the discharge."""
    area = positive("area_m2", area_m2)
    cut, discharge = positive("cut_width_m", cut_width_m), positive("discharge_width_m", discharge_width_m)
    if pan_width_m is None:
        side = area**0.5
        if side > discharge:
            raise InputError(
                "pan",
                f"{area:g} m²",
                f"is too large to lie within a discharge of {discharge:g} m as a square",
                "give the pan's width across travel and its length along travel",
            )
        return area * cut / discharge, False
    if positive("pan_width_m", pan_width_m) >= discharge:
        return area / pan_width_m * cut, True
    return area * cut / discharge, False


def _loose(spreading: bool, otherwise: Taken) -> Taken:
    return "spread" if spreading else otherwise

"""What does one check give to a curve? Its evidence about one source, and the load the combine carried.

A curve of loss against load is learned from such points. The load is the throughput where the yield is known for
every check, else the ground speed: the two must not be mixed in one curve, and :func:`choose_load` says which
it is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from chaffinch.engine.domain import finite, positive
from chaffinch.engine.evidence import LN_LOSS, Evidence
from chaffinch.errors import InputError

LoadKind = Literal["throughput", "speed"]
WhyLoad = Literal["every check has a throughput", "some checks have no throughput", "checks without one left out"]


@dataclass(frozen=True, slots=True)
class LossPoint:
    """One check as a curve sees it.

    Attributes
    ----------
    evidence : Evidence
        About one source. An error that every check of the combine shares (a guessed drop width) must not be in it:
        it lifts the whole curve and is handed to the fit as its ``scale_sd``.
    load : float
        Throughput [t/h] or ground speed [km/h], above 0; the same kind for all points of a curve.
    combine : str
        Which machine.
    operator, setup : str
        Who drove and how the machine was set; "" is not told.
    conditions : mapping of str to float
        What may move the loss beside the load, in any unit that is the same for all points: humidity [%], straw
        moisture [%]. One may be missing.

    Raises
    ------
    InputError
        For a load that is not above 0, a condition that is not a finite number, or evidence off the grid.
    """

    evidence: Evidence
    load: float
    combine: str = "combine"
    operator: str = ""
    setup: str = ""
    conditions: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        object.__setattr__(self, "load", positive("load", self.load))
        told = {name: finite(f"condition {name}", value) for name, value in self.conditions.items()}
        object.__setattr__(self, "conditions", told)
        if self.evidence.log_likelihood.shape != LN_LOSS.shape:
            shape = self.evidence.log_likelihood.shape
            raise InputError("evidence", shape, "does not stand on the grid of losses", "make it with evidence()")
        if not np.isfinite(self.evidence.log_likelihood.max()):
            raise InputError("evidence", None, "allows no loss at all", "look for readings that exclude each other")


@dataclass(frozen=True, slots=True)
class LoadChoice:
    """Which load a curve is drawn over, and from which checks.

    Attributes
    ----------
    kind : {"throughput", "speed"}
    why : str
        What decided it.
    kept : tuple of int
        Positions of the checks that have this load, rising.
    loads : tuple of float
        Their loads [t/h or km/h].
    without_throughput : tuple of int
        Positions of the checks whose throughput is not known.
    """

    kind: LoadKind
    why: WhyLoad
    kept: tuple[int, ...]
    loads: tuple[float, ...]
    without_throughput: tuple[int, ...]


def choose_load(
    speeds_kmh: Sequence[float | None], throughputs_t_h: Sequence[float | None], *, leave_out: bool = False
) -> LoadChoice:
    """Decide between throughput and speed for a set of checks: throughput only where all have it.

    Parameters
    ----------
    speeds_kmh, throughputs_t_h : sequence of float or None
        One per check, above 0; None where it is not known (no yield: no throughput).
    leave_out : bool
        True: checks without a throughput are left out, and the curve stands over throughput. False: speed for all.

    Raises
    ------
    InputError
        For sequences of unlike length, a load that is not above 0, a check that has neither, or no check left.
    """
    if len(speeds_kmh) != len(throughputs_t_h):
        problem = f"must be one for each of the {len(speeds_kmh)} checks"
        raise InputError("throughputs", len(throughputs_t_h), problem, "give None where it is not known")
    missing = tuple(i for i, value in enumerate(throughputs_t_h) if value is None)
    if not missing or leave_out:
        known = {i: value for i, value in enumerate(throughputs_t_h) if value is not None}
        if not known and missing:
            raise InputError("throughputs", None, "none of the checks has one", "use the speed, or tell the yields")
        loads = tuple(positive(f"throughput of check {i + 1}", value) for i, value in known.items())
        why: WhyLoad = "checks without one left out" if missing else "every check has a throughput"
        return LoadChoice("throughput", why, tuple(known), loads, missing)
    speeds = []
    for i, speed in enumerate(speeds_kmh):
        if speed is None:
            raise InputError(f"speed of check {i + 1}", None, "is not known", "tell it, or leave the check out")
        speeds.append(positive(f"speed of check {i + 1}", speed))
    why = "some checks have no throughput"
    return LoadChoice("speed", why, tuple(range(len(speeds))), tuple(speeds), missing)

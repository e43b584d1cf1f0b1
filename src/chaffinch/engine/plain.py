"""The textbook arithmetic: subtract what lay there before, divide by the area, average.

Always shown beside the estimate. Source: the count procedures of the extension guides (printed; among them NDSU,
Missouri G1280, Michigan State). Nothing is cut off at zero: a difference that comes out negative is shown as measured.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from chaffinch.engine.evidence import GRAMS_PER_KG_HA_M2, Catch

STANDING_LEFT_IN: Final = "standing-left-in"
"""No frame in standing crop: what fell before harvest is still in the header figure."""
HEADER_LEFT_IN: Final = "header-left-in"
"""No frame in the header strip: header loss is still in the machine figure."""
NOT_PARTED: Final = "not-parted"
"""Only strips over the whole cut: header and machine loss stand in one figure."""


@dataclass(frozen=True, slots=True)
class Plain:
    """Plain losses [kg/ha]; None where the catches do not give that figure.

    Attributes
    ----------
    standing, header, machine, leak : float or None
        By source; header and machine may be negative. Several leak catches are repeats of one leak.
    header_and_machine : float or None
        Both in one figure, when only strips over the whole cut were taken.
    total : float
        Sum of what the catches give.
    left_in : tuple of str
        Which of the three cautions of this module applies.
    """

    standing: float | None
    header: float | None
    machine: float | None
    leak: float | None
    header_and_machine: float | None
    total: float
    left_in: tuple[str, ...]

    def of(self, source: str) -> float | None:
        """Plain loss of ``standing``, ``header``, ``machine`` or ``leak``."""
        found = {"standing": self.standing, "header": self.header, "machine": self.machine, "leak": self.leak}
        return found[source]


def plain(catches: Sequence[Catch]) -> Plain:
    """Textbook losses of one check.

    Parameters
    ----------
    catches : sequence of Catch
        At least one.

    Notes
    -----
    With d = mass / frame area [kg/ha of ground]: standing = mean d of frames in standing crop; header = mean d of
    the header strip − standing; machine = mean of mass/e_machine over catches that saw machine loss only and of
    (d − mean header strip) · A/e_machine over frames behind. What was not measured is not subtracted, and said so.
    """
    standing = _mean([_per(c, c.exposure.standing_m2) for c in catches if _pattern(c) == (True, False, False)])
    strip = _mean([_per(c, c.exposure.standing_m2) for c in catches if _pattern(c) == (True, True, False)])
    leak = _mean([_per(c, c.exposure.leak_m2) for c in catches if _pattern(c) == (False, False, False)])
    only_machine = [_per(c, c.exposure.machine_m2) for c in catches if _pattern(c) == (False, False, True)]
    everything = [c for c in catches if _pattern(c) == (True, True, True)]
    left_in = []
    header = None if strip is None else strip - (standing or 0.0)
    if strip is not None and standing is None:
        left_in.append(STANDING_LEFT_IN)

    together = None
    if everything and strip is None:
        across = [c for c in everything if c.exposure.taken == "across"]
        if across:
            whole = _mean([_per(c, c.exposure.standing_m2) for c in across])
            together = None if whole is None else whole - (standing or 0.0) - (leak or 0.0)
            left_in.append(NOT_PARTED)
            everything = [c for c in everything if c.exposure.taken != "across"]
            if standing is None:
                left_in.append(STANDING_LEFT_IN)
        if everything:
            left_in.append(HEADER_LEFT_IN)
    # The leak drips behind too: where it is known it comes off what the frames behind show.
    lay_there = strip if strip is not None else (standing or 0.0)
    behind = [
        (_per(c, c.exposure.standing_m2) - lay_there) * c.exposure.standing_m2 / c.exposure.machine_m2 - (leak or 0.0)
        for c in everything
    ]
    machine = _mean([*only_machine, *behind])
    if together is not None:
        total = (standing or 0.0) + together + (leak or 0.0)
    else:
        total = sum(x for x in (standing, header, machine, leak) if x is not None)
    return Plain(standing, header, machine, leak, together, total, tuple(dict.fromkeys(left_in)))


def _pattern(catch: Catch) -> tuple[bool, bool, bool]:
    e = catch.exposure
    return e.standing_m2 > 0, e.header_m2 > 0, e.machine_m2 > 0


def _per(catch: Catch, area_m2: float) -> float:
    return catch.reading.mass_g / (GRAMS_PER_KG_HA_M2 * area_m2)


def _mean(values: Sequence[float]) -> float | None:
    return sum(values) / len(values) if values else None

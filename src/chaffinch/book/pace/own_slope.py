"""Does this machine's own evidence say that slower pays? What others have shown must not slow anybody down.

The machine's own checks are fitted alone, with a slope that leans neither way, N(0, 0.8²) in place of N(1.3, 0.8²).
Header loss counts with its own checks on this machine, or not at all. Errors that the checks share are in both curves,
the same in both where it is one error.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from chaffinch.book.pace.curves import Curved, Curves, loss_point
from chaffinch.engine.domain import FloatArray
from chaffinch.engine.estimate import default_prior
from chaffinch.engine.pace.curves import paired
from chaffinch.engine.response.fit import Response, fit_response
from chaffinch.engine.response.loss_point import LossPoint

FASTER: Final = 1.2
"""Load against the middle one at which a loss is held to rise or not [1]; own figure."""


def p_slower_pays(
    found: Curves,
    speeds_kmh: tuple[float, float],
    load_per_kmh: float,
    *,
    price_per_t: float,
    time_cost_per_ha: tuple[float, float],
    seed: int,
) -> float:
    """Probability, by this machine's own checks alone, that the first speed costs less than the second.

    Parameters
    ----------
    found : Curves
        The book's curves; only this combine's own points are used.
    speeds_kmh : tuple of float
        The slower and the faster speed [km/h].
    load_per_kmh : float
        Load of the machine curve at 1 km/h today [t/h, or 1 for a curve over speed].
    price_per_t : float
        [money/t]
    time_cost_per_ha : tuple of float
        Cost of time at both speeds [money/ha].
    seed : int
        Same seed, same answer.
    """
    if not found.own:
        return 0.0
    speeds = np.array(speeds_kmh)
    own = [
        loss_point(p, "machine", load)
        for p in found.own
        if (load := p.throughput_t_h if found.load_kind == "throughput" else p.speed_kmh) is not None
    ]
    even = _even(own, "machine", found, seed)
    machine = even.loss_kg_ha(speeds * load_per_kmh), even.weights
    header = None
    if found.own_header:
        at_header = [loss_point(p, "header", p.speed_kmh) for p in found.own_header if p.speed_kmh is not None]
        even = _even(at_header, "header", found, seed)
        header = even.loss_kg_ha(speeds), even.weights
    loss, of_header = paired(machine, header, shared=found.shared, seed=seed)
    if of_header is not None:
        loss = loss + of_header
    cost: FloatArray = loss * price_per_t / 1000.0 + np.array(time_cost_per_ha)
    return float(np.mean(cost[:, 0] < cost[:, 1]))


def p_rises(found: Curves, source: Curved, *, seed: int) -> float | None:
    """Probability, by this machine's own checks alone, that a loss rises with its load (header loss: with speed).

    Parameters
    ----------
    found : Curves
        The book's curves; only this combine's own points are used.
    source : {"machine", "header"}
    seed : int
        Same seed, same answer.

    Returns
    -------
    float or None
        None where its checks were not taken at two loads at least.
    """
    if source == "machine":
        loads = [(p, p.throughput_t_h if found.load_kind == "throughput" else p.speed_kmh) for p in found.own]
    else:
        loads = [(p, p.speed_kmh) for p in found.own_header]
    points = [loss_point(p, source, load) for p, load in loads if load is not None]
    if len({one.load for one in points}) < 2:
        return None
    fit = _even(points, source, found, seed)
    at = fit.reference_load
    loss = fit.loss_kg_ha(np.array([at, FASTER * at]))
    return float(fit.weights @ (loss[:, 1] > loss[:, 0]))


def _even(points: list[LossPoint], source: str, found: Curves, seed: int) -> Response:
    """A fit whose slope leans neither way: the prior that header loss has anyhow."""
    prior = default_prior(source, found.yield_kg_ha)
    kind = found.load_kind if source == "machine" else "speed"
    return fit_response(points, source="header", prior=prior, load_kind=kind, seed=seed)

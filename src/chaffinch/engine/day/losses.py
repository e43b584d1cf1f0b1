"""What would be lost at each hour? The curves of machine and header loss, moved by how tough the straw is.

    ln λ(v, x) = ln λ(v, x₀) + γ·(x − x₀)        x toughness [share], γ of machine and header each its own

γ starts at a guide: that tough straw loses more behind the machine and less at the header is published, how much is not
(own figures, wide). Checks that were told the humidity before them narrow it. Equations: ``docs/method/day.md``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import ndtri

from chaffinch.engine.domain import FloatArray, between, not_negative, positive, single
from chaffinch.engine.ledger.sharing import NOTHING_SHARED, SharedByBoth
from chaffinch.engine.pace.curves import LossAtSpeeds, paired
from chaffinch.engine.response.fit import Response
from chaffinch.engine.response.terms import CONDITION_SD
from chaffinch.engine.sampling.sobol import sobol
from chaffinch.errors import InputError

TOUGHNESS: Final = "toughness"
"""Name of the index among the conditions of a fit."""
DRAWS: Final = 1024
"""Draws of a day [1]: a percentile errs by about 1.5 % of its rank; own figure."""
INDEX_SD: Final = 0.06
"""Sd of a day's toughness around what the forecast makes of it [share]: humidity forecast and lag; own figure."""
UNKNOWN_TOUGHNESS: Final = (0.5, 0.15)
"""Toughness at checks that tell no humidity: mean and sd [share]; own figure, afternoons and evenings."""
LEARNED_FROM: Final = 0.25
"""Share of the guide's sd that must be gone before the day stops calling itself a guide [1]; own figure."""
# Columns of the Sobol sequence that the pairing does not use.
_FIRST_COLUMN: Final = 6


@dataclass(frozen=True, slots=True)
class Guide:
    """What is believed of γ before a check: change of ln(loss) from toughness 0 to 1, mean and sd [1]."""

    mean: float
    sd: float


GUIDE: Final[Mapping[str, Guide]] = {"machine": Guide(0.8, 0.8), "header": Guide(-0.5, 0.6)}
"""Own figures. The signs: soybean lost most in all at 21 h and least at 14-15 h, when the platform loss was highest
(printed, Brazil); shatter falls with morning and evening humidity (printed)."""


@dataclass(frozen=True, slots=True)
class Told:
    """The toughness that the checks of a curve were taken at.

    Attributes
    ----------
    in_fit : bool
        Whether the curve has it as its condition :data:`TOUGHNESS`.
    mean, sd : float
        Among the checks that tell it [share].
    """

    in_fit: bool
    mean: float
    sd: float


@dataclass(frozen=True, slots=True)
class Effect:
    """Draws of one source's curve at one toughness, and of γ; all of equal weight.

    Attributes
    ----------
    kg_ha : ndarray, shape (n, m)
        Loss at the speeds and at ``reference`` [kg/ha].
    gamma : ndarray, shape (n,)
        [1 per unit of toughness]
    reference : ndarray, shape (n,)
        Toughness that ``kg_ha`` is at [share].
    learned : float
        1 − (sd of γ ÷ sd of the guide) [1]; near 0 nothing was learned.
    """

    kg_ha: FloatArray
    gamma: FloatArray
    reference: FloatArray
    learned: float

    def at(self, toughness: FloatArray) -> FloatArray:
        """Loss at a toughness of each draw, shape (n, m) [kg/ha]."""
        return self.kg_ha * np.exp(self.gamma * (toughness - self.reference))[:, None]


@dataclass(frozen=True, slots=True)
class DayLosses:
    """Draws of both losses at listed speeds, at any toughness.

    Attributes
    ----------
    speed_kmh : ndarray, shape (m,)
    machine : Effect
    header : Effect or None
        None when it was not measured.
    off : ndarray, shape (n,)
        How far the day's toughness lies off in each draw [share].
    tested_kmh, yield_kg_ha
        As in :class:`~chaffinch.engine.pace.curves.LossAtSpeeds`.
    """

    speed_kmh: FloatArray
    machine: Effect
    header: Effect | None
    off: FloatArray
    tested_kmh: tuple[float, float] | None
    yield_kg_ha: float | None

    def at(self, toughness: float) -> LossAtSpeeds:
        """The curves at one forecast toughness [share, 0 to 1]; each draw's own is held in 0 to 1."""
        here = np.clip(between("toughness", single("toughness", toughness), 0.0, 1.0) + self.off, 0.0, 1.0)
        equal = np.full(self.off.size, 1.0 / self.off.size)
        header = None if self.header is None else self.header.at(here)
        return LossAtSpeeds(self.speed_kmh, self.machine.at(here), header, equal, self.tested_kmh, self.yield_kg_ha)

    @property
    def is_a_guide(self) -> bool:
        """Whether the checks have hardly taught what toughness does to the machine's loss."""
        return self.machine.learned < LEARNED_FROM


@dataclass(frozen=True, slots=True)
class AskedOf:
    """Which curve of a fit is asked.

    Attributes
    ----------
    response : Response
    load_per_kmh : float
        Load at 1 km/h today [t/h, or 1 for a curve over speed], above 0.
    told : Told or None
        None where no check tells its humidity.
    combine, setup : str or None
        As for :meth:`Response.loss_kg_ha`.
    """

    response: Response
    load_per_kmh: float
    told: Told | None
    combine: str | None = None
    setup: str | None = None


def day_losses(
    speed_kmh: FloatArray,
    machine: AskedOf,
    header: AskedOf | None,
    *,
    tested_kmh: tuple[float, float] | None,
    yield_kg_ha: float | None = None,
    shared: SharedByBoth = NOTHING_SHARED,
    guide: Mapping[str, Guide] = GUIDE,
    index_sd: float = INDEX_SD,
    draws: int = DRAWS,
    seed: int = 1,
) -> DayLosses:
    """Put machine and header curves of a day together.

    Parameters
    ----------
    speed_kmh : ndarray, shape (m,)
        Ground speeds, rising [km/h].
    machine, header : AskedOf or None
        Fits without the errors in ``shared``; header None: not measured.
    tested_kmh, yield_kg_ha, shared, seed
        As for :func:`chaffinch.engine.pace.curves.pair_posteriors`.
    guide : mapping
        What is believed of γ first, by source.
    index_sd : float
        Sd of the day's toughness [share], 0 to 0.5.
    draws : int
        Rows, 64 to 65536.
    """
    speeds = positive("speed_kmh", speed_kmh)
    z = ndtri(sobol(int(between("draws", draws, 64, 65536)), 4, seed=seed, first=_FIRST_COLUMN))
    parts = [
        None if one is None else _columns(one, speeds, guide[source], source)
        for source, one in (("machine", machine), ("header", header))
    ]
    if parts[0] is None:
        raise InputError("machine", None, "is not given", "give the machine's curve")
    rows = paired(parts[0], parts[1], shared=shared, draws=draws, seed=seed)
    effects = [
        None if one is None or found is None else _effect(one, found, guide[source], z[:, column], z[:, 3])
        for column, (source, one, found) in enumerate(
            (("machine", machine, rows[0]), ("header", header, rows[1])), start=1
        )
    ]
    assert effects[0] is not None
    off = between("index_sd", index_sd, 0.0, 0.5) * z[:, 0]
    return DayLosses(speeds, effects[0], effects[1], off, tested_kmh, yield_kg_ha)


def _columns(asked: AskedOf, speeds: FloatArray, guide: Guide, source: str) -> tuple[FloatArray, FloatArray]:
    """Curves, e^γ and 1 in one array, so that the pairing keeps each row together; and the weights of the rows."""
    told = asked.told if asked.told is not None and asked.told.in_fit and asked.told.sd > 0 else None
    loads = speeds * positive(f"{source} load_per_kmh", asked.load_per_kmh)

    def curves(toughness: float | None, at: FloatArray) -> FloatArray:
        conditions = {} if toughness is None else {TOUGHNESS: toughness}
        return asked.response.loss_kg_ha(
            at, combine=asked.combine, setup=asked.setup, conditions=conditions, shared_error=False
        )

    base = curves(None if told is None else told.mean, loads)
    ones = np.ones((len(base), 1))
    if told is None:
        return np.hstack([base, ones, ones]), asked.response.weights
    # All else of a draw is the same in both, so their ratio is e^γ exactly.
    ratio = curves(told.mean + 1.0, loads[:1]) / curves(told.mean, loads[:1])
    gamma = np.log(ratio[:, 0])
    first = CONDITION_SD / told.sd
    ln_weight = 0.5 * (gamma / first) ** 2 - 0.5 * ((gamma - guide.mean) / guide.sd) ** 2
    weights = asked.response.weights * np.exp(ln_weight - ln_weight.max())
    return np.hstack([base, ratio, ones]), weights / weights.sum()


def _effect(asked: AskedOf, rows: FloatArray, guide: Guide, z: FloatArray, z_place: FloatArray) -> Effect:
    """Take the columns apart again; without a fitted γ it is drawn from the guide.

    Where no check tells its humidity, all of them stood at one unknown toughness, the same for both sources.
    """
    kg_ha = rows[:, :-2]
    told = asked.told
    if told is not None and told.in_fit and told.sd > 0:
        gamma = np.log(rows[:, -2] / rows[:, -1])
        learned = 1.0 - float(gamma.std()) / positive("guide sd", guide.sd)
        return Effect(kg_ha, gamma, np.full(len(kg_ha), told.mean), learned)
    gamma = guide.mean + not_negative("guide sd", guide.sd) * z
    if told is not None:
        return Effect(kg_ha, gamma, np.full(len(kg_ha), told.mean), 0.0)
    mean, sd = UNKNOWN_TOUGHNESS
    return Effect(kg_ha, gamma, np.clip(mean + sd * z_place, 0.0, 1.0), 0.0)

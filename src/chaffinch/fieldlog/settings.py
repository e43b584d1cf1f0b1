"""What does the cleaning hold a record against? Every figure with its source in ``reference/fieldlog.toml``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from difflib import get_close_matches

from chaffinch.engine.domain import single
from chaffinch.errors import InputError
from chaffinch.reference.fieldlogs import cleaning

_MAY_BE_ZERO = frozenset(("speed_least_kmh", "moisture_least_pct", "jump_least_m", "end_most", "lag_most_s"))


@dataclass(frozen=True, slots=True)
class Settings:
    """Limits of the cleaning; names carry their unit, meanings stand beside the figures in the reference."""

    smooth_s: float
    gap_m: float
    gap_s: float
    turn_deg: float
    shortest_pass_m: float
    jump_factor: float
    jump_least_m: float
    lag_most_s: float
    end_share: float
    end_most: float
    speed_least_kmh: float
    speed_most_kmh: float
    speed_change: float
    width_share: float
    overlap_share: float
    yield_sd: float
    moisture_least_pct: float
    moisture_most_pct: float
    local_swaths: float
    local_mad: float
    local_least: float
    warn_share: float

    def but(self, changed: Mapping[str, float]) -> Settings:
        """The settings with some figures changed.

        Raises
        ------
        InputError
            For a name there is not, or a figure that is no finite number above 0 (some may be 0).
        """
        names = [f.name for f in fields(self)]
        for name, value in changed.items():
            if name not in names:
                near = get_close_matches(name, names, n=1)
                mend = f"did you mean {near[0]}?" if near else f"use one of {', '.join(names)}"
                raise InputError("setting", name, "is no figure of the cleaning", mend)
            number = single(name, value)
            if number < 0 or (number == 0 and name not in _MAY_BE_ZERO):
                raise InputError(name, value, "must be above 0", "give a number above 0")
        return replace(self, **{name: float(value) for name, value in changed.items()})


def usual() -> Settings:
    """The settings of the reference."""
    return Settings(**{name: figure.value for name, figure in cleaning().items()})

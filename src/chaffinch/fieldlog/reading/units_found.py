"""In which units are the numbers of a table? Found from what must hold between them.

    yield = flow × interval ÷ (distance × width)          kg/m² are 10 t/ha
    speed = distance ÷ interval
    distance = way between positions,  speed = that way ÷ interval

Every set of units the open columns could be in is tried; a set fits when all relations that can be worked out hold at
the median, and the middle of each column lies where a machine's can. One fitting set is taken, several are a question.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product
from typing import Final

import numpy as np

from chaffinch.fieldlog.reading.meanings import MEANINGS, UNITS
from chaffinch.fieldlog.rows import FloatArray

EXACT: Final = 0.01
"""How far the median of a relation between recorded columns may be off [ln]. Own figure: an open log shows 0.0006; the
nearest two sets of units differ by 0.09 (ft/s against km/h)."""
BY_POSITION: Final = 0.08
"""The same for the way between positions [ln]: they jitter, and turns are cut. Own figure; an open log shows 0.010."""
LEAST: Final = 20
"""Working records a relation is judged on [1]."""
MOST_ROWS: Final = 20_000
BUSHEL_KG: Final = 20.0
WEIGHT_LN: Final = 0.33
"""Middle of the bushel weights of grain [kg] and how far they lie apart [ln]: 14.4 to 27.8 kg, from 32 lb of oats to
60 lb of wheat. Own figures around the weights of the crop files."""
MOST_SETS: Final = 100_000


@dataclass(frozen=True, slots=True)
class UnitSets:
    """Sets of units that fit.

    Parameters
    ----------
    sets : tuple of mapping
        Meaning to unit for the open columns, each a set that fits; empty where none does.
    off : mapping of str to float
        Each relation to how far it is off in the first set, or with all units known [ln].
    """

    sets: tuple[dict[str, str], ...]
    off: dict[str, float]


def unit_sets(
    raw: Mapping[str, FloatArray], known: Mapping[str, str], step_m: FloatArray | None, bushel_kg: float | None
) -> UnitSets:
    """Find the units of the columns whose name does not tell.

    Parameters
    ----------
    raw : mapping of str to array
        Meaning to numbers as they stand in the table, shape (n,).
    known : mapping of str to str
        Meaning to unit, where the name or a person told it.
    step_m : array or None
        Way between positions [m], where they are in degrees or metres.
    bushel_kg : float or None
        Weight of a bushel [kg]; without it a yield in bushels fits with the weight any grain has.
    """
    take = slice(0, MOST_ROWS)
    numbers = {name: values[take] for name, values in raw.items() if MEANINGS[name].high > 0.0}
    relations = _relations(numbers, None if step_m is None else step_m[take])
    choices: dict[str, list[str]] = {}
    for name, values in numbers.items():
        kind = UNITS[MEANINGS[name].kind]
        if name in known:
            choices[name] = [known[name]]
        else:
            choices[name] = [unit for unit in kind if may_be(name, values, factor(name, unit, bushel_kg))]
    fitting: list[dict[str, str]] = []
    off: dict[str, float] = {}
    sizes = int(np.prod([max(len(c), 1) for c in choices.values()], dtype=np.int64)) if choices else 1
    if sizes <= MOST_SETS:
        names = list(choices)
        for units in product(*choices.values()):
            one = dict(zip(names, units, strict=True))
            now = {
                label: value + sum(p * np.log(factor(n, one[n], bushel_kg)) for n, p in powers.items())
                for label, (value, powers, _) in relations.items()
            }
            off = off or now
            unweighed = WEIGHT_LN if bushel_kg is None and one.get("yield_t_ha") == "bu/ac" else 0.0
            slack = {label: unweighed if "yield_t_ha" in relations[label][1] else 0.0 for label in now}
            if all(abs(now[label]) <= relations[label][2] + slack[label] for label in now):
                if not fitting:
                    off = now
                fitting.append({n: u for n, u in one.items() if n not in known})
    return UnitSets(tuple(fitting), {label: float(value) for label, value in off.items()})


def factor(name: str, unit: str, bushel_kg: float | None = None) -> float:
    """What one of ``unit`` is in the unit of our column."""
    if not unit:
        return 1.0
    worth = UNITS[MEANINGS[name].kind][unit]
    return worth * (bushel_kg or BUSHEL_KG) if unit == "bu/ac" else worth


_Relation = tuple[float, dict[str, int], float]


def _relations(x: Mapping[str, FloatArray], step_m: FloatArray | None) -> dict[str, _Relation]:
    """Each relation that can be worked out: ln of its median in raw numbers, power of each column, tolerance."""
    by_width = {"flow_kg_s": 1, "width_m": -1, "yield_t_ha": -1}
    asked: list[tuple[str, dict[str, int], float, FloatArray | None, float]] = [
        ("yield", {**by_width, "interval_s": 1, "distance_m": -1}, 10.0, None, EXACT),
        ("speed", {"distance_m": 1, "interval_s": -1, "speed_kmh": -1}, 3.6, None, EXACT),
        ("way", {"distance_m": -1}, 1.0, step_m, BY_POSITION),
        ("way by speed", {"interval_s": -1, "speed_kmh": -1}, 3.6, step_m, BY_POSITION),
        ("yield by speed", {**by_width, "speed_kmh": -1}, 36.0, None, EXACT),
    ]
    found: dict[str, _Relation] = {}
    for label, powers, constant, beside, most in asked:
        if not set(powers) <= set(x) or (label.startswith("way") and beside is None):
            continue
        if label == "yield by speed" and "yield" in found:
            continue
        parts = [np.full(next(iter(x.values())).size, constant) if beside is None else constant * beside]
        good = parts[0] > 0
        for name in powers:
            good &= x[name] > 0
        if good.sum() < LEAST:
            continue
        logs = np.log(parts[0][good]) + sum(p * np.log(x[name][good]) for name, p in powers.items())
        found[label] = (float(np.median(logs)), powers, most)
    return found


def may_be(name: str, values: FloatArray, worth: float) -> bool:
    """Whether the middle of the working records lies where a machine's can, in that unit."""
    known = MEANINGS[name]
    working = values[values != 0.0]
    working = working[~np.isnan(working)]
    return not working.size or known.low <= float(np.median(working)) * worth <= known.high

"""How moist does grain become in such air, may it be delivered so, and how long will it keep?

Moisture is wet basis unless a name says ``db``. Isotherms (modified Henderson and others) are guides: each carries the
± that is told to people. Equations, sources and the points that do not match: ``docs/method/air.md``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from chaffinch.engine.domain import FloatArray, Num, between, positive, single
from chaffinch.errors import InputError
from chaffinch.reference.grain_air import IsothermFigures, StorageDays

HUMIDITY_SPAN_PCT: Final = (10.0, 90.0)
"""Humidities at which an isotherm is asked [%]: above, the sets run apart and mould decides; own figure."""
TEMPERATURE_SPAN_C: Final = (-10.0, 60.0)
"""Temperatures at which an isotherm is asked [°C]; own figure around the published points (−1 to 32 °C)."""
CROMARTY_SPAN: Final = ((10.0, 70.0), (15.0, 25.0))
"""Humidity [%] and temperature [°C] for which the oil-aware form is stated, oilseeds (printed)."""

Grade = Literal["dry", "tough", "damp", "over"]
"""As the crop is sold: "over" where a country lists a limit but no further classes."""


@dataclass(frozen=True, slots=True)
class Limits:
    """Where grain stops selling as dry [% wet basis]; ``tough_from`` and ``damp_above`` where the country has them."""

    dry_up_to: float
    tough_from: float | None = None
    damp_above: float | None = None


def equilibrium_pct(isotherm: IsothermFigures, temperature_c: Num, humidity_pct: Num) -> Num:
    """Return the moisture at which grain stands still in such air [% wet basis].

    ``temperature_c`` [°C], −10 to 60; ``humidity_pct`` [%], 10 to 90. InputError beyond.
    """
    return wet_of_dry_pct(_equilibrium_db(isotherm, temperature_c, humidity_pct))


def humidity_of_grain_pct(isotherm: IsothermFigures, temperature_c: Num, moisture_pct: Num) -> Num:
    """Return the humidity of the air between kernels of that moisture [%]: the isotherm the other way round.

    ``moisture_pct`` [% wet basis], above 0 to below 60; ``temperature_c`` as in :func:`equilibrium_pct`.
    """
    celsius = between("temperature_c", temperature_c, *TEMPERATURE_SPAN_C)
    db = dry_of_wet_pct(between("moisture_pct", positive("moisture_pct", moisture_pct), 0.0, 60.0))
    a, b, c = isotherm.a.value, isotherm.b.value, isotherm.c.value
    if isotherm.model == "henderson":
        share = 1.0 - np.exp(-a * (celsius + c) * db**b)
    elif isotherm.model == "chung-pfost":
        share = np.exp(-a / (celsius + c) * np.exp(-b * db))
    elif isotherm.model == "halsey":
        share = np.exp(-np.exp(a + b * celsius) / db**c)
    else:
        share = 1.0 / (1.0 + ((a + b * celsius) / db) ** c)
    given: Num = temperature_c if isinstance(temperature_c, np.ndarray) else moisture_pct
    return 100.0 * np.asarray(share) if isinstance(given, np.ndarray) else float(100.0 * share)


def equilibrium_of_oil_seed_pct(oil_share_db: float, temperature_c: Num, humidity_pct: Num) -> Num:
    """Return the moisture in such air of seed with that much oil [% wet basis]: (1 − D)·√(−440 ln(1 − R))/(1.1 + T/90).

    Cromarty, Ellis and Roberts 1982 (printed in an R package). ``oil_share_db`` D [share of dry matter], 0 to 0.7;
    ``humidity_pct`` 10 to 70 %; ``temperature_c`` 15 to 25 °C.
    """
    oil = between("oil_share_db", single("oil_share_db", oil_share_db), 0.0, 0.7, "write 43 % as 0.43")
    humidity = between("humidity_pct", humidity_pct, *CROMARTY_SPAN[0])
    celsius = between("temperature_c", temperature_c, *CROMARTY_SPAN[1])
    given: Num = temperature_c if isinstance(temperature_c, np.ndarray) else humidity_pct
    db = (1.0 - oil) * np.sqrt(-440.0 * np.log1p(-humidity / 100.0)) / (1.1 + celsius / 90.0)
    return wet_of_dry_pct(np.asarray(db) if isinstance(given, np.ndarray) else float(db))


def dry_of_wet_pct(moisture_pct: Num) -> Num:
    """Return moisture on dry basis [%]: 100 w/(100 − w); ``moisture_pct`` [% wet basis], 0 to below 100."""
    wet = between("moisture_pct", moisture_pct, 0.0, 99.9)
    return 100.0 * wet / (100.0 - wet)


def wet_of_dry_pct(moisture_db_pct: Num) -> Num:
    """Return moisture on wet basis [%]: 100 d/(100 + d); ``moisture_db_pct`` [% dry basis], 0 or more."""
    dry = between("moisture_db_pct", moisture_db_pct, 0.0, 1e6)
    return 100.0 * dry / (100.0 + dry)


def grade(moisture_pct: float, limits: Limits) -> Grade:
    """Return how grain of that moisture sells, read to a tenth as the trade does.

    ``moisture_pct`` [% wet basis], 0 to below 100.
    """
    shown = round(between("moisture_pct", single("moisture_pct", moisture_pct), 0.0, 99.9) + 1e-9, 1)
    if limits.damp_above is not None and shown > limits.damp_above:
        return "damp"
    if limits.tough_from is not None and shown >= limits.tough_from:
        return "tough"
    return "dry" if shown <= limits.dry_up_to else "over"


def keeps_days(table: StorageDays, moisture_pct: float, temperature_f: float) -> float | None:
    """Return about how many days grain keeps [day]; None where the table says more than 300.

    Between rows and columns ln(days) runs straight (own figure; time doubles per 10 °F is printed). Where a corner is
    "more than 300" it counts as 300, so the answer leans to the safe side.

    ``moisture_pct`` [% wet basis] and ``temperature_f`` [°F] within the table; InputError beyond.
    """
    rows, columns = np.array(table.moisture_pct), np.array(table.temperature_f)
    wet = between("moisture_pct", single("moisture_pct", moisture_pct), float(rows[0]), float(rows[-1]))
    warm = between("temperature_f", single("temperature_f", temperature_f), float(columns[0]), float(columns[-1]))
    days = np.array([[300 if day is None else day for day in row] for row in table.days], dtype=np.float64)
    at_rows = [float(np.interp(warm, columns, np.log(row))) for row in days]
    found = float(np.exp(np.interp(wet, rows, at_rows)))
    return None if found >= 300.0 * (1 - 1e-9) else found


def cooling_h(hours_times_airflow: float, airflow_cfm_bu: float) -> float:
    """Return the hours that cooling a bin takes [h]: 15/airflow (printed); ``airflow_cfm_bu`` [cfm/bu], above 0."""
    return positive("hours_times_airflow", hours_times_airflow) / positive("airflow_cfm_bu", airflow_cfm_bu)


def _equilibrium_db(isotherm: IsothermFigures, temperature_c: Num, humidity_pct: Num) -> Num:
    celsius = between("temperature_c", temperature_c, *TEMPERATURE_SPAN_C)
    share = between("humidity_pct", humidity_pct, *HUMIDITY_SPAN_PCT, "isotherms hold from 10 to 90 %") / 100.0
    a, b, c = isotherm.a.value, isotherm.b.value, isotherm.c.value
    found: FloatArray | float
    if isotherm.model == "henderson":
        found = (-np.log1p(-share) / (a * (celsius + c))) ** (1.0 / b)
    elif isotherm.model == "chung-pfost":
        found = -np.log(-(celsius + c) * np.log(share) / a) / b
    elif isotherm.model == "halsey":
        found = (-np.exp(a + b * celsius) / np.log(share)) ** (1.0 / c)
    elif isotherm.model == "oswin":
        found = (a + b * celsius) / (1.0 / share - 1.0) ** (1.0 / c)
    else:
        raise InputError("model", isotherm.model, "is no isotherm", "use henderson, chung-pfost, halsey or oswin")
    given: Num = temperature_c if isinstance(temperature_c, np.ndarray) else humidity_pct
    return np.asarray(found) if isinstance(given, np.ndarray) else float(found)

"""Which isotherm stands for a crop, and how long may it be kept?

``isotherms.toml`` holds the constants of moisture in equilibrium with air, with the ± that is told to people;
``storage.toml`` what is printed on long storage and allowable days. Both are guides, and each figure keeps its source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from types import MappingProxyType

from chaffinch.errors import ReferenceDataError
from chaffinch.reference import loader
from chaffinch.reference.crops import crop_keys
from chaffinch.reference.loader import Figure, Table

MODELS = ("henderson", "chung-pfost", "halsey", "oswin")
_TINY_PCT = 0.1
"""A ± below this is no ± [% wet basis]."""


@dataclass(frozen=True, slots=True)
class IsothermFigures:
    """Constants of one isotherm.

    Parameters
    ----------
    key : str
        Its name: ``"wheat-hard"``.
    crops : tuple of str
        Keys of the crops it is used for; none where it is only compared.
    model : str
        One of :data:`MODELS`; the equations stand at the top of ``isotherms.toml``.
    a, b, c : Figure
        Its constants.
    plus_minus : Figure
        Half width of what is told to people. [% wet basis]
    """

    key: str
    crops: tuple[str, ...]
    model: str
    a: Figure
    b: Figure
    c: Figure
    plus_minus: Figure

    @property
    def figures(self) -> tuple[Figure, ...]:
        """Every figure of it."""
        return self.a, self.b, self.c, self.plus_minus


@dataclass(frozen=True, slots=True)
class StorageDays:
    """A table of the days that grain keeps.

    Parameters
    ----------
    key : str
        ``"cereal"`` or ``"soybean"``.
    crops : tuple of str
        Keys of its crops.
    temperature_f, moisture_pct : tuple of float
        Columns [°F] and rows [% wet basis], rising.
    days : tuple of tuple of int or None
        By row and column [day]; None: more than 300.
    source, origin : str
        Where it was read.
    """

    key: str
    crops: tuple[str, ...]
    temperature_f: tuple[float, ...]
    moisture_pct: tuple[float, ...]
    days: tuple[tuple[int | None, ...], ...] = field(hash=False)
    source: str
    origin: str


@lru_cache(maxsize=1)
def isotherms() -> Mapping[str, IsothermFigures]:
    """Return every isotherm by its key."""
    table = loader.read("isotherms.toml")
    found = {key: _isotherm(key, table.table(key)) for key in table.rows}
    used = [crop for one in found.values() for crop in one.crops]
    for crop in used:
        if used.count(crop) > 1 or crop not in crop_keys():
            raise ReferenceDataError(f"isotherms.toml: {crop}: is no crop, or has two isotherms")
    return MappingProxyType(found)


def isotherm_of(crop_key: str) -> IsothermFigures | None:
    """Return the isotherm used for a crop; None where none could be found."""
    return next((one for one in isotherms().values() if crop_key in one.crops), None)


@lru_cache(maxsize=1)
def long_term_pct() -> Mapping[str, Figure]:
    """Return the moisture for long storage by crop [% wet basis]; sunflower by sort."""
    table = loader.read("storage.toml").table("long_term")
    return MappingProxyType({key: table.figure(key, "%") for key in table.rows})


@lru_cache(maxsize=1)
def cooling() -> Figure:
    """Return hours × airflow of cooling a bin. [h·cfm/bu]"""
    return loader.read("storage.toml").table("cooling").figure("hours_times_airflow", "h cfm/bu")


@lru_cache(maxsize=1)
def storage_days() -> Mapping[str, StorageDays]:
    """Return the tables of allowable days by name."""
    table = loader.read("storage.toml").table("days")
    table.allow("source", "origin", "temperature_f", "cereal", "soybean")
    columns = _numbers(table, "temperature_f")
    found = {}
    for key in ("cereal", "soybean"):
        one = table.table(key)
        one.allow("crops", "moisture_pct", "days")
        rows, given = _numbers(one, "moisture_pct"), one.rows.get("days")
        if not isinstance(given, list) or [len(row) for row in given] != [len(columns)] * len(rows):
            raise one.damaged("days", f"must be {len(rows)} rows of {len(columns)}")
        days = tuple(tuple(int(day) or None for day in row) for row in given)
        names = one.texts("crops")
        found[key] = StorageDays(key, names, columns, rows, days, table.text("source"), table.text("origin"))
    return MappingProxyType(found)


def _numbers(table: Table, key: str) -> tuple[float, ...]:
    given = table.rows.get(key)
    if not isinstance(given, list) or sorted(set(given)) != given:
        raise table.damaged(key, "must be numbers that rise")
    return tuple(float(one) for one in given)


def _isotherm(key: str, table: Table) -> IsothermFigures:
    table.allow("crops", "model", "a", "b", "c", "plus_minus")
    model = table.text("model")
    if model not in MODELS:
        raise table.damaged("model", f"must be one of {', '.join(MODELS)}")
    found = IsothermFigures(
        key,
        table.texts("crops"),
        model,
        table.figure("a", None),
        table.figure("b", None, positive=False),
        table.figure("c", None),
        table.figure("plus_minus", "%"),
    )
    if found.plus_minus.value < _TINY_PCT:
        raise table.damaged("plus_minus", "is too small to be meant")
    return found

"""Which dictionary entry of a field log fills which column, and what is a record held against?

``fieldlog.toml`` holds both, each figure with its source. A default here is a starting point that can be set.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

from chaffinch.errors import ReferenceDataError
from chaffinch.reference import loader
from chaffinch.reference.loader import Figure

_FILE = "fieldlog.toml"
_MOST_DDI = 0xFFFF


@dataclass(frozen=True, slots=True)
class Entry:
    """An entry of the ISO 11783-11 dictionary: its number, the column it fills, and raw times ``factor``."""

    ddi: int
    column: str
    factor: Figure


@lru_cache(maxsize=1)
def entries() -> Mapping[int, Entry]:
    """Every dictionary entry that fills a column, by its number (DDI).

    Raises
    ------
    ReferenceDataError
        For a damaged file, a number beyond 16 bits, or one that stands there twice.
    """
    table = loader.read(_FILE).table("ddi")
    found: dict[int, Entry] = {}
    for column in table.rows:
        one = table.table(column)
        one.allow("ddi", "factor")
        ddi = one.number("ddi")
        if ddi != int(ddi) or ddi > _MOST_DDI or int(ddi) in found:
            raise one.damaged("ddi", "must be one number of 16 bits, used once")
        found[int(ddi)] = Entry(int(ddi), column, one.figure("factor", None))
    return MappingProxyType(found)


@lru_cache(maxsize=1)
def cleaning() -> Mapping[str, Figure]:
    """Every figure of the cleaning by its name, like ``"jump_factor"``."""
    table = loader.read(_FILE).table("cleaning")
    return MappingProxyType({name: table.figure(name, None) for name in table.rows})


def cleaning_figure(name: str) -> Figure:
    """One figure of the cleaning; raise ReferenceDataError when there is none of that name."""
    try:
        return cleaning()[name]
    except KeyError:
        raise ReferenceDataError(f"{_FILE}: no figure of the cleaning has the name {name!r}") from None

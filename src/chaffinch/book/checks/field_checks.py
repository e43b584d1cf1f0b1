"""What does each check of a field bring to its sum, which errors does it share with others, and what came of it all?

Worked out once and kept in memory for as long as the program runs, by all that it depends on: a server is asked for the
same season again after each new check, and only the field that has it is another one. Nothing of it is ever stored.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from chaffinch.book.checks.catches import Prepared, prepare
from chaffinch.book.checks.held import LoggedCheck
from chaffinch.engine import estimate as est
from chaffinch.engine.estimate import Prior
from chaffinch.engine.ledger.check import field_check
from chaffinch.engine.ledger.field import FieldCheck, FieldEntry, FieldLoss, field_loss
from chaffinch.engine.ledger.shared import SharedKey
from chaffinch.engine.ledger.sharing import SharedNames
from chaffinch.engine.sources import sources_seen
from chaffinch.records.check import Check

KEPT_CHECKS: Final = 2048
"""Checks kept [1], some 30 kB each; own figure: several seasons of a large farm."""
KEPT_FIELDS: Final = 128
"""Fields kept [1], some 300 kB each; own figure."""


@dataclass(frozen=True, slots=True)
class Filed:
    """A check and what it is filed under, as far as its errors are shared by it."""

    check: Check
    combine: str
    season: str

    @staticmethod
    def of(logged: LoggedCheck) -> Filed:
        """A check of the book."""
        return Filed(logged.check, *(str(logged.body.get(part) or "") for part in ("combine", "season")))


@dataclass(frozen=True, slots=True)
class FieldAsked:
    """A field's sum as it is asked for: all that it depends on.

    Attributes
    ----------
    name : str
        Id of the field.
    area_ha : float
        Its area [ha].
    checks : tuple of Filed
    price_per_t, yield_kg_ha : float or None
        Price [currency/t] and yield [kg/ha].
    crop : str
        Key of the crop; "" where the season does not matter.
    leak_with_machine : bool
        True: a leak caught apart is put back to its machine, as checks without a leak catch see it.
    seed : int
        Seed of the sampler.
    """

    name: str
    area_ha: float
    checks: tuple[Filed, ...]
    price_per_t: float | None
    yield_kg_ha: float | None
    crop: str
    leak_with_machine: bool
    seed: int

    def entry(self) -> FieldEntry:
        """The field as the engine sums it up."""
        return FieldEntry(
            self.name,
            self.area_ha,
            [from_check(one, leak_with_machine=self.leak_with_machine, seed=self.seed) for one in self.checks],
            price_per_t=self.price_per_t,
            yield_kg_ha=self.yield_kg_ha,
            crop=self.crop,
        )


@lru_cache(maxsize=KEPT_FIELDS)
def summed(asked: FieldAsked) -> FieldLoss:
    """What a field lost; errors as for :func:`chaffinch.engine.ledger.field.field_loss`, and none of them is kept."""
    return field_loss(asked.entry(), seed=asked.seed)


@lru_cache(maxsize=KEPT_CHECKS)
def from_check(filed: Filed, *, leak_with_machine: bool, seed: int) -> FieldCheck:
    """A check as its field needs it.

    Parameters
    ----------
    filed : Filed
    leak_with_machine : bool
        As in :class:`FieldAsked`.
    seed : int
        Seed of the sampler, where one is needed.
    """
    ready = prepare(filed.check)
    return field_check(
        ready.catches,
        priors_of(ready, filed.check.yield_kg_ha),
        shared_names(filed, ready),
        width_sd=ready.width_sd,
        leak_with_machine=leak_with_machine,
        seed=seed,
    )


def priors_of(ready: Prepared, yield_kg_ha: float | None) -> Mapping[str, Prior]:
    """Belief about each source a check saw, before it."""
    return {source: est.default_prior(source, yield_kg_ha) for source in sources_seen(ready.catches)}


def shared_names(filed: Filed, ready: Prepared) -> SharedNames:
    """Whose errors a check shares, by what is written in it.

    The same width written for one combine in one season was guessed, or taped, once. The same figure behind counts,
    volumes or flat layers of one crop was looked up, or measured, once. Pans are taken as one and the same.
    """
    combine, season = filed.combine, filed.season
    width = "" if ready.discharge_width_m is None else f"{ready.discharge_width_m:.4f} m"
    figures = ready.figures
    reading: SharedKey = (
        "reading",
        figures.crop.key,
        season,
        f"TKW {figures.tkw_g:g} g {'measured' if figures.tkw_measured else 'not measured'}",
        f"test weight {figures.test_weight_kg_hl:g} kg/hL",
    )
    return SharedNames(("width", combine, season, width, f"sd {ready.width_sd:g}"), reading)


def filed_checks(logged: Sequence[LoggedCheck]) -> tuple[Filed, ...]:
    """Checks of the book, in their order."""
    return tuple(Filed.of(one) for one in logged)

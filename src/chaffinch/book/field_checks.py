"""What does each check of a field bring to the field's sum, and which errors does it share with the others?"""

from __future__ import annotations

from collections.abc import Mapping

from chaffinch.book.catches import Prepared
from chaffinch.book.checks import LoggedCheck
from chaffinch.engine import estimate as est
from chaffinch.engine.estimate import Prior
from chaffinch.engine.ledger import FieldCheck
from chaffinch.engine.ledger_check import field_check
from chaffinch.engine.ledger_shared import SharedKey
from chaffinch.engine.sharing import SharedNames
from chaffinch.engine.sources import sources_seen


def from_check(logged: LoggedCheck, ready: Prepared, *, leak_with_machine: bool, seed: int) -> FieldCheck:
    """A logged check as its field needs it.

    Parameters
    ----------
    logged : LoggedCheck
        The version that counts.
    ready : Prepared
        Its catches.
    leak_with_machine : bool
        True: a leak caught apart is put back to its machine, as checks without a leak catch see it.
    seed : int
        Seed of the sampler, where one is needed.
    """
    return field_check(
        ready.catches,
        priors_of(ready, logged.check.yield_kg_ha),
        shared_names(logged, ready),
        width_sd=ready.width_sd,
        leak_with_machine=leak_with_machine,
        seed=seed,
    )


def priors_of(ready: Prepared, yield_kg_ha: float | None) -> Mapping[str, Prior]:
    """Belief about each source a check saw, before it."""
    return {source: est.default_prior(source, yield_kg_ha) for source in sources_seen(ready.catches)}


def shared_names(logged: LoggedCheck, ready: Prepared) -> SharedNames:
    """Whose errors a check shares, by what is written in it.

    The same width written for one combine in one season was guessed, or taped, once. The same figure behind counts,
    volumes or flat layers of one crop was looked up, or measured, once. Pans are taken as one and the same.
    """
    combine, season = (str(logged.body.get(part) or "") for part in ("combine", "season"))
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

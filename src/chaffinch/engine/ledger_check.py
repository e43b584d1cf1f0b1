"""What does a check bring to its field? Its evidence, and the names of the errors it shares with others.

One source read one way is evidence on the grid; anything else is a cloud from the joint posterior
(:mod:`chaffinch.engine.sources`), so that sources seen as a sum stay a sum. Errors common to all catches of a check are
left out of both and named instead: the reading's, the drop width's and the pan's. Errors that only some catches have
were learned from within the check, and stay in its cloud.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from chaffinch.engine.catch import PAN_SD
from chaffinch.engine.estimate import Prior
from chaffinch.engine.evidence import Catch, evidence
from chaffinch.engine.ledger import FieldCheck
from chaffinch.engine.ledger_chains import cloud_of_joint
from chaffinch.engine.ledger_shared import SharedKey
from chaffinch.engine.sources import common_scale_sd, locate, sources_seen
from chaffinch.errors import InputError


@dataclass(frozen=True, slots=True)
class SharedNames:
    """Whose errors a check shares: checks with the same key were wrong by the same factor.

    Attributes
    ----------
    width : SharedKey
        The drop or spread width, such as ``("width", "combine 2", "guessed", "2026")``.
    reading : SharedKey
        The figure behind counts, volumes or flat layers, such as ``("TKW", "canola", "from a table")``.
    pan : SharedKey
        The pan or frame, such as ``("pan", "tray 1")``.
    """

    width: SharedKey
    reading: SharedKey
    pan: SharedKey = ("pan",)


def field_check(
    catches: Sequence[Catch],
    priors: Mapping[str, Prior],
    names: SharedNames,
    *,
    width_sd: float,
    weight_ha: float | None = None,
    leak_with_machine: bool = False,
    seed: int = 1,
) -> FieldCheck:
    """Turn the catches of one check into what its field needs.

    Parameters
    ----------
    catches : sequence of Catch
        At least one that sees a loss.
    priors : mapping of str to Prior
        One for each source seen [kg/ha].
    names : SharedNames
        Keys of the shared errors.
    width_sd : float
        Sd of the log of the drop or spread width [1].
    weight_ha : float or None
        Area the check stands for [ha].
    leak_with_machine : bool
        True: a leak caught apart is put back to its machine.
    seed : int
        Seed of the sampler.

    Raises
    ------
    InputError
        When no catch sees a loss.
    SamplerError
        When the catches contradict each other beyond what the model can hold.
    """
    seen = sources_seen(catches)
    if not seen:
        raise InputError("catches", len(catches), "there is no catch that sees a loss", "take at least one")
    common = {names.pan: PAN_SD}
    kinds = {c.reading.kind for c in catches}
    reading_sd = max(c.reading.scale_sd for c in catches)
    if len(kinds) == 1 and reading_sd > 0.0:
        common[names.reading] = reading_sd
    leaning = [c.exposure.by_width for c in catches if c.exposure.machine_m2 > 0 or c.exposure.leak_m2 > 0]
    of_machine = common | ({names.width: width_sd} if leaning and all(leaning) and width_sd > 0.0 else {})
    shared = {s: of_machine if s == "machine" else common for s in seen}
    if len(seen) == 1 and common_scale_sd(catches, width_sd) is not None:
        return FieldCheck({seen[0]: evidence(catches, seen[0])}, shared, weight_ha)
    joint = locate(catches, priors, width_sd=width_sd, seed=seed)
    cloud = cloud_of_joint(joint, priors, leak_with_machine=leak_with_machine)
    return FieldCheck({}, {s: shared[s] for s in cloud.sources}, weight_ha, cloud)

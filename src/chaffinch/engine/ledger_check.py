"""What does a check bring to its field? Its evidence, and the names of the errors it shares with others.

One source read one way is evidence on the grid; anything else is a cloud from the joint posterior
(:mod:`chaffinch.engine.sources`), so that sources seen as a sum stay a sum. Errors that other checks have too are left
out of both and named instead, source by source (:mod:`chaffinch.engine.sharing`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from chaffinch.engine.estimate import Prior
from chaffinch.engine.evidence import Catch, evidence
from chaffinch.engine.ledger import FieldCheck
from chaffinch.engine.ledger_chains import cloud_of_joint
from chaffinch.engine.sharing import SharedNames, shared_by_source, without_shared_readings
from chaffinch.engine.sources import common_scale_sd, locate, sources_seen
from chaffinch.errors import InputError


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
    shared = shared_by_source(catches, names, width_sd=width_sd)
    if len(seen) == 1 and common_scale_sd(catches, width_sd) is not None:
        return FieldCheck({seen[0]: evidence(catches, seen[0])}, shared, weight_ha)
    joint = locate(without_shared_readings(catches), priors, width_sd=0.0, seed=seed)
    cloud = cloud_of_joint(joint, priors, leak_with_machine=leak_with_machine)
    return FieldCheck({}, {s: shared[s] for s in cloud.sources}, weight_ha, cloud)

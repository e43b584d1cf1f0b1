"""What does a check bring to its field? Its evidence, and the names of the errors it shares with others.

One source read one way is evidence on the grid; anything else is a cloud from the joint posterior
(:mod:`chaffinch.engine.sources`), so that sources seen as a sum stay a sum, and so is a loss that lies below the grid:
a leak catch of a minute stands for a thousand square metres and tells a drip of 0.01 kg/ha. Errors that other checks
have too are left out of both and named instead, source by source (:mod:`chaffinch.engine.ledger.sharing`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from chaffinch.engine.estimate import Prior
from chaffinch.engine.evidence import LN_LOSS, Catch, Evidence, evidence
from chaffinch.engine.ledger.chains import cloud_of_joint
from chaffinch.engine.ledger.field import FieldCheck
from chaffinch.engine.ledger.sharing import SharedNames, shared_by_source, without_shared_readings
from chaffinch.engine.sources import common_scale_sd, locate, sources_seen
from chaffinch.errors import InputError

RISES: Final = 0.1
"""Log-likelihood by which the lowest loss of the grid beats twice that loss where evidence is cut off [1]. Own
figure."""
_DOUBLE: Final = int(np.searchsorted(LN_LOSS, LN_LOSS[0] + math.log(2.0)))


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
        only = evidence(catches, seen[0])
        # Catches without a seed say of all lower losses alike: there is nothing below to find.
        if not (any(c.reading.mass_g > 0.0 for c in catches) and _below_the_grid(only)):
            return FieldCheck({seen[0]: only}, shared, weight_ha)
    joint = locate(without_shared_readings(catches), priors, width_sd=0.0, seed=seed)
    cloud = cloud_of_joint(joint, priors, leak_with_machine=leak_with_machine)
    return FieldCheck({}, {s: shared[s] for s in cloud.sources}, weight_ha, cloud)


def _below_the_grid(seen: Evidence) -> bool:
    """Whether evidence still rises where the grid begins, so that what lies below would be cut off."""
    log_likelihood = seen.log_likelihood
    return float(log_likelihood[0] - log_likelihood[_DOUBLE]) > RISES

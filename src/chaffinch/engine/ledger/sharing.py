"""Which errors does one check share with others, and how far does each move each of its sources?

A thousand-kernel weight from the table is wrong by one factor in every count of the crop, a drop width guessed once in
every pan that leans on it. Such an error is taken out of the check's own evidence, whatever else the check was read
by, and named with the sd it moves a source by; a curve, a field or a trial puts it back once. Left in, it would be
averaged over the checks as if each had been wrong in its own way: sixty checks would know a loss to a fifth of it.

Where all catches that see a source carry the error, it moves the source by all of it (exact: only the product of loss
and error is seen). Where some do (pans weighed beside frames counted), it moves the source by their share of what is
known of it, weighed by 1/c² and by how much of the catch is that source: normal theory, and an own figure.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtri

from chaffinch.engine.catch import PAN_SD
from chaffinch.engine.domain import FloatArray, not_negative
from chaffinch.engine.evidence import Catch
from chaffinch.engine.ledger.shared import Shared, SharedKey
from chaffinch.engine.sampling.sobol import sobol
from chaffinch.engine.sources import sources_seen


@dataclass(frozen=True, slots=True)
class SharedNames:
    """Whose errors a check shares: checks with the same key were wrong by the same factor.

    Attributes
    ----------
    width : SharedKey
        The drop or spread width, such as ``("width", "combine 2", "guessed", "2026")``.
    reading : SharedKey
        The figures behind counts, volumes or flat layers, such as ``("canola", "from a table")``.
    pan : SharedKey
        The pan or frame, such as ``("pan", "tray 1")``.
    """

    width: SharedKey
    reading: SharedKey
    pan: SharedKey = ("pan",)

    def of_kind(self, kind: str) -> SharedKey:
        """The error of one kind of reading: counts and volumes rest on different figures."""
        return (*((self.reading,) if isinstance(self.reading, str) else self.reading), kind)


@dataclass(frozen=True, slots=True)
class SharedByBoth:
    """Errors that move the curves of machine and header loss, some of them both alike.

    Attributes
    ----------
    machine, header : mapping of SharedKey to float
        Sd of the log by which each error moves the loss [1], 0 or more. A key in both is one error: where all catches
        were counted by one TKW, it is wrong for machine and header in the same draw.
    """

    machine: Shared
    header: Shared

    def factors(self, count: int, *, seed: int, first: int = 0) -> FloatArray:
        """Factors on machine and header loss by these errors, shape (count, 2) [1].

        Parameters
        ----------
        count : int
            Draws.
        seed : int
            Same seed, same factors.
        first : int
            First column of the Sobol sequence that is free.

        """
        return factors_together((self.machine, self.header), count, seed=seed, first=first)


def factors_together(parts: Sequence[Shared], count: int, *, seed: int, first: int = 0) -> FloatArray:
    """Factors on several losses by the errors each carries, those of one key moving together, shape (count, parts) [1].

    Parameters
    ----------
    parts : sequence of mapping of SharedKey to float
        For each loss, the sd of the log by which each error moves it [1], 0 or more.
    count : int
        Draws.
    seed : int
        Same seed, same factors.
    first : int
        First column of the Sobol sequence that is free; as many columns are used as there are parts.

    Notes
    -----
    Sums of independent normals are correlated normals, so as many columns are enough as there are losses, however many
    errors there are: covariance Σ sd_i·sd_j over the keys in both (exact), taken apart by Cholesky.
    """
    keys = sorted({key for part in parts for key in part}, key=repr)
    sds = np.array([[not_negative("shared error", part.get(key, 0.0)) for key in keys] for part in parts])
    z = ndtri(sobol(count, len(parts), seed=seed, first=first))
    result: FloatArray = np.exp(z @ _lower(sds @ sds.T).T)
    return result


def _lower(covariance: FloatArray) -> FloatArray:
    """Cholesky's triangle of a covariance that may be singular, as where two losses carry the very same errors."""
    lower = np.zeros_like(covariance)
    for i in range(len(covariance)):
        for j in range(i + 1):
            rest = covariance[i, j] - float(lower[i, :j] @ lower[j, :j])
            if i == j:
                # Rounding may leave a hair above or below nothing where every error is in others.
                lower[i, i] = math.sqrt(rest) if rest > 1e-12 * covariance[i, i] else 0.0
            elif lower[j, j] > 0.0:
                lower[i, j] = rest / lower[j, j]
    return lower


NOTHING_SHARED = SharedByBoth({}, {})
"""No error that checks share."""


def without_shared_readings(catches: Sequence[Catch]) -> list[Catch]:
    """The catches as if the figures behind their readings were exact."""
    return [replace(c, reading=replace(c.reading, scale_sd=0.0)) for c in catches]


def shared_by_source(
    catches: Sequence[Catch], names: SharedNames, *, width_sd: float
) -> dict[str, dict[SharedKey, float]]:
    """Sd of the log by which each shared error moves each source the catches see [1].

    Parameters
    ----------
    catches : sequence of Catch
        All catches of one check.
    names : SharedNames
        Keys of the errors.
    width_sd : float
        Sd of the log of the drop or spread width [1].
    """
    found: dict[str, dict[SharedKey, float]] = {}
    sds: dict[str, float] = {}
    for catch in catches:
        # Catches put together unlike carry several errors of one kind: the largest, as in ``sources``.
        sds[catch.reading.kind] = max(sds.get(catch.reading.kind, 0.0), catch.reading.scale_sd)
    for source in sources_seen(catches):
        found[source] = {names.pan: PAN_SD}
        for kind, sd in sds.items():
            part = _part(catches, source, [c.reading.kind == kind for c in catches])
            if sd * part > 0.0:
                found[source][names.of_kind(kind)] = sd * part
        part = _part(catches, source, [c.exposure.by_width for c in catches]) if source == "machine" else 0.0
        if width_sd * part > 0.0:
            found[source][names.width] = width_sd * part
    return found


def _part(catches: Sequence[Catch], source: str, chosen: Sequence[bool]) -> float:
    """Share of what is known of a source that comes from the chosen catches, 0 to 1."""
    seen = sources_seen(catches)
    weights = [_weight(c, source, seen) for c in catches]
    others = sum(w for w, yes in zip(weights, chosen, strict=True) if not yes)
    return 1.0 - others / sum(weights)


def _weight(catch: Catch, source: str, seen: Sequence[str]) -> float:
    whole = sum(catch.exposure.area_m2(s) for s in seen)
    return catch.exposure.area_m2(source) / whole / (catch.c0 * catch.exposure.variation_factor) ** 2

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
from chaffinch.engine.ledger_shared import Shared, SharedKey
from chaffinch.engine.sobol import sobol
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

        Notes
        -----
        Two sums of independent normals are two correlated normals, so two columns are enough however many errors
        there are: covariance Σ sd_machine·sd_header over the keys in both (exact).
        """
        sd_machine, sd_header = (
            math.hypot(0.0, *(not_negative("shared error", sd) for sd in part.values()))
            for part in (self.machine, self.header)
        )
        both = sum(sd * self.header[name] for name, sd in self.machine.items() if name in self.header)
        z = ndtri(sobol(count, 2, seed=seed, first=first))
        along = both / sd_machine if sd_machine > 0.0 else 0.0
        # Rounding may leave a hair below nothing where every error is in both.
        across = math.sqrt(max(0.0, sd_header**2 - along**2))
        result: FloatArray = np.exp(np.stack([sd_machine * z[:, 0], along * z[:, 0] + across * z[:, 1]], axis=1))
        return result


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

"""What is known of a phone or browser that was let in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

Role = Literal["owner", "crew", "reader"]
Kind = Literal["phone", "desk"]

ROLES: Final[tuple[Role, ...]] = ("owner", "crew", "reader")
"""From the one who may do everything to the one who may look."""


@dataclass(frozen=True, slots=True)
class Device:
    """A phone or browser that was let in.

    Attributes
    ----------
    id : str
        Its own, for listing and revoking; no secret.
    name : str
        As it was called when it came.
    role : {"owner", "crew", "reader"}
    kind : {"phone", "desk"}
    paired, seen : float
        When it came, and when it was last here, to the minute [s since 1970].
    revoked : float or None
        When it was shut out.
    """

    id: str
    name: str
    role: Role
    kind: Kind
    paired: float
    seen: float
    revoked: float | None

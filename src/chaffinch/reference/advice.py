"""What may be wrong with a machine, how it shows, and what can be changed: the shape of the advice tables.

The files stand in ``reference/advice``: ``causes.toml``, ``signs.toml``, ``changes.toml``, ``leaks.toml``,
``levels.toml`` and ``sources.toml``; :mod:`chaffinch.reference.advice_read` reads and checks them. Every number in them
is our own figure; what a row states has an origin: ``printed``, ``derived`` or ``memory`` with a source, or
``practice``: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from chaffinch.reference.advice_rows import ORIGINS

PARTS: Final = ("none", "header", "timing", "overall", "pace", "threshing", "separating", "cleaning", "leak")
SOURCES: Final = ("standing", "header", "machine", "leak")
MACHINES: Final = ("rotor", "walker")
HEADERS: Final = ("reel", "stripper", "corn")
"""Kinds of header a row may be for: with reel and knife, stripper, corn head."""
ANY: Final = "all"
OTHER: Final = "other"


@dataclass(frozen=True, slots=True)
class Origin:
    """Where a statement comes from: ``kind`` of :data:`ORIGINS`, and the keys of its sources (none for practice).

    ``deduced`` are sources from whose findings it was deduced beside those.
    """

    kind: str
    sources: tuple[str, ...] = ()
    deduced: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Cited:
    """A source as it was read; ``year`` None and ``number``, ``address`` empty where it gives none."""

    key: str
    title: str
    org: str
    year: int | None
    number: str
    address: str
    read: str


@dataclass(frozen=True, slots=True)
class Cause:
    """Something that may be wrong.

    Attributes
    ----------
    key, part, says : str
    odds : mapping of str to float
        Prior weight by crop group; ``"all"`` for groups not named.
    odds_for : mapping of str to float
        Factor on it by kind of machine, rotor or walker; 1 for one not named.
    lifts : mapping of str to (float, float)
        Loss over the usual by source, 5 and 95 % [1].
    machine, header, crop_is : str
        Only for this kind of machine, header, or for standing or windrowed crop; empty for all.
    origin : Origin
    """

    key: str
    part: str
    says: str
    odds: Mapping[str, float]
    odds_for: Mapping[str, float]
    lifts: Mapping[str, tuple[float, float]]
    machine: str
    header: str
    crop_is: str
    origin: Origin


@dataclass(frozen=True, slots=True)
class Says:
    """How much oftener answers are given under one cause (``cause``) or all of a part (``part``), and whence."""

    cause: str
    part: str
    times: Mapping[str, float]
    origin: Origin


@dataclass(frozen=True, slots=True)
class Sign:
    """Something that can be seen, or a question.

    Attributes
    ----------
    key, asks, how : str
        ``asks`` is empty for what only the check or the book can say.
    near : bool
        Whether a person must come near the machine to answer.
    effort : float
        What an answer costs against one from the seat [1].
    auto : str
        What of the check or book answers it; empty for none.
    answers : mapping of str to str
        Words of each answer by key.
    usual : mapping of str to float
        Share of each answer where the cause says nothing; sums to 1.
    says : tuple of Says
    """

    key: str
    asks: str
    how: str
    near: bool
    effort: float
    auto: str
    answers: Mapping[str, str]
    usual: Mapping[str, float]
    says: tuple[Says, ...]


@dataclass(frozen=True, slots=True)
class Effect:
    """What a change does to one loss (or to ``value``), 5 and 95 %.

    ``cause`` is empty for what it may spoil whatever the cause. Of ``helps``: loss after over before [1], or percent of
    the crop's value saved [%]. Of ``spoils``: percent added to that loss, of the crop's value, or of the time [%].
    """

    cause: str
    loss: str
    says: str
    low: float
    high: float
    origin: Origin


@dataclass(frozen=True, slots=True)
class Change:
    """One small step.

    Attributes
    ----------
    key, part, says, step, undo : str
    setting : str
        The setting it moves, as settings are named; empty where it moves none.
    way : str
        ``"+"``, ``"-"`` or empty.
    near : bool
        Whether it brings a person near the machine.
    minutes : float
        To make it [min].
    gate : str
        Sign that must say ``rises`` before it is shown; empty for none.
    machine, header, crop_is : str
        As of a cause.
    unfit : tuple of str
        Crop groups it is not for.
    helps, spoils : tuple of Effect
    rows : tuple of str
        Ids of the published rows that it is the adjustment of.
    """

    key: str
    part: str
    says: str
    step: str
    undo: str
    setting: str
    way: str
    near: bool
    minutes: float
    gate: str
    machine: str
    header: str
    crop_is: str
    unfit: tuple[str, ...]
    helps: tuple[Effect, ...]
    spoils: tuple[Effect, ...]
    rows: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LeakPlace:
    """A place of the leak walk."""

    key: str
    part: str
    says: str
    look: str
    mend: str
    origin: Origin


@dataclass(frozen=True, slots=True)
class AdviceTable:
    """All of it. ``usual_pct``: usual loss by crop group and source [% of yield]; ``figures``: see ``levels.toml``."""

    causes: tuple[Cause, ...]
    signs: tuple[Sign, ...]
    changes: tuple[Change, ...]
    leaks: tuple[LeakPlace, ...]
    groups: Mapping[str, tuple[str, ...]]
    usual_pct: Mapping[str, Mapping[str, float]]
    figures: Mapping[str, float]
    cited: Mapping[str, Cited]

    def group_of(self, crop: str) -> str:
        """Crop group of a crop's key; ``other`` for one that stands in none."""
        return next((name for name, keys in self.groups.items() if crop in keys), OTHER)

    def sign(self, key: str) -> Sign | None:
        """The sign of that key, or None."""
        return next((one for one in self.signs if one.key == key), None)

    def change(self, key: str) -> Change | None:
        """The change of that key, or None."""
        return next((one for one in self.changes if one.key == key), None)


__all__ = [
    "ORIGINS",
    "PARTS",
    "SOURCES",
    "AdviceTable",
    "Cause",
    "Change",
    "Cited",
    "Effect",
    "LeakPlace",
    "Says",
    "Sign",
]

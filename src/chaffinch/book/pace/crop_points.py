"""Which points do the checks of one crop give? Read once for all combines, and kept until the book goes on."""

from __future__ import annotations

from typing import Final

from chaffinch.book.checks.held import checks_where, counting
from chaffinch.book.checks.own_variation import with_learned
from chaffinch.book.checks.points import CheckPoint, points_of
from chaffinch.book.desk import Desk
from chaffinch.book.kept import Kept
from chaffinch.book.things import things
from chaffinch.how_far import Progress
from chaffinch.reference import crop as find_crop

_KEPT: Final[Kept[tuple[CheckPoint, ...]]] = Kept(12)
"""Crops, seasons apart; own figure: a farm has five, a page asks for one."""


def crop_points(
    desk: Desk, crop: str, *, season: str | None = None, seed: int = 1, progress: Progress | None = None
) -> tuple[CheckPoint, ...]:
    """The points of every check of a crop, whichever combine took it: a report asks for them once for each combine.

    Parameters
    ----------
    desk, season, seed, progress
        As for :func:`chaffinch.book.pace.curves.curves`.
    crop : str
        The crop, by name or key.

    Raises
    ------
    InputError
        For an unknown crop, or a check that cannot be answered.
    """
    name = find_crop(crop).key

    def work() -> tuple[CheckPoint, ...]:
        known = {one.id: one for one in things(desk)}
        logged = [c for c in counting(desk, checks_where(desk, season=season)) if find_crop(c.check.crop).key == name]
        return tuple(points_of(with_learned(desk, logged), known, seed=seed, progress=progress))

    return _KEPT.ask(desk, (name, season, seed), work)

"""What is asked of a field log, as a person writes it: whose curves, which price, which other pace?"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from chaffinch import units
from chaffinch.book.currency import MoneyTold, one_currency, read_told
from chaffinch.book.desk import Desk
from chaffinch.book.hour_plausible import meant
from chaffinch.book.log_losses import LogLoss, log_loss
from chaffinch.book.log_machines import told_machines
from chaffinch.book.log_zones import ZonesTold
from chaffinch.book.shown_unit import PaceUnit
from chaffinch.book.things import Thing

if TYPE_CHECKING:
    from chaffinch.fieldlog.answers import Answers

Called = Callable[[str], str]
"""How a face calls a figure in an error: ``hour_cost`` → ``--hour-cost`` on the command line."""


def asked_loss(
    desk: Desk,
    path: str | Path,
    answers: Answers,
    given: Mapping[str, str | None],
    *,
    combine: Thing | None,
    crop: str,
    unit: PaceUnit,
    called: Called,
    settings: Mapping[str, float] | None = None,
    season: str | None = None,
    zones: ZonesTold | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> tuple[LogLoss, str]:
    """What the field of a log lost, and the sign of all its money.

    Parameters
    ----------
    desk : Desk
        The open book.
    path, answers, settings, progress
        As for :func:`chaffinch.book.log_losses.log_loss`.
    given : mapping
        Texts by name, None or absent where not told: ``price``, ``hour_cost``, ``speed`` (another pace), ``fastest``,
        ``machine``; ``best`` is "yes" where the best pace is asked for; ``machine_is`` one ``NAME=COMBINE`` a line.
    combine : Thing or None
        The combine whose curves count; None: each machine's own.
    crop : str
        The crop.
    unit : PaceUnit
        Units of the page; its step makes the classes of speed.
    called : callable
        How this face calls a figure.
    season : str or None
        Id of the season whose checks count; None for all.
    zones : ZonesTold or None
        Areas to tell the loss of.

    Raises
    ------
    InputError
        For a figure that cannot be read, two currencies, or a log that cannot be summed.
    """
    told: list[MoneyTold] = []

    def money(name: str, kind: str, bushel_kg: float | None = None) -> float | None:
        text = given.get(name)
        if not text:
            return None
        told.append(read_told(text, kind, field=called(name), bushel_kg=bushel_kg))
        value = units.read_not_negative(text, kind, field=called(name), bushel_kg=bushel_kg).value
        return meant(value, field=called(name), shown=text) if kind == "money_rate" else value

    def speed(name: str) -> float | None:
        text = given.get(name)
        return units.read_positive(text, "speed", field=called(name)).value if text else None

    price, hour_cost = money("price", "price", unit.bushel_kg), money("hour_cost", "money_rate")
    one_currency(desk, told)
    found = log_loss(
        desk, combine, crop, path, answers, season=season, price_per_t=price, hour_cost_per_h=hour_cost,
        other_kmh=speed("speed"), fastest_kmh=speed("fastest"), best=given.get("best") == "yes",
        machine=given.get("machine") or None, machine_is=told_machines((given.get("machine_is") or "").splitlines()),
        zones=zones, class_kmh=2.0 * unit.step_kmh, settings=settings, progress=progress,
    )  # fmt: skip
    return found, one_currency(desk, [*told, *(stored.money for stored in found.stored)])

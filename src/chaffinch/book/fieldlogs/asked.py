"""What is asked of a field log, as a person writes it: whose curves, which price, which other pace?"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from chaffinch import units
from chaffinch.book.currency import MoneyTold, one_currency, read_told
from chaffinch.book.desk import Desk
from chaffinch.book.fieldlogs.losses import MEANT_KMH, LogLoss, log_loss
from chaffinch.book.fieldlogs.machines import told_machines
from chaffinch.book.fieldlogs.zones import ZonesTold
from chaffinch.book.hour_plausible import meant
from chaffinch.book.shown_unit import PaceUnit
from chaffinch.book.things import Thing
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.fieldlog.answers import Answers

Called = Callable[[str], str]
"""How a face calls a figure in an error: ``hour_cost`` → ``--hour-cost`` on the command line."""


def asked_money(
    text: str | None, kind: str, field: str, bushel_kg: float | None = None
) -> tuple[float | None, list[MoneyTold]]:
    """A price or the cost of an hour as a person writes it, and which money that is; None where nothing is told.

    Parameters
    ----------
    text : str or None
    kind : {"price", "money_rate"}
    field : str
        What errors call it.
    bushel_kg : float or None
        Weight of a bushel [kg], for a price by the bushel.

    Raises
    ------
    InputError
        For one that cannot be read, is below 0, or is more than any hour costs.
    """
    if not text:
        return None, []
    told = read_told(text, kind, field=field, bushel_kg=bushel_kg)
    value = units.read_not_negative(text, kind, field=field, bushel_kg=bushel_kg).value
    return (meant(value, field=field, shown=text) if kind == "money_rate" else value), [told]


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
        As for :func:`chaffinch.book.fieldlogs.losses.log_loss`.
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
    price, told = asked_money(given.get("price"), "price", called("price"), unit.bushel_kg)
    hour_cost, of_hour = asked_money(given.get("hour_cost"), "money_rate", called("hour_cost"))
    told += of_hour

    def speed(name: str) -> float | None:
        text = given.get(name)
        if not text:
            return None
        kmh = units.read_positive(text, "speed", field=called(name)).value
        low, high = MEANT_KMH
        if not low <= kmh <= high:
            problem = f"must be from {low:g} to {high:g} km/h"
            raise InputError(called(name), text, problem, "write a speed of a combine while cutting, like 6 km/h")
        return kmh

    if given.get("fastest") and given.get("best") != "yes":
        problem = "bounds the best pace, and that is not asked for"
        raise InputError(called("fastest"), given["fastest"], problem, "ask for the best pace, or leave it out")
    one_currency(desk, told)
    found = log_loss(
        desk, combine, crop, path, answers, season=season, price_per_t=price, hour_cost_per_h=hour_cost,
        other_kmh=speed("speed"), fastest_kmh=speed("fastest"), best=given.get("best") == "yes",
        machine=given.get("machine") or None, machine_is=told_machines((given.get("machine_is") or "").splitlines()),
        zones=zones, class_kmh=2.0 * unit.step_kmh, settings=settings, progress=progress,
    )  # fmt: skip
    return found, one_currency(desk, [*told, *(stored.money for stored in found.stored)])

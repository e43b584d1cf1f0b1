"""What the loss of a log's field is told with: the whole, each machine, joined checks, another pace."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from chaffinch.book.checks.plain_data import as_range
from chaffinch.book.checks.points import CheckPoint
from chaffinch.book.fieldlogs.large import LogWalked
from chaffinch.book.fieldlogs.one_log import LogCleaned
from chaffinch.book.fieldlogs.sensor import LogSensor
from chaffinch.book.fieldlogs.zones import ZoneLoss
from chaffinch.book.figures import plain_number
from chaffinch.book.pace.curves import Curves
from chaffinch.engine.estimate import Range
from chaffinch.engine.pace.best import Pace

if TYPE_CHECKING:
    from chaffinch.book.pace.hour_costs import StoredHour
    from chaffinch.fieldlog.loss.moments import Moment
    from chaffinch.fieldlog.loss.parts import Cell, ClassLoss


@dataclass(frozen=True, slots=True)
class JoinedCheck:
    """A check taken while the log ran: what the log says of that moment, and what was told in the check [km/h]."""

    id: str
    taken_at: str
    moment: Moment
    told_kmh: float | None


@dataclass(frozen=True, slots=True)
class OtherPace:
    """The same field at another pace.

    Attributes
    ----------
    speed_kmh : float
        NaN where each of several machines goes at a pace of its own.
    total_kg, saved_kg : Range
        Lost then, and how much less that is; below 0: more.
    hours, hours_more : float
        Time cutting then, and how much more that is [h]; of all machines together.
    beyond_share : float
        Share of the area at loads more than a tenth beyond those tested [0-1]; NaN without a test.
    money_saved : Range or None
        Grain saved at the price; None without one. Time is not in it.
    time_cost : float or None
        What the hours more cost [money], below 0 where hours are saved; None where no hour cost was told.
    gain : Range or None
        Grain saved less what the time costs [money]; None without a price and an hour cost.
    """

    speed_kmh: float
    total_kg: Range
    saved_kg: Range
    hours: float
    hours_more: float
    beyond_share: float
    money_saved: Range | None
    time_cost: float | None = None
    gain: Range | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LossSums:
    """What was lost on some part of a field, by one machine or by all.

    Attributes
    ----------
    total_kg, machine_kg, kg_ha : Range
        Header and machine together, machine alone [kg], and together per area [kg/ha].
    header_kg : Range or None
        None where no check saw a header: its loss comes on top. Of several machines, of those whose header was seen.
    money : Range or None
        None without a price.
    cut_ha, known_ha, hours : float
        Area cut, the part of it whose records count, time cutting; of all machines together.
    mean_kmh : float
        Speed of the way over the time cutting [km/h].
    beyond_share : float
        As in :class:`OtherPace`; of several machines, of those that were tested.
    other : OtherPace or None
        The pace asked for, or the best.
    """

    total_kg: Range
    machine_kg: Range
    header_kg: Range | None
    kg_ha: Range
    money: Range | None
    cut_ha: float
    known_ha: float
    hours: float
    mean_kmh: float
    beyond_share: float
    other: OtherPace | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineLoss(LossSums):
    """What one machine of a log lost on its part of the field.

    Attributes
    ----------
    called : str
        Its name in the log, ``unnamed`` without one.
    curves : Curves
        Of its combine, with the loads of joined checks.
    best : Pace or None
    sensor : LogSensor or None
    stored : StoredHour or None
        The hour cost of the book, where time was reckoned by it.
    """

    called: str
    curves: Curves
    best: Pace | None = None
    sensor: LogSensor | None = None
    stored: StoredHour | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LogLoss(LossSums):
    """What the field of a log lost.

    Attributes
    ----------
    log : LogCleaned or LogWalked
    machines : tuple of MachineLoss
        One or several; their draws are added world by world.
    joined : tuple of JoinedCheck
        Checks of these combines in this crop within the time of the log.
    by_speed, by_hour : tuple of ClassLoss
    squares : tuple of Cell
        The map.
    by_zone : tuple of ZoneLoss
        In the order of their file, and last what lies in none; empty without a file of zones.
    in_several : int
        Records that lie in several zones and count in the first.
    """

    log: LogCleaned | LogWalked
    machines: tuple[MachineLoss, ...]
    joined: tuple[JoinedCheck, ...]
    by_speed: tuple[ClassLoss, ...]
    by_hour: tuple[ClassLoss, ...]
    squares: tuple[Cell, ...]
    by_zone: tuple[ZoneLoss, ...] = ()
    in_several: int = 0

    @property
    def curves(self) -> Curves:
        """Curves of the only machine, or of the first."""
        return self.machines[0].curves

    @property
    def several(self) -> bool:
        """Whether several machines are summed."""
        return len(self.machines) > 1

    @property
    def combines(self) -> str:
        """Names of the combines."""
        return ", ".join(one.curves.combine.name for one in self.machines)

    @property
    def own(self) -> tuple[CheckPoint, ...]:
        """Checks of these combines behind their machine curves."""
        return tuple(point for one in self.machines for point in one.curves.own)

    @property
    def best(self) -> Pace | None:
        """The best pace of the only machine; of several, each has its own."""
        return None if self.several else self.machines[0].best

    @property
    def stored(self) -> tuple[StoredHour, ...]:
        """The hour costs of the book that time was reckoned by."""
        return tuple(one.stored for one in self.machines if one.stored is not None)

    @property
    def sensor(self) -> LogSensor | None:
        """The loss sensor of the only machine; of several, each has its own."""
        return None if self.several else self.machines[0].sensor


def measured(found: LogLoss) -> dict[str, Any]:
    """What the field lost as plain data, in kg, hectares and hours: what command and paper both tell."""
    return {
        **_amounts(found),
        "machines": [
            {
                "machine": one.called,
                "combine": one.curves.combine.name,
                "checks": len(one.curves.own),
                "load_kind": one.curves.load_kind,
                **_amounts(one),
                "best_kmh": None if one.best is None else one.best.best_kmh,
                "other_total_kg": None if one.other is None else as_range(one.other.total_kg),
                "saved_kg": None if one.other is None else as_range(one.other.saved_kg),
                "hour_cost_stored_with": None if one.stored is None else one.stored.of,
            }
            for one in found.machines
        ],
        "by_zone": [
            {
                "zone": one.name or None,
                "cut_ha": one.cut_ha,
                "counted_ha": one.known_ha,
                "total_kg": as_range(one.total_kg),
                "kg_ha": as_range(one.kg_ha),
                "money": as_range(one.money),
            }
            for one in found.by_zone
        ],
    }


def _amounts(one: LossSums) -> dict[str, Any]:
    return {
        "total_kg": as_range(one.total_kg),
        "machine_kg": as_range(one.machine_kg),
        "header_kg": as_range(one.header_kg),
        "kg_ha": as_range(one.kg_ha),
        "money": as_range(one.money),
        "cut_ha": one.cut_ha,
        "counted_ha": one.known_ha,
        "hours_cutting": one.hours,
    }


def hours_said(found: LogLoss, sign: str) -> list[str]:
    """By which stored hour costs the time was reckoned; of a combine among several, with its name."""
    said: dict[str, None] = {}
    for one in found.machines:
        if one.stored is not None:
            text = one.stored.said(f"{sign}{plain_number(one.stored.per_h)}")
            named = found.several and one.stored.of == "combine"
            said[f"{one.curves.combine.name}: {text}" if named else text] = None
    return list(said)

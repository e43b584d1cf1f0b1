"""What is told beside a check: the trial it belongs to, and what the loss monitor showed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

from chaffinch import units
from chaffinch.book.settings_alike import with_side
from chaffinch.errors import InputError
from chaffinch.units.numerals import alone

if TYPE_CHECKING:
    from chaffinch.book.desk import Desk
    from chaffinch.cli.options.filed import Filing

FLAGS: Final = (
    ("trial", "TEXT", "The trial it belongs to, by the beginning of its id."),
    ("side", "A|B", "Which side of the trial."),
    ("bar", "NUMBER", "What the loss monitor showed at this stop."),
    ("bar-per", "time|area", "Whether it counts hits per time or per area; else as last time."),
)


def file_beside(desk: Desk, given: Mapping[str, Any], found: Filing, crop: str | None = None) -> None:
    """Read the flags into a filing: the trial with its side and settings, the bar with the way it counts.

    ``crop``, where it is known already: how a bar counts may differ between crops.

    Raises
    ------
    InputError
        For a trial that is not there or another machine's, a side without a trial, a setting that is not the side's,
        a bar that is no number, whose way of counting nobody told, or that counts otherwise than before (unless
        ``--anyway``).
    """
    _trial(desk, given, found)
    _bar(desk, given, found, crop)


def bar_told(given: Mapping[str, Any]) -> dict[str, Any]:
    """What ``--bar``, ``--bar-per`` and ``--speed`` say of a reading: of ``reading``, ``per``, ``speed`` those given.

    Raises
    ------
    InputError
        For a bar that is no number or below 0, a way of counting that is neither, a speed that cannot be read.
    """
    told: dict[str, Any] = {}
    text, per, speed = given.get("bar"), given.get("bar_per"), given.get("speed")
    if text is not None:
        told["reading"] = alone(text, field="--bar", mend="write what the monitor shows, like 40")
        if not 0.0 <= told["reading"] < 1e9:
            raise InputError("--bar", text, "cannot be meant", "write what the monitor shows, 0 or more")
    if per is not None:
        if per not in ("time", "area"):
            raise InputError("--bar-per", per, "is neither", "write time or area")
        told["per"] = per
    if speed is not None:
        units.read_positive(speed, "speed", field="--speed")
        told["speed"] = speed
    return told


def _trial(desk: Desk, given: Mapping[str, Any], found: Filing) -> None:
    wanted, side = given.get("trial"), given.get("side")
    if wanted is None and side is None:
        return
    if wanted is None or side is None:
        missing = "--trial" if wanted is None else "--side"
        raise InputError(missing, None, "is missing beside the other", "give --trial ID and --side A or B")
    side = side.strip().upper()
    if side not in ("A", "B"):
        raise InputError("--side", given["side"], "is no side of a trial", "write A or B")
    from chaffinch.book.trials.trial import find_trial

    record = find_trial(desk, wanted)
    if record.combine is not None and found.where.setdefault("combine", record.combine.id) != record.combine.id:
        problem = f"is a trial on {record.combine.name}"
        raise InputError("--trial", wanted, problem, "leave --combine out, or name that one")
    if record.field is not None and "field" not in found.where:
        found.where["field"] = record.field.id
        if record.field.parts.get("season"):
            found.where["season"] = record.field.parts["season"]
    found.where |= {"trial": record.id, "side": side}
    # A side of a trial is its settings; what else the person tells stands beside them.
    found.settings = with_side(found.settings or (), record.settings, side, called="--setting")


def _bar(desk: Desk, given: Mapping[str, Any], found: Filing, crop: str | None) -> None:
    if given.get("bar") is None:
        if given.get("bar_per") is not None:
            raise InputError("--bar-per", given["bar_per"], "goes with --bar", "give --bar NUMBER too")
        return
    told = bar_told({"bar": given["bar"], "bar_per": given.get("bar_per")})
    if "combine" not in found.where:
        raise InputError("--bar", given["bar"], "belongs to no combine", "say which: --combine NAME")
    from chaffinch.book.checks.bars import counts_per, refuse_other_way

    if "per" not in told:
        told["per"] = counts_per(desk, found.where["combine"], crop)
        if told["per"] is None:
            raise InputError(
                "--bar-per", None, "is not told, and the book has no earlier bar", "add --bar-per time or area"
            )
    elif not given.get("anyway"):
        refuse_other_way(desk, found.where["combine"], told["per"], crop=crop, called="--bar-per")
    found.bar, found.other_way = told, bool(given.get("anyway"))

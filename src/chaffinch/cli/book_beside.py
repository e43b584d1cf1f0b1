"""What is told beside a check: the trial it belongs to, and what the loss monitor showed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.book.desk import Desk
    from chaffinch.cli.book_filing import Filing

FLAGS: Final = (
    ("trial", "TEXT", "The trial it belongs to, by the beginning of its id."),
    ("side", "A|B", "Which side of the trial."),
    ("bar", "NUMBER", "What the loss monitor showed at this stop."),
    ("bar-per", "time|area", "Whether it counts hits per time or per area; else as last time."),
)


def file_beside(desk: Desk, given: Mapping[str, Any], found: Filing) -> None:
    """Read the flags into a filing: the trial with its side and settings, the bar with the way it counts.

    Raises
    ------
    InputError
        For a trial that is not there or another machine's, a side without a trial, a bar that is no number or whose
        way of counting nobody told.
    """
    _trial(desk, given, found)
    _bar(desk, given, found)


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
    from chaffinch.book.trials import find_trial

    record = find_trial(desk, wanted)
    if record.combine is not None and found.where.setdefault("combine", record.combine.id) != record.combine.id:
        problem = f"is a trial on {record.combine.name}"
        raise InputError("--trial", wanted, problem, "leave --combine out, or name that one")
    if record.field is not None and "field" not in found.where:
        found.where["field"] = record.field.id
        if record.field.parts.get("season"):
            found.where["season"] = record.field.parts["season"]
    found.where |= {"trial": record.id, "side": side}
    if found.settings is None:
        # A side of a trial is its settings; what the person tells besides comes first.
        found.settings = [dict(one) for one in record.settings[side]]


def _bar(desk: Desk, given: Mapping[str, Any], found: Filing) -> None:
    text, per = given.get("bar"), given.get("bar_per")
    if text is None:
        if per is not None:
            raise InputError("--bar-per", per, "goes with --bar", "give --bar NUMBER too")
        return
    try:
        shown = float(text.replace(",", "."))
    except ValueError:
        raise InputError("--bar", text, "is not a number", "write what the monitor shows, like 40") from None
    if not 0.0 <= shown < 1e9:
        raise InputError("--bar", text, "cannot be meant", "write what the monitor shows, 0 or more")
    if "combine" not in found.where:
        raise InputError("--bar", text, "belongs to no combine", "say which: --combine NAME")
    if per is None:
        from chaffinch.book.monitors import counts_per

        per = counts_per(desk, found.where["combine"])
    if per is None:
        raise InputError(
            "--bar-per", None, "is not told, and the book has no earlier bar", "add --bar-per time or area"
        )
    if per not in ("time", "area"):
        raise InputError("--bar-per", per, "is neither", "write time or area")
    found.bar = {"reading": shown, "per": per}

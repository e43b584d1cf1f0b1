"""What a log's loss sensors showed beside checks, on the page of the log, with the button that notes it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fastapi import Request

from chaffinch.book.fieldlogs.bars import LogBar, LogBars, log_bars
from chaffinch.book.fieldlogs.machines import told_machines
from chaffinch.book.fieldlogs.said import doubts_said
from chaffinch.book.monitors.said import sensor_said
from chaffinch.book.things import Thing
from chaffinch.book.times import local
from chaffinch.book.version import book_version
from chaffinch.web.field_logs import KeptLog
from chaffinch.web.pages.answers import Working, longer_of
from chaffinch.web.pages.frame import Form, desk_of
from chaffinch.web.words.desk import words

if TYPE_CHECKING:
    from chaffinch.fieldlog.answers import Answers


@dataclass(frozen=True, slots=True)
class BarsTold:
    """The readings as the page shows them, and how many of them the book has not yet."""

    rows: list[list[str]]
    notes: list[str]
    new: int


def bars_of(request: Request, kept: KeptLog, combine: Thing | None, form: Form, answers: Answers) -> LogBars | Working:
    """The readings of a log beside the checks of a combine, or of each machine's own; nothing is written.

    Raises
    ------
    InputError
        As :func:`chaffinch.book.fieldlogs.bars.log_bars`.
    """
    desk = desk_of(request)
    machine, told = form.get("machine"), form.get("machine_is")
    key = ("log bars", book_version(desk), kept.token, combine and combine.id, machine, told, repr(answers))
    found: LogBars | Working = longer_of(request).ask(
        key,
        lambda step: log_bars(
            desk,
            combine,
            kept.path,
            answers,
            machine=machine or None,
            machine_is=told_machines(told.splitlines()),
            progress=step,
        ),
    )
    return found


def bars_told(found: LogBars) -> BarsTold:
    """Laid out for the page."""
    head = ["column.taken", "fieldlog.bars.sensor", "fieldlog.bars.reading", "fieldlog.bars.standing"]
    rows = [[words(key) for key in head]]
    rows += [
        [local(one.taken_at)[:16], sensor_said(one.sensor), _reading(one), words(f"fieldlog.bars.{one.standing}")]
        for one in found.bars
    ]
    notes = [
        words("fieldlog.bars.not", at=local(taken_at)[:16], why=doubts_said(doubts))
        for taken_at, doubts in found.unsteady.items()
    ]
    return BarsTold(rows if found.bars else [], notes, len(found.new))


def _reading(one: LogBar) -> str:
    if one.noted is not None and one.noted != one.reading:
        return words("fieldlog.bars.other", reading=f"{one.reading:g}", noted=f"{one.noted:g}")
    return f"{one.reading:g}"

"""What was changed in a field or season, and what did it bring? Its trials, each with its answer."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from chaffinch.book.desk import Desk
from chaffinch.book.figures import percent, range_words, rounded
from chaffinch.book.shown_unit import unit_of
from chaffinch.book.times import local
from chaffinch.book.trials.plain_data import as_json
from chaffinch.book.trials.said import VERDICT
from chaffinch.book.trials.trial import NoStopYetError, TrialRecord, answer_trial, trials
from chaffinch.errors import InputError, SamplerError
from chaffinch.paper.blocks import NAME, NUMBER, TEXT, WIDE, Block, heading, table, text
from chaffinch.paper.trial_told import what_changed
from chaffinch.paper.words import words


def trials_where(desk: Desk, wanted: Callable[[TrialRecord], bool]) -> list[TrialRecord]:
    """The trials that fit, by time."""
    return [one for one in trials(desk) if wanted(one)]


def changes(desk: Desk, records: list[TrialRecord], report_in: str | None) -> tuple[list[Block], list[dict[str, Any]]]:
    """A table of the trials, and their answers as plain data."""
    title = heading(words("report.changed"))
    if not records:
        return [title, text(words("report.changed.none"), soft=True)], []
    rows = [
        [
            "",
            words("report.changed.column"),
            words("report.changed.ratio"),
            words("column.verdict"),
            words("column.worth"),
        ]
    ]
    figures = []
    for one in records:
        row, data = _row(desk, one, report_in)
        rows.append(row)
        figures.append(data)
    said = {**text(words("report.changed.said"), soft=True), "may_go": True}
    return [title, table(rows, [TEXT, WIDE, NUMBER, NAME, NAME], shrinks="first", tall=3), said], figures


def _row(desk: Desk, record: TrialRecord, report_in: str | None) -> tuple[list[str], dict[str, Any]]:
    where = " · ".join(t.name for t in (record.combine, record.field) if t is not None)
    changed = f"{what_changed(record)} ({where})" if where else what_changed(record)
    day = local(record.taken_at)[:10]
    try:
        found = answer_trial(desk, record)
    except (InputError, SamplerError) as error:
        # Who holds the paper has no command line.
        early = isinstance(error, NoStopYetError)
        why = words("report.changed.no_stop") if early else words("report.changed.no_answer", why=str(error))
        return [day, changed, "", why, ""], {"id": record.id, "why": str(error)}
    answer = found.answer
    low, middle, high = (rounded(v, 2) for v in (answer.ratio.low, answer.ratio.median, answer.ratio.high))
    unit = unit_of(desk, found.crop, report_in=report_in)
    if answer.verdict == "not settled":
        # A middle alone would read as what the change brought.
        gain = words("report.changed.open")
    elif answer.gain_money_per_ha is not None:
        low_m, middle_m, high_m = (
            unit.money(v)
            for v in (answer.gain_money_per_ha.low, answer.gain_money_per_ha.median, answer.gain_money_per_ha.high)
        )
        gain = f"{middle_m} per {unit.loss.land} ({low_m} to {high_m})"
    else:
        least, most_likely, most = range_words(answer.gain_kg_ha.times(unit.loss.factor))
        gain = f"{most_likely} {unit.loss.name} ({least} to {most})"
    verdict = VERDICT[answer.verdict].format(chance=percent(answer.p_b_less))
    return [day, changed, f"{middle} ({low} to {high})", verdict, gain], as_json(found)

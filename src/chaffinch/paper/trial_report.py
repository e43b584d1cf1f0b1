"""The report of one trial: the ratio of B to A, its stops, what the change brought, and what it rests on."""

from __future__ import annotations

from chaffinch.book.desk import Desk
from chaffinch.book.shown_unit import farm_of, unit_of
from chaffinch.book.times import local
from chaffinch.book.trials.plain_data import as_json
from chaffinch.book.trials.trial import TrialRecord, TrialSource, answer_trial
from chaffinch.book.wording import CAUTION
from chaffinch.how_far import Progress
from chaffinch.paper import blocks
from chaffinch.paper.behind import corrections, method, prices
from chaffinch.paper.blocks import NAME, NUMBER, TEXT, Block, Report
from chaffinch.paper.told import Amount
from chaffinch.paper.trial_told import Told, told_of, what_changed
from chaffinch.paper.wanted import Wanted, price_said
from chaffinch.paper.words import words


def trial_report(
    desk: Desk,
    record: TrialRecord,
    wanted: Wanted,
    *,
    source: TrialSource = "machine",
    progress: Progress | None = None,
) -> Report:
    """The report of a trial.

    Parameters
    ----------
    desk : Desk
        The open book.
    record : TrialRecord
        The trial.
    wanted : Wanted
        What the report is to be like.
    source : {"machine", "header", "judged"}
        Which loss.
    progress : callable or None
        Called with (done, of).

    Raises
    ------
    InputError, SamplerError
        When it has no stop, or none that saw this loss.
    """
    found = answer_trial(desk, record, source=source, progress=progress)
    unit = unit_of(desk, found.crop, report_in=wanted.report_in)
    if not unit.loss.currency:
        farm = farm_of(desk)
        unit = unit.in_currency("" if farm is None else str(farm.parts.get("currency", "")))
    told = told_of(found, unit)
    where = [t.title for t in (record.combine, record.field) if t is not None]
    price = None
    if found.price_per_t is not None:
        price = price_said(found.price_per_t, unit.loss.currency, unit.bushel_kg)
    logged = [point.logged for point in found.points]
    body = _blocks(told, wanted)
    body += corrections(desk, logged, feet=unit.loss.land == "ac", short=wanted.short)
    body += prices([(found.crop, price)] if price else [])
    if not wanted.short:
        sources = ["header", "machine"] if source == "judged" else [source]
        body += method(["trial"], sources)
    return Report(
        "trial",
        f"{words('report.trial')}: {what_changed(record)}",
        (*where, local(record.taken_at), words("trial.title", id=record.id[:8])),
        wanted.date,
        wanted.size,
        wanted.short,
        body,
        wanted.footer(),
        as_json(found),
        (record.id, *(one.id for one in logged)),
        "" if found.price_per_t is None else f"{found.price_per_t!r} /t",
    )


def _blocks(told: Told, wanted: Wanted) -> list[Block]:
    made: list[Block] = [
        blocks.big(Amount("", told.middle, "", ""), told.what),
        blocks.picture(told.ruler, wanted.size),
        blocks.verdict(told.shape, told.verdict.partition(":")[0], told.verdict),
        *(blocks.text(line) for line in told.gain),
        blocks.caution(CAUTION),
        blocks.text(told.next_step),
        blocks.heading(words("trial.stops")),
    ]
    if not wanted.short:
        made.append(blocks.picture(told.stops_drawing, wanted.size))
    head, *stops = ([row[0], row[1][:8], *row[2:]] for row in told.stops)
    cols = [TEXT, TEXT, NAME, *[NUMBER] * (len(head) - 3)]
    made.append(blocks.table([head, *stops], cols, shrinks="first"))
    return made + blocks.notes(words("mind"), told.notes)

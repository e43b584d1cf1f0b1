"""``chaffinch trial``: this setting or that, from the stops of a trial in the book."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import click

from chaffinch import units
from chaffinch.book.times import local
from chaffinch.cli.options.which_book import book_option, open_the_book, print_json, progress
from chaffinch.cli.terminal.page import Page
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.book.desk import Desk
    from chaffinch.book.trials.trial import TrialFound, TrialRecord
    from chaffinch.cli.pace_page import PaceUnit

STARTING: Final = (("--a", "side_a"), ("--b", "side_b"), ("--field", "field"), ("--note", "note"))
SHAPE: Final = {"keep B": "▸", "go back": "◂", "not settled": "◆"}


@click.command("trial")
@book_option
@click.argument("trial", metavar="[TRIAL]", required=False)
@click.option("--source", type=click.Choice(["machine", "header", "judged"]), default="machine", show_default=True,
              help="Which loss to compare; judged is header and machine together.")  # fmt: skip
@click.option("--combine", metavar="NAME", help="List only trials of this combine.")
@click.option("--price", metavar="TEXT", help="Price of the grain, instead of the field's.")
@click.option("--area-per-day", metavar="TEXT", help='Area combined on a day, like "60 ha": the gain by day.')
@click.option("--start", is_flag=True, help="Start a new trial from --combine, --a and --b.")
@click.option("--a", "side_a", metavar='NAME="NUMBER UNIT"', multiple=True, help="With --start: as it is set now.")
@click.option("--b", "side_b", metavar='NAME="NUMBER UNIT"', multiple=True, help="With --start: what is tried.")
@click.option("--field", "field", metavar="NAME", help="With --start: the field.")
@click.option("--note", metavar="TEXT", help="With --start: why.")
@click.option("--json", "as_data", is_flag=True, help="Print as JSON.")
def command(address: str | None, trial: str | None, as_data: bool, **given: Any) -> None:
    """Say whether the setting tried (B) loses less than the one before (A).

    TRIAL is a trial of the book, by the beginning of its id; without it, the trials are listed. Stops are taken in turn
    (A, B, A): log each with --trial and --side. Whatever error the catches share cancels in the ratio.
    """
    from chaffinch.book.currency import read_told
    from chaffinch.book.trials.trial import answer_trial, find_trial
    from chaffinch.cli.pace_page import unit_of

    desk = open_the_book(address)
    if given["start"]:
        _start(desk, trial, given, as_data=as_data)
        return
    loose = next((flag for flag, name in STARTING if given[name]), None)
    if loose is not None:
        raise InputError(loose, None, "goes with --start", "add --start, or leave it out")
    if trial is None:
        _list(desk, given["combine"], as_data=as_data)
        return
    with progress("Reading the book"):
        record = find_trial(desk, trial)
    crop = None if record.field is None else record.field.parts.get("crop")
    bushel = None if crop is None else unit_of(desk, crop).bushel_kg
    price = given["price"]
    area = given["area_per_day"]
    money = [] if price is None else [read_told(price, "price", field="--price", bushel_kg=bushel)]
    with progress("Reading the checks") as step:
        found = answer_trial(
            desk,
            record,
            source=given["source"],
            price_per_t=None
            if price is None
            else units.read_positive(price, "price", field="--price", bushel_kg=bushel).value,
            area_per_day_ha=None if area is None else units.read_positive(area, "land", field="--area-per-day").value,
            money=money,
            progress=step,
        )
    if as_data:
        from chaffinch.book.trials.plain_data import as_json

        print_json(as_json(found))
        return
    _show(found, Page.here(), unit_of(desk, found.crop))


def _start(desk: Desk, trial: str | None, given: dict[str, Any], *, as_data: bool) -> None:
    from chaffinch.book.trials.plain_data import record_as_json
    from chaffinch.book.trials.said import SEVERAL
    from chaffinch.book.trials.trial import start_trial
    from chaffinch.book.wording import CAUTION
    from chaffinch.cli.options.filing import one_thing, read_settings
    from chaffinch.cli.pace import only_combine

    if trial is not None:
        raise InputError("TRIAL", trial, "is given together with --start", "leave one of them out")
    field = None if given["field"] is None else one_thing(desk, "field", given["field"], flag="--field")
    record = start_trial(
        desk,
        only_combine(desk, given["combine"]),
        read_settings(given["side_a"], "--a"),
        read_settings(given["side_b"], "--b"),
        field=field,
        note=given["note"] or "",
    )
    if as_data:
        print_json(record_as_json(record))
        return
    page = Page.here()
    page.say()
    page.paragraph(f"saved trial {record.id[:8]} · {_title(record)}")
    page.paragraph(_what_changed(record))
    if len(record.changed.names) > 1:
        page.paragraph(SEVERAL.format(names=", ".join(record.changed.names)), bullet="· ")
    page.say()
    page.paragraph(CAUTION, bullet="! ")
    page.paragraph(
        f"Next: stops in turn, A, B, B, A, at one speed in even crop. Log each with --trial {record.id[:8]} "
        "and --side A or B."
    )
    page.say()


def _list(desk: Desk, combine: str | None, *, as_data: bool) -> None:
    from chaffinch.book.trials.plain_data import record_as_json
    from chaffinch.book.trials.trial import trials
    from chaffinch.cli.options.filing import one_thing

    only = None if combine is None else one_thing(desk, "combine", combine, flag="--combine", retired=True).id
    with progress("Reading the book"):
        found = trials(desk, combine=only)
    if as_data:
        print_json([record_as_json(one) for one in found])
        return
    page = Page.here()
    page.say()
    if not found:
        page.paragraph("No trial is in the book yet: chaffinch trial --start starts one.")
    for one in found:
        page.say(f"  {one.id[:8]}  {local(one.taken_at)}  {_title(one)}")
        page.paragraph(_what_changed(one), indent=12)
    page.say()


def _title(record: TrialRecord) -> str:
    return " · ".join(t.name for t in (record.combine, record.field) if t is not None)


def _what_changed(record: TrialRecord) -> str:
    names = record.changed.names
    told = [f"{name} {record.a.get(name, 'not told')} against {record.b.get(name, 'not told')}" for name in names]
    return ", ".join(told) if told else "no setting differs"


def _show(found: TrialFound, page: Page, unit: PaceUnit) -> None:
    from chaffinch.book.figures import percent, range_words, rounded
    from chaffinch.book.trials.said import CAUTIONS, LOOKING, VERDICT, about_settings, about_stops, next_step
    from chaffinch.book.wording import CAUTION
    from chaffinch.cli.terminal.ruler import ruler

    answer = found.answer
    low, middle, high = (rounded(v, 2) for v in (answer.ratio.low, answer.ratio.median, answer.ratio.high))
    what = {"machine": "machine loss", "header": "header loss", "judged": "header and machine loss"}[answer.source]
    page.say()
    page.two_ends(f"Trial {found.record.id[:8]}", _title(found.record))
    page.paragraph(_what_changed(found.record))
    page.say()
    page.figure(f"{middle} times", f"the {what} of A under B, likely {low} to {high}")
    page.say()
    for line in ruler(answer.ratio, "times A", 1.0, width=min(60, page.width - 14), fine=page.fine):
        page.say("  " + line)
    page.say()
    verdict = VERDICT[answer.verdict].format(chance=percent(answer.p_b_less))
    page.paragraph(f"{SHAPE[answer.verdict]} {verdict}", emphasis=verdict.split(":")[0])
    page.say()
    _stops(found, page, unit)
    page.say()
    gain = answer.gain_kg_ha.times(unit.loss.factor)
    page.paragraph(
        f"B leaves {' to '.join((range_words(gain)[0], range_words(gain)[2]))} {unit.loss.name} less on the ground "
        f"than A (middle {range_words(gain)[1]})."
    )
    if answer.gain_money_per_ha is not None:
        r = answer.gain_money_per_ha
        day = answer.gain_money_per_day
        by_day = "" if day is None else f"; {unit.sign}{rounded(day.median, 0)} a day"
        page.paragraph(
            f"That is {unit.money(r.median)} per {unit.loss.land} (likely {unit.money(r.low)} to {unit.money(r.high)})"
            f"{by_day}."
        )
    page.paragraph(CAUTION, bullet="! ")
    page.paragraph(f"Next: {next_step(found)}")
    if answer.verdict == "not settled":
        page.paragraph(LOOKING)
    page.say()
    for text in [*about_settings(found), *(CAUTIONS[c] for c in answer.cautions), *about_stops(found)]:
        page.paragraph(text, bullet="· ")
    if answer.source == "machine":
        page.paragraph("Machine only: what the header loses is not in it.", bullet="· ")
    page.say()


def _stops(found: TrialFound, page: Page, unit: PaceUnit) -> None:
    from chaffinch.book.figures import plain_number, range_words
    from chaffinch.book.trials.trial import stop_range

    rows = [["", "check", "when", unit.speed, "low", "middle", "high"]]
    for point, side in zip(found.points, found.sides, strict=True):
        speed = "" if point.speed_kmh is None else plain_number(unit.speeds(point.speed_kmh), 2)
        r = stop_range(point, found.answer.source).times(unit.loss.factor)
        rows.append([side, point.logged.id[:8], local(str(point.logged.body["taken_at"])), speed, *range_words(r)])
    page.print_table(rows, left=3)

"""``chaffinch advise``: what is most likely wrong, what would tell, and the one step worth trying."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import click

from chaffinch import units
from chaffinch.cli.options.which_book import book_option, open_the_book, print_json, progress
from chaffinch.cli.terminal.files import read_bytes
from chaffinch.cli.terminal.page import Page
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.book.advice.advise import AdviceFound, AdviceTerms
    from chaffinch.book.checks.held import LoggedCheck
    from chaffinch.book.desk import Desk
    from chaffinch.records.check import Check

SKIP = "?"
"""What a person types who cannot answer; kept out of the answers."""


@click.command("advise")
@book_option
@click.argument("check", metavar="[CHECK]", required=False)
@click.option("--combine", metavar="NAME", help="Its last check in the book, instead of CHECK.")
@click.option("--crop", metavar="NAME", help="With --combine: its last check in this crop.")
@click.option("--answer", "answers", metavar="QUESTION=ANSWER", multiple=True, help="An answer; repeat.")
@click.option("--questions", is_flag=True, help="List all questions with their answers.")
@click.option("--no-questions", is_flag=True, help="Ask nothing, also on a terminal.")
@click.option("--machine", type=click.Choice(["rotor", "walker"]), help="Kind of machine, where no combine tells it.")
@click.option("--header", type=click.Choice(["draper", "auger", "stripper", "pick-up", "corn", "other"]),
              help="Kind of header, where no combine tells it.")  # fmt: skip
@click.option("--price", metavar="TEXT", help="Price of the grain, instead of the check's.")
@click.option("--stop-cost", metavar="TEXT", help='What an hour of standing costs, like "250 /h".')
@click.option("--area-left", metavar="TEXT", help='Area a step would work on, like "40 ha".')
@click.option(
    "--hour-cost",
    metavar="TEXT",
    help='What an hour of combining costs, like "450 /h", else what the book stores: needed for "slower".',
)
@click.option("--keep", is_flag=True, help="Keep the answers in the book, beside the check.")
@click.option("--take-back", metavar="QUESTION", multiple=True, help="Take an answer back that was kept; repeat.")
@click.option("--tried", metavar="CHANGE=OUTCOME", help="Note in the book what a step did: helped, none or worse.")
@click.option("--leak-walk", is_flag=True, help="The places to look for leaks, and how to measure one.")
@click.option("--json", "as_data", is_flag=True, help="Print as JSON.")
def command(address: str | None, check: str | None, as_data: bool, **given: Any) -> None:
    """Say what is most likely wrong, what would tell, and which one step is worth trying.

    CHECK is a check file (- reads standard input); with --book, the id of a check of that book. Questions are asked on
    a terminal, the most telling first, six at most; elsewhere --answer gives answers. "Nothing worth changing" and
    "measure first" are answers too.
    """
    if given["leak_walk"]:
        from chaffinch.cli.advise_page import leak_walk

        leak_walk(Page.here(), as_data=as_data)
        return
    if given["questions"]:
        from chaffinch.cli.advise_page import all_questions

        all_questions(Page.here(), as_data=as_data)
        return
    file, desk, logged = _which(address, check, given)
    terms = _terms(given, file if logged is None else logged.check)
    beside = [flag for flag in ("tried", "keep", "answers") if given[flag]]
    if given["take_back"] and beside:
        flag = "--answer" if beside[0] == "answers" else f"--{beside[0]}"
        raise InputError("--take-back", None, f"is given together with {flag}", "say one after the other")
    if desk is not None and logged is not None and given["tried"]:
        _keep_tried(desk, logged, given["tried"], as_data=as_data)
        return
    if desk is not None and logged is not None and given["take_back"]:
        _take_back(desk, logged, given["take_back"], as_data=as_data)
        return
    if given["tried"] or given["take_back"] or (given["keep"] and desk is None):
        flag = "--tried" if given["tried"] else "--take-back" if given["take_back"] else "--keep"
        raise InputError(flag, None, "needs a check of a book", "add --book ADDRESS, or --combine NAME")

    from chaffinch.book.advice.advise import advise_file, advise_known, known_of

    known = None
    if desk is not None and logged is not None:
        with progress("Reading the checks") as step:
            known = known_of(desk, logged, progress=step)

    def found(now: AdviceTerms) -> AdviceFound:
        if desk is None or known is None:
            assert file is not None
            return advise_file(file, now)
        return advise_known(desk, known, now)

    said = found(terms)
    if not as_data and not given["no_questions"]:
        said = _talk(said, terms, found)
    kept = ""
    if given["keep"] and desk is not None and logged is not None:
        from chaffinch.book.advice.kept import keep_answers

        kept = keep_answers(desk, logged.id, _by_person(said), versions=logged.versions.all).how
    if as_data:
        from chaffinch.book.advice.plain_data import as_json

        print_json(as_json(said))
        return
    from chaffinch.cli.advise_page import show

    show(said, Page.here(), kept=kept)


def _which(
    address: str | None, check: str | None, given: dict[str, Any]
) -> tuple[Check | None, Desk | None, LoggedCheck | None]:
    """The check asked about: of a file, of a book by its id, or the last of a combine."""
    if given["crop"] is not None and given["combine"] is None:
        raise InputError("--crop", given["crop"], "goes with --combine", "name the combine, or leave it out")
    if check is not None and given["combine"] is not None:
        raise InputError("--combine", given["combine"], "is given together with CHECK", "leave one of them out")
    if check is not None and address is None:
        from chaffinch.records.checkfile import read_check_file

        return read_check_file(read_bytes(check), name=check), None, None
    # Only now: a book brings a database library along, and a check file must not wait for it.
    from chaffinch.book.advice.advise import last_check
    from chaffinch.book.checks.held import find_check
    from chaffinch.cli.pace import only_combine

    desk = open_the_book(address)
    if check is not None:
        return None, desk, find_check(desk, check)
    return None, desk, last_check(desk, only_combine(desk, given["combine"]), given["crop"])


def _terms(given: dict[str, Any], check: Check | None) -> AdviceTerms:
    from chaffinch.book.advice.advise import AdviceTerms
    from chaffinch.book.currency import read_told

    bushel = None if check is None else check.bushel_kg
    money = [
        read_told(given[name], kind, field=f"--{name.replace('_', '-')}", bushel_kg=bushel if kind == "price" else None)
        for name, kind in (("price", "price"), ("stop_cost", "money_rate"), ("hour_cost", "money_rate"))
        if given[name] is not None
    ]
    return AdviceTerms(
        answers=read_answers(given["answers"]),
        machine=given["machine"] or "",
        header=given["header"] or "",
        price_per_t=_told(given["price"], "price", "--price", bushel),
        stop_cost_per_h=_told(given["stop_cost"], "money_rate", "--stop-cost"),
        area_left_ha=None
        if given["area_left"] is None
        else units.read_positive(given["area_left"], "land", field="--area-left").value,
        hour_cost=_told(given["hour_cost"], "money_rate", "--hour-cost"),
        money=money,
    )


def _told(text: str | None, kind: str, flag: str, bushel_kg: float | None = None) -> float | None:
    return None if text is None else units.read_not_negative(text, kind, field=flag, bushel_kg=bushel_kg).value


def read_answers(told: tuple[str, ...]) -> dict[str, str]:
    """Answers by question.

    Raises
    ------
    InputError
        For one that is not of the form QUESTION=ANSWER, or a question answered twice.
    """
    found: dict[str, str] = {}
    for text in told:
        question, equals, answer = (part.strip() for part in text.partition("="))
        if not equals or not question or not answer:
            raise InputError("--answer", text, "is no answer", "write it like found=chaff; --questions lists them")
        if question in found:
            raise InputError("--answer", question, "is answered twice", "give it once")
        found[question] = answer
    return found


def _keep_tried(desk: Desk, logged: LoggedCheck, told: str, *, as_data: bool) -> None:
    from chaffinch.book.advice.kept import keep_tried

    change, equals, outcome = (part.strip() for part in told.partition("="))
    words = {"helped": "helped", "none": "without effect", "worse": "made it worse"}
    if not equals or outcome not in words:
        raise InputError("--tried", told, "says no outcome", "write it like fan_down=helped, =none or =worse")
    note = keep_tried(desk, logged.id, change, words[outcome])
    if as_data:
        print_json({"note": note, "check": logged.id, "change": change, "outcome": words[outcome]})
        return
    Page.here().paragraph(f"noted beside check {logged.id[:8]}: {change}, {words[outcome]}")


def _take_back(desk: Desk, logged: LoggedCheck, told: tuple[str, ...], *, as_data: bool) -> None:
    from chaffinch.book.advice.kept import TAKEN_BACK, answers_kept, keep_answers

    kept = answers_kept(desk, logged.versions.all)
    for question in told:
        if question not in kept:
            mend = f"kept are {', '.join(sorted(kept))}" if kept else "nothing is kept there"
            raise InputError("--take-back", question, f"is not kept beside check {logged.id[:8]}", mend)
    done = keep_answers(desk, logged.id, dict.fromkeys(told, TAKEN_BACK), versions=logged.versions.all)
    if as_data:
        print_json({"note": done.note, "check": logged.id, "taken_back": sorted(set(told))})
        return
    names = ", ".join(sorted(set(told)))
    Page.here().paragraph(f"taken back beside check {logged.id[:8]}: {names}; the earlier note stays readable")


def _by_person(said: AdviceFound) -> dict[str, str]:
    return {k: v for k, v in said.situation.answers.items() if k not in said.by_itself}


def _talk(said: AdviceFound, terms: AdviceTerms, found: Callable[[AdviceTerms], AdviceFound]) -> AdviceFound:
    """Ask at a terminal until it is settled, or the person has had enough."""
    from chaffinch.cli.advise_page import before_asking, one_question
    from chaffinch.cli.terminal.asking import Stopped, a_person_types, ask

    if not a_person_types():
        return said
    page, begun = Page.here(), False
    while True:
        question = said.question
        if question is None:
            return said
        if not begun:
            before_asking(page)
            begun = True
        sign = question.sign
        keys = list(sign.answers)
        one_question(page, question)

        def read(text: str, keys: list[str] = keys) -> str:
            plain = text.strip().casefold()
            if plain in ("", SKIP, "enough"):
                return plain or SKIP
            if plain in keys:
                return plain
            if plain.isdigit() and 1 <= int(plain) <= len(keys):
                return keys[int(plain) - 1]
            raise InputError("answer", text, "is none of these", f"type 1 to {len(keys)}, Enter if you cannot say")

        try:
            told = ask("Number, Enter if you cannot say, or enough", read)
        except Stopped as stopped:
            if not stopped.ended:
                raise
            return said
        if told == "enough":
            return said
        if told == SKIP:
            terms = replace(terms, skipped=(*terms.skipped, sign.key))
        else:
            terms = replace(terms, answers={**terms.answers, sign.key: told})
        said = found(terms)

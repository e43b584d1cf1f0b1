"""The pages ``chaffinch advise`` prints: the advice, a question, the leak walk. Cautions stand before everything."""

from __future__ import annotations

from typing import TYPE_CHECKING

from chaffinch.book.advice.said import (
    ASSUMED,
    HEAD,
    KEPT_SAID,
    LEAK_CATCH,
    LEAK_INTRO,
    LEAK_ORDER,
    MANUAL,
    OWN_FIGURES,
    SHAPE,
    by_itself_said,
    causes_said,
    gain_said,
    held_said,
    helps_said,
    hour_said,
    measure_said,
    minutes_said,
    origin_said,
    own_said,
    spoils_said,
    standing_said,
    trial_command,
    verify_said,
)
from chaffinch.book.wording import CAUTION, CAUTIONS
from chaffinch.cli.terminal.page import Page

if TYPE_CHECKING:
    from chaffinch.book.advice.advise import AdviceFound
    from chaffinch.engine.advice.causes import Question
    from chaffinch.engine.advice.changes import RankedChange


def show(found: AdviceFound, page: Page, *, kept: str = "") -> None:
    """Print the advice; ``kept`` is what became of the answers, where they were to be kept."""
    page.say()
    page.two_ends(_title(found), found.situation.crop)
    page.say()
    page.paragraph(CAUTION, bullet="! ")
    page.say()
    head = HEAD[found.standing]
    page.paragraph(f"{SHAPE[found.standing]} {head}: {standing_said(found)}", emphasis=head)
    page.say()
    if found.standing == "change":
        for place, one in enumerate(found.shown, start=1):
            _change(found, one, place, page)
    elif found.standing == "measure":
        for text in measure_said(found):
            page.paragraph(text, bullet="· ")
        page.say()
    _causes(found, page)
    if found.question is not None:
        page.paragraph("Most telling next:")
        one_question(page, found.question, flag=True)
    for text in [*held_said(found), *hour_said(found), *(ASSUMED[key] for key in found.assumed), MANUAL, OWN_FIGURES]:
        page.paragraph(text, bullet="· ")
    if kept:
        page.paragraph(KEPT_SAID[kept], bullet="· ")
    page.say()


def before_asking(page: Page) -> None:
    """The cautions, before the first question."""
    page.say()
    for text in CAUTIONS:
        page.paragraph(text, bullet="! ")


def one_question(page: Page, question: Question, *, flag: bool = False) -> None:
    """A question with its answers, numbered for a person, or by key for ``--answer``."""
    sign = question.sign
    page.say()
    page.paragraph(sign.asks, emphasis=sign.asks)
    page.paragraph(sign.how)
    for number, (key, says) in enumerate(sign.answers.items(), start=1):
        page.paragraph(f"--answer {sign.key}={key}: {says}" if flag else f"{number}  {says}", indent=4)
    page.say()


def all_questions(page: Page, *, as_data: bool) -> None:
    """Every question with its answers."""
    from chaffinch.reference.advice_read import advice_table

    asked = [sign for sign in advice_table().signs if sign.asks]
    if as_data:
        from chaffinch.cli.options.which_book import print_json

        print_json(
            {
                "cautions": list(CAUTIONS),
                "questions": [{"question": s.key, "asks": s.asks, "answers": dict(s.answers)} for s in asked],
            }
        )
        return
    page.say()
    page.paragraph(CAUTION, bullet="! ")
    page.say()
    for sign in asked:
        page.paragraph(f"{sign.key}: {sign.asks}", emphasis=sign.key)
        page.paragraph(sign.how, indent=4)
        for key, says in sign.answers.items():
            page.paragraph(f"{key}  {says}", indent=4)
        page.say()


def leak_walk(page: Page, *, as_data: bool) -> None:
    """The leak walk: cautions, places by part of the machine, and how to put a figure on a leak."""
    from chaffinch.reference.advice_read import advice_table

    places = advice_table().leaks
    if as_data:
        from chaffinch.cli.options.which_book import print_json

        rows = [{"part": p.part, "place": p.says, "look": p.look, "mend": p.mend} for p in places]
        print_json({"cautions": list(CAUTIONS), "places": rows, "measure": LEAK_CATCH})
        return
    page.say()
    page.two_ends("Leak walk", f"{len(places)} places")
    page.say()
    for text in CAUTIONS:
        page.paragraph(text, bullet="! ")
    page.say()
    page.paragraph(LEAK_INTRO)
    part = ""
    for one in places:
        if one.part != part:
            page.say()
            page.paragraph(one.part.capitalize(), emphasis=one.part.capitalize())
            part = one.part
        page.paragraph(f"{one.says}.", bullet="□ " if page.fine else "[ ] ")
        page.paragraph(f"Look for {one.look}. Mend: {one.mend}. ({origin_said(one.origin)})", indent=4)
    page.say()
    page.paragraph(LEAK_ORDER)
    page.paragraph(LEAK_CATCH)
    page.say()


def _title(found: AdviceFound) -> str:
    parts = ["Advice"]
    if found.combine is not None:
        parts.append(found.combine.name)
    if found.logged is not None:
        parts.append(f"check {found.logged.id[:8]}")
    return " · ".join(parts)


def _change(found: AdviceFound, one: RankedChange, place: int, page: Page) -> None:
    change = one.change
    page.paragraph(f"{place}. {change.says}", emphasis=change.says)
    page.paragraph(f"{gain_said(found, one)}; {minutes_said(change)}.", indent=5)
    page.paragraph(f"step: {change.step}", indent=5)
    for text in helps_said(found, change):
        page.paragraph(text, indent=5, bullet="+ ")
    for text in spoils_said(change) or ["nothing known"]:
        page.paragraph(f"may spoil: {text}", indent=5, bullet="- ")
    for text in own_said(one):
        page.paragraph(text, indent=5)
    if place == 1:
        page.paragraph(f"see whether it helped: {verify_said(change)}", indent=5)
        command = trial_command(found, change)
        if command:
            page.paragraph(command, indent=5)
    page.paragraph(f"undo: {change.undo}.", indent=5)
    page.say()


def _causes(found: AdviceFound, page: Page) -> None:
    page.paragraph("What it may be:")
    for says, chance in causes_said(found):
        page.paragraph(says, bullet=f"{chance:>4} %  ")
    told = by_itself_said(found)
    if told:
        page.paragraph(f"Known without asking: {'; '.join(told)}.")
    page.say()

"""What may be wrong with the machine of a check, what would tell, what to try: asked one big choice at a time.

The answers stand in the page's address until they are kept, so that the page works without JavaScript and going back
takes an answer back.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Request
from starlette.responses import Response

from chaffinch import units
from chaffinch.book.advice.advise import AdviceFound, AdviceTerms, advise_known, known_of
from chaffinch.book.advice.kept import OUTCOMES, TAKEN_BACK, keep_answers, keep_tried
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
    sources_said,
    spoils_said,
    standing_said,
    trial_sides,
    verify_said,
)
from chaffinch.book.checks.held import LoggedCheck, checks_where, counting
from chaffinch.book.currency import read_told
from chaffinch.book.things import by_ids, things
from chaffinch.book.times import local
from chaffinch.book.version import book_version
from chaffinch.book.wording import CAUTIONS
from chaffinch.engine.advice.changes import RankedChange
from chaffinch.errors import InputError, SamplerError
from chaffinch.reference.advice_read import advice_table
from chaffinch.web.access import crew, reader
from chaffinch.web.pages.answers import Working, longer_of
from chaffinch.web.pages.check import CheckId, found_or_missing
from chaffinch.web.pages.frame import Form, Typed, asked, desk_of, form_of, person_of, see, show
from chaffinch.web.pages.told import in_person_unit, reads_of
from chaffinch.web.words.desk import words

router = APIRouter()

ANSWER: Final = "a-"
"""Begins the name of an answer in the address: ``a-found=chaff``."""
TERMS: Final = ("stop_cost", "area_left", "hour_cost", "machine")


@dataclass(frozen=True, slots=True)
class Choice:
    """A big choice: its words, and the address it leads to."""

    says: str
    path: str


@dataclass(frozen=True, slots=True)
class Step:
    """A change as the page shows it; ``a``, ``b`` are the sides of a ready-made trial, empty where it has none."""

    says: str
    step: str
    gain: str
    helps: list[str]
    spoils: list[str]
    verify: str
    undo: str
    own: str
    setting: str
    a: str
    b: str


@router.get("/advice", dependencies=[Depends(reader)])
def listed(request: Request) -> Response:
    """The last check of each combine in each crop, with a link to its advice."""
    desk = desk_of(request)
    rows = []
    for machine in things(desk, "combine"):
        own = [] if machine.retired else counting(desk, checks_where(desk, combine=machine.id))
        last: dict[str, LoggedCheck] = {}
        for one in sorted(own, key=lambda c: str(c.body["taken_at"])):
            last[one.check.crop] = one
        for crop, one in last.items():
            taken = str(one.body["taken_at"])
            rows.append((taken, f"{machine.name} · {crop}", local(taken), f"/check/{one.id}/advice"))
    rows.sort(reverse=True)
    return show(request, "advices.html", "advice", rows=[row[1:] for row in rows])


@router.get("/advice/leaks", dependencies=[Depends(reader)])
def leaks(request: Request) -> Response:
    """The leak walk: cautions first, then the places."""
    parts: dict[str, list[tuple[str, str, str, str]]] = {}
    for one in advice_table().leaks:
        parts.setdefault(one.part, []).append((one.says, one.look, one.mend, origin_said(one.origin)))
    return show(
        request, "leaks.html", "advice", cautions=CAUTIONS, intro=LEAK_INTRO, parts_of=parts, order=LEAK_ORDER,
        measure=LEAK_CATCH,
    )  # fmt: skip


@router.get("/check/{check_id}/advice", dependencies=[Depends(reader)])
def advice(request: Request, check_id: CheckId) -> Response:
    """Advice on a check; the answers so far stand in the address."""
    return _page(request, check_id, asked(request))


@router.post("/check/{check_id}/advice", dependencies=[Depends(crew)])
def keep(request: Request, check_id: CheckId, sent: Typed) -> Response:
    """Keep the answers, or what a step did, as a note with the check."""
    desk, form = desk_of(request), form_of(sent)
    logged, _ = found_or_missing(desk, check_id)
    try:
        if form.get("action") == "tried":
            keep_tried(desk, logged.id, form.get("change"), form.get("outcome"))
            return see(f"/check/{logged.id}/advice?{urlencode({**_kept_in_address(form), 'note': 'tried'})}")
        kept = keep_answers(desk, logged.id, answers_of(form), versions=logged.versions.all).how
    except InputError as error:
        form.refuse(error, ("change", "outcome"))
        return _page(request, check_id, form, status=422)
    return see(f"/check/{logged.id}/advice?{urlencode({**_terms_in_address(form), 'note': kept})}")


def answers_of(form: Form) -> dict[str, str]:
    """Answers in an address or a form."""
    return {name.removeprefix(ANSWER): form.get(name) for name in form.values if name.startswith(ANSWER)}


def _page(request: Request, check_id: str, form: Form, status: int = 200) -> Response:
    desk, person = desk_of(request), person_of(request)
    logged, _ = found_or_missing(desk, check_id)
    found: Any = None
    why_not = ""
    try:
        terms = _terms(form)
        key = ("advice", logged.id, book_version(desk))
        known: Any = longer_of(request).ask(key, lambda step: known_of(desk, logged, progress=step))
        if isinstance(known, Working):
            return show(request, "working.html", "advice", working=known, title=words("advice.title"))
        found = advise_known(desk, known, terms)
        # The person's own units.
        shown = in_person_unit(found.check.check, reads_of(desk, person))
        found = replace(found, check=replace(found.check, check=shown))
    except InputError as error:
        form.refuse(error, {"stop cost": "stop_cost", "area left": "area_left", "hour cost": "hour_cost"})
        why_not = str(error)
    except SamplerError as error:
        why_not = str(error)
    base = f"/check/{logged.id}/advice"
    combine = by_ids(desk, [logged.body.get("combine")]).get(str(logged.body.get("combine", "")))
    return show(
        request,
        "advice.html",
        "advice",
        status=status,
        form=form,
        logged=logged,
        taken=local(str(logged.body["taken_at"])),
        crop=logged.check.crop,
        combine=combine,
        cautions=CAUTIONS,
        why_not=why_not,
        told=None if found is None else _told(found, base, form),
        hidden=_kept_in_address(form),
        note=words("advice.tried.kept") if form.get("note") == "tried" else KEPT_SAID.get(form.get("note"), ""),
        tried=[(one.key, one.says) for one in advice_table().changes],
        outcomes=OUTCOMES,
    )


def _told(found: AdviceFound, base: str, form: Form) -> dict[str, Any]:
    question, here = found.question, _kept_in_address(form)
    choices: list[Choice] = []
    if question is not None:
        key = question.sign.key
        choices = [
            Choice(says, f"{base}?{urlencode({**here, ANSWER + key: answer})}#next")
            for answer, says in question.sign.answers.items()
        ]
        skipped = ",".join([*_skipped(form), key])
        choices.append(Choice(words("advice.unsure"), f"{base}?{urlencode({**here, 'skip': skipped})}#next"))
    answered = []
    for key, answer in found.situation.answers.items():
        sign = advice_table().sign(key)
        if key in found.by_itself or sign is None:
            continue
        left = {k: v for k, v in here.items() if k != ANSWER + key}
        # What is kept stands under what is answered here: taking it back is said too, and kept as any answer.
        left |= {ANSWER + key: TAKEN_BACK} if key in found.kept else {}
        answered.append((sign.asks, sign.answers[answer], f"{base}?{urlencode(left)}#next"))
    fresh = {k: v for k, v in answers_of(form).items() if v and found.kept.get(k, TAKEN_BACK) != v}
    return {
        "shape": SHAPE[found.standing],
        "head": HEAD[found.standing],
        "said": standing_said(found),
        "question": None if question is None else question.sign,
        "choices": choices,
        "answered": answered,
        "to_keep": ("back" if set(fresh.values()) == {TAKEN_BACK} else "yes") if fresh else "",
        "itself": by_itself_said(found),
        "measure": measure_said(found) if found.standing == "measure" else [],
        "steps": [_step(found, one) for one in found.shown],
        "sources": sources_said(found),
        "causes": causes_said(found, 6),
        "notes": [*held_said(found), *hour_said(found), *(ASSUMED[key] for key in found.assumed), MANUAL, OWN_FIGURES],
    }


def _step(found: AdviceFound, one: RankedChange) -> Step:
    change = one.change
    sides = trial_sides(found, change)
    known = sides is not None and not sides[0].endswith("=NOW")
    return Step(
        change.says,
        words("advice.step", step=change.step),
        words("advice.gain", gain=gain_said(found, one), minutes=minutes_said(change)),
        helps_said(found, change),
        [words("advice.spoils", what=text) for text in spoils_said(change)] or [words("advice.spoils.none")],
        words("advice.verify", how=verify_said(change)),
        words("advice.undo", how=change.undo),
        " ".join(own_said(one)),
        change.setting if sides is not None else "",
        sides[0] if sides is not None and known else "",
        sides[1] if sides is not None and known else "",
    )


def _terms(form: Form) -> AdviceTerms:
    told: Mapping[str, tuple[str, str]] = {
        "stop_cost": ("money_rate", "stop cost"),
        "hour_cost": ("money_rate", "hour cost"),
    }
    money = [read_told(form.get(name), kind, field=called) for name, (kind, called) in told.items() if form.get(name)]
    rates = {
        name: units.read_not_negative(form.get(name), kind, field=called).value if form.get(name) else None
        for name, (kind, called) in told.items()
    }
    area = form.told("area_left")
    return AdviceTerms(
        answers=answers_of(form),
        machine=form.get("machine") if form.get("machine") in ("rotor", "walker") else "",
        stop_cost_per_h=rates["stop_cost"],
        hour_cost=rates["hour_cost"],
        area_left_ha=None if area is None else units.read_positive(area, "land", field="area left").value,
        skipped=_skipped(form),
        money=money,
    )


def _skipped(form: Form) -> tuple[str, ...]:
    return tuple(key for key in form.get("skip").split(",") if advice_table().sign(key) is not None)


def _terms_in_address(form: Form) -> dict[str, str]:
    return {name: form.get(name) for name in TERMS if form.get(name)}


def _kept_in_address(form: Form) -> dict[str, str]:
    """What goes on from one page to the next: answers, questions that could not be answered, money and machine."""
    found = {name: form.get(name) for name in sorted(form.values) if name.startswith(ANSWER) and form.get(name)}
    skipped = ",".join(_skipped(form))
    return {**found, **({"skip": skipped} if skipped else {}), **_terms_in_address(form)}

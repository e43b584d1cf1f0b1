"""Adding a thing, and changing what is said about it: one field after the other, each old value kept."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from fastapi import APIRouter, Depends, Request
from starlette.responses import Response

from chaffinch import units
from chaffinch.book.checks.looking import thing_history
from chaffinch.book.crops import by_name
from chaffinch.book.desk import Desk
from chaffinch.book.telling import Teller, example_of
from chaffinch.book.things import Thing, add_thing, by_ids, edit_label, things
from chaffinch.book.times import local
from chaffinch.errors import BookError, InputError
from chaffinch.records.kinds import KINDS, Kind, Part
from chaffinch.web.access import crew, owner, reader
from chaffinch.web.pages.field import ThingId
from chaffinch.web.pages.frame import Form, Typed, desk_of, form_of, see, show
from chaffinch.web.pages.setup import ORDER, may_add
from chaffinch.web.problems import Refusal
from chaffinch.web.words.desk import words

router = APIRouter()

_FLAGS: Final = {"yes": True, "no": False}


@dataclass(frozen=True, slots=True)
class Asked:
    """One field of a thing as the form asks for it; ``options`` are (value, words) of a list, empty for a text."""

    name: str
    about: str
    hint: str
    must: bool
    long: bool
    options: tuple[tuple[str, str], ...]


@router.get("/setup/{kind}/new", dependencies=[Depends(crew)])
def empty(request: Request, kind: str) -> Response:
    """An empty form for a thing of that kind."""
    return _new(request, _kind(request, kind), Form())


@router.post("/setup/{kind}/new", dependencies=[Depends(crew)])
def add(request: Request, kind: str, sent: Typed) -> Response:
    """Add the thing, or show what is wrong with it."""
    desk, form, known = desk_of(request), form_of(sent), _kind(request, kind)
    parts: dict[str, Any] = {}
    for part in known.parts:
        text = form.told(part.name)
        if text is None or part.name == "retired":
            continue
        try:
            parts[part.name] = _value(known, part, text)
        except InputError as error:
            form.refuse(error, [p.name for p in known.parts])
    if not form.wrong:
        try:
            receipt = add_thing(desk, known.name, parts)
            if receipt.outcome not in ("accepted", "known"):
                raise BookError(desk.place, receipt.reason or receipt.outcome)
        except InputError as error:
            form.refuse(error, [p.name for p in known.parts])
    if form.wrong:
        return _new(request, known, form, status=422)
    return see(f"/setup#{receipt.id}")


@router.get("/thing/{thing_id}", dependencies=[Depends(reader)])
def one(request: Request, thing_id: ThingId) -> Response:
    """A thing with everything said about it, now and before."""
    desk = desk_of(request)
    thing = _thing(desk, thing_id)
    return _edit(request, thing, Form(_shown(desk, thing)))


@router.post("/thing/{thing_id}", dependencies=[Depends(owner)])
def edit(request: Request, thing_id: ThingId, sent: Typed) -> Response:
    """Change what differs from what was shown; each field is a record of its own, and is saved or told."""
    desk, form = desk_of(request), form_of(sent)
    thing = _thing(desk, thing_id)
    kind, shown = KINDS[thing.kind], _shown(desk, thing)
    saved = []
    for part in kind.parts:
        now = shown.get(part.name, "").strip()
        if part.name not in form.values or form.get(part.name) == now:
            continue
        before = form.get(f"was-{part.name}") if f"was-{part.name}" in form.values else now
        if form.get(part.name) == before:
            form.values[part.name] = now  # left alone here, and changed elsewhere meanwhile: that stays
            continue
        text = form.told(part.name)
        try:
            if before != now:
                problem = words("thing.meanwhile", now=now) if now else words("thing.meanwhile.none")
                raise InputError(f"{kind.name}, {part.name}", text, problem, words("thing.meanwhile.mend"))
            value = None if text is None else _value(kind, part, text)
            receipt = edit_label(desk, by_ids(desk, [thing.id])[thing.id], part.name, value)
            if receipt.outcome not in ("accepted", "known"):
                raise BookError(desk.place, receipt.reason or receipt.outcome)
            saved.append(part.name)
        except InputError as error:
            form.refuse(error, [p.name for p in kind.parts])
    if form.wrong:
        return _edit(request, _thing(desk, thing_id), form, status=422, saved=saved)
    return see(f"/thing/{thing.id}")


def _kind(request: Request, name: str) -> Kind:
    if name not in ORDER:
        raise Refusal(404, "kind", "is nothing that can be added", "look under Set-up")
    if not may_add(request, name):
        raise Refusal(403, "role", f"may add no {name}", "ask the owner")
    return KINDS[name]


def _thing(desk: Desk, thing_id: str) -> Thing:
    found = by_ids(desk, [thing_id]).get(thing_id)
    if found is None:
        raise Refusal(404, "thing", "is not in the book", "look under Set-up")
    return found


def _value(kind: Kind, part: Part, text: str) -> Any:
    """What was typed, as the record holds it; what it may be is judged by the book.

    Raises
    ------
    InputError
        For a flag that is neither yes nor no, or a unit of loss that no page could be written in.
    """
    if part.holds == "flag":
        if text not in _FLAGS:
            raise InputError(f"{kind.name}, {part.name}", text, "is neither yes nor no", "choose one of them")
        return _FLAGS[text]
    if part.name == "report_in":
        try:
            units.read(f"1 {text}", "area_mass", field=part.name, bushel_kg=1.0)
        except InputError:
            mend = f"write one of {', '.join(units.accepted('area_mass'))}"
            raise InputError(f"{kind.name}, {part.name}", text, "is not a unit of loss", mend) from None
    return text


def _shown(desk: Desk, thing: Thing) -> dict[str, str]:
    """What the form shows of each field; what comes back the same was left alone."""
    teller, kind = Teller(desk), KINDS[thing.kind]
    values = {}
    for part in kind.parts:
        value = thing.parts.get(part.name)
        if value is None:
            continue
        plain = part.holds in ("id", "crop") or part.holds.startswith("one of")
        values[part.name] = str(value) if plain else teller.said(kind, part.name, value, thing.parts)
    return values


def _asked(desk: Desk, kind: Kind, was: Mapping[str, str] | None = None) -> list[Asked]:
    """What a form asks; ``was`` is what an edited thing says now, None for a new one."""
    found, new = [], was is None
    for part in kind.parts:
        if new and part.name == "retired":
            continue
        example = example_of(part.name, part.holds)
        options = _options(desk, part)
        now = (was or {}).get(part.name, "")
        if options and now not in dict(options):
            # A crop by another of its names: a list without it would send nothing, and so take the crop away.
            options = (*options, (now, now))
        hint = words("thing.hint", example=example) if example and not options and part.name != "name" else ""
        long = part.holds == "text"
        found.append(Asked(part.name, part.about, "" if long else hint, part.must, long, options))
    return found


def _options(desk: Desk, part: Part) -> tuple[tuple[str, str], ...]:
    none = ("", words("flag.untold"))
    if part.holds == "flag":
        return (none, ("yes", words("flag.yes")), ("no", words("flag.no")))
    if part.holds.startswith("one of "):
        return (none, *((one, one) for one in part.holds.removeprefix("one of ").split(", ")))
    if part.holds == "crop":
        return (none, *by_name())
    if part.name == "season":
        return (none, *((t.id, t.title) for t in things(desk, "season")))
    if part.holds == "id":
        return (none, *((t.id, f"{t.kind} {t.title}") for t in things(desk) if t.kind != "note"))
    return ()


def _new(request: Request, kind: Kind, form: Form, status: int = 200) -> Response:
    return show(request, "thing.html", "setup", status=status, kind=kind.name, about=kind.about, thing=None, form=form,
                may=True, was={}, asked=_asked(desk_of(request), kind), saved=[], changes=[],
                added="")  # fmt: skip


def _edit(request: Request, thing: Thing, form: Form, status: int = 200, saved: list[str] | None = None) -> Response:
    desk = desk_of(request)
    kind, teller, history = KINDS[thing.kind], Teller(desk), thing_history(desk, thing)
    changes = []
    for change in reversed(history.changes):
        value = teller.said(kind, change.edit.field, change.edit.value, thing.parts)
        said = words("thing.change", when=local(change.arrived), device=change.device,
                     field=change.edit.field.replace("_", " "), value=value)  # fmt: skip
        changes.append((said, change.holds))
    first = history.first
    added = words("thing.added", when=local(first.arrived), device=first.device)
    at_first = [
        f"{part.name.replace('_', ' ')} {teller.said(kind, part.name, first.body[part.name], first.body)}"
        for part in kind.parts
        if part.name in first.body
    ]
    was = {name: value.strip() for name, value in _shown(desk, thing).items()}
    return show(request, "thing.html", "setup", status=status, kind=kind.name, about=kind.about, thing=thing, form=form,
                may=may_add(request, kind.name, new=False), was=was, asked=_asked(desk, kind, was),
                saved=saved or [], changes=changes,
                added=f"{added}: {', '.join(at_first)}")  # fmt: skip

"""What surrounds every desk page: who looks at it, in which units and light, its words, forms that forget nothing.

Templates escape everything by themselves; only the drawings of :mod:`chaffinch.paper.drawing` are HTML already.
"""

from __future__ import annotations

import re
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from typing import Annotated, Any, Final

from fastapi import Depends, Request
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.datastructures import FormData, UploadFile
from starlette.responses import HTMLResponse, RedirectResponse, Response

from chaffinch import __version__
from chaffinch.book.desk import Desk
from chaffinch.book.figures import percent, plain_number, range_words, rounded
from chaffinch.book.for_phones import book_of
from chaffinch.book.shown_unit import farm_of
from chaffinch.book.times import local
from chaffinch.errors import InputError
from chaffinch.paper import drawing
from chaffinch.web.access import page_context
from chaffinch.web.forms import refuse_long, sent_form
from chaffinch.web.mends import mend_here, said
from chaffinch.web.words.desk import words

TEMPLATES: Final = Path(__file__).parent.parent / "templates"
LOOKS: Final = ("auto", "light", "dark")
MEASURES: Final = {"farm": None, "metric": "kg/ha", "american": "bu/ac"}
"""What a person may read in, and the unit of loss it stands for; None for the farm's own."""


@dataclass(frozen=True, slots=True)
class Person:
    """How the person at this browser wants to read.

    Attributes
    ----------
    look : {"auto", "light", "dark"}
    measures : {"farm", "metric", "american"}
    """

    look: str = "auto"
    measures: str = "farm"

    @property
    def report_in(self) -> str | None:
        """The unit of loss chosen; None for the farm's."""
        return MEASURES[self.measures]


def person_of(request: Request) -> Person:
    """The person's choices, from the browser's cookies; anything else than ours counts as none."""
    look, measures = request.cookies.get("look", ""), request.cookies.get("measures", "")
    return Person(look if look in LOOKS else "auto", measures if measures in MEASURES else "farm")


def desk_of(request: Request) -> Desk:
    """The open book, with the browser's own name as the device that writes."""
    desk: Desk = request.app.state.desk
    who = page_context(request)["current"]
    return desk if who is None else replace(desk, device=who.name)


@dataclass
class Form:
    """What a person typed, and what is wrong with it: shown again with every value as it was typed.

    Attributes
    ----------
    values : dict of str to str
    errors : dict of str to str
        One line each, by the name of the field it stands beside.
    general : list of str
        Errors that belong to no single field.
    """

    values: dict[str, str] = field(default_factory=dict)
    errors: dict[str, str] = field(default_factory=dict)
    general: list[str] = field(default_factory=list)

    def get(self, name: str) -> str:
        """What was typed, without blanks at its ends; empty when nothing was."""
        return self.values.get(name, "").strip()

    def told(self, name: str) -> str | None:
        """What was typed; None when nothing was."""
        return self.get(name) or None

    def refuse(self, error: InputError, fields: Mapping[str, str] | Sequence[str] = ()) -> None:
        """Put an error beside its field.

        Parameters
        ----------
        error : InputError
        fields : mapping or sequence
            Names of the form's fields; or the form's names by what errors call them. The longest that ends the
            error's own field name is taken.
        """
        by_word = dict(fields) if isinstance(fields, Mapping) else {name: name for name in fields}
        fits = [word for word in by_word if error.field == word or error.field.endswith(f", {word}")]
        if fits:
            self.errors.setdefault(by_word[max(fits, key=len)], said(error))
        else:
            self.general.append(said(error))

    @property
    def wrong(self) -> bool:
        """Whether anything is."""
        return bool(self.errors or self.general)


async def typed(request: Request) -> AsyncIterator[FormData]:
    """What the browser sent; its files are put away when the page is made."""
    sent = await sent_form(request)
    try:
        yield sent
    finally:
        await sent.close()


Typed = Annotated[FormData, Depends(typed)]


def form_of(sent: FormData) -> Form:
    """A form's texts; files are left aside, and of a field sent twice the last holds."""
    return Form({
        name: value.replace("\r\n", "\n")
        for name, value in sent.multi_items()
        if not isinstance(value, UploadFile)
    })  # fmt: skip


def asked(request: Request) -> Form:
    """What the address itself says after its question mark, as a form."""
    values = dict(request.query_params.multi_items())
    for name, value in values.items():
        refuse_long(name, value)
    return Form(values)


NAVIGATION: Final = (
    ("today", "/today"),
    ("log", "/log"),
    ("checks", "/checks"),
    ("seasons", "/seasons"),
    ("combines", "/combines"),
    ("advice", "/advice"),
    ("trials", "/trials"),
    ("day", "/day"),
    ("fieldlogs", "/fieldlogs"),
    ("setup", "/setup"),
    ("devices", "/devices"),
)
"""Pages that stand in the head of every page, by key and path."""


def show(request: Request, template: str, here: str, *, status: int = 200, **context: Any) -> Response:
    """A whole page.

    Parameters
    ----------
    request : Request
    template : str
        Its file.
    here : str
        Key of the entry of :data:`NAVIGATION` it belongs to.
    status : int
        HTTP status.
    context
        For the template.
    """
    who = page_context(request)
    found = _environment().get_template(template)
    html = found.render(
        **who,
        here=here,
        navigation=[(key, path) for key, path in NAVIGATION if key not in _for_role(who["current"])],
        person=person_of(request),
        book_title=book_of(request.app.state.desk)["title"],
        address=request.url.path + (f"?{request.url.query}" if request.url.query else ""),
        program=__version__,
        speed_like=lambda: _speed_like(request),
        **context,
    )
    return HTMLResponse(unbroken(html), status)


def _speed_like(request: Request) -> str:
    """A speed as somebody here would write it."""
    farm = farm_of(request.app.state.desk)
    unit = person_of(request).report_in or str("" if farm is None else farm.parts.get("report_in", ""))
    return "4.3 mph" if unit.endswith("/ac") else "7 km/h"


def alone(template: str, *, status: int = 200, **context: Any) -> Response:
    """A page for somebody who is not known yet: it says nothing of the book."""
    return HTMLResponse(_environment().get_template(template).render(csrf="", current=None, **context), status)


def _for_role(who: Any) -> tuple[str, ...]:
    """Entries that this role has no use for."""
    if who is None or who.role == "reader":
        return ("log", "devices")
    return () if who.role == "owner" else ("devices",)


def see(path: str) -> Response:
    """After something was written: look at this page (which may be loaded again without writing twice)."""
    return RedirectResponse(path, 303)


def unbroken(html: str) -> str:
    """A page whose figures stay on one line: a number and its %, thousands, a sign and its money.

    What a form holds stays as it is, since it comes back and is compared.
    """

    def mended(found: re.Match[str]) -> str:
        tag = html.rfind("<", 0, found.start())
        if html.find(">", tag, found.start()) < 0 or html.startswith(_AS_TYPED, tag):
            return found[0]
        return "\u202f" if found["thousands"] else "\u00a0" if found["percent"] else "−\u2060"

    return _BREAKS.sub(mended, html)


_BREAKS: Final = re.compile(r"(?P<percent>(?<=\d) (?=%))|(?P<thousands>(?<=\d) (?=\d{3}(?!\d)))|−(?=[^\s\d\u2060])")
_AS_TYPED: Final = ("<textarea", "<option", "<title", "<script", "<style")


@lru_cache(maxsize=1)
def _environment() -> Environment:
    made = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    tools: dict[str, Callable[..., Any]] = {
        "w": words,
        "local": local,
        "percent": percent,
        "plain_number": plain_number,
        "rounded": rounded,
        "range_words": range_words,
        "ruler": drawing.ruler,
    }
    made.globals.update(tools)
    made.filters["local"] = local
    made.filters["here"] = mend_here
    return made

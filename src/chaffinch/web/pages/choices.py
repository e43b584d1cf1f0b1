"""How this person wants to read: light or dark, and in which units. Kept in the browser, not in the book."""

from __future__ import annotations

from typing import Final

from fastapi import APIRouter, Depends, Request
from starlette.responses import Response

from chaffinch.web.access import reader
from chaffinch.web.pages.frame import LOOKS, MEASURES, Typed, form_of, see

router = APIRouter()

YEAR_S: Final = 365 * 86_400


@router.post("/choices", dependencies=[Depends(reader)])
def keep(request: Request, sent: Typed) -> Response:
    """Keep the choices, and go back to the page they were made on."""
    form = form_of(sent)
    response = see(_own_path(form.get("back")))
    for name, known in (("look", LOOKS), ("measures", tuple(MEASURES))):
        if form.get(name) in known:
            response.set_cookie(
                name, form.get(name), max_age=YEAR_S, path="/", secure=request.url.scheme == "https", httponly=True,
                samesite="strict",
            )  # fmt: skip
    return response


def _own_path(text: str) -> str:
    """A path of this server; anything else is the first page."""
    own = text.startswith("/") and not text.startswith(("//", "/\\")) and text.isprintable()
    return text if own else "/today"

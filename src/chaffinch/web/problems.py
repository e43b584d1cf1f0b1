"""How is a refusal told? One shape for every error of the API, close to RFC 9457's application/problem+json."""

from __future__ import annotations

from typing import Any, Final

from fastapi import Request
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, Field
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, Response

from chaffinch.errors import BookError, InputError
from chaffinch.web.mends import mend_here
from chaffinch.web.plain_page import plain_page
from chaffinch.web.words.plain import PLAIN, plain

MEDIA_TYPE: Final = "application/problem+json"
_LONGEST: Final = 300  # [characters] of anything that is told back


class Problem(BaseModel):
    """What is wrong, and what to do about it."""

    status: int = Field(description="The HTTP status once more.")
    field: str = Field(description="Where the fault stands, in the reader's words.")
    value: str | None = Field(description="The value at fault, shortened; null where there is none to show.")
    problem: str = Field(description="What is wrong with it, a short clause.")
    mend: str = Field(description="What to do instead.")


class Refusal(Exception):  # noqa: N818 (an answer, not a fault of ours)
    """A request is refused: said to the client in the one shape, with a status of its own.

    Parameters
    ----------
    status : int
        HTTP status, 400 to 503.
    field, problem, mend : str
        As in :class:`chaffinch.errors.InputError`.
    value : object
        The value at fault; never a secret.
    wait_s : float
        For 429: after how many seconds to ask again.
    """

    def __init__(
        self, status: int, field: str, problem: str, mend: str, *, value: object = None, wait_s: float = 0.0
    ) -> None:
        super().__init__(f"{field}: {problem}; {mend}")
        self.status, self.field, self.value, self.problem, self.mend = status, field, value, problem, mend
        self.wait_s = wait_s

    @property
    def headers(self) -> dict[str, str]:
        """Headers that belong to the status."""
        if self.status == 401:
            return {"WWW-Authenticate": "Bearer"}
        return {"Retry-After": str(max(1, int(self.wait_s + 0.999)))} if self.status == 429 else {}


_ABOUT: Final = {
    400: "The request cannot be read.",
    401: "Nobody this book knows: pair the device first.",
    403: "This role may not do that, or the request did not come from our own page.",
    404: "There is no such thing here.",
    409: "It does not fit what is here.",
    413: "The body is too large.",
    422: "A value cannot be used.",
    421: "The request names another host.",
    429: "Too many requests; Retry-After says when to come back.",
    500: "A mistake of the server's own.",
    503: "The book cannot be read or written now; nothing was changed.",
}


def answers(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """The OpenAPI description of refusals with these statuses."""
    content = {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}}
    return {status: {"description": _ABOUT[status], "content": content} for status in statuses}


def told(refusal: Refusal, request: Request) -> Response:
    """The answer that tells a refusal: JSON to a program, a page to a person."""
    if request.url.path.startswith("/api/"):
        body = Problem(
            status=refusal.status,
            field=clean(refusal.field),
            value=None if refusal.value is None else clean(str(refusal.value)),
            problem=clean(refusal.problem),
            mend=clean(refusal.mend),
        )
        return JSONResponse(body.model_dump(), refusal.status, headers=refusal.headers, media_type=MEDIA_TYPE)
    # A browser that is not known is shown the way in.
    link = ("/pair", plain("refused.pair")) if refusal.status == 401 else ("/", plain("home"))
    head = f"refused.{refusal.status}"
    title = plain(head if head in PLAIN else "refused.other")
    line = InputError(refusal.field, refusal.value, refusal.problem, mend_here(refusal.mend)).line()
    page = plain_page(title, f"{line}.", link=link)
    return Response(page, refusal.status, headers=refusal.headers, media_type="text/html")


def clean(text: str) -> str:
    """Text that can be sent whatever stood in it: shortened, and what UTF-8 cannot hold written out."""
    plain = text.encode("utf-8", "backslashreplace").decode("utf-8")
    return plain if len(plain) <= _LONGEST else plain[: _LONGEST - 1] + "…"


def of_input(error: InputError, status: int = 422) -> Refusal:
    """The refusal that tells a value at fault."""
    return Refusal(status, error.field, error.problem, error.mend, value=error.value)


async def on_refusal(request: Request, error: Exception) -> Response:
    """Handler of :class:`Refusal`."""
    assert isinstance(error, Refusal)
    return told(error, request)


async def on_input(request: Request, error: Exception) -> Response:
    """Handler of InputError."""
    assert isinstance(error, InputError)
    return told(of_input(error), request)


async def on_book(request: Request, error: Exception) -> Response:
    """Handler of BookError: the book's own address is not told to a phone."""
    assert isinstance(error, BookError)
    return told(Refusal(503, "book", error.reason, "keep what you have and try again"), request)


async def on_sampler(request: Request, error: Exception) -> Response:
    """Handler of SamplerError: catches that contradict each other beyond what the method can hold."""
    problem = f"cannot be answered well enough to be shown ({error})"
    return told(Refusal(422, "check", problem, "look at its catches for a slip"), request)


def fault(request: Request) -> Response:
    """The answer to what nobody foresaw: its own text may hold anything, and is not told."""
    return told(Refusal(500, "server", "made a mistake of its own", "keep what you have, and tell the owner"), request)


async def on_validation(request: Request, error: Exception) -> Response:
    """Handler of what the framework found wrong with a request: the first fault, in our shape."""
    assert isinstance(error, RequestValidationError)
    first = error.errors()[0]
    where = ", ".join(str(part) for part in first["loc"][1:]) or "body"
    problem = str(first["msg"])
    return told(Refusal(422, where, problem, "see the API's description"), request)


async def on_http(request: Request, error: Exception) -> Response:
    """Handler of the framework's own refusals (no such page, no such method)."""
    assert isinstance(error, HTTPException)
    status = error.status_code
    mend = {404: "look at the address", 405: "use another method", 413: "send less at once"}.get(status, "try again")
    response = told(Refusal(status, "request", str(error.detail).lower(), mend), request)
    for name, value in (error.headers or {}).items():
        response.headers[name] = value
    return response

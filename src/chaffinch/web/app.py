"""The one web application: who may come in, what every answer carries, and where each part of it hangs."""

from __future__ import annotations

import logging
import mimetypes
from collections.abc import AsyncIterator, MutableMapping
from contextlib import asynccontextmanager
from functools import lru_cache
from pathlib import Path
from threading import Thread
from typing import Any, Final

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from fastapi.openapi.utils import get_openapi
from fastapi.routing import iter_route_contexts
from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from chaffinch import __version__
from chaffinch.book.desk import Desk, open_desk
from chaffinch.book.exchange.receiving import Inbox
from chaffinch.book.for_phones import book_of
from chaffinch.errors import BookError, InputError, SamplerError
from chaffinch.web import api, doors, pages
from chaffinch.web.access import declared
from chaffinch.web.devices import Devices
from chaffinch.web.limits import (
    BURST_KNOWN,
    BURST_STRANGER,
    PER_S_KNOWN,
    PER_S_STRANGER,
    BodyLimit,
    Buckets,
)
from chaffinch.web.pages.season import look_ahead
from chaffinch.web.problems import (
    Problem,
    Refusal,
    answers,
    fault,
    on_book,
    on_http,
    on_input,
    on_refusal,
    on_sampler,
    on_validation,
)
from chaffinch.web.program_files import ProgramFiles
from chaffinch.web.settings import WebSettings

STATIC: Final = Path(__file__).parent / "static"
DEVICE_NAME: Final = "desk"
"""Name of the server in the records that its own pages write."""

HEADERS: Final = {
    "Content-Security-Policy": (
        "default-src 'self'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; "
        "font-src 'none'; object-src 'none'; frame-src 'none'; base-uri 'none'; form-action 'self'; "
        "frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    # Not no-referrer: a browser then says Origin: null in the forms of our own pages, which looks like a stranger.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(self), geolocation=(), microphone=(), payment=(), usb=()",
}
"""On every answer. No Strict-Transport-Security: with a certificate of our own it would take away the way back to a
help page when the certificate has to be installed anew."""

mimetypes.add_type("text/javascript", ".js")
mimetypes.add_type("text/javascript", ".mjs")
mimetypes.add_type("application/manifest+json", ".webmanifest")


def make_app(settings: WebSettings, *, desk: Desk | None = None) -> FastAPI:
    """Make the application for one book.

    Parameters
    ----------
    settings : WebSettings
    desk : Desk or None
        The open book; None opens the one that the settings name.

    Raises
    ------
    InputError, BookError
        When the book cannot be opened.
    ChaffinchError
        When a route does not say who it is for.
    """
    opened = desk or open_desk(settings.book, device=DEVICE_NAME)
    inbox = Inbox(opened)

    @asynccontextmanager
    async def life(_: FastAPI) -> AsyncIterator[None]:
        if settings.ahead:
            Thread(target=look_ahead, args=(app,), name="chaffinch looks ahead", daemon=True).start()
        yield
        inbox.close()
        app.state.devices.close()
        if desk is None:
            opened.store.close()

    app = FastAPI(
        title="Chaffinch",
        version=__version__,
        docs_url=None,
        redoc_url=None,
        openapi_url=None,
        lifespan=life,
        redirect_slashes=False,
    )
    app.state.settings = settings
    app.state.desk = opened
    app.state.book = book_of(opened)  # its id and title never change
    app.state.inbox = inbox
    app.state.devices = Devices(settings.devices_file, settings.clock, settings.new_secret)
    if settings.limits:
        app.state.known = Buckets(BURST_KNOWN, PER_S_KNOWN, settings.clock)
        app.state.strangers = Buckets(BURST_STRANGER, PER_S_STRANGER, settings.clock)
    app.state.description = lru_cache(maxsize=1)(lambda: described(app))
    for kind, handler in (
        (Refusal, on_refusal),
        (InputError, on_input),
        (BookError, on_book),
        (SamplerError, on_sampler),
        (RequestValidationError, on_validation),
        (HTTPException, on_http),
    ):
        app.add_exception_handler(kind, handler)
    app.include_router(api.router)
    app.include_router(pages.router)
    app.include_router(doors.router)
    app.mount("/app", ProgramFiles(directory=STATIC / "app", html=True, check_dir=False))
    app.mount("/static", ProgramFiles(directory=STATIC, check_dir=False))
    app.add_middleware(BodyLimit)
    app.add_middleware(Guard, settings=settings)
    declared(app)
    return app


def described(app: FastAPI) -> dict[str, Any]:
    """The API in OpenAPI 3.1: every path under /api/, every answer, and no default answer that we never give."""
    routes = [route for route in iter_route_contexts(app.routes) if str(route.path).startswith("/api/")]
    found = get_openapi(
        title="Chaffinch",
        version=__version__,
        summary="Sealed records from phones into one book, and what a phone needs from it.",
        routes=routes,
    )
    schemas = found.setdefault("components", {}).setdefault("schemas", {})
    schemas["Problem"] = Problem.model_json_schema()
    for name in ("HTTPValidationError", "ValidationError"):
        schemas.pop(name, None)
    for operations in found["paths"].values():
        for operation in operations.values():
            operation["responses"] |= {str(status): one for status, one in answers(421, 500).items()}
            for status, response in list(operation["responses"].items()):
                if "HTTPValidationError" in str(response):
                    del operation["responses"][status]
    return found


class Guard:
    """ASGI middleware: refuses requests for another host, puts the security headers on every answer, tells a fault."""

    def __init__(self, app: ASGIApp, settings: WebSettings) -> None:
        self.app = app
        self.settings = settings

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on, if it is meant for us."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        path: str = scope["path"]

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                _add_headers(message, path)
            await send(message)

        if not self.settings.knows_host(Headers(scope=scope).get("host", "")):
            await _misdirected(path)(scope, receive, with_headers)
            return
        begun = False

        async def noted(message: Message) -> None:
            nonlocal begun
            begun = True
            await with_headers(message)

        try:
            await self.app(scope, receive, noted)
        except Exception:
            # What nobody foresaw: the log holds it, the client learns that it was us.
            logging.getLogger(__name__).exception("a request to %s failed", path)
            if begun:
                raise
            await fault(Request(scope))(scope, receive, with_headers)


def _add_headers(message: MutableMapping[str, Any], path: str) -> None:
    headers = MutableHeaders(scope=message)
    for name, value in HEADERS.items():
        headers[name] = value
    if "cache-control" not in headers:
        # Program files may be kept, and are asked for again each time; answers and pages are kept nowhere.
        headers["Cache-Control"] = "no-cache" if path.startswith(("/static/", "/app/")) else "no-store"


def _misdirected(path: str) -> ASGIApp:
    problem = "names another host than this server's"
    mend = "use the address that chaffinch serve printed, or name it with --origin"
    if not path.startswith("/api/"):
        return PlainTextResponse(f"The request {problem}; {mend}.\n", 421)
    body = Problem(status=421, field="host", value=None, problem=problem, mend=mend)
    return JSONResponse(body.model_dump(), 421, media_type="application/problem+json")

"""Who is asking, and may they? Every route says who it is for; one that does not is refused when the app is made.

A phone sends its secret as a bearer token. A browser at the desk sends it in a cookie that no script can read and no
other site can make it send; what such a browser writes must carry a second secret that only our own pages know.
"""

from __future__ import annotations

import hmac
from collections.abc import Iterator
from dataclasses import dataclass
from hashlib import sha256
from typing import Annotated, Any, Final, Literal
from urllib.parse import urlsplit

from fastapi import Depends, FastAPI, Request
from fastapi.routing import APIRoute, RouteContext, iter_route_contexts
from fastapi.security import HTTPAuthorizationCredentials, HTTPBearer
from starlette.concurrency import run_in_threadpool
from starlette.routing import Mount

from chaffinch.errors import ChaffinchError
from chaffinch.web.device import Device, Role
from chaffinch.web.devices import Devices
from chaffinch.web.forms import sent_form
from chaffinch.web.limits import Buckets
from chaffinch.web.problems import Refusal

RANK: Final[dict[Role, int]] = {"reader": 1, "crew": 2, "owner": 3}
CSRF_FIELD: Final = "csrf"
CSRF_HEADER: Final = "x-csrf"
_SAFE: Final = ("GET", "HEAD", "OPTIONS")
_PROGRAM_FILES: Final = ("/static", "/app")
"""Mounts with nothing but our own program in them, open to everybody."""


@dataclass(frozen=True, slots=True)
class Who:
    """Who is asking.

    Attributes
    ----------
    id, name : str
        Of the device.
    role : {"owner", "crew", "reader"}
    by : {"token", "cookie"}
        How it was told.
    csrf : str
        What this browser's forms must carry; empty for a token.
    """

    id: str
    name: str
    role: Role
    by: Literal["token", "cookie"]
    csrf: str = ""

    def may(self, role: Role) -> bool:
        """Whether it may do what that role may."""
        return RANK[self.role] >= RANK[role]


_bearer = HTTPBearer(auto_error=False, scheme_name="device", description="The token a device got when it was paired.")
Bearer = Annotated[HTTPAuthorizationCredentials | None, Depends(_bearer)]


class Access:
    """A dependency that lets devices of one role, or of a higher one, through."""

    def __init__(self, role: Role) -> None:
        self.role = role

    async def __call__(self, request: Request, bearer: Bearer) -> Who:
        """Who is asking.

        Raises
        ------
        Refusal
            401 for nobody we know, 403 for a lower role or a write that came from elsewhere, 429 for too many.
        """
        who = await known(request, bearer.credentials if bearer is not None else None)
        if who is None:
            mend = "let it in with a code of the owner, or open the link that the server printed when it began"
            raise Refusal(401, "device", "is not known to this book", mend)
        try:
            # Before anything of the body is read.
            if not who.may(self.role):
                raise Refusal(403, "role", f"{who.role} may not do this", f"ask for a device with the role {self.role}")
            if who.by == "cookie" and request.method not in _SAFE:
                await _refuse_from_elsewhere(request, who)
        except Refusal:
            # The page that would have put the form's files away is never reached.
            await request.close()
            raise
        return who


class Anyone:
    """A dependency for routes that are open to everybody; it only keeps an address from asking too often."""

    role = None

    async def __call__(self, request: Request) -> None:
        """Count the request."""
        _take_turn(request, "strangers", client_address(request))


reader = Access("reader")
crew = Access("crew")
owner = Access("owner")
anyone = Anyone()

Reader = Annotated[Who, Depends(reader)]
Crew = Annotated[Who, Depends(crew)]
Owner = Annotated[Who, Depends(owner)]


async def known(request: Request, token: str | None = None) -> Who | None:
    """Who is asking, or None; a request's answer is found once and kept for the page that shows it."""
    secret, by = (token, "token") if token else (request.cookies.get(cookie_name(request), ""), "cookie")
    devices: Devices = request.app.state.devices
    device: Device | None = devices.remembered(secret) if secret else None
    if device is None and secret:
        device = await run_in_threadpool(devices.who, secret)
    if device is None or (device.kind == "desk") != (by == "cookie"):
        _take_turn(request, "strangers", client_address(request))
        return None
    _take_turn(request, "known", device.id)
    csrf = csrf_of(secret) if by == "cookie" else ""
    who = Who(device.id, device.name, device.role, "token" if by == "token" else "cookie", csrf)
    request.state.who = who
    return who


def page_context(request: Request) -> dict[str, Any]:
    """What every template is given: ``current`` (a :class:`Who`, or None) and ``csrf`` for its forms."""
    who: Who | None = getattr(request.state, "who", None)
    return {"current": who, "csrf": "" if who is None else who.csrf}


def cookie_name(request: Request) -> str:
    """Name of the cookie; under TLS one that a browser takes only from this very host.

    The book's id is part of it: browsers send a host's cookies to every port, and two books may be served there.
    """
    name = f"chaffinch-{request.app.state.book['id']}"
    return f"__Host-{name}" if request.url.scheme == "https" else name


def csrf_of(secret: str) -> str:
    """What the forms of the browser with that secret carry: it follows from the secret and does not give it away."""
    return hmac.new(secret.encode("utf-8", "backslashreplace"), b"chaffinch forms", sha256).hexdigest()


def client_address(request: Request) -> str:
    """The network address that asks."""
    return request.client.host if request.client is not None else "nobody"


async def _refuse_from_elsewhere(request: Request, who: Who) -> None:
    refuse_other_site(request)
    given = request.headers.get(CSRF_HEADER)
    if given is None and "form" in request.headers.get("content-type", ""):
        value = (await sent_form(request)).get(CSRF_FIELD)
        given = value if isinstance(value, str) else None
    if given is None or not hmac.compare_digest(given.encode("utf-8", "replace"), who.csrf.encode()):
        raise Refusal(403, CSRF_FIELD, "does not fit this page", "load the page again, then send it once more")


def refuse_other_site(request: Request) -> None:
    """Refuse a request that a browser says another site's page made.

    Raises
    ------
    Refusal
        403.
    """
    site = request.headers.get("sec-fetch-site", "same-origin")
    origin = request.headers.get("origin")
    if site not in ("same-origin", "none") or (origin is not None and not _own(request, origin)):
        raise Refusal(403, "origin", "the request comes from another site", "use our own pages")


def _own(request: Request, origin: str) -> bool:
    parts = urlsplit(origin)
    return (parts.scheme, parts.netloc) == (request.url.scheme, request.url.netloc)


def _take_turn(request: Request, kind: str, who: str) -> None:
    buckets: Buckets | None = getattr(request.app.state, kind, None)
    wait = 0.0 if buckets is None else buckets.wait_s(who)
    if wait > 0:
        raise Refusal(429, "requests", "too many at once", f"wait {wait:.1f} s", wait_s=wait)


@dataclass(frozen=True, slots=True)
class Declared:
    """Who one route is for: path, method, and the lowest role (None: everybody)."""

    path: str
    method: str
    role: Role | None


def declared(app: FastAPI) -> list[Declared]:
    """Every route of the app with the role it is for, by path and method.

    Raises
    ------
    ChaffinchError
        For a route that does not say who it is for. Where router and route both say it, both hold.
    """
    found = [one for route in iter_route_contexts(app.routes) for one in _of_route(route)]
    return sorted(found, key=lambda one: (one.path, one.method))


def _of_route(route: RouteContext) -> Iterator[Declared]:
    path = str(route.path)
    if isinstance(route.original_route, Mount) and path in _PROGRAM_FILES:
        yield Declared(path, "GET", None)
        return
    if not isinstance(route.original_route, APIRoute):
        raise ChaffinchError(f"route {path} does not say who it is for; make it a route of a router")
    said = [d.call for d in route.dependant.dependencies if isinstance(d.call, Access | Anyone)]
    if not said:
        raise ChaffinchError(f"route {path} must say who it is for: owner, crew, reader or anyone")
    role = max((one.role for one in said if one.role is not None), key=lambda one: RANK[one], default=None)
    for method in sorted(route.methods or ()):
        yield Declared(path, method, role)

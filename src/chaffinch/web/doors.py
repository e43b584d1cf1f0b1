"""The ways in and out of the desk: the link that was printed, leaving, and the help page of the certificate."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from chaffinch.web.access import Reader, anyone, client_address, cookie_name
from chaffinch.web.devices import DESK_LIFE_S, Devices, LetIn
from chaffinch.web.plain_page import plain_page
from chaffinch.web.problems import Refusal
from chaffinch.web.settings import WebSettings
from chaffinch.web.tls import CA_FILE, fingerprint

router = APIRouter(include_in_schema=False)

NO_WAY_IN = "This link was used before, or its ten minutes are over."
MORE_WAYS = "At the computer that serves, chaffinch serve link prints a new one. Elsewhere, ask the owner for a code."


@router.get("/enter", dependencies=[Depends(anyone)])
def enter(request: Request, key: Annotated[str, Query(max_length=200)] = "") -> Response:
    """Let the owner's browser in by the link that ``chaffinch serve`` printed, once."""
    devices: Devices = request.app.state.devices
    try:
        let_in = devices.enter(key, "desk browser", client_address(request))
    except Refusal as refusal:
        if refusal.status != 401:
            raise
        said = plain_page("No way in", NO_WAY_IN, MORE_WAYS, link=("/pair", "Type a code"))
        return HTMLResponse(said, 401, headers={"WWW-Authenticate": "Bearer"})
    return with_key(request, let_in)


def with_key(request: Request, let_in: LetIn) -> Response:
    """The first page, with a cookie that lets this browser in."""
    response = RedirectResponse("/", 303)
    response.set_cookie(
        cookie_name(request),
        let_in.secret,
        max_age=int(DESK_LIFE_S),
        path="/",
        secure=request.url.scheme == "https",
        httponly=True,
        samesite="strict",
    )
    return response


@router.post("/leave")
def leave(request: Request, who: Reader) -> Response:
    """Let this browser forget the book."""
    devices: Devices = request.app.state.devices
    devices.revoke(who.id)
    response = HTMLResponse(plain_page("You have left", "This browser knows nothing of the book any more."))
    response.delete_cookie(cookie_name(request), path="/", secure=request.url.scheme == "https", httponly=True)
    return response


@router.get("/install-ca", dependencies=[Depends(anyone)])
def install_ca(request: Request) -> Response:
    """How a phone comes to trust this server, so that the app works without signal."""
    settings: WebSettings = request.app.state.settings
    file = settings.keep / CA_FILE
    if not file.is_file():
        return HTMLResponse(plain_page("No certificate is needed here", "This server made none of its own."))
    return HTMLResponse(
        plain_page(
            "Let this phone trust the farm's server",
            "A phone keeps an app for the field only when it trusts where it came from. The certificate below was made "
            "on the farm's own computer. It can vouch for this server and for nothing outside your own network.",
            "Compare these signs with those on the computer's screen before you go on: "
            + fingerprint(file.read_bytes()),
            lists=(
                (
                    "Android: take the certificate below. Then Settings, search for “CA certificate”, Install anyway, "
                    "and choose the file.",
                    "iPhone: take the certificate below in Safari and allow it. Then Settings, “Profile downloaded”, "
                    "Install. Then General, About, Certificate Trust Settings, and switch it on.",
                    "Windows, macOS, Linux: open the file, or import it in the browser's settings under certificates, "
                    "as an authority for web sites.",
                    "Close the browser, open it again, and load the app's address: no warning may appear now.",
                ),
            ),
            link=("/chaffinch-ca.crt", "Take the certificate"),
        )
    )


@router.get("/chaffinch-ca.crt", dependencies=[Depends(anyone)])
def ca_certificate(request: Request) -> Response:
    """The local authority's certificate; its key never leaves the computer."""
    settings: WebSettings = request.app.state.settings
    file = settings.keep / CA_FILE
    if not file.is_file():
        raise Refusal(404, "certificate", "was not made here", "the server runs without one")
    return Response(
        file.read_bytes(),
        media_type="application/x-x509-ca-cert",
        headers={"Content-Disposition": 'attachment; filename="chaffinch-ca.crt"'},
    )

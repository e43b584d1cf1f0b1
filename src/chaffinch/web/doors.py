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
from chaffinch.web.words.plain import plain

router = APIRouter(include_in_schema=False)


@router.get("/enter", dependencies=[Depends(anyone)])
def enter(request: Request, key: Annotated[str, Query(max_length=200)] = "") -> Response:
    """Let the owner's browser in by the link that ``chaffinch serve`` printed, once."""
    devices: Devices = request.app.state.devices
    try:
        let_in = devices.enter(key, "desk browser", client_address(request))
    except Refusal as refusal:
        if refusal.status != 401:
            raise
        said = plain_page(
            plain("enter.none"), plain("enter.none.said"), plain("enter.none.more"), link=("/pair", plain("enter.code"))
        )
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
    response = HTMLResponse(plain_page(plain("left"), plain("left.said")))
    response.delete_cookie(cookie_name(request), path="/", secure=request.url.scheme == "https", httponly=True)
    return response


@router.get("/install-ca", dependencies=[Depends(anyone)])
def install_ca(request: Request) -> Response:
    """How a phone comes to trust this server, so that the app works without signal."""
    settings: WebSettings = request.app.state.settings
    file = settings.keep / CA_FILE
    if not file.is_file():
        return HTMLResponse(plain_page(plain("trust.none"), plain("trust.none.said"), link=("/", plain("home"))))
    return HTMLResponse(
        plain_page(
            plain("trust"),
            plain("trust.said"),
            # A line may break between two signs, and not within one.
            plain("trust.compare", signs=fingerprint(file.read_bytes()).replace(":", ":\u200b")),
            lists=(tuple(plain(f"trust.{step}") for step in ("android", "iphone", "other", "again")),),
            link=("/chaffinch-ca.crt", plain("trust.take")),
        )
    )


@router.get("/chaffinch-ca.crt", dependencies=[Depends(anyone)])
def ca_certificate(request: Request) -> Response:
    """The local authority's certificate; its key never leaves the computer."""
    settings: WebSettings = request.app.state.settings
    file = settings.keep / CA_FILE
    if not file.is_file():
        raise Refusal(404, "certificate", plain("trust.missing"), plain("trust.missing.mend"))
    return Response(
        file.read_bytes(),
        media_type="application/x-x509-ca-cert",
        headers={"Content-Disposition": 'attachment; filename="chaffinch-ca.crt"'},
    )

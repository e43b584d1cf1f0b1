"""How does a browser come in that is not the owner's? With a code, as a phone does, and with the role of that code."""

from __future__ import annotations

from fastapi import APIRouter, Depends, Request
from starlette.responses import Response

from chaffinch.errors import InputError
from chaffinch.web.access import anyone, client_address, refuse_other_site
from chaffinch.web.devices import Devices
from chaffinch.web.doors import with_key
from chaffinch.web.pages.frame import Form, Typed, alone, form_of
from chaffinch.web.problems import Refusal
from chaffinch.web.words.desk import words

router = APIRouter()


@router.get("/pair", dependencies=[Depends(anyone)])
def empty() -> Response:
    """Ask for the code."""
    return alone("pair.html", form=Form({"name": words("pair.name.usual")}))


@router.post("/pair", dependencies=[Depends(anyone)])
def typed_in(request: Request, sent: Typed) -> Response:
    """Let this browser in; wrong codes are counted together with those of phones."""
    refuse_other_site(request)
    devices: Devices = request.app.state.devices
    form = form_of(sent)
    try:
        return with_key(request, devices.enter_by_code(form.get("code"), form.get("name"), client_address(request)))
    except InputError as error:
        form.refuse(error, {"device_name": "name"})
        status, more = 422, {}
    except Refusal as refusal:
        if refusal.status not in (401, 409, 429):
            raise
        form.refuse(InputError(refusal.field, None, refusal.problem, refusal.mend), {"code": "code"})
        status, more = refusal.status, refusal.headers
    # A code is never shown again: who looks over a shoulder later must find nothing.
    form.values["code"] = ""
    response = alone("pair.html", status=status, form=form)
    response.headers.update(more)
    return response

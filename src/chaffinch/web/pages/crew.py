"""Who may come to this book: the devices that were let in, letting one in, and shutting one out."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Path, Request
from starlette.responses import Response

from chaffinch.book.things import things
from chaffinch.book.times import local
from chaffinch.errors import InputError
from chaffinch.web.access import owner
from chaffinch.web.device import ROLES, Device, Role
from chaffinch.web.devices import Devices
from chaffinch.web.pages.frame import Form, Typed, desk_of, form_of, see, show
from chaffinch.web.problems import Refusal
from chaffinch.web.words.desk import words

router = APIRouter()

DeviceId = Annotated[str, Path(pattern="^[0-9a-f-]{36}$")]


@router.get("/devices", dependencies=[Depends(owner)])
def listed(request: Request) -> Response:
    """Drivers of the book, and every device, the newest first."""
    return _page(request, Form(), None)


@router.post("/devices/code", dependencies=[Depends(owner)])
def code(request: Request, sent: Typed) -> Response:
    """A code for one more phone; it is shown once."""
    form = form_of(sent)
    role: Role | None = next((one for one in ROLES if one == form.get("role")), None)
    if role is None:
        form.refuse(InputError("role", form.get("role"), "is no role", f"choose one of {', '.join(ROLES)}"), ("role",))
        return _page(request, form, None, status=422)
    waiting = _devices(request).make_code(role)
    shown = {"code": waiting.secret, "said": words("crew.code.new", role=role), "ends": _time(waiting.ends)}
    return _page(request, form, shown)


@router.get("/devices/{device_id}/revoke", dependencies=[Depends(owner)])
def ask(request: Request, device_id: DeviceId) -> Response:
    """Ask before a device is shut out."""
    return show(request, "revoke.html", "devices", device=_one(request, device_id))


@router.post("/devices/{device_id}/revoke", dependencies=[Depends(owner)])
def revoke(request: Request, device_id: DeviceId) -> Response:
    """Shut a device out, at once."""
    _devices(request).revoke(_one(request, device_id).id)
    return see("/devices")


def _page(request: Request, form: Form, code: dict[str, str] | None, status: int = 200) -> Response:
    who: Any = getattr(request.state, "who", None)
    rows = [
        {
            "id": one.id,
            "name": one.name,
            "role": one.role,
            "kind": one.kind,
            "seen": _time(one.seen),
            "revoked": "" if one.revoked is None else words("crew.revoked", when=_time(one.revoked)),
            "here": who is not None and who.id == one.id,
        }
        for one in _devices(request).every()
    ]
    drivers = things(desk_of(request), "operator")
    return show(request, "devices.html", "devices", status=status, rows=rows, drivers=drivers, code=code, form=form,
                roles=ROLES)  # fmt: skip


def _one(request: Request, device_id: str) -> Device:
    found = next((one for one in _devices(request).every() if one.id == device_id), None)
    if found is None:
        raise Refusal(404, "device", "is not known here", "look at the list of devices")
    return found


def _devices(request: Request) -> Devices:
    found: Devices = request.app.state.devices
    return found


def _time(seconds: float) -> str:
    return local(datetime.fromtimestamp(seconds, UTC).strftime("%Y-%m-%dT%H:%M:%SZ"))

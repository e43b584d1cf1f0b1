"""Letting devices in, listing them, and shutting them out."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Path, Request
from pydantic import BaseModel, Field

from chaffinch.book.desk import utc_now
from chaffinch.errors import InputError
from chaffinch.web.access import Owner, Reader, anyone, client_address
from chaffinch.web.api.reading import Book
from chaffinch.web.device import Device, Kind, Role
from chaffinch.web.devices import Devices
from chaffinch.web.problems import Refusal, answers

router = APIRouter(tags=["devices"])


class PairRequest(BaseModel):
    """A code that the owner's screen shows, and what the device is to be called."""

    code: Annotated[str, Field(max_length=20, description="Six digits; blanks do not matter.")]
    device_name: Annotated[str, Field(max_length=200, description='1 to 60 characters, like "Ann\'s phone".')]


class Paired(BaseModel):
    """What a device needs from now on."""

    token: str = Field(description="Told once; send it as Authorization: Bearer.")
    role: Role
    book: Book
    server_time: str


class CodeRequest(BaseModel):
    """Which role the next device is to have."""

    role: Role


class NewCode(BaseModel):
    """A code to type into the new device."""

    code: str
    role: Role
    ends: str


class OneDevice(BaseModel):
    """A device that was let in."""

    id: str
    name: str
    role: Role
    kind: Kind
    paired: str
    seen: str
    revoked: str | None


@router.post("/pair", dependencies=[Depends(anyone)], responses=answers(400, 401, 409, 413, 422, 429, 503))
def pair(request: Request, wanted: PairRequest) -> Paired:
    """Let a phone in for a code; five wrong tries end the code."""
    let_in = _devices(request).pair(wanted.code, wanted.device_name, client_address(request))
    book = Book(**request.app.state.book)
    return Paired(token=let_in.secret, role=let_in.device.role, book=book, server_time=utc_now())


@router.post("/devices/codes", responses=answers(400, 401, 403, 413, 422, 429, 503))
def make_code(request: Request, _: Owner, wanted: CodeRequest) -> NewCode:
    """A new pairing code, for ten minutes and one device; an older one that waits ends with it."""
    code = _devices(request).make_code(wanted.role)
    return NewCode(code=code.secret, role=code.role, ends=_time(code.ends))


@router.get("/devices", responses=answers(401, 403, 429, 503))
def listed(request: Request, _: Owner) -> list[OneDevice]:
    """Every device, the newest first, those shut out too."""
    return [_shown(one) for one in _devices(request).every()]


@router.delete("/devices/{device_id}", responses=answers(401, 403, 404, 422, 429, 503))
def revoke(request: Request, _: Owner, device_id: Annotated[str, Path(pattern="^[0-9a-f-]{36}$")]) -> OneDevice:
    """Shut a device out, at once."""
    try:
        return _shown(_devices(request).revoke(device_id))
    except InputError as error:
        raise Refusal(404, error.field, error.problem, "see /devices", value=error.value) from None


@router.delete("/me", responses=answers(401, 403, 429, 503))
def leave(request: Request, who: Reader) -> OneDevice:
    """Forget the device that asks: for a phone that is given away."""
    return _shown(_devices(request).revoke(who.id))


def _devices(request: Request) -> Devices:
    found: Devices = request.app.state.devices
    return found


def _shown(device: Device) -> OneDevice:
    parts: dict[str, Any] = {key: getattr(device, key) for key in ("id", "name", "role", "kind")}
    revoked = None if device.revoked is None else _time(device.revoked)
    return OneDevice(**parts, paired=_time(device.paired), seen=_time(device.seen), revoked=revoked)


def _time(seconds: float) -> str:
    return datetime.fromtimestamp(seconds, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")

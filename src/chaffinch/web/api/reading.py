"""What can be read: whose server this is, who is asking, what a phone needs, what has arrived, what a check says."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, Path, Query, Request
from pydantic import BaseModel, Field

from chaffinch import __version__
from chaffinch.book.checks.answer import answer
from chaffinch.book.checks.held import find_check
from chaffinch.book.checks.plain_data import as_json
from chaffinch.book.desk import utc_now
from chaffinch.book.exchange.receiving import sent_since
from chaffinch.book.for_phones import setup
from chaffinch.errors import InputError
from chaffinch.web.access import Reader, anyone
from chaffinch.web.device import Role
from chaffinch.web.forecasts import forecasts_of
from chaffinch.web.problems import Refusal, answers

router = APIRouter(tags=["reading"])


class Book(BaseModel):
    """The book itself."""

    id: str
    title: str


class Health(BaseModel):
    """That this is our server and no sign-in page."""

    app: Literal["chaffinch"]
    book: str = Field(description="Id of the book; a phone knows it from pairing.")
    version: str
    server_time: str


class Me(BaseModel):
    """Who is asking."""

    id: str
    name: str
    role: Role
    book: Book
    server_time: str
    version: str


class Thing(BaseModel):
    """A field, combine … in use."""

    id: str
    name: str
    parts: dict[str, Any]


class Farm(BaseModel):
    """The farm, as far as the book says."""

    country: str | None
    currency: str | None
    report_in: str | None
    hour_cost: str | None = Field(description="Stored cost of one more hour of combining, as written, like 450 /h.")


class CropFigures(BaseModel):
    """A crop's figures; null where none is known for the farm's country."""

    key: str
    name: str
    also: list[str]
    tkw_g: float
    tkw_low: float
    tkw_high: float
    test_weight_kg_hl: float
    bushel_kg: float | None
    market_moisture_pct: float | None
    round_seed: bool
    seed_diameter_mm: float | None
    kernel_density_g_cm3: float | None


class Setup(BaseModel):
    """What a phone needs for a day without signal."""

    book: Book
    farm: Farm
    seasons: list[Thing]
    fields: list[Thing]
    combines: list[Thing]
    operators: list[Thing]
    pans: list[Thing]
    scales: list[Thing]
    crops: list[CropFigures]
    cautions: list[str]
    advice: dict[str, Any] = Field(description="Tables of the advice: causes, signs, changes, places of the leak walk.")
    version: str
    schemas: dict[str, int] = Field(alias="schema", description="Newest schema this server knows, by kind of record.")


class Arrived(BaseModel):
    """Records in the order they arrived."""

    records: list[dict[str, Any]] = Field(description="Sealed envelopes, as they were sent.")
    next_seq: int = Field(description="Ask from here the next time; fewer records than asked for: that was all.")


@router.get("/health", dependencies=[Depends(anyone)], responses=answers(429))
def health(request: Request) -> Health:
    """Tell the server of this book from any other page that answers."""
    return Health(app="chaffinch", book=request.app.state.book["id"], version=__version__, server_time=utc_now())


@router.get("/openapi.json", dependencies=[Depends(anyone)], include_in_schema=False)
def description(request: Request) -> dict[str, Any]:
    """The API's description in OpenAPI 3.1."""
    found: dict[str, Any] = request.app.state.description()
    return found


@router.get("/me", responses=answers(401, 403, 429, 503))
def me(request: Request, who: Reader) -> Me:
    """Who this device is here, and whether it still may come."""
    book = Book(**request.app.state.book)
    return Me(id=who.id, name=who.name, role=who.role, book=book, server_time=utc_now(), version=__version__)


@router.get("/setup", responses=answers(401, 403, 429, 503))
def phone_setup(request: Request, _: Reader) -> Setup:
    """Fields, combines, crew, pans, crops, cautions and advice: all a phone needs to work without signal."""
    return Setup(**setup(request.app.state.desk), version=__version__)


@router.get("/since", responses=answers(401, 403, 422, 429, 503))
def since(
    request: Request,
    _: Reader,
    seq: Annotated[int, Query(ge=0, le=2**53, description="The next_seq of the last answer; 0 for all.")] = 0,
    limit: Annotated[int, Query(ge=1, le=500, description="Records at most.")] = 500,
) -> Arrived:
    """Records that arrived after a place in this book's order."""
    found = sent_since(request.app.state.desk, seq, limit)
    return Arrived(records=list(found.records), next_seq=found.next_seq)


@router.get("/checks/{check_id}", responses=answers(401, 403, 404, 422, 429, 503))
def one_check(
    request: Request,
    _: Reader,
    check_id: Annotated[
        str, Path(pattern="^[0-9a-f-]{4,36}$", description="Its id, or the beginning of it (4 characters or more).")
    ],
) -> dict[str, Any]:
    """A check as it counts now, and what it says: loss, range, verdict, warnings."""
    try:
        logged = find_check(request.app.state.desk, check_id)
    except InputError as error:
        raise Refusal(404, error.field, error.problem, "see /since for what is here", value=error.value) from None
    return {
        "id": logged.id,
        "versions": list(logged.versions.all),
        "disagree": logged.versions.disagree,
        "record": dict(logged.body),
        "answer": as_json(answer(logged.check)),
    }


@router.get("/day", responses=answers(401, 403, 404, 429, 503))
def last_day(request: Request, _: Reader) -> dict[str, Any]:
    """The hours of the day that was planned last on this server, with the time it was worked out (UTC)."""
    found = forecasts_of(request).last
    if found is None:
        raise Refusal(404, "day", "none was planned since this server started", "plan one on the desk's page Day")
    return {**found, "server_time": utc_now()}

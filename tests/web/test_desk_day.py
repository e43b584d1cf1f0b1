"""The desk's page of the day: a forecast sent or typed, its plan, what is wrong beside its field; what phones get."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from desk_farm import ORIGIN, PATIENT_S, PLACEHOLDER, Visitor

sys.path.insert(0, str(Path(__file__).parents[1]))

from starlette.testclient import TestClient

from chaffinch.web.app import make_app
from chaffinch.web.pages.answers import Longer
from chaffinch.web.settings import WebSettings
from day_book import day_book, forecast


@pytest.fixture(scope="module")
def visitor(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Visitor]:
    folder = tmp_path_factory.mktemp("desk-day")
    book = day_book(folder / "season.chaffinch")
    settings = WebSettings(book=str(folder / "season.chaffinch"), keep=folder / "keep", limits=False)
    app = make_app(settings, desk=book.desk)
    app.state.longer = Longer(patience_s=PATIENT_S)
    secret = app.state.devices.enter(app.state.devices.make_link().secret, "desk browser", "127.0.0.1").secret
    with TestClient(app, base_url=ORIGIN) as client:
        yield Visitor(app, client, book, secret)
    book.desk.store.close()


def form(visitor: Visitor, **more: str) -> dict[str, str]:
    ids = visitor.book.ids
    told = {"combine": ids["Old Bess"], "field": ids["Long Hollow"], "hour_cost": "400 /h", "forecast": forecast()}
    return told | more


def test_crops_are_listed_by_their_names(visitor: Visitor) -> None:
    for page in ("/day", "/log", "/setup/field/new"):
        words = visitor.get(page).words
        assert "faba bean field pea flax" in words, page
        assert "faba-bean" not in words, page


def test_nothing_was_planned_yet(visitor: Visitor) -> None:
    assert visitor.get("/api/v1/day").status == 404
    page = visitor.get("/day")
    assert page.status == 200
    assert "bring the forecast yourself" in page.words
    assert not PLACEHOLDER.search(page.words)


def test_a_pasted_forecast_becomes_a_plan_and_reaches_the_phones(visitor: Visitor) -> None:
    sent = visitor.post("/day", form(visitor, area="30 ha"))
    assert sent.status == 303, sent.words
    page = visitor.get(sent.to)
    assert page.status == 200
    assert "hours to work" in page.words
    assert "The cheapest hours that finish 30 ha" in page.words
    assert page.words.index("key out") < page.words.index("Check again at")
    assert "--" not in page.words
    assert page.value("hour_cost") == "400 /h"
    assert page.value("forecast") == forecast().strip("\n") or page.value("forecast") == forecast()
    assert any(tag == "svg" for tag, _ in page.tags.elements)
    assert not PLACEHOLDER.search(page.words)
    last = visitor.get("/api/v1/day")
    assert last.status == 200
    found = last.response.json()
    assert found["issued_at"].endswith("Z")
    assert len(found["day"]["hours"]) == 30
    assert found["day"]["said"][0].startswith("The cheapest hours")


def test_a_file_is_read_as_well(visitor: Visitor) -> None:
    told = form(visitor, forecast="")
    sent = visitor.post("/day", told, files={"file": ("forecast.csv", forecast().encode(), "text/csv")})
    assert sent.status == 303


@pytest.mark.parametrize(
    ("more", "beside", "line"),
    [
        ({"forecast": ""}, "forecast-error", "is empty"),
        (
            {"forecast": "time,temp C,rh %\n2026-08-14 13:00,77,40\n2026-08-14 14:00,80,40"},
            "forecast-error",
            "looks like °F",
        ),
        ({"forecast": "14:00 24 C 40 %\n15:00 25 C 39 %"}, "date-error", "say it like"),
    ],
)
def test_a_wrong_forecast_is_told_beside_it(visitor: Visitor, more: dict[str, str], beside: str, line: str) -> None:
    page = visitor.post("/day", form(visitor, **more))
    assert page.status == 422
    assert line in page.words
    assert any(given.get("id") == beside for _, given in page.tags.elements)
    assert page.value("hour_cost") == "400 /h"


def test_a_figure_that_is_wrong_is_told_beside_its_field(visitor: Visitor) -> None:
    sent = visitor.post("/day", form(visitor, moisture="wet", hour_cost="400 /h"))
    page = visitor.get(sent.to)
    assert page.status == 422
    assert any(given.get("id") == "moisture-error" for _, given in page.tags.elements)


def test_a_forecast_that_is_gone_is_asked_for_again(visitor: Visitor) -> None:
    page = visitor.get("/day", token="0" * 32, hour_cost="400 /h")
    assert page.status == 200
    assert "send it again" in page.words


def test_phones_get_the_plan_made_last_and_only_the_crews(visitor: Visitor) -> None:
    """An old plan that is looked at again is not the newest, and who may only look plans for himself."""
    older = visitor.post("/day", form(visitor, area="30 ha")).to
    assert visitor.get(older).status == 200
    assert visitor.get(visitor.post("/day", form(visitor, area="29 ha")).to).status == 200
    newer = visitor.get("/api/v1/day").response.json()
    assert visitor.get(older).status == 200
    assert visitor.get(older + "&anything=else").status == 200
    found = visitor.get("/api/v1/day").response.json()
    assert (found["day"], found["issued_at"]) == (newer["day"], newer["issued_at"])
    looker = visitor.as_role("reader")
    assert looker.get(looker.post("/day", form(visitor, area="28 ha")).to).status == 200
    assert visitor.get("/api/v1/day").response.json()["day"] == newer["day"]

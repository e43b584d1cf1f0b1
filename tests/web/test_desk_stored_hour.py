"""A stored hour cost at the desk: told under Set-up, gone by on the pages of a combine, advice and paper, and said."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from desk_farm import PLACEHOLDER, Visitor, desk_farm

from chaffinch.book.things import find_thing

SAID = "Stored hour cost $400/h, the farm's."
OWN = "Stored hour cost $250/h, this combine's own."


@pytest.fixture(scope="module")
def visitor(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Visitor]:
    """A desk where the owner stored one with the farm and one with Young Bess."""
    with desk_farm(tmp_path_factory.mktemp("stored")) as visitor:
        ids = visitor.book.ids
        untold = visitor.get(f"/combine/{ids['Old Bess']}")
        assert "Stored hour cost" not in untold.words
        assert "Tell what one more hour of combining costs" in untold.words
        for name, cost in (("Larkhollow", "400 /h"), ("Young Bess", "250 /h")):
            page = visitor.get(f"/thing/{ids[name]}")
            assert page.value("hour_cost") == ""
            saved = visitor.post(f"/thing/{ids[name]}", {"hour_cost": cost, "was-hour_cost": ""})
            assert saved.status == 303, saved.words
        yield visitor


def test_set_up_shows_it_and_refuses_what_is_none(visitor: Visitor) -> None:
    farm = visitor.book.ids["Larkhollow"]
    assert "hour cost 400 /h" in visitor.get("/setup").words
    assert visitor.get(f"/thing/{farm}").value("hour_cost") == "400 /h"

    refused = visitor.post(f"/thing/{farm}", {"hour_cost": "a lot", "was-hour_cost": "400 /h"})
    assert refused.status == 422
    assert 'id="hour_cost-error"' in refused.text
    assert find_thing(visitor.book.desk, "farm", "Larkhollow").parts["hour_cost"] == "400 /h"


@pytest.mark.parametrize(("combine", "said"), [("Old Bess", SAID), ("Young Bess", OWN)])
def test_a_combines_page_goes_by_it_unasked(visitor: Visitor, combine: str, said: str) -> None:
    page = visitor.get(f"/combine/{visitor.book.ids[combine]}")

    assert page.status == 200
    assert said in page.words
    assert page.value("hour_cost") == ""
    assert not PLACEHOLDER.search(page.words)


def test_what_is_told_wins(visitor: Visitor) -> None:
    page = visitor.get(f"/combine/{visitor.book.ids['Old Bess']}", hour_cost="300 /h")

    assert "One more hour costs $300 per hour." in page.words
    assert "Stored hour cost" not in page.words


def test_advice_says_it(visitor: Visitor) -> None:
    assert SAID in visitor.get(f"/check/{visitor.book.ids['checks']}/advice").words


def test_the_phones_setup_has_it(visitor: Visitor) -> None:
    setup = visitor.get("/api/v1/setup").response.json()

    assert setup["farm"]["hour_cost"] == "400 /h"
    assert {one["name"]: one["parts"].get("hour_cost") for one in setup["combines"]} == {
        "Old Bess": None,
        "Young Bess": "250 /h",
    }

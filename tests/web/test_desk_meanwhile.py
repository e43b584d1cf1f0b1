"""What if the book goes on while a form is open: by the command line, by a second server, by a server started anew?"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from desk_farm import ORIGIN, Visitor, desk_farm
from starlette.testclient import TestClient
from test_desk_forms import a_stop

from chaffinch.book.checks.entering import replace_check
from chaffinch.book.checks.held import find_check
from chaffinch.book.checks.looking import readings
from chaffinch.book.desk import Desk, open_desk
from chaffinch.book.things import edit_label, find_thing
from chaffinch.records.checkfile import check_from_table, check_to_table
from chaffinch.web.app import make_app


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Visitor]:
    with desk_farm(tmp_path) as visitor:
        yield visitor


@pytest.fixture
def elsewhere(desk: Visitor) -> Iterator[Desk]:
    """The same book, opened by another program."""
    other = open_desk(desk.book.desk.store.address, device="another program")
    yield other
    other.store.close()


def form_of(page: object) -> dict[str, str]:
    """What a browser would send back of a page's form, hidden fields too."""
    tags = page.tags  # type: ignore[attr-defined]
    hidden = {g["name"]: g.get("value", "") for t, g in tags.elements if t == "input" and g.get("type") == "hidden"}
    return {**hidden, **tags.values}


def test_a_correction_of_what_was_corrected_meanwhile_is_asked_about(desk: Visitor, elsewhere: Desk) -> None:
    """Else the catch left alone in the form would quietly take back the other correction."""
    opened = desk.book.ids["checks"]
    sent = form_of(desk.get(f"/check/{opened}/correct")) | {"reason": "it was 7 km/h", "speed": "7 km/h"}
    table = check_to_table(find_check(elsewhere, opened).check)
    table["catch"][0]["amount"] = "99 g"
    replace_check(elsewhere, [opened], check_from_table(table), reason="the slip of the scale")

    page = desk.post(f"/check/{opened}/correct", {**sent, "action": "save"})
    assert page.status == 409
    assert "was corrected meanwhile" in page.words
    assert page.value("reason") == "it was 7 km/h"
    assert page.value("speed") == "7 km/h"
    now = find_check(elsewhere, opened)
    assert now.check.catches[0].amount.value == 99.0
    # Sent once more it is meant.
    again = desk.post(f"/check/{opened}/correct", {**form_of(page), "catch-1-amount": "99 g", "action": "save"})
    assert again.status == 303, again.words
    now = find_check(elsewhere, opened)
    assert (now.check.catches[0].amount.value, round(now.check.speed_kmh or 0.0, 6)) == (99.0, 7.0)
    assert not now.versions.disagree


def test_a_crop_by_another_of_its_names_stays_when_something_else_is_edited(desk: Visitor, elsewhere: Desk) -> None:
    there = find_thing(elsewhere, "field", "Long Hollow")
    edit_label(elsewhere, there, "crop", "Oilseed rape")
    page = desk.get(f"/thing/{there.id}")
    assert page.value("crop") == "Oilseed rape"
    assert desk.post(f"/thing/{there.id}", {**form_of(page), "area": "61 ha"}).status == 303
    now = find_thing(elsewhere, "field", "Long Hollow").parts
    assert (now["crop"], now["area"]) == ("Oilseed rape", "61 ha")


def test_of_a_thing_changed_meanwhile_only_what_was_touched_is_asked_about(desk: Visitor, elsewhere: Desk) -> None:
    there = find_thing(elsewhere, "field", "Long Hollow")
    sent = form_of(desk.get(f"/thing/{there.id}"))
    edit_label(elsewhere, there, "area", "55 ha")
    edit_label(elsewhere, find_thing(elsewhere, "field", "Long Hollow"), "price", "610 /t")

    page = desk.post(f"/thing/{there.id}", {**sent, "note": "stony", "price": "620 /t"})
    assert page.status == 422
    assert "was changed meanwhile to 610" in page.words
    assert page.value("price") == "620 /t"
    assert page.value("area") == "55 ha", "left alone here: the newer value is shown"
    now = find_thing(elsewhere, "field", "Long Hollow").parts
    assert (now["note"], now["area"], now["price"]) == ("stony", "55 ha", "610 /t")

    assert desk.post(f"/thing/{there.id}", form_of(page)).status == 303
    now = find_thing(elsewhere, "field", "Long Hollow").parts
    assert (now["note"], now["area"], now["price"]) == ("stony", "55 ha", "620 /t")


def test_a_form_outlives_its_server_and_two_servers_share_a_book(desk: Visitor) -> None:
    """The cookie and the second secret of a form hold at any server of the book; none of it is in a server's memory."""
    sent = a_stop(desk)
    other = open_desk(desk.book.desk.store.address, device="desk")
    app = make_app(desk.app.state.settings, desk=other)
    with TestClient(app, base_url=ORIGIN) as client:
        second = Visitor(app, client, desk.book, desk.secret)
        page = second.post("/log", sent)
        assert page.status == 303, page.words
        assert desk.get(page.to).status == 200, "the first server shows it at once"
        # Sent to the first server too, because the answer was lost: the book has it.
        assert "the book has this check already" in desk.post("/log", sent).words
        assert second.post("/leave").status == 200
    other.store.close()
    assert desk.get("/today").status == 401, "who left at one has left at the other"


def test_a_monitor_set_otherwise_is_taken_with_a_tick(desk: Visitor) -> None:
    first = a_stop(desk, bar="40", per="time")
    assert desk.post("/log", first).status == 303
    other = a_stop(desk, bar="41", per="area", at="2026-08-20 12:30")
    page = desk.post("/log", other)
    assert page.status == 422
    assert "is not as before" in page.words
    assert "chaffinch book" not in page.words
    assert "tick the box below" in page.words
    boxes = [g["name"] for t, g in page.tags.elements if t == "input" and g.get("type") == "checkbox"]
    assert boxes == ["otherway"]
    count = len(readings(desk.book.desk, "monitor"))
    assert desk.post("/log", {**other, "otherway": "yes"}).status == 303
    found = readings(desk.book.desk, "monitor")
    assert len(found) == count + 1
    assert found[-1].body["per"] == "area"


def test_a_bar_counts_as_in_the_same_crop(desk: Visitor) -> None:
    """A machine's monitor may be set otherwise in another crop: the last bar of any crop says nothing of this one."""
    assert desk.post("/log", a_stop(desk, bar="40", per="time")).status == 303
    wheat = a_stop(desk, field="", crop="wheat", bar="30", per="area", otherway="yes", at="2026-08-20 12:30")
    wheat["catch-1-amount"] = "30 g"
    assert desk.post("/log", wheat).status == 303
    assert desk.post("/log", a_stop(desk, bar="44", at="2026-08-20 13:30")).status == 303
    assert readings(desk.book.desk, "monitor")[-1].body["per"] == "time"

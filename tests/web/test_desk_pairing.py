"""A browser of the crew, or one that may only look, comes in with a code and sees what its role may."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from desk_farm import ORIGIN, Page, Visitor, desk_farm
from test_desk_forms import a_stop

from chaffinch.book.things import find_thing
from chaffinch.web.access import RANK, declared
from chaffinch.web.device import ROLES, Role
from chaffinch.web.devices import WRONG_TRIES


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Visitor]:
    with desk_farm(tmp_path_factory.mktemp("desk")) as visitor:
        yield visitor


@pytest.fixture
def fresh(tmp_path: Path) -> Iterator[Visitor]:
    """One whose devices nobody guessed at."""
    with desk_farm(tmp_path, filled=False) as visitor:
        yield visitor


def let_in(desk: Visitor, role: Role, name: str = "kitchen tablet") -> Visitor:
    """A browser that typed a code of that role."""
    code = desk.app.state.devices.make_code(role).secret
    # As it is copied from the owner's page, whose figures do not part at the end of a line.
    page = send(desk, {"code": f"{code[:3]}\u202f{code[3:]}", "name": name})
    assert (page.status, page.to) == (303, "/")
    cookie = page.response.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie
    return Visitor(desk.app, desk.client, desk.book, cookie.partition("=")[2].partition(";")[0])


def send(desk: Visitor, data: dict[str, str], **headers: str) -> Page:
    answered = desk.client.post("/pair", data=data, headers=headers, follow_redirects=False)
    desk.client.cookies.clear()
    return Page.of(answered)


def test_the_page_says_nothing_of_the_book(desk: Visitor) -> None:
    answered = desk.client.get("/pair")
    page = Page.of(answered)
    assert page.status == 200
    for name in ("Larkhollow", "Old Bess", "Long Hollow"):
        assert name not in page.text
    assert 'href="/pair"' in desk.client.get("/today", headers={"Accept": "text/html"}).text


@pytest.mark.parametrize("role", ROLES)
def test_each_role_opens_the_pages_it_may(desk: Visitor, role: Role) -> None:
    browser = let_in(desk, role)
    opened = 0
    for route in declared(desk.app):
        if route.role is None or route.method != "GET" or "{" in route.path or route.path.startswith("/api"):
            continue
        status = browser.get(route.path).status
        assert (status == 403) == (RANK[role] < RANK[route.role]), (route, status)
        opened += status == 200
    assert opened >= {"reader": 8, "crew": 9, "owner": 10}[role]
    assert browser.get("/").to == "/today"


def test_the_crew_logs_and_adds_what_a_stop_needs(desk: Visitor) -> None:
    crew = let_in(desk, "crew")
    assert crew.post("/log", a_stop(desk)).status == 303
    assert crew.post("/setup/pan/new", {"name": "red tray", "area": "0.3 m2"}).status == 303
    assert find_thing(desk.book.desk, "pan", "red tray").parts["area"]
    for kind in ("farm", "season"):
        assert crew.get(f"/setup/{kind}/new").status == 403
        assert crew.post(f"/setup/{kind}/new", {"name": "x"}).status == 403
    shown = crew.get("/setup").text
    assert "/setup/pan/new" in shown
    assert "/setup/season/new" not in shown
    thing = crew.get(f"/thing/{desk.book.ids['Old Bess']}")
    assert "Save" not in thing.words
    assert crew.post(f"/thing/{desk.book.ids['Old Bess']}", {"name": "Bess"}).status == 403


def test_a_browser_is_listed_and_shut_out_like_any_device(desk: Visitor) -> None:
    reader = let_in(desk, "reader")
    assert reader.post("/log", a_stop(desk)).status == 403
    assert "kitchen tablet" in desk.get("/devices").words
    device = next(one for one in desk.app.state.devices.every() if one.name == "kitchen tablet")
    assert (device.role, device.kind) == ("reader", "desk")
    desk.app.state.devices.revoke(device.id)
    assert reader.get("/today").status == 401


def test_a_code_serves_one_browser_and_wrong_ones_are_counted(fresh: Visitor) -> None:
    desk = fresh
    devices = desk.app.state.devices
    code = devices.make_code("owner").secret
    wrong = f"{(int(code) + 1) % 1_000_000:06d}"
    page = send(desk, {"code": wrong, "name": "x"})
    assert page.status == 401
    assert "is not one that waits" in page.words
    assert wrong not in page.text, "a code is not shown again"
    assert page.value("name") == "x"
    statuses = [send(desk, {"code": wrong, "name": "x"}).status for _ in range(WRONG_TRIES + 2)]
    assert 429 in statuses, "who keeps guessing waits"
    assert send(desk, {"code": code, "name": "x"}).status == 429

    nameless = send(desk, {"code": code, "name": "  "})
    assert nameless.status == 422
    assert "must have 1 to 60 characters" in nameless.words


def test_another_site_cannot_send_the_form(desk: Visitor) -> None:
    code = desk.app.state.devices.make_code("crew").secret
    for headers in ({"Origin": "https://evil.example"}, {"Sec-Fetch-Site": "cross-site"}):
        assert send(desk, {"code": code, "name": "x"}, **headers).status == 403
    assert send(desk, {"code": code, "name": "x"}, Origin=ORIGIN).status == 303

"""Every route of the app × every role × nobody: taken from the app itself, so that a new route is in it at once."""

from __future__ import annotations

import re
from typing import Any

import pytest
from fastapi import APIRouter, Depends, FastAPI
from served import ORIGIN, Served

from chaffinch.errors import ChaffinchError
from chaffinch.web.access import RANK, Declared, Who, anyone, crew, declared, owner, reader
from chaffinch.web.device import ROLES, Role

PATH_PART = re.compile(r"\{(\w+)(?::\w+)?\}")
NO_ID = "00000000-0000-4000-8000-000000000000"


def address(route: Declared) -> str:
    """An address of that route; the thing it names is not there."""
    return PATH_PART.sub(lambda m: "0" * 64 if m[1] == "digest" else NO_ID, route.path)


def ask(served: Served, route: Declared, headers: dict[str, str]) -> int:
    """Status of an empty request."""
    found = served.client.request(route.method, address(route), headers=headers, follow_redirects=False)
    return int(found.status_code)


def test_every_route_by_every_role(served: Served) -> None:
    """Nobody: 401. Too low a role: 403. Else neither, whatever else may be wrong with an empty request."""
    routes = declared(served.app)
    assert len(routes) >= 20
    seen = 0
    for route in routes:
        if route.role is None:
            assert ask(served, route, {}) not in (403, 500), route
            continue
        for headers in ({}, {"Authorization": "Bearer nobody"}, {"Cookie": f"{served.cookie}=nobody"}):
            assert ask(served, route, headers) == 401, (route, headers)
        for role in ROLES:
            # A device of its own each time: the route may be the one by which it leaves.
            status = ask(served, route, served.phone(role))
            enough = RANK[role] >= RANK[route.role]
            assert (status not in (401, 403)) if enough else status == 403, (route, role, status)
            assert status < 500, (route, role, status)
            seen += 1
    assert seen >= 3 * 8


@pytest.mark.parametrize("role", [None, *ROLES])
@pytest.mark.parametrize(
    ("method", "path", "needs", "body"),
    [
        ("POST", "/api/v1/batch", "crew", {"envelopes": []}),
        ("POST", "/api/v1/devices/codes", "owner", {"role": "reader"}),
        ("PUT", f"/api/v1/photos/{'0' * 64}", "crew", None),
    ],
)
def test_writes_with_a_sound_body(
    served: Served, method: str, path: str, needs: Role, body: dict[str, Any] | None, role: Role | None
) -> None:
    headers = {} if role is None else served.phone(role)
    status = served.client.request(method, path, json=body, headers=headers).status_code
    expected = 401 if role is None else 403 if RANK[role] < RANK[needs] else 200 if body is not None else 422
    assert status == expected


def test_every_write_from_a_browser_needs_its_second_secret(served: Served) -> None:
    """Every route that changes anything, from the app itself: without the secret, or from another site, it refuses."""
    seen = 0
    for route in declared(served.app):
        if route.role is None or route.method in ("GET", "HEAD"):
            continue
        browser = served.browser()
        bare = {"Cookie": browser["Cookie"]}
        foreign = {**browser, "Origin": "https://evil.example"}
        for headers in (bare, {**bare, "X-CSRF": "0" * 64}, foreign):
            status = ask(served, route, headers)
            assert status == 403, (route, status)
        assert ask(served, route, browser) != 403, route
        seen += 1
    assert seen >= 6


def test_a_route_that_does_not_say_who_it_is_for_is_refused() -> None:
    app = FastAPI(openapi_url=None, docs_url=None, redoc_url=None)
    router = APIRouter()

    @router.get("/forgotten")
    def forgotten() -> str:
        return "everything"

    app.include_router(router)
    with pytest.raises(ChaffinchError, match=r"/forgotten must say who it is for"):
        declared(app)


def test_a_mount_or_plain_route_is_refused_too() -> None:
    from starlette.responses import PlainTextResponse

    app = FastAPI(openapi_url=None, docs_url=None, redoc_url=None)
    app.mount("/files", PlainTextResponse("all of them"))
    with pytest.raises(ChaffinchError, match="/files"):
        declared(app)


def test_of_two_roles_said_the_higher_one_holds(served: Served) -> None:
    router = APIRouter(dependencies=[Depends(reader)])

    @router.get("/inner", dependencies=[Depends(owner)])
    def inner() -> str:
        return "in"

    @router.get("/open", dependencies=[Depends(anyone)])
    def still_closed() -> str:
        return "in"

    @router.get("/crew")
    def for_crew(who: Who = Depends(crew)) -> str:  # noqa: B008 - how the framework is told
        return who.role

    served.app.include_router(router)
    found = {one.path: one.role for one in declared(served.app) if one.path in ("/inner", "/open", "/crew")}
    assert found == {"/inner": "owner", "/open": "reader", "/crew": "crew"}
    assert served.client.get("/inner", headers=served.phone("crew")).status_code == 403
    assert served.client.get("/inner", headers=served.phone("owner")).status_code == 200
    assert served.client.get("/open").status_code == 401
    assert served.client.get("/crew", headers=served.phone("owner")).json() == "owner"


def test_a_phones_token_in_a_cookie_and_a_browsers_secret_as_token_do_not_count(served: Served) -> None:
    """Each kind comes by its own way, so that no page can be opened with a phone's token without its own protection."""
    token = served.phone("owner")["Authorization"].removeprefix("Bearer ")
    assert served.client.get("/api/v1/me", headers={"Cookie": f"{served.cookie}={token}"}).status_code == 401
    browser = served.browser()
    secret = browser["Cookie"].removeprefix(f"{served.cookie}=")
    assert served.client.get("/api/v1/me", headers={"Authorization": f"Bearer {secret}"}).status_code == 401
    assert served.client.get("/api/v1/me", headers=browser).json()["role"] == "owner"
    assert browser["Origin"] == ORIGIN


def test_a_page_without_a_device_tells_a_person_what_to_do(served: Served) -> None:
    answered = served.client.post("/leave")
    assert answered.status_code == 401
    assert "let it in with a code of the owner, or open the link" in answered.text
    assert 'href="/pair"' in answered.text
    assert answered.headers["content-type"].startswith("text/html")

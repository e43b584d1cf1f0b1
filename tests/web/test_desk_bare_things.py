"""Things of which a book knows nothing but the name, in any script: every page that lists them is shown."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from desk_farm import Visitor, desk_farm

from chaffinch.book.things import add_thing
from chaffinch.records.kinds import KINDS
from chaffinch.web.access import declared

MUST = {"cut_width": "12 m", "area": "0.4 m2", "step": "0.1 g"}
NAMES = ("Heron", "حقل الشمال", "北の畑", "a" * 80, "Zoë's ½ acre")


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Visitor]:
    with desk_farm(tmp_path_factory.mktemp("desk")) as visitor:
        for kind in KINDS.values():
            # A second farm or season would change what is shown of the others, and a note has no name.
            if kind.thing and kind.name not in ("farm", "season", "note"):
                must = {part.name: MUST[part.name] for part in kind.parts if part.must and part.name != "name"}
                for name in NAMES:
                    visitor.book.ids[f"{kind.name} {name}"] = add_thing(
                        visitor.book.desk, kind.name, {"name": name, **must}
                    ).id
        add_thing(visitor.book.desk, "season", {"name": "a season without days"})
        yield visitor


def pages(desk: Visitor) -> list[str]:
    """Addresses of every page a person may look at, the one of each thing and record among them."""
    found = []
    for route in declared(desk.app):
        if route.method != "GET" or route.path.startswith(("/static", "/app", "/api", "/enter")):
            continue
        if "{" not in route.path:
            found.append(route.path)
        elif re.search(r"^/(combine|field|thing)/\{\w+\}$", route.path):
            found += [re.sub(r"\{\w+\}", one, route.path) for one in desk.book.ids.values() if isinstance(one, str)]
    return found


def test_no_page_fails_over_what_was_not_said(desk: Visitor) -> None:
    addresses = pages(desk)
    assert {"/today", "/log", "/checks", "/seasons", "/combines", "/trials", "/setup", "/day"} <= set(addresses)
    assert len(addresses) > 60
    failed = {path: status for path in addresses if (status := desk.get(path).status) >= 500}
    assert failed == {}
    for path in ("/log", "/seasons", "/setup", "/checks"):
        assert NAMES[1] in desk.get(path).words


def test_a_phone_is_told_of_them(desk: Visitor) -> None:
    devices = desk.app.state.devices
    key = devices.pair(devices.make_code("crew").secret, "Ann's phone", "10.0.0.1").secret
    setup = desk.client.get("/api/v1/setup", headers={"Authorization": f"Bearer {key}"}).json()
    for kind in ("fields", "combines", "operators", "pans", "scales"):
        assert set(NAMES) <= {one["name"] for one in setup[kind]}

"""What of all that was handed over does the book lack? And two books under one name, whose browsers both stay in."""

from __future__ import annotations

import gc
import warnings
from contextlib import ExitStack
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from desk_farm import desk_farm
from farm_records import check, uid
from served import ORIGIN, Served, is_problem

from chaffinch.web.access import csrf_of
from chaffinch.web.api.sending import MOST_ASKED
from chaffinch.web.device import Role

API = "/api/v1"
PICTURE = b"\xff\xd8\xff a picture"


def asked(served: Served, headers: dict[str, str], **what: Any) -> Any:
    return served.client.post(f"{API}/missing", json=what, headers=headers)


def test_what_is_not_here_is_told_by_id_and_hash(served: Served) -> None:
    """Taken, set aside, never seen, and the same id with another hash."""
    phone = served.phone()
    taken, aside, unseen = check(700), check(700, mass_g=13.5), check(701)
    assert [one["outcome"] for one in served.send(phone, [taken, aside])] == ["accepted", "conflict"]
    digest = sha256(PICTURE).hexdigest()
    assert served.client.put(f"{API}/photos/{digest}", content=PICTURE, headers=phone).status_code == 200
    named = [{"id": one.id, "hash": one.hash} for one in (taken, aside, unseen)]
    other = {"id": uid(700), "hash": "0" * 64}
    found = asked(served, phone, records=[*named, other], photos=[digest, "1" * 64]).json()
    assert found == {"records": [named[2], other], "photos": ["1" * 64]}
    assert asked(served, phone).json() == {"records": [], "photos": []}


def test_a_whole_question_goes_through_and_a_larger_one_is_refused(served: Served) -> None:
    phone = served.phone()
    most = [{"id": uid(n), "hash": f"{n:064x}"} for n in range(10_000, 10_000 + MOST_ASKED)]
    pictures = [one["hash"] for one in most]
    found = asked(served, phone, records=most, photos=pictures)
    assert (found.status_code, len(found.json()["records"]), len(found.json()["photos"])) == (200, *[MOST_ASKED] * 2)
    is_problem(asked(served, phone, records=[*most, most[0]]), 422)


@pytest.mark.parametrize("photo", ["../farm.chaffinch", "..", "A" * 64, "0" * 63, "0" * 64 + "\n", ""])
def test_only_a_hash_names_a_picture(served: Served, photo: str) -> None:
    is_problem(asked(served, served.phone(), photos=[photo]), 422)


def test_two_books_under_one_name_keep_their_browsers(tmp_path: Path) -> None:
    """A browser sends the cookies of a host to every port: under one name the second would push out the first."""
    jar: dict[str, str] = {}
    folders = [tmp_path / name for name in ("one", "two")]
    for one in folders:
        one.mkdir()
    with ExitStack() as stack:
        books = [stack.enter_context(desk_farm(one, filled=False)) for one in folders]
        for book in books:
            link = book.app.state.devices.make_link().secret
            came = book.client.get(f"/enter?key={link}", headers={"Cookie": sent(jar)}, follow_redirects=False)
            name, _, value = came.headers["set-cookie"].partition(";")[0].partition("=")
            jar[name] = value
            book.client.cookies.clear()
        assert len(jar) == 2
        for book in books:
            assert book.client.get(f"{API}/me", headers={"Cookie": sent(jar)}).json()["role"] == "owner"


def sent(jar: dict[str, str]) -> str:
    return "; ".join(f"{name}={value}" for name, value in jar.items())


@pytest.mark.parametrize(("role", "csrf", "status"), [("crew", True, 403), ("owner", False, 403), ("owner", True, 303)])
def test_a_file_that_is_refused_is_put_away(served: Served, role: Role, csrf: bool, status: int) -> None:
    """A file too large for memory lies open on disk: it is closed whoever sent it, before the answer."""
    device = served.devices.enter_by_code(served.devices.make_code(role).secret, "tablet", "10.0.0.1")
    rows = b"date,crop,catch\n" + b"2026-08-14,canola,21.5 g\n" * 60_000
    headers = {"Cookie": f"{served.cookie}={device.secret}", "Origin": ORIGIN}
    form = {"csrf": csrf_of(device.secret) if csrf else "0" * 64}
    with warnings.catch_warnings(record=True) as told:
        warnings.simplefilter("always")
        found = served.client.post(
            "/import", data=form, files={"file": ("a.csv", rows)}, headers=headers, follow_redirects=False
        )
        gc.collect()
    assert found.status_code == status
    assert [str(one.message) for one in told if issubclass(one.category, ResourceWarning)] == []

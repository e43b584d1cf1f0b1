"""Text that would be code, in every part that takes text: it stays text, on both databases and on every page."""

from __future__ import annotations

from typing import Any

import pytest
from farm_records import COMBINE, check, farm, identities, problems, sealed, uid
from served import Served, is_problem

from chaffinch.records.kinds import KINDS
from chaffinch.web.plain_page import plain_page

API = "/api/v1"

NASTY = [
    "<script>alert(1)</script>",
    "'\"><img src=x onerror=alert(1)>",
    "'; DROP TABLE record; --",
    "' OR '1'='1",
    "%' UNION SELECT secret_hash FROM device --",
    "../../../../etc/passwd",
    "{{7*7}}${7*7}#{7*7}",
    "\\x00%00\\",
    "a' || (SELECT 1) || 'b",
    "🌾 \u202etxet",
]


def named_things(text: str) -> dict[str, dict[str, Any]]:
    """A record of every kind with that text in every part that takes free text."""
    needs: dict[str, dict[str, Any]] = {
        "combine": {"cut_width": "12 m"},
        "scale": {"step": "0.1 g"},
        "monitor": {"taken_at": "2026-08-14T09:00:00Z", "combine": uid(COMBINE), "reading": 34},
        "trial": {"taken_at": "2026-08-14T09:00:00Z", "combine": uid(COMBINE), "a": [], "b": []},
        "weather": {"taken_at": "2026-08-14T09:00:00Z", "conditions": {"air_temperature_c": 24.5}},
        "photo": {"taken_at": "2026-08-14T09:00:00Z", "of": uid(10), "sha256": "0" * 64, "bytes": 3},
        "report": {"issued_at": "2026-08-14T09:00:00Z", "result": {text: text}},
        "edit": {"target": uid(4), "value": text, "revision": 1},
        "check": dict(check(10).body),
    }
    found = {}
    for kind in KINDS.values():
        texts = {p.name: text for p in kind.parts if p.holds in ("name", "text") and p.name != "field"}
        if kind.name == "farm":
            texts["country"] = "CA"
        found[kind.name] = texts | needs.get(kind.name, {}) | ({"field": "note"} if kind.name == "edit" else {})
    return found


@pytest.mark.parametrize("text", NASTY)
def test_nasty_text_in_every_part_stays_text(served_on_each: Served, text: str) -> None:
    """It is stored and given back as it was, or refused by name; no table is lost, nothing is run."""
    owner = served_on_each.phone("owner")
    sent = [sealed(100 + n, kind, body) for n, (kind, body) in enumerate(named_things(text).items())]
    receipts = served_on_each.send(owner, sent)
    kept = {r["id"] for r in receipts if r["outcome"] == "accepted"}
    assert len(kept) >= len(sent) - 1, [r for r in receipts if r["outcome"] != "accepted"]
    arrived = served_on_each.client.get(f"{API}/since?seq=4", headers=owner)
    assert arrived.headers["content-type"] == "application/json"
    assert [one["body"] for one in arrived.json()["records"]] == [dict(e.body) for e in sent if e.id in kept]
    setup = served_on_each.client.get(f"{API}/setup", headers=owner).json()
    assert text in [one["name"] for one in setup["combines"]]
    assert len(identities(served_on_each.desk.store)) == len(farm()) + len(kept)
    assert problems(served_on_each.desk.store) == ()


@pytest.mark.parametrize("text", NASTY)
def test_nasty_text_in_an_address_stays_text(served: Served, text: str) -> None:
    owner = served.phone("owner")
    for path in (f"{API}/checks/", f"{API}/devices/", f"{API}/photos/", "/static/", "/enter?key=", "/"):
        answered = served.client.get(path + text, headers=owner, follow_redirects=False)
        assert answered.status_code < 500
        assert "<script>alert" not in answered.text
        assert "<img src=x" not in answered.text
    for key in ("seq", "limit"):
        assert is_problem(served.client.get(f"{API}/since", params={key: text}, headers=owner), 422, key)


@pytest.mark.parametrize("text", NASTY)
def test_nasty_text_as_name_and_code_of_a_device(served: Served, text: str) -> None:
    wrong = served.client.post(f"{API}/pair", json={"code": text[:20], "device_name": "guess"})
    assert wrong.status_code in (401, 429)
    served.clock.now += 10.0
    code = served.devices.make_code("crew").secret
    answered = served.client.post(f"{API}/pair", json={"code": code, "device_name": text})
    if not text.isprintable():
        assert is_problem(answered, 422, "device_name")
        return
    listed = served.client.get(f"{API}/devices", headers=served.phone("owner")).json()
    assert text in [one["name"] for one in listed]


def test_a_plain_page_shows_text_as_text() -> None:
    page = plain_page(NASTY[0], NASTY[1], lists=((NASTY[0],),), link=("/a?b=\"'<", NASTY[1]))
    assert "<script" not in page
    assert "<img" not in page
    assert page.count("&lt;script&gt;") == 3


def test_a_refusal_page_shows_text_as_text(served: Served) -> None:
    answered = served.client.get("/<script>alert(1)</script>")
    assert answered.status_code == 404
    assert "<script" not in answered.text

"""Does a form refuse what the command line refuses, in the same line, and is nothing typed ever lost?"""

from __future__ import annotations

import itertools
import json
from base64 import urlsafe_b64encode
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from desk_farm import ORIGIN, Visitor, desk_farm

from chaffinch.book.checks.held import checks_where, find_check
from chaffinch.book.checks.looking import readings
from chaffinch.book.things import find_thing, named, things
from chaffinch.book.trials.trial import trials
from chaffinch.errors import BookError
from chaffinch.records.checkfile import check_to_table
from chaffinch.sync.envelope import seal
from chaffinch.web.forms import LONGEST_TYPED, MOST_FIELDS

PHONE_CHECK = {
    "crop": "canola", "country": "CA", "limit": "60 kg/ha", "combine": {"cut_width": "12.2 m", "drop_width": "1.7 m"},
    "catch": [{"place": "discharge", "pan": "0.4 m2", "amount": "21.5 g"}],
}  # fmt: skip


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Visitor]:
    with desk_farm(tmp_path) as visitor:
        yield visitor


def a_stop(desk: Visitor, **other: str) -> dict[str, str]:
    ids = desk.book.ids
    return {
        "field": ids["Long Hollow"],
        "combine": ids["Old Bess"],
        "operator": ids["Ann"],
        "crop": "",
        "at": "2026-08-20 10:30",
        "speed": "6.2 km/h",
        "spreading": "",
        "rows": "3",
        "catch-1-place": "discharge",
        "catch-1-pan": "0.4 m2",
        "catch-1-amount": "12.5 g",
        "catch-2-place": "",
        "catch-2-pan": "",
        "catch-2-amount": "9,8 g",
        "catch-3-amount": "",
        "action": "save",
        **other,
    }


def test_a_check_is_logged_as_typed(desk: Visitor) -> None:
    sent = a_stop(
        desk, settings="fan speed = 900 rpm\n\nrotor speed = 600,5 rpm", **{"condition-humidity_pct": "55 %"}, bar="40",
        per="time",
    )  # fmt: skip
    page = desk.post("/log", sent)
    assert page.status == 303, page.words
    logged = find_check(desk.book.desk, page.to.removeprefix("/check/"))
    table = check_to_table(logged.check)
    assert [c["amount"] for c in table["catch"]] == ["12.5 g", "9.8 g"]
    assert [c["place"] for c in table["catch"]] == ["discharge", "discharge"], "an empty place is as above"
    assert table["speed"] == "6.2 km/h"
    assert logged.body["field"] == desk.book.ids["Long Hollow"]
    assert logged.body["season"] == desk.book.ids["2026"], "the field's own"
    assert logged.body["settings"] == [
        {"name": "fan speed", "value": 900.0, "unit": "rpm"}, {"name": "rotor speed", "value": 600.5, "unit": "rpm"},
    ]  # fmt: skip
    assert logged.body["conditions"] == {"humidity_pct": 55.0}
    assert table["price"] == "600.0 /t", "the field's price"
    bar = readings(desk.book.desk, "monitor")[-1]
    assert (bar.body["reading"], bar.body["per"], bar.body["check"]) == (40.0, "time", logged.id)
    record = desk.book.desk.store
    assert record is not None
    assert find_check(desk.book.desk, logged.id).body["taken_at"].startswith("2026-08-20T")
    assert desk.get(page.to).status == 200


SLIPS: dict[str, tuple[dict[str, str], str, str]] = {
    "no unit": ({"catch-1-amount": "12.5"}, "catch-1-amount", "catch 1, amount"),
    "below nothing": ({"catch-2-amount": "-3 g"}, "catch-2-amount", "catch 2, amount"),
    "no pan": ({"catch-1-pan": ""}, "catch-1-pan", "catch 1, pan"),
    "pan no size": ({"catch-1-pan": "the blue one"}, "catch-1-pan", "catch 1"),
    "no catch": ({"catch-1-amount": "", "catch-2-amount": ""}, "catch", "catch: is missing"),
    "speed": ({"speed": "fast"}, "speed", "speed"),
    "hour": ({"at": "yesterday"}, "at", "is not a time we can read"),
    "ahead": ({"at": "2031-08-20 10:30"}, "at", "more than a day ahead"),
    "setting": ({"settings": "fan speed 900"}, "settings", "is not NAME = NUMBER UNIT"),
    "thousands": ({"settings": "rotor = 1,100 rpm"}, "settings", "can be read in two ways"),
    "no number": ({"settings": "rotor = fast rpm"}, "settings", "is not a number"),
    "bar thousands": ({"bar": "1,100", "per": "time"}, "bar", "can be read in two ways"),
    "twice": ({"settings": "fan = 1 rpm\nFAN = 2 rpm"}, "settings", "is said twice"),
    "condition": ({"condition-humidity_pct": "140"}, "condition-humidity_pct", "beyond what can be meant"),
    "side": ({"side": "A"}, "trial", "is missing beside the other"),
    "bar": ({"bar": "lots"}, "bar", "is not a number"),
    "bar per": ({"bar": "40"}, "per", "is not told"),
    "crop": ({"crop": "wheat"}, "crop", "is not the crop of Long Hollow"),
    "step": ({"step": "0 g"}, "step", "step"),
}


@pytest.mark.parametrize("slip", SLIPS)
def test_an_error_stands_beside_its_field_and_nothing_is_lost(desk: Visitor, slip: str) -> None:
    changed, name, said = SLIPS[slip]
    sent = a_stop(desk, note="x", **{"catch-3-pan": "2 ft x 2 ft"}) | changed
    before = len(checks_where(desk.book.desk))
    page = desk.post("/log", sent)
    assert page.status == 422, page.words
    found = [given for tag, given in page.tags.elements if given.get("id") == f"{name}-error" or
             (given.get("id") == name and tag == "p")]  # fmt: skip
    assert found, (name, page.words)
    assert said in page.words
    marked = {given["name"] for tag, given in page.tags.elements if given.get("aria-invalid") == "true"}
    assert marked <= {name}
    for key, value in sent.items():
        if key not in ("action", "rows", "note"):
            assert (page.value(key) or "") == value, key
    assert len(checks_where(desk.book.desk)) == before


def test_the_estimate_is_shown_and_nothing_written(desk: Visitor) -> None:
    before = len(checks_where(desk.book.desk))
    page = desk.post("/log", a_stop(desk, action="try"))
    assert page.status == 200
    assert "So far" in page.words
    assert "machine loss, likely" in page.words
    assert page.value("catch-2-amount") == "9,8 g"
    more = desk.post("/log", a_stop(desk, action="more"))
    assert more.status == 200
    assert "catch-4-amount" in more.text
    assert more.value("catch-1-amount") == "12.5 g"
    assert len(checks_where(desk.book.desk)) == before


def test_the_same_stop_twice_is_asked_about(desk: Visitor) -> None:
    assert desk.post("/log", a_stop(desk)).status == 303
    again = desk.post("/log", a_stop(desk))
    assert again.status == 422
    assert "the book has this check already" in again.words
    assert any(given.get("name") == "again" for _, given in again.tags.elements)
    assert desk.post("/log", a_stop(desk, again="yes")).status == 303


def test_a_form_sent_twice_with_no_hour_is_one_check(desk: Visitor) -> None:
    sent = a_stop(desk, at="", opened=desk.get("/log").text.partition('name="opened" value="')[2][:20])
    assert sent["opened"] == "2026-09-01T12:00:00Z"
    assert desk.post("/log", sent).status == 303
    assert desk.post("/log", sent).status == 422


def test_another_crop_goes_in_when_it_is_meant(desk: Visitor) -> None:
    sent = a_stop(desk, crop="wheat", anyway="yes")
    page = desk.post("/log", sent)
    assert page.status == 303, page.words
    table = check_to_table(find_check(desk.book.desk, page.to.removeprefix("/check/")).check)
    assert table["crop"] == "wheat"
    assert "price" not in table, "the field's price is for another crop"


def test_not_saved_is_said_loudly(desk: Visitor, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: Any, **__: Any) -> None:
        raise BookError("farm", "the disk is full")

    monkeypatch.setattr("chaffinch.web.pages.by_hand.log_check", full)
    page = desk.post("/log", a_stop(desk))
    assert page.status == 503
    assert "NOT SAVED: the disk is full" in page.words
    assert page.value("catch-1-amount") == "12.5 g"


def test_a_stop_of_a_trial_takes_its_side(desk: Visitor) -> None:
    trial = desk.book.ids["trial"]
    form = desk.get("/log", trial=trial, side="B", combine=desk.book.ids["Old Bess"])
    assert form.value("trial") == trial
    assert form.value("side") == "B"
    page = desk.post("/log", a_stop(desk, trial=trial, side="B"))
    assert page.status == 303, page.words
    body = find_check(desk.book.desk, page.to.removeprefix("/check/")).body
    assert (body["trial"], body["side"]) == (trial, "B")
    other = desk.post("/log", a_stop(desk, trial=trial, side="B", combine=desk.book.ids["Young Bess"]))
    assert other.status == 422
    assert "is a trial on Old Bess" in other.words


def correction(desk: Visitor, check: str, **other: str) -> dict[str, str]:
    page = desk.get(f"/check/{check}/correct")
    assert page.status == 200, page.words
    rows = page.text.partition('name="rows" value="')[2].partition('"')[0]
    return {**page.tags.values, "rows": rows, "action": "save", **other}


def test_a_correction_keeps_what_was_left_alone(desk: Visitor) -> None:
    check = desk.book.ids["checks"]
    before = find_check(desk.book.desk, check)
    sent = correction(desk, check, reason="the second pan was misread", **{"catch-2-amount": "21.5 g"})
    page = desk.post(f"/check/{check}/correct", sent)
    assert page.status == 303, page.words
    after = find_check(desk.book.desk, check)
    assert after.id != before.id
    old, new = check_to_table(before.check), check_to_table(after.check)
    old["catch"][1] = {**old["catch"][1], "amount": "21.5 g"}
    assert new["catch"][1]["amount"] == "21.5 g"
    del old["catch"][1], new["catch"][1]
    assert new == old, "to the last digit"
    assert {k: v for k, v in after.body.items() if k not in ("check", "replaces", "reason")} == {
        k: v for k, v in before.body.items() if k != "check"
    }
    assert "catch 2, amount" in desk.get(f"/check/{check}").words
    assert "the second pan was misread" in desk.get(f"/check/{check}").words


def test_a_correction_needs_a_reason_and_can_refile(desk: Visitor) -> None:
    check = desk.book.ids["checks"]
    refused = desk.post(f"/check/{check}/correct", correction(desk, check, field=desk.book.ids["Far Common"]))
    assert refused.status == 422
    assert "reason: is missing" in refused.words
    assert refused.value("field") == desk.book.ids["Far Common"]
    sent = correction(desk, check, field=desk.book.ids["Far Common"], reason="wrong field")
    assert desk.post(f"/check/{check}/correct", sent).status == 303
    assert find_check(desk.book.desk, check).body["field"] == desk.book.ids["Far Common"]


def test_a_correction_settles_two_that_disagree(desk: Visitor) -> None:
    check = desk.book.ids["checks"]
    first = find_check(desk.book.desk, check)
    for why in ("one", "two"):
        desk.book.desk.keep([desk.book.desk.seal("check", {**first.body, "replaces": [check], "reason": why})])
    assert find_check(desk.book.desk, check).versions.disagree
    sent = correction(desk, check, reason="both looked at", speed="5.5 km/h")
    assert desk.post(f"/check/{check}/correct", sent).status == 303
    settled = find_check(desk.book.desk, check)
    assert not settled.versions.disagree
    assert check_to_table(settled.check)["speed"] == "5.5 km/h"


def test_a_thing_is_added_and_changed(desk: Visitor) -> None:
    page = desk.post("/setup/field/new", {"name": "Owl Bottom", "season": desk.book.ids["2026"], "crop": "canola",
                                          "area": "20 ha", "windrowed": "yes"})  # fmt: skip
    assert page.status == 303, page.words
    made = find_thing(desk.book.desk, "field", "Owl Bottom")
    assert made.parts["windrowed"] is True
    refused = desk.post("/setup/field/new", {"name": "Owl Bottom", "season": desk.book.ids["2026"], "area": "20"})
    assert refused.status == 422
    assert refused.value("name") == "Owl Bottom"
    shown = desk.get(f"/thing/{made.id}").tags.values
    assert shown["area"] == "20 ha"
    # One right, one wrong, one cleared: what could be saved is, and it is said which.
    sent = {**shown, "area": "25 ha", "price": "dear", "windrowed": ""}
    page = desk.post(f"/thing/{made.id}", sent)
    assert page.status == 422
    assert "Saved: area, windrowed." in page.words
    assert page.value("price") == "dear"
    now = find_thing(desk.book.desk, "field", "Owl Bottom")
    assert now.parts["area"] == "25 ha"
    assert "windrowed" not in now.parts
    assert "price" not in now.parts
    # The same form once more changes nothing.
    before = desk.get(f"/thing/{made.id}").text.count("holds")
    assert desk.post(f"/thing/{made.id}", desk.get(f"/thing/{made.id}").tags.values).status == 303
    assert desk.get(f"/thing/{made.id}").text.count("holds") == before


def test_a_thing_is_retired_and_no_longer_offered(desk: Visitor) -> None:
    bess = desk.book.ids["Young Bess"]
    shown = desk.get(f"/thing/{bess}").tags.values
    assert desk.post(f"/thing/{bess}", {**shown, "retired": "yes"}).status == 303
    assert bess not in desk.get("/log").text
    refused = desk.post("/log", a_stop(desk, combine=bess))
    assert refused.status == 422
    assert "no longer in use" in refused.words or "retired" in refused.words


def test_a_trial_is_started(desk: Visitor) -> None:
    sent = {
        "combine": desk.book.ids["Old Bess"],
        "a": "fan speed = 900 rpm",
        "b": "fan speed = 950 rpm",
        "note": "dust",
    }
    page = desk.post("/trials", sent)
    assert page.status == 303, page.words
    assert trials(desk.book.desk)[-1].changed.names == ("fan speed",)
    assert "No stop of this trial is in the book yet." in desk.get(page.to).words
    alike = desk.post("/trials", {**sent, "b": sent["a"]})
    assert alike.status == 422
    assert "is set as A" in alike.words
    assert alike.value("note") == "dust"
    assert desk.post("/trials", {"a": "", "b": ""}).status == 422


SHEET = b"""Date,Field,Machine,Place,Tray,Weight,Who
2026-08-21 09:00,Long Hollow,Old Bess,discharge,0.4 m2,12.5 g,Ann
2026-08-21 09:00,Long Hollow,Old Bess,discharge,0.4 m2,x,Ann
2026-08-22 10:00,Long Hollow,Old Bess,discharge,0.4 m2,8.1 g,Ann
"""


def test_a_spreadsheet_comes_in_step_by_step(desk: Visitor) -> None:
    assert desk.post("/import", {}).status == 422
    page = desk.post("/import", {}, files={"file": ("checks.csv", SHEET, "text/csv")})
    assert page.status == 303, page.words
    columns = desk.get(page.to)
    assert columns.value("meaning-5") == "amount"
    assert columns.value("meaning-6") is None, "nothing is meant by Who until a person says so"
    before = len(checks_where(desk.book.desk))
    sent = {**columns.tags.values, "meaning-6": "operator", "zone": "-06:00", "action": "dry"}
    dry = desk.post(page.to, sent)
    assert dry.status == 200, dry.words
    assert "Would come in" in dry.words
    assert "2 records, 0 known already, 0 in conflict, 1 refused" in dry.words
    assert "row 3" in dry.words
    assert len(checks_where(desk.book.desk)) == before
    came = desk.post(page.to, {**sent, "action": "write"})
    assert "Came in" in came.words
    assert len(checks_where(desk.book.desk)) == before + 2
    again = desk.post(page.to, {**sent, "action": "write"})
    assert "0 records, 2 known already" in again.words


def test_a_phones_file_comes_in_with_its_photos(desk: Visitor) -> None:
    """What a phone saved as a file: its records and pictures, each once; a picture in disguise is left."""
    body = {"taken_at": "2026-08-14T16:40:00Z", "check": PHONE_CHECK}
    sealed = seal("00000001-0000-4000-8000-000000000000", "check", 1, "Ann's phone", "2026-08-14T16:41:00Z", body)
    pictures = [b"\xff\xd8\xff picture", b"<script>alert(1)</script>"]
    photos = [{"sha256": sha256(x).hexdigest(), "base64": urlsafe_b64encode(x).decode().rstrip("=")} for x in pictures]
    head = {"phone": "chaffinch", "layout": 1, "device": "Ann's <phone>", "photos": photos}
    forged = {**sealed.as_dict(), "hash": "0" * 64}
    data = "".join(json.dumps(one, separators=(",", ":")) + "\n" for one in (head, sealed.as_dict(), forged)).encode()
    before = len(checks_where(desk.book.desk))
    page = desk.post("/import", {}, files={"file": ("phone.jsonl", data, "application/json")})
    assert page.status == 200, page.words
    assert "From a phone: Ann's <phone>" in page.words
    assert "<phone>" not in page.text
    assert "1 records, 0 known already, 0 in conflict, 1 refused" in page.words
    assert "does not fit the content" in page.words
    assert "1 photos are kept here, 1 are not." in page.words
    assert len(checks_where(desk.book.desk)) == before + 1
    kept = desk.app.state.settings.photos
    assert [one.name for one in kept.iterdir()] == [photos[0]["sha256"]]
    again = desk.post("/import", {}, files={"file": ("phone.jsonl", data, "application/json")})
    assert "0 records, 1 known already" in again.words


def test_a_file_of_another_books_phone_comes_in_only_when_it_is_said(desk: Visitor) -> None:
    body = {"taken_at": "2026-08-14T16:40:00Z", "check": PHONE_CHECK}
    sealed = seal("00000091-0000-4000-8000-000000000000", "check", 1, "Ann's phone", "2026-08-14T16:41:00Z", body)
    head = {"phone": "chaffinch", "layout": 1, "device": "Ann's phone", "book": {"id": "x", "title": "<Fennmoor>"}}
    data = "".join(json.dumps(one, separators=(",", ":")) + "\n" for one in (head, sealed.as_dict())).encode()
    before = len(checks_where(desk.book.desk))
    assert "another book" not in desk.get("/import").words
    page = desk.post("/import", {}, files={"file": ("phone.jsonl", data, "application/json")})
    assert page.status == 422
    assert "<Fennmoor>" in page.words
    assert "tick the box" in page.words
    assert "--" not in page.words
    assert 'name="other_book"' in page.text
    assert len(checks_where(desk.book.desk)) == before
    came = desk.post("/import", {"other_book": "yes"}, files={"file": ("phone.jsonl", data, "application/json")})
    assert (came.status, len(checks_where(desk.book.desk))) == (200, before + 1)
    assert "The phone belongs to another book: <Fennmoor>." in came.words


def test_a_phones_file_with_many_photos_comes_in_and_one_too_large_is_told_the_way(desk: Visitor) -> None:
    """More than a page of any other kind may be sent; it goes to disk as it comes."""
    pictures = [b"\xff\xd8\xff" + bytes([n]) * 4_000_000 for n in range(3)]
    photos = [{"sha256": sha256(x).hexdigest(), "base64": urlsafe_b64encode(x).decode().rstrip("=")} for x in pictures]
    data = json.dumps({"phone": "chaffinch", "layout": 1, "photos": photos}, separators=(",", ":")).encode() + b"\n"
    assert len(data) > 8 * 1024**2
    page = desk.post("/import", {}, files={"file": ("phone.jsonl", data, "application/json")})
    assert page.status == 200, page.words
    assert "3 photos are kept here, 0 are not." in page.words
    kept = desk.app.state.settings.photos
    assert {x["sha256"] for x in photos} <= {one.name for one in kept.iterdir()}
    large = desk.client.post(
        "/import", content=b"x", headers={"Cookie": desk.cookie, "Origin": ORIGIN, "Content-Length": "70000000"}
    )
    assert large.status_code == 413
    told = " ".join(large.text.split())
    assert "body: is larger than 65 MB (got &#x27;70000000 bytes&#x27;)" in told
    assert "send from the phone itself, near the server: Outbox, Send now" in told
    sheet = desk.post("/import", {}, files={"file": ("checks.csv", b"Date," * 1_700_000, "text/csv")})
    assert sheet.status == 422
    assert "is larger than 8 MB" in sheet.words


def test_a_form_has_so_many_fields_and_no_more(desk: Visitor) -> None:
    """In both ways a form travels, and by whoever reads it first: the second secret, or the page."""
    as_parts = {"files": {"file": ("a.txt", b"a", "text/plain")}}
    for path, more in itertools.product(("/setup/field/new", "/log", "/choices"), ({}, as_parts)):
        fits = desk.post(path, {f"field-{n}": "x" for n in range(MOST_FIELDS - 1)}, **more)  # and the second secret
        assert fits.status in (303, 422)
        refused = desk.post(path, {f"field-{n}": "x" for n in range(MOST_FIELDS)}, **more)
        assert refused.status == 413
        assert f"form: has more than {MOST_FIELDS} fields" in refused.words
        assert "send it in parts" in refused.words
        long = desk.post(path, {"note": "ä" * (LONGEST_TYPED + 1)}, **more)
        assert long.status == 413
        assert f"note: has {LONGEST_TYPED + 1} characters, more than {LONGEST_TYPED}" in long.words
        assert desk.post(path, {"note": "ä" * (13 * LONGEST_TYPED // 6)}, **more).status == 413


def test_more_files_than_a_form_has_and_a_body_that_is_none_are_refused(desk: Visitor) -> None:
    several = [(f"file-{n}", (f"{n}.csv", b"a", "text/csv")) for n in range(3)]
    refused = desk.post("/import", {}, files=several)
    assert (refused.status, "form: has more than 2 files" in refused.words) == (413, True)
    headers = {"Cookie": desk.cookie, "Origin": ORIGIN, "Content-Type": "multipart/form-data; boundary=x"}
    broken = desk.client.post("/import", content=b"--y\r\nnothing", headers=headers)
    assert broken.status_code == 400
    assert "cannot be read" in broken.text
    assert desk.get("/log", note="x" * (LONGEST_TYPED + 1)).status == 413


def test_a_wrong_column_is_said_beside_it(desk: Visitor) -> None:
    to = desk.post("/import", {}, files={"file": ("checks.csv", SHEET, "text/csv")}).to
    sent = {**desk.get(to).tags.values, "unit-5": "parsecs", "action": "dry"}
    page = desk.post(to, sent)
    assert page.status == 422
    assert page.value("unit-5") == "parsecs"
    fixed = desk.post(to, {**sent, "unit-5": "", "fixed": "crop canola"})
    assert fixed.status == 422
    assert "is not KEY = VALUE" in fixed.words
    assert desk.get("/import/" + "0" * 32).status == 404
    other = desk.as_role("owner")
    assert other.get(to).status == 404, "a sheet is for the browser that sent it"


def test_a_device_is_let_in_and_shut_out(desk: Visitor) -> None:
    page = desk.post("/devices/code", {"role": "crew"})
    assert page.status == 200
    code = "".join(c for c in page.text.partition('<p class="figure">')[2].partition("</p>")[0] if c.isdigit())
    assert len(code) == 6
    phone = desk.app.state.devices.pair(code, "Ann's phone", "10.0.0.9")
    assert "Ann&#39;s phone" in desk.get("/devices").text
    asked = desk.get(f"/devices/{phone.device.id}/revoke")
    assert "Shut Ann's phone out?" in asked.words
    assert desk.app.state.devices.who(phone.secret) is not None, "looking changes nothing"
    assert desk.post(f"/devices/{phone.device.id}/revoke").to == "/devices"
    assert desk.app.state.devices.who(phone.secret) is None
    assert desk.post("/devices/code", {"role": "king"}).status == 422


def test_choices_are_kept_in_the_browser(desk: Visitor) -> None:
    page = desk.post("/choices", {"look": "dark", "measures": "metric", "back": "/checks?from=40"})
    assert page.to == "/checks?from=40"
    cookies = page.response.headers.get_list("set-cookie")
    assert len(cookies) == 2
    assert all("HttpOnly" in one and "samesite=strict" in one.lower() for one in cookies)
    for elsewhere in ("//evil.example", "https://evil.example", "/\\evil.example", "", "/a\nb"):
        assert desk.post("/choices", {"look": "neon", "back": elsewhere}).to == "/today"


@pytest.mark.parametrize("path", ["/log", "/trials", "/setup/pan/new", "/import", "/choices", "/devices/code"])
def test_no_form_of_another_site_writes(desk: Visitor, path: str) -> None:
    before = len(things(desk.book.desk)) + len(checks_where(desk.book.desk)) + len(trials(desk.book.desk))
    assert desk.post(path, a_stop(desk), csrf=False).status == 403
    assert len(things(desk.book.desk)) + len(checks_where(desk.book.desk)) + len(trials(desk.book.desk)) == before
    assert named(desk.book.desk, "evil") == []


def test_crew_may_log_and_not_set_up(desk: Visitor) -> None:
    crew = desk.as_role("crew")
    assert crew.post("/log", a_stop(desk)).status == 303
    assert crew.post("/setup/season/new", {"name": "2027"}).status == 403
    assert crew.post(f"/thing/{desk.book.ids['Old Bess']}", {"note": "old"}).status == 403
    assert crew.get("/devices").status == 403
    reader = desk.as_role("reader")
    assert reader.post("/log", a_stop(desk)).status == 403
    assert reader.post("/choices", {"look": "dark", "back": "/today"}).status == 303

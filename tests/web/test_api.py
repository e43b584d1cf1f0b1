"""What phones may ask for and send, on a book in a file and on a server."""

from __future__ import annotations

import re
from typing import Any

import pytest
from farm_records import COMBINE, FIELD, check, correction, edit, farm, full, identities, sealed, uid
from served import Served, is_problem

from chaffinch import __version__
from chaffinch.book.checks.answer import answer
from chaffinch.book.checks.plain_data import as_json
from chaffinch.book.crops import all_crops
from chaffinch.book.wording import CAUTIONS
from chaffinch.errors import BookError, SamplerError
from chaffinch.records.checkfile import check_from_table
from chaffinch.records.kinds import KINDS
from chaffinch.sync.accept import Receipt, confirms
from chaffinch.sync.envelope import opened, seal

API = "/api/v1"
UTC = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ")


def test_health_names_the_book(served_on_each: Served) -> None:
    """A sign-in page that answers everything cannot know the book's id."""
    found = served_on_each.client.get(f"{API}/health").json()
    assert found["app"] == "chaffinch"
    assert found["book"] == uid(999)
    assert found["version"] == __version__
    assert UTC.fullmatch(found["server_time"])


def test_pairing_gives_a_token_for_this_book(served_on_each: Served) -> None:
    code = served_on_each.devices.make_code("crew")
    answered = served_on_each.client.post(f"{API}/pair", json={"code": code.secret, "device_name": "Ann's phone"})
    found = answered.json()
    assert answered.status_code == 200
    assert (found["role"], found["book"]) == ("crew", {"id": uid(999), "title": "Larkhollow"})
    me = served_on_each.client.get(f"{API}/me", headers={"Authorization": f"Bearer {found['token']}"}).json()
    assert (me["name"], me["role"], me["book"], me["version"]) == (
        "Ann's phone",
        "crew",
        found["book"],
        __version__,
    )


def test_setup_holds_what_a_day_without_signal_needs(served_on_each: Served) -> None:
    served_on_each.send(
        served_on_each.phone("owner"),
        [
            sealed(40, "pan", {"name": "tray", "area": "0.37 m2"}),
            sealed(41, "scale", {"name": "kitchen", "step": "0.1 g"}),
            sealed(42, "operator", {"name": "Wren"}),
            sealed(43, "operator", {"name": "Left", "retired": True}),
            edit(44, "60 ha", 1, field="area"),
            edit(45, "kg/ha", 1, target=1, field="report_in"),
            edit(46, "400 /h", 1, target=1, field="hour_cost"),
        ],
    )
    found = served_on_each.client.get(f"{API}/setup", headers=served_on_each.phone("reader")).json()
    assert found["farm"] == {"country": "CA", "currency": None, "report_in": "kg/ha", "hour_cost": "400 /h"}
    names = {key: [one["name"] for one in found[key]] for key in ("seasons", "fields", "combines", "operators", "pans")}
    assert names == {
        "seasons": ["2026"],
        "fields": ["Siskin Bend"],
        "combines": ["Big Wren"],
        "operators": ["Wren"],
        "pans": ["tray"],
    }
    (field,) = found["fields"]
    assert (field["id"], field["parts"]["area"], field["parts"]["crop"]) == (uid(FIELD), "60 ha", "canola")
    assert found["scales"][0]["parts"] == {"name": "kitchen", "step": "0.1 g"}
    assert found["cautions"] == list(CAUTIONS)
    assert found["schema"] == {kind.name: kind.schema for kind in KINDS.values()}
    assert [one["key"] for one in found["crops"]] == [one.key for one in all_crops()]
    canola = next(one for one in found["crops"] if one["key"] == "canola")
    assert canola["bushel_kg"] == pytest.approx(50 * 0.45359237)
    assert canola["market_moisture_pct"] == 10
    assert canola["tkw_low"] < canola["tkw_g"] < canola["tkw_high"]


def test_setup_leaves_open_what_differs_by_country(served: Served) -> None:
    """Oats weigh 34 lb in Canada and 32 lb in the United States; without a country nothing is claimed."""
    served.send(served.phone("owner"), [edit(44, None, 1, target=1, field="country")])
    found = served.client.get(f"{API}/setup", headers=served.phone()).json()
    assert found["farm"]["country"] is None
    assert found["farm"]["hour_cost"] is None
    assert next(one for one in found["crops"] if one["key"] == "oats")["bushel_kg"] is None


def test_a_batch_is_answered_record_by_record_in_order(served_on_each: Served) -> None:
    crew = served_on_each.phone("crew")
    good, other = check(10), check(10, mass_g=3.0)
    broken = check(12).as_dict() | {"hash": "0" * 64}
    newer = seal(uid(13), "check", 2, "phone", "2026-08-14T16:40:00Z", check(13).body)
    unknown = seal(uid(14), "drone", 1, "phone", "2026-08-14T16:40:00Z", {"any": "thing"})
    sent = [good, other, good, broken, newer, unknown, edit(15, "mine", 1), check(16)]
    found = served_on_each.send(crew, sent)
    outcomes = [(one["id"], one["outcome"]) for one in found]
    assert outcomes == [
        (uid(10), "accepted"),
        (uid(10), "conflict"),
        (uid(10), "known"),
        (uid(12), "refused"),
        (uid(13), "refused"),
        (uid(14), "refused"),
        (uid(15), "refused"),
        (uid(16), "accepted"),
    ]
    assert "does not fit the content" in found[3]["reason"]
    assert "update the program" in found[4]["reason"]
    assert "update the program" in found[5]["reason"]
    assert "not for this role" in found[6]["reason"]
    assert all((one["reason"] == "") == (one["outcome"] in ("accepted", "known")) for one in found)
    assert confirms(Receipt(**found[0]), good)
    assert not confirms(Receipt(**found[1]), other)
    assert not confirms(Receipt(**found[4]), newer)
    kept = {one.id: one.hash for one in farm()} | {uid(10): good.hash, uid(16): check(16).hash}
    assert sorted(identities(served_on_each.desk.store)) == sorted([*kept.items(), (uid(10), other.hash)])


def test_what_crew_may_send(served: Served) -> None:
    """Readings, remarks and the things of a new stop; what changes the farm for everybody is the owner's."""
    bodies: dict[str, dict[str, Any]] = {
        "farm": {"name": "Second"},
        "season": {"name": "2027"},
        "operator": {"name": "Wren"},
        "combine": {"name": "Small Wren", "cut_width": "9 m"},
        "pan": {"name": "tray", "area": "0.37 m2"},
        "scale": {"name": "kitchen", "step": "0.1 g"},
        "field": {"name": "Far Common"},
        "check": dict(check(1).body),
        "monitor": {"taken_at": "2026-08-14T09:00:00Z", "combine": uid(COMBINE), "reading": 34},
        "trial": {"taken_at": "2026-08-14T09:00:00Z", "combine": uid(COMBINE), "a": [], "b": []},
        "weather": {"taken_at": "2026-08-14T09:00:00Z", "conditions": {"air_temperature_c": 24.5}},
        "photo": {"taken_at": "2026-08-14T09:00:00Z", "of": uid(10), "file": "a.jpg", "sha256": "0" * 64, "bytes": 3},
        "note": {"text": "the gate is open"},
        "report": {"issued_at": "2026-08-14T09:00:00Z", "title": "Week", "program": "0.1", "result": {}},
        "edit": dict(edit(1, "mine", 1).body),
    }
    assert list(bodies) == list(KINDS)
    for place, (kind, body) in enumerate(bodies.items()):
        (found,) = served.send(served.phone("crew"), [sealed(100 + place, kind, body)])
        refused = kind in ("farm", "season", "report", "edit")
        assert (found["outcome"] == "refused") == refused, (kind, found)
        (found,) = served.send(served.phone("owner"), [sealed(200 + place, kind, body)])
        assert found["outcome"] == "accepted", (kind, found)


@pytest.mark.parametrize("device_time", ["1970-01-01T00:00:00Z", "2199-12-31T23:59:59Z", "yesterday, about noon"])
def test_a_wrong_clock_loses_nothing(served: Served, device_time: str) -> None:
    """Phone time is information: the server's order of arrival is what others ask by."""
    odd = seal(uid(10), "check", 1, "phone", device_time, check(10).body)
    (found,) = served.send(served.phone(), [odd])
    assert found["outcome"] == "accepted"
    arrived = served.client.get(f"{API}/since?seq=4", headers=served.phone()).json()
    assert [one["device_time"] for one in arrived["records"]] == [device_time]


def test_since_gives_every_record_once_and_whole(served_on_each: Served) -> None:
    crew = served_on_each.phone()
    sent = [check(n, mass_g=n % 50 / 10) for n in range(10, 45)]
    served_on_each.send(crew, sent)
    found, seq = [], 0
    while True:
        part = served_on_each.client.get(f"{API}/since?seq={seq}&limit=10", headers=crew).json()
        found += [opened(one) for one in part["records"]]
        seq = part["next_seq"]
        if len(part["records"]) < 10:
            break
    assert [(one.id, one.hash) for one in found] == [(one.id, one.hash) for one in [*farm(), *sent]]
    after = served_on_each.client.get(f"{API}/since?seq={seq}", headers=crew).json()
    assert after == {"records": [], "next_seq": seq}
    for bad in ("seq=-1", "seq=x", "limit=0", "limit=501", "seq=99999999999999999999"):
        assert is_problem(served_on_each.client.get(f"{API}/since?{bad}", headers=crew), 422, bad.partition("=")[0])


def test_a_check_is_shown_as_it_counts_with_its_answer(served_on_each: Served) -> None:
    served_on_each.send(served_on_each.phone("owner"), [*full(), correction(13, [12], mass_g=11.5, hour=11)])
    reader = served_on_each.phone("reader")
    found = served_on_each.client.get(f"{API}/checks/{uid(12)}", headers=reader).json()
    assert (found["id"], found["versions"], found["disagree"]) == (uid(13), [uid(12), uid(13)], False)
    assert found["record"]["check"]["catch"][0]["amount"] == "11.5 g"
    assert found["answer"] == as_json(answer(check_from_table(found["record"]["check"])))
    assert served_on_each.client.get(f"{API}/checks/0000000d", headers=reader).json()["id"] == uid(13)
    missing = served_on_each.client.get(f"{API}/checks/deadbeef", headers=reader)
    assert is_problem(missing, 404, "check")
    conflict = served_on_each.client.get(f"{API}/checks/{uid(11)}", headers=reader)
    assert is_problem(conflict, 404, "check")
    assert "two different records" in conflict.json()["problem"]


@pytest.mark.parametrize(("error", "status"), [(SamplerError("too few draws"), 422), (ZeroDivisionError("x"), 500)])
def test_a_check_that_cannot_be_answered_is_told_so(
    served: Served, monkeypatch: pytest.MonkeyPatch, error: Exception, status: int
) -> None:
    """Catches that contradict each other are the sender's to mend; a fault of the program is said to be one."""
    reader = served.phone("reader")
    served.send(served.phone(), [check(10)])

    def fails(_: object) -> None:
        raise error

    monkeypatch.setattr("chaffinch.web.api.reading.answer", fails)
    answered = served.client.get(f"{API}/checks/{uid(10)}", headers=reader)
    assert is_problem(answered, status)
    assert ("too few draws" in answered.text) == (status == 422)


def test_a_book_that_cannot_be_written_is_told_and_keeps_nothing(
    served: Served, monkeypatch: pytest.MonkeyPatch
) -> None:
    crew = served.phone()

    def full_disk(*_: object) -> None:
        raise BookError("farm.chaffinch", "database or disk is full")

    with monkeypatch.context() as patch:
        patch.setattr("chaffinch.store.records.append", full_disk)
        answered = served.client.post(f"{API}/batch", json={"envelopes": [check(10).as_dict()]}, headers=crew)
    assert is_problem(answered, 503, "book")
    assert "farm.chaffinch" not in answered.text
    (found,) = served.send(crew, [check(10)])
    assert found["outcome"] == "accepted"


@pytest.mark.parametrize(
    "body",
    [b"", b"{", b"[]", b"null", b'{"envelopes": 3}', b'{"envelopes": {}}', b'{"other": []}', b"\xff\xfe", b"[" * 5000],
)
def test_a_batch_out_of_form_is_refused_as_a_whole(served: Served, body: bytes) -> None:
    headers = {**served.phone(), "Content-Type": "application/json"}
    answered = served.client.post(f"{API}/batch", content=body, headers=headers)
    assert answered.status_code in (400, 422)
    assert is_problem(answered, answered.status_code)


def test_too_many_records_in_a_batch(served: Served) -> None:
    body = {"envelopes": [check(n).as_dict() for n in range(10, 211)]}
    assert is_problem(served.client.post(f"{API}/batch", json=body, headers=served.phone()), 422, "envelopes")


ODD: list[Any] = [
    None,
    True,
    1e308,
    "text",
    [],
    {},
    {"id": "\ud800", "hash": "\ud800"},
    {"\ud800": 1} | check(10).as_dict(),
    check(10).as_dict() | {"body": {"deep": [[[[[[[[]]]]]]]]}},
    check(10).as_dict() | {"id": uid(10).upper()},
    check(10).as_dict() | {"schema": 10**30},
    check(10).as_dict() | {"device": "x" * 10_000},
]


@pytest.mark.parametrize("one", ODD, ids=range(len(ODD)))
def test_an_odd_record_is_refused_and_stops_no_other(served: Served, one: Any) -> None:
    """Whatever stands in the batch, the answer can be sent and the sound record is kept."""
    import json

    body = json.dumps({"envelopes": [one, check(11).as_dict()]}).encode()
    headers = {**served.phone(), "Content-Type": "application/json"}
    answered = served.client.post(f"{API}/batch", content=body, headers=headers)
    assert answered.status_code == 200, answered.text
    odd, sound = answered.json()["receipts"]
    assert (odd["outcome"], sound["outcome"]) == ("refused", "accepted")
    assert odd["reason"]
    assert len(odd["reason"]) <= 400
    # What came out of form is not echoed.
    assert odd["id"] in ("", uid(10))


def test_unknown_addresses_and_methods(served: Served) -> None:
    assert is_problem(served.client.get(f"{API}/nothing"), 404)
    assert is_problem(served.client.put(f"{API}/batch"), 405)
    page = served.client.get("/nothing")
    assert page.status_code == 404
    assert page.headers["content-type"].startswith("text/html")


def test_everything_answers_in_the_described_way(served: Served) -> None:
    """The description names every route of the API, and for each the refusals it can give."""
    found = served.client.get(f"{API}/openapi.json").json()
    assert found["openapi"].startswith("3.1")
    operations = {
        (path, method.upper()): one for path, methods in found["paths"].items() for method, one in methods.items()
    }
    from chaffinch.web.access import declared

    ours = {(one.path, one.method) for one in declared(served.app) if one.path.startswith("/api/")}
    assert set(operations) == ours - {(f"{API}/openapi.json", "GET")}
    for one in declared(served.app):
        if (one.path, one.method) in operations:
            statuses = set(operations[one.path, one.method]["responses"])
            assert "429" in statuses
            assert ({"401", "403"} <= statuses) == (one.role is not None), one
    assert set(found["components"]["schemas"]["Problem"]["properties"]) == {
        "status",
        "field",
        "value",
        "problem",
        "mend",
    }

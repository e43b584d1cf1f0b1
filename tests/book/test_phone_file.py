"""A phone's file at the desk: the same rules as over the air, a receipt for each record, nothing that was changed."""

from __future__ import annotations

import base64
import json
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from chaffinch.book.desk import Desk, open_desk, start_book
from chaffinch.book.exchange.phone_file import import_phone_file, is_phone_file
from chaffinch.errors import InputError
from chaffinch.store import records
from chaffinch.sync.envelope import seal

CHECK = {
    "crop": "canola", "country": "CA", "limit": "60 kg/ha", "combine": {"cut_width": "12.2 m", "drop_width": "1.7 m"},
    "catch": [{"place": "discharge", "pan": "0.4 m2", "amount": "21.5 g"}],
}  # fmt: skip
PICTURE = b"\xff\xd8\xff" + bytes(range(200))


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    address = str(tmp_path / "farm.chaffinch")
    start_book(address, title="Larkhollow", device="desk").store.close()
    found = open_desk(address, device="desk")
    yield found
    found.store.close()


def check(number: int, **more: Any) -> dict[str, Any]:
    record_id = f"{number:08d}-0000-4000-8000-000000000000"
    body = {"taken_at": "2026-08-14T16:40:00Z", "check": CHECK, **more}
    return seal(record_id, "check", 1, "Ann's phone", "2026-08-14T16:41:00Z", body).as_dict()


def a_file(*lines: object, **head: Any) -> bytes:
    first = {"phone": "chaffinch", "layout": 1, "device": "Ann's phone", "written_at": "2026-08-14T20:00:00Z", **head}
    return "".join(json.dumps(one, separators=(",", ":")) + "\n" for one in (first, *lines)).encode()


def outcomes(desk: Desk, data: bytes, **more: Any) -> list[str]:
    return [one.outcome for one in import_phone_file(desk, data, **more).receipts]


def test_each_record_comes_in_once_with_its_receipt(desk: Desk) -> None:
    data = a_file(check(1), check(2))
    assert outcomes(desk, data, dry_run=True) == ["accepted", "accepted"]
    assert list(records.every(desk.store)) == []
    found = import_phone_file(desk, data)
    assert (found.device, found.imported.accepted, dict(found.imported.kinds)) == ("Ann's phone", 2, {"check": 2})
    assert [(one.line, one.kind, one.taken_at) for one in found.receipts] == [
        (2, "check", "2026-08-14T16:40:00Z"),
        (3, "check", "2026-08-14T16:40:00Z"),
    ]
    kept = {one.envelope.id: one.envelope.hash for one in records.every(desk.store)}
    assert kept == {one["id"]: one["hash"] for one in (check(1), check(2))}
    assert outcomes(desk, data) == ["known", "known"]
    assert outcomes(desk, a_file(check(1, place_note="elsewhere"))) in (["conflict"], ["refused"])


def test_the_file_of_another_books_phone_is_asked_about(desk: Desk) -> None:
    """Another farm's phone, as a rule; a book that was restored keeps its id, and its phones stay its own."""
    theirs = a_file(check(1), book={"id": "another", "title": "Fennmoor"})
    with pytest.raises(InputError, match="was written by a phone of another book") as refused:
        import_phone_file(desk, theirs)
    assert refused.value.value == "Fennmoor"
    assert list(records.every(desk.store)) == []
    looked = import_phone_file(desk, theirs, dry_run=True)
    assert looked.imported.notices == ("The phone belongs to another book: Fennmoor.",)
    assert outcomes(desk, theirs, other_book=True) == ["accepted"]
    ours = a_file(check(2), book={"id": records.facts(desk.store)["id"], "title": "renamed since"})
    assert outcomes(desk, ours) == ["accepted"]
    for unpaired in ({}, {"book": None}, {"book": "x"}, {"book": {"id": 7}}):
        assert outcomes(desk, a_file(check(2), **unpaired)) == ["known"]


def test_what_was_changed_or_is_no_record_is_refused_and_the_rest_comes_in(desk: Desk) -> None:
    forged = {**check(1), "body": {**check(1)["body"], "taken_at": "2020-01-01T00:00:00Z"}}
    data = a_file(forged, [], check(2)) + b"not json\n\xff\xfe\n\n" + json.dumps(check(3)).encode()
    found = import_phone_file(desk, data)
    assert [(x.line, x.outcome) for x in found.receipts] == [
        (2, "refused"), (3, "refused"), (4, "accepted"), (5, "refused"), (6, "refused"), (8, "accepted"),
    ]  # fmt: skip
    assert "does not fit the content" in found.receipts[0].reason
    assert [one.number for one in found.imported.refused] == [2, 3, 5, 6]


def test_open_stops_and_photos_are_told(desk: Desk) -> None:
    journal = [{"stop": "a", "what": "open"}, {"stop": "b", "what": "open"}, {"stop": "a", "what": "close"}, 7]
    text = base64.urlsafe_b64encode(PICTURE).decode().rstrip("=")
    photos = [
        {"sha256": sha256(PICTURE).hexdigest(), "base64": text},
        {"sha256": "0" * 64, "base64": text},
        {"sha256": sha256(PICTURE).hexdigest(), "base64": "!"},
        "none",
    ]
    found = import_phone_file(desk, a_file(journal=journal, photos=photos))
    assert found.open_stops == 1
    assert [one.content for one in found.photos] == [PICTURE]
    assert any("1 stop was still open" in one for one in found.imported.notices)
    assert any("3 photos do not fit" in one for one in found.imported.notices)


@pytest.mark.parametrize(
    ("data", "problem"),
    [
        (b"", "was not written by a phone"),
        (b"Date,Time\n", "was not written by a phone"),
        (b'{"phone":"chaffinch"', "is no JSON"),
        (b'{"phone":"other","layout":1}', "is not that of a phone's file"),
        (b'{"phone":"chaffinch","layout":true}', "is not that of a phone's file"),
        (b'{"phone":"chaffinch","layout":2}', "newer layout"),
        (b'{"phone":' + b"[" * 100_000, "is no JSON"),
    ],
)
def test_what_is_no_phones_file(desk: Desk, data: bytes, problem: str) -> None:
    with pytest.raises(InputError, match=problem):
        import_phone_file(desk, data)


def test_a_file_is_known_by_its_beginning() -> None:
    assert is_phone_file(a_file()[:64])
    assert is_phone_file(b"\xef\xbb\xbf" + a_file()[:64])
    assert not is_phone_file(b'{"id":"1"}')

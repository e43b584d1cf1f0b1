"""``chaffinch book import`` of the file that a phone saved."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from chaffinch.sync.envelope import seal

pytestmark = pytest.mark.usefixtures("farm")
CHECK = {
    "crop": "canola", "country": "CA", "limit": "60 kg/ha", "combine": {"cut_width": "12.2 m", "drop_width": "1.7 m"},
    "catch": [{"place": "discharge", "pan": "0.4 m2", "amount": "21.5 g"}],
}  # fmt: skip
HEAD = {"phone": "chaffinch", "layout": 1, "device": "Ann's phone", "written_at": "2026-08-14T20:00:00Z"}


def a_file(*numbers: int, **changed: Any) -> str:
    body = {"taken_at": "2026-08-14T16:40:00Z", "check": CHECK}
    sealed = [
        seal(f"{n:08d}-0000-4000-8000-000000000000", "check", 1, "Ann's phone", "2026-08-14T16:41:00Z", body)
        for n in numbers
    ]
    lines = [HEAD, *({**one.as_dict(), **changed} for one in sealed)]
    return "".join(json.dumps(one, separators=(",", ":")) + "\n" for one in lines)


def test_it_comes_in_once_with_a_receipt_per_record(chaffinch: Callable[..., Any], farm: Path) -> None:
    (farm / "phone.jsonl").write_text(a_file(1, 2), encoding="utf-8")
    dry = chaffinch("book", "import", "phone.jsonl", "--dry-run")
    assert dry.status == 0, dry.err
    assert "2 records would come in" in dry.out
    ran = chaffinch("book", "import", "phone.jsonl")
    assert ran.status == 0, ran.err
    assert "Ann's phone, written 2026-08-14 20:00" in ran.out
    assert "check    2026-08-14 16:40   00000001   accepted" in ran.out
    data = chaffinch("book", "import", "phone.jsonl", "--json").data
    assert (data["known"], [one["outcome"] for one in data["receipts"]]) == (2, ["known", "known"])


def test_a_changed_record_and_a_sheets_option_are_refused(chaffinch: Callable[..., Any], farm: Path) -> None:
    (farm / "phone.jsonl").write_text(a_file(3, hash="0" * 64), encoding="utf-8")
    ran = chaffinch("book", "import", "phone.jsonl")
    assert ran.status == 2
    assert "does not fit the content" in ran.out
    sheets = chaffinch("book", "import", "phone.jsonl", "--dates", "dmy")
    assert sheets.status == 2
    assert "--dates" in sheets.err


def test_a_file_of_another_books_phone_needs_its_own_word(farm, chaffinch):
    lines = a_file(1).splitlines()
    head = json.dumps({**HEAD, "book": {"id": "x", "title": "Fennmoor"}}, separators=(",", ":"))
    (farm / "theirs.jsonl").write_text("\n".join([head, *lines[1:]]) + "\n", encoding="utf-8")
    ran = chaffinch("book", "import", "theirs.jsonl")
    assert ran.status == 2
    assert "Fennmoor" in ran.err
    assert "--other-book" in ran.err
    assert "Fennmoor" in chaffinch("book", "import", "theirs.jsonl", "--dry-run").out
    assert chaffinch("book", "import", "theirs.jsonl", "--other-book").status == 0
    (farm / "sheet.csv").write_text("a,b\n1,2\n", encoding="utf-8")
    assert "--other-book: goes with a phone" in chaffinch("book", "import", "sheet.csv", "--other-book").err

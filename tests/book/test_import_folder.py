"""An exported folder that was hurt on the way: what is whole comes in, what is not is named."""

from __future__ import annotations

import json
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from any_records import one_check

from chaffinch.book.desk import Desk, start_book
from chaffinch.book.exchange.exporting import BOOK, CONFLICTS, RECORDS, export_book
from chaffinch.book.exchange.importing import import_folder
from chaffinch.book.things import add_thing, find_thing
from chaffinch.errors import InputError
from chaffinch.store import records
from chaffinch.sync.envelope import canonical, seal

IDS = [f"{n:08x}-0000-4000-8000-{n:012x}" for n in range(20)]


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    return start_book(str(tmp_path / "new.chaffinch"), title="Siskin Bend")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    here = start_book(str(tmp_path / "old.chaffinch"), title="Siskin Bend")
    for name in ("Long Slough", "East Quarter", "Creek Piece"):
        add_thing(here, "field", {"name": name})
    here.write("check", one_check(field=find_thing(here, "field", "Long Slough").id))
    export_book(here, str(tmp_path / "out"))
    return tmp_path / "out"


def sealed(number: int, kind: str, body: dict[str, Any], schema: int = 1) -> bytes:
    return canonical(seal(IDS[number], kind, schema, "phone", "2026-08-14", body).as_dict())


def rewrite(folder: Path, lines: list[bytes], name: str = RECORDS) -> None:
    """Put other lines into a file and its right hash into the front page."""
    (folder / name).write_bytes(b"".join(line + b"\n" for line in lines))
    book = json.loads((folder / BOOK).read_text(encoding="utf-8"))
    book["files"][name]["sha256"] = sha256((folder / name).read_bytes()).hexdigest()
    (folder / BOOK).write_text(json.dumps(book), encoding="utf-8")


def counts(found: Any) -> tuple[int, int, int, int]:
    return found.accepted, found.known, found.conflicts, len(found.refused)


def test_twice_is_no_news(desk: Desk, folder: Path) -> None:
    assert counts(import_folder(desk, str(folder))) == (4, 0, 0, 0)
    assert counts(import_folder(desk, str(folder))) == (0, 4, 0, 0)


def test_a_dry_run_says_the_same_and_writes_nothing(desk: Desk, folder: Path) -> None:
    lines = [sealed(1, "field", {"name": n}) for n in ("A", "A", "B", "B")] + [sealed(2, "field", {}), b"{"]
    rewrite(folder, lines)

    dry = import_folder(desk, str(folder), dry_run=True)
    assert list(records.identities(desk.store)) == []
    wet = import_folder(desk, str(folder))

    assert counts(dry) == counts(wet) == (1, 2, 1, 2)
    assert (dry.refused, dry.kinds) == (wet.refused, wet.kinds)
    again = import_folder(desk, str(folder), dry_run=True)
    assert counts(again) == (0, 4, 0, 2)


def test_bad_lines_are_listed_and_the_others_come_in(desk: Desk, folder: Path) -> None:
    good = (folder / RECORDS).read_bytes().splitlines()
    bent = json.loads(good[0])
    bent["body"]["name"] = "Other"
    bad = {
        b"not json": "is no JSON",
        b"\xff\xfe{}": "is not UTF-8",
        b"[]": "is no table",
        b"{}": "lacks id, kind",
        canonical(bent): "does not fit the content",
        good[0].replace(b'"device"', b'"device":"x","device"'): "a key stands twice",
        good[0].replace(b'"schema":1', b'"schema":NaN'): "NaN is no number",
        sealed(3, "rocket", {"name": "x"}): "is not known to this program",
        sealed(4, "field", {"name": "x"}, 99): "is newer than this program",
        sealed(5, "field", {"nmae": "x"}): "did you mean name?",
        sealed(6, "check", one_check(check={"crop": "canola"})): "catch",
        b"[" * 100_000: "is no JSON",
        b'"' + b"x" * 2_100_000 + b'"': "is longer than",
    }
    rewrite(folder, [*bad, b"", *good])

    found = import_folder(desk, str(folder))

    assert counts(found) == (4, 0, 0, len(bad))
    for number, (refused, why) in enumerate(zip(found.refused, bad.values(), strict=True), start=1):
        assert refused.number == number
        assert refused.place == f"{RECORDS}, line {number}"
        assert why in refused.why
        assert refused.line().startswith(f"{RECORDS}, line {number}: ")


def test_an_id_twice_with_another_content_is_a_conflict_and_both_are_kept(desk: Desk, folder: Path) -> None:
    lines = [sealed(1, "field", {"name": "A"}), sealed(1, "field", {"name": "B"}), sealed(1, "field", {"name": "B"})]
    rewrite(folder, lines)

    found = import_folder(desk, str(folder))

    assert counts(found) == (1, 1, 1, 0)
    hashes = {json.loads(line)["hash"] for line in lines}
    assert {content_hash for _, content_hash in records.identities(desk.store)} == hashes


@pytest.mark.parametrize("name", [RECORDS, CONFLICTS])
def test_a_damaged_file_is_refused_whole_and_nothing_comes_in(desk: Desk, folder: Path, name: str) -> None:
    with (folder / name).open("ab") as file:
        file.write(b"x\n")

    with pytest.raises(InputError, match=f"{name}.*does not fit its SHA-256"):
        import_folder(desk, str(folder))
    assert list(records.identities(desk.store)) == []


def test_what_is_whole_in_a_damaged_file_can_be_salvaged(desk: Desk, folder: Path) -> None:
    data = bytearray((folder / RECORDS).read_bytes())
    place = data.index(b"East Quarter")
    data[place] ^= 1
    (folder / RECORDS).write_bytes(bytes(data[:-40]))
    (folder / CONFLICTS).unlink()

    found = import_folder(desk, str(folder), salvage=True)

    assert (found.accepted, [r.number for r in found.refused]) == (2, [2, 4])
    assert "does not fit the content" in found.refused[0].why
    assert [n.split()[0] for n in found.notices] == [CONFLICTS, RECORDS]


def test_a_changed_table_is_told_and_does_no_harm(desk: Desk, folder: Path) -> None:
    (folder / "fields.csv").write_text("id,name\n1,Mine\n", encoding="utf-8")

    found = import_folder(desk, str(folder))

    assert found.accepted == 4
    assert len(found.notices) == 1
    assert found.notices[0].startswith("fields.csv ")
    assert "nothing is imported from them" in found.notices[0]


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("", "is no JSON"),
        ("[]", "names no format"),
        ("{", "is no JSON"),
        ('{"format": true}', "names no format"),
        ('{"format": 99}', "is a newer format"),
        ('{"format": 1}', "does not list"),
        ('{"format": 1, "files": {"records.jsonl": {}, "conflicts.jsonl": {}, "../x": {}}}', "outside the folder"),
        ('{"format": 1, "files": {"records.jsonl": 5, "conflicts.jsonl": {}}}', "does not fit its SHA-256"),
        (" " * 1_000_002, "is too large"),
    ],
)
def test_a_front_page_out_of_form_is_refused(desk: Desk, folder: Path, text: str, problem: str) -> None:
    (folder / BOOK).write_text(text, encoding="utf-8")

    with pytest.raises(InputError, match=problem):
        import_folder(desk, str(folder))


def test_a_folder_that_is_none_is_refused(desk: Desk, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is no folder"):
        import_folder(desk, str(tmp_path / "nowhere"))
    with pytest.raises(InputError, match=r"holds no book\.json"):
        import_folder(desk, str(tmp_path))


def test_progress_counts_lines(desk: Desk, folder: Path) -> None:
    seen: list[tuple[int, int]] = []

    import_folder(desk, str(folder), progress=lambda done, of: seen.append((done, of)))

    assert seen == [(4, 4)]

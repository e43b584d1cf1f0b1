"""The whole book goes out and comes back the same, and people can read its tables."""

from __future__ import annotations

import csv
import json
import os
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest
from any_records import envelopes, one_check
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from chaffinch.book.checks.entering import log_check, replace_check
from chaffinch.book.checks.fields import field_summary
from chaffinch.book.checks.held import counting
from chaffinch.book.desk import Desk, open_desk, start_book
from chaffinch.book.exchange import exporting
from chaffinch.book.exchange import open_tables as opentables
from chaffinch.book.exchange.exporting import BOOK, CONFLICTS, RECORDS, dictionary, export_book, file_sha256
from chaffinch.book.exchange.importing import import_folder
from chaffinch.book.keeping import check_whole
from chaffinch.book.things import add_thing, edit_label, find_thing, things
from chaffinch.errors import BookError, InputError
from chaffinch.records.checkfile import check_from_table
from chaffinch.records.kinds import KINDS
from chaffinch.store import records
from chaffinch.sync.envelope import Envelope, canonical, seal

PAGE = Path(__file__).resolve().parents[2] / "docs" / "open-formats.md"


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    return start_book(str(tmp_path / "farm.chaffinch"), title="Siskin Bend", device="desk")


def sheet(folder: Path, name: str) -> list[dict[str, str]]:
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def everything(desk: Desk) -> tuple[list[tuple[str, str]], list[tuple[str, str]]]:
    kept = [(s.envelope.id, s.envelope.hash) for s in records.every(desk.store)]
    return kept, [(s.envelope.id, s.envelope.hash) for s in records.conflicts(desk.store)]


# --- out and back ---


@given(batch=st.lists(envelopes(), min_size=1, max_size=12))
@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
def test_records_of_every_kind_come_back_with_the_same_identity(
    new_address: Callable[[], str], tmp_path_factory: pytest.TempPathFactory, batch: list[Envelope]
) -> None:
    here = start_book(new_address(), title="Siskin Bend")
    outcomes = Counter(receipt.outcome for receipt in records.append(here.store, batch))
    assert outcomes["refused"] == 0, "the strategy makes bodies the book takes"
    folder = tmp_path_factory.mktemp("export") / "out"

    done = export_book(here, str(folder))
    there = start_book(new_address(), title="another")
    came = import_folder(there, str(folder))

    assert everything(there) == everything(here)
    assert set(records.identities(there.store)) == set(records.identities(here.store))
    assert (came.accepted, came.conflicts, came.refused) == (outcomes["accepted"], outcomes["conflict"], ())
    assert (done.records, done.conflicts) == (outcomes["accepted"], outcomes["conflict"])
    assert [(t.id, t.parts) for t in things(there)] == [(t.id, t.parts) for t in things(here)]
    assert check_whole(there).problems == ()
    for table, rows in done.rows.items():
        assert len(sheet(folder, table)) == rows, table


def test_a_field_has_the_same_answer_after_the_journey(new_address: Callable[[], str], tmp_path: Path) -> None:
    here = start_book(new_address(), title="Siskin Bend")
    parts = {"name": "Long Slough", "crop": "canola", "area": "118 ac", "price": "640 /t"}
    field = add_thing(here, "field", parts).id
    check = check_from_table(one_check()["check"])
    first = log_check(here, check, where={"field": field}, taken_at="2026-08-14T16:40:00Z")
    log_check(here, check, where={"field": field}, taken_at="2026-08-15T16:40:00Z")
    smaller = one_check()["check"] | {"catch": [{"place": "discharge", "pan": "4 ft2", "amount": "2.5 g"}]}
    replace_check(here, [first.id], check_from_table(smaller), reason="misread")
    edit_label(here, find_thing(here, "field", "Long Slough"), "price", "600 /t")

    export_book(here, str(tmp_path / "out"))
    there = start_book(new_address(), title="another")
    import_folder(there, str(tmp_path / "out"))

    one, two = (field_summary(desk, find_thing(desk, "field", "Long Slough")) for desk in (here, there))
    assert len(one.checks) == 2
    assert one.mean_kg_ha is not None
    assert (one.mean_kg_ha, one.money, one.sources) == (two.mean_kg_ha, two.money, two.sources)


def test_lines_are_canonical_envelopes_in_the_order_of_arrival(desk: Desk, tmp_path: Path) -> None:
    for name in ("Zaun", "Anger", "Mitte"):
        add_thing(desk, "field", {"name": name})

    export_book(desk, str(tmp_path / "out"))

    lines = (tmp_path / "out" / RECORDS).read_bytes().splitlines()
    assert [json.loads(line)["body"]["name"] for line in lines] == ["Zaun", "Anger", "Mitte"]
    assert lines == [canonical(s.envelope.as_dict()) for s in records.every(desk.store)]


def test_the_front_page_says_what_is_there(desk: Desk, tmp_path: Path) -> None:
    add_thing(desk, "field", {"name": "Long Slough"})

    export_book(desk, str(tmp_path / "out"))

    folder = tmp_path / "out"
    book = json.loads((folder / BOOK).read_text(encoding="utf-8"))
    assert book["book"]["title"] == "Siskin Bend"
    assert book["counts"] == {"records": 1, "conflicts": 0, "kinds": {"field": 1}}
    assert set(book["files"]) | {BOOK} == {path.name for path in folder.iterdir()}
    for name, facts in book["files"].items():
        assert facts == {"bytes": (folder / name).stat().st_size, "sha256": file_sha256(folder / name)}


# --- tables for people ---


def test_headers_carry_units_and_cells_the_inside_unit(desk: Desk, tmp_path: Path) -> None:
    add_thing(desk, "combine", {"name": "Old Wren", "cut_width": "40 ft", "widths_taped": True})
    body = one_check(settings=[{"name": "rotor", "value": 600, "unit": "rpm"}], conditions={"humidity_pct": 41.5})
    desk.write("check", body)

    export_book(desk, str(tmp_path / "out"))

    (combine,) = sheet(tmp_path / "out", "combines")
    assert combine["cut_width (m)"] == "12.192"
    assert (combine["widths_taped"], combine["retired"]) == ("yes", "")
    (check,) = sheet(tmp_path / "out", "checks")
    assert (check["taken_at (UTC)"], check["counts"]) == ("2026-08-14T16:40:00Z", "yes")
    # 12.5 g in 4 ft2 (0.37161216 m2) under a 40 ft cut and a 66 in drop: 12.5 / 0.37161216 * 10 * 66 / 480.
    assert float(check["machine_loss_plain (kg/ha)"]) == pytest.approx(46.2512, rel=1e-6)  # six figures typed
    (catch,) = sheet(tmp_path / "out", "catches")
    assert (catch["amount"], catch["amount_unit"], catch["pan_area (m2)"]) == ("12.5", "g", "0.37161216")
    (setting,) = sheet(tmp_path / "out", "settings")
    assert (setting["setting"], setting["value"], setting["setting_unit"]) == ("rotor", "600", "rpm")
    (weather,) = sheet(tmp_path / "out", "conditions")
    assert (weather["humidity (%)"], weather["wind (km/h)"]) == ("41.5", "")


def test_tables_show_things_as_they_stand_and_what_they_were(desk: Desk, tmp_path: Path) -> None:
    add_thing(desk, "field", {"name": "Long Slough", "note": "wet"})
    field = find_thing(desk, "field", "Long Slough")
    edit_label(desk, field, "note", "drained")
    edit_label(desk, find_thing(desk, "field", "Long Slough"), "note", None)
    first = desk.write("check", one_check(field=field.id))
    desk.write("check", one_check(field=field.id, replaces=[first.id], reason="misread"))

    export_book(desk, str(tmp_path / "out"))

    (row,) = sheet(tmp_path / "out", "fields")
    assert (row["name"], row["note"]) == ("Long Slough", "")
    assert [(e["value"], e["holds"], e["target_name"]) for e in sheet(tmp_path / "out", "edits")] == [
        ('"drained"', "no", "Long Slough"),
        ("null", "yes", "Long Slough"),
    ]
    assert [c["counts"] for c in sheet(tmp_path / "out", "checks")] == ["no", "yes"]
    (correction,) = sheet(tmp_path / "out", "corrections")
    assert (correction["old_id"], correction["reason"]) == (first.id, "misread")


def test_a_check_in_conflict_does_not_count(desk: Desk, tmp_path: Path) -> None:
    one, other = (seal(desk.new_id(), "check", 1, "phone", "now", one_check()) for _ in range(2))
    twin = seal(one.id, "check", 1, "other phone", "now", one_check())
    records.append(desk.store, [one, other, twin])

    export_book(desk, str(tmp_path / "out"))

    assert {c["id"]: c["counts"] for c in sheet(tmp_path / "out", "checks")} == {one.id: "no", other.id: "yes"}
    assert json.loads((tmp_path / "out" / CONFLICTS).read_bytes())["hash"] == twin.hash


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\tx", "'x", "''=x", "=HYPERLINK(1)", "plain", "a=b"])
def test_text_is_never_a_formula_and_comes_back(text: str) -> None:
    cell = opentables.written(text)

    assert not cell.startswith(("=", "+", "-", "@", "\t", "\r", "\n"))
    assert opentables.unprotected(cell) == text


def test_numbers_are_left_alone() -> None:
    assert [opentables.written(n) for n in (-3.5, 12.0, 0, True, None)] == ["-3.5", "12", "0", "yes", ""]


def test_every_kind_has_a_table_and_every_column_a_head_of_its_own() -> None:
    assert set(opentables.TABLE_OF) == set(KINDS)
    for name, columns in opentables.tables().items():
        headers = [column.header for column in columns]
        assert len(set(headers)) == len(headers), name
        assert all(column.about for column in columns), name


@given(one=envelopes())
@settings(max_examples=80, deadline=None)
def test_every_row_fits_its_table(one: Envelope) -> None:
    known = opentables.Known({one.id: (one.kind, one.body)} if KINDS[one.kind].thing else {})
    for table, cells in opentables.rows_of(one, known):
        assert len(cells) == len(opentables.tables()[table]), table
        for cell, column in zip(cells, opentables.tables()[table], strict=True):
            if column.unit and column.unit != "UTC":
                assert cell is None or isinstance(cell, int | float), column


def test_the_page_has_the_dictionary_of_the_code() -> None:
    text = PAGE.read_text(encoding="utf-8")
    shown = []
    for part in text.split("\n### `")[1:]:
        table = part.partition(".csv`")[0]
        rows = [line.strip("|").split("|") for line in part.splitlines() if line.startswith("| `")]
        shown += [(table, row[0].strip().strip("`"), row[1].strip(), row[2].strip()) for row in rows]
    assert shown == list(dictionary())


# --- where it cannot go ---


@pytest.mark.parametrize(
    ("prepare", "problem"),
    [
        (lambda p: (p / "out").write_text("x"), "is a file"),
        (lambda p: ((p / "out").mkdir(), (p / "out" / "x").write_text("x")), "is not empty"),
        (lambda p: (p / "out.partial").mkdir(), "is there already"),
    ],
)
def test_a_folder_in_use_is_refused_and_kept(
    desk: Desk, tmp_path: Path, prepare: Callable[[Path], object], problem: str
) -> None:
    prepare(tmp_path)
    before = sorted(tmp_path.rglob("out*"))

    with pytest.raises(InputError, match=problem):
        export_book(desk, str(tmp_path / "out"))

    assert sorted(tmp_path.rglob("out*")) == before


def test_an_empty_folder_will_do_and_a_missing_parent_will_not(desk: Desk, tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()

    assert export_book(desk, str(tmp_path / "out")).records == 0
    assert (tmp_path / "out" / BOOK).is_file()
    with pytest.raises(InputError, match="does not exist"):
        export_book(desk, str(tmp_path / "nowhere" / "out"))


def test_a_full_disk_leaves_nothing_behind(desk: Desk, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    add_thing(desk, "field", {"name": "Long Slough"})

    def full(_: int) -> None:
        raise OSError(28, os.strerror(28))

    monkeypatch.setattr(exporting.os, "fsync", full)
    with pytest.raises(BookError, match="No space left"):
        export_book(desk, str(tmp_path / "out"))

    assert list(tmp_path.glob("out*")) == []


def test_a_stopped_export_leaves_nothing_behind_and_the_book_as_it_was(desk: Desk, tmp_path: Path) -> None:
    add_thing(desk, "field", {"name": "Long Slough"})

    def stop(_: int, __: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        export_book(desk, str(tmp_path / "out"), progress=stop)

    assert list(tmp_path.glob("out*")) == []
    assert check_whole(open_desk(desk.store.address)).records == 1


def test_progress_ends_at_the_end(desk: Desk, tmp_path: Path) -> None:
    for n in range(3):
        add_thing(desk, "field", {"name": f"F{n}"})
    seen: list[tuple[int, int]] = []

    export_book(desk, str(tmp_path / "out"), progress=lambda done, of: seen.append((done, of)))

    assert seen[-1] == (6, 6)
    assert all(done <= of for done, of in seen)


# --- the book's own rules ---


def test_an_edit_that_does_not_suit_its_thing_holds_nothing(desk: Desk, tmp_path: Path) -> None:
    """Taken before its thing was known: the table says what the book says, and that it does not hold."""
    field = add_thing(desk, "field", {"name": "Long Slough", "area": "62 ha"}).id
    for name, value in (("cut_width", "12 m"), ("name", None), ("note", "wet")):
        desk.write("edit", {"target": field, "field": name, "value": value, "revision": 1})

    export_book(desk, str(tmp_path / "out"))

    (thing,) = things(desk, "field")
    (row,) = sheet(tmp_path / "out", "fields")
    assert (thing.name, thing.parts["note"], thing.parts["area"]) == ("Long Slough", "wet", "62 ha")
    assert (row["name"], row["note"], row["area (ha)"]) == ("Long Slough", "wet", "62")
    holds = {e["field"]: e["holds"] for e in sheet(tmp_path / "out", "edits")}
    assert holds == {"cut_width": "no", "name": "no", "note": "yes"}


def test_a_record_in_conflict_says_nothing_of_others(desk: Desk, tmp_path: Path) -> None:
    """A correction and an edit whose ids two records claim: the old check counts, the old name stands."""
    field = add_thing(desk, "field", {"name": "Long Slough"}).id
    first = desk.write("check", one_check())
    again = desk.write("check", one_check(replaces=[first.id], reason="misread"))
    edit = desk.write("edit", {"target": field, "field": "name", "value": "Pond", "revision": 1})
    for receipt in (again, edit):
        stored = records.read(desk.store, receipt.id)
        assert stored is not None
        one = stored.envelope
        twin = seal(one.id, one.kind, 1, "other phone", one.device_time, one.body)
        assert records.append(desk.store, [twin])[0].outcome == "conflict"

    export_book(desk, str(tmp_path / "out"))

    assert [c.id for c in counting(desk, [first.id, again.id])] == [first.id]
    assert {c["id"]: c["counts"] for c in sheet(tmp_path / "out", "checks")} == {first.id: "yes", again.id: "no"}
    assert [t.name for t in things(desk, "field")] == ["Long Slough"]
    assert [row["name"] for row in sheet(tmp_path / "out", "fields")] == ["Long Slough"]
    assert [e["holds"] for e in sheet(tmp_path / "out", "edits")] == ["no"]

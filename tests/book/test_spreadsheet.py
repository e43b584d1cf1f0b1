"""A grower's own spreadsheet comes in: the rows that can, once; the others with their row, column, value and why."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from chaffinch.book.checks.fields import field_summary
from chaffinch.book.checks.held import checks_where
from chaffinch.book.desk import Desk, start_book
from chaffinch.book.exchange.importing import Imported
from chaffinch.book.exchange.merging import merge
from chaffinch.book.keeping import check_whole
from chaffinch.book.sheets.meanings import Matching
from chaffinch.book.sheets.spreadsheet import Rows, import_spreadsheet, match_columns, open_sheet, read_rows
from chaffinch.book.things import add_thing, edit_label, find_thing, things
from chaffinch.errors import InputError
from chaffinch.store import records

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "past-checks.csv"
HEAD = "Date,Field,Combine,Crop,Place,Pan (ft2),Weight (g),Cut width (ft),Drop width (in)"
ROW = "2025-08-21,Long Slough,Old Wren,canola,discharge,4,12.5,40,66"


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    return start_book(str(tmp_path / "farm.chaffinch"), title="Siskin Bend")


def rows_of(data: str | bytes, change: Callable[[Matching], Matching] = lambda m: m) -> Rows:
    sheet = open_sheet(data if isinstance(data, bytes) else data.encode())
    return read_rows(sheet, change(replace(match_columns(sheet.header, sheet.sample, sheet.units), zone="UTC")))


def csv_of(*rows: str, head: str = HEAD) -> str:
    return "\n".join([head, *rows])


def counts(found: Imported) -> tuple[int, int, int, int]:
    return found.kinds.get("check", 0), found.known, found.conflicts, len(found.refused)


# --- the example ---


def test_the_example_comes_in_once(new_address: Callable[[], str]) -> None:
    desk = start_book(new_address(), title="Siskin Bend")
    rows = rows_of(EXAMPLE.read_bytes(), lambda m: replace(m.with_fixed("country", "CA"), zone="-06:00"))
    assert rows.bad == ()
    assert [stop.rows for stop in rows.good] == [(3, 4, 5), (6, 7), (8, 9, 10, 11), (12, 13), (14,)]

    dry = import_spreadsheet(desk, rows, dry_run=True)
    assert list(records.identities(desk.store)) == []
    wet = import_spreadsheet(desk, rows)
    again = import_spreadsheet(desk, rows)

    assert counts(dry) == counts(wet) == (5, 0, 0, 0)
    assert (dry.added, dry.coming, dry.kinds) == (wet.added, wet.coming, wet.kinds)
    assert (counts(again), again.added) == ((0, 5, 0, 0), ())
    assert set(dry.added) == {
        *(("field", name) for name in ("Long Slough", "East Quarter", "Creek Piece")),
        *(("combine", name) for name in ("Old Wren", "Little Wren")),
        *(("operator", name) for name in ("Ines", "Tomas")),
        ("season", "2025"),
    }
    assert (wet.coming[0].taken_at, wet.coming[0].crop) == ("2025-08-14T16:40:00Z", "canola")
    assert wet.coming[0].catches == ("discharge 12.5 g", "discharge 9.8 g", "discharge 15.1 g")
    assert "Rows without a time of day are filed at noon." in wet.notices
    assert check_whole(desk).problems == ()


def test_what_came_in_is_answered(desk: Desk) -> None:
    import_spreadsheet(desk, rows_of(csv_of(ROW, ROW.replace("12.5", "9.8"))))

    summary = field_summary(desk, find_thing(desk, "field", "long slough"))

    assert len(summary.checks) == 1
    check = summary.checks[0].logged.check
    assert [catch.amount.value for catch in check.catches] == [12.5, 9.8]
    assert [catch.amount.step for catch in check.catches] == [0.1, 0.1]
    # Plain: the mean of 12.5 and 9.8 g in 0.37161216 m2, times 66 in / 480 in, times 10.
    assert summary.checks[0].answer.plain.machine == pytest.approx(11.15 / 0.37161216 * 10 * 66 / 480)


# --- once, on every device ---


def test_ids_come_from_the_content_alone(desk: Desk, tmp_path: Path) -> None:
    other = start_book(str(tmp_path / "other.chaffinch"), title="Siskin Bend", device="another")
    swapped = "Drop width (in);Weight (g);Pan (ft2);Place;Crop;Combine;Field;Date;Cut width (ft);Bin\n"
    swapped += "66;9,8;4;discharge;canola;Old Wren;Long Slough;21.08.2025;40;x\n"
    swapped += "66;12,5;4;discharge;Canola;OLD WREN;long slough;21.08.2025;40;y\n"

    import_spreadsheet(desk, rows_of(csv_of(ROW, ROW.replace("12.5", "9.8"))))
    again = import_spreadsheet(desk, rows_of(swapped))
    import_spreadsheet(other, rows_of(csv_of(ROW, ROW.replace("12.5", "9.8"))))

    assert counts(again) == (0, 1, 0, 0)
    assert set(records.identities(desk.store)) == set(records.identities(other.store))
    came, went = merge(desk, other)
    assert (came.accepted, came.conflicts, went.accepted, went.conflicts) == (0, 0, 0, 0)


def test_a_stop_that_has_grown_is_not_counted_twice(desk: Desk) -> None:
    import_spreadsheet(desk, rows_of(csv_of(ROW, ROW.replace("12.5", "12,5"))))
    mended = rows_of(csv_of(ROW, ROW.replace("12.5", "13.5")))

    found = import_spreadsheet(desk, mended)

    assert counts(found) == (0, 0, 0, 2)
    (check_id,) = checks_where(desk)
    assert found.refused[0].why.endswith(f"chaffinch book replace {check_id[:8]}")


def test_another_stop_of_that_day_does_come_in(desk: Desk) -> None:
    import_spreadsheet(desk, rows_of(csv_of(ROW)))

    assert counts(import_spreadsheet(desk, rows_of(csv_of(ROW.replace("12.5", "30"))))) == (1, 0, 0, 0)


# --- rows and stops ---

TIMED = HEAD + ",Time,Speed (mph)"


def test_rows_of_one_stop_are_one_check_and_another_speed_is_another_stop_of_the_day() -> None:
    head = HEAD + ",Speed (mph)"
    rows = rows_of(csv_of(ROW + ",4", ROW + ",5", ROW, ROW + ",4.0", head=head))

    # A blank speed joins the stop before it; 4 and 4.0 are not written alike, so the last row stands by itself.
    assert [stop.rows for stop in rows.good] == [(2,), (3, 4), (5,)]
    assert rows.bad == ()


def test_one_stop_cannot_have_two_speeds() -> None:
    rows = rows_of(csv_of(ROW + ",10:40,4", ROW + ",10:40,5", ROW + ",11:40,5", head=TIMED))

    assert [stop.rows for stop in rows.good] == [(2,), (4,)]
    (bad,) = rows.bad
    assert (bad.number, bad.column, bad.value) == (3, "Speed (mph)", "5 mph")
    assert "differs from row 2" in bad.why


def test_a_number_of_the_stop_parts_stops() -> None:
    rows = rows_of(csv_of(ROW + ",1", ROW + ",2", ROW + ",1", head=HEAD + ",Stop no"))

    assert [stop.rows for stop in rows.good] == [(2, 4), (3,)]


def test_rows_that_are_alike_are_told() -> None:
    assert any("rows 2, 3" in notice for notice in rows_of(csv_of(ROW, ROW)).notices)


def test_times_are_in_the_zone_that_was_said() -> None:
    for zone, taken_at in (("-06:00", "2025-08-21T16:40:00Z"), ("UTC", "2025-08-21T10:40:00Z")):
        rows = rows_of(csv_of(ROW + ",10:40,4", head=TIMED), lambda m, z=zone: replace(m, zone=z))
        assert (rows.good[0].taken_at, rows.notices) == (taken_at, ())
    own = rows_of(csv_of(ROW + ",10:40,4", head=TIMED), lambda m: replace(m, zone=""))
    assert any("this computer's own time zone" in notice for notice in own.notices)
    with pytest.raises(InputError, match="is no time zone"):
        rows_of(csv_of(ROW + ",10:40,4", head=TIMED), lambda m: replace(m, zone="+99:00"))


@pytest.mark.parametrize(
    ("encoding", "separator", "line_end", "bom"),
    [
        ("utf-8", ",", "\n", b""),
        ("utf-8", ";", "\r\n", b"\xef\xbb\xbf"),
        ("cp1252", "\t", "\r\n", b""),
        ("cp1252", ";", "\r", b""),
    ],
)
def test_encodings_separators_and_line_ends(encoding: str, separator: str, line_end: str, bom: bytes) -> None:
    text = "\n".join(["My checks,,,", "", HEAD, "", ROW.replace("Long Slough", "Müllers Stück"), ",,,", ""])

    rows = rows_of(bom + text.replace(",", separator).replace("\n", line_end).encode(encoding))

    assert rows.bad == ()
    assert [(stop.rows, stop.names["field"]) for stop in rows.good] == [((5,), "Müllers Stück")]
    assert any("Windows-1252" in notice for notice in rows.notices) == (encoding == "cp1252")


def test_units_in_cells_and_quoted_cells_are_read() -> None:
    head = "Date,Crop,Place,Pan,Weight,Cut width,Drop width,Remarks"
    row = '2025-08-21,canola,behind,"4 ft2","1,012.5 g",40 ft,"5 ft 6 in","said ""dry"", twice\nno dew"'

    (stop,) = rows_of(csv_of(row, head=head)).good

    assert stop.catches[0] == {
        "place": "behind",
        "pan": "4 ft2",
        "amount": "1012.5 g",
        "note": 'said "dry", twice\nno dew',
    }
    assert stop.table["drop_width"] == "5 ft 6 in"


def test_counts_volumes_and_what_is_said_for_all_rows(desk: Desk) -> None:
    head = "Date,Seeds counted,Volume (mL)"
    fixed = {"crop": "canola", "place": "header strip", "pan": "4 ft2", "step": "1 mL", "moisture": "12 %"}

    def change(matching: Matching) -> Matching:
        for meaning, value in {**fixed, "country": "CA"}.items():
            matching = matching.with_fixed(meaning, value)
        return matching

    rows = rows_of(
        csv_of('2025-08-21,"1,204",', "2025-08-22,,35", "2025-08-23,17,35", "2025-08-24,,", head=head), change
    )
    found = import_spreadsheet(desk, rows)

    assert [stop.catches[0]["amount"] for stop in rows.good] == ["1204 seeds", "35 mL"]
    assert [(b.number, b.column) for b in rows.bad] == [(4, "Volume (mL)"), (5, "Seeds counted")]
    assert counts(found) == (2, 0, 0, 2)


# --- the book's own things ---


def test_the_books_own_things_are_found_and_lend_what_the_sheet_has_not(desk: Desk) -> None:
    season = add_thing(desk, "season", {"name": "Harvest 25", "starts": "2025-07-01", "ends": "2026-01-31"}).id
    field = add_thing(desk, "field", {"name": "Long Slough", "season": season, "crop": "canola"}).id
    combine = add_thing(desk, "combine", {"name": "Old Wren", "cut_width": "12 m", "drop_width": "1.5 m"}).id
    head = "Date,Field,Combine,Place,Pan (ft2),Weight (g)"

    found = import_spreadsheet(desk, rows_of(csv_of("2025-08-21,long slough,OLD WREN,discharge,4,12.5", head=head)))

    assert found.added == ()
    (check_id,) = checks_where(desk)
    stored = records.read(desk.store, check_id)
    assert stored is not None
    body = stored.envelope.body
    assert (body["season"], body["field"], body["combine"]) == (season, field, combine)
    assert (body["check"]["crop"], body["check"]["combine"]["cut_width"]) == ("canola", "12.0 m")


def test_a_field_is_one_in_each_season(desk: Desk) -> None:
    later = csv_of(ROW.replace("2025", "2026"), ROW)

    found = import_spreadsheet(desk, rows_of(later))
    again = import_spreadsheet(desk, rows_of(csv_of(ROW.replace("12.5", "40"))))

    assert [name for kind, name in found.added if kind == "field"] == ["Long Slough", "Long Slough"]
    assert again.added == ()
    assert len(things(desk, "field")) == 2


def test_a_thing_renamed_since_is_not_added_anew(desk: Desk) -> None:
    import_spreadsheet(desk, rows_of(csv_of(ROW)))
    edit_label(desk, find_thing(desk, "field", "Long Slough"), "name", "Lower Slough")

    found = import_spreadsheet(desk, rows_of(csv_of(ROW.replace("12.5", "40"))))

    assert (counts(found), found.added) == ((1, 0, 0, 0), ())
    assert [thing.name for thing in things(desk, "field")] == ["Lower Slough"]


def test_what_only_refused_rows_name_is_not_added(desk: Desk) -> None:
    found = import_spreadsheet(
        desk, rows_of(csv_of(ROW, ROW.replace("Long Slough", "Nowhere").replace("12.5", "99999")))
    )

    assert counts(found) == (1, 0, 0, 1)
    assert [thing.name for thing in things(desk, "field")] == ["Long Slough"]


# --- ten thousand rows, seven bad ---


def test_seven_bad_rows_of_ten_thousand_are_listed_and_the_others_offered(desk: Desk) -> None:
    lines = [
        f"2025-08-{n % 28 + 1:02},F{n % 40},Wren,canola,discharge,4,{5 + n % 301 / 10:.1f},40,66,{3 + n / 10_000:.4f}"
        for n in range(10_000)
    ]
    bad = {
        10: ("Weight (g)", "12,5", lambda row: re.sub(r",4,[\d.]+,", ',4,"12,5",', row)),
        500: ("Date", "2025-02-30", lambda row: re.sub(r"^[\d-]+", "2025-02-30", row)),
        2000: ("Place", "moon", lambda row: row.replace("discharge", "moon")),
        3333: ("Crop", "canolla", lambda row: row.replace("canola", "canolla")),
        5000: ("Weight (g)", "", lambda row: re.sub(r",4,[\d.]+,", ",4,,", row)),
        7777: ("Weight (g)", "about 3", lambda row: re.sub(r",4,[\d.]+,", ",4,about 3,", row)),
        9999: ("", "", lambda row: row + ",extra"),
    }
    for number, (_, _, spoil) in bad.items():
        lines[number - 2] = spoil(lines[number - 2])

    found = import_spreadsheet(desk, rows_of(csv_of(*lines, head=HEAD + ",Speed (mph)")), dry_run=True)

    assert [(r.number, r.column, r.value) for r in found.refused] == [(n, c, v) for n, (c, v, _) in bad.items()]
    assert all(r.why for r in found.refused)
    offered = sorted(number for coming in found.coming for number in coming.rows)
    assert offered == sorted(set(range(2, 10_002)) - set(bad))
    assert any("against it stands '12,5'" in notice for notice in found.notices)

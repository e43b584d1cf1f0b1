"""Columns are matched by plain words of the trade, and a person has the last word."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chaffinch.book.names import nfc
from chaffinch.book.sheets.meanings import (
    MEANINGS,
    Column,
    Matching,
    match_columns,
    matching_from_toml,
    with_styles,
)
from chaffinch.errors import InputError


@pytest.mark.parametrize(
    ("header", "meant"),
    [
        ("Date", "date"),
        ("DAY", "date"),
        ("Time of day", "time"),
        ("Check no.", "stop"),
        ("Paddock", "field"),
        ("field_name", "field"),
        ("Harvester", "combine"),
        ("Driver", "operator"),
        ("Crop type", "crop"),
        ("Where taken", "place"),
        ("Pan size (ft2)", "pan:ft2"),
        ("Tray area [m²]", "pan:m²"),
        ("Pan width cm", "pan_width:cm"),
        ("Pan length (cm)", "pan_length:cm"),
        ("Catch weight, g", "amount:g"),
        ("weight of seed", "amount"),
        ("Wieght", "amount"),
        ("Seeds counted", "count:seeds"),
        ("Volume mL", "volume:mL"),
        ("Scale step (g)", "step:g"),
        ("Header width ft", "cut_width:ft"),
        ("Drop width (in)", "drop_width:in"),
        ("Spread width m", "spread_width:m"),
        ("Chopper on", "spreading"),
        ("Yield (bu/ac)", "yield:bu/ac"),
        ("Price ($/bu)", "price:$/bu"),
        ("Loss limit (kg/ha)", "limit:kg/ha"),
        ("Ground speed mph", "speed:mph"),
        ("Grain moisture %", "moisture:%"),
        ("TKW (g)", "tkw:g"),
        ("Remarks", "note"),
    ],
)
def test_a_plain_name_is_understood(header: str, meant: str) -> None:
    assert match_columns([header]).columns[0].written() == meant


def test_a_name_of_thousands_of_blanks_is_no_column_of_ours() -> None:
    """Looked through by the cube of its length it would not come to an end."""
    assert match_columns([f"a({' ' * 8000}b"]).columns[0].meaning is None


@pytest.mark.parametrize(
    "header",
    [
        "Bin",
        "Fan speed",
        "Wind speed km/h",
        "Rotor speed rpm",
        "Straw moisture %",
        "Loss (kg/ha)",
        "Field size (ac)",
        "Country",
    ],
)
def test_what_is_something_else_is_left_out(header: str) -> None:
    assert match_columns([header]).columns[0].meaning is None


def test_each_meaning_is_given_once_to_the_nearest_name_and_notes_as_often_as_they_come() -> None:
    matching = match_columns(["Sample weight tub", "Weight", "Notes", "Remarks"])

    assert [column.meaning for column in matching.columns] == [None, "amount", "note", "note"]


def test_a_row_of_units_tells_the_unit_and_rules_out_what_cannot_be_in_it() -> None:
    matching = match_columns(["Header", "Catch", "Speed"], (), ["ft", "g", "g"])

    assert [column.written() for column in matching.columns] == ["cut_width:ft", "amount:g", "-"]


def test_cells_tell_a_date_where_the_name_does_not() -> None:
    matching = match_columns(["Visited", "Weight (g)"], [("21.08.2025", "3"), ("22.08.2025", "4")])

    assert matching.columns[0].meaning == "date"


def test_a_person_changes_a_column() -> None:
    matching = match_columns(["Pan size", "Bin", "Weight (g)"])

    changed = matching.with_column("pan SIZE=pan:ft2").with_column("Bin=note").with_column("Weight (g)=-")

    assert changed.columns == (Column("Pan size", "pan", "ft2"), Column("Bin", "note"), Column("Weight (g)"))


@pytest.mark.parametrize(
    ("change", "problem", "mend"),
    [
        ("Pan size", "is not understood", 'write it like "Pan size=pan:ft2"'),
        ("=pan", "is not understood", "write it like"),
        ("Pan siez=pan", "is not in the spreadsheet", "did you mean Pan size?"),
        ("Pan size=pann", "is nothing a column can mean", "did you mean pan?"),
        ("Pan size=pan:g", "is no unit of pan", "use m2, cm2"),
        ("Pan size=note:g", "is no unit of note", "it has no unit"),
    ],
)
def test_a_change_that_cannot_be_is_refused(change: str, problem: str, mend: str) -> None:
    with pytest.raises(InputError) as caught:
        match_columns(["Pan size", "Bin"]).with_column(change)
    assert caught.value.problem == problem
    assert mend in caught.value.mend


def test_what_is_said_for_every_row_must_be_sayable() -> None:
    matching = match_columns(["Date"])

    assert matching.with_fixed("crop", " canola ").fixed == {"crop": "canola"}
    for meaning, value in (("time", "10:00"), ("corp", "canola"), ("crop", " ")):
        with pytest.raises(InputError):
            matching.with_fixed(meaning, value)


meant = st.sampled_from(["-", *MEANINGS, "pan:ft2", "amount:g", "speed:mph"])
# A sheet's own text is in the form NFC before its header is looked at.
names_in_a_sheet = st.text(st.characters(exclude_categories=["Cs"]), min_size=1).map(nfc)
headers = st.lists(names_in_a_sheet, min_size=1, max_size=6, unique=True)


@given(names=headers, data=st.data())
def test_a_kept_matching_reads_back(names: list[str], data: st.DataObject) -> None:
    columns = []
    for name in names:
        meaning, _, unit = data.draw(meant).partition(":")
        columns.append(Column(name) if meaning == "-" else Column(name, meaning, unit or MEANINGS[meaning].unit))
    fixed = data.draw(st.dictionaries(st.just("crop"), st.sampled_from(("canola", 'a"b\\c'))))
    matching = Matching(tuple(columns), fixed, *data.draw(st.sampled_from((("dmy", ",", "-06:00"), ("", "", "")))))

    assert matching_from_toml(matching.as_toml(), names) == matching


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("format = 1\n[columns\n", "is no TOML"),
        ("format = 2\n", "is not 1"),
        ("format = 1\ncolour = 1\n", "is not a key of it"),
        ("format = 1\ncolumns = 3\n", "is no table of texts"),
        ("format = 1\n[columns]\nDate = 3\n", "is no table of texts"),
        ("format = 1\n[columns]\n", "is a column it does not name"),
        ('format = 1\n[columns]\nDate = "date"\nPan = "pan:ft2"\n', "is not in the spreadsheet"),
        ('format = 1\n[columns]\nDate = "dat"\n', "is nothing a column can mean"),
        ('format = 1\ndates = "ymd"\n[columns]\nDate = "date"\n', "is no style"),
        ("format = 1\ndates = 3\n[columns]\nDate = 'date'\n", "is not text"),
        ('format = 1\n[columns]\nDate = "date"\n[fixed]\ncorp = "canola"\n', "cannot be said"),
    ],
)
def test_a_matching_out_of_form_is_refused(text: str, problem: str) -> None:
    with pytest.raises(InputError, match=problem):
        matching_from_toml(text, ["Date"])


def test_styles_said_later_hold() -> None:
    kept = Matching((), dates="dmy", zone="-06:00")

    said = with_styles(kept, dates="mdy", decimals=",")

    assert (said.dates, said.decimals, said.zone) == ("mdy", ",", "-06:00")
    with pytest.raises(InputError, match="is no decimal mark"):
        with_styles(kept, decimals=";")


def test_the_page_has_the_meanings_of_the_code() -> None:
    page = (Path(__file__).resolve().parents[2] / "docs" / "open-formats.md").read_text(encoding="utf-8")
    part = page.partition("### What a column can mean\n")[2].partition("\n### ")[0]
    shown = {
        name: (holds, about) for name, holds, about in re.findall(r"^\| `(\w+)` \| (.+?) \| (.+?) \|$", part, re.M)
    }

    told = {n: (", ".join(m.kinds).replace("_", " ") or "text", m.about) for n, m in MEANINGS.items()}
    assert shown == told
    (example,) = re.findall(r"```toml\n(.*?)```", page, re.DOTALL)
    kept = matching_from_toml(example, ["Date", "Paddock", "Pan size", "Weight", "Bin"])
    assert kept.as_toml() == example

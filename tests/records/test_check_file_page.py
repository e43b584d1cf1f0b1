"""The documentation page of the check file says what the code says."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from chaffinch import units
from chaffinch.records.check import PLACES
from chaffinch.records.checkfile import check_from_table, check_to_table, read_check_file
from chaffinch.records.keys import AMOUNTS, HOLDS, STEPS, TABLES, header, key_of

PAGE = (Path(__file__).parents[2] / "docs" / "check-file.md").read_text(encoding="utf-8")


def section(heading: str) -> str:
    """What stands between a heading and the next one."""
    found = re.search(rf"^#+ {re.escape(heading)}\n(.*?)(?=^#|\Z)", PAGE, re.MULTILINE | re.DOTALL)
    assert found is not None, heading
    # A TOML comment at the start of a line would end the section too soon.
    return found[1]


def rows(text: str) -> list[tuple[str, ...]]:
    lines = [line for line in text.splitlines() if line.startswith("| `") or re.match(r"\| [a-z]", line)]
    return [tuple(cell.strip() for cell in line.strip("|").split("|")) for line in lines]


@pytest.mark.parametrize("table", TABLES)
def test_the_page_lists_every_key_as_the_code_has_it(table: str) -> None:
    heading = header(table) if table else "Top of the file"

    expected = [
        (f"`{key.name}`" + (" *" if key.must else ""), HOLDS[key.holds], key.about, str(key.span or ""))
        for key in TABLES[table]
    ]
    assert expected == [row for row in rows(section(heading)) if row[0].startswith("`")]


def test_the_page_lists_the_readings_as_the_code_has_them() -> None:
    expected = [(str(span), str(STEPS.get(kind, "1"))) for kind, span in AMOUNTS.items()]

    found = [row[1:] for row in rows(section("[[catch]]")) if row[0] in READINGS]
    assert expected == found


READINGS = ("weighed", "measured in a cup", "counted", "lying flat, one seed deep")


def test_the_page_lists_the_units_of_report_in() -> None:
    assert f"`report_in` is one of {', '.join(units.accepted('area_mass'))}." in PAGE


@pytest.mark.parametrize("place", PLACES)
def test_each_place_has_one_worked_example_that_reads(place: str) -> None:
    (example,) = re.findall(r"```toml\n(.*?)```", section(place), re.DOTALL)

    check = read_check_file(example)
    assert {catch.place for catch in check.catches} == {place}
    assert check_from_table(check_to_table(check)) == check


def test_every_example_on_the_page_reads() -> None:
    examples = re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL)

    assert len(examples) == len(PLACES) + 1
    for example in examples:
        assert read_check_file(example).schema == 1


def test_every_key_holds_something_the_page_can_name() -> None:
    for keys in TABLES.values():
        for key in keys:
            assert key.holds in HOLDS
            assert key.holds in units.KINDS or key.span is None or key.holds in ("number", "whole", "fraction")
        assert len({key.name for key in keys}) == len(keys)


def test_asking_for_a_key_that_is_not_there_is_a_slip_of_the_program() -> None:
    with pytest.raises(KeyError):
        key_of("catch", "amuont")

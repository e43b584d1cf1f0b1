"""Names may hold anything: markup is text, other scripts are set or refused in a line, and nothing leaves the page."""

from __future__ import annotations

import re
from typing import Any

import pytest
from paper_farm import DAY, ink, text_of

from chaffinch.book.planning.card import card
from chaffinch.book.things import add_thing, find_thing
from chaffinch.engine.estimate import Range
from chaffinch.errors import InputError
from chaffinch.paper import blocks
from chaffinch.paper.blocks import NAME, NUMBER, TEXT, WIDE, Report
from chaffinch.paper.cab_card import cab_card, link_of, print_cards
from chaffinch.paper.drawing import Chart, Curve, Row, chart, rows, ruler
from chaffinch.paper.field_report import field_report
from chaffinch.paper.letters import FILES, FOLDER, held, spelled
from chaffinch.paper.season_map import Tile, season_map
from chaffinch.paper.told import Amount
from chaffinch.paper.typeset import SIZES, pictures, typeset
from chaffinch.paper.wanted import Wanted, printed
from chaffinch.records.checkfile import check_from_table
from season_book import SeasonBook

MARKUP = '#strong[x] *y* _z_ $1/0$ @ref <b>&amp;</b> \\u{41} [#(1+1)] //"{x}"'
LONG = "Verylongnameofafieldthatnobodywouldwriteonagate" * 4
NAMES = [MARKUP, LONG, "שדה צפון 7", "حقل الشمال", "Żółć Чернозём", "a" * 200, "The field behind the old mill " * 6]
PPI = 45.0


def a_report(size: str, names: list[str]) -> dict[str, Any]:
    """Each kind of piece with each of the names in it."""
    r = Range(0.2, 1.0, 3.0)
    made: list[blocks.Block] = []
    for name in names:
        made += [
            blocks.heading(name),
            blocks.big(Amount("0.1", "123 456.7", "3", "bu/ac"), name),
            blocks.verdict("▲", "Over your limit", f"Over your limit {name}"),
            blocks.table([["a", "b", "c", "d"], [name, name[:20], "1 234 567.8", name]], [NAME, TEXT, NUMBER, WIDE]),
            *blocks.notes(name, [name]),
            *blocks.facts([(name[:30], name)]),
            blocks.caution(name),
            blocks.picture(
                rows([Row(name[:24], r)], "bu/ac", title="t", about="a", name="r", limit=1.0, limit_name="limit 1"),
                size,
            ),
        ]
    return Report("field", names[0], tuple(names[:3]), DAY, size, False, made, names[0]).data()


def margins_are_white(layout: Any, data: dict[str, Any], margin_mm: float) -> None:
    width_mm, height_mm = SIZES[data["size"]]
    for png in pictures(layout, data, ppi=PPI):
        dark = ink(png)
        edge = int(margin_mm / 25.4 * PPI)
        assert dark.shape == pytest.approx([height_mm / 25.4 * PPI, width_mm / 25.4 * PPI], abs=2)
        assert dark[:, :edge].max() < 0.05
        assert dark[:, -edge:].max() < 0.05
        assert dark[:edge].max() < 0.05
        assert dark[-edge:].max() < 0.05
        assert dark.max() > 0.5


@pytest.mark.parametrize("size", ["a4", "letter"])
def test_nothing_leaves_the_page(size: str) -> None:
    margins_are_white("report", a_report(size, NAMES), 8.0)


def test_markup_is_text() -> None:
    text = text_of(typeset("report", a_report("a4", [MARKUP])).pdf)
    assert text.count(MARKUP) >= 5


def test_other_scripts_are_set_and_what_cannot_be_is_refused() -> None:
    assert typeset("report", a_report("a4", ["שדה צפון 7", "حقل الشمال"])).pages >= 1
    with pytest.raises(InputError, match="letters of the paper lack") as caught:
        typeset("report", a_report("a4", ["田中 farm"]))
    assert "田" in caught.value.line()
    assert "\n" not in caught.value.line()
    assert spelled({"a": ["₦ 5", "1\u202f000"]}) == {"a": ["NGN 5", "1\u00a0000"]}


def test_a_drawing_keeps_its_places_and_a_figure_its_thousands() -> None:
    speeds = [4.0 + 0.1 * n for n in range(40)]
    curve = Curve(speeds, [Range(0.8 * v, v, 1.3 * v) for v in speeds], (4.0, 8.0))
    drawn = chart(Chart(curve, (), "km/h", "kg/ha"), title="t", about="a", name="c")
    svg = drawn.ink(680)
    assert re.search(r"\d \d{3}[.,]", svg), "the drawing has what looks like thousands"
    assert spelled({"svg": svg}) == {"svg": svg}
    assert spelled("1 460 000 kg, 7 12 and 3 2026") == "1\u00a0460\u00a0000 kg, 7 12 and 3 2026"
    # And on the page the whole curve is there: ink in each column of the picture between its ends.
    block = blocks.picture(drawn, "a4")
    data = Report("field", "t", (), DAY, "a4", False, [block], "f").data()
    dark = ink(pictures("report", data, ppi=PPI)[0])
    across = dark[int(1.3 * PPI) : int(3.9 * PPI), int(1.6 * PPI) : int(6.2 * PPI)].max(axis=0)
    assert (across > 0.3).all()


def test_the_list_of_signs_is_that_of_the_files() -> None:
    assert {ord(c) for c in "AZaz09−×±²·–½$€£¥žЖאح٣ ²³≤≥"} <= held()
    assert not {ord(c) for c in "田Ω→▲☐"} & held()
    assert len(held()) > 800
    assert all((FOLDER / name).stat().st_size > 100_000 for name in FILES)
    assert "SIL OPEN FONT LICENSE Version 1.1" in (FOLDER / "OFL.txt").read_text(encoding="utf-8")


def test_a_field_with_such_a_name_is_reported(empty: SeasonBook) -> None:
    name = MARKUP[:150]
    add_thing(empty.desk, "field", {"name": name, "season": empty.ids["2026"], "crop": "canola", "area": "0.001 ha"})
    field = find_thing(empty.desk, "field", name)
    text = text_of(printed(field_report(empty.desk, field, Wanted(date=DAY))).pdf)
    assert "".join(name.split()) in "".join(text.split())
    assert "No check has been filed under this field yet." in text


def a_check(limit: str, crop: str = "canola", name: str = "Old Bess", cut: str = "12 m") -> Any:
    return check_from_table(
        {
            "crop": crop, "country": "CA", "limit": limit, "price": "640 /t", "currency": "CHF", "report_in": "kg/ha",
            "spreading": False,
            "combine": {"name": name, "cut_width": cut, "drop_width": "1.8 m", "spread_width": "9 m"},
            "catch": [{"place": "discharge", "pan": "4 ft2", "amount": "0 g", "step": "0.1 g"}],
        }
    )  # fmt: skip


@pytest.mark.parametrize("size", ["a5", "half-letter"])
@pytest.mark.parametrize("limit", ["0.02 kg/ha", "60 kg/ha", "4000 kg/ha"])
def test_a_card_holds_tiny_and_huge_figures_and_long_names(size: str, limit: str) -> None:
    found = card(a_check(limit, name=LONG))
    one = cab_card(found, size=size, date=DAY, pan=LONG, address="https://" + "a" * 150, combine_id="0" * 36)
    assert print_cards([one]).pages == 1
    margins_are_white("card", {"title": "t", "size": size, "date": DAY, "cards": [one]}, 4.0)


@pytest.mark.parametrize(
    "address", ["farm", "ftp://x", "https://", "https://a b", "https://u@x", "https://" + "a" * 300]
)
def test_an_address_that_is_none_is_refused(address: str) -> None:
    with pytest.raises(InputError, match="--address"):
        link_of(address)


def test_the_code_opens_the_machine() -> None:
    assert link_of("https://farm.local:8443/", "abc") == "https://farm.local:8443/app/#/where/abc"
    assert link_of("https://farm.local/app") == "https://farm.local/app/"
    assert link_of("") == ""


@pytest.mark.parametrize("size", ["a4", "letter"])
def test_a_drawing_taller_than_a_page_is_made_smaller(size: str) -> None:
    tall = rows([Row(f"stop {n}", Range(1, 2, 3)) for n in range(100)], "bu/ac", title="t", about="a", name="n")
    block = blocks.picture(tall, size, named=True)
    width, height = (float(side) for side in re.findall(r'(?:width|height)="(\d+)"', block["svg"])[:2])
    assert height / width * block["width_mm"] < SIZES[size][1] - 36.0, "head, foot and caption have their room"
    data = Report("trial", "t", (), DAY, size, False, [block], "f").data()
    assert typeset("report", data).pages <= 2
    margins_are_white("report", data, 8.0)


def test_drawings_on_paper_have_no_hue() -> None:
    drawn = ruler(Range(1, 2, 3), "bu/ac", title="t", about="a", name="n", limit=2.0, limit_name="limit")
    tiles = [Tile(str(n), f"f{n}", 10.0 + n, Range(1, 2 + n, 9), "2") for n in range(4)]
    mapped = season_map(tiles, "kg/ha", title="t", about="a", name="m", spans=["a", "b", "c"])
    for svg in (drawn.ink(440), mapped.ink(440)):
        colours = re.findall(r"#([0-9a-f]{6}|[0-9a-f]{3})\b", svg)
        assert colours
        assert all(len(set(c if len(c) == 3 else (c[:2], c[2:4], c[4:]))) == 1 for c in colours)
        assert "var(" not in svg

"""The report of a field log: its figures are the engine's, its map loses no square, one page holds the short form."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from paper_farm import DAY, plain, reader, text_of

from chaffinch.book.fieldlogs.asked import asked_loss
from chaffinch.book.fieldlogs.losses import LogLoss
from chaffinch.book.fieldlogs.one_log import answers_of
from chaffinch.book.figures import range_words
from chaffinch.book.shown_unit import unit_of
from chaffinch.book.things import find_thing
from chaffinch.errors import InputError
from chaffinch.fieldlog.loss.parts import Cell
from chaffinch.fieldlog.rows import Part, Rows
from chaffinch.fieldlog.writing.records import write_log
from chaffinch.paper import log_picture
from chaffinch.paper.log_map import log_map, squares_of
from chaffinch.paper.log_report import log_report
from chaffinch.paper.log_told import Weight, told_of
from chaffinch.paper.wanted import Wanted, made
from season_book import SeasonBook

LOG = Path(__file__).parents[2] / "examples" / "larkhollow-log.csv"


def summed(book: SeasonBook, **given: str) -> tuple[LogLoss, str]:
    combine = find_thing(book.desk, "combine", "Old Bess")
    return asked_loss(
        book.desk, LOG, answers_of(zone="-06:00"), given, combine=combine, crop="canola",
        unit=unit_of(book.desk, "canola"), called=lambda name: name,
    )  # fmt: skip


@pytest.fixture(scope="module")
def found(season: SeasonBook) -> tuple[LogLoss, str]:
    return summed(season, price="600 /t", hour_cost="400 /h", speed="5 km/h")


def test_several_machines_have_a_row_each_and_their_own_best(season: SeasonBook, tmp_path: Path) -> None:
    n = 8 * 120
    k = np.arange(n)
    number, place = k // 120, k % 120
    columns = {
        "time_s": 1_786_000_000.0 + k,
        "lon_deg": -104.6 + number * 11.5 / 111_195.08 / np.cos(np.radians(50.4)),
        "lat_deg": 50.4 + np.where(number % 2 == 0, place, 119 - place) * 1.9 / 111_195.08,
        "speed_kmh": 7.0 + 0.01 * np.sin(k),
        "width_m": np.full(n, 11.5),
        "flow_kg_s": 5.6 + 0.5 * np.sin(k / 9),
    }
    parts = tuple(Part(name, "", name, "utc") for name in ("Old Bess", "L-77"))
    write_log(tmp_path / "two.parquet", Rows(columns, k * 2 // n, parts))
    given = {"price": "600 /t", "hour_cost": "400 /h", "best": "yes", "machine_is": "L-77=Young Bess"}
    unit = unit_of(season.desk, "canola")
    loss, sign = asked_loss(season.desk, tmp_path / "two.parquet", answers_of(), given, combine=None, crop="canola",
                            unit=unit, called=lambda name: name)  # fmt: skip
    for short in (False, True):
        report, done = made(log_report(loss, unit, sign, Wanted(date=DAY, short=short), name="two", price="600 /t"))
        text = text_of(done.pdf)
        assert "nan" not in text.casefold().split()
        for said in ("By machine", "each machine at its own best", "Young Bess: ", "Old Bess rests on"):
            assert plain(said) in text
        for one in loss.machines:
            assert plain(range_words(one.kg_ha)[1]) in text
        assert report.figures["other_pace"]["speed_kmh"] is None
        assert [row["combine"] for row in report.figures["machines"]] == ["Young Bess", "Old Bess"]
        assert done.pages <= (1 if short else 3)


@pytest.mark.parametrize("size", ["a4", "letter"])
def test_the_figures_are_the_engines(season: SeasonBook, found: tuple[LogLoss, str], size: str) -> None:
    loss, sign = found
    unit = unit_of(season.desk, "canola")
    for short in (False, True):
        wanted = Wanted(date=DAY, size=size, short=short)
        report, done = made(log_report(loss, unit, sign, wanted, name="larkhollow-log", price="600 /t"))
        assert done.pages == (1 if short else 2)
        text = text_of(done.pdf)
        low, middle, high = range_words(loss.kg_ha)
        assert plain(f"{middle} kg/ha header and machine loss, mean of the field, likely {low} to {high}") in text
        for kg in (loss.total_kg, loss.machine_kg, loss.header_kg, loss.other.total_kg if loss.other else None):
            assert kg is not None
            low, middle, high = range_words(kg.times(0.001))
            assert plain(middle) in text
            assert plain(f"{low} to {high}") in text
        assert "below 0 is a loss" in text
        assert "no insurance or legal record" in text
        assert any(one["is"] == "drawing" and "North is up" in one["alt"] for one in report.blocks), "the map is there"
        assert report.figures["total_kg"]["median"] == loss.total_kg.median
        assert reader(done.pdf).pages[0].extract_text()
    assert "What stands behind the figures" in text_of(
        made(log_report(loss, unit, sign, Wanted(date=DAY), name="x"))[1].pdf
    )


def test_money_and_terms_are_refused_by_name(season: SeasonBook) -> None:
    for given, field in (
        ({"price": "lots"}, "price"),
        ({"speed": "5 apples"}, "speed"),
        ({"price": "600 /t", "best": "yes"}, "hour cost"),
        ({"price": "€600 /t"}, "price"),
    ):
        with pytest.raises(InputError) as refused:
            summed(season, **given)
        assert refused.value.field == field


def cells(wide: int, high: int) -> list[Cell]:
    """A field of squares, with one missing, whose loss rises to the east and north."""
    east, north = 0.001, 0.0006
    return [
        Cell((-100 + k * east, 50 + j * north, -100 + (k + 1) * east, 50 + (j + 1) * north), 0.5, 10.0 + k + 0.1 * j)
        for k in range(wide)
        for j in range(high)
        if (k, j) != (1, 1)
    ]


@pytest.mark.parametrize("most", [10_000, 40, 5])
def test_no_square_is_lost_when_they_are_put_together(most: int) -> None:
    given = cells(12, 9)
    made_of = squares_of(given, most)
    assert made_of is not None
    assert len(made_of.at) <= most
    area = sum(a for a, _, _ in made_of.at.values())
    lost = sum(a * loss for a, loss, _ in made_of.at.values())
    assert area == pytest.approx(sum(c.area_ha for c in given))
    assert lost == pytest.approx(sum(c.area_ha * c.kg_ha for c in given))
    means = sorted(made_of.at.values(), key=lambda one: one[1])
    levels = [level for _, _, level in means]
    assert levels == sorted(levels), "the more is lost, the higher the third"
    counts = np.bincount(levels, minlength=4)[1:]
    assert counts.max() - counts.min() <= 1


def test_a_field_that_lost_alike_says_so_and_its_thirds_differ(
    found: tuple[LogLoss, str], season: SeasonBook, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Thirds by noise alone would read "100 to 100" three times, and as a pattern of the field."""
    loss, sign = found
    unit = unit_of(season.desk, "canola")
    own = 100.0 / unit.loss.factor
    alike = tuple(replace(one, kg_ha=own * (1.0 + 0.01 * (n % 5) / 5)) for n, one in enumerate(loss.squares))
    told = told_of(replace(loss, squares=alike), unit, sign, Weight(0.001, "t"))
    assert len({row[1] for row in told.thirds[1:]}) == len(told.thirds) - 1 == 3
    assert told.map is not None
    assert "hardly differ" in told.map.about
    laid_out: list[str] = []

    def laid(_: str, data: dict[str, list[str]], **__: float) -> list[bytes]:
        laid_out.extend(data["lines"])
        return [b""]

    monkeypatch.setattr(log_picture, "pictures", laid)
    log_picture.map_picture(replace(loss, squares=alike), unit, sign)
    log_picture.map_picture(loss, unit, sign)
    assert [line.startswith("The squares hardly differ") for line in laid_out] == [False, True, False]
    once = tuple(replace(one, kg_ha=own * (1 + n % 3)) for n, one in enumerate(loss.squares))
    drawn = told_of(replace(loss, squares=once), unit, sign, Weight(0.001, "t")).map
    assert drawn is not None
    assert "hardly differ" not in drawn.about
    assert f">100 {unit.loss.name}: lowest third<" in drawn.ink(680)


def test_what_is_drawn_covers_the_squares_and_nothing_else() -> None:
    given = cells(12, 9)
    squares = squares_of(given)
    assert squares is not None
    picture = log_map(squares, title="Map", about="A map.", name="map", spans=["a", "b", "c"], scale="{metres} m")
    for width in (320, 680):
        svg = picture.ink(width)
        covered = 0.0
        sides = set()
        for path in re.findall(r'<path class="square tile-[123]" d="([^"]*)"', svg):
            for box in path.removesuffix("z").split("z"):
                match = re.fullmatch(r"M([\d.]+) ([\d.]+)h([\d.]+)v([\d.]+)h-[\d.]+", box)
                assert match, box
                x, y, wide, side = map(float, match.groups())
                assert 0 <= x <= x + wide <= width + 0.2
                assert y >= 0
                covered += wide * side
                sides.add(side)
        (side,) = sides
        assert covered == pytest.approx(len(given) * side * side, rel=0.02)
        assert re.search(r">\d+ m</text>", svg)
    assert squares_of([]) is None

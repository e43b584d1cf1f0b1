"""Several machines of one log, each summed by its own curve: matched, added world by world, and told apart."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pytest
import shapely
from test_log_losses import a_log, combine

from chaffinch.book.fieldlogs import runs as log_runs
from chaffinch.book.fieldlogs.answer import hours_said
from chaffinch.book.fieldlogs.losses import log_loss, measured
from chaffinch.book.fieldlogs.machines import told_machines, whose_records
from chaffinch.book.fieldlogs.zones import ZonesTold
from chaffinch.book.things import edit_label, find_thing
from chaffinch.engine.ledger.sharing import SharedByBoth
from chaffinch.errors import InputError
from season_book import SeasonBook, start, with_speeds

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "bench"))
import fieldlog_loss

BOTH = ("Old Bess", "Young Bess")
FITTED: dict[tuple[str, str], Any] = {}


@pytest.fixture(scope="module")
def harvest(tmp_path_factory: pytest.TempPathFactory) -> tuple[SeasonBook, Path]:
    """Old Bess loses 30 kg/ha at 6 km/h and more the faster she goes, Young Bess 90 at any speed; each cut a half."""
    folder = tmp_path_factory.mktemp("two")
    book = start(folder / "a.chaffinch")
    with_speeds(book, repeats=1)
    for hour in range(6):
        book.check("Young Bess", 14, 8 + hour, speed_kmh=4.0 + hour, machine_kg_ha=90.0)
    return book, a_log(folder / "two.parquet", machines=BOTH, passes=8)


@pytest.fixture(autouse=True)
def _fitted_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """No check falls into the hours of its own machine here, so that every answer rests on the same curves (but for the
    renamed machine, whose curves are not looked at)."""
    fit = log_runs.curves

    def once(desk: Any, of: Any, crop: str, **how: Any) -> Any:
        if (of.id, crop) not in FITTED:
            FITTED[of.id, crop] = fit(desk, of, crop, **how)
        return FITTED[of.id, crop]

    monkeypatch.setattr(log_runs, "curves", once)


def test_the_sum_holds_the_truth_and_each_row_is_what_one_alone_says(harvest: tuple[SeasonBook, Path]) -> None:
    book, path = harvest
    found = log_loss(book.desk, None, "canola", path, price_per_t=600.0)
    assert [one.curves.combine.name for one in found.machines] == list(BOTH)
    assert found.combines == "Old Bess, Young Bess"
    old, young = found.machines
    # The true laws at 7 km/h.
    truth = 30 * (7 / 6) ** 1.5 * old.cut_ha + 90.0 * young.cut_ha
    assert found.total_kg.low < truth < found.total_kg.high
    assert found.total_kg.median == pytest.approx(truth, rel=0.15)
    assert old.kg_ha.high < young.kg_ha.low, "their curves are not mixed"
    for one in found.machines[1:]:
        alone = log_loss(book.desk, combine(book, one.called), "canola", path, machine=one.called, price_per_t=600.0)
        assert one.cut_ha == pytest.approx(alone.cut_ha)
        assert one.known_ha == pytest.approx(alone.known_ha)
        assert one.hours == pytest.approx(alone.hours)
        for end in ("low", "median", "high"):
            assert getattr(one.total_kg, end) == pytest.approx(getattr(alone.total_kg, end), rel=0.05)
    assert sum(one.cut_ha for one in found.machines) == pytest.approx(found.cut_ha)
    assert sum(one.total_kg.median for one in found.machines) == pytest.approx(found.total_kg.median, rel=0.02)
    width = found.total_kg.high - found.total_kg.low
    own = [one.total_kg.high - one.total_kg.low for one in found.machines]
    assert max(own) < width < sum(own), "what each was wrong by alone averages out, what both share does not"
    mean = sum(c.area_ha * c.kg_ha for c in found.by_speed) / found.known_ha
    assert mean == pytest.approx(sum(c.area_ha * c.kg_ha for c in found.squares) / found.known_ha)
    assert mean == pytest.approx(sum(c.area_ha * c.kg_ha for c in found.by_hour) / found.known_ha)
    assert sum(c.area_ha for c in found.squares) == pytest.approx(found.known_ha)
    rows = measured(found)["machines"]
    assert [(row["machine"], row["combine"], row["checks"]) for row in rows] == [(n, n, 6) for n in BOTH]
    assert rows[0]["money"]["median"] == pytest.approx(0.6 * rows[0]["total_kg"]["median"])
    # The first check of Old Bess falls into the hours of the log, but into those of the other: it says nothing.
    assert found.joined == ()


def test_another_pace_the_best_ones_and_zones_are_summed(harvest: tuple[SeasonBook, Path], tmp_path: Path) -> None:
    book, path = harvest
    slower = log_loss(book.desk, None, "canola", path, other_kmh=5.0, price_per_t=600.0, hour_cost_per_h=250.0)
    assert slower.other.speed_kmh == 5.0
    own = [one.other for one in slower.machines]
    assert slower.other.hours_more == pytest.approx(sum(one.hours_more for one in own))
    assert slower.other.saved_kg.median == pytest.approx(sum(one.saved_kg.median for one in own), rel=0.1)
    assert own[0].saved_kg.low > 0 > own[1].saved_kg.low, "only one of them loses less when slower"
    shapes = [shapely.box(-104.61, 50.0, -104.5996, 51.0), shapely.box(-104.5996, 50.0, -104.5, 51.0)]
    geopandas.GeoDataFrame({"name": ["west", "east"]}, geometry=shapes, crs="EPSG:4326").to_file(tmp_path / "z.gpkg")
    found = log_loss(
        book.desk, None, "canola", path, best=True, price_per_t=600.0, hour_cost_per_h=250.0,
        zones=ZonesTold(tmp_path / "z.gpkg"),
    )  # fmt: skip
    paces = [one.best.best_kmh for one in found.machines]
    assert paces[0] != paces[1], "each has its own"
    assert [one.other.speed_kmh for one in found.machines] == paces
    assert found.best is None
    assert np.isnan(found.other.speed_kmh)
    gains = sum(one.other.gain.median for one in found.machines)
    assert found.other.gain.median == pytest.approx(gains, rel=0.1, abs=1.0)
    west, east = found.by_zone
    assert sum(one.cut_ha for one in found.by_zone) == pytest.approx(found.cut_ha)
    assert west.total_kg.median + east.total_kg.median == pytest.approx(found.total_kg.median, rel=0.02)
    assert west.kg_ha.high < east.kg_ha.low, "Young Bess cut the east"


def test_time_is_reckoned_by_what_the_book_stores_for_each_machine(harvest: tuple[SeasonBook, Path]) -> None:
    book, path = harvest
    asked = {"other_kmh": 5.0, "price_per_t": 600.0}
    without = log_loss(book.desk, None, "canola", path, **asked)
    assert (without.other.time_cost, without.stored) == (None, ())
    with pytest.raises(InputError, match=r"the book stores none for Old Bess.*store one with the farm"):
        log_loss(book.desk, combine(book), "canola", path, best=True, price_per_t=600.0)
    things = [find_thing(book.desk, *one) for one in (("combine", "Young Bess"), ("farm", "Larkhollow"))]
    try:
        edit_label(book.desk, things[0], "hour_cost", "100 /h")
        half = log_loss(book.desk, None, "canola", path, **asked)
        assert [one.other.time_cost is None for one in half.machines] == [True, False]
        assert half.other.time_cost is None, "what one machine's time costs is not known"
        with pytest.raises(InputError, match="Old Bess"):
            log_loss(book.desk, None, "canola", path, best=True, price_per_t=600.0)
        edit_label(book.desk, things[1], "hour_cost", "250 /h")
        found = log_loss(book.desk, None, "canola", path, **asked)
        own = [one.other for one in found.machines]
        assert [one.time_cost / one.hours_more for one in own] == pytest.approx([250.0, 100.0])
        assert found.other.time_cost == pytest.approx(sum(one.time_cost for one in own))
        assert hours_said(found, "$") == [
            "Stored hour cost $250/h, the farm's.",
            "Young Bess: Stored hour cost $100/h, this combine's own.",
        ]
        assert [row["hour_cost_stored_with"] for row in measured(found)["machines"]] == ["farm", "combine"]
        told = log_loss(book.desk, None, "canola", path, hour_cost_per_h=300.0, **asked)
        assert told.other.time_cost == pytest.approx(300.0 * told.other.hours_more)
        assert (told.stored, hours_said(told, "$")) == ((), [])
        best = log_loss(book.desk, None, "canola", path, best=True, price_per_t=600.0)
        both = [one.other for one in best.machines]
        costs = [250.0 * both[0].hours_more, 100.0 * both[1].hours_more]
        assert [one.time_cost for one in both] == pytest.approx(costs)
        dear = log_loss(book.desk, None, "canola", path, best=True, price_per_t=600.0, hour_cost_per_h=250.0)
        assert dear.machines[0].best.best_kmh == best.machines[0].best.best_kmh
        assert dear.machines[1].best.best_kmh >= best.machines[1].best.best_kmh, "a cheaper hour may be a longer one"
        assert log_loss(book.desk, None, "canola", path).stored == (), "nothing asked that needs it"
    finally:
        for one in things:
            edit_label(book.desk, find_thing(book.desk, one.kind, one.name), "hour_cost", None)


def test_a_machine_of_another_name_is_told_and_nothing_is_guessed(harvest: tuple[SeasonBook, Path]) -> None:
    book, _ = harvest
    names = ["L-77", "young  BESS", ""]
    with pytest.raises(InputError, match=r'is no combine of the book.*--machine-is "L-77=NAME"') as bad:
        whose_records(book.desk, names, {}, all_names=names)
    assert (bad.value.field, bad.value.value) == ("machine", "L-77")
    with pytest.raises(InputError, match="unnamed"):
        whose_records(book.desk, names, {"L-77": "Old Bess"}, all_names=names)
    found = whose_records(book.desk, names, {"L-77": "Old Bess", "unnamed": "Old Bess"}, all_names=names)
    assert [(one.combine.name, one.called) for one in found] == [
        ("Old Bess", "L-77, unnamed"), ("Young Bess", "young  BESS")
    ]  # fmt: skip
    with pytest.raises(InputError, match="is not in the log"):
        whose_records(book.desk, names, {"L-78": "Old Bess"}, all_names=names)
    with pytest.raises(InputError, match="must be told: the book has Old Bess, Young Bess"):
        whose_records(book.desk, ["L-77"], {}, all_names=["L-77"])
    assert told_machines(["a=b=Old Bess"]) == {"a=b": "Old Bess"}
    for wrong in ("L-77", "=Old Bess", "L-77="):
        with pytest.raises(InputError, match="is not understood"):
            told_machines([wrong])
    with pytest.raises(InputError, match="is told twice"):
        told_machines(["L=Old Bess", "L=Young Bess"])


def test_one_combine_for_several_machines_is_refused_and_a_renamed_one_is_whole(
    harvest: tuple[SeasonBook, Path], tmp_path: Path
) -> None:
    book, path = harvest
    with pytest.raises(InputError, match="leave the combine out, and each is summed by its own"):
        log_loss(book.desk, combine(book), "canola", path)
    with pytest.raises(InputError, match="one combine for all besides"):
        log_loss(book.desk, combine(book), "canola", path, machine_is={"Old Bess": "Old Bess"})
    renamed = a_log(tmp_path / "renamed.parquet", machines=("Old Bess", "L-77"), passes=4)
    found = log_loss(book.desk, None, "canola", renamed, machine_is={"L-77": "Old Bess"})
    assert [(one.called, one.curves.combine.name) for one in found.machines] == [("L-77, Old Bess", "Old Bess")]
    assert found.log.cleaned.records == 4 * 120


def test_the_range_of_two_machines_holds_the_truth() -> None:
    """Four of the bench's fields: 200 show 90 % and 0.29; a sum that mixed the curves up would hold hardly any."""
    scores = [fieldlog_loss.several(seed) for seed in range(11, 15)]
    assert sum(one.held for one in scores) >= 3
    assert np.mean([one.off for one in scores]) < 0.4
    assert max(one.wide for one in scores) < 4.0


def test_errors_that_checks_share_move_both_machines(harvest: tuple[SeasonBook, Path]) -> None:
    book, _ = harvest
    curves = [log_runs.curves(book.desk, combine(book, name), "canola") for name in BOTH]

    def correlation(shared: list[SharedByBoth]) -> float:
        ones = [replace(curve, shared=part) for curve, part in zip(curves, shared, strict=True)]
        rows = [draws(np.array([15.0]), np.array([6.0]))[0][:, 0] for draws in log_runs._worlds(ones, 1)]
        return float(np.corrcoef(np.log(rows[0]), np.log(rows[1]))[0, 1])

    tkw = SharedByBoth({("canola", "from a table"): 0.3}, {})
    apart = [SharedByBoth({("width", name): 0.3}, {}) for name in BOTH]
    assert correlation([tkw, tkw]) > 0.7
    assert abs(correlation(apart)) < 0.06

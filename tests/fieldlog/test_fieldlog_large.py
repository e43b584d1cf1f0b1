"""A file larger than memory is read and cleaned with the same records, flags and problems as one held as a whole."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from made_tables import driven, text

from chaffinch.errors import InputError
from chaffinch.fieldlog.answers import Answers
from chaffinch.fieldlog.cleaning import lag
from chaffinch.fieldlog.cleaning.clean import Cleaned, clean
from chaffinch.fieldlog.derive import completed
from chaffinch.fieldlog.on_disk import large, staged, staged_lag
from chaffinch.fieldlog.on_disk.large import LargeLog, clean_large
from chaffinch.fieldlog.on_disk.lying import get
from chaffinch.fieldlog.on_disk.pieces import around_moments, joined_pieces, median_over
from chaffinch.fieldlog.on_disk.shelf import Shelf
from chaffinch.fieldlog.reading import batches
from chaffinch.fieldlog.reading.door import read_log
from chaffinch.fieldlog.rows import Part, Rows
from chaffinch.fieldlog.settings import usual
from chaffinch.fieldlog.writing.records import write_log

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "bench"))
import fieldlog_large
from fieldlog_planted import world

EXAMPLE = Path(__file__).parents[2] / "examples" / "larkhollow-log.csv"
EPOCH_S = 1_786_701_600.0


@pytest.fixture(autouse=True)
def _small(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(batches, "BLOCK_BYTES", 100_000)
    monkeypatch.setattr(batches, "BATCH_ROWS", 3_000)
    monkeypatch.setattr(staged, "MARGIN", 64)
    # A lag is found from the middle of a field: here, too, from a part of it.
    for room in (lag, staged_lag):
        monkeypatch.setattr(room, "BLOCK", 1_500)


def parted(seed: int, fields: int, *, silent: bool = True) -> Rows:
    """A field with planted errors as four logs of two machines that ran at the same time, with silences in them."""
    rows = world(seed, frozenset(("delay", "overlap", "width", "jump"))).rows
    n = len(rows)
    part = np.arange(n) * 4 // n
    time = rows.columns["time_s"]
    time = np.concatenate([time[part == k] - time[part == k][0] + k // 2 * 5000.0 for k in range(4)]) + EPOCH_S
    for at in np.random.default_rng(seed).integers(0, n, 12) if silent else ():
        time[at:] += np.where(part[at:] == part[at], 211.0, 0.0)
    parts = tuple(Part(f"log {k}", f"field {k // 2 % fields}", f"m{k % 2}", "utc") for k in range(4))
    return Rows({**{k: v for k, v in rows.columns.items() if k not in rows.derived}, "time_s": time}, part, parts)


def both(path: Path, answers: Answers, piece: int) -> tuple[Cleaned, LargeLog]:
    """The file held as a whole, and worked through on disk."""
    found = read_log(path, answers)
    assert found.rows is not None
    whole = clean(completed(found.rows))
    walked = clean_large(path, answers, usual(), piece=piece)
    assert walked is not None
    assert walked.cleaned is not None
    assert walked.found.matched == found.matched
    assert set(walked.found.problems) == set(found.problems)
    return whole, walked


def assert_same(whole: Cleaned, walked: LargeLog) -> None:
    """Field by field the same records, flags and sums."""
    log = walked.cleaned
    assert log is not None
    fields = sorted({part.field for part in whole.rows.parts})
    by_field = np.array([fields.index(part.field) for part in whole.rows.parts])[whole.rows.part]
    order = np.argsort(by_field, kind="stable")
    got = joined_pieces(list(log.pieces()))
    assert log.parts == whole.rows.parts
    assert np.array_equal(got.flags, whole.flags[order])
    assert np.array_equal(got.pass_no, whole.pass_no[order])
    for name in ("flow_kg_s", "yield_t_ha", "overlap_share"):
        np.testing.assert_allclose(getattr(got, name), getattr(whole, name)[order], rtol=1e-9, err_msg=name)
    assert set(got.rows.columns) == set(whole.rows.columns)
    for name, values in whole.rows.columns.items():
        np.testing.assert_allclose(got.rows.columns[name], values[order], rtol=1e-12, err_msg=name)
    assert (log.records, log.counting, log.taken) == (len(whole.rows), whole.counting, whole.taken)
    assert (log.lags, log.too_much()) == (whole.lags, whole.too_much())
    assert walked.derived == whole.rows.derived


@pytest.mark.parametrize(("ending", "fields"), [(".csv", 1), (".parquet", 1), (".csv", 2)])
def test_pieces_have_the_flags_of_the_whole(tmp_path: Path, ending: str, fields: int) -> None:
    path = tmp_path / f"log{ending}"
    write_log(path, parted(fields, fields))
    whole, walked = both(path, Answers(), 400)
    assert_same(whole, walked)
    assert len(walked.cleaned.names) > 6
    assert any(one.found for one in whole.lags.values())
    assert all(one.count for one in whole.taken if one.flag.name in ("OVERLAP", "WIDTH", "POSITION", "DELAY", "LOCAL"))


def test_ways_from_positions_are_the_same_by_either_road(tmp_path: Path) -> None:
    """Without a recorded speed: jumps are found by the usual step of the whole part, not of the piece."""
    rows = parted(2, 1)
    path = tmp_path / "log.parquet"
    bare = {k: v for k, v in rows.columns.items() if k not in ("speed_kmh", "distance_m", "interval_s", "yield_t_ha")}
    write_log(path, Rows(bare, rows.part, rows.parts))
    whole, walked = both(path, Answers(), 400)
    assert_same(whole, walked)
    assert "distance_m" in walked.derived
    assert len(walked.cleaned.names) > 6
    assert next(one.count for one in whole.taken if one.flag.name == "POSITION") > 10


@pytest.mark.parametrize("seed", range(6))
def test_any_records_have_the_flags_of_the_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, seed: int) -> None:
    """Positions that jump all the time: one jump leads to the next, so that a piece must see the whole field."""
    monkeypatch.setattr(staged, "MARGIN", 10_000)
    rng = np.random.default_rng(seed)
    n = int(rng.integers(60, 260))
    holes = float(rng.choice([0.0, 0.05, 0.3]))

    def gaps(values: np.ndarray) -> np.ndarray:
        return np.where(rng.random(n) < holes, np.nan, values)

    columns = {
        "time_s": gaps(1e9 + np.cumsum(rng.choice([1.0, 1.0, 1.0, 2.0, 0.0, 30.0, -3.0], n))),
        "lon_deg": gaps(10.0 + np.cumsum(rng.normal(0, 2e-5, n)) + 1e-3 * (rng.random(n) < 0.2)),
        "lat_deg": 50.0 + np.cumsum(rng.normal(0, 2e-5, n)),
        "speed_kmh": gaps(rng.uniform(1, 9, n)),
        "width_m": rng.choice([9.0, 9.0, 6.0], n),
        "flow_kg_s": gaps(rng.uniform(0, 8, n)),
    }
    rows = Rows(columns, np.sort(rng.integers(0, 3, n)), tuple(Part(f"p{k}", "", f"m{k % 2}", "utc") for k in range(3)))
    whole = clean(completed(rows))
    shelf = Shelf(tmp_path)
    for begin in range(0, n, 50):
        shelf.add(rows.where(slice(begin, begin + 50)))
    done = staged.clean_field(shelf.fields()[0], usual(), tmp_path, "field", piece=30)
    assert len(done.names) > 1
    for name in ("flags", "pass_no", "flow_kg_s", "yield_t_ha", "overlap_share"):
        got = np.concatenate([get(tmp_path / one, name) for one in done.names])
        np.testing.assert_allclose(got, getattr(whole, name), rtol=1e-9, err_msg=name)


def test_two_places_far_apart_are_told_as_finely_as_one(tmp_path: Path) -> None:
    """A season of fields in one file, without their names: the ground between them is not laid out."""
    near = parted(1, 1)
    second = np.flatnonzero(near.part >= 2)
    lon, lat = (near.columns[name].copy() for name in ("lon_deg", "lat_deg"))
    lon[second] += 1.0
    lat[second] += 0.3
    path = tmp_path / "log.parquet"
    write_log(path, near.with_columns({"lon_deg": lon, "lat_deg": lat}))
    whole, walked = both(path, Answers(), 400)
    assert_same(whole, walked)
    alone = [clean(completed(near.where(np.flatnonzero(mine)))) for mine in (near.part < 2, near.part >= 2)]
    shares = np.concatenate([one.overlap_share for one in alone])
    assert np.nanmean(np.abs(whole.overlap_share - shares)) < 0.03
    counts = sum(one.counting for one in alone)
    assert whole.counting == pytest.approx(counts, rel=0.02)


def test_machines_whose_records_alternate_come_apart(tmp_path: Path) -> None:
    write_log(tmp_path / "log.csv", parted(3, 2))
    head, *lines = (tmp_path / "log.csv").read_text(encoding="utf-8").splitlines()
    mixed = sorted(range(len(lines)), key=lambda k: k % (len(lines) // 2))
    (tmp_path / "mixed.csv").write_text("\n".join([head, *(lines[k] for k in mixed)]), encoding="utf-8")
    whole = clean(completed(read_log(tmp_path / "mixed.csv").rows))
    walked = clean_large(tmp_path / "mixed.csv", Answers(), usual(), piece=500)
    assert_same(whole, walked)


def test_the_example_by_either_road(monkeypatch: pytest.MonkeyPatch) -> None:
    assert_same(*both(EXAMPLE, Answers(zone="-06:00"), 10_000))
    # Without a silence nothing may be cut: the field stays whole.
    assert len(both(EXAMPLE, Answers(zone="-06:00"), 300)[1].cleaned.names) == 1
    asked = clean_large(EXAMPLE, Answers(), usual())
    assert [one.what for one in asked.found.questions] == ["zone"]
    assert asked.cleaned is None
    monkeypatch.setattr(large, "RECORD_BYTES", 1 << 50)
    with pytest.raises(InputError, match="working through the file takes about"):
        clean_large(EXAMPLE, Answers(zone="-06:00"), usual())


@pytest.mark.parametrize("marks", ["", '"12 ft', '"12" header"'])
def test_what_is_odd_in_a_text_is_the_same_by_either_road(tmp_path: Path, marks: str) -> None:
    made = driven(4000)
    names = {"time": "Elapsed time (s)", "lon": "Longitude", "lat": "Latitude", "speed": "Speed (km/h)",
             "flow": "Flow (kg/s)", "width": "Width (m)", "yield": "Yield (t/ha)"}  # fmt: skip
    data = text({name: made[key] for key, name in names.items()}, parted_by=";", decimals=",")
    lines = data.split(b"\n")
    lines[0] += b";Note"
    lines[1:-1] = [line + b";Krume \xe9" for line in lines[1:-1]]
    lines[700] = lines[700].replace(lines[700].split(b";")[4], b"off")
    lines[3000] = lines[3000].replace(b";Krume \xe9", b";" + marks.encode()) if marks else lines[3000]
    if marks.count('"') == 3:
        lines[1500] = lines[1500].replace(b";Krume \xe9", b";" + marks.encode())  # an even number in all
    lines[2000:2000] = [b"", b";;;;;;;", b"\r"]  # lines in which nothing stands
    path = tmp_path / "odd.csv"
    path.write_bytes(b"\n".join(lines))
    whole, walked = both(path, Answers(), 10_000)
    assert_same(whole, walked)
    assert {one.kind for one in walked.found.problems} >= {"no number", "letters guessed"}
    assert len(whole.rows) == 4000


@pytest.mark.parametrize("dated", [True, False])
def test_a_clocks_face_and_machines_mixed_are_read_alike_by_either_road(tmp_path: Path, *, dated: bool) -> None:
    made = driven(4000)
    names = {"lon": "Longitude", "lat": "Latitude", "speed": "Speed (km/h)", "flow": "Flow", "width": "Width (m)",
             "yield": "Yield (t/ha)"}  # fmt: skip
    second = 50_000.0 + made["time"]
    face = [f"{t // 3600:.0f}{t // 60 % 60:02.0f}{t % 60:02.0f}" for t in np.floor(second).tolist()]
    table = {name: np.repeat(made[key], 2) for key, name in names.items()} | {"Time": np.repeat(face, 2)}
    table["Machine"] = np.tile(["Larkhollow 1", "Larkhollow 2"], 4000)
    path = tmp_path / "mixed.csv"
    path.write_bytes(text(table | ({"Date": np.full(8000, "14.08.2026")} if dated else {})))
    whole, walked = both(path, Answers(zone="-06:00"), 10_000)
    assert_same(whole, walked)
    assert len(whole.rows) == 8000
    assert {part.clock for part in walked.cleaned.parts} == {"utc" if dated else "elapsed"}


def test_positions_that_are_no_degrees_are_refused_by_either_road(tmp_path: Path) -> None:
    rows = parted(1, 1, silent=False)
    lon = rows.columns["lon_deg"].copy()
    lon[-200:] += 400_000.0
    path = tmp_path / "log.csv"
    table = {"Longitude": lon, "Latitude": rows.columns["lat_deg"], "Speed (km/h)": rows.columns["speed_kmh"]}
    path.write_bytes(text(table, digits=12))
    for road in (read_log, lambda p: clean_large(p, Answers(), usual())):
        with pytest.raises(InputError, match="is no longitude"):
            road(path)
    lon[-200:-10] -= 400_000.0  # few enough to be missing
    path.write_bytes(text({**table, "Longitude": lon}, digits=12))
    assert_same(*both(path, Answers(), 10_000))


@pytest.mark.parametrize("one_field", [False, True])
def test_the_bench_puts_one_file_through_by_either_road(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, one_field: bool
) -> None:
    monkeypatch.setattr(fieldlog_large, "FIELD", 3_000)
    monkeypatch.setattr(fieldlog_large, "EVERY", 2)
    path = tmp_path / ("log.csv" if one_field else "log.parquet")
    fieldlog_large.make(path, 6_000, one_field=one_field)
    walked, whole = (fieldlog_large.through(path, whole=road, piece=1_000) for road in (False, True))
    assert (walked["records"], whole["pieces"]) == (6_000, 1)
    assert walked["pieces"] >= 4
    assert walked["lost_kg"] == pytest.approx(whole["lost_kg"], rel=1e-9)
    assert [walked[k] for k in ("counting", "taken", "squares")] == [whole[k] for k in ("counting", "taken", "squares")]
    assert walked["peak_mb"] > 0


def test_nothing_stays_on_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    walked = clean_large(EXAMPLE, Answers(zone="-06:00"), usual(), folder=tmp_path)
    (work,) = tmp_path.iterdir()
    assert sum(path.stat().st_size for path in work.rglob("*")) < 1201 * large.RECORD_BYTES
    del walked
    assert not list(tmp_path.iterdir())
    monkeypatch.setattr(large, "RECORD_BYTES", 1 << 50)
    with pytest.raises(InputError, match="disk"):
        clean_large(EXAMPLE, Answers(zone="-06:00"), usual(), folder=tmp_path)
    assert not list(tmp_path.iterdir()), "nor when it breaks off"


def test_a_median_is_the_same_however_many_walks_it_takes(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(1)
    for n in (0, 1, 2, 5, 1000, 1001):
        values = rng.normal(size=n) * 10.0 ** rng.integers(-5, 5, n)
        values[3::7] = np.nan

        def walk(parts: list[np.ndarray] = np.array_split(values, 4)) -> Iterator[np.ndarray]:  # noqa: B008
            yield from parts

        expected = float(np.nanmedian(values)) if n else float("nan")
        for held in (1 << 21, 20, 0):
            monkeypatch.setattr("chaffinch.fieldlog.on_disk.pieces.AT_ONCE", held)
            assert median_over(walk) == pytest.approx(expected, nan_ok=True, rel=0, abs=0)


def test_records_around_moments_are_those_of_the_whole(tmp_path: Path) -> None:
    write_log(tmp_path / "log.parquet", parted(2, 1))
    whole, walked = both(tmp_path / "log.parquet", Answers(), 400)
    at = EPOCH_S + np.arange(100.0, 8000.0, 333.0)
    for machines in (("m0",), ("m0", "m1")):
        mine, theirs = around_moments(whole, machines, at), around_moments(walked.cleaned, machines, at)
        assert mine[1] == theirs[1]
        assert np.array_equal(mine[0].rows.columns["time_s"], theirs[0].rows.columns["time_s"])
        assert np.array_equal(mine[0].flags, theirs[0].flags)

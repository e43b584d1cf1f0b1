"""Cleaning: each filter on records made for it, what it leaves alone, and what the report says."""

from __future__ import annotations

import numpy as np
import pytest

from chaffinch.book.fieldlogs.said import lags_said
from chaffinch.errors import InputError
from chaffinch.fieldlog.cleaning.clean import Cleaned, Flag, clean, with_settings
from chaffinch.fieldlog.derive import completed
from chaffinch.fieldlog.rows import Part, Rows
from chaffinch.fieldlog.settings import usual
from chaffinch.reference.fieldlogs import cleaning

M_DEG = 111_195.08


def field(passes: int = 6, length: int = 100, spacing: float = 9.0, seed: int = 1, **more: np.ndarray) -> Rows:
    """Passes up and down at 1.8 m/s without turns between: 100 records are 180 m."""
    rng = np.random.default_rng(seed)
    k = np.arange(passes * length)
    number, place = k // length, k % length
    y = np.where(number % 2 == 0, place, length - 1 - place) * 1.8
    x = number * spacing
    crop = 5.0 + np.sin(y / 30) + rng.normal(0, 0.15, k.size)
    speed = np.full(k.size, 1.8) * np.exp(rng.normal(0, 0.01, k.size))
    columns = {
        "time_s": k * 1.0,
        "lon_deg": -104.6 + x / M_DEG / np.cos(np.radians(50.4)),
        "lat_deg": 50.4 + y / M_DEG,
        "speed_kmh": speed * 3.6,
        "width_m": np.full(k.size, 9.0),
        "flow_kg_s": crop * speed * 9.0 / 10,
        "moisture_pct": np.full(k.size, 13.0),
    } | more
    return completed(
        Rows(columns, np.zeros(k.size, np.int64), (Part("log", "North quarter", "Larkhollow 1", "elapsed"),))
    )


def flagged(cleaned: Cleaned, flag: Flag) -> list[int]:
    return np.flatnonzero((cleaned.flags & flag) != 0).tolist()


def changed(rows: Rows, column: str, at: list[int] | slice, value: float) -> Rows:
    values = rows.columns[column].copy()
    values[at] = value
    return rows.with_columns({column: values})


def test_a_sound_field_keeps_nearly_all_its_records_and_loses_none() -> None:
    rows = field()
    cleaned = clean(rows)
    assert len(cleaned.flags) == len(rows)
    assert cleaned.rows is rows
    assert cleaned.share_flagged < 0.12
    assert cleaned.too_much() == ()
    assert cleaned.yield_t_ha[cleaned.counts].mean() == pytest.approx(5.0, abs=0.4)


def test_header_up_and_no_fix_are_status_and_silence_is_not() -> None:
    work, fix = np.ones(600), np.full(600, 15.0)
    work[[200, 201]], work[300], fix[400] = 0.0, np.nan, 0.0
    cleaned = clean(field(in_work=work, gnss_status=fix))
    assert flagged(cleaned, Flag.STATUS) == [200, 201, 400]


def test_positions_that_leave_the_way_and_come_back_jumped() -> None:
    rows = field()
    lat = rows.columns["lat_deg"].copy()
    lat[[40, 41, 42]] += 30.0 / M_DEG
    lat[250] = np.nan
    cleaned = clean(rows.with_columns({"lat_deg": lat}))
    assert flagged(cleaned, Flag.POSITION) == [40, 41, 42, 250]
    # The pass goes on through the jump.
    assert len(set(cleaned.pass_no[10:90].tolist())) == 1


def test_a_step_from_which_the_machine_goes_on_is_a_break_and_no_jump() -> None:
    rows = field()
    keep = np.ones(600, np.bool_)
    keep[130:170] = False  # somebody took records out: 72 m without one
    cleaned = clean(rows.where(keep))
    assert flagged(cleaned, Flag.POSITION) == []
    assert len(set(cleaned.pass_no[105:155].tolist()) - {-1}) == 2


def test_filling_and_emptying_are_ends_of_passes() -> None:
    rows = field()
    flow = rows.columns["flow_kg_s"].copy()
    flow[100:106] *= np.linspace(0.1, 0.6, 6)
    flow[195:200] *= 0.3
    flow[150] *= 0.4  # in mid pass: not an end
    cleaned = clean(rows.with_columns({"flow_kg_s": flow}))
    found = flagged(cleaned, Flag.PASS_END)
    assert {104, 105, 195} <= set(found)
    assert not cleaned.counts[[*range(100, 106), *range(195, 200)]].any()  # the rest of them are turning
    assert 150 not in found


def test_turns_and_short_passes_do_not_count() -> None:
    rows = field(passes=2)
    # Ten records to the side: a piece of 18 m by itself, well away.
    lon, lat = (rows.columns[k].copy() for k in ("lon_deg", "lat_deg"))
    lon[190:], lat[190:] = lon[190:] + 0.01, lat[190:]
    found = flagged(clean(rows.with_columns({"lon_deg": lon, "lat_deg": lat})), Flag.TURN)
    assert set(range(192, 199)) <= set(found)
    assert not set(range(20, 80)) & set(found)


@pytest.mark.parametrize(("speed", "bad"), [(1.0, True), (1.9, False), (40.0, True)])
def test_speed_has_a_floor_and_a_ceiling(speed: float, bad: bool) -> None:
    rows = changed(field(), "speed_kmh", slice(220, 280), speed)
    assert (set(range(230, 270)) <= set(flagged(clean(rows), Flag.SPEED))) == bad


def test_a_speed_that_changes_by_more_than_a_fifth_is_unsteady_and_jitter_is_not() -> None:
    rows = field()
    speed = rows.columns["speed_kmh"].copy()
    speed[250:] *= 1.5
    found = flagged(clean(rows.with_columns({"speed_kmh": speed})), Flag.SPEED)
    assert set(found) <= set(range(244, 257))
    assert 250 in found


def test_width_is_held_against_what_is_usual_in_its_part() -> None:
    rows = changed(field(), "width_m", slice(210, 240), 6.0)
    assert flagged(clean(rows), Flag.WIDTH) == list(range(210, 240))
    part = np.repeat([0, 1], 300)
    width = np.where(part == 0, 9.0, 7.5)
    two = Rows({**rows.columns, "width_m": width}, part, (rows.parts[0], rows.parts[0]))
    assert flagged(clean(two), Flag.WIDTH) == []


def test_a_strip_cut_twice_is_overlap_the_second_time() -> None:
    rows = field(passes=6)
    lon = rows.columns["lon_deg"].copy()
    lon[500:600] = lon[300:400]  # the sixth pass where the fourth was
    cleaned = clean(rows.with_columns({"lon_deg": lon}))
    assert set(range(506, 600)) <= set(flagged(cleaned, Flag.OVERLAP))  # before, the machine turns
    assert set(flagged(cleaned, Flag.OVERLAP)) <= set(range(500, 600))
    assert np.nanmean(cleaned.overlap_share[520:580]) > 0.95


@pytest.mark.parametrize(("clock", "second"), [("utc", 0), ("elapsed", 1)])
def test_of_two_machines_the_clock_tells_who_came_first(clock: str, second: int) -> None:
    one = field(passes=3)
    # The other machine's records stand behind, on the same ground; by the clock it was there an hour before.
    other = one.with_columns({"time_s": one.columns["time_s"] - 3600.0})
    parts = (Part("a", "f", "Larkhollow 1", clock), Part("b", "f", "Larkhollow 2", clock))  # type: ignore[arg-type]
    both = Rows(
        {k: np.concatenate([one.columns[k], other.columns[k]]) for k in one.columns}, np.repeat([0, 1], 300), parts
    )
    flags = clean(both).flags
    overlap = [((flags[at] & Flag.OVERLAP) != 0).mean() for at in (slice(0, 300), slice(300, 600))]
    assert overlap[second] > 0.9
    assert overlap[1 - second] < 0.1


def test_what_no_field_yields_and_no_grain_holds_is_beyond_range() -> None:
    rows = changed(changed(field(), "flow_kg_s", [150], 60.0), "moisture_pct", [250], 0.5)
    rows = changed(rows, "flow_kg_s", [350], 0.0)
    assert set(flagged(clean(rows), Flag.RANGE)) >= {150, 250, 350}


def test_what_stands_out_among_its_neighbours_is_local() -> None:
    rows = field(passes=10)
    flow = rows.columns["flow_kg_s"].copy()
    flow[[345, 450, 555]] *= 1.35  # within three sds of the field, far from the cell
    cleaned = clean(rows.with_columns({"flow_kg_s": flow}))
    assert {345, 450, 555} <= set(flagged(cleaned, Flag.LOCAL)) | set(flagged(cleaned, Flag.RANGE))
    assert len(flagged(cleaned, Flag.LOCAL)) < 20


def test_fields_are_judged_apart_and_come_back_in_place() -> None:
    one, other = field(seed=1), field(seed=2)
    away = other.with_columns({"lat_deg": other.columns["lat_deg"] + 1.0})
    both = Rows(
        {k: np.stack([one.columns[k], away.columns[k]], axis=1).reshape(-1) for k in one.columns},
        np.tile([0, 1], 600),
        (one.parts[0], Part("log", "River field", "Larkhollow 1", "elapsed")),
    )
    order = np.argsort(both.part, kind="stable")
    apart = clean(both.where(order))
    np.testing.assert_array_equal(apart.flags[:600], clean(one).flags)
    np.testing.assert_array_equal(apart.flags[600:], clean(away).flags)


def test_a_filter_that_takes_too_much_is_named() -> None:
    rows = changed(field(), "speed_kmh", slice(0, 300), 1.0)
    cleaned = clean(rows)
    assert Flag.SPEED in cleaned.too_much()
    taken = {t.flag: t for t in cleaned.taken}
    assert taken[Flag.SPEED].count >= 300
    assert sum(t.alone for t in cleaned.taken) == int((cleaned.flags != 0).sum())
    assert with_settings(cleaned, warn_share=0.9).too_much() == ()


@pytest.mark.parametrize("size", [0, 1, 2, 5])
def test_hardly_any_records_are_no_error(size: int) -> None:
    assert clean(field().where(slice(0, size))).flags.size == size


def test_bare_columns_are_cleaned_as_far_as_they_go() -> None:
    rows = field()
    for leave in ("time_s", "lon_deg", "width_m", "flow_kg_s", "speed_kmh", "moisture_pct"):
        bare = Rows({k: v for k, v in rows.columns.items() if k != leave}, rows.part, rows.parts)
        assert clean(bare).flags.size == 600
    nothing = Rows({"moisture_pct": np.full(9, 13.0)}, np.zeros(9, np.int64), (Part("p"),))
    assert (clean(nothing).flags & Flag.POSITION).all()


def test_settings_carry_their_sources_and_refuse_nonsense() -> None:
    assert set(usual().__slots__) == set(cleaning())
    assert all(figure.source for figure in cleaning().values())
    for name, value, said in (("speed_lest_kmh", 2.0, "did you mean speed_least_kmh"), ("local_mad", -1.0, "above 0"),
                              ("turn_deg", float("nan"), "finite")):  # fmt: skip
        with pytest.raises(InputError, match=said):
            usual().but({name: value})


@pytest.mark.parametrize("timed", [True, False])
def test_without_a_recorded_speed_jumps_are_found_and_add_no_way(*, timed: bool) -> None:
    """The way from position to position is what was driven: not out to a jump and back, and not over a break."""
    n = 200
    north, east = 2.0 * np.arange(n), np.zeros(n)
    east[50:53], east[90] = 40.0, -25.0  # two errors of the receiver
    north[120:] += 500.0  # the machine went on elsewhere
    columns = {
        "lon_deg": -104.6 + east / M_DEG / np.cos(np.radians(50.4)),
        "lat_deg": 50.4 + north / M_DEG,
        "width_m": np.full(n, 9.0),
        "flow_kg_s": np.full(n, 5.0),
    } | ({"time_s": np.arange(n) * 1.0} if timed else {"speed_kmh": np.full(n, 7.2)})
    rows = completed(Rows(columns, np.zeros(n, np.int64), (Part("log"),)))
    assert "distance_m" in rows.derived
    way = rows.column("distance_m")
    assert np.flatnonzero(np.isnan(way)).tolist() == [0, 120]
    np.testing.assert_allclose(way[~np.isnan(way)], 2.0, rtol=1e-3)
    flags = clean(rows).flags
    assert np.flatnonzero(flags & Flag.POSITION).tolist() == [50, 51, 52, 90]
    if not timed:
        # 2 m at 7.2 km/h.
        np.testing.assert_allclose(rows.column("interval_s")[1:120], 1.0, rtol=1e-3)


def test_a_delay_of_a_log_without_time_is_told_in_records() -> None:
    rows = field(passes=14, length=80)
    columns = {k: v for k, v in rows.columns.items() if k not in ("time_s", "interval_s")}
    columns["flow_kg_s"] = np.roll(columns["flow_kg_s"], 5)
    lags = clean(Rows(columns, rows.part, (Part("log", machine="Larkhollow 1"),))).lags
    assert lags["Larkhollow 1"].seconds == pytest.approx(5.0, abs=0.5)
    assert " records after it is cut" in lags_said(sorted(lags.items()))[0]

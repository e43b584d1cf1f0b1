"""The loss of a whole field: bins against every record alone, pace, map, and what the log says of a moment."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from chaffinch.fieldlog.cleaning.clean import Cleaned, clean
from chaffinch.fieldlog.derive import completed
from chaffinch.fieldlog.loss.moments import moments
from chaffinch.fieldlog.loss.parts import by_class, cells, of_groups
from chaffinch.fieldlog.loss.whole_field import at_pace, binned, interval_of, usage, whole_field
from chaffinch.fieldlog.rows import Part, Rows

M_DEG = 111_195.08
START_S = 1_786_701_600.0  # 2026-08-14 10:00 UTC


def cut(passes: int = 8, length: int = 120, seed: int = 1, **more: np.ndarray) -> Cleaned:
    """Passes up and down at a pace that differs from pass to pass, over a varying crop."""
    rng = np.random.default_rng(seed)
    k = np.arange(passes * length)
    number, place = k // length, k % length
    y = np.where(number % 2 == 0, place, length - 1 - place) * 1.8
    speed = 1.8 * (0.8 + 0.4 * rng.random(passes))[number] * np.exp(rng.normal(0, 0.005, k.size))
    crop = 5.0 + np.sin(y / 40) + rng.normal(0, 0.1, k.size)
    columns = {
        "time_s": START_S + k,
        "lon_deg": -104.6 + number * 9.0 / M_DEG / np.cos(np.radians(50.4)),
        "lat_deg": 50.4 + y / M_DEG,
        "speed_kmh": speed * 3.6,
        "width_m": np.full(k.size, 9.0),
        "flow_kg_s": crop * speed * 9.0 / 10,
    } | more
    return clean(completed(Rows(columns, np.zeros(k.size, np.int64), (Part("log", "f", "m", "utc"),))))


def curves(loads: np.ndarray, speeds: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Two worlds: machine loss by the power 2 of load and a straight line, header loss 20 and falling."""
    return np.stack([0.02 * loads**2, loads]), np.stack([np.full(speeds.size, 20.0), 60.0 / speeds])


def test_bins_agree_with_every_record_alone() -> None:
    cleaned = cut()
    use = usage(cleaned)
    loss = whole_field(use, curves)
    good = ~np.isnan(use.area_ha)
    machine, header = curves(use.load_t_h[good], use.speed_kmh[good])
    scale = use.cut_ha / use.known_ha
    np.testing.assert_allclose(loss.machine_kg, scale * machine @ use.area_ha[good], rtol=2e-4)
    np.testing.assert_allclose(loss.header_kg, scale * header @ use.area_ha[good], rtol=2e-4)
    mean = loss.mean_of(use)
    np.testing.assert_allclose(mean[good], (machine + header).mean(axis=0), rtol=0.04)
    assert np.isnan(mean[~good]).all()


def test_bins_hold_all_area_and_the_mean_of_their_members() -> None:
    rng = np.random.default_rng(2)
    values, area = rng.uniform(5, 50, 3000), rng.uniform(0, 1, 3000)
    values[:5], area[5:9] = np.nan, 0.0
    bins = binned(values, area)
    good = (values > 0) & (area > 0)
    assert bins.area_ha.sum() == pytest.approx(area[good].sum())
    assert bins.area_ha @ bins.middle == pytest.approx(area[good] @ values[good])
    assert bins.middle.size < 120
    assert (bins.of_record[:9] == -1).all()
    assert np.ptp(np.log(values[bins.of_record == 3])) <= 0.02


def test_all_that_was_cut_counts_and_turns_and_strips_cut_before_do_not() -> None:
    use = usage(cut())
    # 8 passes of 120 records, 9 m · 1.8 m · pace; some at the ends are turning.
    assert 0.8 * 8 * 120 * 9 * 1.8 / 1e4 < use.cut_ha < 1.1 * 8 * 120 * 9 * 1.8 / 1e4
    assert use.known_ha <= use.cut_ha
    rows = cut().rows
    lon = rows.columns["lon_deg"].copy()
    lon[840:] = lon[600:720]
    twice = usage(cut(lon_deg=lon))
    assert twice.cut_ha == pytest.approx(use.cut_ha * 7 / 8, rel=0.03)


def test_no_more_is_lost_than_grew_and_loads_beyond_are_told() -> None:
    use = usage(cut())
    loss = whole_field(use, curves, tested=(10.0, 20.0), most_kg_ha=15.0)
    assert (loss.machine_kg <= 15.0 * use.cut_ha * (1 + 1e-12)).all()
    far = (use.load_t_h < 9.0) | (use.load_t_h > 22.0)
    assert loss.beyond_share == pytest.approx(float(np.nansum(use.area_ha[far]) / use.known_ha), abs=0.05)
    assert np.isnan(whole_field(use, curves).beyond_share)


def test_another_pace_has_its_loads_and_its_time() -> None:
    cleaned = cut()
    use = usage(cleaned)
    slow = at_pace(use, cleaned, 4.0)
    good = ~np.isnan(use.area_ha)
    np.testing.assert_allclose(slow.load_t_h[good], 4.0 * 9.0 * cleaned.yield_t_ha[good] / 10)
    # The same way at another speed; with next to no overlap that is area over speed and width.
    assert slow.hours == pytest.approx(use.way_km / 4.0)
    assert slow.hours == pytest.approx(use.cut_ha * 10 / (4.0 * 9.0), rel=0.02)
    assert use.width_m == pytest.approx(9.0, rel=0.02)
    # At the speed it went, on average, it takes the time it took.
    assert at_pace(use, cleaned, use.way_km / use.hours).hours == pytest.approx(use.hours)
    # Rows are worlds: under the straight line, loss follows load world by world.
    now, then = whole_field(use, curves), whole_field(slow, curves)
    np.testing.assert_allclose(then.machine_kg[1] / now.machine_kg[1],
                               (slow.load_t_h[good] @ use.area_ha[good]) / (use.load_t_h[good] @ use.area_ha[good]),
                               rtol=1e-3)  # fmt: skip


def test_classes_and_squares_add_up_to_the_field() -> None:
    cleaned = cut()
    use = usage(cleaned)
    loss = whole_field(use, curves)
    good = ~np.isnan(use.area_ha)
    lost = float(use.area_ha[good] @ loss.mean_of(use)[good])
    for parts in (by_class(use, loss, use.speed_kmh, 1.0), cells(cleaned, use, loss, 27.0)):
        assert len(parts) > 1
        assert sum(one.area_ha for one in parts) == pytest.approx(use.known_ha)
        assert sum(one.area_ha * one.kg_ha for one in parts) == pytest.approx(lost)
    square = cells(cleaned, use, loss, 27.0)[0].box
    assert (square[3] - square[1]) * M_DEG == pytest.approx(27.0, rel=1e-4)
    assert (square[2] - square[0]) * M_DEG * np.cos(np.radians(50.4)) == pytest.approx(27.0, rel=1e-3)


def test_groups_of_records_make_the_field_and_their_loss_is_their_records() -> None:
    cleaned = cut()
    use = usage(cleaned)
    loss = whole_field(use, curves)
    group = np.where(np.arange(960) < 480, 0, 1)
    group[:60] = -1
    parts = of_groups(use, loss, group, 3)
    for number, (cut_ha, known_ha, draws) in enumerate(parts[:2]):
        mine = (group == number) & ~np.isnan(use.area_ha)
        machine, header = curves(use.load_t_h[mine], use.speed_kmh[mine])
        assert cut_ha == pytest.approx(use.cut_area_ha[group == number].sum())
        assert known_ha == pytest.approx(use.area_ha[mine].sum())
        # A bin stands at the mean of the whole field's records in it, 2 % wide.
        np.testing.assert_allclose(draws, cut_ha / known_ha * ((machine + header) @ use.area_ha[mine]), rtol=4e-3)
    assert parts[2][:2] == (0.0, 0.0)
    assert np.isnan(parts[2][2]).all()
    whole = of_groups(use, loss, np.zeros(960, np.int64), 1)[0]
    np.testing.assert_allclose(whole[2], loss.total_kg, rtol=1e-12)


def test_nothing_that_counts_is_no_error() -> None:
    cleaned = cut(flow_kg_s=np.zeros(960))
    loss = whole_field(usage(cleaned), curves)
    assert loss.known_ha == 0.0
    assert loss.total_kg.tolist() == [0.0]
    assert cells(cleaned, usage(cleaned), loss, 27.0) == []
    assert np.isnan(of_groups(usage(cleaned), loss, np.zeros(960, np.int64), 1)[0][2]).all()


def test_a_moment_gets_the_middle_of_the_window_before_it() -> None:
    cleaned = cut()
    at = START_S + 240 + 100
    moment = moments(cleaned, np.array([at]))[0]
    assert moment.stands
    window = slice(240 + 40, 240 + 80)
    assert moment.throughput_t_h == pytest.approx(3.6 * np.median(cleaned.flow_kg_s[window]), rel=0.01)
    assert moment.speed_kmh == pytest.approx(np.median(cleaned.rows.column("speed_kmh")[window]), rel=0.01)
    assert moment.width_m == 9.0


@pytest.mark.parametrize(
    ("change", "doubt"),
    [
        ({"speed_kmh": np.where(np.arange(960) % 120 < 60, 5.0, 8.0)}, "speed varied"),
        ({"width_m": np.where((np.arange(960) > 280) & (np.arange(960) < 320), 8.4, 9.0)}, "not at full width"),
        ({"in_work": np.where((np.arange(960) > 280) & (np.arange(960) < 320), 0.0, 1.0)}, "too few records"),
    ],
)
def test_an_unsteady_moment_gives_no_load_and_says_why(change: dict, doubt: str) -> None:
    moment = moments(cut(**change), np.array([START_S + 340]))[0]
    assert not moment.stands
    assert doubt in moment.doubts
    assert np.isnan(moment.throughput_t_h)


def test_a_moment_outside_the_log_or_on_an_unknown_clock_is_not_in_it() -> None:
    cleaned = cut()
    assert [m.doubts for m in moments(cleaned, np.array([START_S - 10, START_S + 5000]))] == [("not in the log",)] * 2
    parts = (replace(cleaned.rows.parts[0], clock="machine"),)
    other = replace(cleaned, rows=replace(cleaned.rows, parts=parts))
    assert moments(other, np.array([START_S + 340]))[0].doubts == ("not in the log",)
    assert moments(cleaned, np.array([START_S + 340]), "another machine")[0].doubts == ("not in the log",)


def test_ends_of_draws_are_quantiles() -> None:
    draws = np.random.default_rng(1).normal(size=999)
    found = interval_of(draws)
    assert (found.low, found.median, found.high) == pytest.approx(np.quantile(draws, [0.05, 0.5, 0.95]))

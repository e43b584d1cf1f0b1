"""Time logs of ISO 11783-10 against a writer of our own, and against a plain reader with struct."""

from __future__ import annotations

import struct
from xml.etree.ElementTree import fromstring

import numpy as np
import pytest
from made_timelogs import FLOW, POSITION, WIDTH, YIELD, Record, straight, tlg_bin, tlg_xml

from chaffinch.errors import InputError
from chaffinch.fieldlog.reading import timelog
from chaffinch.fieldlog.reading.timelog import EPOCH_S, decode, layout_of, times_s

DLVS = [(WIDTH, "DET-1"), (YIELD, "DET-1"), (FLOW, "DET-2")]


def read(records: list[Record], letters: str = "ABD", dlvs=DLVS, cut: int | None = None, version: int = 4):
    return decode(tlg_bin(records, letters)[:cut], layout_of(fromstring(tlg_xml(dlvs, letters))), version=version)


def plain(data: bytes, letters: str, count: int) -> list[list[float]]:
    """The second road: one record after the other, values carried in a list."""
    at, out, carried = 0, [], [float("nan")] * count
    size = 6 + sum(struct.calcsize(POSITION[k]) for k in letters)
    while at + size < len(data):
        n = data[at + size]
        if at + size + 1 + 5 * n > len(data):
            break
        for j in range(n):
            index, value = struct.unpack_from("<Bi", data, at + size + 1 + 5 * j)
            if index < count:
                carried[index] = value
        out.append(list(carried))
        at += size + 1 + 5 * n
    return out


def test_values_are_carried_forward_until_the_next() -> None:
    records = straight(6)
    records[1].values = [(0, 9000), (2, 8_000_000)]
    records[3].values = [(2, 9_000_000), (1, 400_000)]
    log = read(records)
    np.testing.assert_array_equal(log.values[0], [np.nan, 9000, 9000, 9000, 9000, 9000])
    np.testing.assert_array_equal(log.values[1], [np.nan, np.nan, np.nan, 4e5, 4e5, 4e5])
    np.testing.assert_array_equal(log.values[2], [np.nan, 8e6, 8e6, 9e6, 9e6, 9e6])
    assert log.problems == ()


@pytest.mark.parametrize("letters", ["", "AB", "ABCD", "ABDG", "ABCDEFGHI", "ABH"])
def test_fields_that_are_not_recorded_take_no_bytes(letters: str) -> None:
    log = read([Record(5000 + i, [(0, i)], position=dict.fromkeys(letters, i)) for i in range(4)], letters)
    assert log.head["time_ms"].tolist() == [5000, 5001, 5002, 5003]
    assert log.values[0].tolist() == [0, 1, 2, 3]
    assert len(log.head.dtype) == 2 + len(letters)


def test_both_roads_agree_on_random_records(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(timelog, "BLOCK", 1 << 10)  # so that values are carried from block to block
    rng = np.random.default_rng(3)
    records = straight(5_000)
    counts = rng.integers(0, 5, len(records))
    index, value = rng.integers(0, 4, counts.sum()), rng.integers(-(2**31) + 1, 2**31, counts.sum())
    at = np.r_[0, np.cumsum(counts)]
    for i, record in enumerate(records):
        record.values = list(zip(index[at[i] : at[i + 1]].tolist(), value[at[i] : at[i + 1]].tolist(), strict=True))
    log = read(records)
    expected = np.array(plain(tlg_bin(records), "ABD", 3))
    for i in range(3):
        np.testing.assert_array_equal(log.values[i], expected[:, i])
    kinds = {p.kind: p.count for p in log.problems}
    assert kinds == {
        "index beyond list": int((index == 3).sum()),
        "more values than described": int((counts > 3).sum()),
    }


def test_long_runs_alike_and_single_records_between_are_found_as_one_by_one() -> None:
    rng = np.random.default_rng(5)
    counts = np.repeat(rng.integers(0, 4, 60), rng.integers(1, 120, 60))
    records = [Record(1000 + i, [(k, int(i)) for k in range(n)]) for i, n in enumerate(counts)]
    log = read(records)
    assert log.head["time_ms"].tolist() == [1000 + i for i in range(counts.size)]
    assert log.problems == ()


@pytest.mark.parametrize("cut", range(1, 27))
def test_a_file_that_ends_in_mid_record_keeps_its_good_beginning(cut: int) -> None:
    whole = tlg_bin(straight(5, values=[(0, 1), (1, 2)]))
    log = decode(whole[:-cut], layout_of(fromstring(tlg_xml(DLVS))))
    lost = -(-cut // 26)  # a record is 6 + 9 + 1 + 10 bytes
    assert len(log) == 5 - lost
    left = len(whole) - cut - 26 * len(log)
    assert [(p.kind, p.count) for p in log.problems] == ([("cut record", left)] if left else [])


def test_a_count_that_claims_more_than_there_is_ends_the_log() -> None:
    data = bytearray(tlg_bin(straight(4, values=[(0, 1)])))
    data[3 * 21 + 15] = 200
    log = decode(bytes(data), layout_of(fromstring(tlg_xml(DLVS))))
    assert (len(log), log.problems[0].kind, log.problems[0].count) == (3, "cut record", 21)


def test_rubbish_in_the_middle_ends_the_good_beginning() -> None:
    data = tlg_bin(straight(200, values=[(0, 1)]))
    broken = data[: 21 * 20] + b"\xff" * 40 + data[21 * 20 :]
    log = decode(broken, layout_of(fromstring(tlg_xml(DLVS))))
    assert len(log) == 20
    assert [(p.kind, p.count) for p in log.problems] == [("no record", 40 + 21 * 180)]


def test_an_empty_file_has_no_records_and_a_missing_value_is_missing() -> None:
    assert len(read([])) == 0
    log = read([Record(0, [(0, -(2**31))]), Record(1, [(0, 7)])], "")
    np.testing.assert_array_equal(log.values[0], [np.nan, 7.0])


def test_a_constant_holds_before_the_first_record() -> None:
    xml = tlg_xml(DLVS).replace('A="0043" B=""', 'A="0043" B="12000"').replace(' D=""', ' D="4"')
    log = decode(tlg_bin(straight(2), "AB"), layout_of(fromstring(xml)))
    assert log.values[0].tolist() == [12000.0, 12000.0]
    assert log.layout.status == 4


def test_very_early_files_hold_every_position_field() -> None:
    records = [Record(40_000_000 + 1000 * i, [(0, i)], position={"A": 5 * 10**8, "B": 10**8}) for i in range(9)]
    data = tlg_bin(records, "ABCDEFGHI")
    layout = layout_of(fromstring(tlg_xml(DLVS, "AB")))
    early, late = decode(data, layout, version=2), decode(data, layout, version=3)
    assert early.values[0].tolist() == list(range(9))
    assert len(late) < 9


def test_a_clock_set_late_spoils_only_the_first_times() -> None:
    ms = np.array([10, 20, 30, 40], np.uint32)
    seconds, wrong = times_s(ms, np.array([0, 17_027, 17_027, 17_027], np.uint16))
    assert wrong == 1
    np.testing.assert_allclose(seconds, [np.nan, *(EPOCH_S + 17_027 * 86_400 + np.array([0.02, 0.03, 0.04]))])
    # Midnight is no error.
    assert times_s(ms, np.array([17_027, 17_028, 17_028, 17_028], np.uint16))[1] == 0


@pytest.mark.parametrize(
    ("xml", "said"),
    [
        ("<TIM D='4'><PTN A=''/></TIM>", "no time"),
        ("<TLG/>", "no records"),
        ("<TIM A='2026-08-14T10:00:00'/>", "no time"),
    ],
)
def test_a_description_without_time_is_refused(xml: str, said: str) -> None:
    with pytest.raises(InputError, match=said):
        layout_of(fromstring(xml))


def test_records_alike_are_read_at_once_and_come_out_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(5)
    records = straight(96)
    for k, record in enumerate(records):
        # Runs of alike ones, of the same length in another order, with a value beyond the list, and one given twice.
        kind = k // 8 % 6
        order = [[0, 1], [1, 0], [0, 2], [0, 9], [1, 1], []][kind]
        record.values = [(i, int(v)) for i, v in zip(order, rng.integers(-9, 9, len(order)), strict=True)]
    records[3].values = [(0, -0x80000000), (1, 5)]  # not available
    monkeypatch.setattr(timelog, "BLOCK", 8)
    log = read(records)
    theirs = np.array(plain(tlg_bin(records, "ABD"), "ABD", 3)).T
    for number in range(3):
        carried = np.where(theirs[number] == -0x80000000, np.nan, theirs[number])
        np.testing.assert_array_equal(log.values[number], carried)
    assert [(p.kind, p.count) for p in log.problems] == [("index beyond list", 16)]

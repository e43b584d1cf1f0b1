"""Anything at all as a log, task data or a table: an answer or an InputError, never a crash and never a hang."""

from __future__ import annotations

import contextlib
import math
import tempfile
from pathlib import Path
from xml.etree.ElementTree import fromstring

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from made_timelogs import FLOW, POSITION, WIDTH, Record, straight, taskdata_xml, tlg_bin, tlg_xml

from chaffinch.errors import InputError
from chaffinch.fieldlog.answers import Answers
from chaffinch.fieldlog.reading.isoxml import read_task_data
from chaffinch.fieldlog.reading.opened import opened
from chaffinch.fieldlog.reading.textfile import read_text
from chaffinch.fieldlog.reading.timelog import decode, layout_of

QUIET = settings(max_examples=120, deadline=None, suppress_health_check=list(HealthCheck))
LETTERS = st.sets(st.sampled_from(sorted(POSITION))).map(lambda s: "".join(sorted(s)))
RECORDS = st.lists(
    st.builds(
        Record,
        ms=st.integers(0, 86_399_999),
        values=st.lists(st.tuples(st.integers(0, 255), st.integers(-(2**31), 2**31 - 1)), max_size=6),
        day=st.integers(0, 65_535),
    ),
    max_size=12,
)


@QUIET
@given(data=st.binary(max_size=400), letters=LETTERS, count=st.integers(0, 4), version=st.integers(-1, 4))
def test_any_bytes(data: bytes, letters: str, count: int, version: int) -> None:
    log = decode(data, layout_of(fromstring(tlg_xml([(WIDTH, "D")] * count, letters))), version=version)
    assert all(v.size == len(log) for v in log.values.values())
    # Every byte is either in a record or told.
    size = log.layout.dtype.itemsize
    used = sum(p.count for p in log.problems if p.kind in ("cut record", "no record"))
    assert len(data) - used >= len(log) * (size + 1)
    assert used or not data or len(log)


@QUIET
@given(records=RECORDS, letters=LETTERS, count=st.integers(0, 3))
def test_what_was_written_is_read(records: list[Record], letters: str, count: int) -> None:
    log = decode(tlg_bin(records, letters), layout_of(fromstring(tlg_xml([(FLOW, "D")] * count, letters))))
    assert log.head["time_ms"].tolist() == [r.ms for r in records]
    assert log.head["days"].tolist() == [r.day for r in records]
    last: list[float | None] = [None] * count
    for i, record in enumerate(records):
        for index, value in record.values:
            if index < count:
                last[index] = None if value == -(2**31) else float(value)
        for k in range(count):
            read = float(log.values[k][i])
            assert math.isnan(read) if last[k] is None else read == last[k]


@QUIET
@given(
    parts=st.lists(st.tuples(st.integers(0, 2000), st.integers(0, 255)), max_size=6),
    which=st.sampled_from(["TASKDATA.XML", "TLG00001.XML", "TLG00001.BIN"]),
    cut=st.none() | st.integers(0, 1500),
)
def test_a_card_with_damaged_bytes(parts: list[tuple[int, int]], which: str, cut: int | None) -> None:
    whole = {
        "TASKDATA.XML": taskdata_xml().encode(),
        "TLG00001.XML": tlg_xml([(WIDTH, "DET-1"), (FLOW, "DET-1")]).encode(),
        "TLG00001.BIN": tlg_bin(straight(40, values=[(0, 9000), (1, 7_000_000)])),
    }
    data = bytearray(whole[which])
    for at, value in parts:
        data[at % len(data)] = value
    whole[which] = bytes(data[:cut])
    with tempfile.TemporaryDirectory() as place:
        for name, content in whole.items():
            (Path(place) / name).write_bytes(content)
        with contextlib.suppress(InputError):
            found = read_task_data(opened(Path(place)), Answers(zone="utc"))
            assert found.rows is not None
            assert len(found.rows) <= 40


CELLS = st.sampled_from(
    ["1", "2.5", "3,5", "", "x", "-1e400", "nan", "2026-08-14", "10:00", '"', "0", "inf", "99999999"]
)
HEADS = st.sampled_from(
    ["Speed (km/h)", "Flow", "Longitude", "Latitude", "Time", "Date", "Machine", "Width (ft)", "", "Yield"]
)


@QUIET
@given(
    heads=st.lists(HEADS, min_size=1, max_size=6),
    rows=st.lists(st.lists(CELLS, max_size=7), max_size=12),
    mark=st.sampled_from([",", ";", "\t"]),
)
def test_any_table(heads: list[str], rows: list[list[str]], mark: str) -> None:
    data = "\n".join([mark.join(heads), *(mark.join(row) for row in rows)]).encode()
    with contextlib.suppress(InputError):
        found = read_text(data, "log", Answers())
        assert found.rows is not None
        assert len(found.rows) <= len(rows) + 1


@QUIET
@given(data=st.binary(max_size=300), packed=st.booleans())
def test_any_bytes_as_text(data: bytes, packed: bool) -> None:
    with contextlib.suppress(InputError):
        read_text(b"\x1f\x8b" + data if packed else data, "log", Answers())

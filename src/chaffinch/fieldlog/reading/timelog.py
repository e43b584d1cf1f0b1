"""What do the two files of one ISO 11783-10 time log hold?

The XML says which fields every binary record has: an attribute that is there but empty stands in each record, one with
a value holds for all, one that is absent was not recorded. The binary is little-endian, records back to back::

    time uint32 [ms of day] · date uint16 [days since 1980-01-01] · north, east int32 [1e-7 deg] · up int32 [mm]
    status uint8 · PDOP, HDOP uint16 · satellites uint8 · GPS time uint32 · GPS date uint16
    n uint8 · n × (index uint8, value int32)

Only values that changed or were due are written, so each is carried forward until the next (per index). The walk from
record to record is the only loop; everything else happens at once for a block of records.

Source: V4 schema of ISO 11783-10 and open readers of it (printed); confirmed on open files (derived).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final
from xml.etree.ElementTree import Element

import numpy as np
from numpy.typing import NDArray

from chaffinch.errors import InputError
from chaffinch.fieldlog.rows import FloatArray, IntArray, Problem

EPOCH_S: Final = 315_532_800
"""1980-01-01 in seconds since 1970-01-01 [s]."""
DAY_MS: Final = 86_400_000
LEAP_MS: Final = 1_000
"""A day of the clock, and a second more for a leap second [ms]."""
NOTHING: Final = -0x80000000
NOT_THERE: Final = {0x7FFFFFFF, NOTHING}
"""What stands in an int32 that is not available (memory)."""
FIRST_DATES: Final = 10
"""How many records at the start may carry a date from before the clock was set [1]. Own figure; one is common."""
BLOCK: Final = 1 << 16
"""Records that are decoded at once [1]."""
RUN: Final = 16
"""Records alike after which a run is looked over at once [1]."""
VERSION_WITH_GAPS: Final = 3
"""Before this version of the format, files hold every position field whatever their XML says (printed)."""

_TIME: Final = (("time_ms", "<u4"), ("days", "<u2"))
_POSITION: Final = {
    "A": (("north", "<i4"),),
    "B": (("east", "<i4"),),
    "C": (("up", "<i4"),),
    "D": (("status", "u1"),),
    "E": (("pdop", "<u2"),),
    "F": (("hdop", "<u2"),),
    "G": (("satellites", "u1"),),
    "H": (("gps_ms", "<u4"),),
    "I": (("gps_days", "<u2"),),
}


@dataclass(frozen=True, slots=True)
class Value:
    """One kind of value a log may hold: its DDI, its device element, and what holds before the first record."""

    ddi: int
    element: str
    constant: int | None = None


@dataclass(frozen=True, slots=True)
class Layout:
    """What every record begins with, and what its values are.

    Parameters
    ----------
    head : tuple of (str, str)
        Names and numpy types of the fields before the count.
    values : tuple of Value
        In the order their indexes count.
    status : int or None
        Kind of position fix of all records, where the XML tells it once.
    """

    head: tuple[tuple[str, str], ...]
    values: tuple[Value, ...]
    status: int | None = None

    @property
    def dtype(self) -> np.dtype[np.void]:
        """The head as one packed structure."""
        return np.dtype(list(self.head))

    def with_all_fields(self) -> Layout:
        """The same with every position field in each record, as very early files have it."""
        return replace(self, head=(*_TIME, *(f for fields in _POSITION.values() for f in fields)))


@dataclass(frozen=True, slots=True)
class TimeLog:
    """A decoded log.

    Parameters
    ----------
    head : structured array, shape (n,)
        Fields of the layout, raw.
    values : mapping of int to float64 array
        By index: raw numbers carried forward, NaN before the first.
    layout : Layout
        As it was read.
    problems : tuple of Problem
        With ``where`` empty.
    """

    head: NDArray[np.void]
    values: dict[int, FloatArray]
    layout: Layout
    problems: tuple[Problem, ...]

    def __len__(self) -> int:
        return len(self.head)


def layout_of(root: Element) -> Layout:
    """Read the XML part of a time log.

    Raises
    ------
    InputError
        When it describes no time, or no log at all.
    """
    tim = root if root.tag == "TIM" else root.find(".//TIM")
    if tim is None:
        raise InputError("time log", root.tag, "describes no records", "copy the folder anew")
    if tim.get("A") != "":
        raise InputError("time log", tim.get("A"), "has no time in its records", "export the task anew")
    head = list(_TIME)
    status = None
    ptn = tim.find("PTN")
    if ptn is not None:
        for key, fields in _POSITION.items():
            if ptn.get(key) == "":
                head += fields
        status = _whole(ptn.get("D"))
    values = []
    for dlv in tim.findall("DLV"):
        ddi = _whole(dlv.get("A"), base=16)
        values.append(Value(-1 if ddi is None else ddi, dlv.get("C") or "", _whole(dlv.get("B"))))
    return Layout(tuple(head), tuple(values), status)


def decode(data: bytes, layout: Layout, wanted: Sequence[int] | None = None, *, version: int = 4) -> TimeLog:
    """Decode the binary part of a time log.

    Parameters
    ----------
    data : bytes
        The whole file.
    layout : Layout
        From :func:`layout_of`.
    wanted : sequence of int or None
        Indexes of values to carry forward; None for all.
    version : int
        Major version of the format.

    Returns
    -------
    TimeLog
        The good beginning of the file; what follows it is among ``problems``.
    """
    found = _beginning(data, layout)
    if version < VERSION_WITH_GAPS:
        full = layout.with_all_fields()
        other = _beginning(data, full)
        if other[0].size and _end(data, full, other[0]) > _end(data, layout, found[0]):
            layout, found = full, other
    starts, head, problems = found
    width = layout.dtype.itemsize
    values, more = _values(np.frombuffer(data, np.uint8), starts + width, layout, wanted)
    return TimeLog(head, values, layout, (*problems, *more))


def _end(data: bytes, layout: Layout, starts: IntArray) -> int:
    """Where the last good record ends."""
    if not starts.size:
        return 0
    last = int(starts[-1]) + layout.dtype.itemsize
    return last + 1 + 5 * data[last]


def _beginning(data: bytes, layout: Layout) -> tuple[IntArray, NDArray[np.void], list[Problem]]:
    """Starts and heads of the records up to the first that no machine can have written."""
    dtype = layout.dtype
    starts = _starts(data, dtype.itemsize)
    head: NDArray[np.void] = np.zeros(0, dtype)
    if starts.size:
        # A view at every byte, so that records of differing lengths are gathered in one step.
        every = np.ndarray((len(data) - dtype.itemsize + 1,), dtype, data, strides=(1,))
        head = every[starts]
    sound = np.ones(starts.size, np.bool_)
    for name in ("time_ms", "gps_ms"):
        if name in (dtype.names or ()):
            at = head[name]
            sound &= (at < DAY_MS + LEAP_MS) | ((at == 0xFFFFFFFF) if name == "gps_ms" else False)
    for name, most in (("north", 900_000_000), ("east", 1_800_000_000)):
        if name in (dtype.names or ()):
            at = head[name].astype(np.int64)
            sound &= (np.abs(at) <= most) | np.isin(at, list(NOT_THERE))
    problems = []
    good = starts.size if sound.all() else int(np.argmin(sound))
    end = _end(data, layout, starts[:good])
    if end < len(data):
        kind = "cut record" if good == starts.size else "no record"
        problems.append(Problem(kind, "", len(data) - end, str(good)))
    return starts[:good], head[:good], problems


def _starts(data: bytes, width: int) -> IntArray:
    """Where each record starts: a record ends 5 bytes per value after its count.

    Machines write the same values for long runs of records: where a few in a row are alike, the run is looked over at
    once, four times as far each time. Elsewhere the walk is from record to record.
    """
    buffer = np.frombuffer(data, np.uint8)
    lengths = [width + 1 + 5 * n for n in range(256)]
    runs: list[IntArray] = []
    starts: list[int] = []
    note = starts.append
    at, end, alike, last = 0, len(data), 0, -1
    while at + width < end:
        n = data[at + width]
        length = lengths[n]
        if at + length > end:
            break
        alike = alike + 1 if n == last else 0
        last = n
        if alike < RUN:
            note(at)
            at += length
            continue
        runs.append(np.array(starts, np.int64))
        starts.clear()
        look, count = RUN, 0
        whole = (end - at) // length
        while count < whole:
            counts = buffer[at + width + count * length : end : length][: min(look, whole - count)]
            other = np.flatnonzero(counts != n)
            if other.size:
                count += int(other[0])
                break
            count += counts.size
            look = min(4 * look, BLOCK)
        runs.append(at + length * np.arange(count, dtype=np.int64))
        at += length * count
        alike = 0
    return np.concatenate([*runs, np.array(starts, np.int64)])


def _values(
    data: NDArray[np.uint8], counts_at: IntArray, layout: Layout, wanted: Sequence[int] | None
) -> tuple[dict[int, FloatArray], list[Problem]]:
    known = len(layout.values)
    asked = [i for i in (range(known) if wanted is None else wanted) if 0 <= i < min(known, 256)]
    carried = {i: np.full(counts_at.size, np.nan) for i in asked}
    last = {i: _float(layout.values[i].constant) for i in asked}
    strangers = too_many = 0
    if not counts_at.size:
        return carried, []
    numbers = np.ndarray((max(data.size - 3, 0),), "<i4", data, strides=(1,))
    for begin in range(0, counts_at.size, BLOCK):
        at = counts_at[begin : begin + BLOCK]
        n = data[at].astype(np.int64)
        alike = _alike(data, at, n)
        if alike is not None and int(alike["index"][0].max()) < known:
            for i in asked:
                column = np.flatnonzero(alike["index"][0] == i)
                raw = alike["value"][:, int(column[0])].astype(np.float64) if column.size else np.zeros(0)
                raw[raw == NOTHING] = np.nan
                carried[i][begin : begin + at.size] = raw if column.size else last[i]
                last[i] = float(raw[-1]) if column.size else last[i]
            continue
        too_many += int((n > known).sum())
        total = int(n.sum())
        before = np.cumsum(n) - n
        # Where each value stands: after the count of its record, 5 bytes for each value before it.
        spots = np.repeat(at + 1 - 5 * before, n) + 5 * np.arange(total)
        record = np.repeat(np.arange(at.size), n)
        index = data[spots]
        order = np.argsort(index, kind="stable")
        bounds = np.r_[0, np.cumsum(np.bincount(index, minlength=256))]
        strangers += total - int(bounds[min(known, 256)])
        for i in asked:
            mine = order[bounds[i] : bounds[i + 1]]
            out = carried[i][begin : begin + at.size]
            if not mine.size:
                out[:] = last[i]
                continue
            where = record[mine]
            raw = numbers[spots[mine] + 1].astype(np.float64)
            raw[raw == NOTHING] = np.nan
            # From one reading to the next; of two in one record the later stands, since its stretch is not empty.
            out[: where[0]] = last[i]
            out[where[0] :] = np.repeat(raw, np.diff(np.r_[where, at.size]))
            last[i] = float(raw[-1])
    problems = []
    if strangers:
        problems.append(Problem("index beyond list", "", strangers, str(known)))
    if too_many:
        problems.append(Problem("more values than described", "", too_many, str(known)))
    return carried, problems


def _alike(data: NDArray[np.uint8], at: IntArray, n: IntArray) -> NDArray[np.void] | None:
    """Index and value of all records, shape (records, values), where each holds the same values in the same order.

    Most machines write so for long runs. None where they differ, or one names a value twice.
    """
    count = int(n[0])
    if at.size < 2 or count == 0 or (n != count).any():
        return None
    apart = int(at[1] - at[0])
    if (np.diff(at) != apart).any():
        return None
    dtype = np.dtype([("index", "u1"), ("value", "<i4")])
    found = np.ndarray((at.size, count), dtype, data, offset=int(at[0]) + 1, strides=(apart, dtype.itemsize))
    first = found["index"][0]
    if (found["index"] != first).any() or len(set(first.tolist())) < count:
        return None
    return found


def times_s(ms: NDArray[np.uint32], days: NDArray[np.uint16]) -> tuple[FloatArray, int]:
    """Seconds since 1970-01-01 by the clock that wrote them, and how many dates at the start were wrong.

    A clock that is not yet set writes a wrong date into the first records; their time is missing then.
    """
    seconds = EPOCH_S + days.astype(np.float64) * 86_400.0 + ms.astype(np.float64) / 1000.0
    step = np.diff(days[: FIRST_DATES + 2].astype(np.int64))
    jumps = np.flatnonzero((step < 0) | (step > 1))
    wrong = int(jumps[-1]) + 1 if jumps.size and days.size > 2 else 0
    if wrong > FIRST_DATES:
        wrong = 0
    seconds[:wrong] = np.nan
    return seconds, wrong


def _whole(text: str | None, base: int = 10) -> int | None:
    try:
        return None if not text else int(text, base)
    except ValueError:
        return None


def _float(value: int | None) -> float:
    return float("nan") if value is None else float(value)

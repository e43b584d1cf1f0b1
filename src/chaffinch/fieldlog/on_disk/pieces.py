"""How is a log walked through that may be larger than memory? Piece by piece, each cleaned, as often as one likes.

A log held as a whole is one piece. Whatever is asked of a log is asked of its pieces and added up, so that the answer
does not depend on how many there are.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Final, Protocol

import numpy as np

from chaffinch.errors import InputError, one_of
from chaffinch.fieldlog.cleaning.clean import Cleaned, Flag, Taken, taken
from chaffinch.fieldlog.cleaning.lag import Lag
from chaffinch.fieldlog.loss.moments import FROM_S
from chaffinch.fieldlog.plane import may_be_opposite, not_opposite
from chaffinch.fieldlog.rows import FloatArray, IntArray, Part, joined
from chaffinch.fieldlog.settings import Settings

AT_ONCE: Final = 1 << 21
"""Values that a median may hold at once [1]: 16 MB; more are sought in several walks."""
_DIGIT: Final = 16  # binary digits counted in one walk


class CleanedLog(Protocol):
    """The records of a log with their flags, in one piece or many."""

    @property
    def settings(self) -> Settings:
        """Limits of the cleaning."""

    @property
    def lags(self) -> Mapping[str, Lag]:
        """By machine."""

    @property
    def taken(self) -> tuple[Taken, ...]:
        """What each filter took."""

    @property
    def records(self) -> int:
        """How many there are."""

    @property
    def counting(self) -> int:
        """How many no filter flagged."""

    @property
    def share_flagged(self) -> float:
        """Share of all records with a flag [0-1]."""

    @property
    def parts(self) -> tuple[Part, ...]:
        """Parts that hold records."""

    def too_much(self) -> tuple[Flag, ...]:
        """Filters that flagged more than they should."""

    def pieces(self) -> Iterator[Cleaned]:
        """The records in their order, piece by piece."""


def median_over(walk: Callable[[], Iterable[FloatArray]]) -> float:
    """The median of all values of a walk, as if they were held at once; NaN does not count, NaN where there is none.

    Parameters
    ----------
    walk : callable
        Gives the same arrays each time. Beyond ``AT_ONCE`` values it is walked again: the first walk counts values by
        their sixteen leading binary digits, the next ones look only at those that share the digits of the middle.
    """
    held: list[FloatArray] = []
    counts = np.zeros(1 << _DIGIT, np.int64)
    size = 0
    for values in walk():
        known = values[~np.isnan(values)]
        size += known.size
        if size <= AT_ONCE:
            held.append(known)
        counts += _digits(_in_order(known), 64 - _DIGIT)
    if not size:
        return float("nan")
    if size <= AT_ONCE:
        return float(np.median(np.concatenate(held)))
    del held
    found = [_ranked(walk, rank, counts) for rank in sorted({(size - 1) // 2, size // 2})]
    return 0.5 * (found[0] + found[-1])


def middle_over(
    lon_deg: Callable[[], Iterable[FloatArray]], lat_deg: Callable[[], Iterable[FloatArray]]
) -> tuple[float, float]:
    """Median longitude and latitude of walks, as :func:`chaffinch.fieldlog.plane.middle`; NaN without any."""
    lon0 = median_over(lon_deg)
    if may_be_opposite(lon0):
        lon0 = not_opposite(lon0, median_over(lambda: map(np.abs, lon_deg())))
    return lon0, median_over(lat_deg)


def _ranked(walk: Callable[[], Iterable[FloatArray]], rank: int, counts: IntArray) -> float:
    """The value that ``rank`` others lie below; ``counts`` are those of the leading digits."""
    settled = 0
    for shift in range(64 - _DIGIT, -1, -_DIGIT):
        below = np.cumsum(counts)
        digit = int(np.searchsorted(below, rank, side="right"))
        rank -= int(below[digit - 1]) if digit else 0
        settled = (settled << _DIGIT) | digit
        if shift == 0:
            break
        held: list[np.ndarray[tuple[int, ...], np.dtype[np.uint64]]] = []
        size, low, high = 0, (1 << 64) - 1, 0
        counts = np.zeros(1 << _DIGIT, np.int64)
        for values in walk():
            order = _in_order(values[~np.isnan(values)])
            order = order[(order >> np.uint64(shift)) == np.uint64(settled)]
            if not order.size:
                continue
            size, low, high = size + order.size, min(low, int(order.min())), max(high, int(order.max()))
            if size <= AT_ONCE:
                held.append(order)
            counts += _digits(order, shift - _DIGIT)
        if low == high or size <= AT_ONCE:
            settled = low if low == high else int(np.partition(np.concatenate(held), rank)[rank])
            break
    sign = 1 << 63
    bits = settled ^ sign if settled & sign else ~settled & ((1 << 64) - 1)
    return float(np.array([bits], np.uint64).view(np.float64)[0])


def _digits(order: np.ndarray[tuple[int, ...], np.dtype[np.uint64]], shift: int) -> IntArray:
    """How often each run of sixteen binary digits stands there."""
    digit = (order >> np.uint64(shift)) & np.uint64((1 << _DIGIT) - 1)
    return np.bincount(digit.astype(np.int64), minlength=1 << _DIGIT)


def _in_order(values: FloatArray) -> np.ndarray[tuple[int, ...], np.dtype[np.uint64]]:
    """Whole numbers in the order of the values."""
    bits = np.ascontiguousarray(values).view(np.uint64)
    sign = np.uint64(1 << 63)
    return np.where(bits & sign, ~bits, bits | sign)


def machines_in(log: CleanedLog) -> tuple[str, ...]:
    """Names of the machines whose records are there, sorted; empty text for one without a name."""
    return tuple(sorted({part.machine for part in log.parts}))


@dataclass(frozen=True)
class OnlyMachines:
    """The records of some machines of a log, as a log of their own; see :func:`only`."""

    log: CleanedLog
    machines: tuple[str, ...]
    taken: tuple[Taken, ...]
    records: int
    counting: int

    @property
    def settings(self) -> Settings:
        """Limits of the cleaning."""
        return self.log.settings

    @property
    def lags(self) -> Mapping[str, Lag]:
        """By machine."""
        return {machine: lag for machine, lag in self.log.lags.items() if machine in self.machines}

    @property
    def share_flagged(self) -> float:
        """Share of all records with a flag [0-1]."""
        return 1.0 - self.counting / self.records if self.records else 0.0

    @property
    def parts(self) -> tuple[Part, ...]:
        """Parts that hold records."""
        return tuple(part for part in self.log.parts if part.machine in self.machines)

    def too_much(self) -> tuple[Flag, ...]:
        """Filters that flagged more than they should."""
        most = self.settings.warn_share * max(self.records, 1)
        return tuple(one.flag for one in self.taken if one.count > most)

    def pieces(self) -> Iterator[Cleaned]:
        """The records in their order, piece by piece."""
        yield from pieces_of(self.log, self.machines)


def only(log: CleanedLog, machine: str) -> OnlyMachines:
    """The records of one machine, with the flags they got among all.

    Raises
    ------
    InputError
        When there is none of that name.
    """
    names = machines_in(log)
    if machine not in names:
        named = one_of(name or "the one without a name" for name in names)
        raise InputError("machine", machine, "is not in the log", named)
    every, records, counting = taken(np.zeros(0, np.uint16)), 0, 0
    for piece in pieces_of(log, (machine,)):
        every = added(every, taken(piece.flags))
        records, counting = records + piece.records, counting + piece.counting
    return OnlyMachines(log, (machine,), every, records, counting)


def added(one: tuple[Taken, ...], other: tuple[Taken, ...]) -> tuple[Taken, ...]:
    """What the filters took of two pieces together."""
    return tuple(Taken(a.flag, a.count + b.count, a.alone + b.alone) for a, b in zip(one, other, strict=True))


def pieces_of(log: CleanedLog, machines: Collection[str]) -> Iterator[Cleaned]:
    """The records of some machines, piece by piece, with the flags they got among all."""
    everyone = set(machines_in(log)) <= set(machines)
    for piece in log.pieces():
        if everyone:
            yield piece
            continue
        mine = np.array([part.machine in machines for part in piece.rows.parts], np.bool_)
        keep = np.flatnonzero(mine[piece.rows.part])
        if keep.size:
            yield some_of(piece, keep)


def some_of(piece: Cleaned, keep: np.ndarray[tuple[int, ...], np.dtype[np.int64]]) -> Cleaned:
    """Some records of a piece."""
    return replace(
        piece,
        rows=piece.rows.where(keep),
        flags=piece.flags[keep],
        flow_kg_s=piece.flow_kg_s[keep],
        yield_t_ha=piece.yield_t_ha[keep],
        overlap_share=piece.overlap_share[keep],
        pass_no=piece.pass_no[keep],
    )


def joined_pieces(pieces: list[Cleaned]) -> Cleaned:
    """Several pieces as one, in their order; there must be one."""
    if len(pieces) == 1:
        return pieces[0]
    return replace(
        pieces[0],
        rows=joined([piece.rows for piece in pieces]),
        flags=np.concatenate([piece.flags for piece in pieces]),
        flow_kg_s=np.concatenate([piece.flow_kg_s for piece in pieces]),
        yield_t_ha=np.concatenate([piece.yield_t_ha for piece in pieces]),
        overlap_share=np.concatenate([piece.overlap_share for piece in pieces]),
        pass_no=np.concatenate([piece.pass_no for piece in pieces]),
    )


def around_moments(log: CleanedLog, machines: Collection[str], time_s: FloatArray) -> tuple[Cleaned | None, float]:
    """Records of some machines in the window before any of the moments, and the machines' usual width [m].

    Both are what :func:`chaffinch.fieldlog.loss.moments.moments` needs; None where no moment lies in the log.
    """
    found = []
    for piece in pieces_of(log, machines):
        time = piece.rows.column("time_s")
        keep = np.zeros(time.size, np.bool_)
        with np.errstate(invalid="ignore"):
            for at in time_s:
                keep |= (time >= at - FROM_S) & (time < at)
        if keep.any():
            found.append(some_of(piece, np.flatnonzero(keep)))

    def widths() -> Iterator[FloatArray]:
        for piece in pieces_of(log, machines):
            rows = piece.rows
            used = np.array([part.clock == "utc" for part in rows.parts], np.bool_)[rows.part]
            used &= ~np.isnan(rows.column("time_s"))
            width = rows.column("width_m")[used]
            yield width[width > 0]

    return (joined_pieces(found), median_over(widths)) if found else (None, float("nan"))

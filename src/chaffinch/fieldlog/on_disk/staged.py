"""How is one field cleaned that is larger than memory? Piece by piece, in walks, with the same flags as a whole.

Each walk goes through all pieces and leaves on disk what the next one needs: where the machine went, who cut which
square first, the delay, the flow put back, the range of the yield, and last the cells of the field. What belongs to the
whole field (its middle, usual step, widths, squares, delay and range) is found from all of it. A piece ends at a
silence of the machine and sees ``MARGIN`` records around it, so that a jump of the position across its ends is found.

Where this differs from a field held as a whole: sums are added in another order, which moves the last digits of the
range's mean and sd (1e-12 of them); a chain of jumps that goes on through the whole margin may end otherwise.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any, Final

import numpy as np

from chaffinch.fieldlog.cleaning.clean import Flag, clean, crop_of, narrow, out_of_work, pass_ends, speeds_off, turns
from chaffinch.fieldlog.cleaning.lag import Lag, shifted_flow
from chaffinch.fieldlog.cleaning.overlap import BLOCK, SOME, Ground, cuts, way_before
from chaffinch.fieldlog.cleaning.passes import Course, Frame, course
from chaffinch.fieldlog.derive import completed, longest_of
from chaffinch.fieldlog.on_disk.lying import get, get_rows, put, put_cleaned, put_rows
from chaffinch.fieldlog.on_disk.pieces import median_over, middle_over
from chaffinch.fieldlog.on_disk.shelf import ShelfField
from chaffinch.fieldlog.on_disk.staged_lag import ARRAYS, lag_in_pieces
from chaffinch.fieldlog.on_disk.staged_range import flag_local, flag_range
from chaffinch.fieldlog.plane import step_m
from chaffinch.fieldlog.rows import FloatArray, IntArray, Rows
from chaffinch.fieldlog.settings import Settings

PIECE: Final = 250_000
"""Records of a piece [1], until the next silence: some 200 MB while it is worked on. Own figure."""
MARGIN: Final = 2_048
"""Records around a piece that are looked at with it [1]: two hundred times the longest jump; own figure."""
_WAY: Final = (*ARRAYS, "pass_m")
_WORKED: Final = ("slow", "unsteady", "mine", "usable")


@dataclass(frozen=True, slots=True)
class FieldOnDisk:
    """A cleaned field: names of the folders of its pieces, in order, the delay of each machine, what was worked out."""

    names: tuple[str, ...]
    lags: dict[str, Lag]
    derived: dict[str, str]


def clean_field(field: ShelfField, settings: Settings, folder: Path, name: str, *, piece: int = PIECE) -> FieldOnDisk:
    """Clean one field, in pieces where it is larger than one, and leave its records on disk.

    Parameters
    ----------
    field : ShelfField
    settings : Settings
    folder : Path
        Where the pieces go.
    name : str
        Folders of the pieces begin with it.
    piece : int
        Records of a piece [1].

    Notes
    -----
    A field whose records tell no time, or no speed that is known or follows from positions, is held as a whole: nothing
    says where the machine was silent.
    """
    if field.records <= piece or not _can_be_cut(field):
        cleaned = clean(completed(field.rows(0, field.records)), settings)
        place = folder / name
        place.mkdir()
        put_cleaned(place, cleaned)
        return FieldOnDisk((name,), dict(cleaned.lags), dict(cleaned.rows.derived))
    return _Staged(field, settings, folder, name, piece).cleaned()


def _can_be_cut(field: ShelfField) -> bool:
    columns = field.shelf.columns

    def tells(column: str) -> bool:
        return column in columns and any(not np.isnan(values).all() for _, values in field.walk(column))

    return tells("time_s") and (tells("speed_kmh") if "speed_kmh" in columns else tells("lon_deg"))


class _Staged:
    """The walks through one field."""

    def __init__(self, field: ShelfField, settings: Settings, folder: Path, name: str, piece: int) -> None:
        self.field, self.settings, self.folder, self.piece = field, settings, folder, piece
        self.parts = tuple(field.shelf.parts)
        self.machine_of = np.array([part.machine for part in self.parts])
        self.derived: dict[str, str] = {}
        self._know()
        self.spans = list(self._spans(piece))
        self.names = [f"{name}-{number:05d}" for number in range(len(self.spans))]

    def cleaned(self) -> FieldOnDisk:
        """All walks."""
        self._follow()
        self._overlap()
        lags = {machine: self._lag(machine, count) for machine, count in sorted(self.usable.items())}
        self._judge(lags)
        places = list(self._places())
        flag_range(places, self.parts, self.settings)
        flag_local(places, self.settings, width_m=self.usual_width_m, at_once=self.piece)
        for place in places:
            for path in (*place.glob("way.*.npy"), *(place / f"{one}.npy" for one in _WORKED)):
                path.unlink()
        return FieldOnDisk(tuple(self.names), lags, self.derived)

    def _know(self) -> None:
        """What belongs to the whole field."""
        field = self.field

        def known(which: int) -> Iterator[FloatArray]:
            for (_, lon), (_, lat) in zip(field.walk("lon_deg"), field.walk("lat_deg"), strict=True):
                yield (lon, lat)[which][~np.isnan(lon) & ~np.isnan(lat)]

        def going(parts: tuple[int, ...] | None = None) -> Iterator[FloatArray]:
            for _, took, _ in self._took(parts):
                yield took[took > 0]

        def wide(parts: tuple[int, ...] | None = None) -> Iterator[FloatArray]:
            for _, width in field.walk("width_m", parts):
                yield width[width > 0]

        columns = field.shelf.columns
        located = "lon_deg" in columns and "lat_deg" in columns
        nowhere = float("nan"), float("nan")
        middle = middle_over(partial(known, 0), partial(known, 1)) if located else nowhere
        usual_s = median_over(going)
        self.frame = Frame(middle, True, usual_s if usual_s > 0 else 1.0, None)
        self.longest_s, self.usual_m, self.width_m = {}, {}, {}
        for part in field.numbers:
            usual = median_over(partial(going, (part,)))
            if usual > 0:
                self.longest_s[part] = longest_of(usual)
            if located and not {"distance_m", "speed_kmh"} & set(columns):
                step = median_over(partial(self._steps, (part,)))
                self.usual_m[part] = step if step > 0 else 0.0
            if "width_m" in columns:
                width = median_over(partial(wide, (part,)))
                if width > 0:
                    self.width_m[part] = width
        self.usual_width_m = median_over(wide) if "width_m" in columns else float("nan")
        clocks = {self.parts[part].clock for part in field.numbers}
        whole = all(not np.isnan(time).any() for _, time in field.walk("time_s"))
        self.shared_clock = len(field.numbers) > 1 and clocks in ({"utc"}, {"machine"}) and whole

    def _took(self, parts: tuple[int, ...] | None = None) -> Iterator[tuple[int, FloatArray, bool]]:
        """Time since the record before in runs: (part, seconds, whether the part begins)."""
        before, last = -1, float("nan")
        for part, time in self.field.walk("time_s", parts):
            begins = part != before
            took = np.diff(time, prepend=time[0] if begins else last)
            before, last = part, float(time[-1])
            yield part, np.where((took > 0) & np.isfinite(took), took, 0.0), begins

    def _steps(self, parts: tuple[int, ...]) -> Iterator[FloatArray]:
        """Steps from record to record that move, in runs [m]."""
        last = np.full(2, np.nan)
        for (_, lon), (_, lat) in zip(
            self.field.walk("lon_deg", parts), self.field.walk("lat_deg", parts), strict=True
        ):
            step = step_m(np.r_[last[0], lon], np.r_[last[1], lat])[1:]
            last = np.array([lon[-1], lat[-1]])
            yield step[step > 0]

    def _spans(self, piece: int) -> Iterator[tuple[int, int]]:
        """Where pieces begin and end: at silences and where parts begin."""
        silence = max(self.settings.gap_s, 5.0 * self.frame.usual_s)
        begin = place = 0
        for _, took, begins in self._took():
            at = np.flatnonzero(took > silence)
            for cut in [*([0] if begins else []), *at.tolist()]:
                if place + cut - begin >= piece:
                    yield begin, place + cut
                    begin = place + cut
            place += took.size
        if begin < place:
            yield begin, place

    def _places(self) -> Iterator[Path]:
        for name in self.names:
            yield self.folder / name

    def _rows(self, place: Path) -> Rows:
        return get_rows(place, self.parts, self.derived)

    def _follow(self) -> None:
        """Where the machine went; what is known by then of each record."""
        clock, self.passes = 0.0, [0]
        self.cutting, self.low, self.high, self.widest_m = 0, (np.inf, np.inf), (-np.inf, -np.inf), 0.0
        for place, (begin, end) in zip(self._places(), self.spans, strict=True):
            first = max(0, begin - MARGIN)
            around = completed(
                self.field.rows(first, min(end + MARGIN, self.field.records)), self.longest_s, self.usual_m
            )
            self.derived = dict(around.derived)
            way = course(around, self.settings, replace(self.frame, clock_s=clock))
            clock = float(way.clock_s[max(0, end - MARGIN) - first])
            rows, way = around.where(slice(begin - first, end - first)), _part_of(way, begin - first, end - first)
            flags = np.zeros(len(rows), np.uint16)
            flags[out_of_work(rows)] |= np.uint16(Flag.STATUS)
            flags[way.jumped | np.isnan(way.x_m)] |= np.uint16(Flag.POSITION)
            slow, unsteady = speeds_off(rows, way, self.settings)
            width = rows.column("width_m")
            mine = cuts(way, width, flags == 0)
            place.mkdir()
            put_rows(place, rows)
            put(place, flags=flags, slow=slow, unsteady=unsteady, mine=mine)
            put(place, pass_no=np.where(way.pass_no >= 0, way.pass_no + self.passes[-1], -1))
            put(place, **{f"way.{name}": getattr(way, name) for name in _WAY})
            self.passes.append(self.passes[-1] + way.pass_m.size)
            if mine.size:
                x, y = way.x_m[mine], way.y_m[mine]
                self.low = (min(self.low[0], float(x.min())), min(self.low[1], float(y.min())))
                self.high = (max(self.high[0], float(x.max())), max(self.high[1], float(y.max())))
                self.widest_m = max(self.widest_m, float(width[mine].max()))
                self.cutting += mine.size

    def _way(self, place: Path) -> Course:
        return Course(usual_s=self.frame.usual_s, **{name: get(place, f"way.{name}") for name in _WAY})

    def _overlap(self) -> None:
        """How much of each swath had been cut before; and which records may tell the delay."""
        places = list(self._places())
        ground = self._ground() if self.cutting else None
        first = None if ground is None else self._first(places, ground)
        self.usable: dict[str, int] = {}
        for place in places:
            way, rows, mine, passes = self._cutting(place)
            width, flow, speed = (rows.column(name) for name in ("width_m", "flow_kg_s", "speed_kmh"))
            share = np.full(len(rows), np.nan)
            if ground is not None and first is not None:
                for one in _blocks(mine):
                    before = first[ground.squares(way, one, width)] != passes[one, None]
                    share[one] = before.mean(axis=1, dtype=np.float32)
            with np.errstate(invalid="ignore"):
                again = share > self.settings.overlap_share
                usable = (get(place, "flags") == 0) & (way.pass_no >= 0) & ~get(place, "slow") & ~again
                usable &= (flow > 0) & (speed * width > 0) & ~np.isnan(way.east)
            put(place, overlap_share=share, usable=usable)
            for machine in np.unique(self.machine_of[rows.part]).tolist():
                own = int((usable & (self.machine_of[rows.part] == machine)).sum())
                self.usable[machine] = self.usable.get(machine, 0) + own

    def _first(self, places: list[Path], ground: Ground) -> np.ndarray[tuple[int, ...], np.dtype[np.int32]]:
        """The pass that cut each square first."""
        first = np.full(ground.size, -1, np.int32)
        if not self.shared_clock:
            # In the order of the records: written from the last to the first, the earliest stands in the end.
            for place in reversed(places):
                way, rows, mine, passes = self._cutting(place)
                for one in reversed(_blocks(mine)):
                    squares = ground.squares(way, one[::-1], rows.column("width_m"))
                    first[squares.reshape(-1)] = np.repeat(passes[one[::-1]], squares.shape[1])
            return first
        when = np.full(first.size, np.inf)
        for place in places:
            way, rows, mine, passes = self._cutting(place)
            time = rows.column("time_s")
            for one in _blocks(mine[np.argsort(time[mine], kind="stable")]):
                back = one[::-1]
                squares = ground.squares(way, back, rows.column("width_m"))
                at, at_time = squares.reshape(-1), np.repeat(time[back], squares.shape[1])
                earlier = at_time < when[at]
                when[at[earlier]] = at_time[earlier]
                first[at[earlier]] = np.repeat(passes[back], squares.shape[1])[earlier]
        return first

    def _ground(self) -> Ground:
        """The squares of the whole field."""

        def widths() -> Iterator[FloatArray]:
            for place in self._places():
                yield self._rows(place).column("width_m")[get(place, "mine")]

        every, seen, steps = max(1, self.cutting // SOME), 0, []
        for place in self._places():
            mine = get(place, "mine")
            some = mine[(-seen) % every :: every]
            steps.append(way_before(self._way(place), some))
            seen += mine.size
        widest = (median_over(widths), self.widest_m)

        def places() -> Iterator[tuple[FloatArray, FloatArray]]:
            for place in self._places():
                mine, x, y = (get(place, name) for name in ("mine", "way.x_m", "way.y_m"))
                yield x[mine], y[mine]

        return Ground.of(self.low, self.high, widest, float(np.median(np.concatenate(steps))), places)

    def _cutting(self, place: Path) -> tuple[Course, Rows, IntArray, Any]:
        return self._way(place), self._rows(place), get(place, "mine"), get(place, "pass_no").astype(np.int32)

    def _lag(self, machine: str, count: int) -> Lag:
        """The delay of a machine."""

        def pieces() -> Iterator[tuple[Course, Rows, IntArray]]:
            for place in self._places():
                mine = get(place, "usable") & (self.machine_of[get(place, "part")] == machine)
                way = replace(self._way(place), pass_no=get(place, "pass_no"))
                yield way, self._rows(place), np.flatnonzero(mine)

        return lag_in_pieces(pieces(), count, self.settings)

    def _judge(self, lags: dict[str, Lag]) -> None:
        """The flow put back, and every filter that looks at one pass or one part."""
        self.any_crop = False
        for place in self._places():
            way, rows = self._way(place), self._rows(place)
            flags = get(place, "flags").copy()
            recorded = flow = rows.column("flow_kg_s")
            for machine, lag in lags.items():
                mine = self.machine_of[rows.part] == machine
                if lag.seconds != 0.0 and mine.any():
                    flow = np.where(mine, shifted_flow(recorded, way, lag.seconds), flow)
            crop = crop_of(rows, flow)
            self.any_crop |= not np.isnan(crop).all()
            flags[np.isnan(flow) & ~np.isnan(recorded)] |= np.uint16(Flag.DELAY)
            flags[pass_ends(way, np.where(flags == 0, flow, np.nan), self.settings)] |= np.uint16(Flag.PASS_END)
            flags[turns(way, self.settings)] |= np.uint16(Flag.TURN)
            flags[get(place, "slow") | get(place, "unsteady")] |= np.uint16(Flag.SPEED)
            flags[narrow(rows, self.settings, self.width_m)] |= np.uint16(Flag.WIDTH)
            with np.errstate(invalid="ignore"):
                flags[get(place, "overlap_share") > self.settings.overlap_share] |= np.uint16(Flag.OVERLAP)
            put(place, flags=flags, flow_kg_s=flow, yield_t_ha=crop)
        for place in self._places() if not self.any_crop else ():
            put(place, yield_t_ha=self._rows(place).column("yield_t_ha"))


def _blocks(mine: IntArray) -> list[IntArray]:
    return [mine[begin : begin + BLOCK] for begin in range(0, mine.size, BLOCK)]


def _part_of(way: Course, begin: int, end: int) -> Course:
    """The way of some records that no stretch leads out of; its passes numbered from 0."""
    inner = slice(begin, end)
    arrays = {name: getattr(way, name)[inner] for name in _WAY if name != "pass_m"}
    passes = arrays["pass_no"]
    on = passes[passes >= 0]
    first, last = (int(on[0]), int(on[-1]) + 1) if on.size else (0, 0)
    arrays |= {"first": arrays["first"] - begin, "last": arrays["last"] - begin}
    arrays["pass_no"] = np.where(passes >= 0, passes - first, -1)
    return Course(usual_s=way.usual_s, pass_m=way.pass_m[first:last], **arrays)

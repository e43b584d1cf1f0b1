"""How does a table of named columns become records, whatever file it came from?

Columns are matched by name, units found where names do not tell, times and positions read, records parted by field,
machine and log. What stays open comes back as a question, and its column stays missing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from chaffinch.errors import InputError
from chaffinch.fieldlog.answers import Answers, Found
from chaffinch.fieldlog.derive import completed, recomputed_over_recorded
from chaffinch.fieldlog.reading.clockwork import in_utc, passed_twice
from chaffinch.fieldlog.reading.meanings import MEANINGS, UNITS, Matched, match, sensors_of
from chaffinch.fieldlog.reading.places import Places, places
from chaffinch.fieldlog.reading.timecolumn import Times, times
from chaffinch.fieldlog.reading.units_found import BY_POSITION, LEAST, UnitSets, factor, may_be, unit_sets
from chaffinch.fieldlog.rows import (
    COLUMNS,
    FloatArray,
    IntArray,
    Part,
    Problem,
    Question,
    Rows,
    out_of_range,
)

if TYPE_CHECKING:
    import polars as pl

MOST_PARTS: Final = 5_000
"""Most parts one table is parted into [1]; more means that the column is a number of records. Own figure."""
SWAPPED: Final = 0.02
"""From how far off [ln] the way between positions is tried the other way round. Own figure: an open log shows 0.010."""
NOTICED: Final = 0.02
"""From how far off [share] a relation between recorded columns is told. Own figure."""
BACKWARDS: Final = (0.05, 20)
"""From which share of the steps [0-1], and how many, that go back in time records stand in no order; own figures: a
clock that is set, or starts anew with each pass, goes back once in hundreds."""
_PARTING: Final = ("field", "machine", "part")
_YES: Final = frozenset(["1", "1.0", "true", "yes", "y", "on", "down", "in", "working"])
_NO: Final = frozenset(["0", "0.0", "false", "no", "n", "off", "up", "out", "idle"])


def found_in_table(
    kind: str,
    name: str,
    table: pl.DataFrame,
    answers: Answers,
    *,
    units_row: Sequence[str] = (),
    points: Places | None = None,
    problems: Sequence[Problem] = (),
) -> Found:
    """Read a table.

    Parameters
    ----------
    kind, name : str
        As ``Found.kind``; name of the file without its ending.
    table : polars.DataFrame
        As it stands in the file, numbers as floats where they are numbers.
    answers : Answers
    units_row : sequence of str
        Units below the header; empty without such a row.
    points : Places or None
        Positions that come from geometries, in degrees; else they are columns.
    problems : sequence of Problem
        Those met so far.

    Raises
    ------
    InputError
        Without a record, without a single column that is known, for an answer that does not fit, and for positions
        that cannot be degrees while no coordinate system was told, and records that stand in no order of time.
    """
    if not table.height:
        raise InputError(name, 0, "holds no records", "export it anew, with its rows")
    told: list[Problem] = list(problems)
    questions: list[Question] = []
    sensors = sensors_of(table.columns, answers.columns)
    columns = match(table.columns, units_row, answers.columns)
    if points is not None:
        columns = [Matched(c.header) if c.meaning in ("lon_deg", "lat_deg") and not c.said else c for c in columns]
    by = {c.meaning: c for c in columns if c.meaning}
    if not sensors and not set(by) - {"field", "machine", "part", "date", "section"}:
        header = ", ".join(table.columns[:12])
        raise InputError(name, header, "has no column that is known", "say what they mean: 'Flow=flow_kg_s:lb/s'")
    part, named = _parts_of(table, by, name)
    if (np.diff(part) < 0).any():
        # Records of a part together, before ways and times from record to record are looked at.
        order = np.argsort(part, kind="stable")
        table, part, points = table[order], part[order], None if points is None else points.of(order)
    raw = {m: _numbers(table[c.header], m, told) for m, c in by.items() if m in MEANINGS and _is_number(m)}
    # A column without a single value was not recorded: it may follow from others, and its unit is no question.
    raw = {m: v for m, v in raw.items() if m in ("lon_deg", "lat_deg") or not np.isnan(v).all()}
    stamps = times(table, by, answers)
    questions += stamps.questions
    told += stamps.problems
    where = points or places(raw.get("lon_deg"), raw.get("lat_deg"), answers.crs, name)
    known = _known_units(by, raw)
    found = unit_sets(_for_relations(raw, stamps), known, where.step_m, answers.bushel_kg)
    questions += _unit_questions(found, by, known, raw)
    questions += _swapped(where, _for_relations(raw, stamps), by, known, found)
    units = {**known, **(found.sets[0] if len(found.sets) == 1 else {})}
    if units.get("yield_t_ha") == "bu/ac" and answers.bushel_kg is None:
        questions.append(Question(by["yield_t_ha"].header, "weight of a bushel"))
        del units["yield_t_ha"]
    ready = {m: v * factor(m, units[m], answers.bushel_kg) for m, v in raw.items() if m in units and m in COLUMNS}
    ready |= {m: raw[m] for m in ("in_work", "gnss_status", "section") if m in raw}
    if where.lon_deg is not None and where.lat_deg is not None:
        ready |= {"lon_deg": where.lon_deg, "lat_deg": where.lat_deg}
    if stamps.time_s is not None:
        ready["time_s"] = stamps.time_s
    ready |= {column: _numbers(table[header], column, told) for header, column in sensors.items()}
    ready, strange = out_of_range(ready)
    told += [Problem("beyond any record", name, count, column) for column, count in strange.items()]
    rows = Rows(ready, part, tuple(Part(*names, stamps.clock) for names in named))
    _refuse_disorder(rows, name)
    if twice := passed_twice(rows, answers.zone):
        told.append(Problem("hour passed twice", name, twice))
    rows, zone = in_utc(rows, answers.zone)
    questions += [zone] if zone else []
    told += _disagreements(rows, name) or _off(found, units, raw, name)
    return Found(kind, completed(rows), tuple(questions), tuple(told), {**_written(columns, units), **sensors})


def _is_number(meaning: str) -> bool:
    return meaning not in (*_PARTING, "date", "time_s")


def _numbers(series: pl.Series, meaning: str, told: list[Problem]) -> FloatArray:
    """A column as float64; what is no number is missing, and told."""
    import polars as pl

    if meaning == "in_work" and series.dtype in (pl.String, pl.Boolean):
        plain = series.cast(pl.String).str.strip_chars().str.to_lowercase()
        yes, no = plain.is_in(list(_YES)).fill_null(value=False), plain.is_in(list(_NO)).fill_null(value=False)
        return np.where(yes.to_numpy(), 1.0, np.where(no.to_numpy(), 0.0, np.nan))
    numbers = series.cast(pl.Float64, strict=False)
    if series.dtype == pl.String:
        unread = int((numbers.is_null() & series.is_not_null() & (series.str.strip_chars() != "")).sum())
        if unread:
            told.append(Problem("no number", series.name, unread))
    values: FloatArray = numbers.to_numpy(allow_copy=True).astype(np.float64)
    if endless := int(np.isinf(values).sum()):
        told.append(Problem("no number", series.name, endless))
    return np.where(np.isfinite(values), values, np.nan)


def _for_relations(raw: Mapping[str, FloatArray], stamps: Times) -> dict[str, FloatArray]:
    """Columns the relations are worked out from; the clock stands in for an interval nobody recorded."""
    if "interval_s" in raw or stamps.time_s is None:
        return dict(raw)
    return {**raw, "interval_s": np.r_[np.nan, np.diff(stamps.time_s)]}


def _known_units(by: Mapping[str, Matched], raw: Mapping[str, FloatArray]) -> dict[str, str]:
    """Units told by a name or a person, or the only ones there are; an interval is in seconds where it can be."""
    known: dict[str, str] = {}
    for meaning, column in by.items():
        units = UNITS[MEANINGS[meaning].kind]
        if column.unit or len(units) <= 1:
            known[meaning] = column.unit or next(iter(units), "")
    if "elevation_m" in by:
        known.setdefault("elevation_m", "m")  # nothing here is worked out from it
    interval = raw.get("interval_s")
    if interval is None or may_be("interval_s", interval, factor("interval_s", "s")):
        known.setdefault("interval_s", "s")
    return known


def _unit_questions(
    found: UnitSets, by: Mapping[str, Matched], known: Mapping[str, str], raw: Mapping[str, FloatArray]
) -> list[Question]:
    """Which units are still open: several sets fit, or none does."""
    open_ones = [m for m in raw if m not in known and m in COLUMNS and _has_units(m)]
    if not open_ones or len(found.sets) == 1:
        return []
    questions = []
    for meaning in open_ones:
        fitting = sorted({units[meaning] for units in found.sets if meaning in units})
        if len(found.sets) and len(fitting) == 1:
            continue
        why = "several units fit" if found.sets else "no unit fits"
        choices = fitting or list(UNITS[MEANINGS[meaning].kind])
        questions.append(Question(by[meaning].header, why, tuple(f"{meaning}:{unit}" for unit in choices)))
    return questions


def _has_units(meaning: str) -> bool:
    return len(UNITS[MEANINGS[meaning].kind]) > 1


def _swapped(
    where: Places, raw: Mapping[str, FloatArray], by: Mapping[str, Matched], known: Mapping[str, str], found: UnitSets
) -> list[Question]:
    """Whether the way between positions fits the distance only with longitude and latitude the other way round."""
    if "lon_deg" not in by or "lat_deg" not in by or by["lon_deg"].said or where.step_m is None:
        return []
    units = {**known, **(found.sets[0] if found.sets else {})}
    other = places(raw["lat_deg"], raw["lon_deg"], "", "", strict=False)
    way = _way(raw, units)
    if way is None or other.step_m is None:
        return []
    as_it_is, swapped = (_off_the_way(p.step_m, way) for p in (where, other))
    if as_it_is > SWAPPED and swapped < as_it_is / 3.0:
        choices = (f"{by['lon_deg'].header}=lat_deg", f"{by['lat_deg'].header}=lon_deg")
        return [Question(by["lon_deg"].header, "longitude and latitude swapped", choices)]
    return []


def _way(raw: Mapping[str, FloatArray], units: Mapping[str, str]) -> FloatArray | None:
    """The way from record to record [m] as it was recorded, or as the speed has it; None where neither tells."""
    if "distance_m" in raw and "distance_m" in units:
        return raw["distance_m"] * factor("distance_m", units["distance_m"])
    if "speed_kmh" in raw and "speed_kmh" in units and "interval_s" in raw:
        return raw["speed_kmh"] * factor("speed_kmh", units["speed_kmh"]) * raw["interval_s"] / 3.6
    return None


def _off_the_way(step_m: FloatArray | None, way_m: FloatArray) -> float:
    """How far the way between positions is off the recorded way, at the median [ln]."""
    if step_m is None:
        return 0.0
    both = (step_m > 0) & (way_m > 0)
    return abs(float(np.log(np.median(step_m[both] / way_m[both])))) if both.sum() >= LEAST else 0.0


def _parts_of(table: pl.DataFrame, by: Mapping[str, Matched], name: str) -> tuple[IntArray, list[tuple[str, str, str]]]:
    """The part of each row, and name, field and machine of each part, in the order they first stand in."""
    import polars as pl

    columns = [by[m].header for m in _PARTING if m in by]
    if not columns:
        return np.zeros(table.height, np.int64), [(name, "", "")]
    whole = [c for c in columns if table[c].dtype.is_float() and (table[c].drop_nulls() % 1 == 0).all()]
    numbered_alike = table.with_columns(pl.col(whole).cast(pl.Int64)) if whole else table  # 2, not 2.0
    text = numbered_alike.select(pl.col(c).cast(pl.String).fill_null("") for c in columns)
    kinds = text.unique(maintain_order=True)
    if kinds.height > MOST_PARTS and "part" in by:
        raise InputError(
            by["part"].header, kinds.height, "parts the table into too many", "say 'part=-' to leave it out"
        )
    numbered = kinds.with_row_index("·number").with_columns(pl.col("·number").cast(pl.Int64))
    part: IntArray = text.join(numbered, on=columns, how="left", maintain_order="left")["·number"].to_numpy()
    named = []
    for row in kinds.iter_rows(named=True):
        field, machine, own = (row.get(by[m].header, "") if m in by else "" for m in _PARTING)
        # A bare number says nothing without the file's name.
        named.append((f"{name} {own}".strip() if not own or own.isdecimal() else own, field, machine))
    return part, named


def _refuse_disorder(rows: Rows, name: str) -> None:
    """Refuse records that stand in no order of time: ways, passes and the time each stands for would be nonsense."""
    steps = np.diff(rows.column("time_s"))
    steps = steps[(np.diff(rows.part) == 0) & (steps != 0) & ~np.isnan(steps)]
    back, (share, least) = int((steps < 0).sum()), BACKWARDS
    if back >= least and back > share * steps.size:
        problem = f"stand in no order of time: {back:,} of {steps.size:,} steps go back"
        mend = "sort the rows by time; of several machines, give each a name in a column, or a file of its own"
        raise InputError(f"{name}, records", None, problem, mend)


def _disagreements(rows: Rows, name: str) -> list[Problem]:
    """Recorded columns that do not hold together: told, since one of their units or names may be another."""
    found = []
    yields = recomputed_over_recorded(rows)
    known = yields[~np.isnan(yields)]
    if known.size and abs(float(np.median(known)) - 1.0) > NOTICED:
        found.append(Problem("yield disagrees", name, known.size, f"{float(np.median(known)):.3g}"))
    return found


def _off(found: UnitSets, units: Mapping[str, str], raw: Mapping[str, FloatArray], name: str) -> list[Problem]:
    """Relations between columns of known units that do not hold."""
    if found.sets or not set(raw) & set(COLUMNS) <= set(units) | {"in_work", "gnss_status", "section"}:
        return []
    return [
        Problem(f"{label} disagrees", name, 0, f"{float(np.exp(off)):.3g}")
        for label, off in found.off.items()
        if abs(off) > (BY_POSITION if label.startswith("way") else NOTICED)
    ]


def _written(columns: Sequence[Matched], units: Mapping[str, str]) -> dict[str, str]:
    return {c.header: Matched(c.header, c.meaning, units.get(c.meaning, c.unit)).written() for c in columns}

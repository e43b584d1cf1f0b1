"""How does a folder of ISO 11783-10 task data become records?

Every time log a task names is decoded and its values put into columns by the data dictionary. What a maker adds under
numbers of his own is left out, but for the ground speed where the standard one is missing: a channel shown in a unit of
speed is taken if the positions bear it out, and the rows say so.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import PurePosixPath
from typing import Final

import numpy as np

from chaffinch.errors import InputError
from chaffinch.fieldlog.answers import Answers, Found
from chaffinch.fieldlog.plane import step_m
from chaffinch.fieldlog.reading.clockwork import in_utc, passed_twice
from chaffinch.fieldlog.reading.opened import Opened
from chaffinch.fieldlog.reading.sensor_names import sensor_names
from chaffinch.fieldlog.reading.taskdata import Device, Task, TaskData, parsed, task_data
from chaffinch.fieldlog.reading.timelog import EPOCH_S, NOT_THERE, TimeLog, decode, layout_of, times_s
from chaffinch.fieldlog.reading.volumes import weighed
from chaffinch.fieldlog.rows import (
    COLUMNS,
    LOSS_READINGS,
    Clock,
    FloatArray,
    Part,
    Problem,
    Question,
    Rows,
    joined,
    out_of_range,
)
from chaffinch.how_far import Progress
from chaffinch.reference.fieldlogs import entries

SPEED_UNITS: Final = {"km/h": 1.0, "kmh": 1.0, "kph": 1.0, "m/s": 3.6, "mph": 1.609344, "mi/h": 1.609344}
"""Units a maker's own speed may be shown in, in km/h [exact]."""
SPEED_AGREES: Final = 0.10
"""Median difference from the speed of the positions, as a share of the median speed, up to which such a channel is the
ground speed [1]. Own figure: the one open log that has it shows 0.06."""
SPEED_LEAST: Final = 30
"""Moving records that must bear it out [1]."""
OWN_DDIS: Final = 0xE000
"""First number makers may use for themselves; 0xDFFE and 0xDFFF ask for default logging."""
DEG: Final = 1e-7
_ADDED_UP: Final = {"flow_kg_s", "volume_flow_l_s", "loss_ml_s", "loss_g_s", "loss_seeds_s", "width_m"}
_SECTION_KIND: Final = 4


@dataclass(frozen=True, slots=True)
class _Table:
    """A log, and the channels of its maker that may be its ground speed, by device, number and designator."""

    rows: Rows
    own_speeds: dict[tuple[str, int, str], FloatArray]


def read_task_data(files: Opened, answers: Answers, progress: Progress | None = None) -> Found:
    """Read every time log of every task of every task data in a folder or zip.

    Raises
    ------
    InputError
        When none of it can be read.
    """
    problems: list[Problem] = []
    questions: dict[str, Question] = {}
    tables: list[_Table] = []
    sets = list(_sets(files, problems))
    of = sum(len(task.logs) for _, _, data in sets for task in data.tasks)
    done = 0
    for folder, here, data in sets:
        problems += data.problems
        named: set[str] = set()
        for task in data.tasks:
            for i, log in enumerate(task.logs):
                table = None
                if log.upper() in named:
                    problems.append(Problem("log named twice", log, 0, task.id))
                else:
                    table = _one(files, here, data, task, i, answers, problems, questions)
                named.add(log.upper())
                if table is not None:
                    tables.append(replace(table, rows=_named(table.rows, folder if len(sets) > 1 else "")))
                done += 1
                if progress is not None:
                    progress(done, of)
        problems += _unnamed(here, data)
    if not tables:
        told = f" ({problems[0].where}: {problems[0].kind})" if problems else ""
        raise InputError(files.path.name, None, f"has no time log that can be read{told}", "copy it anew from the card")
    rows = joined(_with_own_speed(tables))
    if twice := passed_twice(rows, answers.zone):
        problems.append(Problem("hour passed twice", files.path.name, twice))
    rows, clock_question = in_utc(rows, answers.zone)
    if clock_question is not None:
        questions["zone"] = clock_question
    return Found("task data", rows, tuple(questions.values()), tuple(problems))


def is_task_data(files: Opened) -> bool:
    """Whether there is task data inside."""
    return any(PurePosixPath(name).name.upper() == "TASKDATA.XML" for name in files.names)


def _sets(files: Opened, problems: list[Problem]) -> Iterator[tuple[str, Mapping[str, str], TaskData]]:
    """Each task data inside: its folder, the files beside it, and what it says. The same one twice counts once."""
    seen: dict[tuple[bytes, tuple[str, ...]], str] = {}
    reasons = []
    found = False
    for name in files.names:
        path = PurePosixPath(name)
        if path.name.upper() != "TASKDATA.XML":
            continue
        folder = "" if str(path.parent) == "." else str(path.parent)
        here = files.under(folder)
        try:
            raw = files.read(name)
            key = (raw, tuple(sorted(n for n in here if n.startswith("TLG"))))
            if key in seen and _same_logs(files, here, files.under(seen[key])):
                problems.append(Problem("same folder twice", folder, 0, seen[key]))
                continue
            data = task_data(raw, name, _beside(files, here))
        except InputError as error:
            problems.append(Problem("not readable", name, 0, error.problem))
            reasons.append(error)
            continue
        seen[key] = folder
        found = True
        yield folder, here, data
    if not found and reasons:
        raise reasons[0]


def _same_logs(files: Opened, one: Mapping[str, str], other: Mapping[str, str]) -> bool:
    return all(files.read(one[name]) == files.read(other[name]) for name in one if name.startswith("TLG"))


def _beside(files: Opened, here: Mapping[str, str]) -> Callable[[str], bytes | None]:
    def read(name: str) -> bytes | None:
        full = here.get(f"{name.upper()}.XML") or here.get(name.upper())
        return None if full is None else files.read(full)

    return read


def _one(
    files: Opened,
    here: Mapping[str, str],
    data: TaskData,
    task: Task,
    i: int,
    answers: Answers,
    problems: list[Problem],
    questions: dict[str, Question],
) -> _Table | None:
    log = task.logs[i]
    described, binary = here.get(f"{log.upper()}.XML"), here.get(f"{log.upper()}.BIN")
    if described is None or binary is None:
        lacks = " and ".join(k for k, v in ((".xml", described), (".bin", binary)) if v is None)
        problems.append(Problem("log missing", log, 0, lacks))
        return None
    try:
        layout = layout_of(parsed(files.read(described), log))
        raw = files.read(binary)
        used = [k for k, v in enumerate(layout.values) if v.ddi in entries() or _shows_speed(v.ddi, data)]
        decoded = decode(raw, layout, used, version=data.version)
    except InputError as error:
        problems.append(Problem("not readable", log, 0, error.problem))
        return None
    problems += [replace(p, where=log) for p in decoded.problems]
    if not len(decoded):
        problems.append(Problem("empty log", log, len(raw)))
        return None
    return _table(decoded, data, task, i, answers, problems, questions)


def _table(
    log: TimeLog,
    data: TaskData,
    task: Task,
    i: int,
    answers: Answers,
    problems: list[Problem],
    questions: dict[str, Question],
) -> _Table:
    name = task.logs[i]
    columns, clock, wrong = _head_columns(log)
    if wrong:
        problems.append(Problem("first dates wrong", name, wrong))
    raw, machines = _chosen(log, data, answers, questions)
    for column, values in raw.items():
        columns[column] = values
    if "in_work" in columns:
        # 2 and 3 mean error and not available.
        columns["in_work"] = np.where(columns["in_work"] > 1.0, np.nan, columns["in_work"])
    columns, strange = out_of_range(columns)
    problems += [Problem("beyond any record", name, count, column) for column, count in strange.items()]
    by_mass, how, question = weighed(columns, answers.bushel_kg)
    columns |= by_mass
    if question is not None:
        questions[question.what] = question
    machine = next((data.devices[m].name or m for m in machines if m in data.devices), "")
    stated = task.totals[i]
    part = Part(name, task.field, machine, clock, float(stated.get(0x5A, np.nan)), float(stated.get(0x74, np.nan)))
    rows = Rows(columns, np.zeros(len(log), np.int64), (part,), how)
    return _Table(rows, {} if "speed_kmh" in columns else _own_speeds(log, data))


def _head_columns(log: TimeLog) -> tuple[dict[str, FloatArray], Clock, int]:
    """Time and position of each record; the clock of the satellites where it stands in every record."""
    names = log.head.dtype.names or ()
    head = log.head
    time, wrong = times_s(head["time_ms"], head["days"])
    clock: Clock = "machine"
    if "gps_ms" in names and "gps_days" in names:
        known = (head["gps_days"] > 0) & (head["gps_days"] < 0xFFFF) & (head["gps_ms"] < 86_401_000)
        if known.all():
            time = EPOCH_S + head["gps_days"] * 86_400.0 + head["gps_ms"] / 1000.0
            clock, wrong = "utc", 0
    columns = {"time_s": time}
    for name, column, scale in (("north", "lat_deg", DEG), ("east", "lon_deg", DEG), ("up", "elevation_m", 0.001)):
        if name in names:
            at = head[name].astype(np.float64)
            columns[column] = np.where(np.isin(head[name], list(NOT_THERE)), np.nan, at * scale)
    if "lat_deg" in columns and "lon_deg" in columns:
        # A receiver without a fix writes the point where the equator meets Greenwich.
        nowhere = (columns["lat_deg"] == 0.0) & (columns["lon_deg"] == 0.0)
        columns["lat_deg"][nowhere] = columns["lon_deg"][nowhere] = np.nan
    if "status" in names:
        columns["gnss_status"] = head["status"].astype(np.float64)
    elif log.layout.status is not None:
        columns["gnss_status"] = np.full(len(log), float(log.layout.status))
    return columns, clock, wrong


def _chosen(
    log: TimeLog, data: TaskData, answers: Answers, questions: dict[str, Question]
) -> tuple[dict[str, FloatArray], list[str]]:
    """Columns from dictionary entries: which of several device elements, and the devices they belong to."""
    offers: dict[str, list[int]] = {}
    for k, values in log.values.items():
        entry = entries().get(log.layout.values[k].ddi)
        if entry is not None and not np.isnan(values).all():
            offers.setdefault(entry.column, []).append(k)
    columns: dict[str, FloatArray] = {}
    machines: list[str] = []
    for column in COLUMNS:
        if column not in offers:
            continue
        factor = next(e.factor.value for e in entries().values() if e.column == column)
        reporting = [(k, log.layout.values[k].element) for k in offers[column]]
        named = dict(sensor_names(column, reporting, data.elements)) if column in LOSS_READINGS else {}
        columns |= {name: log.values[k] * factor for name, k in named.items()}
        found = _of_elements(column, offers[column], log, data, answers)
        if found is None and column in LOSS_READINGS:
            continue  # each sensor has its own column, and nothing need be chosen
        if found is None:
            ids = tuple(log.layout.values[k].element for k in offers[column])
            questions[f"element {column}"] = Question(f"element {column}", "several elements", ids)
            continue
        values, element = found
        if not named or len(offers[column]) > 1:
            columns[column] = values * factor
        if element in data.elements:
            # The machine that tells flow or yield is the one that harvests; a header may be a device of its own.
            first = column in ("yield_t_ha", "flow_kg_s")
            machines.insert(0 if first else len(machines), data.elements[element].device)
    return columns, machines


def _of_elements(
    column: str, offers: list[int], log: TimeLog, data: TaskData, answers: Answers
) -> tuple[FloatArray, str] | None:
    """Values of one quantity that several device elements may report; None where a person must choose."""

    def element(k: int) -> str:
        return log.layout.values[k].element

    asked = answers.elements.get(column)
    if asked is not None:
        picked = [k for k in offers if element(k) == asked]
        if not picked and len(offers) > 1:
            mend = f"use one of {', '.join(element(k) for k in offers)}"
            raise InputError(f"element {column}", asked, "does not report it", mend)
        offers = picked or offers
    # The whole machine's figure before those of its pieces.
    kinds = {k: data.elements[element(k)].kind if element(k) in data.elements else 1 for k in offers}
    top = min(kinds.values())
    offers = [k for k in offers if kinds[k] == top]
    first = log.values[offers[0]]
    if len(offers) == 1:
        return first, element(offers[0])
    all_of_them = np.stack([log.values[k] for k in offers])
    if top == _SECTION_KIND and column in _ADDED_UP:
        # A section that says nothing adds nothing; where none says anything the sum is missing.
        silent = np.isnan(all_of_them).all(axis=0)
        return np.where(silent, np.nan, np.nansum(all_of_them, axis=0)), element(offers[0])
    filled = np.where(np.isnan(all_of_them), first, all_of_them)
    if np.array_equal(filled, np.broadcast_to(first, filled.shape), equal_nan=True):
        return first, element(offers[0])
    return None


def _shows_speed(ddi: int, data: TaskData) -> bool:
    return ddi >= OWN_DDIS and any(_speed_unit(ddi, device) for device in data.devices.values())


def _speed_unit(ddi: int, device: Device) -> float:
    known = device.quantities.get(ddi)
    return 0.0 if known is None else SPEED_UNITS.get(known.unit.strip().casefold(), 0.0)


def _own_speeds(log: TimeLog, data: TaskData) -> dict[tuple[str, int, str], FloatArray]:
    """Channels of the makers' own that are shown in a unit of speed [km/h]."""
    found = {}
    for k, values in log.values.items():
        value = log.layout.values[k]
        element = data.elements.get(value.element)
        device = data.devices.get(element.device) if element else next(iter(data.devices.values()), None)
        if value.ddi >= OWN_DDIS and device is not None and _speed_unit(value.ddi, device):
            shown = device.quantities[value.ddi]
            speed = (values + shown.offset) * shown.scale * _speed_unit(value.ddi, device)
            found[device.id, value.ddi, shown.designator] = speed
    return found


def _with_own_speed(tables: list[_Table]) -> list[Rows]:
    """The tables, with the one channel of a machine's own that is the ground speed in all its logs together."""
    seen: dict[tuple[str, int, str], list[FloatArray]] = {}
    for table in tables:
        if not table.own_speeds:
            continue
        by_position = _position_speed_kmh(table.rows.columns)
        for key, speed in table.own_speeds.items():
            both = (by_position > 1.0) & (speed > 1.0)
            seen.setdefault(key, []).append(np.stack([speed[both], by_position[both]]))
    fits: dict[str, list[tuple[tuple[str, int, str], float]]] = {}
    for key, pairs in seen.items():
        speed, by_position = np.concatenate(pairs, axis=1)
        if speed.size >= SPEED_LEAST:
            off = float(np.median(np.abs(speed - by_position)) / np.median(speed))
            if off < SPEED_AGREES:
                fits.setdefault(key[0], []).append((key, off))
    rows = []
    for table in tables:
        own = [fit for fit in fits.values() if len(fit) == 1 and fit[0][0] in table.own_speeds]
        if len(own) != 1:
            rows.append(table.rows)
            continue
        key, off = own[0][0]
        how = f"{key[2] or hex(key[1])}: {100 * off:.0f} % from positions"
        column, _ = out_of_range({"speed_kmh": table.own_speeds[key]})
        rows.append(table.rows.with_columns(column, {"speed_kmh": how}))
    return rows


def _position_speed_kmh(columns: Mapping[str, FloatArray], half: int = 3) -> FloatArray:
    """Speed over the way between the records ``half`` before and after [km/h]; NaN at the ends."""
    time = columns["time_s"]
    lon, lat = (columns.get(name, np.full(time.size, np.nan)) for name in ("lon_deg", "lat_deg"))
    speed = np.full(time.size, np.nan)
    if time.size <= 2 * half:
        return speed
    steps = step_m(lon, lat)
    way = np.concatenate([[0.0], np.nancumsum(steps[1:])])
    took = time[2 * half :] - time[: -2 * half]
    with np.errstate(invalid="ignore", divide="ignore"):
        speed[half:-half] = np.where(took > 0, 3.6 * (way[2 * half :] - way[: -2 * half]) / took, np.nan)
    return speed


def _named(rows: Rows, folder: str) -> Rows:
    if not folder:
        return rows
    return replace(rows, parts=tuple(replace(p, name=f"{folder}/{p.name}") for p in rows.parts))


def _unnamed(here: Mapping[str, str], data: TaskData) -> list[Problem]:
    """Logs that lie there and no task names."""
    named = {log.upper() for task in data.tasks for log in task.logs}
    lying = sorted({n[:-4] for n in here if n.startswith("TLG") and n.endswith(".BIN")} - named)
    return [Problem("log of no task", name) for name in lying]

"""How many records a second go through import, cleaning and loss, does time grow in line, and does memory stay flat?

Folders of ISO 11783-10 task data are made, one field each, and every field goes the whole way: decoded, worked out,
cleaned, binned, and its loss summed over the draws of a curve. Workers take fields one by one and keep nothing, as a
co-operative's queue would.

    python bench/fieldlog_speed.py                                   # 2 million records, and the growth up to them
    python bench/fieldlog_speed.py --records 200000 --fields 100     # 20 million, some minutes and 1 GB of disk
"""

from __future__ import annotations

import argparse
import json
import math
import multiprocessing
import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from chaffinch.engine.estimate import Prior
from chaffinch.engine.response.fit import fit_response
from chaffinch.fieldlog.answers import Answers
from chaffinch.fieldlog.cleaning.clean import clean
from chaffinch.fieldlog.derive import completed
from chaffinch.fieldlog.loss.whole_field import interval_of, usage, whole_field
from chaffinch.fieldlog.reading.door import read_log

M_PER_DEG = 111_195.08
PASS = 400  # records of a pass: 720 m
WIDTH_M = 9.1


def make(folder: Path, records: int, seed: int) -> None:
    """Task data of one field: passes up and down at 1 Hz, five values in each record and the width in the first."""
    rng = np.random.default_rng(seed)
    k = np.arange(records)
    number, place = k // PASS, k % PASS
    speed = 1.8 * np.exp(0.1 * np.sin(k / 97) + rng.normal(0, 0.02, records))
    y = np.where(number % 2 == 0, place, PASS - 1 - place) * 1.8
    x = number % 80 * WIDTH_M + number // 80 * 2.0
    y = y + number // 80 * 800.0
    crop = 5.0 * np.exp(0.2 * np.sin(y / 37 + x / 90) + rng.normal(0, 0.08, records))
    flow = np.roll(crop * speed * WIDTH_M / 10.0, 8)
    head = [("ms", "<u4"), ("day", "<u2"), ("north", "<i4"), ("east", "<i4"), ("status", "u1"), ("n", "u1")]
    value = [("i", "u1"), ("v", "<i4")]
    data = np.zeros(records, np.dtype([*head, ("values", value, (5,))]))
    clock = 1000 * (k + 30_000)
    data["ms"], data["day"] = clock % 86_400_000, 17_027 + clock // 86_400_000
    data["north"] = np.round((50.4 + y / M_PER_DEG) * 1e7)
    data["east"] = np.round((-104.6 + x / M_PER_DEG / math.cos(math.radians(50.4))) * 1e7)
    data["status"], data["n"] = 4, 5
    data["values"]["i"] = [1, 2, 3, 4, 5]
    for column, numbers in enumerate(
        (flow * 1e6, crop * 1e5, speed * 1e3, np.full(records, 130_000), np.ones(records))
    ):
        data["values"]["v"][:, column] = np.round(numbers)
    first = data[:1].tobytes()
    first = first[:15] + b"\x06" + first[16:] + b"\x00" + int(WIDTH_M * 1000).to_bytes(4, "little")
    folder.mkdir(parents=True)
    (folder / "TLG00001.BIN").write_bytes(first + data[1:].tobytes())
    ddis = "".join(f'<DLV A="{ddi:04X}" B="" C="DET-1"/>' for ddi in (0x43, 0x57, 0x54, 0x18D, 0x63, 0x8D))
    (folder / "TLG00001.XML").write_text(f'<TIM A="" D="4"><PTN A="" B="" D=""/>{ddis}</TIM>', encoding="utf-8")
    (folder / "TASKDATA.XML").write_text(
        '<ISO11783_TaskData VersionMajor="4" VersionMinor="0" DataTransferOrigin="2"><DVC A="DVC-1" B="Larkhollow 1">'
        '<DET A="DET-1" B="1" C="1" E="0" F="0"/></DVC><TSK A="TSK1" G="4"><TLG A="TLG00001"/></TSK>'
        "</ISO11783_TaskData>",
        encoding="utf-8",
    )


def through(folder: Path) -> tuple[int, float, float, float]:
    """One field the whole way: records, middle of its loss [kg], processor seconds, peak memory so far [MB]."""
    began = time.process_time()
    found = read_log(folder, Answers(zone="utc"))
    assert found.rows is not None
    cleaned = clean(completed(found.rows))
    loss = whole_field(usage(cleaned), _CURVE[0])
    middle = interval_of(loss.total_kg).median
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return len(found.rows), middle, time.process_time() - began, peak_mb


_CURVE: list = []


def ready() -> None:
    """Fit the curve once for each worker: it does not belong to a field."""
    curve = fit_response([], source="machine", prior=Prior(40.0, 1.3), load_kind="throughput", seed=1)
    _CURVE[:] = [lambda load, _speed: (curve.loss_kg_ha(load)[:2048], None)]


def run(folders: list[Path], jobs: int) -> dict[str, float]:
    """Put fields through; wall seconds, processor seconds, records, peak memory of a worker."""
    began = time.perf_counter()
    if jobs > 1:
        with multiprocessing.get_context("spawn").Pool(jobs, initializer=ready) as pool:
            pool.map(abs, range(jobs))  # workers have started
            began = time.perf_counter()
            done = pool.map(through, folders, chunksize=1)
    else:
        if not _CURVE:
            ready()
        began = time.perf_counter()
        done = [through(folder) for folder in folders]
    wall = time.perf_counter() - began
    return {
        "records": sum(d[0] for d in done),
        "wall_s": round(wall, 3),
        "cpu_s": round(sum(d[2] for d in done), 3),
        "peak_mb": round(max(d[3] for d in done), 1),
        "lost_kg": round(sum(d[1] for d in done), 3),
    }


def slope(rows: list[tuple[float, float]]) -> float:
    """Growth exponent: slope of ln(seconds) over ln(records)."""
    x, y = np.log(np.array(rows)).T
    return float(np.polyfit(x, y, 1)[0])


def main() -> None:
    """Print records a second, growth exponents and peak memory."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--records", type=int, default=200_000, help="of one field")
    parser.add_argument("--fields", type=int, default=10)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--json", action="store_true")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        folders = [Path(place) / f"field-{k}" for k in range(given.fields)]
        for k, folder in enumerate(folders):
            make(folder, given.records, k)
        through_all = {}
        for share in (4, 2, 1):
            some = folders[: max(1, given.fields // share)]
            through_all[len(some)] = run(some, given.jobs)
        sizes = {}
        for share in (8, 4, 2, 1):
            folder = Path(place) / f"size-{share}"
            make(folder, max(2000, given.records // share), 99)
            run([folder], 1)  # warm
            sizes[max(2000, given.records // share)] = run([folder], 1)
    whole = through_all[max(through_all)]
    told = {
        "records": whole["records"],
        "records_per_s": round(whole["records"] / whole["wall_s"]),
        "records_per_cpu_s": round(whole["records"] / whole["cpu_s"]),
        "exponent_fields": round(slope([(r["records"], r["cpu_s"]) for r in through_all.values()]), 3),
        "exponent_size": round(slope([(r["records"], r["cpu_s"]) for r in sizes.values()]), 3),
        "peak_mb": [r["peak_mb"] for r in through_all.values()],
        "jobs": given.jobs,
    }
    if given.json:
        json.dump(told, sys.stdout)
        return
    fields = max(through_all)
    print(f"{told['records']:,} records in {fields} fields, {given.jobs} workers; bar 1,000,000 records a second")
    print(f"{told['records_per_s']:,} records a second by the clock, {told['records_per_cpu_s']:,} by processor second")
    print(f"growth exponent {told['exponent_fields']} with more fields, {told['exponent_size']} with a larger one")
    print(f"peak memory of a worker with a quarter, half and all of the fields: {told['peak_mb']} MB")


if __name__ == "__main__":
    main()

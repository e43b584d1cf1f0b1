"""Does one file larger than memory go through, how fast, and does memory stay flat?

A file of invented records is made, passes up and down at 1 Hz with a silence after every fiftieth, as comma text or
Parquet, of fields of 200,000 records or of one field alone. It goes the whole way in a process of its own: read in
batches, cleaned on disk, binned, summed over the draws of a curve, and put into squares of a map. For the smallest size
the same file held as a whole must give the same flags and the same loss.

    python bench/fieldlog_large.py --records 1000000 5000000 20000000            # some minutes, 10 GB of disk
    python bench/fieldlog_large.py --records 1000000 5000000 --one-field
"""

from __future__ import annotations

import argparse
import json
import math
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import polars as pl

from chaffinch.engine.estimate import Prior
from chaffinch.engine.response.fit import fit_response
from chaffinch.fieldlog.answers import Answers
from chaffinch.fieldlog.cleaning.clean import clean
from chaffinch.fieldlog.derive import completed
from chaffinch.fieldlog.loss.parts import CellTally
from chaffinch.fieldlog.loss.whole_field import Tally, field_loss, interval_of, usage
from chaffinch.fieldlog.on_disk.large import clean_large
from chaffinch.fieldlog.on_disk.pieces import CleanedLog, median_over
from chaffinch.fieldlog.on_disk.staged import PIECE
from chaffinch.fieldlog.reading.door import read_log
from chaffinch.fieldlog.settings import usual

M_PER_DEG = 111_195.08
PASS = 400  # records of a pass: 720 m
WIDTH_M = 9.1
ABREAST = 80  # passes beside each other: a block of 728 by 720 m
FIELD = 200_000
SILENT_S, EVERY = 60, 50
CHUNK = 400_000
RECORD_BYTES = 600  # disk a record takes, as text and on the shelf


def make(path: Path, records: int, *, one_field: bool) -> None:
    """A file of records, as comma text or Parquet."""
    rng = np.random.default_rng(1)
    across = math.ceil(math.sqrt(records / PASS / ABREAST))
    text = path.with_suffix(".csv")
    with text.open("wb") as file:
        for begin in range(0, records, CHUNK):
            k = np.arange(begin, min(begin + CHUNK, records))
            number, place = k // PASS, k % PASS
            block = number // ABREAST
            speed = 1.8 * np.exp(0.1 * np.sin(k / 97) + rng.normal(0, 0.02, k.size))
            x = number % ABREAST * WIDTH_M + block % across * 740.0
            y = np.where(number % 2 == 0, place, PASS - 1 - place) * 1.8 + block // across * 740.0
            crop = 5.0 * np.exp(0.2 * np.sin(y / 37 + x / 90) + rng.normal(0, 0.08, k.size))
            flow = np.roll(crop * speed * WIDTH_M / 10.0, 8)
            table = {
                "unix time": 1_786_000_000 + k + SILENT_S * (number // EVERY),
                "longitude": np.round(-104.6 + x / M_PER_DEG / math.cos(math.radians(50.4)), 8),
                "latitude": np.round(50.4 + y / M_PER_DEG, 8),
                "speed (km/h)": np.round(speed * 3.6, 3),
                "width (m)": np.full(k.size, WIDTH_M),
                "flow (kg/s)": np.round(flow, 4),
                "moisture (%)": np.full(k.size, 13.0),
                "machine": np.where(block % 2 == 0, "Larkhollow 1", "Larkhollow 2"),
            }
            if not one_field:
                table["field"] = np.char.add("field ", (k // FIELD).astype(str))
            pl.DataFrame(table).write_csv(file, include_header=begin == 0)
    if path != text:
        pl.scan_csv(text).sink_parquet(path)
        text.unlink()


def summed(log: CleanedLog) -> tuple[float, int]:
    """Middle of the loss [kg], and squares of the map."""
    curve = fit_response([], source="machine", prior=Prior(40.0, 1.3), load_kind="throughput", seed=1)
    tally = Tally()
    for piece in log.pieces():
        tally.add(usage(piece))
    loss = field_loss(tally, lambda load, _speed: (curve.loss_kg_ha(load)[:2048], None))
    middle = tuple(
        median_over(lambda n=name: (p.rows.column(n) for p in log.pieces())) for name in ("lon_deg", "lat_deg")
    )
    cells = CellTally(3 * WIDTH_M, middle)
    for piece in log.pieces():
        use = usage(piece)
        cells.add(piece, use.area_ha, loss.mean_of(use))
    return interval_of(loss.total_kg).median, len(cells.found())


def peak_mb() -> float:
    """The most memory this process held [MB]; getrusage would count what the process held that started it."""
    status = Path("/proc/self/status")
    if status.exists():
        return int(status.read_text(encoding="utf-8").split("VmHWM:")[1].split()[0]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def through(path: Path, *, whole: bool, piece: int = PIECE) -> dict[str, float | int | list[int]]:
    """One file the whole way, in this process."""
    bare = peak_mb()
    wall, cpu = time.perf_counter(), time.process_time()
    log: CleanedLog
    if whole:
        rows = read_log(path, Answers()).rows
        assert rows is not None
        log = clean(completed(rows))
    else:
        walked = clean_large(path, Answers(), usual(), piece=piece)
        assert walked is not None
        assert walked.cleaned is not None, walked.found.questions
        log = walked.cleaned
    kg, squares = summed(log)
    return {
        "records": log.records,
        "counting": log.counting,
        "taken": [one.count for one in log.taken],
        "pieces": sum(1 for _ in log.pieces()),
        "lost_kg": kg,
        "squares": squares,
        "wall_s": round(time.perf_counter() - wall, 2),
        "cpu_s": round(time.process_time() - cpu, 2),
        "bare_mb": round(bare, 1),
        "peak_mb": round(peak_mb(), 1),
    }


def in_a_process(path: Path, *, whole: bool) -> dict:
    """The same in a process of its own, so that its peak memory is its own."""
    asked = [sys.executable, __file__, "--through", str(path), *(["--whole"] if whole else [])]
    return json.loads(subprocess.run(asked, check=True, capture_output=True, text=True).stdout)


def main() -> None:
    """Print records a second, growth, and peak memory by size."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--records", type=int, nargs="+", default=[250_000, 1_000_000])
    parser.add_argument("--one-field", action="store_true", help="all records are of one field")
    parser.add_argument("--parquet", action="store_true", help="a Parquet file instead of text")
    parser.add_argument("--folder", help="where the files are made; else where the system keeps such")
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--through", help=argparse.SUPPRESS)
    parser.add_argument("--whole", action="store_true", help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.through:
        json.dump(through(Path(given.through), whole=given.whole), sys.stdout)
        return
    found = []
    with tempfile.TemporaryDirectory(dir=given.folder) as place:
        if shutil.disk_usage(place).free < RECORD_BYTES * max(given.records):
            parser.error("the disk has too little room; name another with --folder")
        for number, records in enumerate(sorted(given.records)):
            path = Path(place) / f"log{'.parquet' if given.parquet else '.csv'}"
            make(path, records, one_field=given.one_field)
            found.append({**in_a_process(path, whole=False), "file_mb": round(path.stat().st_size / 2**20)})
            if number == 0:
                held = in_a_process(path, whole=True)
            path.unlink()
    same = all(found[0][k] == held[k] for k in ("records", "counting", "taken", "squares"))
    same &= math.isclose(found[0]["lost_kg"], held["lost_kg"], rel_tol=1e-9)
    sizes = np.log([[one["records"], one["cpu_s"]] for one in found])
    growth = float(np.polyfit(*sizes.T, 1)[0]) if len(found) > 1 else float("nan")
    told = {"same_as_whole": same, "whole_mb": held["peak_mb"], "whole_cpu_s": held["cpu_s"], "sizes": found,
            "exponent": None if math.isnan(growth) else round(growth, 3)}  # fmt: skip
    if given.json:
        json.dump(told, sys.stdout)
        return
    print(f"one file of {'one field' if given.one_field else 'many fields'}, "
          f"{'Parquet' if given.parquet else 'comma text'}; bar: memory does not grow with the file")  # fmt: skip
    for one in found:
        print(
            f"{one['records']:>12,} records, {one['file_mb']:>5,} MB in {one['pieces']:>3} pieces: "
            f"{one['records'] / one['wall_s']:>9,.0f} a second, "
            f"{one['records'] / one['cpu_s']:>9,.0f} a processor second, "
            f"peak {one['peak_mb']:.0f} MB ({one['bare_mb']:.0f} before)"
        )
    print(f"the smallest held as a whole: peak {held['peak_mb']:.0f} MB, {held['cpu_s']} processor seconds")
    print(f"{'the same' if same else 'OTHER'} flags, loss and squares by either road")
    if len(found) > 1:
        print(f"growth exponent {told['exponent']}")


if __name__ == "__main__":
    main()

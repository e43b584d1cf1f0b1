"""Does the cleaning find what is wrong with a log: a delay, overlap, width drops, jumps of position?

Each invented field is cut in passes up and down, with turns; yield varies over tens of metres. Errors of four kinds are
planted one kind at a time and all together, and what the cleaning flags is held against what was planted.

    python bench/fieldlog_planted.py --fields 40
    python bench/fieldlog_planted.py --fields 2 --json
"""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from chaffinch.fieldlog.cleaning.clean import Flag, clean
from chaffinch.fieldlog.derive import completed
from chaffinch.fieldlog.rows import Part, Rows

M_PER_DEG = 111_195.08  # of latitude, on a sphere of 6,371,008.8 m
WIDTH_M, LENGTH_M, PASSES = 9.1, 350.0, 24
SLACK = 3  # records beside a planted error that may be flagged or not: nobody can say which of them it begins at


@dataclass
class World:
    """Records of one field; masks of what was planted, by kind; the delay [s]; grain really cut [kg/s]; its pass."""

    rows: Rows
    planted: dict[str, np.ndarray]
    delay_s: float
    fed_kg_s: np.ndarray
    number: np.ndarray


def crop_at(rng: np.random.Generator):
    """A yield [t/ha] that varies over 40 to 250 m, with a spread of about 18 %."""
    waves = 2 * np.pi / rng.uniform(40, 250, 24)
    turn, phase = rng.uniform(0, 2 * np.pi, 24), rng.uniform(0, 2 * np.pi, 24)
    size = 0.18 * np.sqrt(2 / 24)

    def at(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        along = np.outer(x, waves * np.cos(turn)) + np.outer(y, waves * np.sin(turn)) + phase
        return 5.0 * np.exp(size * np.cos(along).sum(axis=1))

    return at


def driven(
    rng: np.random.Generator, offsets: np.ndarray, interval_s: float, paces: np.ndarray
) -> tuple[np.ndarray, ...]:
    """Way of the machine: x, y, whether it cuts, speed [m/s], pass; ``paces`` are factors of the speed, per pass."""
    usual = rng.uniform(1.5, 2.0)
    xs, ys, cutting, number, speeds = [], [], [], [], []
    for p, offset in enumerate(offsets):
        speed = usual * paces[p]
        y = np.arange(0.0, LENGTH_M, speed * interval_s)
        y = y if p % 2 == 0 else LENGTH_M - y
        xs.append(np.full(y.size, offset))
        ys.append(y)
        cutting.append(np.ones(y.size, bool))
        number.append(np.full(y.size, p))
        if p + 1 < offsets.size:
            reach = (offsets[p + 1] - offset) / 2
            steps = max(6, int(np.pi * abs(reach) / (speed * interval_s)))
            angle = np.linspace(0, np.pi, steps + 2)[1:-1]
            out = (5.0 + 4.0 * np.sin(angle)) * (1 if p % 2 == 0 else -1)
            xs.append(offset + reach * (1 - np.cos(angle)))
            ys.append((LENGTH_M if p % 2 == 0 else 0.0) + out)
            cutting.append(np.zeros(steps, bool))
            number.append(np.full(steps, -1))
        speeds.append(np.full(sum(map(len, xs)) - sum(map(len, speeds)), speed))
    x, y, cut, no, speed = (np.concatenate(v) for v in (xs, ys, cutting, number, speeds))
    return x, y, cut, speed * np.exp(rng.normal(0, 0.02, x.size)), no


def world(seed: int, kinds: frozenset[str], interval_s: float = 1.0, paces: np.ndarray | None = None) -> World:
    """One field with errors of some kinds."""
    rng = np.random.default_rng(seed)
    offsets = np.arange(PASSES) * WIDTH_M
    again = np.zeros(PASSES, bool)
    if "overlap" in kinds:
        # Strips left over: a pass of which only a part is still to cut.
        again = rng.random(PASSES) < 0.15
        again[0] = False
        steps = np.where(again, rng.uniform(0.1, 0.3, PASSES), 1.0) * WIDTH_M
        offsets = np.concatenate([[0.0], np.cumsum(steps[1:])])
    x, y, cut, speed, number = driven(rng, offsets, interval_s, np.ones(PASSES) if paces is None else paces)
    n = x.size
    width = np.full(n, WIDTH_M)
    share = np.where(cut, 1.0, 0.0)
    planted = {k: np.zeros(n, bool) for k in ("overlap", "width", "jump")}
    fresh = np.concatenate([[1.0], np.minimum(np.diff(offsets) / WIDTH_M, 1.0)])
    planted["overlap"] = cut & again[np.maximum(number, 0)]
    share = np.where(cut, fresh[np.maximum(number, 0)], 0.0)
    if "width" in kinds:
        for begin in rng.choice(n - 60, 12, replace=False):
            part = slice(begin, begin + int(rng.integers(10, 50)))
            width[part] = WIDTH_M * rng.uniform(0.4, 0.8)
            planted["width"][part] = cut[part]
        share = np.where(planted["width"], share * width / WIDTH_M, share)
    delay = float(rng.uniform(4, 15)) if "delay" in kinds else 0.0
    crop = crop_at(rng)(x, y)
    fed = crop * share * WIDTH_M * speed / 10.0  # kg/s into the header
    clock = np.arange(n) * interval_s
    fine = np.arange(0, clock[-1], 0.25)
    kernel = np.exp(-np.arange(0, 12, 0.25) / 1.0)  # filled and emptied within some seconds
    smeared = np.convolve(np.interp(fine, clock, fed), kernel / kernel.sum())[: fine.size]
    middle = float((np.arange(0, 12, 0.25) * kernel).sum() / kernel.sum())
    flow = np.interp(clock - max(delay - middle, 0.0), fine, smeared) * np.exp(rng.normal(0, 0.06, n))
    sx, sy = x + rng.normal(0, 0.1, n), y + rng.normal(0, 0.1, n)
    if "jump" in kinds:
        for begin in rng.choice(n - 20, 15, replace=False):
            part = slice(begin, begin + int(rng.integers(1, 6)))
            away, far = rng.uniform(0, 2 * np.pi), rng.uniform(15, 60)
            sx[part] += far * np.cos(away)
            sy[part] += far * np.sin(away)
            planted["jump"][part] = True
    columns = {
        "time_s": clock,
        "lon_deg": -104.6 + sx / M_PER_DEG / np.cos(np.radians(50.4)),
        "lat_deg": 50.4 + sy / M_PER_DEG,
        "speed_kmh": speed * 3.6,
        "width_m": width,
        "flow_kg_s": flow,
        "moisture_pct": 13.0 + rng.normal(0, 0.3, n),
    }
    rows = Rows(columns, np.zeros(n, np.int64), (Part(f"world {seed}", "North quarter", "Larkhollow 1", "elapsed"),))
    return World(completed(rows), planted, delay if delay else middle, fed, number)


def near(mask: np.ndarray) -> np.ndarray:
    """The mask and a few records around."""
    return np.convolve(mask, np.ones(2 * SLACK + 1), "same") > 0


def scores(planted: np.ndarray, flagged: np.ndarray) -> tuple[int, int, int, int]:
    """Planted ones found, planted ones, flagged ones that were planted, flagged ones."""
    inner = np.convolve(planted, np.ones(2 * SLACK + 1), "same") >= 2 * SLACK + 1
    inner = inner if inner.any() else planted
    return int((inner & flagged).sum()), int(inner.sum()), int((flagged & near(planted)).sum()), int(flagged.sum())


def run(fields: int, kinds: frozenset[str], seed: int) -> dict[str, object]:
    """Clean some fields with errors of some kinds; what was found of each."""
    bit = {"overlap": Flag.OVERLAP, "width": Flag.WIDTH, "jump": Flag.POSITION}
    total = {kind: np.zeros(4, int) for kind in bit if kind in kinds}
    off, inside, share = [], 0, []
    for k in range(fields):
        one = world(seed + k, kinds)
        found = clean(one.rows)
        share.append(found.share_flagged)
        for kind in total:
            flagged = (found.flags & bit[kind]) != 0
            planted = one.planted[kind]
            if kind == "jump":
                total[kind] += [(planted & flagged).sum(), planted.sum(), (planted & flagged).sum(), flagged.sum()]
            else:
                total[kind] += scores(planted, flagged)
        lag = found.lags["Larkhollow 1"]
        if "delay" in kinds:
            off.append(lag.seconds - one.delay_s if lag.found else np.nan)
    result: dict[str, object] = {
        kind: {"recall": round(int(a) / max(int(b), 1), 4), "precision": round(int(c) / max(int(d), 1), 4)}
        for kind, (a, b, c, d) in total.items()
    }
    if "delay" in kinds:
        known = np.array(off)
        inside = int((np.abs(known) <= 1.0).sum())
        result["delay"] = {
            "found": int((~np.isnan(known)).sum()),
            "within_1_s": inside,
            "median_off_s": round(float(np.nanmedian(np.abs(known))), 3) if (~np.isnan(known)).any() else None,
        }
    result["share_flagged"] = round(float(np.mean(share)), 4)
    return result


def write_example(path: Path) -> None:
    """The example log of the pages: part of a field with everything planted, every two seconds."""
    rows = world(26, frozenset(("delay", "overlap", "width", "jump")), interval_s=2.0).rows
    get = rows.columns
    start = np.datetime64("2026-08-14T10:00:00")
    pound, foot, acre, mile = 0.45359237, 0.3048, 4046.8564224, 1.609344
    columns = {
        "Time": [str(start + np.timedelta64(int(t), "s")).replace("T", " ") for t in get["time_s"]],
        "Longitude": [f"{v:.7f}" for v in get["lon_deg"]],
        "Latitude": [f"{v:.7f}" for v in get["lat_deg"]],
        "Speed (mph)": [f"{v / mile:.3f}" for v in get["speed_kmh"]],
        "Swath width (ft)": [f"{v / foot:.2f}" for v in get["width_m"]],
        "Flow": [f"{v / pound:.4f}" for v in get["flow_kg_s"]],
        "Yield": [f"{v * 1000 / pound * acre / 10_000:.1f}" for v in get["yield_t_ha"]],
        "Moisture (%)": [f"{v:.1f}" for v in get["moisture_pct"]],
    }
    lines = [",".join(columns), *(",".join(row) for row in zip(*columns.values(), strict=True))]
    path.write_text("\n".join(lines[:1202]) + "\n", encoding="utf-8")


def main() -> None:
    """Print what was found of what was planted."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--fields", type=int, default=40)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--example", type=Path, help="write the example log of the pages instead")
    given = parser.parse_args()
    if given.example is not None:
        write_example(given.example)
        return
    everything = frozenset(("delay", "overlap", "width", "jump"))
    cases = {"nothing": frozenset(), **{k: frozenset((k,)) for k in sorted(everything)}, "everything": everything}
    found = {name: run(given.fields, kinds, given.seed) for name, kinds in cases.items()}
    if given.json:
        json.dump(found, sys.stdout)
        return
    print(f"{given.fields} fields of {PASSES} passes, seed {given.seed}; recall and precision by record")
    for name, one in found.items():
        print(f"{name:12}" + "; ".join(f"{key} {value}" for key, value in one.items()))


if __name__ == "__main__":
    main()

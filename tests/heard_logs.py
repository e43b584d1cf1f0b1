"""Task data of an invented combine with loss sensors, beside the checks of ``season_book.with_speeds``.

Six stretches of 150 s, each at the speed of one check and ending as that was taken. The true machine loss is that of
the season's law; each sensor hears a part of its own of it.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent / "fieldlog"))

from made_timelogs import DAY_2026_08_14, FLOW, LOSS, SPEED, WIDTH, WORK, Record, folder

GRAMS_S, COUNTS_S = 0x60, 0x61
ELEMENTS = (("DET-1", 1), ("DET-2", 2, "Left sieve"), ("DET-3", 2, "Right sieve"), ("DET-4", 2, "Separator"))
LEFT, RIGHT, SEPARATOR, OWN = 0.04, 0.06, 3.0, 0.3
"""Grams a second for each kg/ha and (m/s · m) that the sieves hear, counts a second that the separator does, and the
share that the machine's own figure per area is of the truth."""
CUT_M = 12.0
STRETCH_S = 150
FIRST_H = 8
"""The first check is taken at this hour, UTC."""
CHECK_DAY = DAY_2026_08_14 - 4
"""2026-08-10, days since 1980-01-01."""
HEARD = {
    "loss_left_sieve_g_s": LEFT, "loss_right_sieve_g_s": RIGHT, "loss_separator_seeds_s": SEPARATOR,
    "loss_kg_ha": OWN,
}  # fmt: skip


def true_kg_ha(speed_kmh: float) -> float:
    """Machine loss of the season's law."""
    return 30.0 * (speed_kmh / 6.0) ** 1.5


def heard_folder(
    where: Path, speeds_kmh: tuple[float, ...] = (4.0, 5.0, 6.0, 7.0, 8.0, 9.0), *, offset_h: float = 0.0
) -> Path:
    """A folder of task data whose machine's clock runs ``offset_h`` ahead of UTC."""
    dlvs = [(WIDTH, "DET-1"), (FLOW, "DET-1"), (WORK, "DET-1"), (SPEED, "DET-1"), (LOSS, "DET-1"),
            (GRAMS_S, "DET-2"), (GRAMS_S, "DET-3"), (COUNTS_S, "DET-4")]  # fmt: skip
    rng = np.random.default_rng(1)
    records = []
    for stretch, speed in enumerate(speeds_kmh):
        m2_s = speed / 3.6 * CUT_M
        for second in range(STRETCH_S):
            # Up and down the field in turn, one width further each time.
            along = second if stretch % 2 == 0 else STRETCH_S - second
            north = 504_000_000 + round(along * speed / 3.6 / 0.0111195)
            east = -1_046_000_000 + round(stretch * CUT_M / 0.0111195 / np.cos(np.radians(50.4)))
            loss = true_kg_ha(speed) * float(np.exp(rng.normal(0, 0.1)))
            values = (
                CUT_M * 1000, 2.5e5 * m2_s, 1, speed / 0.0036, 100 * OWN * loss,
                1000 * LEFT * loss * m2_s, 1000 * RIGHT * loss * m2_s, 1000 * SEPARATOR * loss * m2_s,
            )  # fmt: skip
            clock = 1000 * (round((FIRST_H + stretch + offset_h) * 3600) - STRETCH_S + second)
            at = {"A": north, "B": east, "D": 2}
            records.append(Record(clock, [(k, round(v)) for k, v in enumerate(values)], CHECK_DAY, at))
    return folder(where, records, dlvs, elements=ELEMENTS)

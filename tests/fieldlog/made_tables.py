"""A field of an invented combine as a table, in whatever units and style a test wants."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

FOOT, POUND, ACRE, MILE = 0.3048, 0.45359237, 4046.8564224, 1.609344
METRE_DEG = 1 / 111_195.08  # metres of latitude on a sphere of 6,371,008.8 m


def driven(n: int = 400, seed: int = 1, lat0: float = 50.4, lon0: float = -104.6) -> dict[str, np.ndarray]:
    """Records of up and down passes of 100 s in our units, flow and yield holding together."""
    rng = np.random.default_rng(seed)
    speed = 6.0 + 0.8 * np.sin(np.arange(n) / 17) + rng.normal(0, 0.1, n)
    distance = speed / 3.6
    up = (np.arange(n) // 100) % 2 == 0
    north = np.cumsum(np.where(up, distance, -distance))
    east = 9.0 * (np.arange(n) // 100)
    width = np.full(n, 9.144)
    crop = 4.0 + np.sin(north / 40) + rng.normal(0, 0.1, n)
    return {
        "time": np.arange(n, dtype=float),
        "lon": lon0 + east * METRE_DEG / np.cos(np.radians(lat0)),
        "lat": lat0 + north * METRE_DEG,
        "speed": speed,
        "distance": distance,
        "interval": np.ones(n),
        "width": width,
        "flow": crop * distance * width / 10.0,
        "yield": crop,
        "moisture": 13.0 + rng.normal(0, 0.4, n),
    }


def text(
    columns: Mapping[str, np.ndarray | list[str]], parted_by: str = ",", decimals: str = ".", digits: int = 9
) -> bytes:
    """Columns as a text of columns."""
    lines = [parted_by.join(columns)]
    cells = []
    for values in columns.values():
        array = np.asarray(values)
        shown = array.astype(str) if array.dtype.kind in "US" else [f"{v:.{digits}g}" for v in array]
        cells.append([cell.replace(".", decimals) if array.dtype.kind == "f" else cell for cell in shown])
    lines += [parted_by.join(row) for row in zip(*cells, strict=True)]
    return ("\n".join(lines) + "\n").encode()

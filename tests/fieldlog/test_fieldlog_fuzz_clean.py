"""Any records at all through completing, cleaning and the loss: as many flags as records, and no warning either."""

from __future__ import annotations

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from chaffinch.fieldlog.cleaning.clean import clean
from chaffinch.fieldlog.derive import completed
from chaffinch.fieldlog.loss.moments import moments
from chaffinch.fieldlog.loss.parts import by_class, cells
from chaffinch.fieldlog.loss.whole_field import usage, whole_field
from chaffinch.fieldlog.rows import COLUMNS, Part, Rows, out_of_range

NAMES = [n for n in COLUMNS if not n.startswith(("loss_", "total_"))]


def curves(loads: np.ndarray, speeds: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    return np.stack([loads, 2 * loads]), np.stack([speeds, speeds])


@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    size=st.integers(0, 120),
    names=st.sets(st.sampled_from(NAMES), min_size=1),
    seed=st.integers(0, 2**32 - 1),
    holes=st.sampled_from([0.0, 0.1, 0.9, 1.0]),
    parts=st.integers(1, 4),
    steady=st.booleans(),
)
def test_any_records(size: int, names: set[str], seed: int, holes: float, parts: int, steady: bool) -> None:
    rng = np.random.default_rng(seed)
    columns = {}
    for name in sorted(names):
        low, high = COLUMNS[name].low, COLUMNS[name].high
        values = rng.choice([low, high, 0.0, rng.uniform(low, high)], size) if rng.random() < 0.3 else (
            rng.uniform(low, min(high, low + 50), size))  # fmt: skip
        values = np.sort(values) if steady else values
        columns[name] = np.where(rng.random(size) < holes, np.nan, values)
    columns, _ = out_of_range(columns)
    part = np.sort(rng.integers(0, parts, size))
    kinds = tuple(
        Part(f"p{i}", f"f{i % 2}", f"m{i % 3}", ("utc", "machine", "elapsed", "none")[i % 4]) for i in range(parts)
    )
    cleaned = clean(completed(Rows(columns, part, kinds)))
    assert cleaned.flags.size == size
    assert sum(one.alone for one in cleaned.taken) == int((cleaned.flags != 0).sum())
    use = usage(cleaned)
    loss = whole_field(use, curves, tested=(5.0, 20.0), most_kg_ha=500.0)
    assert np.isfinite(loss.total_kg).all()
    assert loss.known_ha <= loss.cut_ha * (1 + 1e-9)
    by_class(use, loss, use.speed_kmh, 1.0)
    cells(cleaned, use, loss, 27.0)
    assert len(moments(cleaned, np.array([0.0, 1e9]))) == 2

"""Which published records are carried, and is a figure of ours the printed one?

The two files in ``tests/vectors`` hold what the sources print (``expected``) and what we worked out from the same
inputs (``recomputed``), each record with its tolerance and the reason for it. A test asks for its records with
:func:`runs` or :func:`runs_all`, which also notes them as run, so that none can be left out unseen.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

import pytest

VECTORS = Path(__file__).parents[1] / "vectors"
SHOWN = 0.002  # relative: our own recomputed figures are carried rounded ("about" of both files)
DUST = 1e-12  # binary floating point: 51.5 − 51.4 is not exactly 0.1
NOTHING: Mapping[str, str] = MappingProxyType({})


@dataclass(frozen=True)
class Record:
    """One record; ``kind`` is its kind (loss file) or topic (econ file), ``why`` the reason for the tolerance."""

    id: str
    file: str
    kind: str
    crop: str
    inputs: Mapping[str, Any]
    expected: Mapping[str, Any]
    recomputed: Mapping[str, Any]
    origin: str
    source_id: str
    source: str
    tolerance: float | Mapping[str, float] | None
    why: str
    misprint: frozenset[str]

    def allowed(self, name: str) -> float:
        """How far from the record a figure may be, in its own unit; 0 for a table carried as it stands."""
        given = self.tolerance[name] if isinstance(self.tolerance, Mapping) else self.tolerance
        return 0.0 if given is None else given

    def agree(
        self, ours: Mapping[str, Any], *, apart: Mapping[str, str] = NOTHING, misprinted: Collection[str] = ()
    ) -> None:
        """Hold every figure of the record to ours.

        ``ours`` has our figure under each name of the record, ``apart`` the names that nothing of ours computes with
        the reason. A figure marked as a misprint, in the record or in ``misprinted``, must be off by more than the
        tolerance; where we recomputed it, ours must still meet that.
        """
        names = set(self.expected) | set(self.recomputed)
        assert set(ours) | set(apart) == names, f"{self.id}: {names ^ (set(ours) | set(apart))} is left over"
        assert not set(ours) & set(apart)
        assert all(apart.values()), "what is set apart needs a reason"
        wrong = self.misprint | set(misprinted)
        assert wrong <= set(self.expected)
        assert wrong <= set(ours), f"{self.id}: a misprint has to be shown, not set apart"
        for name in ours:
            printed, worked_out = self.expected.get(name), self.recomputed.get(name)
            if printed is not None:
                gap = max(abs(a - b) for a, b in _pairs(ours[name], printed))
                said = f"{self.id}, {name}: ours {ours[name]}, printed {printed} by {self.source}"
                if name in wrong:
                    assert gap > self.allowed(name), f"{said}; said to be a misprint, but it agrees"
                else:
                    assert gap <= self.allowed(name) + DUST, f"{said}; allowed {self.allowed(name)}: {self.why}"
            if worked_out is not None:
                said = f"{self.id}, {name}: ours {ours[name]}, worked out {worked_out}"
                for a, b in _pairs(ours[name], worked_out):
                    exact = not self.expected
                    assert abs(a - b) <= (self.allowed(name) + DUST if exact else SHOWN * abs(b)), f"{said}; {self.why}"

    def without(self, name: str, *rows: str) -> Record:
        """Return the record without some rows of one of its tables."""
        table = self.expected[name]
        assert set(rows) <= set(table)
        kept = {row: value for row, value in table.items() if row not in rows}
        return replace(self, expected={**self.expected, name: kept})


def _pairs(ours: Any, theirs: Any) -> Iterator[tuple[float, float]]:
    if isinstance(theirs, Mapping):
        assert ours.keys() == theirs.keys()
        for key in theirs:
            yield from _pairs(ours[key], theirs[key])
    elif isinstance(theirs, list):
        for a, b in zip(ours, theirs, strict=True):
            yield from _pairs(a, b)
    else:
        yield float(ours), float(theirs)


def _load() -> Iterator[Record]:
    for file in ("published_loss.json", "published_econ.json"):
        whole = json.loads((VECTORS / file).read_text(encoding="utf-8"))
        for row in whole["records"]:
            source = whole["sources"][row["source"]["id"]]
            yield Record(
                id=row["id"],
                file=file,
                kind=row.get("kind") or row["topic"],
                crop=row.get("crop", ""),
                inputs=row["inputs"],
                expected=row["expected"],
                recomputed=row["recomputed"],
                origin=row["origin"],
                source_id=row["source"]["id"],
                source=f"{source['title']} ({source['org'] or 'own'}, {source['year'] or 'no year'})",
                tolerance=row["tolerance"],
                why=row["tolerance_why"],
                misprint=frozenset(row.get("misprint", ())),
            )


RECORDS: Mapping[str, Record] = {record.id: record for record in _load()}
RUN: set[str] = set()


def runs(*ids: str) -> pytest.MarkDecorator:
    """Parametrise a test with these records, each under its own name, and note them as run."""
    RUN.update(RECORDS[one].id for one in ids)
    return pytest.mark.parametrize("record", [pytest.param(RECORDS[one], id=one) for one in ids])


def runs_all(prefix: str) -> pytest.MarkDecorator:
    """Do the same with every record whose name begins so."""
    found = [one for one in RECORDS if one.startswith(prefix)]
    assert found, f"no record begins with {prefix!r}"
    return runs(*found)

"""How does a cleaned piece of a log lie on disk, and how is a log of such pieces walked through?"""

from __future__ import annotations

import weakref
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from chaffinch.fieldlog.cleaning.clean import Cleaned, Flag, Taken
from chaffinch.fieldlog.cleaning.lag import Lag
from chaffinch.fieldlog.rows import Part, Rows
from chaffinch.fieldlog.settings import Settings
from chaffinch.fieldlog.work_folder import drop_work_folder

_BESIDE: Final = ("flags", "flow_kg_s", "yield_t_ha", "overlap_share", "pass_no")


def put(folder: Path, **arrays: Any) -> None:
    """Write arrays into a folder, each a file of its own; one that is there stays whole for who still reads it."""
    for name, values in arrays.items():
        fresh = folder / f"{name}.fresh"
        with fresh.open("wb") as file:
            np.save(file, values)
        fresh.replace(folder / f"{name}.npy")


def get(folder: Path, name: str) -> Any:
    """One array of a folder; read as it is used."""
    return np.asarray(np.load(folder / f"{name}.npy", mmap_mode="r"))


def put_rows(folder: Path, rows: Rows) -> None:
    """Write the columns of a piece."""
    put(folder, part=rows.part, **{f"column.{name}": values for name, values in rows.columns.items()})


def get_rows(folder: Path, parts: tuple[Part, ...], derived: Mapping[str, str]) -> Rows:
    """The columns of a piece."""
    names = [path.name.removeprefix("column.").removesuffix(".npy") for path in sorted(folder.glob("column.*.npy"))]
    return Rows({name: get(folder, f"column.{name}") for name in names}, get(folder, "part"), parts, derived)


def put_cleaned(folder: Path, cleaned: Cleaned) -> None:
    """Write what cleaning a piece came to."""
    put_rows(folder, cleaned.rows)
    put(folder, **{name: getattr(cleaned, name) for name in _BESIDE})


@dataclass(frozen=True)
class CleanedOnDisk:
    """A log whose cleaned records lie on disk, as :class:`chaffinch.fieldlog.on_disk.pieces.CleanedLog`.

    Its folder goes when nothing refers to it any more.

    Parameters
    ----------
    folder : Path
    names : sequence of str
        Folders of the pieces, in their order.
    parts : tuple of Part
        Those that hold records.
    derived : mapping of str to str
    settings, lags, taken
        As of :class:`chaffinch.fieldlog.cleaning.clean.Cleaned`.
    records, counting : int
    """

    folder: Path
    names: Sequence[str]
    parts: tuple[Part, ...]
    derived: Mapping[str, str]
    settings: Settings
    lags: Mapping[str, Lag]
    taken: tuple[Taken, ...]
    records: int
    counting: int

    def __post_init__(self) -> None:
        weakref.finalize(self, drop_work_folder, self.folder)

    @property
    def share_flagged(self) -> float:
        """Share of all records with a flag [0-1]."""
        return 1.0 - self.counting / self.records if self.records else 0.0

    def too_much(self) -> tuple[Flag, ...]:
        """Filters that flagged more than ``warn_share`` of all records."""
        most = self.settings.warn_share * max(self.records, 1)
        return tuple(one.flag for one in self.taken if one.count > most)

    def pieces(self) -> Iterator[Cleaned]:
        """The records field by field, piece by piece."""
        for name in self.names:
            place = self.folder / name
            rows = get_rows(place, self.parts, self.derived)
            flags, flow, crop, overlap, pass_no = (get(place, one) for one in _BESIDE)
            yield Cleaned(rows, flags, flow, crop, overlap, pass_no, self.lags, (), self.settings)

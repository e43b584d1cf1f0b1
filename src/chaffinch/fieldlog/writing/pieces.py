"""How are the records of a log larger than memory handed on? Piece by piece, as comma text or GeoParquet."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final

from chaffinch.errors import InputError
from chaffinch.fieldlog.cleaning.clean import Cleaned
from chaffinch.fieldlog.on_disk.pieces import CleanedLog
from chaffinch.fieldlog.work_folder import whole_file
from chaffinch.fieldlog.writing.records import as_table, geo_metadata, write_log

ENDINGS: Final = (".parquet", ".csv")


def refuse_early(path: Path, *, replace: bool) -> None:
    """Refuse a file that cannot be written piece by piece, before anything is worked out.

    Raises
    ------
    InputError
        For another ending, and for one that is there already.
    """
    if path.suffix.lower() not in ENDINGS:
        problem = "has an ending that a log of this size cannot be written to"
        raise InputError("output", path.name, problem, f"use {' or '.join(ENDINGS)}")
    if path.exists() and not replace:
        raise InputError("output", path.name, "is there already", "give another name, or --replace it")


def write_pieces(path: Path, log: CleanedLog, beside: Callable[[Cleaned], Mapping[str, Any]], *, replace: bool) -> None:
    """Write the records field by field; the file is there only when it is whole.

    Parameters
    ----------
    path : Path
    log : CleanedLog
    beside : callable
        More columns of a piece, such as flags and reasons.
    replace : bool
        Whether a file that is there may be written over.

    Raises
    ------
    InputError
        As :func:`refuse_early`, and where it cannot be written.
    """
    refuse_early(path, replace=replace)
    with whole_file(path) as fresh:
        (_as_text if path.suffix.lower() == ".csv" else _as_parquet)(fresh, log, beside)


def _as_text(path: Path, log: CleanedLog, beside: Callable[[Cleaned], Mapping[str, Any]]) -> None:
    with path.open("wb") as file:
        for number, piece in enumerate(log.pieces()):
            as_table(piece.rows, beside(piece)).write_csv(file, include_header=number == 0)


def _as_parquet(path: Path, log: CleanedLog, beside: Callable[[Cleaned], Mapping[str, Any]]) -> None:
    import polars as pl

    parts = []
    for number, piece in enumerate(log.pieces()):
        parts.append(path.parent / f"{number:05d}.parquet")
        write_log(parts[-1], piece.rows, beside=beside(piece))
    located = "geometry" in pl.scan_parquet(parts[0]).collect_schema()
    pl.scan_parquet(parts).sink_parquet(path, metadata=geo_metadata() if located else None)

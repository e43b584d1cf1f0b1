"""Task data of our own: writes what the reader reads, from plain lists, with whatever fault a test wants.

Written from the published layout and without the reader, so that both can be held against each other.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

DAY_2026_08_14 = 17_027  # days since 1980-01-01
POSITION = {"A": "<i", "B": "<i", "C": "<i", "D": "B", "E": "<H", "F": "<H", "G": "B", "H": "<I", "I": "<H"}
WIDTH, YIELD, FLOW, TOTAL, MOISTURE, WORK, SPEED, LOSS = 0x43, 0x54, 0x57, 0x5A, 0x63, 0x8D, 0x18D, 0x5D


@dataclass
class Record:
    """One record: ms of day, day, position fields by letter, and (index, value) pairs as written."""

    ms: int
    values: Sequence[tuple[int, int]] = ()
    day: int = DAY_2026_08_14
    position: dict[str, int] = field(default_factory=dict)

    def packed(self, letters: str) -> bytes:
        head = struct.pack("<IH", self.ms, self.day)
        head += b"".join(struct.pack(POSITION[k], self.position.get(k, 0)) for k in letters)
        values = b"".join(struct.pack("<Bi", i, v) for i, v in self.values)
        return head + bytes([len(self.values)]) + values


def tlg_xml(dlvs: Sequence[tuple[int, str]], letters: str = "ABD", constant: dict[str, str] | None = None) -> str:
    fixed = "".join(f' {k}="{v}"' for k, v in (constant or {}).items())
    position = "".join(f' {k}=""' for k in letters)
    lines = "".join(f'<DLV A="{ddi:04X}" B="" C="{det}"/>' for ddi, det in dlvs)
    return f'<?xml version="1.0"?><TIM A="" D="4"><PTN{position}{fixed}/>{lines}</TIM>'


def tlg_bin(records: Sequence[Record], letters: str = "ABD") -> bytes:
    return b"".join(record.packed(letters) for record in records)


def taskdata_xml(
    logs: Sequence[str] = ("TLG00001",),
    version: int = 4,
    elements: Sequence[tuple[str, int] | tuple[str, int, str]] = (("DET-1", 1),),
    quantities: str = "",
    inside: str = "",
    totals: str = "",
) -> str:
    called = [f' D="{element[2]}"' if len(element) > 2 else "" for element in elements]
    dets = "".join(
        f'<DET A="{element[0]}" B="{i}" C="{element[1]}"{called[i]} E="{i}" F="0"/>'
        for i, element in enumerate(elements)
    )
    named = "".join(f'<TLG A="{log}" C="1"/>' for log in logs)
    return (
        f'<?xml version="1.0" encoding="UTF-8"?><ISO11783_TaskData VersionMajor="{version}" VersionMinor="0" '
        f'DataTransferOrigin="2"><PFD A="PFD1" C="North quarter" D="100"/>'
        f'<DVC A="DVC-1" B="Larkhollow 1" D="A00086000DF95589">{dets}{quantities}</DVC>'
        f'{inside}<TSK A="TSK1" B="t" E="PFD1" G="4">{totals}{named}<DAN A="00" C="DVC-1"/></TSK></ISO11783_TaskData>'
    )


def folder(
    where: Path,
    records: Sequence[Record],
    dlvs: Sequence[tuple[int, str]],
    letters: str = "ABD",
    name: str = "TLG00001",
    **task: object,
) -> Path:
    """A folder with task data and one log."""
    where.mkdir(parents=True, exist_ok=True)
    (where / "TASKDATA.XML").write_text(taskdata_xml((name,), **task), encoding="utf-8")  # type: ignore[arg-type]
    (where / f"{name}.XML").write_text(tlg_xml(dlvs, letters), encoding="utf-8")
    (where / f"{name}.BIN").write_bytes(tlg_bin(records, letters))
    return where


def straight(count: int, step_ms: int = 1000, values: Sequence[tuple[int, int]] = ()) -> list[Record]:
    """Records on a line north at about 5.6 km/h, a degree of latitude being 111,195 m."""
    return [
        Record(36_000_000 + i * step_ms, values, position={"A": 500_000_000 + 140 * i, "B": -1_000_000_000, "D": 2})
        for i in range(count)
    ]

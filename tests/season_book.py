"""A small book of one invented harvest for the tests of pace, trial, monitor and ledger: a known law behind it.

Machine loss of the true world: 30 kg/ha at 6 km/h, rising with the power ``slope`` of speed; header loss 25 kg/ha,
changing with ``header_slope``. Readings follow the law with a scatter written out below, so that nothing is drawn.
"""

from __future__ import annotations

import itertools
import uuid
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from chaffinch.book.checks.entering import log_check
from chaffinch.book.desk import Desk, start_book
from chaffinch.book.things import add_thing
from chaffinch.records.checkfile import check_from_table

CUT_M, DROP_M, PAN_M2 = 12.0, 1.8, 0.4
SCATTER = (1.0, 0.86, 1.12, 1.04, 0.93, 1.18, 0.9, 1.07)
"""Factors on what the pans hold, used in turn: an sd of 0.1 in the log."""


@dataclass
class SeasonBook:
    """The open book, and the ids of what is in it."""

    desk: Desk
    ids: dict[str, str] = field(default_factory=dict)
    scatter: Any = None

    def add(self, kind: str, name: str, **parts: Any) -> str:
        self.ids[name] = add_thing(self.desk, kind, {"name": name, **parts}).id
        return self.ids[name]

    def check(
        self,
        combine: str,
        day: int,
        hour: int,
        *,
        speed_kmh: float | None = 6.0,
        machine_kg_ha: float = 30.0,
        header_kg_ha: float | None = None,
        field: str = "Long Hollow",
        operator: str = "Ann",
        crop: str = "canola",
        where: dict[str, str] | None = None,
        settings: list[dict[str, Any]] | None = None,
        pans: int = 3,
        tell_yield: bool = True,
        windrower_m: float | None = None,
        more_catches: list[dict[str, Any]] | None = None,
    ) -> str:
        """Log a stop of some pans (and a header strip), and return its id."""
        grams = 0.1 * machine_kg_ha * PAN_M2 * CUT_M / DROP_M
        catches: list[dict[str, Any]] = [
            {
                "place": "discharge",
                "pan": f"{PAN_M2} m2",
                "amount": f"{grams * next(self.scatter):.1f} g",
                "step": "0.1 g",
            }
            for _ in range(pans)
        ]
        if header_kg_ha is not None:
            catches += [
                {"place": "standing", "pan": "1 m2", "amount": "0.1 g", "step": "0.1 g"},
                *(
                    {
                        "place": "header strip",
                        "pan": "1 m2",
                        "amount": f"{0.1 + 0.1 * header_kg_ha * next(self.scatter):.1f} g",
                        "step": "0.1 g",
                    }
                    for _ in range(2)
                ),
            ]
        catches += more_catches or []
        table: dict[str, Any] = {
            "crop": crop,
            "country": "CA",
            "price": "600 /t",
            "combine": {"cut_width": f"{CUT_M} m", "drop_width": f"{DROP_M} m", "widths_taped": True},
            "catch": catches,
        }
        if tell_yield:
            table["yield"] = "2.5 t/ha"
        if windrower_m is not None:
            table |= {"windrowed": True, "windrower_width": f"{windrower_m} m"}
        if speed_kmh is not None:
            table["speed"] = f"{speed_kmh} km/h"
        receipt = log_check(
            self.desk,
            check_from_table(table),
            taken_at=f"2026-08-{day:02d}T{hour:02d}:00:00Z",
            where={
                "season": self.ids["2026"],
                "field": self.ids[field],
                "combine": self.ids[combine],
                "operator": self.ids[operator],
                **(where or {}),
            },
            settings=settings,
        )
        return receipt.id

    def bar(self, combine: str, check: str, day: int, hour: int, reading: float, per: str = "area") -> None:
        """Note what the monitor showed at a check."""
        self.desk.write(
            "monitor",
            {
                "taken_at": f"2026-08-{day:02d}T{hour:02d}:00:00Z",
                "combine": self.ids[combine],
                "reading": reading,
                "per": per,
                "check": check,
            },
        )


def start(path: Path, *, report_in: str = "kg/ha") -> SeasonBook:
    """A book with the farm, two combines, two drivers and two fields, and no check yet."""
    number = itertools.count(1)
    desk = start_book(str(path), title="Larkhollow", device="office", now=lambda: "2026-09-01T12:00:00Z")
    desk = Desk(desk.store, desk.device, desk.now, lambda: str(uuid.UUID(int=next(number) * 2**96 + 1, version=4)))
    book = SeasonBook(desk, scatter=itertools.cycle(SCATTER))
    book.add("farm", "Larkhollow", country="CA", currency="$", report_in=report_in)
    book.add("season", "2026")
    for who in ("Ann", "Tomas"):
        book.add("operator", who)
    for machine in ("Old Bess", "Young Bess"):
        book.add("combine", machine, cut_width=f"{CUT_M} m", drop_width=f"{DROP_M} m", widths_taped=True)
    for name, area in (("Long Hollow", "62 ha"), ("Far Common", "40 ha")):
        book.add(
            "field", name, season=book.ids["2026"], crop="canola", area=area, price="600 /t", yield_expected="2.5 t/ha"
        )
    return book


def with_speeds(
    book: SeasonBook,
    combine: str = "Old Bess",
    *,
    slope: float = 1.5,
    header_slope: float | None = None,
    speeds: tuple[float, ...] = (4.0, 5.0, 6.0, 7.0, 8.0, 9.0),
    repeats: int = 2,
    **more: Any,
) -> list[str]:
    """Checks at several speeds under the true law."""
    found = []
    for turn in range(repeats):
        for place, speed in enumerate(speeds):
            header = None if header_slope is None else 25.0 * (speed / 6.0) ** header_slope
            found.append(
                book.check(
                    combine,
                    10 + turn,
                    8 + place,
                    speed_kmh=speed,
                    machine_kg_ha=30.0 * (speed / 6.0) ** slope,
                    header_kg_ha=header,
                    **more,
                )
            )
    return found

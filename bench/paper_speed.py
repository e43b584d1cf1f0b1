"""How long does paper take? A cab card, a field's report, a season of 60 fields, and how time grows by page.

    .venv/bin/python bench/paper_speed.py

Working the figures out and setting the pages are timed apart: the first belongs to the engine, the second to the
typesetter. Ratios are to the cab card; seconds are of processor time. The typesetter remembers what it has set
before, so every page that is timed differs from those before it in each of its texts.
"""

from __future__ import annotations

import argparse
import itertools
import math
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from chaffinch.book.checks.entering import log_check
from chaffinch.book.desk import Desk, start_book
from chaffinch.book.planning.card import card
from chaffinch.book.planning.machine_cards import machine_cards
from chaffinch.book.things import add_thing, find_thing
from chaffinch.paper.blocks import Report
from chaffinch.paper.cab_card import cab_card, print_cards
from chaffinch.paper.field_report import field_report
from chaffinch.paper.season_report import season_report
from chaffinch.paper.wanted import Wanted, made, printed
from chaffinch.records.checkfile import check_from_table

CROPS = ("canola", "wheat", "barley")
PRICES = {"canola": "640 /t", "wheat": "290 /t", "barley": "240 /t"}
GRAMS = (22.0, 31.0, 18.0, 40.0, 27.0, 24.0, 35.0)
"""What pans of 0.4 m² held, in turn [g]; made up."""
DAY = "2026-09-30"


def season_book(folder: Path, fields: int, checks: int) -> Desk:
    """A book with one season of that many fields, each with that many checks of three pans."""
    numbers, stamps = itertools.count(1), itertools.count(0)
    desk = start_book(str(folder / f"season-{fields}.chaffinch"), title="Larkhollow")
    desk = Desk(
        desk.store, "bench", lambda: stamp(next(stamps)), lambda: f"{next(numbers):08x}-0000-4000-8000-{0:012x}"
    )
    add_thing(desk, "farm", {"name": "Larkhollow", "country": "CA", "currency": "$", "report_in": "kg/ha"})
    season = add_thing(desk, "season", {"name": "2026"}).id
    combine = add_thing(desk, "combine", {"name": "Old Bess", "cut_width": "12 m", "drop_width": "1.8 m"}).id
    add_thing(desk, "pan", {"name": "tray", "area": "0.4 m2"})
    grams = itertools.cycle(GRAMS)
    for number in range(fields):
        crop = CROPS[number % len(CROPS)]
        field = add_thing(
            desk, "field",
            {"name": f"Field {number + 1}", "season": season, "crop": crop, "area": f"{20 + 7 * (number % 9)} ha",
             "price": PRICES[crop], "limit": "60 kg/ha", "yield_expected": "2.6 t/ha"},
        ).id  # fmt: skip
        for stop in range(checks):
            check = check_from_table(
                {
                    "crop": crop,
                    "country": "CA",
                    "yield": "2.6 t/ha",
                    "speed": f"{5 + stop % 3} km/h",
                    "spreading": False,
                    "combine": {"name": "Old Bess", "cut_width": "12 m", "drop_width": "1.8 m"},
                    "catch": [
                        {"place": "discharge", "pan": "0.4 m2", "amount": f"{next(grams):.1f} g", "step": "0.1 g"}
                        for _ in range(3)
                    ],
                }
            )
            where = {"season": season, "field": field, "combine": combine}
            log_check(desk, check, taken_at=stamp(3600 * (100 * number + stop)), where=where)
    return desk


def stamp(seconds: int) -> str:
    """A moment of an invented summer."""
    return time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(1_785_000_000 + seconds))


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    """Seconds of processor time, and what came out."""
    begun = time.process_time()
    found = work()
    return time.process_time() - begun, found


def main(arguments: list[str] | None = None) -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--fields", type=int, default=60)
    parser.add_argument("--checks", type=int, default=3, help="checks in each field")
    parser.add_argument("--times", type=int, default=5, help="a card and a report are set so many times")
    given = parser.parse_args(arguments)
    wanted = Wanted(date=DAY)
    with tempfile.TemporaryDirectory() as name:
        desk = season_book(Path(name), given.fields, given.checks)
        rows = []
        one = machine_cards(desk, field=find_thing(desk, "field", "Field 1"))[0]
        a_card = cab_card(card(one.check), size="a5", date=DAY)
        first, _ = timed(lambda: print_cards([a_card]))
        spent, done = timed(lambda: [print_cards([fresh(a_card, n)]) for n in range(given.times)])
        each = spent / given.times
        rows.append(("cab card, the first", 0.0, first, 1, len(done[0].pdf)))
        rows.append(("cab card", 0.0, each, 1, len(done[0].pdf)))
        worked, report = timed(lambda: field_report(desk, find_thing(desk, "field", "Field 1"), wanted))
        spent, done = timed(lambda: [made(anew(report, n))[1] for n in range(given.times)])
        rows.append(("field report", worked, spent / given.times, done[0].pages, len(done[0].pdf)))
        worked, report = timed(lambda: season_report(desk, find_thing(desk, "season", "2026"), wanted))
        spent, set_pages = timed(lambda: made(anew(report, 0))[1])
        rows.append((f"season of {given.fields} fields", worked, spent, set_pages.pages, len(set_pages.pdf)))
        show(rows, each)
        growth(report)
        desk.store.close()
    return 0


_KEPT = ("is", "svg", "alt", "size", "date", "cols", "shrinks", "shape")
"""Parts of a page that are no text to be read."""


def fresh(value: Any, number: int) -> Any:
    """The same page with a mark after each of its texts, so that nothing of it has been set before."""
    if isinstance(value, str):
        return f"{value} {number}" if value else value
    if isinstance(value, dict):
        return {key: inner if key in _KEPT else fresh(inner, number) for key, inner in value.items()}
    return [fresh(one, number) for one in value] if isinstance(value, list) else value


def anew(report: Report, number: int) -> Report:
    """A report that has not been set before."""
    return replace(report, blocks=[fresh(one, number) for one in report.blocks])


def show(rows: list[tuple[str, float, float, int, int]], each: float) -> None:
    """A table of one line each."""
    print(f"{'':<24}{'worked out, s':>14}{'set, s':>9}{'set, cards':>12}{'pages':>7}{'KB a page':>11}")
    for name, worked, spent, pages, size in rows:
        print(f"{name:<24}{worked:>14.2f}{spent:>9.3f}{spent / each:>12.1f}{pages:>7}{size / 1000 / pages:>11.1f}")


def growth(report: Report) -> None:
    """How the time to set grows when the same report is repeated: the exponent of pages."""
    print("\npages    set, s    s a page")
    found = []
    for times in (1, 2, 4):
        blocks = [fresh(one, 100 * times + n) for n in range(times) for one in report.blocks]
        longer = replace(report, blocks=blocks)
        spent, done = timed(lambda longer=longer: printed(longer))
        found.append((done.pages, spent))
        print(f"{done.pages:>5}{spent:>10.3f}{spent / done.pages:>12.4f}")
    (p0, t0), (p1, t1) = found[0], found[-1]
    exponent = math.log(t1 / t0) / math.log(p1 / p0) if p1 > p0 else float("nan")
    print(f"growth exponent from {p0} to {p1} pages: {exponent:.2f}")


if __name__ == "__main__":
    sys.exit(main())

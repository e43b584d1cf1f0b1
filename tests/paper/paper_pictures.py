"""Pictures of every kind of page, in both sizes, in full and short: for people to look at, not for a test.

    .venv/bin/python tests/paper/paper_pictures.py

They go into ``build/paper-pictures``, which git ignores; ``--keep`` also writes the two small ones of the page on paper
into ``docs/pictures``. The book is the invented one of ``examples/demo_book.py`` with its own seed.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from chaffinch import cli
from chaffinch.book.checks.held import checks_where, find_check
from chaffinch.book.desk import Desk, open_desk
from chaffinch.book.planning.card import card
from chaffinch.book.planning.machine_cards import machine_cards
from chaffinch.book.things import find_thing, things
from chaffinch.book.trials.trial import trials
from chaffinch.paper.cab_card import cab_card
from chaffinch.paper.check_report import check_file_report, check_report
from chaffinch.paper.check_sheet import sheet_data
from chaffinch.paper.field_report import field_report
from chaffinch.paper.season_report import season_report
from chaffinch.paper.trial_report import trial_report
from chaffinch.paper.typeset import Layout, pictures
from chaffinch.paper.wanted import Wanted, made
from chaffinch.records.checkfile import read_check_file

ROOT = Path(__file__).resolve().parents[2]
FOLDER = ROOT / "build" / "paper-pictures"
DOCS = ROOT / "docs" / "pictures"
DAY = "2026-09-30"
DEMO = Path(cli.__file__).parent / "demo_day"


def pages(desk: Desk) -> Iterator[tuple[str, Layout, dict[str, Any]]]:
    """Every kind of page by name, with the layout and data it is set from."""
    field = [t for t in things(desk, "field") if t.name == "Long Hollow"][-1]
    for size in ("a4", "letter"):
        yield f"sheet-{size}", "sheet", sheet_data(size=size, date=DAY, desk=desk, farm="Larkhollow")
        for short in (False, True):
            wanted = Wanted(date=DAY, size=size, short=short, hour_cost=450.0)
            told = {
                "check": check_report(desk, find_check(desk, checks_where(desk, limit=1)[0]), wanted),
                "field": field_report(desk, field, wanted),
                "trial": trial_report(desk, trials(desk)[0], wanted),
                "season": season_report(
                    desk, find_thing(desk, "season", "2026"), Wanted(date=DAY, size=size, short=short)
                ),
            }
            for name, report in told.items():
                yield f"{name}-{size}{'-short' if short else ''}", "report", made(report)[0].data()
    for size in ("a5", "half-letter"):
        one = machine_cards(desk, combine=find_thing(desk, "combine", "Old Bess"), field=field)[0]
        made_card = cab_card(
            card(one.check), size=size, date=DAY, pan=one.pan.name, address="https://larkhollow.local:8443",
            combine_id=one.combine.id,
        )  # fmt: skip
        yield f"card-{size}", "card", {"title": "card", "size": size, "date": DAY, "cards": [made_card]}


def keep() -> None:
    """The two pictures of the page on paper: from the demo's check files, which anybody has."""
    first, last = (
        read_check_file((DEMO / name).read_bytes(), name=name) for name in ("first-stop.toml", "third-stop.toml")
    )
    one = cab_card(card(first), size="a5", date=DAY, pan="tray", address="https://larkhollow.local:8443")
    data = {"title": "card", "size": "a5", "date": DAY, "cards": [one]}
    (DOCS / "paper-card.png").write_bytes(pictures("card", data, ppi=80)[0])
    report = check_file_report(last, Wanted(date=DAY)).data()
    (DOCS / "paper-check.png").write_bytes(pictures("report", report, ppi=110)[0])


def main() -> None:
    """Take the pictures."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--book", type=Path, help="another book than a new demo book")
    parser.add_argument("--keep", action="store_true", help="only write the two small ones into docs/pictures")
    parser.add_argument("--ppi", type=float, default=110.0)
    given = parser.parse_args()
    if given.keep:
        keep()
        return
    FOLDER.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as name:
        book = given.book or Path(name) / "larkhollow.chaffinch"
        if given.book is None:
            subprocess.run([sys.executable, str(ROOT / "examples" / "demo_book.py"), str(book)], check=True)
        count = 0
        for key, layout, data in pages(open_desk(str(book))):
            for number, png in enumerate(pictures(layout, data, ppi=given.ppi), start=1):
                (FOLDER / f"{key}-{number}.png").write_bytes(png)
                count += 1
    print(f"{count} pictures in {FOLDER.relative_to(ROOT)}")


if __name__ == "__main__":
    main()

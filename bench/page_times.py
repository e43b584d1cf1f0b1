"""How long does each page of the desk take, the first time and again, and how much of it is the book's own answer?

The pages are asked for in this process, on the demo book of two seasons, as an owner's browser would. "first" is with
nothing kept in memory, "again" with the book unchanged, "after a check" when one more check came in. Processor time, so
that other programs at work change little. The last column is the first time over that of the function of the book that
answers the same.

    python bench/page_times.py
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from starlette.testclient import TestClient

from chaffinch.book.checks import field_checks, points
from chaffinch.book.checks.entering import log_check
from chaffinch.book.checks.fields import answered, field_summary
from chaffinch.book.checks.held import checks_where, counting
from chaffinch.book.desk import Desk, open_desk
from chaffinch.book.monitors.key import monitor
from chaffinch.book.pace.curves import curves
from chaffinch.book.season.ledger import ledger
from chaffinch.book.things import Thing, things
from chaffinch.book.trials.trial import answer_trial, trials
from chaffinch.errors import InputError
from chaffinch.web.app import make_app
from chaffinch.web.pages import answers
from chaffinch.web.pages.answers import Longer
from chaffinch.web.settings import WebSettings

DEMO = Path(__file__).resolve().parent.parent / "examples" / "demo_book.py"


@dataclass
class Asked:
    """One page, the book's own answer behind it, and what was measured [s]."""

    name: str
    path: str
    bare: Callable[[], Any] | None
    seconds: dict[str, float] = field(default_factory=dict)


def forget() -> None:
    """As in a program that has just begun."""
    for kept in (field_checks.summed, field_checks.from_check, points._seen, answers.in_short, answers.whole):
        kept.cache_clear()


def taken(work: Callable[[], Any]) -> float:
    """Processor time of some work [s]."""
    began = time.process_time()
    work()
    return time.process_time() - began


def newest(desk: Desk, kind: str, *, most_checks: bool = False) -> Thing:
    """The last thing of a kind, or the one with most checks."""
    here = [one for one in things(desk, kind) if not one.retired]
    if not most_checks:
        return here[-1]
    return max(here, key=lambda one: len(checks_where(desk, **{kind: one.id})))


def pages(desk: Desk) -> list[Asked]:
    """The pages with what the book itself answers for them."""
    season, combine = newest(desk, "season", most_checks=True), newest(desk, "combine", most_checks=True)
    home, trial = newest(desk, "field", most_checks=True), trials(desk)[-1]
    logged = counting(desk, checks_where(desk, combine=combine.id, limit=1))[0]
    crop = logged.check.crop

    def of_combine() -> None:
        try:
            monitor(desk, combine, crop)
        except InputError:
            counting(desk, checks_where(desk, combine=combine.id))

    return [
        Asked("today", "/today", lambda: answered(desk, checks_where(desk, limit=3))),
        Asked("checks", "/checks", lambda: answered(desk, checks_where(desk, limit=40))),
        Asked("a check", f"/check/{logged.id}", lambda: answered(desk, [logged.id])),
        Asked("log a check", "/log", None),
        Asked("seasons", "/seasons", None),
        Asked("a season", f"/season/{season.id}", lambda: ledger(desk, season)),
        Asked("a field", f"/field/{home.id}", lambda: field_summary(desk, home)),
        Asked("a combine", f"/combine/{combine.id}", of_combine),
        Asked(
            "its best pace", f"/combine/{combine.id}?hour_cost=450+/h&now=6+km/h", lambda: curves(desk, combine, crop)
        ),
        Asked("trials", "/trials", None),
        Asked("a trial", f"/trial/{trial.id}", lambda: answer_trial(desk, trial)),
        Asked("set-up", "/setup", lambda: things(desk)),
        Asked("devices", "/devices", None),
        Asked("import", "/import", None),
    ]


def measure(folder: Path, demo: list[str], only: list[str]) -> list[Asked]:
    """Every page three times, or those named, and what the book takes for it."""
    book = str(folder / "demo.chaffinch")
    subprocess.run([sys.executable, str(DEMO), book, *demo], check=True, stdout=subprocess.DEVNULL)
    desk = open_desk(book, device="bench")
    app = make_app(WebSettings(book=book, keep=folder / "keep", limits=False), desk=desk)
    secret = app.state.devices.enter(app.state.devices.make_link().secret, "bench", "127.0.0.1").secret
    with TestClient(
        app, base_url="http://localhost", headers={"Cookie": f"chaffinch-{app.state.book['id']}={secret}"}
    ) as client:

        def look(path: str) -> None:
            answer = client.get(path)
            if answer.status_code != 200 or "<h1" not in answer.text:
                raise SystemExit(f"{path} answered {answer.status_code}")

        look("/devices")  # templates are read once
        found = [one for one in pages(desk) if not only or one.name in only]
        for one in found:
            for turn in ("first", "again"):
                if turn == "first":
                    forget()
                    app.state.longer = Longer(patience_s=600.0)
                one.seconds[turn] = taken(lambda one=one: look(one.path))
            if one.bare is not None:
                forget()
                one.seconds["bare"] = taken(one.bare)
        forget()
        app.state.longer = Longer(patience_s=600.0)
        for one in found:
            look(one.path)
        # One more check where the last one was taken: what is kept must give way, and no more than that.
        last = counting(desk, checks_where(desk, limit=1))[0]
        where = {key: last.body[key] for key in ("season", "field", "combine", "operator") if key in last.body}
        log_check(desk, last.check, where=where)
        for one in found:
            one.seconds["after"] = taken(lambda one=one: look(one.path))
    desk.store.close()
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--seed", help="another demo book")
    parser.add_argument("--only", action="append", default=[], help="a page of the table; again for more")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="chaffinch-pages-") as place:
        found = measure(Path(place), ["--seed", options.seed] if options.seed else [], options.only)
    print("| page | first [ms] | again [ms] | after a check [ms] | first, × the book's own answer |")
    print("|---|---|---|---|---|")
    for one in found:
        ms = {key: 1000.0 * value for key, value in one.seconds.items()}
        times = f"{ms['first'] / ms['bare']:.1f}" if "bare" in ms else "–"
        print(f"| {one.name} | {ms['first']:.0f} | {ms['again']:.0f} | {ms['after']:.0f} | {times} |")


if __name__ == "__main__":
    main()

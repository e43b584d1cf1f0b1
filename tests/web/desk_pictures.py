"""Pictures of every desk page, at three sizes, in light and dark: for people to look at, not for a test.

    .venv/bin/python tests/web/desk_pictures.py

They go into ``build/desk-pictures``, which git ignores. The book is the invented one of ``examples/demo_book.py`` with
its own seed, so that the same pages can be compared from day to day. ``--only combine,today`` takes some of them,
``--sizes phone`` one size.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent.parent
FOLDER = ROOT / "build" / "desk-pictures"
SIZES = {"phone": (360, 740), "tablet": (820, 1180), "desk": (1440, 900)}
LOOKS = ("light", "dark")
BROWSER = "/usr/bin/chromium"
FLAGS = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
SLOW_MS = 120_000
"""How long a page may take while a season is summed up [ms]; the machine may be busy."""


@contextmanager
def served(app: Any) -> Iterator[str]:
    """The app on a free port of this computer, in a thread; its address."""
    import uvicorn

    server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=0, log_level="warning"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    port = server.servers[0].sockets[0].getsockname()[1]
    try:
        yield f"http://127.0.0.1:{port}"
    finally:
        server.should_exit = True
        thread.join(timeout=20)


def demo_book(folder: Path) -> Path:
    """The invented farm's book."""
    book = folder / "larkhollow.chaffinch"
    subprocess.run([sys.executable, str(ROOT / "examples" / "demo_book.py"), str(book)], check=True)
    return book


def app_of(book: Path, keep: Path) -> Any:
    """The application on that book, which waits for long answers rather than showing how far they are."""
    from chaffinch.web.app import make_app
    from chaffinch.web.pages.answers import Longer
    from chaffinch.web.settings import WebSettings
    from chaffinch.web.tls import certificates

    certificates(keep, ["localhost"], now=datetime.now(UTC))  # for the page that helps phones to trust
    app = make_app(WebSettings(book=str(book), keep=keep, limits=False))
    app.state.longer = Longer(patience_s=SLOW_MS / 1000)
    return app


def a_log(app: Any, **asked: str) -> str:
    """The example's field log, sent and asked about; what it is asked for by."""
    from chaffinch.web.field_logs import FieldLogs

    if not hasattr(app.state, "field_logs"):
        app.state.field_logs = FieldLogs()
    name = "larkhollow-log.csv" if asked else "another-log.csv"
    with (ROOT / "examples" / "larkhollow-log.csv").open("rb") as file:
        kept = app.state.field_logs.keep(file, name)
    kept.asked = asked
    return str(kept.token)


def pages_of(app: Any) -> dict[str, str]:
    """Every page worth a picture, by name."""
    from chaffinch.book.checks.bars import bars
    from chaffinch.book.checks.held import checks_where
    from chaffinch.book.things import things
    from chaffinch.book.trials.trial import trials

    desk = app.state.desk
    seasons, fields = things(desk, "season"), things(desk, "field")
    combines = {t.name: t for t in things(desk, "combine")}
    checks = checks_where(desk, limit=60)
    old = combines["Old Bess"].id
    summed = a_log(
        app, combine=old, crop="canola", zone="-06:00", price="14.50 /bu", best="yes", hour_cost="450 /h"
    )  # fmt: skip
    return {
        "today": "/today",
        "checks": "/checks",
        "check": f"/check/{checks[0]}",
        "check-sources": f"/check/{checks_where(desk, field=fields[0].id)[0]}",
        "correct": f"/check/{checks[0]}/correct",
        "log": f"/log?field={fields[-1].id}&combine={old}",
        "seasons": "/seasons",
        "season": f"/season/{seasons[-1].id}?by=combine",
        "field": f"/field/{fields[-1].id}",
        "combines": "/combines",
        "combine": f"/combine/{old}?crop=canola&hour_cost=450+/h&now=4.3+mph",
        "monitor": f"/combine/{combines['Young Bess'].id}?crop=wheat",
        "bar": f"/bar/{bars(desk)[-1].kept.id}",
        "advices": "/advice",
        "advice": f"/check/{checks[0]}/advice?a-found=chaff&a-chaff=far&stop_cost=250+/h&area_left=40+ha",
        "leaks": "/advice/leaks",
        "day": "/day",
        "fieldlogs": "/fieldlogs",
        "fieldlog-open": f"/fieldlogs/{a_log(app)}",
        "fieldlog": f"/fieldlogs/{summed}",
        "issued": "/reports",
        "issue": f"/reports/new?of=/check/{checks[0]}/report.pdf",
        "trials": "/trials",
        "trial": f"/trial/{trials(desk)[0].id}",
        "setup": "/setup",
        "thing": f"/thing/{fields[-1].id}",
        "new": "/setup/combine/new",
        "import": "/import",
        "devices": "/devices",
        "pair": "/pair",
        "enter": "/enter?key=used",
        "trust": "/install-ca",
        "missing": "/check/0000",
    }


SHEET = """Date,Time,Field,Combine,Crop,Place,Pan,Amount,Speed
2026-08-20,10:00,Long Hollow,Old Bess,canola,discharge,4 ft2,12.5 g,4.5 mph
2026-08-20,11:00,Long Hollow,Old Bess,canola,discharge,4 ft2,lots,4.5 mph
"""


def walked(page: Any, address: str, take: Any) -> None:
    """Pages that only come after something was sent."""
    page.goto(f"{address}/import")
    page.set_input_files("#file", {"name": "checks.csv", "mimeType": "text/csv", "buffer": SHEET.encode()})
    page.locator("main button[type=submit]").last.click()
    take("import-columns")
    page.locator("main button[value=dry]").click()
    take("import-would")
    page.goto(f"{address}/import")
    phone = b'{"phone":"chaffinch","layout":1,"device":"Ann\'s phone"}\nnot a record\n'
    page.set_input_files("#file", {"name": "phone.jsonl", "mimeType": "application/json", "buffer": phone})
    page.locator("main button[type=submit]").last.click()
    take("import-phone")
    page.goto(f"{address}/day")
    page.set_input_files("#file", ROOT / "examples" / "forecast.csv")
    page.select_option("#crop", label="canola")
    page.fill("#hour_cost", "450 /h")
    page.fill("#area", "120 ac")
    page.locator("main button[type=submit]").last.click()
    take("day-planned")
    page.goto(f"{address}/devices")
    page.locator("a[href$='/revoke']").first.click()
    take("revoke")
    page.goto(f"{address}/devices")
    page.locator("form[action='/devices/code'] button").click()
    take("code")
    page.goto(f"{address}/log")
    page.fill("#catch-1-amount", "lots")
    page.locator("main button[value=save]").click()
    take("log-refused")


def main() -> None:
    """Take the pictures."""
    from playwright.sync_api import sync_playwright

    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--only", default="", help="names of pages, with commas between them")
    parser.add_argument("--book", type=Path, help="another book than a new demo book")
    parser.add_argument("--sizes", default=",".join(SIZES))
    given = parser.parse_args()
    FOLDER.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as name:
        book = given.book or demo_book(Path(name))
        app = app_of(book, Path(name) / "keep")
        wanted = {key: path for key, path in pages_of(app).items() if not given.only or key in given.only.split(",")}
        with served(app) as address, sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=BROWSER, args=list(FLAGS))
            for look in LOOKS:
                context = browser.new_context(color_scheme=look)
                page = context.new_page()
                page.set_default_timeout(SLOW_MS)
                page.goto(f"{address}/enter?key={app.state.devices.make_link().secret}")
                for size in given.sizes.split(","):
                    width, height = SIZES[size]
                    page.set_viewport_size({"width": width, "height": height})
                    for key, path in wanted.items():
                        page.goto(address + path)
                        page.screenshot(path=FOLDER / f"{key}-{size}-{look}.png", full_page=True)

                    def take(key: str, page: Any = page, size: str = size, look: str = look) -> None:
                        page.screenshot(path=FOLDER / f"{key}-{size}-{look}.png", full_page=True)

                    if not given.only or "walked" in given.only.split(","):
                        walked(page, address, take)
            browser.close()
    print(f"pictures of {len(wanted)} pages in {FOLDER.relative_to(ROOT)}")


if __name__ == "__main__":
    main()

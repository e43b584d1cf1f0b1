"""A newcomer's session, played and timed: from a fresh copy to a verdict in a phone-sized browser, by the docs alone.

    .venv/bin/python tests/web/first_session.py FOLDER [--docs]

The folder is made by ``git clone`` of this checkout and must not be there yet. What is done is what the page "The phone
app" tells, word by word; the times are those of the clock, with a person played: some seconds before each tap, half a
second for each sign, time to read the cautions. ``--docs`` writes the pictures of that page anew.
"""

from __future__ import annotations

import argparse
import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs" / "pictures"
COMMAND_S, TAP_S, SIGN_S, CAUTIONS_S = 10.0, 3.0, 0.5, 20.0
"""A command copied, a tap, a sign typed, the cautions read [s]; own figures for a person who has time."""
CODE = re.compile(r"\bcode (\d{3} \d{3})\b")
VIEW = {"width": 360, "height": 740}


class Clock:
    """Seconds of each step, as they pass."""

    def __init__(self) -> None:
        self.rows: list[tuple[str, float]] = []

    @contextmanager
    def step(self, name: str) -> Iterator[None]:
        """Time one step."""
        begun = time.monotonic()
        yield
        self.rows.append((name, time.monotonic() - begun))
        print(f"{self.rows[-1][1]:7.1f} s  {name}", flush=True)

    def table(self) -> str:
        """The steps as a table of the docs."""
        whole = sum(seconds for _, seconds in self.rows)
        lines = ["| step | s |", "|---|---|", *(f"| {name} | {seconds:.0f} |" for name, seconds in self.rows)]
        return "\n".join([*lines, f"| **together** | **{whole:.0f}** |"])


def told(folder: Path, command: str) -> None:
    """Copy a command of the page into the terminal, and wait for it."""
    time.sleep(COMMAND_S)
    subprocess.run(command, cwd=folder, shell=True, check=True, stdout=subprocess.DEVNULL)


@contextmanager
def serving(folder: Path, command: str) -> Iterator[str]:
    """What the server printed until it was ready; it is ended with Ctrl-C."""
    time.sleep(COMMAND_S)
    child = subprocess.Popen(
        command.split(), cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )  # fmt: skip
    said: list[str] = []
    ready = threading.Event()

    def read() -> None:
        assert child.stdout is not None
        for line in child.stdout:
            said.append(line)
            if CODE.search(line):
                ready.set()

    threading.Thread(target=read, daemon=True).start()
    try:
        if not ready.wait(60):
            sys.exit("the server printed no code:\n" + "".join(said))
        yield "".join(said)
    finally:
        child.send_signal(signal.SIGINT)
        child.wait(timeout=20)


class Person:
    """Somebody at a phone-sized browser."""

    def __init__(self, page: Any, pictures: Path | None) -> None:
        self.page = page
        self.pictures = pictures

    def tap(self, name: str) -> None:
        """Look for a button, a choice or a row of that name, and tap it."""
        time.sleep(TAP_S)
        found = self.page.get_by_role("button", name=name).or_(self.page.get_by_label(name, exact=False))
        found.first.click()

    def type(self, label: str, text: str) -> None:
        """Fill in a field, sign by sign."""
        time.sleep(TAP_S)
        self.page.get_by_label(label).press_sequentially(text, delay=1000 * SIGN_S)

    def see(self, text: str) -> None:
        """Wait until that can be read."""
        self.page.get_by_text(text).first.wait_for()

    def picture(self, name: str) -> None:
        """Take a picture for the docs."""
        if self.pictures is not None:
            self.page.wait_for_timeout(200)
            self.page.screenshot(path=self.pictures / f"session-{name}.png")


def at_the_phone(person: Person, code: str, clock: Clock) -> None:
    """Steps 3 to 8 of the page."""
    with clock.step("open the app, read the cautions"):
        person.page.goto("http://127.0.0.1:8765/app/")
        person.see("Your operator's manual")
        person.picture("cautions")
        time.sleep(CAUTIONS_S)
        person.tap("Understood, for today")
    with clock.step("pair with the book"):
        person.tap("Pair with a book")
        person.type("Code", code)
        person.type("Name of this phone", "My phone")
        person.picture("pair")
        person.tap("Pair")
        person.see("Larkhollow")
    with clock.step("choose field and machine"):
        person.tap("Choose field and machine")
        person.tap("Long Hollow")
        person.tap("Old Bess")
        person.picture("where")
        person.tap("Use these")
    with clock.step("new check: place, spreader, pan"):
        person.tap("New check")
        person.tap("In the discharge")
        person.tap("Off")
        person.picture("pan")
        person.tap("big tray")
    with clock.step("the number, and the verdict"):
        for sign in "21.5":
            time.sleep(SIGN_S)
            person.page.locator(".keys .key").filter(has_text=sign).click()
        person.picture("pad")
        person.tap("Add catch")
        person.see("machine loss, likely")
        person.see("chance that")
        person.picture("verdict")


def main() -> None:
    """Play it."""
    from playwright.sync_api import sync_playwright

    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("folder", type=Path, help="where the fresh copy goes")
    parser.add_argument("--docs", action="store_true", help="write the pictures of the docs anew")
    given = parser.parse_args()
    clock = Clock()
    with clock.step("a fresh copy"):
        subprocess.run(["git", "clone", "--quiet", str(ROOT), str(given.folder)], check=True)
    with clock.step("`make demo`"):
        told(given.folder, "make demo")
    with clock.step("write the invented farm's book"):
        told(given.folder, ".venv/bin/python examples/demo_book.py larkhollow.chaffinch")
    begun = time.monotonic()
    with serving(given.folder, ".venv/bin/chaffinch serve --book larkhollow.chaffinch --share") as said:
        clock.rows.append(("serve it", time.monotonic() - begun))
        print(said)
        code = CODE.findall(said)[-1]
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(
                executable_path="/usr/bin/chromium", args=["--headless=new", "--no-sandbox", "--disable-gpu"]
            )
            page = browser.new_context(viewport=VIEW, has_touch=True, is_mobile=True).new_page()
            at_the_phone(Person(page, DOCS if given.docs else None), code, clock)
            browser.close()
    print(clock.table())


if __name__ == "__main__":
    main()

"""Pictures of every screen of the phone app, at three sizes, in light and dark: to look at, not for a test.

    .venv/bin/python tests/web/phone_pictures.py [--large] [--docs]

They go into ``build/phone-pictures``, which git ignores. ``--large`` takes them at twice the text size too. It also
says how soon the first screen stands after a reload without a network, as the browser tells it.
"""

from __future__ import annotations

import argparse
import shutil
import statistics
import tempfile
from pathlib import Path
from typing import Any

from phone_world import LOOKS, PHONE, Handset, a_browser, a_farm

FOLDER = Path(__file__).resolve().parents[2] / "build" / "phone-pictures"
DOCS = Path(__file__).resolve().parents[2] / "docs" / "pictures"
SHOWN = {"start-at-the-end": "phone-start"}
"""Pictures that the documentation shows, and their names there; those of a first session come from there."""
RELOADS = 9
TABLET = {"width": 820, "height": 1180}
DESK = {"width": 1440, "height": 900}


class Album:
    """Pictures of one phone, numbered in the order they were taken."""

    def __init__(self, phone: Handset, name: str, size: str, view: dict[str, int]) -> None:
        self.phone = phone
        self.name = name
        self.size = size
        self.view = view
        self.count = 0

    def take(self, name: str, *, whole: bool = True) -> None:
        """Take one: the whole screen as long as it is, or only what is seen at once."""
        page = self.phone.page
        if self.size:
            page.evaluate(
                "(size) => { document.documentElement.style.fontSize = size; dispatchEvent(new Event('resize')); }",
                self.size,
            )
        self.count += 1
        page.wait_for_timeout(150)
        height: int = page.evaluate("document.documentElement.scrollHeight")
        if whole and height > self.view["height"]:
            page.set_viewport_size({"width": self.view["width"], "height": height})
            page.wait_for_timeout(100)
        page.screenshot(path=FOLDER / f"{self.name}-{self.count:02d}-{name}.png")
        page.set_viewport_size({**self.view})  # type: ignore[typeddict-item]


def a_day(album: Album) -> None:
    """Every screen once, in the order a day meets them."""
    phone, page = album.phone, album.phone.page
    phone.open()
    album.take("cautions")
    phone.acknowledge()
    album.take("start-without-a-book")
    page.goto(f"{phone.address}#/pair")
    album.take("pair")
    phone.pair()
    page.goto(f"{phone.address}#/where")
    album.take("where")
    phone.choose()
    album.take("start")
    phone.tap("New check")
    album.take("place")
    phone.tap("In the discharge")
    album.take("pan")
    phone.tap("Red tray")
    phone.type_amount("15.5")
    album.take("pad", whole=False)
    phone.tap("Add catch")
    album.take("verdict-one-catch")
    album.take("verdict-at-once", whole=False)
    for amount in ("13.8", "17.9"):
        phone.tap("Another catch")
        phone.catch(amount)
    album.take("verdict-three-catches")
    phone.tap("Another catch")
    phone.tap("Weigh later")
    album.take("bag", whole=False)
    phone.tap("Keep the bag")
    phone.see("bag 1, to weigh")
    album.take("a-bag-waits")
    phone.tap("Settings and conditions")
    album.take("settings")
    page.go_back()
    phone.tap("Trial of two settings")
    page.get_by_text("Start a new trial").click()
    album.take("trial")
    page.go_back()
    phone.tap("What may be wrong")
    phone.see("Where is most of the lost seed?")
    album.take("advice")
    phone.tap("behind, loose in the chaff")
    phone.tap("Keep these answers")
    album.take("answers-kept", whole=False)
    phone.page.get_by_role("button", name="Close").click()
    album.take("advice-answered")
    page.goto(f"{phone.address}#/advice/leaks")
    album.take("leaks")
    page.goto(f"{phone.address}#/day")
    album.take("day")
    page.goto(f"{phone.address}#/take")
    album.take("take")
    page.goto(f"{phone.address}#/")
    album.take("start-with-an-open-stop")
    phone.tap("Long Hollow")
    phone.tap("Weigh bag 1")
    phone.type_amount("16.2")
    album.take("weigh", whole=False)
    phone.tap("Keep this weight")
    phone.save()
    page.wait_for_timeout(800)
    album.take("saved")
    phone.tap("Hand to another phone")
    page.locator("svg.code").wait_for()
    album.take("hand")
    phone.context.set_offline(True)
    phone.check("31.0", "28.5")
    phone.check("4.1", "3.9", "5.0")
    page.goto(f"{phone.address}#/tray")
    phone.tap("Send now")
    phone.see("No signal")
    album.take("outbox")
    page.goto(f"{phone.address}#/")
    album.take("start-at-the-end")
    page.goto(f"{phone.address}#/options")
    album.take("options")
    page.goto(f"{phone.address}#/")
    phone.page.get_by_role("button", name="New check").first.wait_for()
    phone.tap("New check")
    phone.type_amount("12.5")
    full = "throw new DOMException('full', 'QuotaExceededError');"
    page.evaluate(f"() => {{ IDBObjectStore.prototype.add = () => {{ {full} }}; }}")
    phone.tap("Add catch")
    page.get_by_role("heading", name="NOT SAVED").wait_for()
    album.take("not-saved")


def reload_ms(phone: Handset) -> list[float]:
    """Milliseconds from the reload to the first screen, without a network, as the page's own clock has them."""
    found = []
    for _ in range(RELOADS):
        phone.page.goto("about:blank")
        phone.page.goto(f"{phone.address}#/")
        phone.page.locator("main > *").first.wait_for()
        ms: float = phone.page.evaluate(
            "() => performance.getEntriesByName('first screen')[0]?.startTime ?? performance.now()"
        )
        found.append(ms)
    return found


def main() -> None:
    """Take them all."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--large", action="store_true", help="at twice the text size too")
    parser.add_argument("--docs", action="store_true", help="write the pictures of the documentation anew")
    given = parser.parse_args()
    shutil.rmtree(FOLDER, ignore_errors=True)
    FOLDER.mkdir(parents=True)
    series: list[tuple[str, str, str, dict[str, int]]] = [("light", "light", "", PHONE), ("dark", "dark", "", PHONE)]
    series += [("tablet-light", "light", "", TABLET), ("tablet-dark", "dark", "", TABLET)]
    series += [("desk-light", "light", "", DESK), ("desk-dark", "dark", "", DESK)]
    series += [("large", "light", "200%", PHONE)] if given.large else []
    with a_browser() as browser:
        for name, scheme, size, view in series:
            with tempfile.TemporaryDirectory() as folder, a_farm(Path(folder)) as farm:
                more: dict[str, Any] = {
                    "viewport": view,
                    "color_scheme": scheme,
                    "device_scale_factor": 1 if given.docs or view == DESK else 2,
                }
                phone = Handset(farm, browser.new_context(**{**LOOKS, **more}))
                album = Album(phone, name, size, view)
                a_day(album)
                times = reload_ms(phone)
                span = f"{statistics.median(times):.0f} ms ({min(times):.0f} to {max(times):.0f}, {RELOADS} reloads)"
                print(f"{name}: {album.count} pictures; first screen without a network after {span}")
                phone.context.close()
    if given.docs:
        DOCS.mkdir(exist_ok=True)
        for path in FOLDER.glob("light-*.png"):
            if path.stem.split("-", 2)[2] in SHOWN:
                shutil.copy(path, DOCS / f"{SHOWN[path.stem.split('-', 2)[2]]}.png")
    print(f"in {FOLDER.relative_to(Path.cwd()) if FOLDER.is_relative_to(Path.cwd()) else FOLDER}")


if __name__ == "__main__":
    main()

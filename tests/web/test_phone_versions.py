"""The app's own files: a newer app comes whole or not at all, and a hot spot's page never becomes part of it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from phone_world import Answer, Farm, Handset, a_browser, a_farm, html, nothing_lost
from playwright.sync_api import Browser, expect

NAMES = "(async () => (await caches.keys()).filter((key) => key.startsWith('chaffinch-app-')))()"


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with a_browser() as browser:
        yield browser


@pytest.fixture
def farm(tmp_path: Path) -> Iterator[Farm]:
    with a_farm(tmp_path) as farm:
        yield farm


def newer(_: str, path: str, body: bytes, pass_on: Any) -> Answer:
    """A server with a newer app, that says something else on its first screen."""
    status, headers, content = pass_on(body)
    if path.endswith("/app/texts.js"):
        headers = {key: value for key, value in headers.items() if key.lower() != "etag"}
        content = content.replace(b"Only while the machine stands.", b"Only when the machine stands still.")
    return status, headers, content


def settled(farm: Farm, phone: Handset) -> None:
    """Wait until the app has done asking for its own files: it looks for a newer one each time it opens."""
    asked = -1
    while asked != len(farm.wire.asked):
        asked = len(farm.wire.asked)
        phone.page.wait_for_timeout(1000)


def kept(phone: Handset) -> set[str]:
    found: list[str] = phone.page.evaluate(NAMES)
    return set(found)


def test_a_newer_app_is_used_from_the_next_opening(farm: Farm, browser: Browser) -> None:
    farm.wire.identity = True
    phone = Handset.new(farm, browser).ready()
    phone.wait_until(f"({NAMES}).then((names) => names.length === 1)")
    (old,) = kept(phone)
    phone.context.set_offline(True)
    phone.check("21.5")
    farm.wire.hook = newer
    phone.context.set_offline(False)
    phone.send_all()
    phone.wait_until(f"({NAMES}).then((names) => names.length === 2)")
    phone.page.goto(f"{phone.address}#/")
    phone.see("A newer version of this app is here")
    # The page in hand goes on as it is; what was in its outbox is in the book.
    nothing_lost(farm, phone)
    phone.context.set_offline(True)
    phone.page.goto("about:blank")
    phone.page.goto(f"{phone.address}#/cautions")
    phone.see("Only when the machine stands still.")
    nothing_lost(farm, phone)
    assert old in kept(phone)  # until a third comes: a page that is open may still ask for it


@pytest.mark.parametrize("spoilt", ["/static/app/dom.js", "/app/"])
@pytest.mark.parametrize("how", ["a sign-in page", "an error", "nothing"])
def test_a_newer_app_that_comes_in_part_is_not_used(farm: Farm, browser: Browser, spoilt: str, how: str) -> None:
    farm.wire.identity = True
    phone = Handset.new(farm, browser).ready()
    phone.wait_until(f"({NAMES}).then((names) => names.length === 1)")
    settled(farm, phone)
    before = kept(phone)

    def hook(method: str, path: str, body: bytes, pass_on: Any) -> Answer | None:
        if path == spoilt:
            if how == "nothing":
                return None
            return html("Accept our terms") if how == "a sign-in page" else (500, {"Content-Type": "text/html"}, b"")
        return newer(method, path, body, pass_on)

    farm.wire.hook = hook
    asked = len(farm.wire.asked)
    phone.page.goto(f"{phone.address}#/tray")
    phone.tap("Send now")
    for _ in range(100):
        if any(path == spoilt for _, path in farm.wire.asked[asked:]):
            break
        phone.page.wait_for_timeout(50)
    settled(farm, phone)
    assert kept(phone) == before
    phone.context.set_offline(True)
    phone.page.reload()
    expect(phone.page.get_by_role("heading", name="Outbox")).to_be_visible()
    assert phone.errors == []


def test_records_of_a_newer_app_are_left_alone(farm: Farm, browser: Browser) -> None:
    """An older app finds a layout it does not know: it says so, touches nothing, and keeps nothing."""
    phone = Handset.new(farm, browser).ready()
    phone.check("21.5")
    phone.page.goto(f"{farm.wire.origin}/app/icon.svg")
    phone.page.evaluate(
        """() => new Promise((done, failed) => {
          const asked = indexedDB.open("chaffinch", 99);
          asked.onsuccess = () => { asked.result.close(); done(); };
          asked.onerror = () => failed(asked.error);
        })"""
    )
    phone.page.goto(phone.address)
    phone.tap("Understood, for today")
    phone.see("Nothing can be kept here")
    phone.see("newer version of the app wrote here")

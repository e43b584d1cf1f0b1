"""The app's own files: a newer app comes whole or not at all, and a hot spot's page never becomes part of it."""

from __future__ import annotations

from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from phone_world import Answer, Farm, Handset, as_json, html, nothing_lost
from playwright.sync_api import Browser, expect

from chaffinch.web import program_files
from chaffinch.web.program_files import app_files, ready

LIST = "/app/files.json"
TEXTS, DOM = "/static/app/texts.js", "/static/app/dom.js"
STATIC = Path(program_files.__file__).parent / "static"
NOW = "(async () => (await (await caches.match('/app/current')).json()).now)()"
NAMES = "(async () => (await caches.keys()).filter((key) => key.startsWith('chaffinch-app-')))()"


def plainly(path: str) -> bytes:
    """What the server sends for one of the app's modules."""
    return ready(str(STATIC / path.removeprefix("/static/")), 0, 0).plain


def told(files: dict[str, bytes]) -> Answer:
    """The list of the app's files from a server on which some of them are other ones."""
    changed = {path: sha256(content).hexdigest() for path, content in files.items()}
    return as_json({"chaffinch": "app", "files": {**app_files(STATIC), **changed}})


def newer(_: str, path: str, body: bytes, pass_on: Any) -> Answer:
    """A server with a newer app, that says something else on its first screen."""
    texts = plainly(TEXTS).replace(b"Only while the machine stands.", b"Only when the machine stands still.")
    if path == LIST:
        return told({TEXTS: texts})
    status, headers, content = pass_on(body)
    if path == TEXTS:
        headers = {key: value for key, value in headers.items() if key.lower() != "etag"}
        content = texts
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


def test_a_server_brought_up_to_date_while_a_phone_fetches(farm: Farm, browser: Browser) -> None:
    """The list says one version, and from the first file on the server is another: the mixture is not kept."""
    farm.wire.identity = True
    phone = Handset.new(farm, browser).ready()
    phone.wait_until(f"({NAMES}).then((names) => names.length === 1)")
    settled(farm, phone)
    before = kept(phone)
    served: list[tuple[str, int]] = []
    version = 2

    def hook(_: str, path: str, body: bytes, pass_on: Any) -> Answer:
        nonlocal version
        files = {name: plainly(name) + f"\n// version {version}\n".encode() for name in (TEXTS, DOM)}
        if path == LIST:
            served.append((LIST, version))
            return told(files)
        if path not in files:
            return pass_on(body)
        served.append((path, version))
        version = 3
        return 200, {"Content-Type": "text/javascript"}, files[path]

    farm.wire.hook = hook
    phone.page.goto(f"{phone.address}#/tray")
    phone.tap("Send now")
    phone.wait_until("true")
    for _ in range(100):
        if len(served) >= 3:
            break
        phone.page.wait_for_timeout(50)
    settled(farm, phone)
    assert [number for _, number in served] == [2, 2, 3], "the list and a file of one version, then a file of the next"
    assert kept(phone) == before
    phone.page.reload()
    expect(phone.page.get_by_role("heading", name="Outbox")).to_be_visible()
    # From then on the server is the newer one throughout: the whole of it is kept.
    phone.tap("Send now")
    phone.wait_until(f"({NAMES}).then((names) => names.length === 2)")
    phone.wait_until(f"{NOW}.then((now) => !{sorted(before)}.includes(now))")
    (new,) = kept(phone) - before
    script = "async ([name, paths]) => Promise.all(paths.map(async (path) => "
    script += "(await (await (await caches.open(name)).match(path)).text()).trim().split('\\n').pop()))"
    assert phone.page.evaluate(script, [new, [TEXTS, DOM]]) == ["// version 3", "// version 3"]
    assert phone.errors == []


def test_an_open_page_gets_its_files_from_the_set_it_was_opened_with(farm: Farm, browser: Browser) -> None:
    """What a page asks for later, as the drawing of a picture to hand over, is of its own version."""
    farm.wire.identity = True
    phone = Handset.new(farm, browser).ready()
    phone.wait_until(f"({NAMES}).then((names) => names.length === 1)")
    phone.page.reload()  # now the page itself is of that set
    settled(farm, phone)
    old = phone.page.evaluate(NOW)
    farm.wire.hook = newer
    phone.page.goto(f"{phone.address}#/tray")
    phone.tap("Send now")
    phone.wait_until(f"{NOW}.then((now) => now !== '{old}')")
    asked = f"async () => (await (await fetch('{TEXTS}')).text()).includes('Only while the machine stands.')"
    assert phone.page.evaluate(asked) is True
    phone.page.reload()
    assert phone.page.evaluate(asked) is False


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

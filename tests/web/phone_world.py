"""A farm with a served book and phones: real browsers of phone size, and a line between them that can be cut.

The server is the real application under uvicorn. Phones reach it through :class:`Wire`, which passes everything on
unless it is told to lose an answer, to answer in the server's place, or to be dead.
"""

from __future__ import annotations

import http.client
import json
import os
import shutil
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any, Final

import pytest
import uvicorn
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright

from chaffinch.book.desk import Desk, open_desk, start_book
from chaffinch.book.things import add_thing
from chaffinch.store import records
from chaffinch.web.app import make_app
from chaffinch.web.device import Role
from chaffinch.web.devices import Devices
from chaffinch.web.settings import WebSettings

CHROMIUM: Final = "/usr/bin/chromium"
ARGUMENTS: Final = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip
PHONE: Final = {"width": 360, "height": 740}
LOOKS: Final[dict[str, Any]] = {"viewport": PHONE, "has_touch": True, "is_mobile": True, "locale": "en-GB"}
PATIENCE_MS: Final = 20_000
"""How long a page may take before a test gives up [ms]: not a bar, the machine may be busy."""

PLAIN: Final = ("accept-encoding", "if-none-match", "if-modified-since")
Answer = tuple[int, dict[str, str], bytes]
Hook = Callable[[str, str, bytes, Callable[[bytes], Answer]], Answer | None]
"""(method, path, body, pass on) → the answer, or None to break the connection."""


def browser_or_skip() -> None:
    """Without a browser: a failure where CI=true, else a skip."""
    if not Path(CHROMIUM).exists() and shutil.which("chromium") is None:
        if os.environ.get("CI") == "true":
            pytest.fail("no Chromium at /usr/bin/chromium: .ci/chromium installs it")
        pytest.skip("no Chromium here")


@contextmanager
def a_browser() -> Iterator[Browser]:
    """Debian's Chromium, without a window."""
    browser_or_skip()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(ARGUMENTS))
        yield browser
        browser.close()


@contextmanager
def a_profile(browser: Browser, folder: Path) -> Iterator[BrowserContext]:
    """A browser that keeps what it stores in a folder, as a phone does when it is switched off."""
    context = browser.browser_type.launch_persistent_context(
        folder, executable_path=CHROMIUM, args=list(ARGUMENTS), **LOOKS
    )
    yield context
    context.close()


class Wire:
    """What lies between phones and the server."""

    def __init__(self, port: int) -> None:
        self.to_port = port
        self.hook: Hook | None = None
        self.asked: list[tuple[str, str]] = []
        self.identity = False
        """Whether files are asked for whole and uncompressed, so that a hook can change their text."""
        wire = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def _any(self) -> None:
                body = self.rfile.read(int(self.headers.get("Content-Length") or 0))
                wire.asked.append((self.command, self.path))
                drop = ("connection", "content-length", *(PLAIN if wire.identity else ()))
                headers = {k: v for k, v in self.headers.items() if k.lower() not in drop}

                def pass_on(sent: bytes) -> Answer:
                    line = http.client.HTTPConnection("127.0.0.1", wire.to_port, timeout=30)
                    try:
                        line.request(self.command, self.path, sent, headers)
                        found = line.getresponse()
                        content = found.read()
                        skip = ("transfer-encoding", "connection", "content-length", "date", "server")
                        kept = {k: v for k, v in found.getheaders() if k.lower() not in skip}
                        return found.status, kept, content
                    finally:
                        line.close()

                try:
                    hook = wire.hook
                    answer = hook(self.command, self.path, body, pass_on) if hook else pass_on(body)
                except OSError:
                    answer = None
                if answer is None:
                    self.close_connection = True
                    return
                status, kept, content = answer
                self.send_response_only(status)
                for name, value in kept.items():
                    self.send_header(name, value)
                self.send_header("Content-Length", str(len(content)))
                self.end_headers()
                if self.command != "HEAD":
                    self.wfile.write(content)

            do_GET = do_POST = do_PUT = do_DELETE = do_HEAD = _any  # noqa: N815

            def log_message(self, *_: Any) -> None:
                """Say nothing."""

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._server.daemon_threads = True
        self._server.handle_error = lambda *_: None  # type: ignore[method-assign]  # a phone hung up
        self.port = self._server.server_address[1]
        threading.Thread(target=self._server.serve_forever, kwargs={"poll_interval": 0.05}, daemon=True).start()

    @property
    def origin(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def close(self) -> None:
        self._server.shutdown()
        self._server.server_close()


def html(text: str) -> Answer:
    """A page of somebody else's."""
    return 200, {"Content-Type": "text/html"}, f"<!doctype html><title>Welcome</title><p>{text}".encode()


def as_json(value: object, status: int = 200) -> Answer:
    """A JSON answer."""
    return status, {"Content-Type": "application/json"}, json.dumps(value).encode()


@dataclass
class Farm:
    """The invented farm: a book, a server, and the line to it."""

    folder: Path
    address: str
    ids: dict[str, str]
    wire: Wire
    settings: WebSettings
    _stop: Callable[[], None] = field(repr=False)
    confirmed: dict[str, str] = field(default_factory=dict)
    """id → hash of every record that a phone said was saved."""

    @property
    def devices(self) -> Devices:
        return Devices(self.settings.devices_file, self.settings.clock, self.settings.new_secret)

    def code(self, role: Role = "crew") -> str:
        return self.devices.make_code(role).secret

    def stop(self) -> None:
        """The server goes away; what it confirmed is in its book."""
        self._stop()

    def start(self) -> None:
        """The server comes back with the same book."""
        self.wire.to_port, self._stop = _serve(self.settings)

    def desk(self) -> Desk:
        return open_desk(self.address, device="test")

    def in_book(self) -> dict[str, str]:
        """id → hash of every reading in the book; a record that is there twice fails."""
        desk = self.desk()
        found: dict[str, str] = {}
        for stored in records.every(desk.store):
            if stored.envelope.kind in ("check", "monitor", "photo", "trial"):
                assert stored.envelope.id not in found
                found[stored.envelope.id] = stored.envelope.hash
        desk.store.close()
        return found


def _serve(settings: WebSettings) -> tuple[int, Callable[[], None]]:
    server = uvicorn.Server(uvicorn.Config(make_app(settings), host="127.0.0.1", port=0, log_level="error"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not (server.started and server.servers):
        assert thread.is_alive(), "the server did not start"
        time.sleep(0.01)
    port: int = server.servers[0].sockets[0].getsockname()[1]

    def stop() -> None:
        server.should_exit = True
        thread.join(10)
        assert not thread.is_alive()

    return port, stop


@contextmanager
def a_farm(folder: Path, *, things: bool = True) -> Iterator[Farm]:
    """A new book of the invented farm, served."""
    address = str(folder / "farm.chaffinch")
    desk = start_book(address, title="Larkhollow", device="desk")
    ids: dict[str, str] = {}
    if things:
        rows: tuple[tuple[str, dict[str, Any]], ...] = (
            ("farm", {"name": "Larkhollow", "country": "CA", "currency": "$", "report_in": "kg/ha"}),
            ("season", {"name": "Harvest 26", "starts": "2026-07-20"}),
            ("combine", {"name": "Old Bess", "cut_width": "12.2 m", "drop_width": "1.7 m", "widths_taped": True}),
            ("operator", {"name": "Ines"}),
            ("pan", {"name": "Red tray", "area": "0.4 m2"}),
            ("pan", {"name": "Frame", "width": "50 cm", "length": "50 cm"}),
            ("scale", {"name": "Cab scale", "step": "0.1 g"}),
        )
        for kind, body in rows:
            ids[str(body["name"])] = add_thing(desk, kind, body).id
        field_body = {"name": "Long Hollow", "season": ids["Harvest 26"], "crop": "canola", "area": "62 ha",
                      "limit": "60 kg/ha", "yield_expected": "2500 kg/ha", "price": "640 /t"}  # fmt: skip
        ids["Long Hollow"] = add_thing(desk, "field", field_body).id
        ids["Mill Field"] = add_thing(desk, "field", {"name": "Mill Field", "crop": "spring wheat", "area": "40 ha"}).id
    desk.store.close()
    settings = WebSettings(book=address, keep=folder / "keep", limits=False)
    port, stop = _serve(settings)
    farm = Farm(folder, address, ids, Wire(port), settings, stop)
    try:
        yield farm
    finally:
        farm.stop()
        farm.wire.close()


class Handset:
    """One phone: its browser profile, and what a person does with it."""

    def __init__(self, farm: Farm, context: BrowserContext) -> None:
        self.farm = farm
        self.context = context
        context.set_default_timeout(PATIENCE_MS)
        self.page: Page = context.pages[0] if context.pages else context.new_page()
        self.errors: list[str] = []
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))

    @staticmethod
    def new(farm: Farm, browser: Browser, **more: Any) -> Handset:
        """A phone of its own: nothing kept yet."""
        return Handset(farm, browser.new_context(**{**LOOKS, **more}))

    @property
    def address(self) -> str:
        return f"{self.farm.wire.origin}/app/"

    def open(self, *, wait_for_worker: bool = True) -> Handset:
        self.page.goto(self.address)
        self.page.locator("main > *").first.wait_for()
        if wait_for_worker:
            late = f"new Promise((_, late) => setTimeout(() => late(new Error('no worker')), {PATIENCE_MS}))"
            self.page.evaluate(f"async () => {{ await Promise.race([navigator.serviceWorker.ready, {late}]); }}")
        return self

    def tap(self, name: str, *, exact: bool = False) -> None:
        self.page.get_by_role("button", name=name, exact=exact).first.click()

    def see(self, text: str) -> None:
        expect(self.page.get_by_text(text).first).to_be_visible(timeout=PATIENCE_MS)

    def acknowledge(self) -> None:
        self.tap("Understood, for today")
        self.page.get_by_role("button", name="Change field, machine or driver").wait_for()

    def pair(self, role: Role = "crew", name: str = "Ann's phone") -> None:
        self.page.goto(f"{self.address}#/pair")
        self.page.get_by_label("Code").fill(self.farm.code(role))
        self.page.get_by_label("Name of this phone").fill(name)
        self.tap("Pair", exact=True)
        self.wait_until("window.location.hash === '#/'")
        self.wait_until_kept("setup")

    def choose(self, field_name: str = "Long Hollow", combine: str = "Old Bess") -> None:
        self.page.goto(f"{self.address}#/where")
        self.page.get_by_role("radio", name=field_name).check()
        self.page.get_by_role("radio", name=combine).check()
        self.tap("Use these")

    def ready(self, name: str = "Ann's phone") -> Handset:
        """Opened, paired, cautions read, field and machine chosen."""
        self.open()
        self.pair(name=name)
        self.acknowledge()
        self.choose()
        self.page.get_by_role("button", name="New check").first.wait_for()
        return self

    def type_amount(self, digits: str) -> None:
        for one in digits:
            name = "decimal mark" if one in ".," else one
            self.page.get_by_role("button", name=name, exact=True).click()

    def catch(self, digits: str) -> None:
        """On the pad: a number and Add catch."""
        self.type_amount(digits)
        self.tap("Add catch")
        self.page.get_by_role("heading", name="Catches", exact=True).wait_for()

    def check(self, *amounts: str, place: str = "In the discharge", pan: str = "Red tray") -> str:
        """A whole check, to the word saved; its id."""
        self.page.goto(f"{self.address}#/")
        self.page.get_by_role("button", name="New check").last.click()
        if "/place" in self.page.url:
            self.tap(place)
            self.tap(pan)
        for n, amount in enumerate(amounts):
            if n > 0:
                self.tap("Another catch")
            self.catch(amount)
        return self.save()

    def save(self) -> str:
        self.tap("Save check")
        self.see("Saved on this phone")
        for one in self.records():
            self.farm.confirmed[one["id"]] = one["hash"]
        return self.page.url.rsplit("/", 1)[1]

    def wait_until(self, expression: str) -> None:
        # The page's policy forbids the eval that wait_for_function rests on.
        self._poll(lambda: bool(self.page.evaluate(expression)))

    def wait_until_kept(self, key: str) -> None:
        script = (
            f"""async () => {{ const all = await ({_STORE})("kept", true); return all.includes({json.dumps(key)}); }}"""
        )
        self._poll(lambda: bool(self.page.evaluate(script)))

    def records(self) -> list[dict[str, Any]]:
        """The sealed records in this phone's storage."""
        found: list[dict[str, Any]] = self.page.evaluate(f'() => ({_STORE})("records")')
        return found

    def lines(self) -> list[dict[str, Any]]:
        """The log of what became of them."""
        found: list[dict[str, Any]] = self.page.evaluate(f'() => ({_STORE})("lines")')
        return found

    def all_sent(self) -> bool:
        settled = {(one["id"], one["hash"]) for one in self.lines() if one["what"] in ("accepted", "known")}
        return all((one["id"], one["hash"]) in settled for one in self.records())

    def send_all(self) -> None:
        """Tap Send now until everything is in the book."""
        self.page.goto(f"{self.address}#/tray")

        def sent() -> bool:
            self.tap("Send now")
            self.page.wait_for_timeout(150)
            return self.all_sent()

        self._poll(sent)

    def _poll(self, done: Callable[[], bool]) -> None:
        for _ in range(PATIENCE_MS // 100):
            if done():
                return
            self.page.wait_for_timeout(100)
        pytest.fail("it did not come to pass")


_STORE = """(name, keys) => new Promise((resolve, reject) => {
  const asked = indexedDB.open("chaffinch");
  asked.onerror = () => reject(asked.error);
  asked.onsuccess = () => {
    const store = asked.result.transaction(name).objectStore(name);
    const all = keys ? store.getAllKeys() : store.getAll();
    all.onsuccess = () => { asked.result.close(); resolve(all.result); };
    all.onerror = () => reject(all.error);
  };
})"""


def nothing_lost(farm: Farm, *phones: Handset) -> None:
    """Ids on the phones and in the book together are those confirmed, each once, with its hash."""
    on_phones: dict[str, str] = {}
    for phone in phones:
        own: dict[str, str] = {}
        for one in phone.records():
            assert one["id"] not in own, "an id twice on one phone"
            own[one["id"]] = one["hash"]
        for record_id, content_hash in own.items():
            assert on_phones.setdefault(record_id, content_hash) == content_hash
        assert phone.errors == []
    in_book = farm.in_book()
    assert {**on_phones, **in_book} == farm.confirmed
    assert all(farm.confirmed[record_id] == content_hash for record_id, content_hash in on_phones.items())

"""The invented season's book behind the desk's pages, and a browser that is let in: shared by the desk's tests."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from fastapi import FastAPI
from starlette.testclient import TestClient

sys.path.insert(0, str(Path(__file__).parents[1]))

from chaffinch.book.things import find_thing
from chaffinch.book.trials.trial import start_trial
from chaffinch.web.access import csrf_of
from chaffinch.web.app import make_app
from chaffinch.web.pages.answers import Longer
from chaffinch.web.settings import WebSettings
from season_book import SeasonBook, start, with_speeds

ORIGIN = "http://localhost"
PATIENT_S = 300.0
"""Long enough for every long answer of a small book on a busy machine [s]; no test waits so long on purpose."""
VOID = {"area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "wbr"}


@dataclass
class Visitor:
    """A browser at the desk."""

    app: FastAPI
    client: TestClient
    book: SeasonBook
    secret: str
    choices: dict[str, str] = field(default_factory=dict)

    @property
    def cookie(self) -> str:
        """What the browser sends of itself."""
        own = f"chaffinch-{self.app.state.book['id']}"
        return "; ".join(f"{name}={value}" for name, value in {own: self.secret, **self.choices}.items())

    def get(self, path: str, **query: str) -> Page:
        """Look at a page."""
        asked = f"{path}?{urlencode(query)}" if query else path
        return Page.of(self.client.get(asked, headers={"Cookie": self.cookie}, follow_redirects=False))

    def post(self, path: str, data: dict[str, Any] | None = None, *, csrf: bool = True, **more: Any) -> Page:
        """Send a form of our own page."""
        sent = {**(data or {}), **({"csrf": csrf_of(self.secret)} if csrf else {})}
        headers = {"Origin": ORIGIN, "Cookie": self.cookie}
        answered = self.client.post(path, data=sent, headers=headers, follow_redirects=False, **more)
        self.client.cookies.clear()  # what a browser keeps is in ``choices`` here
        return Page.of(answered)

    def as_role(self, role: str) -> Visitor:
        """The same desk through a browser with another role."""
        devices = self.app.state.devices
        let_in = devices.enter(devices.make_link().secret, f"{role}'s browser", "127.0.0.1")
        with devices._writing() as file:  # the desk's link makes owners only; the pages judge by the role all the same
            file.execute("UPDATE device SET role = ? WHERE id = ?", (role, let_in.device.id))
        return Visitor(self.app, self.client, self.book, let_in.secret)


@dataclass
class Page:
    """An answer: its status, where it sends the browser, and what it says."""

    status: int
    text: str
    to: str
    tags: Tags
    response: Any

    @staticmethod
    def of(response: Any) -> Page:
        tags = Tags()
        if response.headers.get("content-type", "").startswith("text/html"):
            tags.feed(response.text)
            tags.close()
        return Page(response.status_code, response.text, response.headers.get("location", ""), tags, response)

    @property
    def words(self) -> str:
        """Text a reader sees, blanks made one."""
        return " ".join("".join(self.tags.texts).replace("\u2060", "").split())

    def value(self, name: str) -> str | None:
        """What stands in a field of the form."""
        return self.tags.values.get(name)


class Tags(HTMLParser):
    """Elements, form values and texts of a page; a tag that is closed wrongly is an error."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.elements: list[tuple[str, dict[str, str]]] = []
        self.texts: list[str] = []
        self.values: dict[str, str] = {}
        self._select = ""
        self._area = ""

    def link(self, start: str) -> str:
        """The first address on the page that begins so."""
        return next(given["href"] for tag, given in self.elements if tag == "a" and given["href"].startswith(start))

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        assert len(given) == len(attrs), f"an attribute twice in <{tag}>"
        self.elements.append((tag, given))
        if tag not in VOID:
            self.open.append(tag)
        if tag == "input" and given.get("type") not in ("radio", "checkbox", "hidden", "file"):
            self.values[given.get("name", "")] = given.get("value", "")
        if tag == "input" and given.get("type") in ("radio", "checkbox") and "checked" in given:
            self.values[given["name"]] = given.get("value", "")
        if tag == "select":
            self._select = given["name"]
        if tag == "option" and "selected" in given:
            self.values[self._select] = given["value"]
        if tag == "textarea":
            self._area = given["name"]
            self.values[self._area] = ""

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        if tag in VOID:
            return
        assert self.open, f"</{tag}> closes nothing"
        assert self.open[-1] == tag, f"</{tag}> closes <{self.open[-1]}>"
        self.open.pop()
        if tag == "textarea":
            # The line end after the tag belongs to the layout, as a browser takes it.
            self.values[self._area] = self.values[self._area].removeprefix("\n")
            self._area = ""

    def handle_data(self, data: str) -> None:
        if self._area:
            self.values[self._area] += data
        elif not self.open or self.open[-1] not in ("script", "style", "title"):
            self.texts.append(data)


@contextmanager
def desk_farm(folder: Path, *, report_in: str = "kg/ha", filled: bool = True) -> Iterator[Visitor]:
    """A season of checks at several speeds, a trial, a correction and monitor readings; and an owner's browser."""
    book = start(folder / "season.chaffinch", report_in=report_in)
    if filled:
        fill(book)
    settings = WebSettings(book=str(folder / "season.chaffinch"), keep=folder / "keep", limits=False)
    app = make_app(settings, desk=book.desk)
    app.state.longer = Longer(patience_s=PATIENT_S)
    devices = app.state.devices
    secret = devices.enter(devices.make_link().secret, "desk browser", "127.0.0.1").secret
    with TestClient(app, base_url=ORIGIN) as client:
        yield Visitor(app, client, book, secret)
    book.desk.store.close()


def fill(book: SeasonBook) -> None:
    """Twelve checks of Old Bess and one with header frames, five of Young Bess with a bar, a trial of four stops."""
    book.ids["checks"] = book.check("Old Bess", 10, 7, header_kg_ha=25.0)
    with_speeds(book)
    for place, reading in enumerate((20.0, 30.0, 40.0, 50.0, 60.0)):
        check = book.check(
            "Young Bess", 12, 9 + place, machine_kg_ha=0.9 * reading, field="Far Common", operator="Tomas",
            settings=[{"name": "fan speed", "value": 900.0, "unit": "rpm"}],
        )  # fmt: skip
        book.bar("Young Bess", check, 12, 9 + place, reading)
        book.ids["barred"] = check
    a = [{"name": "fan speed", "value": 900.0, "unit": "rpm"}]
    b = [{"name": "fan speed", "value": 850.0, "unit": "rpm"}]
    desk = book.desk
    trial = start_trial(
        desk, find_thing(desk, "combine", "Old Bess"), a, b, field=find_thing(desk, "field", "Long Hollow"), note="why"
    )
    book.ids["trial"] = trial.id
    for place, side in enumerate("ABBA"):
        book.check(
            "Old Bess", 14, 10 + place, machine_kg_ha=40.0 if side == "A" else 25.0,
            where={"trial": trial.id, "side": side}, settings=a if side == "A" else b,
        )  # fmt: skip


COMMAND = re.compile(r"chaffinch [a-z]|(?<!\w)--[a-z]")
"""Signs of the command line, which a browser has none of."""
PLACEHOLDER = re.compile(r"\{\w+\}|\{\{|\}\}|\{%|None\b")
"""Signs of a sentence whose facts were not put in."""

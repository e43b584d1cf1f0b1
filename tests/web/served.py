"""A served book for the tests: its app, a client, a clock that the test turns, and devices of each role."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from farm_records import again, begin, farm
from fastapi import FastAPI
from starlette.testclient import TestClient

from chaffinch.book.desk import Desk
from chaffinch.sync.envelope import Envelope
from chaffinch.web.access import csrf_of
from chaffinch.web.app import make_app
from chaffinch.web.device import Device, Role
from chaffinch.web.devices import Devices
from chaffinch.web.settings import WebSettings

ORIGIN = "http://localhost"
START = 1_786_725_600.0
"""2026-08-14T16:40:00Z [s since 1970]."""


@dataclass
class Clock:
    """A clock that stands until it is turned."""

    now: float = START

    def __call__(self) -> float:
        return self.now


@dataclass
class Served:
    """One served book."""

    app: FastAPI
    client: TestClient
    clock: Clock
    desk: Desk
    settings: WebSettings

    @staticmethod
    def of(
        address: str,
        keep: Path,
        stack: ExitStack,
        *,
        items: Sequence[Envelope] | None = None,
        limits: bool = False,
        origins: tuple[str, ...] = (),
    ) -> Served:
        begin(address, farm() if items is None else items).close()
        store = again(address)
        stack.callback(store.close)
        desk = Desk(store, "desk", lambda: "2026-08-14T16:40:00Z")
        clock = Clock()
        secrets = itertools.count(1)
        settings = WebSettings(
            book=address,
            keep=keep,
            origins=origins,
            clock=clock,
            new_secret=lambda: f"secret-{next(secrets):040d}",
            limits=limits,
        )
        app = make_app(settings, desk=desk)
        client = stack.enter_context(TestClient(app, base_url=ORIGIN, raise_server_exceptions=False))
        return Served(app, client, clock, desk, settings)

    @property
    def devices(self) -> Devices:
        found: Devices = self.app.state.devices
        return found

    @property
    def cookie(self) -> str:
        """Name of the cookie of this book's browsers, without TLS."""
        return f"chaffinch-{self.app.state.book['id']}"

    def phone(self, role: Role = "crew", name: str = "Ann's phone") -> dict[str, str]:
        """A newly paired phone: the headers it sends."""
        return self.let_in(role, name)[0]

    def let_in(self, role: Role = "crew", name: str = "Ann's phone") -> tuple[dict[str, str], Device]:
        """A newly paired phone: the headers it sends, and the device."""
        found = self.devices.pair(self.devices.make_code(role).secret, name, "10.0.0.1")
        return {"Authorization": f"Bearer {found.secret}"}, found.device

    def browser(self) -> dict[str, str]:
        """The owner's browser: the headers of a write from our own page."""
        found = self.devices.enter(self.devices.make_link().secret, "desk browser", "127.0.0.1")
        return {"Cookie": f"{self.cookie}={found.secret}", "X-CSRF": csrf_of(found.secret), "Origin": ORIGIN}

    def send(
        self, headers: dict[str, str], envelopes: Iterable[Envelope | dict[str, Any] | Any]
    ) -> list[dict[str, Any]]:
        """Send a batch and give the receipts."""
        body = {"envelopes": [e.as_dict() if isinstance(e, Envelope) else e for e in envelopes]}
        answer = self.client.post("/api/v1/batch", json=body, headers=headers)
        assert answer.status_code == 200, answer.text
        receipts: list[dict[str, Any]] = answer.json()["receipts"]
        return receipts


def is_problem(answer: Any, status: int, field: str | None = None) -> bool:
    """Whether an answer is a refusal in the one shape."""
    assert answer.status_code == status, (answer.status_code, answer.text)
    assert answer.headers["content-type"] == "application/problem+json"
    body = answer.json()
    assert set(body) == {"status", "field", "value", "problem", "mend"}
    assert body["status"] == status
    assert all(isinstance(body[key], str) and body[key] for key in ("field", "problem", "mend"))
    assert not re.search(r"Traceback|sqlite3\.|psycopg", answer.text)
    if field is not None:
        assert body["field"] == field, body
    return True

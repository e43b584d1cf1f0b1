"""A real server is killed in the middle of batches: what it confirmed is there, and what it did not is sent again."""

from __future__ import annotations

import json
import os
import random
import re
import signal
import subprocess
import sys
import threading
import time
import urllib.request
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from farm_records import again, begin, check, farm, identities, problems

from chaffinch.sync.accept import Receipt, confirms
from chaffinch.web.devices import Devices
from chaffinch.web.settings import WebSettings

KILLS = {"sqlite": 4, "postgresql": 2}
"""Servers to be killed; the store's own tests kill two hundred writers."""
BATCHES, IN_A_BATCH = 30, 30
STARTED = re.compile(r"http://127\.0\.0\.1:(\d+)/enter")


def start(address: str, keep: Path) -> tuple[subprocess.Popen[str], str]:
    """Start ``chaffinch serve`` on a free port, and give its origin."""
    arguments = [sys.executable, "-m", "chaffinch", "serve", "--book", address, "--port", "0", "--keep", str(keep)]
    server = subprocess.Popen(arguments, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    assert server.stdout is not None
    said = ""
    for line in server.stdout:
        said += line
        if match := STARTED.search(line):
            return server, f"http://127.0.0.1:{match[1]}"
    pytest.fail(said)


def post(origin: str, token: str, envelopes: list[dict[str, Any]]) -> list[dict[str, Any]] | None:
    """Send a batch; None when the connection broke before a whole answer came."""
    request = urllib.request.Request(
        f"{origin}/api/v1/batch",
        json.dumps({"envelopes": envelopes}).encode(),
        {"Content-Type": "application/json", "Authorization": f"Bearer {token}"},
    )
    with suppress(OSError, ValueError, EOFError), urllib.request.urlopen(request, timeout=20) as answer:
        receipts: list[dict[str, Any]] = json.loads(answer.read())["receipts"]
        return receipts
    return None


@pytest.mark.slow
@pytest.mark.parametrize("kind", KILLS)
def test_killed_in_the_middle_of_a_batch(
    kind: str, tmp_path: Path, request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    new_book: Callable[[], str] = (
        (lambda: str(tmp_path / "farm.chaffinch")) if kind == "sqlite" else request.getfixturevalue("postgres").new_book
    )
    address, keep = new_book(), tmp_path / "keep"
    begin(address, farm()).close()
    settings = WebSettings(book=address, keep=keep)
    devices = Devices(settings.devices_file, settings.clock, settings.new_secret)
    token = devices.pair(devices.make_code("crew").secret, "phone", "127.0.0.1").secret
    outbox = {one.id: one for one in (check(n, mass_g=n % 97 / 10) for n in range(100, 100 + BATCHES * IN_A_BATCH))}
    made, confirmed = dict(outbox), dict[str, str]()
    chance, killed, span_s = random.Random(kind), 0, 0.0
    while outbox:
        server, origin = start(address, keep)
        deadly = killed < KILLS[kind]
        for turn in range(2 if deadly else BATCHES):
            part = list(outbox.values())[:IN_A_BATCH]
            began = time.monotonic()
            if deadly and turn == 1:
                # Some time within the next batch, by the time that this one took.
                killer = threading.Timer(chance.uniform(0.0, span_s), os.kill, (server.pid, signal.SIGKILL))
                killer.start()
            receipts = post(origin, token, [one.as_dict() for one in part])
            span_s = time.monotonic() - began if receipts is not None else span_s
            for one in receipts or []:
                receipt = Receipt(**one)
                if confirms(receipt, made[receipt.id]):
                    confirmed[receipt.id] = receipt.hash
                    outbox.pop(receipt.id, None)
            if not outbox:
                break
        if deadly:
            killer.join(30)
        else:
            server.send_signal(signal.SIGTERM)
        status = server.wait(30)
        assert server.stdout is not None
        server.stdout.close()
        killed += status == -signal.SIGKILL
        store = again(address)
        found = identities(store)
        assert len(found) == len({i for i, _ in found}), "a record is there twice"
        assert confirmed.items() <= dict(found).items(), "something confirmed was lost"
        assert problems(store) == ()
        store.close()
    assert killed == KILLS[kind]
    store = again(address)
    assert dict(identities(store)) == {one.id: one.hash for one in [*farm(), *made.values()]}
    store.close()


def test_a_server_that_is_told_to_end_answers_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """SIGTERM and Ctrl-C end it with status 0 and without a word of complaint."""
    monkeypatch.chdir(tmp_path)
    address = str(tmp_path / "farm.chaffinch")
    begin(address, farm()).close()
    for number in (signal.SIGTERM, signal.SIGINT):
        server, origin = start(address, tmp_path / "keep")
        with urllib.request.urlopen(f"{origin}/api/v1/health", timeout=20) as answer:
            assert json.loads(answer.read())["app"] == "chaffinch"
        server.send_signal(number)
        assert server.wait(20) == 0
        assert server.stdout is not None
        assert "Traceback" not in server.stdout.read()
        server.stdout.close()
        with pytest.raises(OSError, match="refused"):
            urllib.request.urlopen(f"{origin}/api/v1/health", timeout=20)

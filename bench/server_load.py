"""How long does a phone wait for "saved" while fifty of them send?

A real server (``chaffinch serve``) on loopback, on a book in a file and on PostgreSQL; phones that keep their
connection, each sending one sealed check after the other and waiting for its receipt. Everything runs on this machine,
phones too, so they take their share of it. Loops are bounded; every receipt is looked at, and afterwards the book.

    python bench/server_load.py --phones 50 --checks 20 --pause 1
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import random
import re
import subprocess
import sys
import tempfile
import time
import uuid
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from chaffinch.book.desk import Desk, open_desk, start_book
from chaffinch.store import records
from chaffinch.sync.envelope import seal
from chaffinch.web.devices import Devices
from chaffinch.web.settings import WebSettings

NOW = "2026-08-14T16:40:00Z"


@dataclass(frozen=True)
class Row:
    """One measurement: waits in ms, sorted."""

    name: str
    waits_ms: list[float]
    seconds: float
    server_s: float
    """Processor time that the server took for all of them [s]; not a number where the system does not tell."""

    def at(self, share: float) -> float:
        """The wait that this share of the answers stayed within [ms]."""
        return self.waits_ms[min(len(self.waits_ms) - 1, int(share * len(self.waits_ms)))]


def sealed_checks(chance: random.Random, count: int, combine: str, field: str) -> list[dict[str, Any]]:
    """Checks of three catches each, as a phone seals them."""
    made = []
    for _ in range(count):
        catches = [
            {"place": "discharge", "pan": "0.37 m2", "amount": f"{chance.uniform(4, 20):.1f} g", "step": "0.1 g"}
            for _ in range(3)
        ]
        table = {
            "crop": "canola",
            "limit": "40 kg/ha",
            "combine": {"cut_width": "12.2 m", "drop_width": "1.7 m"},
            "catch": catches,
        }
        body = {"taken_at": NOW, "check": table, "field": field, "combine": combine}
        made.append(
            seal(str(uuid.UUID(int=chance.getrandbits(128), version=4)), "check", 1, "phone", NOW, body).as_dict()
        )
    return made


@contextmanager
def server(address: str, keep: Path) -> Iterator[tuple[int, int]]:
    """A real server in a process of its own; gives its port and its process id."""
    arguments = [sys.executable, "-m", "chaffinch", "serve", "--book", address, "--port", "0", "--keep", str(keep)]
    process = subprocess.Popen(arguments, stdout=subprocess.PIPE, text=True, cwd=keep.parent)
    assert process.stdout is not None
    try:
        for line in process.stdout:
            if match := re.search(r"http://127\.0\.0\.1:(\d+)/enter", line):
                yield int(match[1]), process.pid
                break
        else:
            raise SystemExit("the server did not start")
    finally:
        if process.poll() is not None:
            print(f"the server died with status {process.returncode}", file=sys.stderr)
        process.terminate()
        process.wait(30)
        process.stdout.close()


@dataclass
class Line:
    """A phone's connection, opened anew when the server closed it during a rest, as any browser does.

    The server closes a connection that nothing came over for 15 s; what is sent in that very moment is lost with it,
    and a phone sends it again.
    """

    port: int
    reader: asyncio.StreamReader | None = None
    writer: asyncio.StreamWriter | None = None

    async def ask(self, request: bytes) -> tuple[bytes, bytes]:
        """Head and body of the answer."""
        for again in (False, True):
            fresh = self.reader is None or self.reader.at_eof()
            if fresh:
                self.close()
                self.reader, self.writer = await asyncio.open_connection("127.0.0.1", self.port)
            try:
                return await self._ask(request)
            except (asyncio.IncompleteReadError, ConnectionError) as error:
                if fresh or again:
                    raise SystemExit(f"the server closed a connection that was in use: {error!r}") from error
                self.close()
        raise AssertionError("unreachable")

    async def _ask(self, request: bytes) -> tuple[bytes, bytes]:
        assert self.reader is not None
        assert self.writer is not None
        self.writer.write(request)
        head = await self.reader.readuntil(b"\r\n\r\n")
        length = re.search(rb"content-length: (\d+)", head, re.IGNORECASE)
        return head, await self.reader.readexactly(int(length[1]) if length else 0)

    def close(self) -> None:
        """Leave."""
        if self.writer is not None:
            self.writer.close()
        self.reader = self.writer = None


async def ask(port: int, requests: Sequence[bytes], pause_s: float, wanted: bytes, waits_ms: list[float]) -> None:
    """One phone: send each request, wait for the whole answer, rest. Rests differ, so that phones do not march."""
    line, chance = Line(port), random.Random(requests[0])
    try:
        for request in requests:
            if pause_s:
                await asyncio.sleep(chance.uniform(0.0, 2.0 * pause_s))
            began = time.perf_counter()
            head, body = await line.ask(request)
            waits_ms.append(1000.0 * (time.perf_counter() - began))
            if not head.startswith(b"HTTP/1.1 200") or wanted not in body:
                raise SystemExit(f"not what was asked for: {head[:60]!r} {body[:200]!r}")
    finally:
        line.close()


def request_of(method: str, path: str, token: str, body: bytes = b"") -> bytes:
    """A request as it goes over the wire."""
    return (
        f"{method} {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nAuthorization: Bearer {token}\r\n"
        f"Content-Type: application/json\r\nContent-Length: {len(body)}\r\n\r\n"
    ).encode() + body


def processor_s(process: int) -> float:
    """Processor time a process has taken [s], on systems that keep ``/proc``."""
    try:
        parts = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    except OSError:
        return float("nan")
    return (int(parts[11]) + int(parts[12])) / os.sysconf("SC_CLK_TCK")


def measure(name: str, where: tuple[int, int], phones: Sequence[Sequence[bytes]], pause_s: float, wanted: bytes) -> Row:
    """All phones at once."""
    waits: list[float] = []
    port, process = where

    async def all_of_them() -> None:
        await asyncio.gather(*(ask(port, requests, pause_s, wanted, waits) for requests in phones))

    began, taken = time.perf_counter(), processor_s(process)
    asyncio.run(all_of_them())
    return Row(name, sorted(waits), time.perf_counter() - began, processor_s(process) - taken)


def fill(desk: Desk, keep: Path, phones: int) -> tuple[str, str, list[str]]:
    """A combine, a field and paired phones."""
    combine = desk.write("combine", {"name": "Big Wren", "cut_width": "12.2 m", "drop_width": "1.7 m"}).id
    field = desk.write("field", {"name": "Siskin Bend", "crop": "canola", "area": "62 ha"}).id
    settings = WebSettings(book=desk.store.address, keep=keep)
    devices = Devices(settings.devices_file, settings.clock, settings.new_secret)
    tokens = [devices.pair(devices.make_code("crew").secret, f"phone {n}", "127.0.0.1").secret for n in range(phones)]
    return combine, field, tokens


def run(name: str, address: str, folder: Path, options: argparse.Namespace) -> list[Row]:
    """Every measurement on one book; afterwards every check must be there once."""
    chance, keep = random.Random(1), folder / f"{name}-keep"
    desk = start_book(address, title="Larkhollow", device="bench")
    combine, field, tokens = fill(desk, keep, options.phones)
    desk.store.close()
    rows, sent = [], 2
    with server(address, keep) as where:
        health = [[request_of("GET", "/api/v1/me", token)] * min(options.checks, 10) for token in tokens]
        measure("warm", where, health, 0.0, b"crew")
        rows.append(measure(f"{name}, who am I, {options.pause:g} s apart", where, health, options.pause, b"crew"))
        for pause in (options.pause, 0.0):
            phones = [
                [
                    request_of("POST", "/api/v1/batch", token, json.dumps({"envelopes": [one]}).encode())
                    for one in sealed_checks(chance, options.checks, combine, field)
                ]
                for token in tokens
            ]
            rest = f"{pause:g} s apart" if pause else "without rest"
            rows.append(measure(f"{name}, a check, {rest}", where, phones, pause, b'"accepted"'))
            sent += options.phones * options.checks
    desk = open_desk(address)
    there = [identity for identity, _ in records.identities(desk.store)]
    desk.store.close()
    if len(there) != sent or len(set(there)) != sent:
        raise SystemExit(f"{sent} records were confirmed, {len(set(there))} are there")
    return rows


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--phones", type=int, default=50)
    parser.add_argument("--checks", type=int, default=20, help="checks each phone sends, with rests and again without")
    parser.add_argument("--pause", type=float, default=1.0, help="mean rest between two checks of a phone [s]")
    parser.add_argument("--sqlite", action=argparse.BooleanOptionalAction, default=True)
    parser.add_argument("--postgresql", action=argparse.BooleanOptionalAction, default=True)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="chaffinch-load-") as place:
        folder = Path(place)
        rows = run("SQLite", str(folder / "farm.chaffinch"), folder, options) if options.sqlite else []
        if options.postgresql:
            sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))
            from postgres_server import binaries, put_away, serve

            if binaries() is None:
                print("PostgreSQL: no server programs here", file=sys.stderr)
            else:
                cluster = serve()
                try:
                    rows += run("PostgreSQL", cluster.new_book(), folder, options)
                finally:
                    put_away(cluster)
    load = os.getloadavg()[0]
    print(f"{options.phones} phones, {options.checks} checks each; {os.cpu_count()} cores, load {load:.1f}\n")
    print("| | answers | per s | p50 [ms] | p95 [ms] | p99 [ms] | p95, × who am I | server's processor [ms each] |")
    print("|---|---|---|---|---|---|---|---|")
    plain = 1.0
    for row in rows:
        if "who am I" in row.name:
            plain = row.at(0.95)
        print(
            f"| {row.name} | {len(row.waits_ms)} | {len(row.waits_ms) / row.seconds:.0f} | {row.at(0.5):.1f} "
            f"| {row.at(0.95):.1f} | {row.at(0.99):.1f} | {row.at(0.95) / plain:.1f} "
            f"| {1000.0 * row.server_s / len(row.waits_ms):.2f} |"
        )


if __name__ == "__main__":
    main()

"""One address that opens a thousand connections, also such as never say anything, leaves room for the others."""

from __future__ import annotations

import asyncio
import contextlib
import socket
import ssl
from collections.abc import Awaitable, Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import uvicorn

from chaffinch.web import crowd, running
from chaffinch.web.crowd import CountingDoor, one_of
from chaffinch.web.tls import certificates

MOST = 5
REQUEST = b"GET /x HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n"
HOSTILE, NEIGHBOUR = "127.0.0.2", "127.0.0.3"


async def app(_: Any, __: Any, send: Any) -> None:
    await send({"type": "http.response.start", "status": 204, "headers": []})
    await send({"type": "http.response.body", "body": b""})


def served(monkeypatch: pytest.MonkeyPatch, act: Callable[[int, CountingDoor], Awaitable[None]], **door: Any) -> None:
    """Do something with a served port."""
    monkeypatch.setattr(crowd.CountingDoor.__init__, "__kwdefaults__", {"most": MOST, "plain": True})

    async def all_of_it() -> None:
        given = running.Door(socket.create_server(("127.0.0.1", 0), backlog=256), **door)
        waiting = running.counting(given)
        assert isinstance(waiting, CountingDoor)
        server = uvicorn.Server(running._config(app, given, first=False))
        serving = asyncio.create_task(server._serve([waiting]))
        while not server.started:
            await asyncio.sleep(0.01)
        await asyncio.wait_for(act(waiting.getsockname()[1], waiting), 30)
        server.should_exit = True
        await serving

    with contextlib.closing(asyncio.new_event_loop()) as loop:
        loop.run_until_complete(all_of_it())


async def came_to(door: CountingDoor, expected: dict[str, int]) -> None:
    while dict(door.open) != expected:
        await asyncio.sleep(0.01)


async def ask(port: int, who: str, **more: Any) -> bytes:
    """The answer to a request from an address, as far as it came."""
    reader, writer = await asyncio.open_connection("127.0.0.1", port, local_addr=(who, 0), **more)
    found = b""
    with contextlib.suppress(ConnectionError):
        writer.write(REQUEST)
        found = await reader.read()
    writer.close()
    return found


def test_a_crowd_of_one_address_is_refused_and_its_neighbour_is_served(monkeypatch: pytest.MonkeyPatch) -> None:
    async def act(port: int, door: CountingDoor) -> None:
        idle = [await asyncio.open_connection("127.0.0.1", port, local_addr=(HOSTILE, 0)) for _ in range(1000)]
        await came_to(door, {HOSTILE: MOST})
        refused = await ask(port, HOSTILE)
        assert b" 503 " in refused
        assert b"this address has more than 5 open ones; close some, or wait 15 s" in refused
        assert b" 204 " in await ask(port, NEIGHBOUR)
        for _, writer in idle:
            writer.close()
        # As soon as they are closed there is room again.
        await came_to(door, {})
        assert b" 204 " in await ask(port, HOSTILE)
        await came_to(door, {})

    served(monkeypatch, act)


def test_connections_that_never_shake_hands_count_too(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    made = certificates(tmp_path, ["localhost"], now=datetime.now(UTC))
    trusting = ssl.create_default_context(cafile=made.ca)

    async def act(port: int, door: CountingDoor) -> None:
        idle = [await asyncio.open_connection("127.0.0.1", port, local_addr=(HOSTILE, 0)) for _ in range(50)]
        await came_to(door, {HOSTILE: MOST})
        with pytest.raises((OSError, ssl.SSLError)):
            await ask(port, HOSTILE, ssl=trusting, server_hostname="localhost")
        assert b" 204 " in await ask(port, NEIGHBOUR, ssl=trusting, server_hostname="localhost")
        for _, writer in idle:
            writer.close()
        await came_to(door, {})

    served(monkeypatch, act, certificate=made.certificate, key=made.key)


def test_a_proxy_is_one_address_for_everybody_and_is_not_counted() -> None:
    with socket.create_server(("127.0.0.1", 0)) as waiting:
        assert running.counting(running.Door(waiting, behind_proxy=True)) is waiting


def test_an_address_of_ipv6_stands_for_its_network() -> None:
    assert one_of("192.168.1.7") == "192.168.1.7"
    assert one_of("fe80::1%eth0") == one_of("fe80::2%eth0") == "fe80::/64"
    assert one_of("2001:db8:0:1::1") != one_of("2001:db8:0:2::1")
    assert one_of("::ffff:192.168.1.7") == "192.168.1.7"
    assert one_of("a name") == "a name"

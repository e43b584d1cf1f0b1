"""One application behind one or two doors: this computer without TLS, and the local network with it."""

from __future__ import annotations

import asyncio
import contextlib
import signal
import socket
import ssl
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import uvicorn
from starlette.types import ASGIApp

from chaffinch.web.crowd import CountingDoor
from chaffinch.web.slow_senders import Impatient

MOST_AT_ONCE: Final = 400
"""Connections and requests under way at once; who comes then is told to come later (503). Own figure: 50 phones and a
few browsers, six connections each."""
IDLE_S: Final = 15
"""How long a connection without a request is kept [s]; own figure."""
LEAVE_S: Final = 5
"""How long requests under way may take when the server is told to end [s]; own figure."""


@dataclass(frozen=True, slots=True)
class Door:
    """One way in.

    Attributes
    ----------
    waiting : socket
        Bound and listening.
    certificate, key : Path or None
        For TLS; None without.
    behind_proxy : bool
        Believe X-Forwarded-For and X-Forwarded-Proto, from loopback only.
    """

    waiting: socket.socket
    certificate: Path | None = None
    key: Path | None = None
    behind_proxy: bool = False


class _Server(uvicorn.Server):
    """A server that leaves signals to us, since two of them share one process."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield


def run(app: ASGIApp, doors: Sequence[Door], *, when_ready: Callable[[], None] = lambda: None) -> None:
    """Serve until Ctrl-C or a signal to end; requests under way are answered first.

    Parameters
    ----------
    app : ASGI application
    doors : sequence of Door
        The first one starts and ends the application.
    when_ready : callable
        Called once all doors are open.
    """
    servers = [_Server(_config(app, door, first=place == 0)) for place, door in enumerate(doors)]
    asyncio.run(_serve(servers, [counting(door) for door in doors], when_ready))


def counting(door: Door) -> socket.socket:
    """The socket of a door, which lets no address hold all connections; a proxy is one address for everybody."""
    if door.behind_proxy:
        return door.waiting
    return CountingDoor(door.waiting, plain=door.certificate is None)


def _config(app: ASGIApp, door: Door, *, first: bool) -> uvicorn.Config:
    return uvicorn.Config(
        app,
        ssl_certfile=door.certificate,
        ssl_keyfile=door.key,
        ssl_version=ssl.PROTOCOL_TLS_SERVER,
        proxy_headers=door.behind_proxy,
        forwarded_allow_ips="127.0.0.1,::1",
        lifespan="on" if first else "off",
        log_level="warning",
        access_log=False,
        server_header=False,
        date_header=True,
        ws="none",
        http=Impatient,
        limit_concurrency=MOST_AT_ONCE,
        timeout_keep_alive=IDLE_S,
        timeout_graceful_shutdown=LEAVE_S,
    )


async def _serve(servers: Sequence[_Server], waiting: Sequence[socket.socket], when_ready: Callable[[], None]) -> None:
    loop = asyncio.get_running_loop()

    def end() -> None:
        for server in servers:
            server.should_exit = True

    for number in (signal.SIGINT, signal.SIGTERM):
        try:
            loop.add_signal_handler(number, end)
        except NotImplementedError:  # Windows
            signal.signal(number, lambda *_: loop.call_soon_threadsafe(end))
    running = [asyncio.create_task(s.serve(sockets=[one])) for s, one in zip(servers, waiting, strict=True)]
    while not all(server.started for server in servers) and not any(task.done() for task in running):
        await asyncio.sleep(0.02)
    if all(server.started for server in servers):
        when_ready()
    # One that ends by itself takes the others along.
    await asyncio.wait(running, return_when=asyncio.FIRST_COMPLETED)
    end()
    await asyncio.gather(*running)

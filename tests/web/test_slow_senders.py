"""Who sends nothing, half a head or half a body is let go; who waits for an answer is not hurried."""

from __future__ import annotations

import asyncio
import contextlib
import socket
from typing import Any

import pytest
import uvicorn

from chaffinch.web import running, slow_senders

HEAD = b"POST /x HTTP/1.1\r\nHost: localhost\r\nContent-Length: 5\r\n"
HALVES = {
    "nothing": b"",
    "half a head": HEAD,
    "half a body": HEAD + b"\r\n12",
    "after an answer": HEAD + b"\r\n12345" + HEAD,
}
AT_WORK_S = 1.2


async def slow_app(scope: Any, receive: Any, send: Any) -> None:
    """Answers late, once the body is whole."""
    while (await receive()).get("more_body"):
        pass
    if scope["path"] == "/late":
        await asyncio.sleep(AT_WORK_S)
    await send({"type": "http.response.start", "status": 204, "headers": []})
    await send({"type": "http.response.body", "body": b""})


async def ends(port: int, sent: bytes) -> bytes:
    """What came, once the server closed the connection."""
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    writer.write(sent)
    try:
        return await asyncio.wait_for(reader.read(), 20)
    finally:
        writer.close()


def test_slow_senders_are_let_go(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(running, "IDLE_S", 0.2)
    monkeypatch.setattr(slow_senders, "WHOLE_S", 0.4)

    async def all_of_it() -> None:
        waiting = socket.create_server(("127.0.0.1", 0))
        config = running._config(slow_app, running.Door(waiting), first=False)
        server = uvicorn.Server(config)
        serving = asyncio.create_task(server._serve([waiting]))
        while not server.started:
            await asyncio.sleep(0.01)
        port = waiting.getsockname()[1]
        late = HEAD.replace(b"/x", b"/late") + b"\r\n12345"
        found = await asyncio.gather(*(ends(port, sent) for sent in (*HALVES.values(), late)))
        server.should_exit = True
        await serving
        answers = dict(zip((*HALVES, "late"), found, strict=True))
        assert [answers[name] for name in ("nothing", "half a head")] == [b"", b""]
        assert b"204" not in answers["half a body"]
        assert answers["after an answer"].count(b" 204 ") == 1
        assert answers["late"].count(b" 204 ") == 1, "it took six times as long as a head may"

    with contextlib.closing(asyncio.new_event_loop()) as loop:
        loop.run_until_complete(all_of_it())

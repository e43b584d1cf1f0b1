"""Is somebody asking too often, or sending too much? A bucket of requests for each, refilled at a steady pace."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from threading import Lock
from typing import Final

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from chaffinch.web.problems import Refusal, told
from chaffinch.web.settings import LESS_AT_ONCE, most_bytes

BURST_KNOWN: Final = 120.0
"""Requests a known device may make at once [1]; own figure: a phone that comes home with 1000 checks makes ten."""
PER_S_KNOWN: Final = 20.0
"""Requests a known device may make for long [1/s]; own figure."""
BURST_STRANGER: Final = 120.0
"""Requests an address without a device may make at once [1]; own figure."""
PER_S_STRANGER: Final = 20.0
"""Requests an address without a device may make for long [1/s]; own figure."""
MOST_KEPT: Final = 10_000
"""Buckets kept; beyond that the fullest go, which changes nothing for anybody."""


@dataclass
class Buckets:
    """How many requests each may still make.

    Attributes
    ----------
    burst : float
        Requests at once.
    per_s : float
        Requests for long [1/s].
    clock : callable
        Seconds, from any beginning.
    """

    burst: float
    per_s: float
    clock: Callable[[], float]
    _level: dict[str, tuple[float, float]] = field(default_factory=dict)
    _lock: Lock = field(default_factory=Lock)

    def wait_s(self, who: str) -> float:
        """Take one request; 0, or how long to wait first [s], when nothing is taken."""
        now = self.clock()
        with self._lock:
            level, at = self._level.get(who, (self.burst, now))
            # A clock that was set back gives nothing and takes nothing.
            level = min(self.burst, level + max(0.0, now - at) * self.per_s)
            wait = 0.0 if level >= 1.0 else (1.0 - level) / self.per_s
            self._level[who] = (level - 1.0 if wait == 0.0 else level, now)
            if len(self._level) > MOST_KEPT:
                fullest = sorted(self._level, key=lambda one: -self._level[one][0])[: MOST_KEPT // 2]
                for one in fullest:
                    del self._level[one]
        return wait


class BodyLimit:
    """ASGI middleware: refuses a body that is larger than its path allows, by its announced size or while it comes."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on, counting its bytes."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        with_key = any(name in (b"authorization", b"cookie") for name, _ in scope["headers"])
        most, came = most_bytes(scope["path"], with_key=with_key), 0
        announced = next((value for name, value in scope["headers"] if name == b"content-length"), b"0")
        if not announced.isdigit() or len(announced) > 15 or int(announced) > most:
            size = announced.decode("ascii", "replace")[:15]
            await told(_too_large(most, scope["path"], f"{size} bytes"), Request(scope))(scope, receive, send)
            return

        async def counted() -> Message:
            nonlocal came
            message = await receive()
            came += len(message.get("body", b""))
            if came > most:
                # As the framework's own kind: it is let through where a body is read.
                raise HTTPException(413, _too_large(most, scope["path"]).problem)
            return message

        await self.app(scope, counted, send)


def _too_large(most: int, path: str, value: str | None = None) -> Refusal:
    mend = next((mend for start, mend in LESS_AT_ONCE.items() if path.startswith(start)), "send less at once")
    shown = f"{most // 1024**2} MB" if most >= 1024**2 else f"{most // 1024} kB"
    return Refusal(413, "body", f"is larger than {shown}", mend, value=value)

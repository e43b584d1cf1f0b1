"""How long is somebody waited for who sends slowly, or nothing? Some hundred such connections would fill the server."""

from __future__ import annotations

import asyncio
from typing import Any, Final

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

WHOLE_S: Final = 180
"""How long the body of a request may take to come [s]; own figure: a photo of 6 MB at 300 kbit/s takes 160 s."""


class Impatient(H11Protocol):
    """uvicorn's protocol, which by itself waits for ever for the rest of a head or of a body.

    A head must be whole within the time a resting connection is kept, counted from the connection's beginning or from
    the last answer; a body within :data:`WHOLE_S`. Then the connection is closed. A request that is being worked on is
    not hurried.
    """

    _since = 0.0
    _looks: asyncio.TimerHandle | None = None

    def connection_made(self, transport: Any) -> None:
        """Begin to count."""
        super().connection_made(transport)
        self._since = self.loop.time()
        self._look_later()

    def connection_lost(self, exc: Exception | None) -> None:
        """Count no more."""
        if self._looks is not None:
            self._looks.cancel()
        super().connection_lost(exc)

    def on_response_complete(self) -> None:
        """Count anew: the next request may come."""
        self._since = self.loop.time()
        super().on_response_complete()

    def _look_later(self) -> None:
        self._looks = self.loop.call_later(min(self.timeout_keep_alive, WHOLE_S), self._look)

    def _look(self) -> None:
        if self.transport.is_closing():
            return
        waited_s, state = self.loop.time() - self._since, self.conn.their_state
        most_s = {h11.IDLE: self.timeout_keep_alive, h11.SEND_BODY: WHOLE_S}.get(state)
        if most_s is not None and waited_s >= most_s - 0.001:
            self.transport.close()
        else:
            self._look_later()

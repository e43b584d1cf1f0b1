"""Does one address hold too many connections? A door that counts them as they come, before anything is read of them.

Connections are counted when they are taken from the system's queue, so that those count too which never say what they
want, or never finish the handshake of TLS. One address that opens a thousand then leaves room for everybody else.
"""

from __future__ import annotations

import contextlib
import ipaddress
import socket
from collections import Counter
from typing import Any, Final

MOST_FROM_ONE: Final = 100
"""Open connections of one address; own figure: a browser opens six, and a dozen phones may share one address."""
REFUSAL: Final = (
    b"HTTP/1.1 503 Service Unavailable\r\nContent-Type: text/plain; charset=utf-8\r\nRetry-After: 15\r\n"
    b"Connection: close\r\nContent-Length: %d\r\n\r\n%s"
)
SAID: Final = "connections: this address has more than {most} open ones; close some, or wait 15 s.\n"


class CountingDoor(socket.socket):
    """A listening socket that lets one address hold so many connections and no more.

    Parameters
    ----------
    waiting : socket
        Bound and listening; it is taken over, and closed with this one.
    most : int
        Connections of one address at once.
    plain : bool
        Whether a refusal may be told in plain HTTP; under TLS the connection is just closed.
    """

    def __init__(self, waiting: socket.socket, *, most: int = MOST_FROM_ONE, plain: bool = True) -> None:
        super().__init__(waiting.family, waiting.type, waiting.proto, fileno=waiting.detach())
        self.most = most
        self.plain = plain
        self.open: Counter[str] = Counter()

    def accept(self) -> tuple[socket.socket, Any]:
        """The next connection.

        Raises
        ------
        ConnectionAbortedError
            For one too many, which is closed already: who waits here takes the next one.
        """
        handle, address = self._accept()  # type: ignore[attr-defined]
        who = one_of(str(address[0]))
        if self.open[who] >= self.most:
            self._refuse(socket.socket(self.family, self.type, self.proto, fileno=handle))
            raise ConnectionAbortedError
        self.open[who] += 1
        return _Counted(self, who, handle), address

    def left(self, who: str) -> None:
        """One connection of an address is closed."""
        self.open[who] -= 1
        if self.open[who] <= 0:
            del self.open[who]

    def _refuse(self, coming: socket.socket) -> None:
        with contextlib.suppress(OSError), coming:
            coming.setblocking(False)
            if not self.plain:
                return
            with contextlib.suppress(BlockingIOError):
                coming.recv(65_536)  # what is left unread would cut the answer off
            said = SAID.format(most=self.most).encode()
            coming.send(REFUSAL % (len(said), said))
            coming.shutdown(socket.SHUT_WR)


class _Counted(socket.socket):
    """A connection that says when it is closed, once."""

    def __init__(self, door: CountingDoor, who: str, handle: int) -> None:
        super().__init__(door.family, door.type, door.proto, fileno=handle)
        self._door: CountingDoor | None = door
        self._who = who

    def close(self) -> None:
        """Close it, and make room."""
        door, self._door = self._door, None
        super().close()
        if door is not None:
            door.left(self._who)


def one_of(address: str) -> str:
    """Who an address stands for: itself; of IPv6 its network of 64 bits, all of which one machine may use."""
    try:
        found = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address
    if isinstance(found, ipaddress.IPv6Address):
        mapped = found.ipv4_mapped
        return str(mapped) if mapped is not None else str(ipaddress.ip_network((found, 64), strict=False))
    return str(found)

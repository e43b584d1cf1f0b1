"""Under which names and addresses do phones nearby reach this computer?"""

from __future__ import annotations

import contextlib
import ipaddress
import socket
from collections.abc import Iterable
from typing import Final

from chaffinch.errors import InputError

_NOWHERE: Final = "192.0.2.1"
"""An address kept for documentation (RFC 5737): asking the way to it tells our own address and sends nothing."""


def own_addresses() -> list[str]:
    """This computer's IPv4 addresses, the one that leads outward first; loopback and link-local ones are left out."""
    found = [_outward()]
    with contextlib.suppress(OSError):  # a computer whose own name leads nowhere still has the address above
        found += [str(info[4][0]) for info in socket.getaddrinfo(socket.gethostname(), None, family=socket.AF_INET)]
    return [one for one in dict.fromkeys(found) if _can_be_reached(one)]


def own_names() -> list[str]:
    """This computer's name, and the name it has on networks without a name server."""
    name = socket.gethostname().lower().rstrip(".")
    if not name or not name.isascii() or name.startswith("localhost"):
        return []
    return [name] if "." in name else [name, f"{name}.local"]


def listen(host: str, port: int) -> socket.socket:
    """A socket that waits for connections; port 0 takes a free one.

    What is written goes out at once. Else the system holds the second part of an answer until the other side has said
    that the first came, which takes it 40 ms; asyncio sees to that only for sockets that name their protocol.

    Raises
    ------
    InputError
        When the port is taken, or may not be used.
    """
    try:
        waiting = socket.create_server((host, port), backlog=256)
    except (OSError, OverflowError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError("port", port, f"cannot be used ({reason.lower()})", "name another: --port 8770") from None
    waiting.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)  # its connections take it over
    return waiting


def origins_of(scheme: str, names: Iterable[str], port: int) -> tuple[str, ...]:
    """Origins like ``https://192.168.1.7:8766`` for these names and addresses."""
    return tuple(f"{scheme}://{f'[{name}]' if ':' in name else name}:{port}" for name in names)


def _outward() -> str:
    try:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.connect((_NOWHERE, 9))
            return str(probe.getsockname()[0])
    except OSError:
        return ""  # no way out


def _can_be_reached(address: str) -> bool:
    try:
        found = ipaddress.ip_address(address)
    except ValueError:  # empty: there was no way out
        return False
    return not (found.is_loopback or found.is_link_local or found.is_unspecified or found.is_multicast)

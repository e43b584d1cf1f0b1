"""Forecasts that were sent to the desk, and the last plan made of one: kept in memory, in no book and in no file."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Hashable
from dataclasses import dataclass, field
from hashlib import sha256
from threading import Lock
from typing import Any, Final

from fastapi import Request

from chaffinch.records.forecast import Forecast, read_forecast

KEPT: Final = 8
"""Forecasts kept between two pages; own figure."""
PLANS_KNOWN: Final = 64
"""Plans of which it is known that they were made before; own figure."""


@dataclass
class Forecasts:
    """Forecasts that were sent, and the last plan; the oldest is put away first."""

    last: dict[str, Any] | None = None
    _kept: OrderedDict[str, tuple[str, Forecast]] = field(default_factory=OrderedDict)
    _made: OrderedDict[Hashable, None] = field(default_factory=OrderedDict)
    _lock: Lock = field(default_factory=Lock)

    def keep(self, text: str, date: str | None) -> str:
        """Read and keep a forecast, and return what it is asked for by.

        Raises
        ------
        InputError
            For a forecast that cannot be meant.
        """
        found = read_forecast(text, day=date)
        token = sha256(f"{date}\n{text}".encode()).hexdigest()[:32]
        with self._lock:
            self._kept[token] = text, found
            self._kept.move_to_end(token)
            while len(self._kept) > KEPT:
                self._kept.popitem(last=False)
        return token

    def made(self, key: Hashable, plan: dict[str, Any]) -> None:
        """Keep a plan as the last one, for the phones; an old one that is looked at again does not become the newest.

        Parameters
        ----------
        key : hashable
            What it was made of.
        plan : dict
            As phones get it.
        """
        with self._lock:
            if key not in self._made:
                self.last = plan
            self._made[key] = None
            self._made.move_to_end(key)
            while len(self._made) > PLANS_KNOWN:
                self._made.popitem(last=False)

    def find(self, token: str) -> tuple[str, Forecast] | None:
        """A forecast that is still kept, with its text."""
        with self._lock:
            return self._kept.get(token)


def forecasts_of(request: Request) -> Forecasts:
    """The app's forecasts."""
    found: Forecasts | None = getattr(request.app.state, "forecasts", None)
    if found is None:
        found = Forecasts()
        request.app.state.forecasts = found
    return found

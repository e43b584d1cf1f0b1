"""The sentences that only paper says, by key; a table of :mod:`chaffinch.paper.words`."""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

PRINTED: Final[MappingProxyType[str, str]] = MappingProxyType({})
"""By key; the first part of a key is the sheet it stands on."""

"""What is never printed: the password in an address, wherever the address was typed."""

from __future__ import annotations

import re
from typing import Final

_USER: Final = r"([\w.+-]+:?/{1,2}[^\s:/@'\"(]+(?=:\S)|[^\s:/@'\"(]+(?=:[^\s/])):"
"""What may stand before a password: ``postgresql://ines:``, ``ines:``; not the scheme alone."""
_TO_AN_AT: Final = re.compile(_USER + r"(?:(?!['\"]?[\s;,)]).)+@")
_TO_THE_LAST_AT: Final = re.compile(_USER + r".*@", re.DOTALL)
_CUT_SHORT: Final = re.compile(r"(\w+:/{1,2}[^\s:/@'\"]+):(?!\*\*\*)[^\s@'\"]*")
"""An address that was shortened before its @."""
LONGEST_LOOKED_AT: Final = 1000
"""Characters of a value that are kept; own figure: an error shows 60."""
_SAID_BY_NAME: Final = re.compile(r"((?:password|passwd|pwd)\s*=)[^\s&;'\")]+", re.IGNORECASE)


def hushed(text: str) -> str:
    """A line without any password that stands in an address in it: ``***`` in its place.

    What only looks like one (a word, a colon, more, an @) is hidden too: better too much than too little.
    """
    return _SAID_BY_NAME.sub(r"\1***", _CUT_SHORT.sub(r"\1:***", _TO_AN_AT.sub(r"\1:***@", text)))


def hushed_value(value: object) -> object:
    """A value that may be an address as a whole: its password may hold blanks and marks too.

    Only its beginning is ever shown, so no more is looked at: the search takes the square of the length.
    """
    if not isinstance(value, str):
        return value
    return hushed(_TO_THE_LAST_AT.sub(r"\1:***@", value[:LONGEST_LOOKED_AT]))

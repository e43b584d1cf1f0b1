"""A QR code in the terminal: blocks where there are some, signs of ASCII where there are not."""

from __future__ import annotations

from typing import Final

from chaffinch.cli.terminal.page import Page

QUIET: Final = 2
"""Light modules around the code; the standard (ISO/IEC 18004, from memory) asks for 4, phones read 2 from a screen."""
_HALVES: Final = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}
_WHITE_ON_BLACK: Final = "\x1b[38;5;231;48;5;16m"
_AS_BEFORE: Final = "\x1b[0m"


def qr_lines(text: str, page: Page) -> list[str]:
    """Lines of a QR code; what shines is light, so it reads rightly on a dark terminal and, with colour, on any.

    Parameters
    ----------
    text : str
        What the code says.
    page : Page
        Whether the terminal has block characters and colour.
    """
    import segno

    light = [[not dark for dark in row] for row in segno.make(text, error="m", micro=False).matrix_iter(border=QUIET)]
    if not page.fine:
        return ["".join("##" if one else "  " for one in row) for row in light]
    if len(light) % 2:
        light.append([False] * len(light[0]))
    pairs = zip(light[::2], light[1::2], strict=True)
    lines = ["".join(_HALVES[both] for both in zip(upper, lower, strict=True)) for upper, lower in pairs]
    return [f"{_WHITE_ON_BLACK}{line}{_AS_BEFORE}" for line in lines] if page.colour else lines

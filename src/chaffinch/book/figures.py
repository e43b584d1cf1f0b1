"""How many digits may be shown? As many as the range supports, and no more."""

from __future__ import annotations

import math

from chaffinch.engine.estimate import Range


def decimals_for(low: float, high: float, middle: float | None = None) -> int:
    """Decimal places so that the last place is a fifth to a fiftieth of the range; negative rounds to tens."""
    width = high - low
    if middle is not None and middle > 0:
        # A long upper tail must not blot out the middle.
        width = min(width, 2.5 * middle)
    if width <= 0 or not math.isfinite(width):
        return 2
    return -math.floor(math.log10(width / 5.0))


def rounded(value: float, decimals: int) -> str:
    """Write ``value`` with ``decimals`` places (to tens or hundreds when negative), with thin thousands."""
    if decimals < 0:
        value = round(value, decimals)
    text = f"{value:,.{max(0, decimals)}f}".replace(",", " ")
    if text.startswith("-"):
        text = "−" + text[1:]
    # A rounded-off negative is zero.
    return text[1:] if text.startswith("−") and not any(c in "123456789" for c in text) else text


def range_words(r: Range, *, decimals: int | None = None) -> tuple[str, str, str]:
    """Low, median and high as text with the digits the range supports."""
    places = decimals_for(r.low, r.high, r.median) if decimals is None else decimals
    return rounded(r.low, places), rounded(r.median, places), rounded(r.high, places)


def plain_number(value: float, significant: int = 3) -> str:
    """A given or derived number with ``significant`` digits and no trailing noise."""
    if value == 0:
        return "0"
    places = significant - 1 - math.floor(math.log10(abs(value)))
    text = rounded(value, places)
    return text.rstrip("0").rstrip(".") if "." in text else text


def kept_digits(value: float, significant: int = 2) -> str:
    """A measured number with ``significant`` digits, a zero at its end too: ``1.0`` stands beside ``0.97``."""
    if value == 0:
        return "0"
    # Rounding first: 0.996 becomes 1.0, not 1.00.
    value = float(f"{value:.{significant - 1}e}")
    return rounded(value, significant - 1 - math.floor(math.log10(abs(value))))


def seeds_text(seeds: float) -> str:
    """A number of seeds to expect: whole seeds from ten, three digits at most."""
    return plain_number(seeds) if seeds >= 100 else rounded(seeds, 0 if seeds >= 10 else 1)


def percent(probability: float) -> str:
    """A probability in percent, never shown as certain: 1 to 99, or ``<1`` and ``>99``."""
    pct = round(100 * probability)
    if pct < 1:
        return "<1"
    return ">99" if pct > 99 else str(pct)

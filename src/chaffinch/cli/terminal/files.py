"""Reading the files a person names, with one clear line when that fails."""

from __future__ import annotations

import sys
from pathlib import Path

from chaffinch.errors import CheckFileError

MISSING = "does not exist"

MOST_BYTES = 1_000_000
"""A check file is a page of text; anything beyond this is another file."""


MOST_FORECAST_BYTES = 20_000_000
"""20,000 rows take about 1 MB."""


def read_bytes(name: str, *, most: int = MOST_BYTES, what: str = "a check file") -> bytes:
    """Bytes of a file, or of standard input for ``-``.

    Raises
    ------
    CheckFileError
        When it does not exist, is a folder, may not be read or is larger than ``most`` bytes.
    """
    if name == "-":
        if sys.stdin is None:
            raise CheckFileError("standard input", None, "is closed", "name a file, or pipe one in")
        data = sys.stdin.buffer.read(most + 1)
        if len(data) > most:
            raise CheckFileError("standard input", None, f"is larger than {most / 1e6:g} MB", f"give {what}")
        return data
    path = Path(name)
    try:
        if path.is_dir():
            raise CheckFileError("file", name, "is a folder", f"name {what} in it")
        size = path.stat().st_size
        if size > most:
            least = "a page of text" if most == MOST_BYTES else "a few days of hours"
            raise CheckFileError("file", name, f"has {size / 1e6:.1f} MB; {what} is {least}", "is it the right file?")
        return path.read_bytes()
    except CheckFileError:
        raise
    except FileNotFoundError:
        raise CheckFileError("file", name, MISSING, "check the name and the folder you are in") from None
    except PermissionError:
        raise CheckFileError("file", name, "may not be read", "change its permissions") from None
    except (OSError, ValueError) as error:
        raise CheckFileError("file", name, f"cannot be read ({error})", "check the name") from None


def read_forecast_file(name: str) -> str:
    """Text of a forecast, or of standard input for ``-``.

    Raises
    ------
    CheckFileError
        When it cannot be read, is larger than 20 MB or is no UTF-8.
    """
    data = read_bytes(name, most=MOST_FORECAST_BYTES, what="a forecast")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise CheckFileError("file", name, f"is no UTF-8 (byte {error.start + 1})", "save it as UTF-8") from None

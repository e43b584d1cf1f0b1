"""Reading the files a person names, with one clear line when that fails."""

from __future__ import annotations

import sys
from pathlib import Path

from chaffinch.errors import CheckFileError

MOST_BYTES = 1_000_000
"""A check file is a page of text; anything beyond this is another file."""


def read_bytes(name: str) -> bytes:
    """Bytes of a file, or of standard input for ``-``.

    Raises
    ------
    CheckFileError
        When it does not exist, is a folder, may not be read or is larger than 1 MB.
    """
    if name == "-":
        if sys.stdin is None:
            raise CheckFileError("standard input", None, "is closed", "name a file, or pipe one in")
        data = sys.stdin.buffer.read(MOST_BYTES + 1)
        if len(data) > MOST_BYTES:
            raise CheckFileError("standard input", None, "is larger than 1 MB", "give one check file")
        return data
    path = Path(name)
    try:
        if path.is_dir():
            raise CheckFileError("file", name, "is a folder", "name the check file in it")
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise CheckFileError(
                "file", name, f"has {size / 1e6:.1f} MB; a check file is a page of text", "is it the right file?"
            )
        return path.read_bytes()
    except CheckFileError:
        raise
    except FileNotFoundError:
        raise CheckFileError("file", name, "does not exist", "check the name and the folder you are in") from None
    except PermissionError:
        raise CheckFileError("file", name, "may not be read", "change its permissions") from None
    except (OSError, ValueError) as error:
        raise CheckFileError("file", name, f"cannot be read ({error})", "check the name") from None

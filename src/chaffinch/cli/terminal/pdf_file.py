"""Writing a PDF where a person wants it: never over a file that is there unless told so, and never half of one."""

from __future__ import annotations

import os
import re
from datetime import datetime
from pathlib import Path
from typing import Final

from chaffinch.errors import InputError

LONGEST_NAME: Final = 60
"""Characters of a thing's name in the name of a file; own figure."""


def today() -> str:
    """This computer's day; paper itself reads no clock."""
    return datetime.now().astimezone().strftime("%Y-%m-%d")


def file_name(*parts: str) -> str:
    """``field-Long-Hollow-2026-09-30.pdf``: what the parts say, with nothing a file system minds."""
    plain = ("-".join(re.findall(r"\w+", part))[:LONGEST_NAME] for part in parts)
    return "-".join(part for part in plain if part) + ".pdf"


def write_pdf(name: str, pdf: bytes, *, over: bool, flag: str = "--pdf") -> Path:
    """Write a PDF in one step.

    Parameters
    ----------
    name : str
        Where.
    pdf : bytes
        What.
    over : bool
        Whether a file that is there may be replaced.
    flag : str
        How an error names it.

    Raises
    ------
    InputError
        When something is there, or it cannot be written.
    """
    target = Path(name)
    refuse_taken(name, over=over, flag=flag)
    beside = target.with_name(f".{target.name[:100]}.{os.getpid()}.part")
    try:
        beside.write_bytes(pdf)
        os.replace(beside, target)
    except (OSError, ValueError) as error:
        raise InputError(
            flag, name, f"cannot be written ({_reason(error)})", "name a file in a folder of your own"
        ) from None
    finally:
        beside.unlink(missing_ok=True) if beside.parent.is_dir() else None
    return target


def refuse_taken(name: str, *, over: bool, flag: str = "--pdf") -> None:
    """Refuse a name before anything long is worked out.

    Raises
    ------
    InputError
        When a folder or, unless ``over``, a file of that name is there, or its folder is not.
    """
    target = Path(name)
    try:
        if "\0" in name:
            raise ValueError("it holds a zero byte")
        if not name.strip() or target.is_dir():
            raise InputError(flag, name, "is a folder, not a file", "name a file in it, like card.pdf")
        if target.exists() and not over:
            raise InputError(flag, name, "is there already", "name another file, or add --over")
        if not target.parent.is_dir():
            raise InputError(flag, name, "lies in a folder that does not exist", "make the folder, or name another")
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(flag, name, f"cannot be a file ({_reason(error)})", "name another file") from None


def _reason(error: Exception) -> str:
    return (error.strerror if isinstance(error, OSError) else None) or str(error)

"""What did a page's form send? Read once for each request, by whoever comes first, and never more than a form has."""

from __future__ import annotations

from typing import Final

from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request

from chaffinch.web.problems import Refusal

MOST_FIELDS: Final = 500
"""Fields of one form; own figure: a sheet of 200 columns asks for 406."""
MOST_FILES: Final = 2
"""Files of one form; own figure: no page asks for more than one."""
LONGEST_TYPED: Final = 20_000
"""Characters of one field of a form; own figure: a note has at most half of it."""

_MOST_BYTES: Final = 12 * LONGEST_TYPED
"""Of one field as it travels [bytes]: a character takes up to four, each written with three signs."""


async def sent_form(request: Request) -> FormData:
    """A request's form, its limits held; whoever asks again is given the same.

    The framework reads a form once and keeps it, with the limits of whoever asked first. So everybody asks here.

    Raises
    ------
    Refusal
        413 for too many fields or files, or a field that is too long; 400 for a body that is no form.
    """
    try:
        sent = await request.form(max_files=MOST_FILES, max_fields=MOST_FIELDS, max_part_size=_MOST_BYTES)
    except HTTPException as error:
        if error.status_code == 413:  # the whole body is too large
            raise
        raise _refusal(str(error.detail)) from None
    for name, value in sent.multi_items():
        if not isinstance(value, UploadFile):
            refuse_long(name, value)
    return sent


def refuse_long(name: str, value: str) -> None:
    """Refuse a text that is longer than any that a page asks for.

    Raises
    ------
    Refusal
        413.
    """
    if len(value) > LONGEST_TYPED:
        problem = f"has {len(value)} characters, more than {LONGEST_TYPED}"
        raise Refusal(413, name[:40], problem, "shorten it", value=f"{value[:20]}…")


def _refusal(why: str) -> Refusal:
    """What the framework's sentence means, in the one shape."""
    if why.startswith("Too many fields"):
        return Refusal(413, "form", f"has more than {MOST_FIELDS} fields", "send it in parts", value=why)
    if why.startswith("Too many files"):
        return Refusal(413, "form", f"has more than {MOST_FILES} files", "send one file at a time", value=why)
    if "maximum size" in why:
        problem = f"has a field of more than {LONGEST_TYPED} characters"
        return Refusal(413, "form", problem, "shorten it", value=why)
    return Refusal(400, "form", "cannot be read", "load the page again, then send it once more", value=why)

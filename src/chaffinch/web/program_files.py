"""How are the program's own files sent? As little as a weak signal can carry: without their comments, and compressed.

The files are read by people and by browsers. Comments are for people: in a module of ours every line that holds nothing
else is sent empty, so that a line's number stays what it is in the source. Vendored files are sent as they are, with
their licence. What was made ready is kept in memory until the file changes.
"""

from __future__ import annotations

import gzip
import os
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from hashlib import sha256
from mimetypes import guess_type
from pathlib import Path
from typing import Final

from starlette.datastructures import Headers
from starlette.responses import Response
from starlette.staticfiles import NotModifiedResponse, StaticFiles
from starlette.types import Scope

OUR_MODULES: Final = ("app", "engine", "desk")
"""Folders with modules of our own; ``vendor`` is none of them."""
_TEXT: Final = ("text/", "image/svg", "application/manifest", "application/json", "application/javascript")
_SMALLEST: Final = 200  # [bytes]; below it compression gains nothing


@dataclass(frozen=True, slots=True)
class Ready:
    """One file as it is sent: plain and, where that is less, compressed."""

    media_type: str
    plain: bytes
    compressed: bytes | None
    tag: str


class ProgramFiles(StaticFiles):
    """Static files of the program: what a folder holds, made light."""

    def file_response(
        self, full_path: str | os.PathLike[str], stat_result: os.stat_result, scope: Scope, status_code: int = 200
    ) -> Response:
        """The answer for one file."""
        found = ready(os.fspath(full_path), stat_result.st_mtime_ns, stat_result.st_size)
        asked = Headers(scope=scope)
        packed = found.compressed if "gzip" in asked.get("accept-encoding", "") else None
        headers = {"ETag": f'"{found.tag}{"-gz" if packed is not None else ""}"', "Vary": "Accept-Encoding"}
        if packed is not None:
            headers["Content-Encoding"] = "gzip"
        body = found.plain if packed is None else packed
        response = Response(body, status_code, headers, found.media_type)
        return NotModifiedResponse(response.headers) if self.is_not_modified(response.headers, asked) else response


@lru_cache(maxsize=512)
def ready(path: str, _changed_ns: int, _size: int) -> Ready:
    """A file made ready to be sent; the time and size it had are only there to notice that it changed."""
    plain = Path(path).read_bytes()
    if path.endswith(".js") and _is_ours(Path(path)):
        plain = without_comments(plain.decode("utf-8")).encode("utf-8")
    media_type = guess_type(path)[0] or "application/octet-stream"
    packed = None
    if media_type.startswith(_TEXT) and len(plain) >= _SMALLEST:
        packed = gzip.compress(plain, 9, mtime=0)
    light = packed if packed is not None and len(packed) < len(plain) else None
    return Ready(media_type, plain, light, sha256(plain).hexdigest()[:20])


def without_comments(text: str) -> str:
    """A module with every line emptied that holds nothing but a comment; all other lines stay as they are.

    A comment that shares its line with code stays. No text of ours spans lines and holds a line that looks like a
    comment; a test keeps it so.
    """
    return "\n".join(_lines(text))


def _lines(text: str) -> Iterator[str]:
    inside = False
    for line in text.split("\n"):
        bare = line.strip()
        if inside or (bare.startswith("/*") and "*/" not in bare[:-2]):
            inside = not bare.endswith("*/")
            yield ""
        elif bare.startswith("//"):
            yield ""
        else:
            yield line


def _is_ours(path: Path) -> bool:
    return any(part in OUR_MODULES for part in path.parts[-4:-1])

"""How are the program's own files sent? As little as a weak signal can carry: without their comments, and compressed.

The files are read by people and by browsers. Comments and margins are for people: in a module of ours every line that
holds nothing but a comment is sent empty, so that a line's number stays what it is in the source, and the others come
without their margin and without remarks on types. Vendored files are sent as they are, with
their licence. What was made ready is kept in memory until the file changes.

The app's folder also answers ``files.json``: every file the phone app is made of, with its hash. A phone keeps a newer
app only when all its files are what one such list says. List and files are read once in the server's life: where the
program is brought up to date under a running server, phones get the former app whole until the server starts anew.
"""

from __future__ import annotations

import gzip
import os
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from hashlib import sha256
from mimetypes import guess_type
from pathlib import Path
from typing import Final

from starlette.datastructures import Headers
from starlette.responses import JSONResponse, Response
from starlette.staticfiles import NotModifiedResponse, StaticFiles
from starlette.types import Scope

OUR_MODULES: Final = ("app", "engine", "desk", "advice")
"""Folders with modules of our own; ``vendor`` is none of them."""
_CAST: Final = re.compile(r"/\*\* @type \{[^*]*\} \*/ ?")
LIST: Final = "files.json"
LATER: Final = ("/static/advice/", "/static/vendor/")
"""Files that belong to the set and that the app opens without, fetched in the background: the screen of the advice, and
what draws a picture to hand over."""
_FRONT: Final = ("manifest.webmanifest", "icon-192.png", "icon.svg", "engine-worker.js")
"""Beside its first page, what the app asks for under its own address. The large icon is not among them: a phone takes
it once, when the app is put on its home screen."""
_VENDORED: Final = ("qrcode-generator.mjs",)  # what the phone app uses; the rest is the desk's
_NOT_OF_A_SET: Final = ("sw.js", "engine-worker.js", "types.js")
_TEXT: Final = ("text/", "image/svg", "application/manifest", "application/json", "application/javascript")
_SMALLEST: Final = 200  # [bytes]; below it compression gains nothing


@dataclass(frozen=True, slots=True)
class Ready:
    """One file as it is sent: plain and, where that is less, compressed."""

    media_type: str
    plain: bytes
    compressed: bytes | None
    sha256: str
    """Of the plain bytes, in hexadecimal digits."""


class ProgramFiles(StaticFiles):
    """Static files of the program: what a folder holds, made light."""

    async def get_response(self, path: str, scope: Scope) -> Response:
        """The answer for a path; in the app's folder also the list of its files."""
        if path == LIST and self.directory is not None and Path(self.directory).name == "app":
            static = Path(self.directory).parent
            return JSONResponse({"chaffinch": "app", "files": app_files(static), "later": later_files(static)})
        return await super().get_response(path, scope)

    def _of_the_app(self, full_path: str) -> Ready | None:
        folder = Path(self.directory or "")
        static = folder.parent if folder.name == "app" else folder
        return _by_path(static).get(os.path.realpath(full_path)) if (static / "app" / "index.html").is_file() else None

    def file_response(
        self, full_path: str | os.PathLike[str], stat_result: os.stat_result, scope: Scope, status_code: int = 200
    ) -> Response:
        """The answer for one file."""
        path = os.fspath(full_path)
        found = self._of_the_app(path) or ready(path, stat_result.st_mtime_ns, stat_result.st_size)
        asked = Headers(scope=scope)
        packed = found.compressed if "gzip" in asked.get("accept-encoding", "") else None
        headers = {"ETag": f'"{found.sha256[:20]}{"-gz" if packed is not None else ""}"', "Vary": "Accept-Encoding"}
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
    return Ready(media_type, plain, light, sha256(plain).hexdigest())


def app_files(static: Path) -> dict[str, str]:
    """Path of every file the phone app opens with, and the SHA-256 of what is sent for it."""
    return {name: one.sha256 for name, (_, one) in _app(static).items() if not name.startswith(LATER)}


def later_files(static: Path) -> dict[str, str]:
    """The same of what a phone keeps beside them, fetched once the app is open."""
    return {name: one.sha256 for name, (_, one) in _app(static).items() if name.startswith(LATER)}


def _named(static: Path) -> dict[str, Path]:
    app = static / "app"
    found = {"/app/": app / "index.html", **{f"/app/{name}": app / name for name in _FRONT}}
    for folder in ("app", "engine", "vendor", "advice"):
        for pattern in ("*.css", "*.js", "*.mjs"):
            for path in sorted((static / folder).rglob(pattern)):
                if path.name not in _NOT_OF_A_SET and (folder != "vendor" or path.name in _VENDORED):
                    found[f"/static/{path.relative_to(static).as_posix()}"] = path
    return found


@lru_cache(maxsize=4)
def _app(static: Path) -> dict[str, tuple[str, Ready]]:
    """The app's files as they were when they were first asked for: name → real path, and what is sent."""
    found = {}
    for name, path in _named(static).items():
        about = path.stat()
        found[name] = (os.path.realpath(path), ready(str(path), about.st_mtime_ns, about.st_size))
    return found


@lru_cache(maxsize=4)
def _by_path(static: Path) -> dict[str, Ready]:
    return dict(_app(static).values())


def without_comments(text: str) -> str:
    """A module with every line emptied that holds nothing but a comment; the others lose their margin and casts.

    Any other comment that shares its line with code stays. No text of ours spans lines; a test keeps it so.
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
            yield _CAST.sub("", line.lstrip())


def _is_ours(path: Path) -> bool:
    return any(part in OUR_MODULES for part in path.parts[-4:-1])

"""Pictures: sent as they are, named by their own hash, kept as files beside the book."""

from __future__ import annotations

import os
import tempfile
from hashlib import sha256
from pathlib import Path
from typing import Annotated, Any, Final

from fastapi import APIRouter, Request
from fastapi import Path as InPath
from pydantic import BaseModel
from starlette.concurrency import run_in_threadpool
from starlette.responses import FileResponse

from chaffinch.web.access import Crew, Reader
from chaffinch.web.problems import Refusal, answers
from chaffinch.web.settings import WebSettings

BEGINNINGS: Final = {
    b"\xff\xd8\xff": "image/jpeg",
    b"\x89PNG\r\n\x1a\n": "image/png",
    b"RIFF": "image/webp",
}
"""First bytes of the pictures that are taken, and their type. WebP has WEBP from the eighth byte on."""
MOST_PHOTOS_BYTES: Final = 20 * 1024**3
"""Room that pictures of one book may take [bytes]; own figure: it keeps a lost phone from filling the disk."""

router = APIRouter(tags=["photos"])
Sha256 = Annotated[str, InPath(pattern="^[0-9a-f]{64}$", description="SHA-256 of the picture's bytes, hexadecimal.")]
_PICTURE: Final[dict[str, Any]] = {
    media: {"schema": {"type": "string", "format": "binary"}} for media in BEGINNINGS.values()
}


class Kept(BaseModel):
    """A picture that is on disk here."""

    sha256: str
    bytes: int


@router.put(
    "/photos/{digest}",
    responses=answers(401, 403, 413, 422, 429, 503),
    openapi_extra={"requestBody": {"required": True, "content": _PICTURE}},
)
async def keep(request: Request, _: Crew, digest: Sha256) -> Kept:
    """Keep a picture (JPEG, PNG or WebP, at most 8 MB); safe to repeat. The record that tells of it goes by /batch."""
    settings: WebSettings = request.app.state.settings
    content = await request.body()
    if sha256(content).hexdigest() != digest:
        raise Refusal(422, "photo", "does not have that SHA-256", "send it again, whole", value=digest)
    if media_type(content) is None:
        raise Refusal(422, "photo", "is no JPEG, PNG or WebP", "send a picture")
    await run_in_threadpool(keep_photo, settings.photos, digest, content)
    return Kept(sha256=digest, bytes=len(content))


@router.get(
    "/photos/{digest}",
    response_class=FileResponse,
    responses={200: {"content": _PICTURE}, **answers(401, 403, 404, 422, 429)},
)
def show(request: Request, _: Reader, digest: Sha256) -> FileResponse:
    """A picture that was kept."""
    settings: WebSettings = request.app.state.settings
    path = settings.photos / digest
    if not path.is_file():
        raise Refusal(404, "photo", "is not here", "it may still be on the phone", value=digest)
    with path.open("rb") as file:
        media = media_type(file.read(16))
    return FileResponse(path, media_type=media, headers={"Cache-Control": "private, max-age=31536000, immutable"})


def media_type(content: bytes) -> str | None:
    """Type of a picture by its first bytes; None for anything else."""
    media = next((media for start, media in BEGINNINGS.items() if content.startswith(start)), None)
    return None if media == "image/webp" and content[8:12] != b"WEBP" else media


def keep_photo(folder: Path, digest: str, content: bytes) -> None:
    """Write under another name, then rename: under its name a picture is whole, or not there.

    Raises
    ------
    Refusal
        When there is no room, or it cannot be written.
    """
    target = folder / digest
    if target.is_file() and target.stat().st_size == len(content):
        return
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    if sum(one.stat().st_size for one in folder.iterdir()) + len(content) > MOST_PHOTOS_BYTES:
        raise Refusal(503, "photo", "there is no room left for pictures", "keep it on the phone")
    handle, coming = tempfile.mkstemp(dir=folder, prefix=".coming-")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        Path(coming).replace(target)
    except OSError as error:
        Path(coming).unlink(missing_ok=True)
        raise Refusal(503, "photo", f"cannot be written ({error.strerror})", "keep it on the phone") from error

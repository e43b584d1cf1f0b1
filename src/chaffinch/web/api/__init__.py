"""The API under /api/v1: what phones and other programs may ask for and send."""

from fastapi import APIRouter

from chaffinch.web.api import devices, photos, reading, sending

router = APIRouter(prefix="/api/v1")
for part in (reading, sending, photos, devices):
    router.include_router(part.router)

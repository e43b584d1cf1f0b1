"""The desk's pages, made on the server: each module answers for one of them."""

from __future__ import annotations

from fastapi import APIRouter

from chaffinch.web.pages.by_hand import router as by_hand
from chaffinch.web.pages.check import router as check
from chaffinch.web.pages.checks import router as checks
from chaffinch.web.pages.choices import router as choices
from chaffinch.web.pages.combine import router as combine
from chaffinch.web.pages.correcting import router as correcting
from chaffinch.web.pages.crew import router as crew
from chaffinch.web.pages.field import router as field
from chaffinch.web.pages.importing import router as importing
from chaffinch.web.pages.season import router as season
from chaffinch.web.pages.setup import router as setup
from chaffinch.web.pages.thing import router as thing
from chaffinch.web.pages.today import router as today
from chaffinch.web.pages.trial import router as trial

router = APIRouter(include_in_schema=False)
for part in (
    today,
    checks,
    check,
    correcting,
    by_hand,
    field,
    season,
    combine,
    trial,
    setup,
    thing,
    importing,
    crew,
    choices,
):
    router.include_router(part)

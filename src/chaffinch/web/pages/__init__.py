"""The desk's pages, made on the server: each module answers for one of them."""

from __future__ import annotations

from fastapi import APIRouter

from chaffinch.web.pages.advice import router as advice_router
from chaffinch.web.pages.bar import router as bar_router
from chaffinch.web.pages.by_hand import router as by_hand_router
from chaffinch.web.pages.check import router as check_router
from chaffinch.web.pages.checks import router as checks_router
from chaffinch.web.pages.choices import router as choices_router
from chaffinch.web.pages.combine import router as combine_router
from chaffinch.web.pages.correcting import router as correcting_router
from chaffinch.web.pages.crew import router as crew_router
from chaffinch.web.pages.day import router as day_router
from chaffinch.web.pages.field import router as field_router
from chaffinch.web.pages.fieldlog import router as fieldlog_router
from chaffinch.web.pages.fieldlog_sent import router as fieldlog_sent_router
from chaffinch.web.pages.importing import router as importing_router
from chaffinch.web.pages.issued import router as issued_router
from chaffinch.web.pages.pairing import router as pairing_router
from chaffinch.web.pages.printing import router as printing_router
from chaffinch.web.pages.season import router as season_router
from chaffinch.web.pages.setup import router as setup_router
from chaffinch.web.pages.thing import router as thing_router
from chaffinch.web.pages.today import router as today_router
from chaffinch.web.pages.trial import router as trial_router

router = APIRouter(include_in_schema=False)
for part in (
    today_router,
    checks_router,
    check_router,
    correcting_router,
    bar_router,
    by_hand_router,
    field_router,
    season_router,
    combine_router,
    trial_router,
    day_router,
    fieldlog_router,
    fieldlog_sent_router,
    advice_router,
    setup_router,
    thing_router,
    importing_router,
    crew_router,
    choices_router,
    pairing_router,
    printing_router,
    issued_router,
):
    router.include_router(part)

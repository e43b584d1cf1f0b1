"""The desk's own sentences, by key: one table, so that another language needs no other change.

What terminal, phone, desk and paper share stands in :mod:`chaffinch.book.wording` and the ``*_said`` rooms beside it and
is not written here again, and what paper says too stands in :mod:`chaffinch.paper.words`. A sentence may hold facts in
braces. The table is kept in six files: the frame of every page here, what pages show, what forms ask, the advice, the day, and
field logs.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

from chaffinch.paper.words import TOLD
from chaffinch.paper.words_log import LOGGED
from chaffinch.web.words.advice import ADVICE
from chaffinch.web.words.asked import ASKED
from chaffinch.web.words.day import DAY
from chaffinch.web.words.fieldlog import FIELDLOG
from chaffinch.web.words.shown import SHOWN

FRAME: Final = MappingProxyType(
    {
        "app": "Chaffinch",
        "skip": "Skip to the page",
        "nav": "Pages",
        "nav.today": "Today",
        "nav.log": "Log a check",
        "nav.checks": "Checks",
        "nav.seasons": "Seasons",
        "nav.combines": "Combines",
        "nav.trials": "Trials",
        "nav.setup": "Set-up",
        "nav.devices": "Crew and devices",
        "choices": "Light and units",
        "choices.look": "Light",
        "choices.auto": "as the device",
        "choices.light": "light",
        "choices.dark": "dark",
        "choices.measures": "Units",
        "choices.farm": "the farm's",
        "choices.metric": "kg/ha, km/h",
        "choices.american": "bu/ac, mph",
        "choices.keep": "Keep",
        "no_record": "This is no insurance or legal record.",
        "figures": "The figures behind the drawing",
        "save": "Save",
        "form.wrong": "Not saved. Mend what is marked; what you typed is still here.",
        "form.asked": "Mend what is marked; what you typed is still here.",
        "working.title": "Being worked out",
        "working": "{done} of {of} read.",
        "working.begun": "Its figures are being read.",
        "working.wait": "The page shows itself when it is done; or load it again.",
        "verdict.over": "over the limit",
        "verdict.under": "under the limit",
        "verdict.unsettled": "can't tell yet",
        "verdict.none": "no verdict",
    }
)
"""What surrounds every page."""

WORDS: Final = MappingProxyType({**FRAME, **TOLD, **LOGGED, **SHOWN, **ASKED, **ADVICE, **DAY, **FIELDLOG})
"""Every sentence of the desk's pages."""


def words(key: str, **facts: object) -> str:
    """The sentence of a key, its facts put in.

    Raises
    ------
    KeyError
        For a key the table does not have: a page may show no placeholder.
    """
    sentence = WORDS[key]
    return sentence.format(**facts) if facts else sentence

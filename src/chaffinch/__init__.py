"""Chaffinch turns the seed a combine leaves behind into decisions.

The names below are the public ones; each is imported when it is first used, so ``import chaffinch`` costs nothing.

>>> import chaffinch as cf
>>> check = cf.read_check_file('''
... crop = "canola"
... limit = "1 bu/ac"
... [combine]
... cut_width = "40 ft"
... drop_width = "66 in"
... [[catch]]
... place = "discharge"
... pan = "4 ft2"
... amount = "31.5 g"
... ''')
>>> found = cf.answer(check)
>>> found.verdict
'over'
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any, Final

__version__ = "0.1.0"

_PUBLIC: Final = {
    "answer": "chaffinch.book.checks.answer",
    "CheckAnswer": "chaffinch.book.checks.answer",
    "plan": "chaffinch.book.planning.plan",
    "KitPlan": "chaffinch.book.planning.plan",
    "card": "chaffinch.book.planning.card",
    "Card": "chaffinch.book.planning.card",
    "read_check_file": "chaffinch.records.checkfile",
    "check_from_table": "chaffinch.records.checkfile",
    "check_to_table": "chaffinch.records.checkfile",
    "Amount": "chaffinch.records.check",
    "Catch": "chaffinch.records.check",
    "Check": "chaffinch.records.check",
    "Combine": "chaffinch.records.check",
    "Pan": "chaffinch.records.check",
    "crop": "chaffinch.reference",
    "crop_keys": "chaffinch.reference",
    "ChaffinchError": "chaffinch.errors",
    "InputError": "chaffinch.errors",
    "SamplerError": "chaffinch.errors",
}

__all__ = ["__version__", *sorted(_PUBLIC)]  # noqa: PLE0604 (names given by the table above)

if TYPE_CHECKING:
    from chaffinch.book.checks.answer import CheckAnswer as CheckAnswer
    from chaffinch.book.checks.answer import answer as answer
    from chaffinch.book.planning.card import Card as Card
    from chaffinch.book.planning.card import card as card
    from chaffinch.book.planning.plan import KitPlan as KitPlan
    from chaffinch.book.planning.plan import plan as plan
    from chaffinch.errors import ChaffinchError as ChaffinchError
    from chaffinch.errors import InputError as InputError
    from chaffinch.errors import SamplerError as SamplerError
    from chaffinch.records.check import Amount as Amount
    from chaffinch.records.check import Catch as Catch
    from chaffinch.records.check import Check as Check
    from chaffinch.records.check import Combine as Combine
    from chaffinch.records.check import Pan as Pan
    from chaffinch.records.checkfile import check_from_table as check_from_table
    from chaffinch.records.checkfile import check_to_table as check_to_table
    from chaffinch.records.checkfile import read_check_file as read_check_file
    from chaffinch.reference import crop as crop
    from chaffinch.reference import crop_keys as crop_keys


def __getattr__(name: str) -> Any:
    if name not in _PUBLIC:
        raise AttributeError(f"module 'chaffinch' has no attribute {name!r}")
    return getattr(import_module(_PUBLIC[name]), name)


def __dir__() -> list[str]:
    return __all__

"""Reading what a person typed of a machine's settings and of the conditions: one setting a line."""

from __future__ import annotations

from typing import Any

from chaffinch.book.names import folded
from chaffinch.errors import InputError
from chaffinch.records.bodies import CONDITIONS, check_part
from chaffinch.records.kinds import CHECK, KINDS
from chaffinch.units.numerals import alone, headed
from chaffinch.web.pages.frame import Form

EXAMPLE = "rotor speed = 600 rpm"


def settings_of(text: str, field: str) -> list[dict[str, Any]]:
    """Settings, one a line: ``rotor speed = 600 rpm``.

    Raises
    ------
    InputError
        For a line that is no setting, a number that is none, or a setting said twice.
    """
    found: list[dict[str, Any]] = []
    for line in text.splitlines():
        if not line.strip():
            continue
        name, mark, value = (part.strip() for part in line.partition("="))
        if not mark or not name or not value:
            raise InputError(field, line.strip(), "is not NAME = NUMBER UNIT", f"write it like {EXAMPLE}")
        number, unit = headed(value, field=field, mend=f"write it like {EXAMPLE}")
        setting: dict[str, Any] = {"name": name, "value": number}
        if folded(name) in {folded(one["name"]) for one in found}:
            raise InputError(field, name, "is said twice", "say it once")
        found.append(setting | ({"unit": unit} if unit else {}))
    _judge("settings", found, field)
    return found


def conditions_of(form: Form) -> dict[str, float] | None:
    """Conditions from a form's fields ``condition-humidity_pct`` …; None when none was told.

    Raises
    ------
    InputError
        For one that is no number, or beyond what can be meant; named after its field of the form.
    """
    found: dict[str, float] = {}
    for name in CONDITIONS:
        text = form.told(f"condition-{name}")
        if text is None:
            continue
        field = f"condition-{name}"
        found[name] = alone(text.removesuffix("%"), field=field, mend="write it like 45")
        _judge("conditions", {name: found[name]}, field)
    return found or None


def _judge(part_name: str, value: Any, field: str) -> None:
    part = KINDS[CHECK].part(part_name)
    if part is None or not value:
        return
    try:
        check_part(KINDS[CHECK], part, value)
    except InputError as error:
        raise type(error)(field, error.value, error.problem, error.mend) from None

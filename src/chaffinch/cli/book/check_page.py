"""One check of the book on the terminal and as data: what it is filed under, and its answer."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from chaffinch.book.checks.filed import CONDITION_WORDS, Filed, filed_under, settings_told, with_field
from chaffinch.book.times import local
from chaffinch.cli.book.figures import farm_of
from chaffinch.cli.options.which_book import print_json

if TYPE_CHECKING:
    from chaffinch.book.checks.held import LoggedCheck
    from chaffinch.book.desk import Desk
    from chaffinch.cli.terminal.page import Page

__all__ = ["CONDITION_WORDS", "Filed", "filed_under", "settings_told", "show_one_check", "with_field"]


def show_one_check(desk: Desk, logged: LoggedCheck, page: Page, *, as_data: bool) -> None:
    """Print one check: what it is filed under, then its answer."""
    from chaffinch.book.checks.answer import answer
    from chaffinch.book.checks.plain_data import as_json
    from chaffinch.book.things import by_ids
    from chaffinch.cli.check_page import show as show_check

    body = logged.body
    here = by_ids(desk, [body.get(key) for key in ("season", "field", "combine", "operator")])
    filed = filed_under(body, here)
    farm = farm_of(desk)
    currency = "" if farm is None else str(farm.parts.get("currency", ""))
    check, taken = with_field(logged.check, here.get(str(body.get("field", ""))), currency)
    found = answer(check)
    if as_data:
        names = {key: getattr(filed, key) or None for key in ("season", "field", "combine", "operator")}
        own = {"taken_at": body["taken_at"], **names}
        more = {"settings": body.get("settings", []), "conditions": body.get("conditions", {})}
        data = {"id": logged.id, "versions": list(logged.versions.all), "filed": own, **more, "from_field": taken}
        print_json({**as_json(found), **data})
        return
    page.say()
    page.two_ends(f"check {logged.id[:8]}", local(body["taken_at"]))
    parts = (filed.field or "no field", filed.season, filed.combine, filed.operator)
    page.paragraph("filed under " + " · ".join(x for x in parts if x))
    for line in settings_told(body):
        page.paragraph(line)
    # Above stands what it is filed under; the answer's own head need not say it again.
    machine = None if check.combine is None else replace(check.combine, name="")
    plain = replace(check, field_name=filed.field, when="", combine=machine)
    show_check(replace(found, check=plain), page)
    if taken:
        page.paragraph(f"The field's {' and '.join(taken)} as the book has {'them' if len(taken) > 1 else 'it'} now.")
    if len(logged.versions.all) > 1:
        page.paragraph(f"Corrected: chaffinch book history {logged.id[:8]} shows every version.")
    if taken or len(logged.versions.all) > 1:
        page.say()

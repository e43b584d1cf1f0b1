"""The page a check is answered on in the terminal."""

from __future__ import annotations

from chaffinch.book.checks.answer import CheckAnswer, Loss
from chaffinch.book.checks.in_trade_unit import in_trade_unit, land_unit, loss_factor, money_factor
from chaffinch.book.checks.said import next_step, sentence
from chaffinch.book.figures import decimals_for, percent, plain_number, range_words, rounded
from chaffinch.book.wording import CAUTION, SOURCE, VERDICT, VERDICT_LINE
from chaffinch.cli.terminal.page import Page, table
from chaffinch.cli.terminal.ruler import ruler
from chaffinch.engine.estimate import Range

SHAPE = {"over": "▲", "under": "▼", "unsettled": "◆"}
SAY_SO = "set widths_taped = true"
"""How taped widths are told in a check file, and with ``book edit-label``."""


def show(found: CheckAnswer, page: Page) -> None:
    """Print the answer: title, loss, ruler, verdict, table by source, money, next step, notices."""
    page.say()
    page.two_ends(*_title(found))
    page.say()
    _ruler(found, page)
    _verdict(found, page)
    page.say()
    _table(found, page)
    _money(found, page)
    _next_step(found, page)
    _notices(found, page)


def _title(found: CheckAnswer) -> tuple[str, str]:
    check = found.check
    count = len(check.catches)
    places = list(dict.fromkeys(one.place for one in check.catches))
    left = f"{found.prepared.figures.crop.name.capitalize()}, {count} {'catch' if count == 1 else 'catches'}"
    left += f" ({', '.join(places)})" if len(places) <= 3 else ""
    right = " · ".join(x for x in (check.field_name, check.combine.name if check.combine else "", check.when) if x)
    return left, right


def _ruler(found: CheckAnswer, page: Page) -> None:
    check = found.check
    r = in_trade_unit(found.judged_kg_ha, check)
    low, median, high = range_words(r)
    what = " and ".join(SOURCE[s] for s in found.judged)
    label = "loss " + what if found.judged == ("standing",) else f"{what} loss"
    if any(notice.key == "one-position-spreading" for notice in found.notices):
        # One spot behind a spreader supports a range, not a middle.
        headline, rest = f"{low} to {high} {check.trade_unit}", label
    else:
        headline, rest = f"{median} {check.trade_unit}", f"{label}, likely {low} to {high}"
    if len(headline) + len(rest) + 4 <= page.width:
        page.say(f"  {page.plum(page.strong(headline))}  {rest}")
    else:
        page.say(f"  {page.plum(page.strong(headline))}")
        page.paragraph(rest)
    page.say()
    limit = None if check.limit_kg_ha is None else check.limit_kg_ha * loss_factor(check)
    width = page.width - 6 - len(check.trade_unit)
    for line in ruler(r, check.trade_unit, limit, width=min(62, width), fine=page.fine):
        page.say("  " + line)
    page.say()


def _verdict(found: CheckAnswer, page: Page) -> None:
    if found.verdict is None or found.p_over is None or found.check.limit_kg_ha is None:
        return
    limit = f"{plain_number(found.check.limit_kg_ha * loss_factor(found.check))} {found.check.trade_unit}"
    what = " and ".join(SOURCE[s] for s in found.judged)
    text = VERDICT_LINE[found.verdict].format(limit=limit, chance=_chance(found), what=what)
    page.paragraph(f"{SHAPE[found.verdict]} {text}", emphasis=VERDICT[found.verdict])


def _chance(found: CheckAnswer) -> str:
    """Chance of being over, in percent; an unsettled one never reads as the 20 or 80 that would settle it."""
    assert found.p_over is not None
    if found.verdict == "unsettled":
        return str(min(79, max(21, round(100 * found.p_over))))
    return percent(found.p_over)


def _table(found: CheckAnswer, page: Page) -> None:
    money = found.total.money_per_ha is not None
    share = found.total.share_pct is not None
    several = len(found.sources) > 1
    lines = _table_lines(found, page, money=money, share=share, several=several)
    if max(map(len, lines)) > page.width - 2:
        # A narrow page keeps the loss and its range; the rest is in --json.
        lines = _table_lines(found, page, money=False, share=False, several=False)
        share = False
    page.say("  " + page.soft(lines[0]))
    for line in lines[1:]:
        page.say("  " + line)
    if share:
        page.say("  " + page.soft("% of crop: of harvested + lost."))
    if found.unthreshed_pct is not None:
        page.paragraph(f"{rounded(found.unthreshed_pct, 0)} % of the seed caught was still in heads or pods.")


def _table_lines(found: CheckAnswer, page: Page, *, money: bool, share: bool, several: bool) -> list[str]:
    check = found.check
    head = [f"{check.trade_unit}", "plain", "low", "middle", "high"]
    head += ["% of crop"] if share else []
    head += [f"{check.currency or 'money'}/{land_unit(check)}"] if money else []
    head += ["largest?"] if several else []
    rows = [head]
    for source, loss in found.sources.items():
        rows.append(_row(SOURCE[source], loss, found, share=share, money=money, several=several))
    if len(found.sources) > 1:
        rows.append([*_row("total", found.total, found, share=share, money=money, several=False)])
        rows[-1] += [""] if several else []
    return table(rows, gap=3 if page.width >= 72 else 2)


def _row(name: str, loss: Loss, found: CheckAnswer, *, share: bool, money: bool, several: bool) -> list[str]:
    check = found.check
    r = in_trade_unit(loss.kg_ha, check)
    places = decimals_for(r.low, r.high, r.median)
    plain = "–" if loss.plain_kg_ha is None else rounded(loss.plain_kg_ha * loss_factor(check), places + 1)
    row = [name, plain, *range_words(r, decimals=places)]
    if share:
        row.append(_middle(loss.share_pct))
    if money:
        per_area = None if loss.money_per_ha is None else loss.money_per_ha.times(money_factor(check))
        row.append(_middle(per_area))
    if several:
        row.append(f"{percent(loss.p_largest)} %")
    return row


def _middle(r: Range | None) -> str:
    return "–" if r is None else rounded(r.median, decimals_for(r.low, r.high, r.median))


def _money(found: CheckAnswer, page: Page) -> None:
    parts = []
    if found.money_per_h is not None:
        parts.append((found.money_per_h, "an hour of cutting"))
    if found.money_per_field is not None:
        name = found.check.field_name
        parts.append((found.money_per_field, f"over the field{f' ({name})' if name else ''}"))
    for r, what in parts:
        low, median, high = range_words(r)
        sign = found.check.currency
        page.paragraph(f"That is {sign}{' ' if len(sign) > 1 else ''}{median} {what} (likely {low} to {high}).")


def _next_step(found: CheckAnswer, page: Page) -> None:
    page.say()
    # Always: the next step and half of the remarks below send somebody to the machine.
    page.paragraph(CAUTION, bullet="! ")
    text = next_step(found)
    if not text:
        return
    page.paragraph(text)


def _notices(found: CheckAnswer, page: Page) -> None:
    for kind, title in (("warning", "Mind"), ("assumed", "Taken as given")):
        here = [n for n in found.notices if n.kind == kind]
        if not here:
            continue
        page.say()
        page.say("  " + (page.strong(title) if kind == "warning" else page.soft(title)))
        for notice in here:
            page.paragraph(sentence(notice, found.check, say_so=SAY_SO), indent=2, bullet="· ")
    page.say()

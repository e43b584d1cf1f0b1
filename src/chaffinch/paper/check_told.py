"""How is the answer of a check laid out for people: loss below a ruler, verdict, sources, money, next step?"""

from __future__ import annotations

from dataclasses import dataclass

from chaffinch.book.checks.answer import CheckAnswer, Loss
from chaffinch.book.checks.in_trade_unit import in_trade_unit, land_unit, loss_factor, money_factor
from chaffinch.book.checks.said import next_step, sentence
from chaffinch.book.figures import decimals_for, percent, plain_number, range_words, rounded
from chaffinch.book.wording import CAUTION, SOURCE, VERDICT, VERDICT_LINE
from chaffinch.engine.estimate import Range
from chaffinch.paper import drawing
from chaffinch.paper.drawing import Drawing
from chaffinch.paper.told import SHAPE, UNEVEN, Amount, sign_of, what_lost
from chaffinch.paper.words import words


@dataclass(frozen=True, slots=True)
class Told:
    """A check's answer as its page, and the form that logs one, show it.

    Attributes
    ----------
    what : str
        ``machine loss``.
    amount : Amount
    middle_told : bool
        Whether the middle is supported, or only the range.
    ruler : Drawing
    shape, verdict : str
        Empty without a verdict.
    sources : list of list of str
        Rows of the table, the head first; and ``sources_drawing`` where there are several.
    money : list of str
    caution, next_step : str
    warnings, assumed : list of str
    notes : list of str
        Below the table.
    """

    what: str
    amount: Amount
    middle_told: bool
    ruler: Drawing
    shape: str
    verdict_word: str
    verdict: str
    sources: list[list[str]]
    sources_drawing: Drawing | None
    money: list[str]
    caution: str
    next_step: str
    warnings: list[str]
    assumed: list[str]
    notes: list[str]


def told_of(found: CheckAnswer) -> Told:
    """An answer laid out for a page."""
    checked = found.check
    unit = checked.trade_unit
    r = in_trade_unit(found.judged_kg_ha, checked)
    amount, what = Amount.of(r, unit), what_lost(found.judged)
    keys = {notice.key for notice in found.notices}
    limit = None if checked.limit_kg_ha is None else checked.limit_kg_ha * loss_factor(checked)
    about = words("check.about", low=amount.low, middle=amount.middle, high=amount.high, unit=unit)
    if limit is not None:
        about += " " + words("check.about.limit", limit=plain_number(limit), unit=unit)
    limit_name = "" if limit is None else words("limit", limit=plain_number(limit))
    picture = drawing.ruler(
        r, unit, title=words("check.drawing", what=what.capitalize(), unit=unit), about=about, name="loss",
        limit=limit, limit_name=limit_name,
    )  # fmt: skip
    verdict = ""
    if found.verdict is not None and limit is not None:
        verdict = VERDICT_LINE[found.verdict].format(
            limit=f"{plain_number(limit)} {unit}", chance=_chance(found), what=what.removesuffix(" loss")
        )
    return Told(
        what=what,
        amount=amount,
        middle_told=UNEVEN not in keys,
        ruler=picture,
        shape=SHAPE.get(found.verdict or "", ""),
        verdict_word="" if found.verdict is None else VERDICT[found.verdict],
        verdict=verdict,
        sources=_table(found),
        sources_drawing=_sources_drawing(found, limit, limit_name) if len(found.sources) > 1 else None,
        money=_money(found),
        caution=CAUTION,
        next_step=next_step(found),
        warnings=[sentence(n, checked) for n in found.notices if n.kind == "warning"],
        assumed=[sentence(n, checked) for n in found.notices if n.kind == "assumed"],
        notes=_notes(found),
    )


def _chance(found: CheckAnswer) -> str:
    """Chance of being over, in percent; an unsettled one never reads as the 20 or 80 that would settle it."""
    assert found.p_over is not None
    if found.verdict == "unsettled":
        return str(min(79, max(21, round(100 * found.p_over))))
    return percent(found.p_over)


def _sources_drawing(found: CheckAnswer, limit: float | None, limit_name: str) -> Drawing:
    checked = found.check
    given = [drawing.Row(SOURCE[source], in_trade_unit(loss.kg_ha, checked)) for source, loss in found.sources.items()]
    given.append(drawing.Row(words("column.total"), in_trade_unit(found.total.kg_ha, checked)))
    return drawing.rows(
        given, checked.trade_unit, title=words("check.where.title", unit=checked.trade_unit),
        about=words("check.largest"), name="sources", limit=limit, limit_name=limit_name,
    )  # fmt: skip


def _table(found: CheckAnswer) -> list[list[str]]:
    checked = found.check
    money, share = found.total.money_per_ha is not None, found.total.share_pct is not None
    several = len(found.sources) > 1
    head = [checked.trade_unit, words("column.plain"), words("low"), words("middle"), words("high")]
    head += [words("column.share")] if share else []
    sign = checked.currency or "money"
    head += [words("column.money", sign=sign, land=land_unit(checked))] if money else []
    head += [words("column.largest")] if several else []
    rows = [head]
    for source, loss in found.sources.items():
        row = _row(SOURCE[source], loss, found, share=share, money=money)
        rows.append([*row, *([f"{percent(loss.p_largest)} %"] if several else [])])
    if several:
        rows.append([*_row(words("column.total"), found.total, found, share=share, money=money), ""])
    return rows


def _row(name: str, loss: Loss, found: CheckAnswer, *, share: bool, money: bool) -> list[str]:
    checked = found.check
    r = in_trade_unit(loss.kg_ha, checked)
    places = decimals_for(r.low, r.high, r.median)
    plain = words("none")
    if loss.plain_kg_ha is not None:
        plain = rounded(loss.plain_kg_ha * loss_factor(checked), places + 1)
    row = [name, plain, *range_words(r, decimals=places)]
    row += [_middle(loss.share_pct)] if share else []
    per_area = None if loss.money_per_ha is None else loss.money_per_ha.times(money_factor(checked))
    return row + ([_middle(per_area)] if money else [])


def _middle(r: Range | None) -> str:
    return words("none") if r is None else rounded(r.median, decimals_for(r.low, r.high, r.median))


def _money(found: CheckAnswer) -> list[str]:
    told = []
    sign = sign_of(found.check.currency)
    for r, key in ((found.money_per_h, "check.money.hour"), (found.money_per_field, "check.money.field")):
        if r is not None:
            low, middle, high = range_words(r)
            told.append(words(key, money=f"{sign}{middle}", low=low, high=high))
    return told


def _notes(found: CheckAnswer) -> list[str]:
    notes = [words("check.plain")]
    notes += [words("check.share")] if found.total.share_pct is not None else []
    notes += [words("check.largest")] if len(found.sources) > 1 else []
    if found.unthreshed_pct is not None:
        notes.append(words("check.unthreshed", pct=rounded(found.unthreshed_pct, 0)))
    return notes

"""Write the vectors that hold the phone's engine to Python's: checks with their answers, and quantities as typed.

    python tests/vectors/make_estimates.py

Invented checks at an invented farm, drawn with a fixed seed: every place, crops of every size, zero catches, counts,
spreading, one to twelve catches, coarse steps, subsamples, moisture, several places at once. Run it again when the
engine's answers change on purpose, and read the difference before committing it.
"""

from __future__ import annotations

import json
from contextlib import suppress
from pathlib import Path
from typing import Any, Final

from estimate_checks import COUNTRIES, checks
from typed_quantities import BUSHEL_KG, quantities

import chaffinch as cf
from chaffinch.book.checks.answer import CheckAnswer
from chaffinch.engine.estimate import Range

HERE: Final = Path(__file__).resolve().parent
DIGITS: Final = 10
"""Significant digits kept of an answer: a ten-millionth of the tolerance of any test."""


def setup_for(country: str) -> dict[str, Any]:
    """What the phone gets from its server at a farm of that country."""
    return {"farm": {"country": country, "currency": "", "report_in": None}, "crops": [*map(_crop, _keys(country))]}


def _keys(country: str) -> list[tuple[str, str]]:
    return [(key, country) for key in cf.crop_keys()]


def _crop(which: tuple[str, str]) -> dict[str, Any]:
    key, country = which
    known = cf.crop(key)
    figures: dict[str, Any] = {
        "key": key,
        "name": known.name,
        "tkw_g": known.tkw_g.value,
        "tkw_low": known.tkw_low_g.value,
        "tkw_high": known.tkw_high_g.value,
        "test_weight_kg_hl": known.test_weight_kg_hl.value,
        "bushel_kg": None,
        "market_moisture_pct": None,
        "round_seed": known.round_seed,
        "seed_diameter_mm": known.seed_diameter_mm.value if known.seed_diameter_mm else None,
        "kernel_density_g_cm3": known.kernel_density_g_cm3.value if known.kernel_density_g_cm3 else None,
    }
    # What is not listed for that country the phone does not get either.
    with suppress(cf.InputError):
        figures["bushel_kg"] = known.bushel_kg(country)
    with suppress(cf.InputError):
        figures["market_moisture_pct"] = known.market_moisture(country).value
    return figures


def expected(found: CheckAnswer) -> dict[str, Any]:
    """What the phone must say too."""
    return {
        "sources": {
            source: {
                "plain": _kept(loss.plain_kg_ha),
                "kg_ha": _range(loss.kg_ha),
                "share": _range(loss.share_pct),
                "part": _kept(loss.part_of_loss_pct),
                "largest": _kept(loss.p_largest),
            }
            for source, loss in found.sources.items()
        },
        "total": {
            "plain": _kept(found.total.plain_kg_ha),
            "kg_ha": _range(found.total.kg_ha),
            "share": _range(found.total.share_pct),
        },
        "judged": {"sources": list(found.judged), "kg_ha": _range(found.judged_kg_ha)},
        "limit_kg_ha": _kept(found.check.limit_kg_ha),
        "verdict": found.verdict,
        "p_over": _kept(found.p_over),
        "more": None if found.further is None else [found.further.catches, found.further.chance, found.further_like],
        "per_hour": _range(found.money_per_h),
        "unthreshed": _kept(found.unthreshed_pct),
        "warnings": [n.key for n in found.notices if n.kind == "warning"],
        "assumed": [n.key for n in found.notices if n.kind == "assumed"],
    }


def scatter(check: cf.Check, found: CheckAnswer) -> float:
    """How far the ends and middles of Python's own ranges move when only the sampler's seed does, as a part of their
    width: 0 where the grid answers."""
    furthest = 0.0
    for seed in (2, 3):
        other = cf.answer(check, seed=seed)
        pairs = [(found.sources[s].kg_ha, other.sources[s].kg_ha) for s in found.sources]
        for ours, theirs in [*pairs, (found.total.kg_ha, other.total.kg_ha), (found.judged_kg_ha, other.judged_kg_ha)]:
            apart = max(abs(ours.low - theirs.low), abs(ours.median - theirs.median), abs(ours.high - theirs.high))
            furthest = max(furthest, apart / (ours.high - ours.low))
    return float(f"{furthest:.4f}")


def _kept(value: float | None) -> float | None:
    return None if value is None else float(f"{value:.{DIGITS}g}")


def _range(r: Range | None) -> list[float | None] | None:
    return None if r is None else [_kept(r.low), _kept(r.median), _kept(r.high)]


def case_of(name: str, table: dict[str, Any]) -> dict[str, Any]:
    """One case: the table and the answer, or the error it must end in."""
    case: dict[str, Any] = {"name": name, "table": table}
    try:
        check = cf.check_from_table(table)
        found = cf.answer(check)
        case |= {"answer": expected(found), "scatter": scatter(check, found)}
    except cf.InputError as error:
        case["refused"] = {"field": error.field, "problem": error.problem}
    except cf.SamplerError:
        case["unsampled"] = True
    return case


def main() -> None:
    """Write both files."""
    cases = [case_of(name, table) for name, table in checks()]
    estimates = {
        "about": "Checks at an invented farm and what chaffinch.answer says of them; made by make_estimates.py.",
        "setups": {country: setup_for(country) for country in COUNTRIES},
        "cases": cases,
    }
    typed = {
        "about": "Quantities as people type them and what chaffinch.units reads; made by make_estimates.py.",
        "bushel_kg": BUSHEL_KG,
        "quantities": list(quantities()),
    }
    for file, whole, rows in (("estimates.json", estimates, "cases"), ("estimates_units.json", typed, "quantities")):
        head = {key: value for key, value in whole.items() if key != rows}
        lines = ",\n".join(json.dumps(row, ensure_ascii=False, separators=(",", ":")) for row in whole[rows])
        text = json.dumps(head, ensure_ascii=False, separators=(",", ":"))[:-1] + f',"{rows}":[\n{lines}\n]}}\n'
        (HERE / file).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()

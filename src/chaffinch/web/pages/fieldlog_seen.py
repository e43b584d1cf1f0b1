"""What does a log hold, and what does it leave open? As the page of the log shows it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from chaffinch.book.fieldlogs.one_log import LogFound, PartFigures, inspect_log
from chaffinch.book.fieldlogs.said import HAS_LOSS, NO_LOSS, aside_said, problem_said, question_said
from chaffinch.book.figures import plain_number
from chaffinch.book.shown_unit import PaceUnit, area_said
from chaffinch.how_far import Progress
from chaffinch.paper.log_told import Weight
from chaffinch.web.words.desk import words

if TYPE_CHECKING:
    from chaffinch.fieldlog.answers import Answers

MOST_QUESTIONS: Final = 40
"""Questions of one log that a page shows; own figure."""


@dataclass(frozen=True, slots=True)
class Asked:
    """One open question as the form puts it: its field, what it is about, and what may be chosen."""

    field: str
    of: str
    said: str
    choices: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Seen:
    """What a log holds, as the page shows it."""

    what: str
    parts: list[list[str]]
    notes: list[str]
    columns: list[list[str]]
    questions: list[Asked]
    heard: bool


def seen_of(path: Path, answers: Answers, unit: PaceUnit, weight: Weight, step: Progress) -> Seen:
    """What the log holds; its records themselves are not kept."""
    found = replace(inspect_log(path, answers, progress=step), rows=None)
    records = f"{found.records:,}".replace(",", "\u202f")
    return Seen(
        words("fieldlog.what", kind=found.kind, records=records),
        _parts(found, unit, weight),
        _notes(found),
        [[words("fieldlog.column"), words("fieldlog.meaning")]]
        + [[name, meant] for name, meant in found.matched.items() if meant != "-"],
        _questions(found),
        bool(found.loss_readings),
    )


def _parts(found: LogFound, unit: PaceUnit, weight: Weight) -> list[list[str]]:
    head = [
        words("fieldlog.part"), words("fieldlog.records"), words("column.area"),
        f"{words('fieldlog.grain')}, {weight.unit}", f"{words('fieldlog.yield')}, {unit.loss.name}",
        words("fieldlog.load"), unit.speed, words("fieldlog.moisture"),
    ]  # fmt: skip

    def row(one: PartFigures) -> list[str]:
        figures = (one.grain_t * 1000.0 * weight.per_kg, one.yield_t_ha * 1000.0 * unit.loss.factor,
                   one.throughput_t_h, unit.speeds(one.speed_kmh))  # fmt: skip
        area = words("none") if math.isnan(one.area_ha) else area_said(one.area_ha, unit.loss)
        moisture = words("none") if math.isnan(one.moisture_pct) else f"{one.moisture_pct:.1f} %"
        records = f"{one.records:,}".replace(",", "\u202f")
        name = " · ".join(text for text in (one.name, one.machine) if text)
        return [name or words("none"), records, area, *(_number(v) for v in figures), moisture]

    return [head, *(row(one) for one in found.parts)]


def _notes(found: LogFound) -> list[str]:
    told = [problem_said(problem) for problem in found.problems]
    if not math.isnan(found.recomputed):
        told.append(words("fieldlog.recomputed", ratio=f"{found.recomputed:.3f}"))
    told += [words("fieldlog.derived", column=column, how=how) for column, how in found.derived.items()]
    loss = found.loss_readings
    told.append(HAS_LOSS.format(columns=", ".join(loss)) if loss else NO_LOSS)
    return told + aside_said(found.matched)


def _questions(found: LogFound) -> list[Asked]:
    """The open questions, each as a field of the form."""
    made = []
    for number, one in enumerate(found.questions[:MOST_QUESTIONS]):
        what = one.what.removeprefix("element ")
        said = words("fieldlog.question", what=what, problem=question_said(one)[0])
        if one.why == "weight of a bushel":
            made.append(Asked("bushel", "", said, ()))
        elif one.what in ("zone", "crs"):
            made.append(Asked(one.what, "", said, ()))
        elif one.what == "dates":
            made.append(Asked(f"ask-{number}", "dates|", said, one.choices))
        elif one.why == "several elements":
            made.append(Asked(f"ask-{number}", f"elements|{what}", said, one.choices))
        elif all("=" in choice for choice in one.choices):
            # Two columns that changed places are put right together.
            made.append(Asked(f"ask-{number}", f"answers|{what}", said, ("\n".join(one.choices),)))
        else:
            made.append(Asked(f"ask-{number}", f"answers|{what}", said, one.choices))
    return made


def _number(value: float) -> str:
    return words("none") if math.isnan(value) else plain_number(value, 3)

"""How is a trial laid out for people: the ratio below a ruler, its stops, the gain, the next step?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from chaffinch.book.figures import percent, plain_number, range_words, rounded
from chaffinch.book.shown_unit import PaceUnit
from chaffinch.book.times import local
from chaffinch.book.trials.said import CAUTIONS, LOOKING, VERDICT, about_settings, about_stops, next_step
from chaffinch.book.trials.trial import TrialFound, TrialRecord, stop_range
from chaffinch.paper import drawing
from chaffinch.paper.drawing import Drawing
from chaffinch.paper.words import words

SHAPE: Final = {"keep B": "▸", "go back": "◂", "not settled": "◆"}


@dataclass(frozen=True, slots=True)
class Told:
    """A trial's answer as its page shows it."""

    middle: str
    what: str
    ruler: Drawing
    shape: str
    verdict: str
    stops: list[list[str]]
    stops_drawing: Drawing
    gain: list[str]
    next_step: str
    notes: list[str]


def what_changed(record: TrialRecord) -> str:
    """``fan speed 900 rpm against 830 rpm``."""
    untold = words("trial.untold")
    told = [
        words("trial.against", name=name, a=record.a.get(name, untold), b=record.b.get(name, untold))
        for name in record.changed.names
    ]
    return ", ".join(told) if told else words("trial.none_differs")


def told_of(found: TrialFound, unit: PaceUnit) -> Told:
    """A trial's answer laid out for a page, in the person's units."""
    answer = found.answer
    low, middle, high = (rounded(v, 2) for v in (answer.ratio.low, answer.ratio.median, answer.ratio.high))
    what = words("trial.times", what=words(f"trial.what.{answer.source}"), low=low, high=high)
    picture = drawing.ruler(
        answer.ratio, "× A", title=words("trial.drawing"),
        about=words("trial.about", low=low, middle=middle, high=high), name="ratio", limit=1.0,
        limit_name=words("trial.alike"),
    )  # fmt: skip
    rows = [["", words("column.check"), words("column.taken"), unit.speed, words("low"), words("middle"),
             words("high")]]  # fmt: skip
    drawn = []
    for point, side in zip(found.points, found.sides, strict=True):
        r = stop_range(point, answer.source).times(unit.loss.factor)
        speed = "" if point.speed_kmh is None else plain_number(unit.speeds(point.speed_kmh), 2)
        taken = local(str(point.logged.body["taken_at"]))
        rows.append([side, point.logged.id, taken, speed, *range_words(r)])
        low_said, middle_said, high_said = range_words(r)
        likely = words("likely", low=low_said, high=high_said)
        said = f"{side} · {taken} · {middle_said} {unit.loss.name}, {likely}"
        spot = drawing.Spot(f"/check/{point.logged.id}", said)
        drawn.append(drawing.Row(f"{side}  {taken[11:]}", r, "dot" if side == "A" else "box", spot))
    stops = drawing.rows(
        drawn, unit.loss.name, title=words("trial.stops.drawing", unit=unit.loss.name),
        about=words("trial.stops.about"), name="stops",
    )  # fmt: skip
    notes = [*about_settings(found), *(CAUTIONS[c] for c in answer.cautions), *about_stops(found)]
    notes += [LOOKING] if answer.verdict == "not settled" else []
    notes += [words("trial.machine_only")] if answer.source == "machine" else []
    return Told(
        middle,
        what,
        picture,
        SHAPE[answer.verdict],
        VERDICT[answer.verdict].format(chance=percent(answer.p_b_less)),
        rows,
        stops,
        _gain(found, unit),
        words("trial.next", step=next_step(found)),
        notes,
    )


def _gain(found: TrialFound, unit: PaceUnit) -> list[str]:
    answer = found.answer
    low, middle, high = range_words(answer.gain_kg_ha.times(unit.loss.factor))
    told = [words("trial.gain", low=low, middle=middle, high=high, unit=unit.loss.name)]
    if answer.gain_money_per_ha is not None:
        r = answer.gain_money_per_ha
        told.append(
            words("trial.money", money=unit.money(r.median), land=unit.loss.land, low=unit.money(r.low),
                  high=unit.money(r.high))
        )  # fmt: skip
    return told

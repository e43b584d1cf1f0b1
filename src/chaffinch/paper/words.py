"""The sentences that desk and paper both tell, by key; what terminal and phone say too stands in the book's wording.

A sentence may hold facts in braces. What only paper says is in :mod:`chaffinch.paper.words_printed`.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

from chaffinch.paper.words_log import LOGGED
from chaffinch.paper.words_printed import PRINTED

TOLD: Final = MappingProxyType(
    {
        "likely": "likely {low} to {high}",
        "today.one": "1 check",
        "today.many": "{n} checks",
        "column.check": "check",
        "column.taken": "taken",
        "column.crop": "crop",
        "column.likely": "likely",
        "column.source": "lost at",
        "column.plain": "plain",
        "column.share": "% of crop",
        "column.money": "{sign} per {land}",
        "column.largest": "largest?",
        "column.checks": "checks",
        "column.area": "area",
        "column.total": "total",
        "column.load": "load",
        "column.days": "field-days",
        "column.conditions": "conditions",
        "column.unchecked": "unchecked",
        "check.drawing": "{what} in {unit}",
        "check.about": "Likely {low} to {high}, middle {middle} {unit}.",
        "check.about.limit": "The limit is {limit} {unit}.",
        "check.where.title": "Loss by source in {unit}",
        "check.plain": "Plain is textbook arithmetic: what lay there before taken off, divided by area, averaged.",
        "check.share": "% of crop: of harvested + lost.",
        "check.largest": "Largest?: how sure it is that this source lost the most.",
        "check.version": "{id}, written by {device}, arrived {arrived}",
        "check.money.hour": "That is {money} an hour of cutting (likely {low} to {high}).",
        "check.money.field": "That is {money} over the field (likely {low} to {high}).",
        "check.unthreshed": "{pct} % of the seed caught was still in heads or pods.",
        "loss.of": "{sources} loss",
        "loss.standing": "loss before harvest",
        "field.mean": "{sources} loss, mean over the field",
        "field.drawing": "Mean loss of {name} in {unit}",
        "field.money": "That is {money} over the field (likely {low} to {high}).",
        "field.no_money": "No money: the field has no {what}.",
        "field.coverage": "{checks} on {area}.",
        "field.unknown_area": "a field of unknown area",
        "field.single": "One check: how much the field varies around it is expected, not seen. A second check narrows the range most.",
        "field.standing": "Loss before harvest is shown, but not held against the combine.",
        "field.unseen": "{source} loss was measured in no check: it comes on top.",
        "field.partly": "{source} loss was measured in {n} of {of} checks.",
        "field.not-told-apart": "In {n} of {of} checks the catches hardly tell the sources apart: the split is mostly expectation, the total is not.",
        "field.standing-left-in": "In {n} of {of} checks no frame lay in standing crop: what fell before harvest may still count as header loss.",
        "season.left": "left on {area} by {by}",
        "season.drawing": "Grain left in {unit}",
        "season.money": "That is {money} (likely {low} to {high}){on}.",
        "season.priced": " on the {area} with a price",
        "season.fields.drawing": "Loss of each field in {unit}",
        "season.fields.about": "Each field's mean loss with its range, one line each, below a rule in {unit}.",
        "season.by.combine": "combines",
        "season.by.operator": "drivers",
        "season.against": "{first} against {second}: {middle} times the loss, likely {low} to {high}.",
        "season.no_area": "No area, so in no sum: {names}.",
        "season.unfiled": "{n} checks are filed under no field of this season: in no sum.",
        "season.unfiled.one": "1 check is filed under no field of this season: in no sum.",
        "season.not_seen": "{sources} not seen",
        "season.not_measured": "not measured",
        "season.row_no_area": "no area",
        "season.machine_only": "Machine only: what the header loses is not in it.",
        "season.header_only": "Header only: what the machine loses is not in it.",
        "combine.curve": "Machine loss by speed",
        "combine.load": "Machine loss by load",
        "combine.load.about": "A curve with its range; {points} points with their ranges are this machine's own checks, from {low} to {high} {unit}. Where the curve is broken, that load was not tried yet.",
        "drawing.beyond": "ranges reach {high}",
        "drawing.beyond.about": "Its axis ends at {end}; ranges reach up to {high} {unit} and are cut there.",
        "combine.curve.about": "A curve with its range, likely {low} to {high} {unit} at the best pace of {best}; {points} points with their ranges are this machine's own checks, each at the speed that gives its load today. Where the curve is broken, load or speed was not tried yet. Below the axis the bar is the pace that costs about the same.",
        "combine.cost.points": "Dots are this machine's checks: what each saw behind the machine, at the price, with time and header loss as the curves have them.",
        "combine.now_notch": "now",
        "combine.own": "{own} of its own, {all} in all",
        "combine.tell_now": "Tell today's speed, and its cost is held against this.",
        "combine.assumed.yield from checks": "Yield: the middle of the checks'; today's may be told above.",
        "combine.assumed.efficiency": (
            "Field efficiency 70 % at 5 km/h (typical of combines, from memory of a standard's table): turning and "
            "unloading take the same time at any speed. Yours may be told above."
        ),
        "combine.assumed.usual condition": "Conditions: the middle of the checks'.",
        "trial.against": "{name} {a} against {b}",
        "trial.untold": "not told",
        "trial.none_differs": "no setting differs",
        "trial.times": "times the {what} of A under B, likely {low} to {high}",
        "trial.what.machine": "machine loss",
        "trial.what.header": "header loss",
        "trial.what.judged": "header and machine loss",
        "trial.drawing": "Loss under B as times the loss under A",
        "trial.about": "Likely {low} to {high} times, middle {middle}; the notch stands at 1, where both lose alike.",
        "trial.alike": "alike",
        "trial.stops.drawing": "Loss of each stop in {unit}",
        "trial.stops.about": "Dots are stops under A, boxes stops under B, in the order they were taken.",
        "trial.gain": "B leaves {low} to {high} {unit} less on the ground than A (middle {middle}).",
        "trial.money": "That is {money} per {land} (likely {low} to {high}).",
        "trial.next": "Next: {step}",
        "trial.machine_only": "Machine only: what the header loses is not in it.",
        "cost.wage": "Driver's pay",
        "cost.fuel": "Fuel burnt",
        "cost.wear": "Wear",
        "cost.helpers": "Helpers who wait",
        "cost.weather": "Weather",
        "low": "low",
        "middle": "middle",
        "high": "high",
        "limit": "limit {limit}",
        "none": "–",
        "log.place": "Place",
        "log.pan": "Pan",
        "log.amount": "What it held",
        "log.at": "When",
        "log.field": "Field",
        "log.combine": "Combine",
        "log.operator": "Driver",
        "log.crop": "Crop",
        "log.speed": "Ground speed",
        "log.spreading": "Spreader or chopper on",
        "log.step": "Smallest division of the scale",
        "log.catch": "Catch {n}",
        "mind": "Mind",
        "taken": "Taken as given",
        "column.combine": "combine",
        "column.verdict": "verdict",
        "column.worth": "worth",
        "check.where": "Where it was lost",
        "check.catches": "The catches",
        "column.field": "field",
        "column.loss": "loss",
        "field.none": "No check has been filed under this field yet.",
        "field.sources": "Where it was lost",
        "field.checks": "Its checks",
        "field.pieces": "What is missing",
        "season.crops": "Crops",
        "season.where": "Where it was lost",
        "season.load": "load: least, middle, greatest (t/h, or km/h where yields are not told).",
        "season.nothing": "Nothing to sum up yet: no field with an area has a check of header or machine loss.",
        "season.checks": "{checks}, {fields} fields, {area}",
        "trial.title": "Trial {id}",
        "trial.stops": "The stops",
        "thing.hint": "like {example}",
        "log.at.hint": "like 2026-08-14 16:40 (this computer's time); empty for now",
        "log.pan.hint": "Pan: a name from the book, 4 ft2, or 2 ft x 2 ft; for a windrow its length, for a leak the time",
    }
)
"""By key; the first part of a key is the page it began on."""

WORDS: Final = MappingProxyType({**TOLD, **LOGGED, **PRINTED})


def words(key: str, **facts: object) -> str:
    """The sentence of a key, its facts put in.

    Raises
    ------
    KeyError
        For a key the table does not have: a page may show no placeholder.
    """
    sentence = WORDS[key]
    return sentence.format(**facts) if facts else sentence

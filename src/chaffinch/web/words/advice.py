"""The sentences of the desk's pages of advice; a table of :mod:`chaffinch.web.words.desk`."""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

ADVICE: Final = MappingProxyType(
    {
        "nav.advice": "Advice",
        "advice.title": "Advice",
        "advice.list.said": "Of each combine's last checks: what is most likely wrong, and the one step worth trying.",
        "advice.list.none": "No check is in the book yet.",
        "advice.list.leaks": "Leak walk: where to look, and how to measure a leak",
        "advice.of": "Advice on the check of {when}",
        "advice.check": "the check itself",
        "advice.link": "What may be wrong, and what to try",
        "advice.first": "Before anyone goes near the machine",
        "advice.question": "Most telling now",
        "advice.unsure": "I cannot say",
        "advice.settled": "No further question would tell much.",
        "advice.answered": "Answered",
        "advice.take_back": "take back",
        "advice.itself": "Known without asking",
        "advice.causes": "What it may be",
        "advice.percent": "{chance} %",
        "advice.changes": "Worth trying, one at a time",
        "advice.step": "Step: {step}",
        "advice.gain": "{gain}; {minutes}.",
        "advice.spoils": "May spoil: {what}",
        "advice.spoils.none": "May spoil: nothing known",
        "advice.verify": "See whether it helped: {how}",
        "advice.undo": "Undo: {how}.",
        "advice.trial": "Start the trial: {a} against {b}",
        "advice.trial.open": "Start a trial of {setting}",
        "advice.sources": "What the letters stand for",
        "advice.measure": "What would tell",
        "advice.keep": "Keep these answers with the check",
        "advice.keep.back": "Keep that they were taken back",
        "advice.keep.none": "All of them are kept with the check.",
        "advice.tried": "It was tried:",
        "advice.tried.choose": "Which step",
        "advice.tried.outcome": "What it did",
        "advice.tried.keep": "Note it",
        "advice.tried.kept": "Noted with the check.",
        "advice.terms": "Money and machine",
        "advice.stop_cost": "What an hour of standing costs",
        "advice.area_left": "Area a step would work on",
        "advice.hour_cost": "What an hour of combining costs",
        "advice.machine": "Separation, where the combine does not tell it",
        "advice.machine.rotor": "rotor",
        "advice.machine.walker": "walkers",
        "advice.reckon": "Reckon with these",
        "advice.why_not": "No advice on this check: {why}",
        "advice.leaks": "Leak walk",
        "advice.leaks.measure": "Measure it",
        "advice.leaks.look": "Look for {what}.",
        "advice.leaks.mend": "Mend: {how}.",
    }
)
"""What the pages of advice say."""

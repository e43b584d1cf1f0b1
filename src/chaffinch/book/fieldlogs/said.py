"""The sentences about field logs, for every face: what is open, what was met, why a record does not count."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from chaffinch.fieldlog.cleaning.clean import Flag
    from chaffinch.fieldlog.cleaning.lag import Lag
    from chaffinch.fieldlog.on_disk.pieces import CleanedLog
    from chaffinch.fieldlog.rows import Problem, Question

QUESTIONS: Final = {
    "machine clock": (
        "the machine's clock tells no time zone",
        "say the zone its clock ran in: --zone -06:00, or --zone America/Regina",
    ),
    "several elements": (
        "several parts of the machine report it, and they differ",
        "say which one counts: --element {what}=ID, one of {choices}",
    ),
    "several units fit": (
        "more than one unit fits the numbers",
        'say which: --column "{what}={first}", one of {choices}',
    ),
    "no unit fits": ("no unit fits the other columns", 'say which it is: --column "{what}={first}", one of {choices}'),
    "weight of a bushel": ("is in bushels, and their weight is not told", 'say it: --bushel "60 lb"'),
    "weight of a volume": ("was recorded by volume, and nothing tells what it weighs", 'say it: --bushel "60 lb"'),
    "what the time counts from": (
        "counts seconds from nobody knows where",
        'say it: --column "{what}={first}", one of {choices}',
    ),
    "day or month first": ("is the day or the month first?", "say it: --dates dmy, or --dates mdy"),
    "longitude and latitude swapped": (
        "longitude and latitude seem to be swapped: the way between positions fits the distance only then",
        'say which is which: --column "{first}" and --column "{second}"',
    ),
}

PROBLEMS: Final = {
    "log missing": "{where} is named by a task, and its {detail} is not there.",
    "log named twice": "{where} is named again by {detail}; it counts once, for the task that named it first.",
    "log of no task": "{where} lies there, and no task names it; it was left out.",
    "file missing": "{where} is referred to and not there.",
    "not readable": "{where} was left out: {detail}.",
    "empty log": "{where} holds no record.",
    "same file twice": "{where} holds what {detail} holds; it counts once.",
    "same folder twice": "{where} is the same as {detail}; it counts once.",
    "cut record": "{where} ends in mid record: {detail} whole records were kept, {count} bytes were not.",
    "no record": "{where}: after {detail} records come {count} bytes no machine can have written; they were left out.",
    "index beyond list": "{where}: {count} values belong to none of the {detail} described; they were left out.",
    "more values than described": "{where}: {count} records hold more than the {detail} values described.",
    "first dates wrong": "{where}: the first {count} records carry a date from before the clock was set; they have no "
    "time.",
    "beyond any record": "{where}: {count} values of {detail} lie beyond what any record can hold; they are missing.",
    "no number": "{where}: {count} cells are no numbers; they are missing.",
    "cells beyond the last column": "{where}: {count} cells stand beyond the last column of the header; they were left "
    "out, and where rows are longer than the header their columns may have slipped.",
    "odd quotation marks": "{where}: {count} lines hold a quotation mark without its other; it was left out.",
    "no time": "{where}: {count} cells are no time that can be read; they are missing.",
    "hour passed twice": "{where}: {count} records lie in an hour that the zone passes twice in autumn; they were "
    "taken as of the first time.",
    "time of day without a date": "{where} tells the time of day and no date; the records count from midnight, and no "
    "check can be joined.",
    "date without time": "{where} tells the date and no time of day; the records have no time.",
    "letters guessed": "{where} is not UTF-8; letters beyond plain ones were read as Western European.",
    "only its beginning": "{where} is large: what is said here is of its first {count} records, of about {detail}.",
    "library warning": "{where}: {detail}.",
    "columns of no single value": "{where}: {detail} was left out; positions in it need the metadata of GeoParquet "
    "beside them, or columns of longitude and latitude.",
    "areas as points": "{where}: {count} shapes are no points; their middles were taken.",
    "yield disagrees": "{where}: flow × interval ÷ (distance × width) is {detail} of the recorded yield; a unit or a "
    "column may be another.",
    "speed disagrees": "{where}: distance ÷ interval is {detail} of the recorded speed.",
    "way disagrees": "{where}: the way between positions is {detail} of the recorded distance; a unit may be another, "
    "or records of several machines stand mixed, which a column with their names would part.",
    "way by speed disagrees": "{where}: the speed of the positions is {detail} of the recorded speed; a unit may be "
    "another, or records of several machines stand mixed, which a column with their names would part.",
    "yield by speed disagrees": "{where}: flow ÷ (speed × width) is {detail} of the recorded yield.",
}

FLAGS: Final = {
    "STATUS": "header up, or no position fix",
    "POSITION": "position missing or jumped",
    "DELAY": "grain cut there came after the log broke off",
    "PASS_END": "filling or emptying at an end of a pass",
    "TURN": "turning, or a very short pass",
    "SPEED": "too slow, too fast or unsteady",
    "WIDTH": "narrower than usual",
    "OVERLAP": "cut before",
    "RANGE": "yield or moisture missing or out of range",
    "LOCAL": "far from its neighbours",
}

DOUBTS: Final = {
    "not in the log": "the log does not reach it",
    "too few records": "too few records before it count",
    "speed varied": "speed varied before it",
    "not at full width": "not at full width before it",
    "no flow": "no flow of grain before it",
}
TOO_MUCH: Final = (
    "{what} flagged {share} of all records: its limit does not suit this log and can be set, or the log is not sound."
)
NO_CROP: Final = (
    "No record tells a yield and a moisture that can be meant, so none counts. Was a column of yield or flow read, and "
    "in its own unit?"
)
LAG: Final = (
    "Grain of {machine} reaches the sensor {seconds} after it is cut (give or take {sd}); the flow was put back."
)
LAG_NONE: Final = "No delay of the flow of {machine} stands out; it was left as recorded."
LAG_UNTOLD: Final = "The passes of {machine} do not tell a delay of the flow; it was left as recorded."
NO_LOSS: Final = "The machine logged no loss readings of its own."
HAS_LOSS: Final = "The machine's own loss readings are there: {columns}. They are readings of a sensor, not losses."

ASIDE: Final = "Left aside: {columns}. A column that is told is read: {how}."
ASIDE_MOST: Final = 12
"""Columns named of those left aside; own figure: a page holds them, and terminals write dozens."""


def aside_said(matched: Mapping[str, str], how: str = "NAME=MEANING:UNIT") -> list[str]:
    """Which columns were left aside and how one is told, as one sentence; none where all were read."""
    left = [header for header, meant in matched.items() if meant == "-"]
    more = [f"{len(left) - ASIDE_MOST} more"] if len(left) > ASIDE_MOST else []
    return [ASIDE.format(columns=", ".join([*left[:ASIDE_MOST], *more]), how=how)] if left else []


def question_said(question: Question) -> tuple[str, str]:
    """What is open, and how to answer it."""
    problem, mend = QUESTIONS[question.why]
    what = question.what.removeprefix("element ")
    first, second = (*question.choices, "", "")[:2]
    return problem, mend.format(what=what, choices=", ".join(question.choices), first=first, second=second)


def problem_said(problem: Problem) -> str:
    """One thing the reader met, as a sentence."""
    text = PROBLEMS[problem.kind].format(where=problem.where, count=f"{problem.count:,}", detail=problem.detail)
    return text[:1].upper() + text[1:]


def flag_said(flag: Flag) -> str:
    """Why a record does not count."""
    return FLAGS[str(flag.name)]


def doubts_said(doubts: Sequence[str]) -> str:
    """Why the log gives a check no load."""
    return ", ".join(DOUBTS[one] for one in doubts)


def lags_said(lags: Sequence[tuple[str, Lag]]) -> list[str]:
    """What was found of the delay of each machine."""
    said = []
    for machine, lag in lags:
        name = machine or "the machine"
        if not lag.found:
            said.append(LAG_UNTOLD.format(machine=name))
        elif lag.seconds == 0.0:
            said.append(LAG_NONE.format(machine=name))
        else:
            unit = "s" if lag.timed else "records"  # of a log without time nobody knows what a record takes
            said.append(LAG.format(machine=name, seconds=f"{lag.seconds:.1f} {unit}", sd=f"{lag.sd_s:.1f} {unit}"))
    return said


def warnings_said(cleaned: CleanedLog) -> list[str]:
    """Filters that took too much."""
    share = {one.flag: one.count / max(cleaned.records, 1) for one in cleaned.taken}
    return [
        NO_CROP
        if flag.name == "RANGE" and share[flag] >= 1.0
        else TOO_MUCH.format(what=f'"{flag_said(flag)}"', share=f"{100 * share[flag]:.0f} %")
        for flag in cleaned.too_much()
    ]

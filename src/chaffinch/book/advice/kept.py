"""What was answered and what was tried: kept in the book as notes, in words that a person and this program both read.

    Advice answers: found = chaff; chaff = far
    Advice answers: chaff = taken back; round = 2
    Advice tried: fan_down; without effect

A note is about a check (``of``). Any other note is only a remark. Notes may be changed as labels are. A changed answer
is one more note of a higher round, which stands over the earlier ones answer by answer; the old ones stay readable. Of
equal rounds the note with the greater id holds, so that two books made equal say the same whatever order notes came in.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Final, Literal

from chaffinch.book.desk import Desk
from chaffinch.book.things import Thing, add_thing, things
from chaffinch.errors import InputError
from chaffinch.reference.advice_read import advice_table

Outcome = Literal["helped", "without effect", "made it worse"]
OUTCOMES: Final[tuple[Outcome, ...]] = ("helped", "without effect", "made it worse")
ANSWERS: Final = "Advice answers: "
TRIED: Final = "Advice tried: "
TAKEN_BACK: Final = "taken back"
"""Stands in the place of an answer that was kept and does not hold any more."""
_ROUND: Final = re.compile(r"\s*round\s*=\s*(\d{1,6})\s*", re.ASCII)
_LAST_ROUND: Final = 999_999
"""Rounds end here, so that no forged note keeps an answer for good."""


@dataclass(frozen=True, slots=True)
class Tried:
    """A change that somebody made and looked at: ``change`` its key, ``of`` the check, ``note`` the note's id."""

    change: str
    outcome: Outcome
    of: str
    note: str


@dataclass(frozen=True, slots=True)
class KeptAnswers:
    """What became of answers: ``how`` they were kept, ``note`` the id of the new note, None where none was needed."""

    how: Literal["kept", "changed", "known"]
    note: str | None


def keep_answers(
    desk: Desk, check_id: str, answers: Mapping[str, str], *, versions: Collection[str] = ()
) -> KeptAnswers:
    """Keep answers beside a check, once: when this returns they are on disk.

    Parameters
    ----------
    desk : Desk
        The open book.
    check_id : str
        Id of the check.
    answers : mapping of str to str
        By question; :data:`TAKEN_BACK` for one that does not hold any more.
    versions : collection of str
        Ids of the check's other versions, beside which answers may stand already.

    Returns
    -------
    KeptAnswers
        "known": the book says all that already, and nothing was written. "changed": an answer that was kept is another
        now, or taken back; the note says so and the earlier one stays readable. Else "kept".

    Raises
    ------
    InputError
        For a question or an answer that is none, or no answer at all.
    """
    if not answers:
        raise InputError("answers", None, "are none", "answer a question first")
    refuse_what_nobody_is_asked(answers)
    for sign, answer in answers.items():
        known = advice_table().sign(sign)
        if known is None or (answer not in known.answers and answer != TAKEN_BACK):
            raise InputError(f"answer, {sign}", answer, "is no answer of ours", "use an answer of the question")
    notes = _answering(desk, {check_id, *versions})
    told = _over_each_other(notes)
    before = holding(told)
    fresh = {k: v for k, v in answers.items() if before.get(k, TAKEN_BACK) != v}
    if not fresh:
        return KeptAnswers("known", None)
    text = ANSWERS + "; ".join(f"{sign} = {answer}" for sign, answer in fresh.items())
    if told.keys() & fresh.keys():
        text += f"; round = {min(_LAST_ROUND, 1 + max(round_of(_text(one)) for one in notes))}"
    note = add_thing(desk, "note", {"text": text, "of": check_id}).id
    return KeptAnswers("changed" if before.keys() & fresh.keys() else "kept", note)


def refuse_what_nobody_is_asked(answers: Mapping[str, str]) -> None:
    """Refuse an answer that only a check or the book can give, as what this machine's own checks say of its load.

    Raises
    ------
    InputError
        For such an answer.
    """
    for key in answers:
        sign = advice_table().sign(key)
        if sign is not None and not sign.asks:
            problem = "is answered by check and book alone"
            raise InputError("question", key, problem, "leave it out; chaffinch advise --questions lists those asked")


def keep_tried(desk: Desk, check_id: str, change: str, outcome: str) -> str:
    """Keep what a change did, beside the check after which it was made, once. Returns the id of the note.

    Raises
    ------
    InputError
        For a change or an outcome that is none.
    """
    if advice_table().change(change) is None:
        keys = ", ".join(one.key for one in advice_table().changes)
        raise InputError("change", change, "is none of ours", f"use one of {keys}")
    if outcome not in OUTCOMES:
        raise InputError("outcome", outcome, "is none of ours", f"use one of {', '.join(OUTCOMES)}")
    for one in tried_after(desk, {check_id}):
        if (one.change, one.outcome) == (change, outcome):
            return one.note
    return add_thing(desk, "note", {"text": f"{TRIED}{change}; {outcome}", "of": check_id}).id


def answers_kept(desk: Desk, check_ids: Collection[str]) -> dict[str, str]:
    """Answers kept beside a check (its versions), a note of a higher round over one of a lower."""
    return holding(_over_each_other(_answering(desk, check_ids)))


def holding(answers: Mapping[str, str]) -> dict[str, str]:
    """The answers that hold: without those taken back."""
    return {sign: answer for sign, answer in answers.items() if answer != TAKEN_BACK}


def read_answers(text: str) -> dict[str, str]:
    """Answers of one note, those taken back among them; none of what the table does not know (any more)."""
    if not text.startswith(ANSWERS):
        return {}
    found = {}
    for part in text.removeprefix(ANSWERS).split(";"):
        told = re.fullmatch(rf"\s*(\w+)\s*=\s*({TAKEN_BACK}|\w+)\s*", part)
        sign = None if told is None else advice_table().sign(told[1])
        if told is not None and sign is not None and sign.asks and (told[2] in sign.answers or told[2] == TAKEN_BACK):
            found[told[1]] = told[2]
    return found


def round_of(text: str) -> int:
    """Round of a note of answers: one more than the highest its author had seen; 1 where it tells none."""
    told = [one for one in map(_ROUND.fullmatch, text.removeprefix(ANSWERS).split(";")) if one is not None]
    return max([1, *(int(one[1]) for one in told)])


def read_tried(text: str) -> tuple[str, Outcome] | None:
    """Change and outcome of one note; None where it is another note."""
    told = re.fullmatch(rf"{re.escape(TRIED)}(\w+);\s*({'|'.join(OUTCOMES)})\s*", text)
    if told is None or advice_table().change(told[1]) is None:
        return None
    return told[1], next(one for one in OUTCOMES if one == told[2])


def tried_after(desk: Desk, check_ids: Collection[str]) -> list[Tried]:
    """Changes kept beside any of these checks."""
    found = []
    for note in _about(desk, check_ids):
        told = read_tried(_text(note))
        if told is not None:
            found.append(Tried(told[0], told[1], str(note.parts["of"]), note.id))
    return found


def _answering(desk: Desk, check_ids: Collection[str]) -> list[Thing]:
    """Notes of answers about a check, in the order in which they stand over each other."""
    found = [one for one in _about(desk, check_ids) if read_answers(_text(one))]
    return sorted(found, key=lambda one: (round_of(_text(one)), one.id))


def _over_each_other(notes: Iterable[Thing]) -> dict[str, str]:
    """The last answer of each question, those taken back among them."""
    return {sign: answer for note in notes for sign, answer in read_answers(_text(note)).items()}


def _text(note: Thing) -> str:
    return str(note.parts.get("text", ""))


def _about(desk: Desk, check_ids: Collection[str]) -> list[Thing]:
    wanted = set(check_ids)
    return [one for one in things(desk, "note") if not one.retired and one.parts.get("of") in wanted]

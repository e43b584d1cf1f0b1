"""Which of several edits of one label holds: the same one on every book, whatever order they arrived in.

Readings are facts and are never edited; names, notes and plans may be, field by field. An edit carries a revision:
one more than the highest its author had seen for that field. The higher revision holds; of equals the greater edit
id does. No clock is asked, so a phone whose clock is years off changes nothing. Edits that lost stay in the log.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from chaffinch.records.bodies import HIGHEST_REVISION


@dataclass(frozen=True, slots=True)
class Edit:
    """One change of one field of one thing.

    Attributes
    ----------
    id : str
        Id of the edit's own record.
    target, field : str
        What is changed: id of the thing, name of its field.
    value : JSON-able
        The new value; None clears the field.
    revision : int
        1 or more.
    """

    id: str
    target: str
    field: str
    value: Any
    revision: int

    @property
    def rank(self) -> tuple[int, str]:
        """Order among edits of the same field; the greatest holds."""
        return self.revision, self.id


def edit_of(record_id: str, body: Mapping[str, Any]) -> Edit:
    """The edit that a record of kind ``edit`` carries."""
    return Edit(record_id, body["target"], body["field"], body["value"], body["revision"])


def holding(edits: Iterable[Edit]) -> dict[tuple[str, str], Edit]:
    """The edit that holds for each (target, field)."""
    found: dict[tuple[str, str], Edit] = {}
    for edit in edits:
        key = edit.target, edit.field
        if key not in found or edit.rank > found[key].rank:
            found[key] = edit
    return found


def next_revision(seen: Iterable[Edit], target: str, field: str) -> int:
    """Revision of an edit made now by somebody who has seen ``seen``; at the highest there is, ids decide."""
    highest = max((e.revision for e in seen if e.target == target and e.field == field), default=0)
    return min(1 + highest, HIGHEST_REVISION)

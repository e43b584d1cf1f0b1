"""Which version of a reading counts when it was corrected, perhaps twice, perhaps on two phones.

A correction is a new record that names the one it replaces; nothing is ever changed in place. Following the names from
a first record leads to one or more ends. One end: it counts. Several: two people corrected the same record without
knowing of each other; the one with the greatest id counts on every book, and the disagreement is shown until a further
correction names them all.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Versions:
    """All versions of one reading.

    Attributes
    ----------
    root : str
        Id of the first record.
    all : tuple of str
        Ids of all versions, root first, then by id.
    ends : tuple of str
        Versions that nobody replaced, by id.
    """

    root: str
    all: tuple[str, ...]
    ends: tuple[str, ...]

    @property
    def counts(self) -> str | None:
        """Id of the version that counts; None if replacements form a ring (a damaged or forged record)."""
        return self.ends[-1] if self.ends else None

    @property
    def disagree(self) -> bool:
        """Whether more than one version stands unreplaced."""
        return len(self.ends) > 1


def versions(ids: Iterable[str], replaces: Mapping[str, Iterable[str]]) -> list[Versions]:
    """Group records into versions of the same reading.

    Parameters
    ----------
    ids : iterable of str
        Records known here.
    replaces : mapping of str to iterable of str
        For each correction, the ids it replaces; some may be unknown here yet.

    Returns
    -------
    list of Versions
        Ordered by root id. A correction whose original has not arrived yet stands as its own root.
    """
    known = set(ids)
    parent = {record: record for record in known}

    def find(record: str) -> str:
        while parent[record] != record:
            parent[record] = parent[parent[record]]
            record = parent[record]
        return record

    replaced: set[str] = set()
    corrections: set[str] = set()
    for new, olds in replaces.items():
        if new not in known:
            continue
        for old in olds:
            replaced.add(old)
            if old in known:
                corrections.add(new)
                parent[find(new)] = find(old)
    groups: dict[str, list[str]] = {}
    for record in known:
        groups.setdefault(find(record), []).append(record)
    found = []
    for members in groups.values():
        first = min((m for m in members if m not in corrections), default=min(members))
        rest = sorted(m for m in members if m != first)
        found.append(Versions(first, (first, *rest), tuple(sorted(m for m in members if m not in replaced))))
    return sorted(found, key=lambda v: v.root)

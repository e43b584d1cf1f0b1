"""Which version of a reading counts when it was corrected, perhaps twice, perhaps on two phones.

A correction is a new record that names the one it replaces; nothing is ever changed in place. Following the names from
a first record leads to one or more ends. One end: it counts. Several: two people corrected the same record without
knowing of each other; the one with the greatest id counts on every book, and the disagreement is shown until a further
correction names them all. Corrections that name each other in a ring (a damaged or forged record) cannot all be
believed: each of them stands unreplaced, as if two people had disagreed. A record that names itself replaces nothing.
"""

from __future__ import annotations

from collections import Counter
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
        Versions that stand unreplaced, by id; of a ring that nobody replaced, all its members.
    """

    root: str
    all: tuple[str, ...]
    ends: tuple[str, ...]

    @property
    def counts(self) -> str | None:
        """Id of the version that counts; None without any end."""
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

    linked = {
        new: [old for old in olds if old in known and old != new] for new, olds in replaces.items() if new in known
    }
    replaced: set[str] = set()
    corrections: set[str] = set()
    for new, olds in linked.items():
        for old in olds:
            replaced.add(old)
            corrections.add(new)
            parent[find(new)] = find(old)
    for ring in rings(linked):
        inside = set(ring)
        if not any(new not in inside and not inside.isdisjoint(olds) for new, olds in linked.items()):
            replaced -= inside
    groups: dict[str, list[str]] = {}
    for record in known:
        groups.setdefault(find(record), []).append(record)
    found = []
    for members in groups.values():
        first = min((m for m in members if m not in corrections), default=min(members))
        rest = sorted(m for m in members if m != first)
        found.append(Versions(first, (first, *rest), tuple(sorted(m for m in members if m not in replaced))))
    return sorted(found, key=lambda v: v.root)


def rings(replaces: Mapping[str, Iterable[str]]) -> list[tuple[str, ...]]:
    """Records that replace each other in a ring, each ring by id; a record that names itself is a ring of one.

    Parameters
    ----------
    replaces : mapping of str to iterable of str
        For each correction, the ids it replaces.
    """
    links = {new: [old for old in olds if old in replaces] for new, olds in replaces.items()}
    # Nearly every book has no ring at all: what nobody replaces is peeled off until nothing is left.
    replacers: Counter[str] = Counter(old for olds in links.values() for old in olds)
    free = [one for one in links if not replacers[one]]
    while free:
        for old in links.pop(free.pop()):
            replacers[old] -= 1
            if not replacers[old]:
                free.append(old)
    # Kosaraju: in the order in which walks forward end, the last first, walks back stay within one ring.
    back: dict[str, list[str]] = {one: [] for one in links}
    for new, olds in links.items():
        for old in olds:
            back[old].append(new)
    seen: set[str] = set()
    order = [one for start in links for one in _walk(start, links, seen)]
    seen.clear()
    found = [tuple(sorted(_walk(start, back, seen))) for start in reversed(order) if start not in seen]
    return sorted(ring for ring in found if len(ring) > 1 or ring[0] in links[ring[0]])


def _walk(start: str, links: Mapping[str, list[str]], seen: set[str]) -> list[str]:
    """Everything not seen yet that can be reached, in the order in which the walk leaves it for good."""
    if start in seen:
        return []
    seen.add(start)
    left: list[str] = []
    path = [(start, iter(links[start]))]
    while path:
        here, ways = path[-1]
        onward = next((way for way in ways if way not in seen), None)
        if onward is None:
            left.append(here)
            path.pop()
        else:
            seen.add(onward)
            path.append((onward, iter(links[onward])))
    return left

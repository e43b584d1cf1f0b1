"""A season in small: three books, some phones with wrong clocks, and a network that loses and doubles replies.

Everything is drawn from one seed. Devices keep what they made in an outbox until a receipt that echoes it comes back;
books are merged now and then, closed and opened again; two devices may claim the same id. At the end all outboxes are
emptied and the books merged until nothing moves, and :func:`ended_well` looks whether every book says the same, and
what a plain reckoning over all records ever made says.
"""

from __future__ import annotations

import contextlib
import json
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import pytest
import sqlalchemy as sa
from farm_records import FIELD, again, begin, check, edit, farm, sealed, uid

from chaffinch.book import things
from chaffinch.book.checks import entering as logging_checks
from chaffinch.book.checks import fields
from chaffinch.book.checks import held as checks
from chaffinch.book.desk import Desk
from chaffinch.book.exchange import merging
from chaffinch.records.checkfile import check_from_table
from chaffinch.store import records, verify
from chaffinch.store.opening import Store
from chaffinch.sync import accept
from chaffinch.sync.envelope import Envelope, seal

OTHER_FIELD = 5
LABELS = ("note", "area", "price")
MOST_ROUNDS = 6


@dataclass
class Device:
    """A phone: its name, how far its clock is off, and what it has not been able to hand over."""

    name: str
    years_off: int
    outbox: list[Envelope] = field(default_factory=list)

    def now(self) -> str:
        return f"{2026 + self.years_off}-08-14T12:00:00Z"


class World:
    """Three books and the devices that write into them."""

    def __init__(self, seed: int, addresses: Sequence[str]) -> None:
        self.chance = random.Random(seed)
        self.addresses = list(addresses)
        other = sealed(OTHER_FIELD, "field", {"name": "Long Acre", "crop": "canola", "area": "30 ha"})
        self.made: dict[tuple[str, str], Envelope] = {(e.id, e.hash): e for e in [*farm(), other]}
        self.books = [begin(self.addresses[0], self.made.values()), *(begin(a) for a in self.addresses[1:])]
        self.devices = [Device("phone 1", 0), Device("phone 2", -37)]
        self.confirmed: set[tuple[str, str]] = set(self.made)
        self.next = 1000

    def new_id(self) -> str:
        """Ids in no order, as from a device's own source of chance."""
        self.next += 1
        return f"{self.chance.getrandbits(32):08x}-{self.next:04x}-4000-8000-{self.next:012x}"

    def go(self, steps: int) -> None:
        """Let so many things happen, then bring everything together."""
        doings: list[tuple[Callable[[], None], int]] = [
            (self.log, 5), (self.replace, 3), (self.label, 4), (self.send, 6), (self.merge, 3), (self.at_the_desk, 2),
            (self.restart, 1), (self.second_device, 1), (self.clock_jumps, 1), (self.claim_the_same_id, 2),
            (self.garbled, 1),
        ]  # fmt: skip
        for _ in range(steps):
            self.chance.choices([d for d, _ in doings], [w for _, w in doings])[0]()
        self.settle()

    # What a device does without signal.

    def log(self) -> None:
        device = self.chance.choice(self.devices)
        where = self.chance.choice([FIELD, OTHER_FIELD])
        self._make(device, "check", dict(check(1, mass_g=self._grams(), field=where, hour=self._hour()).body))

    def replace(self) -> None:
        """Correct one or two checks, perhaps corrected before by somebody else, perhaps into the other field."""
        known = sorted({e.id for e in self.made.values() if e.kind == "check"})
        if not known:
            return
        old = self.chance.sample(known, min(len(known), self.chance.choice([1, 1, 1, 2])))
        where = self.chance.choice([FIELD, FIELD, OTHER_FIELD])
        body = dict(check(1, mass_g=self._grams(), field=where, hour=self._hour()).body)
        self._make(self.chance.choice(self.devices), "check", {**body, "replaces": old, "reason": "misread"})

    def label(self) -> None:
        """Edit a label, having seen one book only: others may have done so at the same revision."""
        target, name = self.chance.choice([FIELD, OTHER_FIELD]), self.chance.choice(LABELS)
        held = {(t, f): revision for t, f, _, revision in labels(self.chance.choice(self.books))}
        value = {"note": f"remark {self.next}", "area": f"{self.next % 90 + 1} ha", "price": f"{self.next % 500} /t"}
        if value["price"].startswith("0"):
            value["price"] = "1 /t"
        body = dict(edit(1, value[name], held.get((uid(target), name), 0) + 1, target=target, field=name).body)
        if name == "note" and self.chance.random() < 0.2:
            body["value"] = None
        self._make(self.chance.choice(self.devices), "edit", body)

    def second_device(self) -> None:
        self.devices.append(Device(f"phone {len(self.devices) + 1}", self.chance.choice([-56, -10, 0, 12, 70])))

    def clock_jumps(self) -> None:
        self.chance.choice(self.devices).years_off = self.chance.choice([-56, -1, 0, 1, 70])

    def claim_the_same_id(self) -> None:
        """Another device has a record of this very id with other content."""
        readings = sorted((e for e in self.made.values() if e.kind in ("check", "edit")), key=lambda e: (e.id, e.hash))
        if not readings:
            return
        one = self.chance.choice(readings)
        body = dict(one.body)
        if one.kind == "check":
            body = {**dict(check(1, mass_g=self._grams()).body), "taken_at": "2026-08-14T23:00:00Z"}
        else:
            body |= {"value": None, "revision": body["revision"] + self.chance.choice([0, 1])}
        self._keep(self.chance.choice(self.devices), one.id, one.kind, body)

    # What happens with signal.

    def send(self) -> None:
        """Hand some of the outbox over; the reply may be lost, or request and reply may come twice."""
        device = self.chance.choice(self.devices)
        part = self.chance.sample(device.outbox, self.chance.randint(0, len(device.outbox)))
        book = self.chance.choice(self.books)
        fate = self.chance.choice(["fine", "fine", "lost", "doubled", "cut off"])
        if fate == "cut off":
            part = part[: len(part) // 2]
        times = 2 if fate == "doubled" else 1
        replies = [receipts for _ in range(times) for receipts in [self._deliver(book, part)]]
        if fate != "lost":
            for receipts in replies:
                self._hear(device, receipts)

    def garbled(self) -> None:
        """A record is altered on its way: it must not be taken for what it claims to be."""
        device = self.chance.choice(self.devices)
        if not device.outbox:
            return
        one = self.chance.choice(device.outbox).as_dict()
        one["device_time"] = "2026-08-14T12:00:01Z"
        receipts = records.append(self.chance.choice(self.books), accept.open_batch([one]))
        self._hear(device, receipts)

    def at_the_desk(self) -> None:
        """Somebody logs a check, or edits a label, at one of the computers."""
        book = self.chance.choice(self.books)
        desk = Desk(book, "desk", lambda: "2026-08-14T12:00:00Z", self.new_id)
        if self.chance.random() < 0.6:
            one = check_from_table(check(1, mass_g=self._grams()).body["check"])
            taken_at = f"2026-08-14T{self._hour():02d}:30:00Z"
            receipt = logging_checks.log_check(desk, one, taken_at=taken_at, where={"field": uid(FIELD)})
        else:
            found = [t for t in things.things(desk, "field") if t.id == uid(FIELD)]
            if not found:
                return
            receipt = things.edit_label(desk, found[0], "note", f"from the desk {self.next}")
        stored = records.read(book, receipt.id)
        assert stored is not None, "a record that was confirmed is not there"
        self.made[receipt.id, receipt.hash] = stored.envelope
        self.confirmed.add((receipt.id, receipt.hash))

    def merge(self) -> None:
        here, there = self.chance.sample(range(len(self.books)), 2)
        merging.merge(Desk(self.books[here], "here"), Desk(self.books[there], "there"))

    def restart(self) -> None:
        number = self.chance.randrange(len(self.books))
        self.books[number].engine.dispose()
        self.books[number] = again(self.addresses[number])

    def settle(self) -> None:
        """Everybody has signal: outboxes go out, books are merged until nothing moves."""
        for device in self.devices:
            while part := device.outbox[:7]:
                self._hear(device, self._deliver(self.chance.choice(self.books), part))
                # Conflicts stay in the tray of the device; a person looks at them.
                device.outbox = [e for e in device.outbox if e not in part]
        for _ in range(MOST_ROUNDS):
            moved = 0
            for here in range(len(self.books)):
                for there in range(here):
                    for one in merging.merge(Desk(self.books[here], "here"), Desk(self.books[there], "there")):
                        assert not one.refused, one.refused
                        moved += one.accepted + one.conflicts
            if not moved:
                return
        raise AssertionError("the books never come to rest")

    def _deliver(self, book: Store, part: Sequence[Envelope]) -> list[accept.Receipt]:
        return records.append(book, accept.open_batch([json.loads(json.dumps(e.as_dict())) for e in part]))

    def _hear(self, device: Device, receipts: Sequence[accept.Receipt]) -> None:
        for receipt in receipts:
            for one in [e for e in device.outbox if accept.confirms(receipt, e)]:
                device.outbox.remove(one)
                self.confirmed.add((one.id, one.hash))

    def _make(self, device: Device, kind: str, body: dict[str, Any]) -> None:
        self._keep(device, self.new_id(), kind, body)

    def _keep(self, device: Device, record_id: str, kind: str, body: dict[str, Any]) -> None:
        one = seal(record_id, kind, 1, device.name, device.now(), body)
        device.outbox.append(one)
        self.made[one.id, one.hash] = one

    def _grams(self) -> float:
        return self.chance.randint(1, 300) / 10

    def _hour(self) -> int:
        return self.chance.randint(6, 22)


def labels(store: Store) -> list[tuple[str, str, object, int]]:
    with store.reading() as connection:
        rows = connection.execute(sa.text("SELECT target, field, value, revision FROM label ORDER BY target, field"))
        return [(r.target, r.field, json.loads(r.value), r.revision) for r in rows]


def counted(store: Store) -> list[tuple[str, tuple[str, ...], tuple[str, ...]]]:
    """Checks that count, with all their versions and the ends of these."""
    desk = Desk(store, "desk")
    found = checks.counting(desk, checks.checks_where(desk))
    return sorted((c.id, tuple(sorted(c.versions.all)), c.versions.ends) for c in found)


def in_fields(store: Store) -> dict[str, list[str]]:
    """Which checks each field's answer rests on, without the estimates themselves."""
    desk = Desk(store, "desk")
    sums = {}
    for number in (FIELD, OTHER_FIELD):
        (thing,) = (t for t in things.things(desk, "field") if t.id == uid(number))
        sums[thing.name] = _rests_on(desk, thing)
    return sums


class _EnoughError(Exception):
    """Ends a field summary before its estimates."""


def _rests_on(desk: Desk, thing: things.Thing) -> list[str]:
    """The checks a field's summary rests on; no ranges are computed, since those follow from the checks alone."""
    asked: list[str] = []

    def stop(_: Desk, ids: Sequence[str], **__: object) -> None:
        asked.extend(c.id for c in checks.counting(desk, ids))
        raise _EnoughError

    with pytest.MonkeyPatch.context() as patch, contextlib.suppress(_EnoughError):
        patch.setattr(fields, "answered", stop)
        fields.field_summary(desk, thing)
        raise AssertionError("the summary asked for no answers")
    return asked


def ended_well(world: World) -> None:
    """Assert what must hold when everything has come together.

    Every record ever made, and so every one ever confirmed, is in every book exactly once; all books give the same
    answers; and these are the ones that follow from the records by the plainest reckoning.
    """
    everything = sorted(world.made)
    assert world.confirmed <= set(everything)
    for number, store in enumerate(world.books):
        there = sorted(records.identities(store))
        assert there == everything, f"book {number} does not hold each record exactly once"
        assert verify.verify(store).problems == ()
    sound = plain_reckoning(world.made.values())
    for number, store in enumerate(world.books):
        assert labels(store) == sound.labels, f"book {number}: labels"
        assert counted(store) == sound.counted, f"book {number}: versions that count"
        assert in_fields(store) == sound.in_fields, f"book {number}: what the fields' answers rest on"


@dataclass(frozen=True)
class Reckoned:
    labels: list[tuple[str, str, object, int]]
    counted: list[tuple[str, tuple[str, ...], tuple[str, ...]]]
    in_fields: dict[str, list[str]]


def plain_reckoning(made: Any) -> Reckoned:
    """What follows from all records, reckoned anew without the program: ids claimed twice say nothing."""
    everything = list(made)
    ids = [e.id for e in everything]
    sound = [e for e in everything if ids.count(e.id) == 1]
    best: dict[tuple[str, str], Envelope] = {}
    for one in sorted((e for e in sound if e.kind == "edit"), key=lambda e: (e.body["revision"], e.id)):
        best[one.body["target"], one.body["field"]] = one
    held = sorted((*key, e.body["value"], e.body["revision"]) for key, e in best.items())

    bodies = {e.id: e.body for e in sound if e.kind == "check"}
    links = [(new, old) for new, body in bodies.items() for old in body.get("replaces", ())]
    present = {e.id for e in everything if e.kind == "check"}
    group = {record: {record} for record in present}
    for new, old in links:
        if old in present and group[new] is not group[old]:
            joined = group[new] | group[old]
            for member in joined:
                group[member] = joined
    replaced = {old for _, old in links}
    counted_, lines = [], {FIELD: [], OTHER_FIELD: []}  # type: ignore[var-annotated]
    for members in {id(g): g for g in group.values()}.values():
        ends = tuple(sorted(members - replaced))
        if ends and ends[-1] in bodies:
            counted_.append((ends[-1], tuple(sorted(members)), ends))
            body = bodies[ends[-1]]
            for number, line in lines.items():
                if body["field"] == uid(number):
                    line.append((body["taken_at"], ends[-1]))
    names = {FIELD: "Siskin Bend", OTHER_FIELD: "Long Acre"}
    return Reckoned(held, sorted(counted_), {names[n]: [i for _, i in sorted(line)] for n, line in lines.items()})

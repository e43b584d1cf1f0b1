"""Whatever the order in which things happen, all books end equal and nothing confirmed is lost.

A generated season (see ``three_books``) for each seed: fixed ones, those that once failed, by name, and fresh ones
on every run. The planted faults at the end show that these tests can fail.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from three_books import World, ended_well

from chaffinch.book import things
from chaffinch.book.checks import held as checks
from chaffinch.book.checks.fields import field_summary
from chaffinch.book.desk import Desk
from chaffinch.book.exchange import merging
from chaffinch.store import indexes, records
from chaffinch.store.opening import Store
from chaffinch.sync import accept, envelope
from chaffinch.sync.accept import Receipt
from chaffinch.sync.corrections import versions

NAMED = {
    "an ordinary week": (1, 40),
    "a long season": (2, 160),
    "hardly anything": (3, 3),
    "much at once": (4, 80),
    "once more": (5, 60),
}
"""Seed and number of steps by name; a seed that fails is added here with what it showed."""

STEPS = 45


def play(seed: int, steps: int, folder: Path) -> World:
    world = World(seed, [str(folder / f"{name}.chaffinch") for name in ("house", "shop", "adviser")])
    world.go(steps)
    return world


@pytest.mark.parametrize("name", NAMED, ids=lambda n: n.replace(" ", "-"))
def test_named_seasons(name: str, tmp_path: Path) -> None:
    ended_well(play(*NAMED[name], tmp_path))


@settings(
    max_examples=12,
    deadline=None,
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
    suppress_health_check=[HealthCheck.too_slow],
)
@given(seed=st.integers(0, 2**32))
def test_fresh_seasons(seed: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        ended_well(play(seed, STEPS, Path(folder)))


@pytest.mark.parametrize("seed", [11, 12])
def test_with_a_server_among_the_books(seed: int, tmp_path: Path, postgres: Any) -> None:
    world = World(seed, [str(tmp_path / "house.chaffinch"), postgres.new_book(), postgres.new_book()])
    world.go(STEPS)
    ended_well(world)


def test_the_estimates_are_equal_too(tmp_path: Path) -> None:
    """The checks are the same, so the estimates are: shown once, since they take their time."""
    world = play(3, 20, tmp_path)
    ended_well(world)
    sums = []
    for store in world.books:
        desk = Desk(store, "desk")
        field = next(t for t in things.things(desk, "field") if t.name == "Siskin Bend")
        summary = field_summary(desk, field)
        verdicts = [(line.logged.id, line.answer.verdict, line.answer.p_over) for line in summary.checks]
        sums.append((dict(field.parts), verdicts, summary.mean_kg_ha, summary.money))
    assert sums[0] == sums[1] == sums[2]
    assert sums[0][1], "there is nothing to compare"


def test_a_season_has_something_of_everything(tmp_path: Path) -> None:
    """The generator itself: corrections, labels at one revision, conflicts, and records not yet handed over."""
    made = list(play(2, 160, tmp_path).made.values())
    ids = [e.id for e in made]
    assert sum("replaces" in e.body for e in made) > 5
    assert len(ids) - len(set(ids)) > 3
    ranks = [(e.body["target"], e.body["field"], e.body["revision"]) for e in made if e.kind == "edit"]
    assert len(ranks) - len(set(ranks)) > 3
    assert len({e.device_time[:4] for e in made}) > 3


# Planted faults: each breaks one rule of the house.

Fault = Callable[[pytest.MonkeyPatch], None]


def the_later_label_wins_a_tie(patch: pytest.MonkeyPatch) -> None:
    by_arrival = indexes._INSERT["label"].replace("excluded.edit_id > label.edit_id", "1 = 1")
    assert by_arrival != indexes._INSERT["label"]
    patch.setitem(indexes._INSERT, "label", by_arrival)


def conflicts_are_ignored(patch: pytest.MonkeyPatch) -> None:
    sound = records._add_one

    def careless(connection: Any, one: Any, known: dict[str, set[str]], arrived: str) -> Receipt:
        if known.get(one.id):
            return Receipt(one.id, one.hash, "known")
        return sound(connection, one, known, arrived)

    patch.setattr(records, "_add_one", careless)


def conflicts_count(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(indexes, "set_aside", lambda *_: None)


def a_merge_goes_one_way_only(patch: pytest.MonkeyPatch) -> None:
    sound = merging._send
    calls = iter(range(10**9))

    def lazy(source: Store, target: Store, wanted: set[tuple[str, str]], step: Any) -> merging.Merged:
        return sound(source, target, wanted if next(calls) % 2 == 0 else set(), step)

    patch.setattr(merging, "_send", lazy)
    # Merging each pair from both sides would hide it.
    patch.setattr(World, "merge", lambda _: None)


def conflicts_stay_at_home(patch: pytest.MonkeyPatch) -> None:
    def of_records(store: Store) -> Iterator[tuple[str, str]]:
        return ((s.envelope.id, s.envelope.hash) for s in records.every(store))

    patch.setattr(merging.records, "identities", of_records)


def known_is_kept_again(patch: pytest.MonkeyPatch) -> None:
    sound = records._add_one

    def doubling(connection: Any, one: Any, known: dict[str, set[str]], arrived: str) -> Receipt:
        if one.hash in known.get(one.id, set()):
            sound(connection, one, {one.id: {"another"}}, arrived)
            return Receipt(one.id, one.hash, "known")
        return sound(connection, one, known, arrived)

    patch.setattr(records, "_add_one", doubling)


def the_last_of_a_batch_is_dropped(patch: pytest.MonkeyPatch) -> None:
    sound = records.append

    def short(store: Store, batch: Any) -> list[Receipt]:
        if len(batch) < 2:
            return sound(store, batch)
        last = batch[-1]
        ending = last if isinstance(last, Receipt) else Receipt(last.id, last.hash, "accepted")
        return [*sound(store, batch[:-1]), ending]

    patch.setattr(records, "append", short)


def hashes_are_not_checked(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(accept, "opened", lambda data: envelope.Envelope(**{key: data[key] for key in envelope.KEYS}))


def replaced_versions_count_too(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(checks, "versions", lambda ids, _: versions(ids, {}))


def the_first_correction_wins(patch: pytest.MonkeyPatch) -> None:
    """By arrival instead of by id: books that heard of them in another order disagree."""
    patch.setitem(
        indexes._INSERT,
        "correction",
        "INSERT INTO correction (new_id, old_id) SELECT :new_id, :old_id "
        "WHERE NOT EXISTS (SELECT 1 FROM correction WHERE old_id = :old_id)",
    )


def a_lost_reply_is_taken_for_a_receipt(patch: pytest.MonkeyPatch) -> None:
    """The device forgets what it sent, whether it arrived or not."""
    patch.setattr(accept, "confirms", lambda receipt, one: receipt.id == one.id)


FAULTS: list[Fault] = [
    the_later_label_wins_a_tie,
    conflicts_are_ignored,
    conflicts_count,
    a_merge_goes_one_way_only,
    conflicts_stay_at_home,
    known_is_kept_again,
    the_last_of_a_batch_is_dropped,
    hashes_are_not_checked,
    replaced_versions_count_too,
    the_first_correction_wins,
    a_lost_reply_is_taken_for_a_receipt,
]


@pytest.mark.parametrize("fault", FAULTS, ids=lambda f: f.__name__.replace("_", "-"))
def test_a_planted_fault_is_seen(fault: Fault, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fault(monkeypatch)
    for seed in range(1, 7):
        folder = tmp_path / str(seed)
        folder.mkdir()
        try:
            ended_well(play(seed, STEPS, folder))
        except AssertionError:
            return
    pytest.fail("the fault went unseen through six seasons")

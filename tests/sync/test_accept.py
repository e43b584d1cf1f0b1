"""What becomes of a record that arrives, and which answer lets a device forget it."""

from __future__ import annotations

import itertools
from typing import Any

import pytest
from farm_records import check, uid
from hypothesis import given, settings
from hypothesis import strategies as st

from chaffinch.sync.accept import Receipt, confirms, judge, open_batch
from chaffinch.sync.envelope import Envelope

ONE, OTHER = check(10, mass_g=1.0), check(10, mass_g=2.0)


@pytest.mark.parametrize(
    ("known", "outcome"),
    [
        ([], "accepted"),
        ([ONE.hash], "known"),
        ([OTHER.hash], "conflict"),
        ([OTHER.hash, ONE.hash], "known"),
        ([check(11).hash, OTHER.hash], "conflict"),
    ],
)
def test_judged_by_the_hashes_known_under_its_id(known: list[str], outcome: str) -> None:
    assert judge(ONE, known) == outcome
    assert judge(ONE, iter(known)) == outcome


@settings(max_examples=60, deadline=None)
@given(st.permutations([check(n, mass_g=m) for n in (10, 11) for m in (1.0, 2.0)] * 2))
def test_whatever_the_order_both_are_known_in_the_end(arriving: list[Envelope]) -> None:
    """One record per id is accepted, the other conflicts, and each second arrival is known."""
    known: dict[str, set[str]] = {}
    outcomes = []
    for one in arriving:
        outcomes.append((one.id, judge(one, known.setdefault(one.id, set()))))
        known[one.id].add(one.hash)
    for record_id in (uid(10), uid(11)):
        assert sorted(o for i, o in outcomes if i == record_id) == ["accepted", "conflict", "known", "known"]
    assert known == {uid(n): {check(n, mass_g=m).hash for m in (1.0, 2.0)} for n in (10, 11)}


JUNK: list[Any] = [
    None,
    3,
    "text",
    [],
    {},
    {"id": 5, "hash": None},
    {"id": uid(3)},
    check(12).as_dict() | {"schema": 0},
]


def test_a_batch_keeps_its_order_and_every_item() -> None:
    batch: list[Any] = list(
        itertools.chain.from_iterable(zip(JUNK, (check(n).as_dict() for n in range(20, 28)), strict=True))
    )
    results = open_batch(batch)
    assert [type(r) for r in results] == [Receipt, Envelope] * len(JUNK)
    assert [r.id for r in results if isinstance(r, Envelope)] == [uid(n) for n in range(20, 28)]
    refusals = [r for r in results if isinstance(r, Receipt)]
    assert {r.outcome for r in refusals} == {"refused"}
    assert all(r.reason for r in refusals)
    assert [r.id for r in refusals] == ["", "", "", "", "", "", uid(3), uid(12)]


@pytest.mark.parametrize("outcome", ["accepted", "known", "conflict", "refused"])
def test_only_an_echo_of_id_and_hash_confirms(outcome: Any) -> None:
    settled = outcome in ("accepted", "known")
    assert confirms(Receipt(ONE.id, ONE.hash, outcome), ONE) == settled
    for receipt in (
        Receipt(ONE.id, OTHER.hash, outcome),
        Receipt(uid(11), ONE.hash, outcome),
        Receipt("", "", outcome),
    ):
        assert not confirms(receipt, ONE)

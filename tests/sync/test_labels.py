"""The same label holds on every book, whatever order its edits arrived in and whatever the clocks said."""

from __future__ import annotations

from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from chaffinch.sync.labels import Edit, edit_of, holding, next_revision

EDITS = st.lists(
    st.builds(
        Edit,
        id=st.uuids(version=4).map(str),
        target=st.sampled_from(["field", "combine"]),
        field=st.sampled_from(["name", "note"]),
        value=st.none() | st.text(max_size=5) | st.integers(),
        revision=st.integers(1, 4),
    ),
    unique_by=lambda e: e.id,
    max_size=12,
)


def edit(number: int, value: Any, revision: int, field: str = "note") -> Edit:
    return Edit(f"{number:04d}", "field", field, value, revision)


def test_the_higher_revision_holds() -> None:
    early, late = edit(9, "early", 1), edit(1, "late", 2)
    assert holding([early, late]) == holding([late, early]) == {("field", "note"): late}


def test_of_equals_the_greater_id_holds() -> None:
    small, great = edit(1, "small", 2), edit(2, "great", 2)
    assert holding([small, great]) == holding([great, small]) == {("field", "note"): great}


def test_fields_do_not_touch_each_other() -> None:
    note, name = edit(1, "wet", 5), edit(2, "Long Acre", 1, "name")
    assert holding([note, name]) == {("field", "note"): note, ("field", "name"): name}


def test_clearing_is_an_edit_like_another() -> None:
    written, cleared = edit(1, "wet", 1), edit(2, None, 2)
    assert holding([cleared, written])["field", "note"].value is None


def test_read_from_a_record() -> None:
    body = {"target": "t", "field": "note", "value": [1, None], "revision": 3}
    assert edit_of("an id", body) == Edit("an id", "t", "note", [1, None], 3)


@settings(max_examples=60, deadline=None)
@given(EDITS, st.randoms(use_true_random=False))
def test_the_winner_does_not_depend_on_order(edits: list[Edit], chance: Any) -> None:
    shuffled = list(edits)
    chance.shuffle(shuffled)
    assert holding(shuffled) == holding(edits) == holding(edits + shuffled)


@settings(max_examples=60, deadline=None)
@given(EDITS, st.integers(0, 12))
def test_winners_of_parts_are_the_winners_of_the_whole(edits: list[Edit], cut: int) -> None:
    """So two books may each keep only what holds, and agree after the merge."""
    parts = [*holding(edits[:cut]).values(), *holding(edits[cut:]).values()]
    assert holding(parts) == holding(edits)


@settings(max_examples=60, deadline=None)
@given(EDITS)
def test_each_winner_is_the_greatest_and_every_label_has_one(edits: list[Edit]) -> None:
    found = holding(edits)
    assert set(found) == {(e.target, e.field) for e in edits}
    for one in edits:
        assert found[one.target, one.field].rank >= one.rank
    assert all(one in edits for one in found.values())


@settings(max_examples=60, deadline=None)
@given(EDITS, st.sampled_from(["name", "note"]))
def test_an_edit_made_now_beats_all_its_author_has_seen(edits: list[Edit], field: str) -> None:
    mine = Edit("0", "field", field, "mine", next_revision(edits, "field", field))
    assert holding([*edits, mine])["field", field] == mine
    assert next_revision([], "field", field) == 1

"""Which version counts: the same on every book, no record lost, no reading counted twice."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chaffinch.sync.corrections import Versions, rings, versions

IDS = [f"{letter}{n}" for letter in "abc" for n in range(4)]
GRAPHS = st.dictionaries(st.sampled_from(IDS), st.lists(st.sampled_from(IDS), min_size=1, max_size=3), max_size=10)
KNOWN = st.sets(st.sampled_from(IDS))


@pytest.mark.parametrize(
    ("ids", "replaces", "expected"),
    [
        ([], {}, []),
        (["a"], {}, [("a", ("a",), ("a",))]),
        (["a", "b"], {"b": ["a"]}, [("a", ("a", "b"), ("b",))]),
        (["c", "a", "b"], {"b": ["a"], "c": ["b"]}, [("a", ("a", "b", "c"), ("c",))]),
        (["a", "b", "c"], {"b": ["a"], "c": ["a"]}, [("a", ("a", "b", "c"), ("b", "c"))]),
        (["a", "b", "c", "d"], {"b": ["a"], "c": ["a"], "d": ["b", "c"]}, [("a", ("a", "b", "c", "d"), ("d",))]),
        (["z", "a"], {"a": ["z"]}, [("z", ("z", "a"), ("a",))]),
        (["b"], {"b": ["a"]}, [("b", ("b",), ("b",))]),
        (["a"], {"b": ["a"]}, [("a", ("a",), ("a",))]),
        (["a", "b"], {"a": ["b"], "b": ["a"]}, [("a", ("a", "b"), ("a", "b"))]),
        (["a", "b", "c"], {"a": ["b"], "b": ["a"], "c": ["a"]}, [("a", ("a", "b", "c"), ("c",))]),
        (["a", "b", "c"], {"b": ["c", "a"], "c": ["b"]}, [("a", ("a", "b", "c"), ("b", "c"))]),
        (["a", "b", "d"], {"b": ["d", "a"], "d": ["b"]}, [("a", ("a", "b", "d"), ("b", "d"))]),
        (list("abcd"), {"b": ["c", "a"], "c": ["b"], "d": ["a"]}, [("a", tuple("abcd"), ("b", "c", "d"))]),
        (["a"], {"a": ["a"]}, [("a", ("a",), ("a",))]),
        (["a", "b"], {"b": ["a", "b"]}, [("a", ("a", "b"), ("b",))]),
    ],
    ids=["nothing", "alone", "corrected", "twice", "by two people", "and settled", "ids out of order",
         "original not here", "correction not here", "a ring", "a ring, settled",
         "a ring on top", "of other names", "a ring and another", "itself", "itself and another"],
)  # fmt: skip
def test_versions(ids: list[str], replaces: dict[str, list[str]], expected: list[tuple[Any, ...]]) -> None:
    assert [(v.root, v.all, v.ends) for v in versions(ids, replaces)] == expected


def test_which_one_counts() -> None:
    assert Versions("a", ("a",), ("a",)).counts == "a"
    assert not Versions("a", ("a",), ("a",)).disagree
    assert Versions("a", ("a", "b", "c"), ("b", "c")).counts == "c"
    assert Versions("a", ("a", "b", "c"), ("b", "c")).disagree
    assert Versions("a", ("a", "b"), ()).counts is None


def test_a_long_chain_is_no_burden() -> None:
    chain = [f"{n:05d}" for n in range(5000)]
    (found,) = versions(chain, {new: [old] for old, new in pairwise(chain)})
    assert found.counts == chain[-1]
    assert len(found.all) == 5000


@settings(max_examples=60, deadline=None)
@given(KNOWN, GRAPHS)
def test_versions_partition_the_ids(ids: set[str], replaces: dict[str, list[str]]) -> None:
    found = versions(ids, replaces)
    everything = [one for v in found for one in v.all]
    assert len(everything) == len(set(everything))
    assert set(everything) == ids
    for v in found:
        assert v.all[0] == v.root
        assert set(v.ends) <= set(v.all)
        assert list(v.ends) == sorted(v.ends)


@settings(max_examples=60, deadline=None)
@given(KNOWN, GRAPHS)
def test_what_is_linked_is_together_and_what_is_replaced_does_not_count(
    ids: set[str], replaces: dict[str, list[str]]
) -> None:
    found = versions(ids, replaces)
    home = {one: v.root for v in found for one in v.all}
    counting = {v.counts for v in found}
    in_rings = {one for ring in rings(replaces) for one in ring}
    for new, olds in replaces.items():
        for old in olds:
            if new in ids and old in ids:
                assert home[new] == home[old]
            if new in ids and old not in in_rings:
                assert old not in counting
    for one in ids - {old for new, olds in replaces.items() if new in ids for old in olds}:
        assert any(one in v.ends for v in found), "nobody replaced it, so it stands"


@settings(max_examples=60, deadline=None)
@given(KNOWN, GRAPHS, st.randoms(use_true_random=False))
def test_the_order_of_arrival_does_not_matter(ids: set[str], replaces: dict[str, list[str]], chance: Any) -> None:
    shuffled, turned = sorted(ids), list(replaces.items())
    chance.shuffle(shuffled)
    chance.shuffle(turned)
    assert versions(shuffled, {new: olds[::-1] for new, olds in turned}) == versions(ids, replaces)


@settings(max_examples=60, deadline=None)
@given(KNOWN, GRAPHS)
def test_replacing_all_ends_settles_a_disagreement(ids: set[str], replaces: dict[str, list[str]]) -> None:
    for v in versions(ids, replaces):
        assert v.counts is not None, "something of every reading counts, rings included"
        (settled,) = (w for w in versions({*ids, "zz"}, {**replaces, "zz": list(v.ends)}) if "zz" in w.all)
        assert settled.counts == "zz"
        assert not settled.disagree


@settings(max_examples=100, deadline=None)
@given(GRAPHS)
def test_rings_are_those_who_replace_each_other(replaces: dict[str, list[str]]) -> None:
    """By the plainest reckoning: two are in one ring when each can be reached from the other."""
    reached = {one: set(olds) for one, olds in replaces.items()}
    for _ in IDS:
        for one, far in reached.items():
            reached[one] = far | {beyond for old in far for beyond in reached.get(old, ())}
    wanted = {
        tuple(sorted(o for o in reached if o in reached[one] and one in reached[o]))
        for one in reached
        if one in reached[one]
    }
    assert rings(replaces) == sorted(wanted)


def test_a_long_ring_is_no_burden() -> None:
    ids = [f"{n:05d}" for n in range(5000)]
    ring = {new: [old] for old, new in pairwise([*ids, ids[0]])}
    assert rings(ring) == [tuple(ids)]
    (found,) = versions(ids, ring)
    assert found.counts == ids[-1]
    assert found.disagree

"""One canonical spelling, one hash: the vectors that the phone's twin reads too, and what must hold for any record."""

from __future__ import annotations

import json
import struct
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chaffinch.errors import InputError
from chaffinch.sync import envelope
from chaffinch.sync.envelope import KEYS, Envelope, canonical, content_hash, opened, seal

VECTORS = json.loads((Path(__file__).parents[1] / "vectors" / "envelopes.json").read_text(encoding="utf-8"))
ID = "00000002-0000-4000-8000-000000000002"


def named(part: str) -> Any:
    return pytest.mark.parametrize("vector", VECTORS[part], ids=lambda v: v.get("name", v.get("canonical")))


@named("canonical")
def test_canonical_form(vector: dict[str, str]) -> None:
    assert canonical(json.loads(vector["json"])).decode() == vector["canonical"]


@named("numbers")
def test_canonical_numbers(vector: dict[str, str]) -> None:
    (number,) = struct.unpack(">d", bytes.fromhex(vector["ieee754"]))
    assert canonical(number).decode() == vector["canonical"]
    assert canonical(json.loads(vector["canonical"])).decode() == vector["canonical"], "it reads back as written"


@named("envelopes")
def test_sealed_and_opened(vector: dict[str, Any]) -> None:
    sent = vector["envelope"]
    unsealed = {key: sent[key] for key in KEYS if key != "hash"}
    assert canonical(unsealed).decode() == vector["canonical"]
    assert sha256(vector["canonical"].encode()).hexdigest() == sent["hash"]
    assert content_hash(unsealed) == sent["hash"]
    assert opened(sent).as_dict() == sent
    made = seal(*(sent[key] for key in ("id", "kind", "schema", "device", "device_time", "body")))
    assert made == opened(sent)


@named("refused")
def test_refused(vector: dict[str, Any]) -> None:
    with pytest.raises(InputError, match=r"^envelope") as caught:
        opened(vector["envelope"])
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    "value",
    [float("nan"), float("inf"), 2**53 + 1, -(2**53) - 1, 10**400, "\ud800", {"\ud800": 1}, {1: 2}, {"a": object()},
     b"bytes", {"a"}, [[[1, float("nan")]]]],
    ids=["NaN", "infinity", "2^53 + 1", "-2^53 - 1", "10^400", "half a pair", "half a pair as key",
         "a key that is no text", "an object", "bytes", "a set", "NaN deep down"],
)  # fmt: skip
def test_what_json_cannot_hold_is_refused(value: object) -> None:
    with pytest.raises(InputError, match="cannot be written as JSON"):
        canonical(value)


def test_a_nest_without_end_is_refused() -> None:
    deep: list[Any] = []
    for _ in range(100_000):
        deep = [deep]
    with pytest.raises(InputError, match="cannot be written as JSON"):
        canonical(deep)


def test_a_body_too_large_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    just = seal(ID, "note", 1, "phone", "now", {"text": "x" * 100})
    size = len(canonical({key: value for key, value in just.as_dict().items() if key != "hash"}))
    monkeypatch.setattr(envelope, "MOST_BYTES", size)
    assert opened(just.as_dict()) == just
    monkeypatch.setattr(envelope, "MOST_BYTES", size - 1)
    with pytest.raises(InputError, match="too large"):
        opened(just.as_dict())


NUMBERS = st.one_of(st.integers(-(2**53) + 1, 2**53 - 1), st.floats(allow_nan=False, allow_infinity=False))
JSON = st.recursive(
    st.none() | st.booleans() | NUMBERS | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
    max_leaves=8,
)
BODIES = st.dictionaries(st.text(max_size=20), JSON, max_size=3)


@settings(max_examples=50, deadline=None)
@given(BODIES)
def test_any_body_survives_the_journey(body: dict[str, Any]) -> None:
    """Written, sent, read and written again: the same bytes and the same hash."""
    sent = seal(ID, "note", 1, "phone", "2026-08-14T16:40:00Z", body)
    arrived = opened(json.loads(json.dumps(sent.as_dict())))
    stored = Envelope(**{**arrived.as_dict(), "body": json.loads(canonical(arrived.body))})
    assert arrived.hash == stored.hash == sent.hash
    assert content_hash(stored.as_dict()) == sent.hash
    # Compared as written: a double of 2^53 and more may come back as the integer it is written as.
    assert canonical(stored.body) == canonical(body)


@settings(max_examples=50, deadline=None)
@given(BODIES, BODIES)
def test_other_content_has_another_hash(one: dict[str, Any], other: dict[str, Any]) -> None:
    first, second = (seal(ID, "note", 1, "phone", "now", body) for body in (one, other))
    assert (first.hash == second.hash) == (canonical(one) == canonical(other))


@settings(max_examples=50, deadline=None)
@given(BODIES, st.randoms(use_true_random=False))
def test_the_order_of_keys_does_not_matter(body: dict[str, Any], chance: Any) -> None:
    keys = list(body)
    chance.shuffle(keys)
    assert canonical({key: body[key] for key in keys}) == canonical(body)


@given(st.recursive(NUMBERS | st.text(), lambda inner: st.lists(inner, max_size=3), max_leaves=5))
def test_nothing_that_arrives_is_worse_than_refused(junk: Any) -> None:
    for data in (junk, dict.fromkeys(KEYS, junk)):
        with pytest.raises(InputError):
            opened(data)

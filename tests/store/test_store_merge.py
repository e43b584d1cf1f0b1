"""Two books become equal, whichever database each lies on and whichever side starts."""

from __future__ import annotations

from collections.abc import Callable

import pytest
import sqlalchemy as sa
from farm_records import (
    FIELD,
    begin,
    check,
    clock,
    correction,
    edit,
    farm,
    full,
    identities,
    problems,
    put,
    sealed,
    uid,
)

from chaffinch.book import things
from chaffinch.book.checks import fields
from chaffinch.book.checks import held as checks
from chaffinch.book.desk import Desk
from chaffinch.book.exchange import merging
from chaffinch.errors import BookError, InputError
from chaffinch.store.opening import Store

PAIRS = ["sqlite-sqlite", "sqlite-postgresql", "postgresql-sqlite", "postgresql-postgresql"]

LEFT = [
    *farm(),
    *(check(n, mass_g=n / 10, hour=9) for n in range(100, 110)),
    correction(120, [100], hour=9),
    edit(200, "left", 1),
    check(300, mass_g=1.0),
    edit(301, "left, in conflict", 5),
    sealed(50, "operator", {"name": "Wren"}),
]
RIGHT = [
    *farm(),
    *(check(n, mass_g=n / 10, hour=10) for n in range(110, 120)),
    correction(121, [100], mass_g=7.0, hour=9),
    edit(201, "right", 1),
    edit(202, "70 ha", 1, field="area"),
    check(300, mass_g=2.0),
    edit(301, "right, in conflict", 5),
    sealed(50, "operator", {"name": "Robin"}),
]


@pytest.fixture
def on(place: Callable[[str], str]) -> Callable[..., Store]:
    """Starts a book with records in it, on a database that is named."""
    return lambda kind, items: begin(place(kind), items)


def answers(store: Store) -> object:
    desk = Desk(store, "desk", clock)
    counted = checks.counting(desk, checks.checks_where(desk))
    return (
        sorted((t.id, t.kind, t.name, str(sorted(t.parts.items()))) for t in things.things(desk)),
        [(c.id, c.versions) for c in counted],
    )


@pytest.mark.parametrize("pair", PAIRS)
def test_merged_books_are_equal_and_answer_alike(on: Callable[..., Store], pair: str) -> None:
    left, right = (on(kind, items) for kind, items in zip(pair.split("-"), (LEFT, RIGHT), strict=True))
    came, went = merging.merge(Desk(left, "left"), Desk(right, "right"))
    assert (came.accepted, came.conflicts, came.known, came.refused) == (13, 3, 0, ())
    assert (went.accepted, went.conflicts, went.known, went.refused) == (12, 3, 0, ())
    everything = sorted({(e.id, e.hash) for e in LEFT + RIGHT})
    assert identities(left) == identities(right) == everything
    assert answers(left) == answers(right)
    assert problems(left) == problems(right) == ()
    again_came, again_went = merging.merge(Desk(right, "right"), Desk(left, "left"))
    assert again_came == again_went == merging.Merged(0, 0, 0, ())


def test_whichever_side_starts_the_books_are_the_same(on: Callable[..., Store]) -> None:
    ends = []
    for order in (1, -1):
        pair = [on("sqlite", LEFT), on("sqlite", RIGHT)][::order]
        merging.merge(*(Desk(s, "desk") for s in pair))
        ends += [(identities(s), answers(s)) for s in pair]
    assert ends[0] == ends[1] == ends[2] == ends[3]


def test_a_label_edited_on_both_sides_holds_the_same_on_both(on: Callable[..., Store]) -> None:
    left, right = on("sqlite", LEFT), on("sqlite", RIGHT)
    merging.merge(Desk(left, "left"), Desk(right, "right"))
    for store in (left, right):
        desk = Desk(store, "desk")
        field = things.find_thing(desk, "field", "Siskin Bend")
        assert field.parts["note"] == "right"
        assert field.parts["area"] == "70 ha"
        assert {e.value for e in things.edits_of(desk, uid(FIELD)) if e.field == "note"} >= {"left", "right"}


@pytest.mark.parametrize("pair", PAIRS[:2])
def test_a_merge_broken_off_in_the_middle_goes_on_later(
    on: Callable[..., Store], pair: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    left, right = (on(kind, items) for kind, items in zip(pair.split("-"), (LEFT, RIGHT), strict=True))
    monkeypatch.setattr(merging, "BATCH", 4)
    calls = 0

    def stop(_: int, __: int) -> None:
        nonlocal calls
        calls += 1
        if calls == 5:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        merging.merge(Desk(left, "left"), Desk(right, "right"), progress=stop)
    assert identities(left) != identities(right)
    assert problems(left) == problems(right) == ()
    merging.merge(Desk(right, "right"), Desk(left, "left"))
    assert identities(left) == identities(right) == sorted({(e.id, e.hash) for e in LEFT + RIGHT})
    assert answers(left) == answers(right)


def test_a_record_the_other_program_does_not_know_stays_and_is_told(
    on: Callable[..., Store], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A newer program wrote it: it is not lost, the merge says so, and the rest goes over."""
    left, right = on("sqlite", farm()), on("sqlite", [])
    from chaffinch.store import records

    with monkeypatch.context() as newer:
        newer.setattr(records, "validate", lambda *_: None)
        put(left, [sealed(60, "drone", {"name": "Kestrel"}), check(61)])
    came, went = merging.merge(Desk(right, "right"), Desk(left, "left"))
    assert (came.accepted, went.accepted) == (5, 0)
    assert [r.id for r in came.refused] == [uid(60)]
    assert "update" in came.refused[0].reason
    assert (uid(60), sealed(60, "drone", {"name": "Kestrel"}).hash) in identities(left)


def test_a_book_is_not_merged_with_itself(on: Callable[..., Store]) -> None:
    left = on("sqlite", full())
    with pytest.raises(InputError, match="itself"):
        merging.merge(Desk(left, "a"), Desk(left, "b"))


def test_a_merge_with_a_damaged_book_is_told(on: Callable[..., Store]) -> None:
    left, right = on("sqlite", LEFT), on("sqlite", RIGHT)
    with right.engine.begin() as connection:
        connection.execute(sa.text(f"UPDATE record SET body = '{{' WHERE id = '{uid(115)}'"))
    with pytest.raises(BookError, match=uid(115)):
        merging.merge(Desk(left, "left"), Desk(right, "right"))
    assert problems(left) == ()


def test_a_check_corrected_into_another_field_counts_there_only(on: Callable[..., Store]) -> None:
    other = sealed(5, "field", {"name": "Long Acre", "crop": "canola"})
    desk = Desk(on("sqlite", [*farm(), other, check(10), correction(11, [10], field=5)]), "desk")
    counted = {
        t.name: [line.logged.id for line in fields.field_summary(desk, t).checks] for t in things.things(desk, "field")
    }
    assert counted == {"Siskin Bend": [], "Long Acre": [uid(11)]}


def test_damage_in_one_book_does_not_spread_to_the_other(on: Callable[..., Store]) -> None:
    left, right = on("sqlite", farm()), on("sqlite", RIGHT)
    with right.engine.begin() as connection:
        connection.execute(
            sa.text(f"UPDATE record SET body = replace(body, '11.5 g', '1.5 g') WHERE id = '{uid(115)}'")
        )
    came, _ = merging.merge(Desk(left, "left"), Desk(right, "right"))
    assert [r.id for r in came.refused] == [uid(115)]
    assert problems(left) == ()
    assert uid(115) not in dict(identities(left))

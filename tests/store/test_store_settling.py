"""What is forged, doubled or unfit stays in the book, hides nothing else, and can be settled by a person."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
import sqlalchemy as sa
from farm_records import COMBINE, FIELD, begin, check, clock, correction, edit, farm, identities, problems, put, uid

from chaffinch.book import keeping
from chaffinch.book.checks import entering as logging_checks
from chaffinch.book.checks import held as checks
from chaffinch.book.desk import Desk
from chaffinch.book.exchange import merging
from chaffinch.errors import InputError
from chaffinch.records.bodies import HIGHEST_REVISION
from chaffinch.records.checkfile import check_from_table
from chaffinch.store import records, verify
from chaffinch.store.opening import Store

NewAddress = Callable[[], str]


def counted(store: Store) -> list[tuple[str, tuple[str, ...], tuple[str, ...]]]:
    desk = Desk(store, "desk", clock)
    return [(c.id, c.versions.all, c.versions.ends) for c in checks.counting(desk, checks.checks_where(desk))]


def desk_of(store: Store, first: int = 500) -> Desk:
    ids = iter(range(first, first + 100))
    return Desk(store, "desk", clock, lambda: uid(next(ids)))


def replaced(store: Store, old: list[int], *, first: int = 500, mass_g: float = 7.5) -> str:
    table = check(1, mass_g=mass_g).body["check"]
    ids = [uid(o) for o in old]
    receipt = logging_checks.replace_check(
        desk_of(store, first), ids, check_from_table(table), reason="asked the driver"
    )
    assert receipt.outcome == "accepted"
    return receipt.id


def test_a_record_that_names_itself_is_refused(new_address: NewAddress) -> None:
    store = begin(new_address(), [*farm(), check(10)])
    (receipt,) = records.append(store, [correction(11, [10, 11])])
    assert receipt.outcome == "refused"
    assert "names the record itself" in receipt.reason
    assert [c[0] for c in counted(store)] == [uid(10)]
    assert problems(store) == ()


def test_one_that_is_there_already_counts_and_is_told(new_address: NewAddress, monkeypatch: pytest.MonkeyPatch) -> None:
    store = begin(new_address(), farm())
    with monkeypatch.context() as older:
        older.setattr(records, "replaced_by", lambda _: ())
        assert put(store, [correction(11, [11])]) == ["accepted"]
    desk = Desk(store, "desk", clock)
    assert checks.find_check(desk, uid(11)[:8]).id == uid(11)
    found = verify.verify(store)
    assert found.problems == ()
    assert len(found.remarks) == 1
    assert uid(11) in found.remarks[0]


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_a_ring_counts_once_is_told_and_can_be_settled(
    new_address: NewAddress, order: tuple[int, int], tmp_path: Any
) -> None:
    ring = [correction(20, [21], mass_g=8.0), correction(21, [20], mass_g=9.0)]
    store = begin(new_address(), [*farm(), check(10), *(ring[n] for n in order)])
    assert (uid(21), (uid(20), uid(21)), (uid(20), uid(21))) in counted(store)
    assert len(counted(store)) == 2
    for number in (20, 21):
        logged = checks.find_check(Desk(store, "desk", clock), uid(number)[:8])
        assert logged.id == uid(21)
        assert logged.versions.disagree
    found = verify.verify(store)
    assert found.problems == ()
    assert len(found.remarks) == 1
    assert "ring" in found.remarks[0]
    assert uid(20) in found.remarks[0]
    assert uid(21) in found.remarks[0]
    keeping.back_up(Desk(store, "desk", clock), str(tmp_path / "copy"))
    new = replaced(store, [20, 21])
    assert [c[0] for c in counted(store) if uid(20) in c[1]] == [new]
    assert not checks.find_check(Desk(store, "desk", clock), uid(20)).versions.disagree


def test_an_id_in_conflict_is_told_as_such(new_address: NewAddress) -> None:
    store = begin(new_address(), [*farm(), check(10, mass_g=5.0), check(10, mass_g=50.0)])
    desk = Desk(store, "desk", clock)
    with pytest.raises(InputError, match="two different records claim this id; neither counts"):
        checks.find_check(desk, uid(10)[:8])
    assert checks.find_to_correct(desk, uid(10)[:8]).id == uid(10)
    assert [s.envelope.id for s in records.unsettled(store)] == [uid(10)]


def test_a_conflict_is_settled_by_a_correction_on_both_books(new_address: NewAddress) -> None:
    """Each book got the other one of the two first; both take the same version for what is not given anew."""
    one, other = check(10, mass_g=5.0, hour=9), check(10, mass_g=50.0, hour=15)
    here, there = begin(new_address(), [*farm(), one, other]), begin(new_address(), [*farm(), other, one])
    found = [checks.find_to_correct(Desk(s, "desk", clock), uid(10)) for s in (here, there)]
    assert found[0] == found[1]
    new = replaced(here, [10])
    merging.merge(Desk(there, "desk", clock), Desk(here, "desk", clock))
    assert identities(here) == identities(there)
    for store in (here, there):
        assert counted(store) == [(new, (uid(10), new), (new,))]
        assert checks.find_check(Desk(store, "desk", clock), uid(10)).id == new
        assert records.unsettled(store) == []
        assert len(records.conflicts(store)) == 1
        assert problems(store) == ()
        keeping.rebuild(Desk(store, "desk", clock))
        assert counted(store) == [(new, (uid(10), new), (new,))]
    body = checks.find_check(Desk(here, "desk", clock), new).body
    assert body["taken_at"] == found[0].body["taken_at"]


def test_the_correction_may_come_before_the_second_claim(new_address: NewAddress) -> None:
    store = begin(new_address(), [*farm(), check(10, mass_g=5.0)])
    new = replaced(store, [10])
    put(store, [check(10, mass_g=50.0)])
    assert counted(store) == [(new, (uid(10), new), (new,))]
    assert records.unsettled(store) == []


def test_a_settled_conflict_of_corrections_counts_no_reading_twice(new_address: NewAddress) -> None:
    """Two records claim to be the correction of 10: while they do 10 counts, and after it is settled only the new."""
    claims = [correction(20, [10], mass_g=5.0), correction(20, [10], mass_g=50.0)]
    here = begin(new_address(), [*farm(), check(10), *claims])
    there = begin(new_address(), [*farm(), check(10), *claims[::-1]])
    assert [c[0] for c in counted(here)] == [uid(10)]
    new = replaced(here, [20])
    merging.merge(Desk(there, "desk", clock), Desk(here, "desk", clock))
    for store in (here, there):
        assert [c[0] for c in counted(store)] == [new]
        assert problems(store) == ()
    assert counted(here) == counted(there)


def test_a_correction_in_conflict_settles_nothing(new_address: NewAddress) -> None:
    store = begin(new_address(), [*farm(), check(10, mass_g=5.0), check(10, mass_g=50.0)])
    put(store, [correction(20, [10], mass_g=5.0), correction(20, [10], mass_g=6.0)])
    assert counted(store) == []
    assert {s.envelope.id for s in records.unsettled(store)} == {uid(10), uid(20)}
    new = replaced(store, [20])
    assert [c[0] for c in counted(store)] == [new]
    assert records.unsettled(store) == []


def test_an_edit_of_the_highest_revision_leaves_room(new_address: NewAddress) -> None:
    store = begin(new_address(), farm())
    (receipt,) = records.append(store, [edit(20, "mine for good", 2**53 - 1)])
    assert receipt.outcome == "refused"
    assert "revision" in receipt.reason
    tied = [edit(30, "first", HIGHEST_REVISION), edit(31, "second", HIGHEST_REVISION)]
    assert put(store, tied[::-1]) == ["accepted", "accepted"]
    with store.reading() as connection:
        held = connection.execute(sa.text("SELECT value, edit_id FROM label")).all()
    assert [tuple(row) for row in held] == [('"second"', uid(31))]
    assert problems(store) == ()


@pytest.mark.parametrize(
    ("target", "field", "value"),
    [(FIELD, "name", None), (COMBINE, "area", "12 ha"), (COMBINE, "country", "CA"), (FIELD, "cut_width", "9 m")],
)
def test_a_label_its_thing_cannot_hold_is_told(
    new_address: NewAddress, tmp_path: Any, target: int, field: str, value: Any
) -> None:
    """The edit came before its thing perhaps, so the book took it; nobody is kept from a backup by it."""
    store = begin(new_address(), [edit(20, "a good note", 1), edit(21, value, 1, target=target, field=field), *farm()])
    found = verify.verify(store)
    assert found.problems == ()
    assert len(found.remarks) == 1
    assert uid(21) in found.remarks[0]
    keeping.back_up(Desk(store, "desk", clock), str(tmp_path / "copy"))

"""Five phones, a bad network: every record that a phone confirmed is in the book once, with its hash."""

from __future__ import annotations

import random
import threading
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from farm_records import check, correction, farm, identities, problems, uid
from served import Served

from chaffinch.book.exchange.receiving import MOST_TOGETHER, Inbox, sent_since
from chaffinch.errors import BookError
from chaffinch.store import records
from chaffinch.sync.accept import Receipt, confirms
from chaffinch.sync.envelope import Envelope

LOST_REQUEST, LOST_REPLY, DOUBLED, LATE = 0.15, 0.15, 0.15, 0.15
"""Shares of batches to which this happens."""


@pytest.fixture
def inbox(served: Served) -> Iterator[Inbox]:
    with closing(Inbox(served.desk)) as found:
        yield found


@dataclass
class Phone:
    """A phone with its outbox: it forgets a record only when a receipt confirms that very one."""

    headers: dict[str, str]
    outbox: dict[str, Envelope]
    tray: dict[str, str] = field(default_factory=dict)
    late: list[list[dict[str, Any]]] = field(default_factory=list)

    def hear(self, receipts: list[dict[str, Any]]) -> None:
        for one in receipts:
            receipt = Receipt(**one)
            waiting = self.outbox.get(receipt.id)
            if waiting is None:
                continue
            if confirms(receipt, waiting):
                del self.outbox[receipt.id]
            elif receipt.outcome in ("conflict", "refused") and receipt.hash == waiting.hash:
                self.tray[receipt.id] = receipt.reason
                del self.outbox[receipt.id]


def round_trip(served: Served, phone: Phone, chance: random.Random) -> None:
    """One attempt to send up to 40 records over a network that loses, doubles and delays."""
    part = list(phone.outbox.values())
    chance.shuffle(part)
    part = part[:40]
    draw = chance.random()
    if draw < LOST_REQUEST:
        return
    receipts = served.send(phone.headers, part)
    draw = chance.random()
    if draw < LOST_REPLY:
        return
    if draw < LOST_REPLY + DOUBLED:
        phone.hear(served.send(phone.headers, part))
    if draw > 1 - LATE:
        phone.late.append(receipts)  # it comes after the same was sent again
        return
    phone.hear(receipts)
    while phone.late and chance.random() < 0.5:
        phone.hear(phone.late.pop(0))


def test_a_thousand_checks_from_five_phones_are_each_there_once(served_on_each: Served) -> None:
    chance = random.Random(7)
    phones = []
    for place in range(5):
        made = [check(1000 * place + n, mass_g=n % 90 / 10, hour=n % 24) for n in range(10, 210)]
        phones.append(Phone(served_on_each.phone("crew", f"phone {place}"), {one.id: one for one in made}))
    confirmed = {one.id: one.hash for phone in phones for one in phone.outbox.values()}
    rounds = 0
    while any(phone.outbox for phone in phones):
        rounds += 1
        assert rounds < 400
        round_trip(served_on_each, chance.choice([p for p in phones if p.outbox]), chance)
    assert all(phone.tray == {} for phone in phones)
    found = identities(served_on_each.desk.store)
    assert Counter(found).most_common(1)[0][1] == 1
    assert dict(found) == confirmed | {one.id: one.hash for one in farm()}
    assert len(found) == 1000 + len(farm())
    assert problems(served_on_each.desk.store) == ()


def test_phones_that_send_at_the_same_time(served_on_each: Served) -> None:
    """Eight threads send overlapping batches; nothing is there twice and every receipt tells the truth."""
    shared = [check(n, mass_g=n % 50 / 10) for n in range(10, 60)]
    headers = [served_on_each.phone("crew", f"phone {n}") for n in range(8)]

    def send(n: int) -> list[dict[str, Any]]:
        own = [check(1000 + 20 * n + k) for k in range(20)]
        mixed = [*own, *shared]
        random.Random(n).shuffle(mixed)
        return served_on_each.send(headers[n], mixed)

    with ThreadPoolExecutor(8) as pool:
        answered = list(pool.map(send, range(8)))
    outcomes = Counter((r["id"], r["outcome"]) for receipts in answered for r in receipts)
    for one in shared:
        assert outcomes[one.id, "accepted"] == 1
        assert outcomes[one.id, "known"] == 7
    assert sum(count for (_, outcome), count in outcomes.items() if outcome == "accepted") == 50 + 160
    found = identities(served_on_each.desk.store)
    assert len(found) == len(set(found)) == 50 + 160 + len(farm())
    places = [one["id"] for one in sent_since(served_on_each.desk, 0, 500).records]
    assert len(places) == len(set(places)) == len(found)


def test_two_phones_with_one_id_both_keep_theirs(served_on_each: Served) -> None:
    one, other = served_on_each.phone("crew", "one"), served_on_each.phone("crew", "other")
    (first,) = served_on_each.send(one, [check(10, mass_g=1.0)])
    (second,) = served_on_each.send(other, [check(10, mass_g=2.0)])
    (again,) = served_on_each.send(other, [check(10, mass_g=2.0)])
    assert (first["outcome"], second["outcome"], again["outcome"]) == ("accepted", "conflict", "known")
    assert len([1 for i, _ in identities(served_on_each.desk.store) if i == uid(10)]) == 2


def test_a_correction_may_come_before_what_it_corrects(served_on_each: Served) -> None:
    phone = served_on_each.phone()
    fix, old = correction(11, [10]), check(10)
    assert [r["outcome"] for r in served_on_each.send(phone, [fix])] == ["accepted"]
    assert [r["outcome"] for r in served_on_each.send(phone, [old])] == ["accepted"]
    found = served_on_each.client.get(f"/api/v1/checks/{uid(10)}", headers=phone).json()
    assert found["id"] == uid(11)


def test_batches_that_come_while_one_is_written_go_in_together(inbox: Inbox, monkeypatch: pytest.MonkeyPatch) -> None:
    """The disk is asked once for many; each sender still gets his own receipts, after the write."""
    plain, lots, entered, go_on = records.append, [], threading.Event(), threading.Event()

    def slow(store: Any, batch: Any) -> list[Receipt]:
        lots.append(len(batch))
        entered.set()
        assert go_on.wait(30)
        return plain(store, batch)

    monkeypatch.setattr(records, "append", slow)
    with ThreadPoolExecutor(12) as pool:
        first = pool.submit(inbox.receive, [check(9).as_dict()])
        assert entered.wait(30)
        others = [pool.submit(inbox.receive, [check(10 + n).as_dict(), check(50).as_dict()]) for n in range(11)]
        while len(inbox._queue) < 11:
            assert not any(one.done() for one in others)
        go_on.set()
        receipts = [one.result(30) for one in others]
        assert first.result(30)[0].outcome == "accepted"
    assert lots == [1, 22]
    assert [r[0].id for r in receipts] == [uid(10 + n) for n in range(11)]
    assert {r[0].outcome for r in receipts} == {"accepted"}
    assert Counter(r[1].outcome for r in receipts) == {"accepted": 1, "known": 10}


def test_a_lot_has_an_end(inbox: Inbox) -> None:
    many = [check(n).as_dict() for n in range(10, 10 + 60)]
    assert {r.outcome for r in inbox.receive(many * (MOST_TOGETHER // 60 + 2))} == {"accepted", "known"}


def test_what_breaks_the_program_takes_no_other_with_it(inbox: Inbox, monkeypatch: pytest.MonkeyPatch) -> None:
    plain, entered, go_on = records.append, threading.Event(), threading.Event()

    def breaks(store: Any, batch: Any) -> list[Receipt]:
        entered.set()
        assert go_on.wait(30)
        if any(one.id == uid(66) for one in batch):
            raise ZeroDivisionError
        return plain(store, batch)

    monkeypatch.setattr(records, "append", breaks)
    with ThreadPoolExecutor(4) as pool:
        first = pool.submit(inbox.receive, [check(10).as_dict()])
        assert entered.wait(30)
        bad = pool.submit(inbox.receive, [check(66).as_dict()])
        good = pool.submit(inbox.receive, [check(11).as_dict()])
        while len(inbox._queue) < 2:
            pass
        go_on.set()
        assert first.result(30)[0].outcome == good.result(30)[0].outcome == "accepted"
        with pytest.raises(ZeroDivisionError):
            bad.result(30)


def test_a_full_disk_is_told_to_everyone_who_waits(inbox: Inbox, monkeypatch: pytest.MonkeyPatch) -> None:

    def full(*_: object) -> list[Receipt]:
        raise BookError("farm", "disk is full")

    with monkeypatch.context() as patch:
        patch.setattr(records, "append", full)
        for n in range(3):
            with pytest.raises(BookError, match="full"):
                inbox.receive([check(10 + n).as_dict()])
    assert inbox.receive([check(10).as_dict()])[0].outcome == "accepted"


def test_the_file_stands_alone_again_when_nothing_comes(inbox: Inbox) -> None:
    """While records come the file is kept open, its log beside it; then it is whole by itself, as any book."""
    log = Path(f"{inbox.desk.store.address}-wal")
    for n in range(3):
        inbox.receive([check(10 + n).as_dict()])
    assert log.exists()
    for _ in range(600):
        if not log.exists():
            break
        time.sleep(0.05)
    assert not log.exists()
    assert inbox.receive([check(20).as_dict()])[0].outcome == "accepted"
    assert log.exists()
    inbox.close()
    assert not log.exists()
    inbox.close()
    assert inbox.receive([check(20).as_dict()])[0].outcome == "known"


def test_a_line_to_the_database_that_is_cut_costs_no_record_and_closes_no_phones_connection(
    served_on_each: Served,
) -> None:
    """Cut while nothing is asked, and in the middle of a write: the phone hears 503 at most, sends again, is done."""
    served = served_on_each
    if served.desk.store.is_file:
        pytest.skip("a file has no line to it")
    headers = served.phone()
    mine, waits = check(901), check(902)
    served.send(headers, [check(900)])
    cut = sa.text(
        "SELECT COUNT(pg_terminate_backend(pid)) FROM pg_stat_activity WHERE pid <> pg_backend_pid() "
        "AND usename = current_user AND (:idle OR (wait_event_type = 'Lock' AND query LIKE 'LOCK TABLE%'))"
    )
    other = sa.create_engine(served.desk.store.engine.url, poolclass=sa.NullPool)
    with other.connect() as line:
        assert line.execute(cut, {"idle": True}).scalar_one() >= 1
    assert served.send(headers, [mine])[0]["outcome"] == "accepted"
    with other.connect() as holder, ThreadPoolExecutor(1) as one:
        holder.execute(sa.text("LOCK TABLE record IN SHARE ROW EXCLUSIVE MODE"))
        body = {"envelopes": [waits.as_dict()]}
        coming = one.submit(served.client.post, "/api/v1/batch", json=body, headers=headers)
        with other.connect() as line:
            while line.execute(cut, {"idle": False}).scalar_one() == 0:
                assert not coming.done()
        answer = coming.result(30)
    assert answer.status_code == 503
    assert answer.json()["field"] == "book"
    assert [r["outcome"] for r in served.send(headers, [mine, waits])] == ["known", "accepted"]
    other.dispose()

"""What goes wrong between a phone and its book, and that nothing is lost or doubled by it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from phone_world import Answer, Farm, Handset, a_farm, as_json, html, nothing_lost
from playwright.sync_api import Browser

from chaffinch.sync.envelope import Envelope, seal


def on_batch(act: Any) -> Any:
    """A hook that passes everything on but batches."""

    def hook(_: str, path: str, body: bytes, pass_on: Any) -> Answer | None:
        if path == "/api/v1/batch":
            found: Answer | None = act(body, pass_on)
            return found
        passed: Answer = pass_on(body)
        return passed

    return hook


def test_two_phones_on_one_field(farm: Farm, browser: Browser) -> None:
    """Both without signal in one field; one check is handed over and sent by both; each is in the book once."""
    ann, ben = (Handset.new(farm, browser).ready(name) for name in ("Ann's phone", "Ben's phone"))
    for phone in (ann, ben):
        phone.context.set_offline(True)
    handed = ann.check("21.5", "18.0")
    ben.check("12.1")
    packed = ann.page.evaluate(
        """async (id) => {
          const { packed } = await import("/static/app/handing.js");
          const all = await new Promise((done) => {
            const asked = indexedDB.open("chaffinch");
            asked.onsuccess = () => {
              asked.result.transaction("records").objectStore("records").getAll().onsuccess = (event) => {
                asked.result.close();
                done(event.target.result);
              };
            };
          });
          return packed(all.filter((one) => one.id === id).map(({ seq, ...envelope }) => envelope));
        }""",
        handed,
    )
    ann.page.goto(f"{ann.address}#/hand/{handed}")
    ann.page.locator("svg.code").wait_for()
    ben.page.goto(f"{ben.address}#/take/{packed}")
    ben.tap("Take it")
    ben.see("2 wait on this phone")
    assert len(ben.records()) == 2
    for phone in (ann, ben):
        phone.context.set_offline(False)
        phone.send_all()
    nothing_lost(farm, ann, ben)
    assert farm.in_book() == farm.confirmed


def test_a_picture_that_was_changed_is_refused(farm: Farm, browser: Browser) -> None:
    phone = Handset.new(farm, browser).ready()
    phone.page.goto(f"{phone.address}#/take/zAAAA")
    phone.see("was not read whole")
    assert phone.records() == []


def test_a_sign_in_page_in_the_books_place(farm: Farm, browser: Browser) -> None:
    """A hot spot answers 200 to everything, then with JSON of its own: nothing counts as sent."""
    phone = Handset.new(farm, browser).ready()
    phone.wait_until("(async () => (await caches.keys()).some((key) => key.startsWith('chaffinch-app-')))()")
    answers = [
        html("Accept our terms to go on"),
        as_json({"app": "chaffinch", "book": "another", "version": "0.1.0"}),
        as_json({"ok": True, "receipts": []}),
        (302, {"Location": "/welcome"}, b""),
    ]
    for answer in answers:
        farm.wire.hook = lambda *_, answer=answer: answer
        phone.check("21.5")
        phone.page.goto(f"{phone.address}#/tray")
        phone.tap("Send now")
        phone.page.get_by_text("Nothing was sent").wait_for()
        phone.page.reload()
        phone.page.get_by_role("heading", name="Outbox").wait_for()
    # It answers for the book and swallows the batch: a receipt must name id and hash.
    farm.wire.hook = on_batch(lambda *_: as_json({"receipts": [{"id": "x", "hash": "y", "outcome": "accepted"}]}))
    phone.tap("Send now")
    phone.page.wait_for_timeout(300)
    assert not any(one["what"] in ("accepted", "known") for one in phone.lines())
    nothing_lost(farm, phone)
    farm.wire.hook = None
    phone.send_all()
    nothing_lost(farm, phone)
    assert farm.in_book() == farm.confirmed
    assert len(farm.confirmed) == len(answers)


def test_the_server_dies_in_the_middle_of_a_batch(farm: Farm, browser: Browser) -> None:
    """Half of a batch is stored and no answer comes; all is stored and no answer comes; it comes twice."""
    phone = Handset.new(farm, browser).ready()
    phone.context.set_offline(True)
    for amount in ("10.1", "10.2", "10.3", "10.4"):
        phone.check(amount)
    died: list[str] = []

    def act(body: bytes, pass_on: Any) -> Answer | None:
        envelopes = json.loads(body)["envelopes"]
        if len(died) == 0:
            died.append("half")
            pass_on(json.dumps({"envelopes": envelopes[: len(envelopes) // 2]}).encode())
            return None
        if len(died) == 1:
            died.append("whole")
            pass_on(body)
            return None
        died.append("twice")
        pass_on(body)
        found: Answer = pass_on(body)
        return found

    farm.wire.hook = on_batch(act)
    phone.context.set_offline(False)
    phone.send_all()
    assert died[:3] == ["half", "whole", "twice"]
    nothing_lost(farm, phone)
    assert farm.in_book() == farm.confirmed
    assert {one["what"] for one in phone.lines()} == {"known"}


def test_a_phone_that_was_shut_out_keeps_everything_and_pairs_again(farm: Farm, browser: Browser) -> None:
    phone = Handset.new(farm, browser).ready()
    phone.check("21.5")
    device = next(one for one in farm.devices.every() if one.kind == "phone")
    farm.devices.revoke(device.id)
    phone.check("18.0")
    phone.page.goto(f"{phone.address}#/tray")
    phone.tap("Send now")
    phone.see("no longer lets this phone in")
    phone.page.goto(f"{phone.address}#/")
    phone.see("Shut out of the book")
    nothing_lost(farm, phone)
    phone.pair(name="Ann's phone again")
    phone.send_all()
    nothing_lost(farm, phone)
    assert farm.in_book() == farm.confirmed


def test_a_phone_does_not_carry_records_into_another_book(farm: Farm, browser: Browser, tmp_path: Path) -> None:
    """The same address serves another book: waiting records stay, and pairing with it is refused while they wait."""
    phone = Handset.new(farm, browser).ready()
    phone.context.set_offline(True)
    phone.check("21.5")
    (tmp_path / "other").mkdir()
    with a_farm(tmp_path / "other") as other:
        home, farm.wire.to_port = farm.wire.to_port, other.wire.to_port
        phone.context.set_offline(False)
        phone.page.goto(f"{phone.address}#/tray")
        phone.tap("Send now")
        phone.see("holds another book")
        phone.page.goto(f"{phone.address}#/pair")
        phone.page.get_by_label("Code").fill(other.code())
        phone.tap("Pair", exact=True)
        phone.see("wait for the book Larkhollow")
        assert other.in_book() == {}
        farm.wire.to_port = home
    phone.send_all()
    nothing_lost(farm, phone)


def test_a_clock_wrong_by_years(farm: Farm, browser: Browser) -> None:
    """It is said, and decides nothing: the records arrive with the phone's time."""
    phone = Handset.new(farm, browser)
    phone.context.clock.install(time="2021-03-04T05:06:07Z")
    phone.ready()
    phone.check("21.5")
    phone.send_all()
    phone.page.goto(f"{phone.address}#/")
    phone.see("This phone's clock is off")
    nothing_lost(farm, phone)
    assert farm.in_book() == farm.confirmed
    (record,) = phone.records()
    assert record["device_time"].startswith("2021-03-04")


def test_an_older_server_refuses_and_a_newer_one_takes(farm: Farm, browser: Browser) -> None:
    """A server that does not know the schema refuses by record: it waits in the tray with the reason, and goes by
    itself when the server was brought up to date."""
    phone = Handset.new(farm, browser).ready()

    def older(_: str, path: str, body: bytes, pass_on: Any) -> Answer:
        status, headers, content = pass_on(body)
        if path == "/api/v1/health":
            content = json.dumps({**json.loads(content), "version": "0.0.9"}).encode()
        if path == "/api/v1/batch":
            reason = "check, schema: is newer than this program's 0; update the program"
            refused = [{**one, "outcome": "refused", "reason": reason} for one in json.loads(content)["receipts"]]
            return as_json({"receipts": refused, "server_time": "2026-08-14T16:40:00Z", "version": "0.0.9"})
        return status, headers, content

    farm.wire.hook = older
    phone.page.goto(f"{phone.address}#/tray")
    phone.tap("Send now")
    phone.page.wait_for_timeout(300)
    phone.check("21.5")
    phone.page.goto(f"{phone.address}#/tray")
    phone.see("Needs attention")
    phone.see("update the program")
    nothing_lost(farm, phone)
    farm.wire.hook = None
    phone.send_all()
    nothing_lost(farm, phone)
    assert farm.in_book() == farm.confirmed


def test_an_id_claimed_by_another_record_needs_attention(farm: Farm, browser: Browser) -> None:
    """The book holds another record under the same id: the phone shows the conflict and keeps its own."""
    phone = Handset.new(farm, browser).ready()
    phone.context.set_offline(True)
    check_id = phone.check("21.5")
    (own,) = phone.records()
    body = {**own["body"], "check": {**own["body"]["check"], "note": "somebody else's"}}
    other = seal(check_id, "check", 1, "elsewhere", own["device_time"], body)
    desk = farm.desk()
    desk.keep([Envelope(**other.as_dict())])
    desk.store.close()
    phone.context.set_offline(False)
    phone.page.goto(f"{phone.address}#/tray")
    phone.tap("Send now")
    phone.see("Another record has this one's id")
    assert phone.records()[0]["hash"] == own["hash"]
    assert phone.errors == []


def test_one_spoilt_record_does_not_hold_up_the_others(farm: Farm, browser: Browser) -> None:
    """A server that refuses a whole batch because of one record in it: the others go, that one is told."""
    phone = Handset.new(farm, browser).ready()
    phone.context.set_offline(True)
    ids = [phone.check(amount) for amount in ("10.1", "10.2", "10.3")]

    def act(body: bytes, pass_on: Any) -> Answer | None:
        if ids[1] in body.decode():
            return as_json({"status": 422, "field": "batch", "problem": "cannot be read", "mend": "send it again"}, 422)
        found: Answer | None = pass_on(body)
        return found

    farm.wire.hook = on_batch(act)
    phone.context.set_offline(False)
    phone.page.goto(f"{phone.address}#/tray")
    phone.tap("Send now")
    phone.see("Needs attention")
    phone.see("cannot be read")
    phone.see("2 in the book")
    nothing_lost(farm, phone)
    farm.wire.hook = None
    phone.tap("Try again")
    phone.see("3 in the book")
    nothing_lost(farm, phone)
    assert farm.in_book() == farm.confirmed

"""Saved means saved: what happens when the phone cannot keep something, and how everything is taken along."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from phone_world import Farm, Handset, a_profile, nothing_lost
from playwright.sync_api import Browser, expect

from chaffinch.book.exchange.phone_file import import_phone_file
from chaffinch.sync.envelope import opened


@contextmanager
def a_full_phone(farm: Farm, browser: Browser, folder: Path, begun: Callable[[Handset], None]) -> Iterator[Full]:
    """A phone on which something was begun, and whose storage is really full when it is switched on again.

    The browser's own limit is set by its debugging protocol. It is read when the storage is first opened, so the phone
    is switched off and on before.
    """
    with a_profile(browser, folder) as context:
        phone = Handset(farm, context).ready()
        begun(phone)
        address = phone.page.url
    with a_profile(browser, folder) as context:
        phone = Handset(farm, context)
        phone.page.goto(f"{farm.wire.origin}/app/icon.svg")
        protocol = context.new_cdp_session(phone.page)
        protocol.send("Storage.overrideQuotaForOrigin", {"origin": farm.wire.origin, "quotaSize": 1})
        phone.page.goto(address)
        yield Full(phone, lambda: protocol.send("Storage.overrideQuotaForOrigin", {"origin": farm.wire.origin}))


@dataclass
class Full:
    """The phone, and what makes room on it."""

    phone: Handset
    make_room: Callable[[], object]


def a_stop_with_one_catch(phone: Handset) -> None:
    phone.tap("New check")
    phone.tap("In the discharge")
    phone.tap("Red tray")
    phone.catch("21.5")


def test_a_full_phone_says_not_saved_and_gives_the_record(farm: Farm, browser: Browser, tmp_path: Path) -> None:
    with a_full_phone(farm, browser, tmp_path / "profile", a_stop_with_one_catch) as full:
        phone = full.phone
        phone.tap("Save check")
        expect(phone.page.get_by_role("heading", name="NOT SAVED")).to_be_visible()
        phone.see("This phone's storage is full")
        expect(phone.page.get_by_text("Saved on this phone")).to_have_count(0)
        size = phone.page.evaluate(
            "() => parseFloat(getComputedStyle(document.querySelector('.not-kept h1')).fontSize)"
        )
        assert size >= 44
        assert phone.records() == []
        with phone.page.expect_download() as download:
            phone.tap("Take it as a file")
        kept = tmp_path / "not-saved.jsonl"
        download.value.save_as(kept)
        # The file holds the sealed check; another phone takes it in and sends it.
        lines = [json.loads(line) for line in kept.read_text("utf-8").splitlines()]
        assert lines[0]["phone"] == "chaffinch"
        envelope = opened(lines[1])
        farm.confirmed[envelope.id] = envelope.hash
        other = Handset.new(farm, browser).ready("Ben's phone")
        other.page.goto(f"{other.address}#/tray")
        other.page.locator("#take-file").set_input_files(kept)
        other.see("1 new records")
        other.tap("Good")
        other.send_all()
        nothing_lost(farm, other)
        # Still full: trying again says so again. With room the same stop gives the record that the book knows by then.
        phone.tap("Try again")
        expect(phone.page.get_by_role("heading", name="NOT SAVED")).to_be_visible()
        full.make_room()
        phone.tap("Try again")
        phone.see("Saved on this phone")
        assert [one["id"] for one in phone.records()] == [envelope.id]
        phone.send_all()
        nothing_lost(farm, phone, other)
        assert {one["what"] for one in phone.lines()} == {"known"}
        assert len(farm.in_book()) == 1


def on_the_pad(phone: Handset) -> None:
    phone.tap("New check")
    phone.tap("In the discharge")
    phone.tap("Red tray")


def test_a_catch_that_cannot_be_kept_is_not_taken_for_kept(farm: Farm, browser: Browser, tmp_path: Path) -> None:
    with a_full_phone(farm, browser, tmp_path / "profile", on_the_pad) as full:
        phone = full.phone
        phone.tap("New check")  # place and pan are remembered
        phone.type_amount("21.5")
        phone.tap("Add catch")
        expect(phone.page.get_by_role("heading", name="NOT SAVED")).to_be_visible()
        assert "21.5 g" in phone.page.get_by_label("The record as text").input_value()
        full.make_room()
        phone.tap("Go back")
        # What was typed is still there.
        expect(phone.page.locator("#reading")).to_contain_text("21.5")
        phone.tap("Add catch")
        phone.save()
        nothing_lost(farm, phone)


def test_a_browser_that_refuses_storage(farm: Farm, browser: Browser) -> None:
    """Nothing can be kept: the app says so from the start, and every confirmation is NOT SAVED with its record."""
    context = browser.new_context(viewport={"width": 360, "height": 740})
    refuse = "{ value: { open() { throw new DOMException('no', 'SecurityError'); } } }"
    context.add_init_script(f"Object.defineProperty(window, 'indexedDB', {refuse});")
    phone = Handset(farm, context)
    phone.open(wait_for_worker=False)
    phone.tap("Understood, for today")
    phone.see("Nothing can be kept here")
    phone.see("refuses to keep anything")
    phone.tap("Choose field and machine")
    phone.page.get_by_label("Crop", exact=True).select_option(label="canola")
    phone.page.get_by_label("Limit: act above").fill("60 kg/ha")
    phone.page.get_by_label("Cut width").fill("40 ft")
    phone.page.get_by_label("Width of the discharge, spreading off").fill("66 in")
    phone.tap("Use these")
    phone.tap("New check")
    phone.tap("In the discharge")
    phone.page.get_by_label("Size of the pan").fill("4 ft2")
    phone.tap("Use it")
    phone.type_amount("12.5")
    phone.tap("Add catch")
    expect(phone.page.get_by_role("heading", name="NOT SAVED")).to_be_visible()
    # The verdict is there for who asks for it, and still nothing is called saved.
    phone.tap("Go on without keeping it")
    expect(phone.page.locator(".verdict")).to_be_visible()
    phone.tap("Save check")
    expect(phone.page.get_by_role("heading", name="NOT SAVED")).to_be_visible()
    assert '"kind":"check"' in phone.page.get_by_label("The record as text").input_value()
    expect(phone.page.get_by_role("button", name="Go on without keeping it")).to_have_count(0)
    expect(phone.page.get_by_text("Saved on this phone")).to_have_count(0)


def test_everything_as_a_file_and_back(farm: Farm, browser: Browser, tmp_path: Path) -> None:
    """An export holds records, open stops and photos; a new phone that takes it in has the same, each once."""
    phone = Handset.new(farm, browser).ready()
    phone.context.set_offline(True)
    phone.check("21.5")
    phone.check("18.0")
    phone.page.goto(f"{phone.address}#/")
    phone.tap("New check")
    phone.tap("Weigh later")
    phone.tap("Keep the bag")
    phone.see("bag 1, to weigh")
    phone.page.goto(f"{phone.address}#/tray")
    with phone.page.expect_download() as download:
        phone.tap("Everything here as a file")
    kept = tmp_path / "phone.jsonl"
    download.value.save_as(kept)
    # The desk reads the same file, without the phone: what came in there is known when the phone sends it.
    desk = farm.desk()
    at_the_desk = import_phone_file(desk, kept.read_bytes(), dry_run=True)
    desk.store.close()
    assert [one.outcome for one in at_the_desk.receipts] == ["accepted", "accepted"]
    assert {one.id for one in at_the_desk.receipts} == set(farm.confirmed)
    assert (at_the_desk.device, at_the_desk.open_stops) == ("Ann's phone", 1)
    other = Handset.new(farm, browser).ready("Ben's phone")
    for _ in range(2):  # taken in twice: nothing doubles
        other.page.goto(f"{other.address}#/tray")
        other.page.locator("#take-file").set_input_files(kept)
        other.see("new records")
        other.tap("Good")
    other.page.goto(f"{other.address}#/")
    other.see("to weigh: bag 1")
    other.tap("Long Hollow")
    other.tap("Weigh bag 1")
    other.type_amount("9.8")
    other.tap("Keep this weight")
    other.save()
    other.send_all()
    phone.context.set_offline(False)
    phone.send_all()
    nothing_lost(farm, phone, other)
    assert farm.in_book() == farm.confirmed
    assert len(farm.confirmed) == 3


def test_a_changed_line_of_a_file_is_not_taken(farm: Farm, browser: Browser, tmp_path: Path) -> None:
    phone = Handset.new(farm, browser).ready()
    phone.check("21.5")
    (record,) = [{k: v for k, v in one.items() if k != "seq"} for one in phone.records()]
    forged = {**record, "body": {**record["body"], "taken_at": "2020-01-01T00:00:00Z"}}
    file = tmp_path / "forged.jsonl"
    file.write_text(f"{json.dumps(forged)}\nnot json\n[]\n{json.dumps(record)}\n", "utf-8")
    phone.page.goto(f"{phone.address}#/tray")
    phone.page.locator("#take-file").set_input_files(file)
    phone.see("0 new records, 1 that were here already")
    phone.see("line 1: envelope, hash: does not fit the content")
    phone.see("line 2: is no JSON")
    phone.see("line 3: envelope: ")
    nothing_lost(farm, phone)


def test_a_lost_bag_is_taken_back_and_the_rest_is_saved(farm: Farm, browser: Browser) -> None:
    phone = Handset.new(farm, browser).ready()
    a_stop_with_one_catch(phone)
    phone.tap("Another catch")
    phone.tap("Weigh later")
    phone.tap("Keep the bag")
    phone.tap("Weigh bag 1")
    phone.tap("Bag is lost")
    phone.tap("Take it back")
    phone.page.get_by_text("bag 1, to weigh").wait_for(state="detached")
    phone.save()
    (record,) = phone.records()
    assert [one["amount"] for one in record["body"]["check"]["catch"]] == ["21.5 g"]
    nothing_lost(farm, phone)


def test_two_windows_save_one_stop_once(farm: Farm, browser: Browser) -> None:
    phone = Handset.new(farm, browser).ready()
    a_stop_with_one_catch(phone)
    second = Handset(farm, phone.context)
    second.page = phone.context.new_page()
    second.page.goto(phone.page.url)
    expect(second.page.get_by_role("button", name="Save check")).to_be_enabled()
    # The second window has not heard of the first one's saving.
    second.page.evaluate("() => { BroadcastChannel.prototype.postMessage = () => undefined; }")
    phone.page.evaluate("() => { BroadcastChannel.prototype.postMessage = () => undefined; }")
    phone.save()
    second.tap("Save check")
    # The same stop gives the same record, so it is saved, and there once.
    second.see("Saved on this phone")
    assert len(phone.records()) == 1
    nothing_lost(farm, phone)


def test_a_button_is_not_drawn_anew_under_a_finger(farm: Farm, browser: Browser) -> None:
    """What is sent while a finger lies on the start screen is shown once it is lifted, and its tap counts."""
    phone = Handset.new(farm, browser).ready()
    phone.context.set_offline(True)
    phone.check("21.5")
    phone.page.goto(f"{phone.address}#/")
    button = phone.page.get_by_role("button", name="Change field, machine or driver")
    button.hover()
    phone.page.mouse.down()
    before = phone.page.locator("main").inner_text()
    phone.context.set_offline(False)
    phone.page.evaluate("dispatchEvent(new Event('online'))")
    for _ in range(200):
        if farm.in_book() == farm.confirmed:
            break
        phone.page.wait_for_timeout(100)
    assert farm.in_book() == farm.confirmed
    phone.page.wait_for_timeout(300)
    assert phone.page.locator("main").inner_text() == before
    phone.page.mouse.up()
    phone.wait_until("window.location.hash === '#/where'")
    phone.page.goto(f"{phone.address}#/")
    assert phone.page.locator("main").inner_text() != before

"""Taps in odd orders, spoilt files, a phone that moves to another farm: nothing confirmed is lost or carried off."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from phone_world import Farm, Handset, a_farm, nothing_lost
from playwright.sync_api import Browser, expect

from chaffinch.book.things import add_thing
from chaffinch.sync.envelope import seal

AT = "2026-08-14T16:00:00Z"
STOP = "5c1a4ff2-7a4f-4c38-9f1e-2d0f6b9a1c11"
UNHEARD = "() => { BroadcastChannel.prototype.postMessage = () => undefined; }"
TWICE = "(text) => { const one = [...document.querySelectorAll('button')].find((b) => b.textContent.startsWith(text)); one.click(); one.click(); }"  # noqa: E501


def start_screen(phone: Handset) -> None:
    phone.page.goto(f"{phone.address}#/")
    phone.page.get_by_role("button", name="Change field, machine or driver").wait_for()


def first_stop(phone: Handset) -> None:
    start_screen(phone)
    phone.tap("New check")
    phone.tap("In the discharge")
    phone.tap("Red tray")


def amounts(phone: Handset) -> list[str]:
    """Every reading that is in a sealed check."""
    checks = [one["body"]["check"] for one in phone.records() if one["kind"] == "check"]
    return sorted(one["amount"] for check in checks for one in check["catch"])


def test_a_catch_added_by_the_way_back_from_a_saved_check(farm: Farm, browser: Browser) -> None:
    """The phone's own way back leads to the pans of a stop that is sealed: a catch there begins a new stop."""
    phone = Handset.new(farm, browser).ready()
    first_stop(phone)
    phone.catch("21.5")
    phone.save()
    phone.page.go_back()
    phone.tap("Red tray")
    expect(phone.page.get_by_role("heading", name="Catch 1")).to_be_visible()
    phone.catch("18.5")
    phone.save()
    assert amounts(phone) == ["18.5 g", "21.5 g"]
    nothing_lost(farm, phone)


def test_a_catch_for_a_stop_that_another_window_saved(farm: Farm, browser: Browser) -> None:
    """Unheard of there: the catch is not taken for kept, and begins a new stop when it is tried again."""
    phone = Handset.new(farm, browser).ready()
    first_stop(phone)
    phone.catch("21.5")
    second = Handset(farm, phone.context)
    second.page = phone.context.new_page()
    second.page.goto(phone.page.url)
    second.tap("Another catch")
    second.type_amount("18.5")
    for one in (phone, second):
        one.page.evaluate(UNHEARD)
    phone.save()
    second.tap("Add catch")
    expect(second.page.get_by_role("heading", name="NOT SAVED")).to_be_visible()
    second.see("This stop was saved as a check meanwhile")
    assert "18.5 g" in second.page.get_by_label("The record as text").input_value()
    second.tap("Try again")
    second.page.get_by_role("heading", name="Catches", exact=True).wait_for()
    second.save()
    assert amounts(second) == ["18.5 g", "21.5 g"]
    nothing_lost(farm, second)


def test_a_stop_whose_only_catch_was_taken_back_is_still_found(farm: Farm, browser: Browser) -> None:
    """What was said beside it was confirmed too."""
    phone = Handset.new(farm, browser).ready()
    first_stop(phone)
    phone.catch("21.5")
    phone.tap("Settings and conditions")
    phone.page.get_by_label("What it showed, in its own units").fill("7")
    phone.tap("Per time")
    phone.tap("Keep these")
    phone.tap("Take back catch 1")
    phone.see("No catch yet.")
    start_screen(phone)
    phone.see("0 catches")
    phone.tap("Long Hollow")
    phone.tap("Another catch")
    phone.tap("In the discharge")
    phone.tap("Red tray")
    phone.catch("18.5")
    phone.save()
    assert sorted(one["kind"] for one in phone.records()) == ["check", "monitor"]
    nothing_lost(farm, phone)


def test_two_windows_add_a_catch_unheard_of_each_other(farm: Farm, browser: Browser) -> None:
    phone = Handset.new(farm, browser).ready()
    first_stop(phone)
    phone.catch("21.5")
    second = Handset(farm, phone.context)
    second.page = phone.context.new_page()
    second.page.goto(phone.page.url)
    for one, amount in ((phone, "18.5"), (second, "9.5")):
        one.page.evaluate(UNHEARD)
        one.tap("Another catch")
        one.type_amount(amount)
    for one in (phone, second):
        one.tap("Add catch")
        one.page.get_by_role("heading", name="Catches", exact=True).wait_for()
    phone.page.reload()
    for text in ("1. 21.5 g", "2. 18.5 g", "3. 9.5 g"):
        phone.see(text)
    phone.save()
    assert amounts(phone) == ["18.5 g", "21.5 g", "9.5 g"]
    nothing_lost(farm, phone)


def test_a_bag_that_was_taken_back_is_not_on_the_pad_any_more(farm: Farm, browser: Browser) -> None:
    phone = Handset.new(farm, browser).ready()
    first_stop(phone)
    phone.catch("21.5")
    phone.tap("Another catch")
    phone.tap("Weigh later")
    phone.tap("Keep the bag")
    phone.tap("Weigh bag 1")
    phone.tap("Bag is lost")
    phone.tap("Take it back")
    phone.page.get_by_text("bag 1, to weigh").wait_for(state="detached")
    phone.page.goto(f"{phone.address}#/pad")
    start_screen(phone)
    assert phone.errors == []


def test_a_finger_that_bounces_taps_once(farm: Farm, browser: Browser) -> None:
    phone = Handset.new(farm, browser).ready()
    first_stop(phone)
    phone.type_amount("21.5")
    phone.page.evaluate(TWICE, "Add catch")
    phone.page.get_by_role("heading", name="Catches", exact=True).wait_for()
    start_screen(phone)
    expect(phone.page.get_by_role("button", name="Long Hollow")).to_have_count(1)
    phone.tap("Long Hollow")
    phone.save()
    phone.page.evaluate(TWICE, "Correct it")
    phone.page.get_by_role("heading", name="Catches", exact=True).wait_for()
    start_screen(phone)
    expect(phone.page.get_by_text("1 catch")).to_have_count(1)
    nothing_lost(farm, phone)


def test_a_picture_that_was_not_taken_leaves_the_button_alive(farm: Farm, browser: Browser) -> None:
    phone = Handset.new(farm, browser).ready()
    first_stop(phone)
    phone.catch("21.5")
    for _ in range(2):  # the first question is left open: some browsers never tell that it was called off
        with phone.page.expect_file_chooser():
            phone.tap("Photo")
    assert phone.errors == []


OPEN: dict[str, Any] = {"stop": STOP, "what": "open", "at": AT, "device": "x", "terms": {"crop": "canola"}, "where": {}}
CATCH = {"n": 1, "place": "discharge", "pan": {"area": "0.4 m2"}, "amount": "21.5 g"}
SPOILT: dict[str, dict[str, Any]] = {
    "no list of catches": {"journal": [{**OPEN, "catches": 3}]},
    "a catch without its content": {"journal": [OPEN, {"stop": STOP, "what": "catch", "at": AT}]},
    "a catch without a pan": {"journal": [{**OPEN, "catches": [{"n": 1}]}]},
    "a stop without an id": {"journal": [{**OPEN, "stop": "a"}]},
    "settings that are none": {"journal": [{**OPEN, "settings": 7}]},
    "a photo that is none": {"photos": [{"sha256": 3, "base64": 4}, None]},
    "a photo that was changed": {"photos": [{"sha256": "0" * 64, "base64": "AAAA"}]},
}


def test_a_spoilt_file_never_keeps_the_app_from_opening(farm: Farm, browser: Browser, tmp_path: Path) -> None:
    """What cannot be understood is told and left out; records are kept whatever they hold, and shown where they can."""
    phone = Handset.new(farm, browser).ready()
    phone.check("21.5")
    file = tmp_path / "spoilt.jsonl"

    def take(head: dict[str, Any], *records: dict[str, Any]) -> None:
        start = {"phone": "chaffinch", "layout": 1, "device": "x", "written_at": AT, **head}
        file.write_text("".join(json.dumps(one) + "\n" for one in (start, *records)), "utf-8")
        phone.page.goto(f"{phone.address}#/tray")
        phone.page.locator("#take-file").set_input_files(file)
        phone.see("new records")

    for name, head in SPOILT.items():
        take(head)
        expect(phone.page.get_by_text("Not taken:"), name).to_be_visible()
        phone.tap("Good")
    bodies: tuple[tuple[str, dict[str, Any]], ...] = (
        ("check", {}),
        ("check", {"taken_at": AT, "check": {"crop": "canola", "catch": 3}}),
        ("trial", {"a": 3}),
        ("photo", {"sha256": 4}),
        ("parcel", {"of": []}),
    )
    odd = [
        seal(f"{n}c1a4ff2-7a4f-4c38-9f1e-2d0f6b9a1c11", kind, 1, "x", AT, body).as_dict()
        for n, (kind, body) in enumerate(bodies)
    ]
    take({}, *odd)
    phone.see("5 new records")
    phone.tap("Good")
    take({"journal": [OPEN, {"stop": STOP, "what": "catch", "at": AT, "catch": CATCH}]})
    phone.tap("Good")
    phone.page.reload()
    phone.see("which this app cannot show")
    start_screen(phone)
    phone.tap("New check")
    phone.catch("9.5")
    phone.tap("Trial of two settings")
    phone.see("Change one thing only")
    assert phone.errors == []
    assert len(phone.records()) == 6


def test_a_screen_that_cannot_be_shown_leaves_a_way_to_take_everything(
    farm: Farm, browser: Browser, tmp_path: Path
) -> None:
    """Even a line that no app of ours writes, in the phone's own log, keeps nobody from the records."""
    phone = Handset.new(farm, browser).ready()
    phone.check("21.5")
    phone.page.evaluate(
        """(line) => new Promise((done, failed) => {
          const asked = indexedDB.open("chaffinch");
          asked.onsuccess = () => {
            const all = asked.result.transaction("journal", "readwrite");
            all.objectStore("journal").add(line);
            all.oncomplete = () => { asked.result.close(); done(); };
            all.onerror = () => failed(all.error);
          };
        })""",
        {**OPEN, "catches": 3},
    )
    phone.page.goto(phone.address)
    phone.page.reload()
    phone.see("The app made a mistake here")
    with phone.page.expect_download() as download:
        phone.tap("Everything here as a file")
    kept = tmp_path / "all.jsonl"
    download.value.save_as(kept)
    assert [json.loads(line)["id"] for line in kept.read_text("utf-8").splitlines()[1:]] == list(farm.confirmed)
    assert phone.errors != []  # and it is said where a developer looks


@contextmanager
def moved_to(farm: Farm, other: Farm) -> Iterator[None]:
    """Another farm's server at the address the phone knows."""
    home, farm.wire.to_port = farm.wire.to_port, other.wire.to_port
    yield
    farm.wire.to_port = home


def test_a_phone_brings_no_record_of_one_farm_to_another(farm: Farm, browser: Browser, tmp_path: Path) -> None:
    """All was handed over, so the phone may go to another book: that one never sees, or is asked for, any of it."""
    phone = Handset.new(farm, browser).ready()
    mine = phone.check("21.5")
    phone.send_all()
    (tmp_path / "other").mkdir()
    with a_farm(tmp_path / "other") as other:
        asked: list[bytes] = []

        def listen(_method: str, _path: str, body: bytes, pass_on: Any) -> Any:
            asked.append(body)
            return pass_on(body)

        with moved_to(farm, other):
            farm.wire.hook = listen
            phone.page.goto(f"{phone.address}#/pair")
            phone.page.get_by_label("Code").fill(other.code())
            phone.tap("Pair", exact=True)
            phone.wait_until("window.location.hash === '#/'")
            phone.wait_until_kept("setup")
            phone.choose()
            theirs = phone.check("9.5")
            phone.page.goto(f"{phone.address}#/tray")
            phone.tap("Send now")
            phone.see("1 in the book")
            phone.see("1 in another book")
            assert list(other.in_book()) == [theirs]
            assert not any(mine.encode() in body for body in asked)
            farm.wire.hook = None
            # A stop that stands open there is not carried home either.
            start_screen(phone)
            phone.tap("New check")
            phone.catch("8.5")
        phone.page.goto(f"{phone.address}#/pair")
        phone.page.get_by_label("Code").fill(farm.code())
        phone.tap("Pair", exact=True)
        phone.see("1 not finished stop here wait for the book")
        assert list(farm.in_book()) == [mine]


def test_a_file_of_another_farms_phone_is_asked_about(farm: Farm, browser: Browser, tmp_path: Path) -> None:
    phone = Handset.new(farm, browser).ready()
    mine = phone.check("21.5")
    phone.page.goto(f"{phone.address}#/tray")
    with phone.page.expect_download() as download:
        phone.tap("Everything here as a file")
    own = tmp_path / "own.jsonl"
    download.value.save_as(own)
    head, record = (json.loads(line) for line in own.read_text("utf-8").splitlines())
    assert head["book"]["title"] == "Larkhollow"
    assert record["id"] == mine
    note = seal(STOP, "note", 1, "Zed's phone", AT, {"text": "of a neighbour"}).as_dict()
    foreign = tmp_path / "foreign.jsonl"
    foreign.write_text(
        f"{json.dumps({**head, 'journal': [], 'book': {'id': 'other', 'title': 'Farside'}})}\n{json.dumps(note)}\n",
        "utf-8",
    )

    def take(file: Path) -> None:
        phone.page.goto(f"{phone.address}#/tray")
        phone.page.locator("#take-file").set_input_files(file)

    take(own)  # of the same book: nothing is asked
    phone.see("0 new records, 1 that were here already")
    phone.tap("Good")
    take(foreign)
    phone.see("a phone of the book Farside")
    phone.tap("Leave it")
    assert [one["id"] for one in phone.records()] == [mine]
    phone.page.reload()
    take(foreign)
    phone.tap("Take it in all the same")
    phone.see("1 new records")
    assert phone.errors == []


def test_a_receipt_that_cannot_be_kept_is_asked_for_again(farm: Farm, browser: Browser) -> None:
    """The storage is full when the book answers: that is said, and the phone goes on by itself when there is room."""
    phone = Handset.new(farm, browser).ready()
    phone.context.set_offline(True)
    phone.check("21.5")
    phone.page.evaluate(
        """() => {
          const own = IDBObjectStore.prototype.add;
          IDBObjectStore.prototype.add = function (value, ...rest) {
            if (this.name === "lines" && !globalThis.room) throw new DOMException("full", "QuotaExceededError");
            return own.call(this, value, ...rest);
          };
        }"""
    )
    phone.context.set_offline(False)
    phone.page.goto(f"{phone.address}#/tray")
    phone.tap("Send now")
    phone.see("cannot write down what the book answers")
    assert phone.lines() == []
    phone.page.evaluate("() => { globalThis.room = true; }")
    for _ in range(200):
        if phone.all_sent():
            break
        phone.page.wait_for_timeout(100)
    assert {one["what"] for one in phone.lines()} == {"known"}
    nothing_lost(farm, phone)


def test_a_record_that_cannot_be_sealed_says_so(farm: Farm, browser: Browser) -> None:
    """Half a character, as from a cut paste, fits no record: NOT SAVED, and not a button that does nothing."""
    phone = Handset.new(farm, browser).ready()
    first_stop(phone)
    phone.catch("21.5")
    phone.tap("Trial of two settings")
    phone.page.get_by_text("Start a new trial").click()
    phone.page.get_by_label("Side A, as it is set now").fill("450")
    phone.page.get_by_label("Side B, what is tried").fill("400")
    cut = "() => { const one = document.querySelector('[name=setting]'); one.value = 'rotor \\ud83c'; one.dispatchEvent(new Event('input')); }"  # noqa: E501
    phone.page.evaluate(cut)
    phone.tap("Start the trial")
    expect(phone.page.get_by_role("heading", name="NOT SAVED")).to_be_visible()
    phone.see("half a character")
    assert phone.records() == []


def test_the_spreader_is_said_of_the_whole_stop_and_shown(farm: Farm, browser: Browser) -> None:
    """Frames came first, so the stop was opened before anybody spoke of the spreader; later it is put right."""
    desk = farm.desk()
    body = {"name": "Young Bess", "cut_width": "10 m", "drop_width": "1.5 m", "spread_width": "9 m"}
    add_thing(desk, "combine", body)
    desk.store.close()
    phone = Handset.new(farm, browser)
    phone.open()
    phone.pair()
    phone.acknowledge()
    phone.choose(combine="Young Bess")
    start_screen(phone)
    phone.tap("New check")
    phone.tap("Standing crop")
    phone.tap("Frame")
    phone.catch("0.5")

    def at_another_place(spreader: str) -> None:
        phone.tap("Another catch")
        phone.tap("change")
        phone.tap("In the discharge")
        phone.tap(spreader, exact=True)
        phone.tap("Red tray")
        phone.see(f"In the discharge, spreader {spreader.lower()}, Red tray")

    at_another_place("On")
    phone.catch("21.5")
    expect(phone.page.locator(".verdict, .figure").first).to_be_visible()
    expect(phone.page.get_by_text("Cannot be worked out")).to_have_count(0)
    phone.see("In the discharge, spreader on, Red tray")
    at_another_place("Off")
    phone.catch("18.5")
    expect(phone.page.get_by_text("In the discharge, spreader off, Red tray")).to_have_count(2)
    phone.save()
    (record,) = phone.records()
    assert record["body"]["check"]["spreading"] is False
    start_screen(phone)
    phone.see("in the discharge, spreader off, Red tray")  # what "New check" will go by
    nothing_lost(farm, phone)


def test_a_stop_of_another_machine_keeps_what_was_said_of_its_spreader(farm: Farm, browser: Browser) -> None:
    desk = farm.desk()
    for name in ("Young Bess", "Hired Hetty"):
        body = {"name": name, "cut_width": "10 m", "drop_width": "1.5 m", "spread_width": "9 m"}
        add_thing(desk, "combine", body)
    desk.store.close()
    phone = Handset.new(farm, browser)
    phone.open()
    phone.pair()
    phone.acknowledge()
    phone.choose(combine="Young Bess")
    start_screen(phone)
    phone.tap("New check")
    phone.tap("In the discharge")
    phone.tap("Off", exact=True)
    phone.tap("Red tray")
    phone.catch("21.5")
    phone.choose(combine="Hired Hetty")
    start_screen(phone)
    phone.tap("Long Hollow")
    phone.tap("Field, machine and terms")
    phone.tap("Use these for this stop")
    expect(phone.page.get_by_text("Cannot be worked out")).to_have_count(0)
    phone.save()
    (record,) = phone.records()
    check = record["body"]["check"]
    assert (check["combine"]["name"], check["spreading"]) == ("Hired Hetty", False)
    nothing_lost(farm, phone)


def test_what_holds_for_the_next_stop_is_told_in_the_units_shown(farm: Farm, browser: Browser) -> None:
    """A limit as losses are shown, not with the digits of a conversion; a speed of last week is not overlooked."""
    phone = Handset.new(farm, browser).ready()
    phone.see("canola · limit 60 kg/ha")
    phone.page.goto(f"{phone.address}#/where")
    phone.page.get_by_text("Limit, price, speed, widths").click()
    phone.page.get_by_label("Ground speed").fill("6.5 km/h")
    phone.tap("bu/ac, lb/ac")
    phone.tap("Use these")
    phone.see("canola · limit 1.07 bu/ac")
    phone.see("said on this phone: speed 6.5 km/h")


@pytest.mark.parametrize(
    "name", ["W" * 60, "حقل الشمال الكبير جدا بجانب النهر", "北の大きな畑とても長い名前の畑です川沿いの古い道"]
)
def test_a_long_name_in_any_script_pushes_no_button_away(farm: Farm, browser: Browser, name: str) -> None:
    desk = farm.desk()
    add_thing(desk, "field", {"name": name, "crop": "canola", "limit": "60 kg/ha", "area": "62 ha", "price": "640 /t"})
    add_thing(desk, "combine", {"name": name, "cut_width": "12.2 m", "drop_width": "1.7 m"})
    add_thing(desk, "pan", {"name": name, "area": "0.4 m2"})
    add_thing(desk, "scale", {"name": name, "step": "0.1 g"})
    desk.store.close()
    phone = Handset.new(farm, browser)
    phone.open()
    phone.pair(name=name)
    phone.acknowledge()
    phone.choose(f"{name} canola", f"{name} cut")

    def fits(screen: str) -> None:
        over = phone.page.evaluate("() => document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert over == 0, screen

    start_screen(phone)
    fits("start")
    phone.tap("New check")
    phone.tap("In the discharge")
    fits("pans")
    phone.tap(name)
    phone.type_amount("21.5")
    fits("pad")
    phone.tap("read to")
    fits("steps")
    phone.tap("Close")
    phone.tap("Add catch")
    expect(phone.page.locator(".verdict")).to_be_visible()
    fits("verdict")
    phone.save()
    fits("saved")
    for screen in ("tray", "options", "where"):
        phone.page.goto(f"{phone.address}#/{screen}")
        phone.page.locator("main > *").first.wait_for()
        fits(screen)

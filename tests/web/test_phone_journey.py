"""A day in the field with a phone: no signal, the phone switched off, the server restarted, then everything is sent."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from phone_world import Farm, Handset, a_profile, nothing_lost
from playwright.sync_api import Browser, expect

from chaffinch.store import records


def test_six_taps_and_the_numbers(farm: Farm, browser: Browser) -> None:
    """On a new day: cautions, new check, place, pan, and the number; the verdict stands there."""
    phone = Handset.new(farm, browser).ready()
    phone.page.evaluate(
        """() => new Promise((done) => {
          const asked = indexedDB.open("chaffinch");
          asked.onsuccess = () => {
            const change = asked.result.transaction("kept", "readwrite");
            change.objectStore("kept").delete("cautions");
            change.oncomplete = () => { asked.result.close(); done(); };
          };
        })"""
    )
    phone.page.goto("about:blank")
    phone.page.goto(phone.address)
    taps = ["Understood, for today", "New check", "In the discharge", "Red tray", "21.5", "Add catch"]
    for tap in taps:
        phone.type_amount(tap) if tap[0].isdigit() else phone.tap(tap)
    expect(phone.page.locator(".verdict")).to_be_visible()
    assert len(taps) - 1 <= 6
    # Not saved yet, and nowhere said to be.
    expect(phone.page.get_by_text("Saved on this phone")).to_have_count(0)
    assert phone.records() == []
    phone.save()
    nothing_lost(farm, phone)


def test_the_whole_journey_without_signal(farm: Farm, browser: Browser, tmp_path: Path) -> None:
    """Opened, paired; then no network: checks, reload, the phone off and on, the server off and on; then sent."""
    profile = tmp_path / "profile"
    with a_profile(browser, profile) as context:
        phone = Handset(farm, context).ready()
        phone.wait_until("(async () => (await caches.keys()).some((key) => key.startsWith('chaffinch-app-')))()")
        farm.stop()
        context.set_offline(True)
        phone.page.reload()
        expect(phone.page.get_by_role("button", name="New check").first).to_be_visible()
        phone.check("21.5", "18,0", "24.9")
        phone.page.goto(f"{phone.address}#/")
        phone.see("1 to send")
        # A second stop is left in the middle: two catches, one in a bag.
        phone.tap("New check")
        phone.catch("12.5")
        phone.tap("Another catch")
        phone.tap("Weigh later")
        phone.tap("Keep the bag")
        phone.see("bag 1, to weigh")
        expect(phone.page.get_by_role("button", name="Save check")).to_be_disabled()
        nothing_lost(farm, phone)
    with a_profile(browser, profile) as context:
        context.set_offline(True)
        phone = Handset(farm, context).open(wait_for_worker=False)
        phone.tap("Long Hollow")
        phone.tap("Weigh bag 1")
        phone.type_amount("9.8")
        phone.tap("Keep this weight")
        phone.save()
        assert len(phone.records()) == 2
        farm.start()
        context.set_offline(False)
        phone.send_all()
        nothing_lost(farm, phone)
        assert farm.in_book() == farm.confirmed
        phone.page.goto(f"{phone.address}#/")
        phone.see("All in the book")
    amounts = sorted([catch["amount"] for catch in one["body"]["check"]["catch"]] for one in checks_of(farm))
    assert amounts == [["12.5 g", "9.8 g"], ["21.5 g", "18.0 g", "24.9 g"]]


def checks_of(farm: Farm) -> list[dict[str, Any]]:
    """The checks as the book has them."""
    desk = farm.desk()
    found = [one.envelope.as_dict() for one in records.every(desk.store, kind="check")]
    desk.store.close()
    return found


def test_opens_without_a_book_and_is_paired_later(farm: Farm, browser: Browser) -> None:
    """Before any book: crop and widths by hand, a verdict, a check kept; once paired it is sent."""
    phone = Handset.new(farm, browser).open()
    phone.acknowledge()
    phone.context.set_offline(True)
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
    phone.catch("12.5")
    expect(phone.page.locator(".verdict")).to_be_visible()
    phone.save()
    phone.page.goto(f"{phone.address}#/tray")
    phone.see("Not paired with a book yet")
    phone.context.set_offline(False)
    phone.pair()
    phone.send_all()
    nothing_lost(farm, phone)
    assert farm.in_book() == farm.confirmed


def test_a_field_may_call_its_crop_by_another_name(farm: Farm, browser: Browser) -> None:
    """The book takes "spring wheat"; so does the phone, and what it refused goes when another field is chosen."""
    phone = Handset.new(farm, browser).ready()
    phone.choose("Mill Field")
    phone.page.get_by_text("wheat · no limit set").wait_for()
    phone.check("12.5")
    phone.send_all()
    nothing_lost(farm, phone)
    assert [one["body"]["check"]["crop"] for one in checks_of(farm)] == ["spring wheat"]


def test_what_is_typed_wrongly_is_told_in_one_line(farm: Farm, browser: Browser) -> None:
    phone = Handset.new(farm, browser).ready()
    phone.page.goto(f"{phone.address}#/where")
    phone.page.locator("summary").click()
    phone.page.get_by_label("Limit: act above").fill("60 furlongs")
    phone.tap("Use these")
    said = phone.page.locator(".error:not(:empty)")
    expect(said).to_be_visible()
    assert "imit" in said.inner_text()
    # Nothing typed is lost by it.
    assert phone.page.get_by_label("Limit: act above").input_value() == "60 furlongs"
    phone.page.get_by_role("radio", name="Mill Field").check()
    expect(said).to_have_count(0)


def test_a_saved_check_is_corrected_by_a_new_one(farm: Farm, browser: Browser) -> None:
    phone = Handset.new(farm, browser).ready()
    first = phone.check("125")
    phone.tap("Correct it")
    phone.tap("Take back catch 1")
    phone.page.get_by_text("1. 125 g").wait_for(state="detached")
    phone.tap("Another catch")
    phone.tap("In the discharge")
    phone.tap("Red tray")
    phone.catch("12.5")
    second = phone.save()
    phone.send_all()
    nothing_lost(farm, phone)
    new = next(one for one in phone.records() if one["id"] == second)
    assert new["body"]["replaces"] == [first]
    assert new["body"]["reason"]


def test_settings_conditions_monitor_trial_and_photo(farm: Farm, browser: Browser, tmp_path: Path) -> None:
    """Everything that may be said beside a stop, and a photo, comes into the book."""
    phone = Handset.new(farm, browser).ready()
    phone.tap("New check")
    phone.tap("In the discharge")
    phone.tap("Red tray")
    phone.catch("21.5")
    phone.tap("Settings and conditions")
    phone.page.get_by_label("rotor speed, rpm").fill("620")
    phone.page.get_by_label("Grain moisture, %").fill("9,5")
    phone.page.get_by_label("What it showed").fill("34")
    phone.tap("Per area")
    phone.tap("Keep these")
    phone.see("3 said")
    phone.tap("Trial of two settings")
    phone.page.get_by_text("Start a new trial").click()
    phone.page.get_by_label("Side A, as it is set now").fill("620")
    phone.page.get_by_label("Side B, what is tried").fill("560")
    phone.tap("Start the trial")
    phone.see("this stop belongs to side A")
    picture = tmp_path / "stubble.png"
    phone.page.screenshot(path=picture)
    with phone.page.expect_file_chooser() as chooser:
        phone.tap("Photo")
    chooser.value.set_files(picture)
    phone.see("1 kept")
    phone.save()
    phone.send_all()
    nothing_lost(farm, phone)
    assert farm.in_book() == farm.confirmed
    kinds = {one["kind"]: one["body"] for one in phone.records()}
    assert set(kinds) == {"check", "monitor", "photo", "trial"}
    check = kinds["check"]
    assert check["settings"] == [{"name": "rotor speed", "value": 620, "unit": "rpm"}]
    assert check["conditions"] == {"grain_moisture_pct": 9.5}
    assert check["side"] == "A"
    assert kinds["monitor"]["per"] == "area"
    photo = farm.settings.photos / kinds["photo"]["sha256"]
    for _ in range(100):
        if photo.is_file():
            break
        phone.page.wait_for_timeout(100)
    assert photo.stat().st_size == kinds["photo"]["bytes"]
    # The next stop stays in the trial until somebody says otherwise.
    phone.page.goto(f"{phone.address}#/")
    phone.tap("New check")
    phone.catch("20.0")
    phone.see("this stop belongs to side A")

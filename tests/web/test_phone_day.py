"""The phone shows the desk's last plan of the day without signal, with its age, and keeps it if the server has none."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from phone_world import Answer, Farm, Handset, a_farm, as_json
from playwright.sync_api import Browser

PLAN: dict[str, Any] = {
    "issued_at": "2026-08-14T12:00:00Z",
    "day": {
        "combine": {"id": "x", "name": "Old Bess"},
        "crop": "canola",
        "hours_to_work": "12:00–22:00",
        "caution": "Before anyone goes near the machine: your operator's manual and local rules come first.",
        "said": ["The cheapest hours that finish 150 ac, at about $42 per ac of grain and time."],
    },
    "table": [["hour", "tough", "mph", ""], ["12:00", "0.53", "5.7", "■ 68 %"], ["13:00", "0.48", "5.7", "■"]],
    "about": "Losses in bu/ac, low to high, at the best pace.",
}


def test_the_last_plan_is_there_without_signal_and_says_how_old_it_is(farm: Farm, browser: Browser) -> None:
    plan: dict[str, Any] = {"now": PLAN}

    def hook(_: str, path: str, body: bytes, pass_on: Any) -> Answer | None:
        if path == "/api/v1/day":
            return as_json(plan["now"]) if plan["now"] else as_json({"detail": "none"}, 404)
        passed: Answer = pass_on(body)
        return passed

    farm.wire.hook = hook
    phone = Handset.new(farm, browser).ready()
    phone.wait_until_kept("day")
    phone.page.goto(f"{phone.address}#/")
    phone.see("Day: 12:00–22:00")
    phone.context.set_offline(True)
    phone.tap("Day: 12:00–22:00")
    phone.see("The cheapest hours that finish 150 ac")
    phone.see("■ 68 %")
    phone.see("days old")
    cautioned = phone.page.locator("main").inner_text()
    assert cautioned.index("your operator's manual") < cautioned.index("The cheapest hours")
    assert phone.page.evaluate("document.documentElement.scrollWidth") <= 360
    # A server that has none, or is too old to make one, takes nothing away.
    plan["now"] = None
    phone.context.set_offline(False)
    phone.page.reload()
    phone.see("The cheapest hours that finish 150 ac")
    assert phone.errors == []


def test_another_books_plan_is_not_this_ones(farm: Farm, browser: Browser, tmp_path: Path) -> None:
    """A phone that is paired with another farm shows none of the first one's plan, whether or not that farm has one."""

    def hook(_: str, path: str, body: bytes, pass_on: Any) -> Answer | None:
        if path == "/api/v1/day" and farm.wire.to_port == home:
            return as_json(PLAN)
        return pass_on(body)

    home = farm.wire.to_port
    farm.wire.hook = hook
    phone = Handset.new(farm, browser).ready()
    phone.wait_until_kept("day")
    (tmp_path / "other").mkdir()
    with a_farm(tmp_path / "other") as other:
        farm.wire.to_port = other.wire.to_port
        phone.page.goto(f"{phone.address}#/pair")
        phone.page.get_by_label("Code").fill(other.code())
        phone.tap("Pair", exact=True)
        phone.see("Choose field and machine")
        phone.page.get_by_text("Day: 12:00").wait_for(state="detached")
        farm.wire.to_port = home

"""The code on a cab card opens the app with that machine chosen, and asks nothing of a machine it does not know."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from phone_world import Farm, Handset
from playwright.sync_api import Browser, expect

from chaffinch.book.things import add_thing
from chaffinch.paper.cab_card import link_of


def test_the_code_chooses_its_machine(farm: Farm, browser: Browser) -> None:
    desk = farm.desk()
    other = add_thing(desk, "combine", {"name": "Young Bess", "cut_width": "9 m", "drop_width": "1.5 m"}).id
    desk.store.close()
    phone = Handset.new(farm, browser).ready()
    phone.wait_until_kept("setup")
    phone.page.goto("about:blank")
    phone.page.goto(link_of(farm.wire.origin, other))
    expect(phone.page.get_by_role("radio", name="Young Bess")).to_be_checked()
    expect(phone.page.get_by_role("radio", name="Long Hollow")).to_be_checked()
    phone.tap("Use these")
    phone.see("Young Bess")
    phone.page.goto("about:blank")
    phone.page.goto(link_of(farm.wire.origin, "0" * 36))
    expect(phone.page.get_by_role("radio", name="Young Bess")).to_be_checked()
    # On another day the cautions come first, and after them what the code asked for.
    phone.page.clock.set_fixed_time(datetime.now(UTC) + timedelta(days=1))
    phone.page.goto("about:blank")
    phone.page.goto(link_of(farm.wire.origin, other))
    phone.see("Before you go near")
    expect(phone.page.get_by_role("radio", name="Young Bess")).to_have_count(0)
    phone.tap("Understood, for today")
    expect(phone.page.get_by_role("radio", name="Young Bess")).to_be_checked()
    assert phone.errors == []

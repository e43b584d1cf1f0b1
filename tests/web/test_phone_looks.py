"""Can everybody use the phone app? Contrast, names, sizes, keys, large text, weight, nothing fetched from elsewhere."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from phone_tables import STATIC
from phone_world import Answer, Farm, Handset, a_farm, as_json
from playwright.sync_api import Browser, expect
from test_phone_day import PLAN

from chaffinch.book.things import add_thing
from chaffinch.web.program_files import app_files, ready

MOST_KB = 120.0
LEAST_TARGET_PX = 64.0
LARGE = "(size) => { document.documentElement.style.fontSize = size; dispatchEvent(new Event('resize')); }"
AXE = (files("axe_playwright_python") / "axe.min.js").read_text("utf-8")


@pytest.fixture(scope="module")
def farm(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Farm]:
    with a_farm(tmp_path_factory.mktemp("looks")) as farm:
        yield farm


@pytest.fixture(scope="module")
def screens(farm: Farm, browser: Browser) -> tuple[Handset, dict[str, str]]:
    """A phone with something on every screen, and the address of each."""

    def planned(_: str, path: str, body: bytes, pass_on: Any) -> Answer | None:
        return as_json(PLAN) if path == "/api/v1/day" else pass_on(body)

    farm.wire.hook = planned
    phone = Handset.new(farm, browser).ready()
    phone.wait_until_kept("day")
    saved = phone.check("21.5", "18.0")
    phone.context.set_offline(True)
    phone.check("17.0")
    phone.context.set_offline(False)
    phone.page.goto(f"{phone.address}#/")
    phone.tap("New check")
    phone.catch("15.5")
    phone.tap("Another catch")
    phone.tap("Weigh later")
    phone.tap("Keep the bag")
    phone.see("bag 1, to weigh")
    stop = phone.page.url.rsplit("/", 1)[1]
    names = ["", "cautions", "pair", "where", "place", "pan", "pad", "tray", "options", "day", "advice/leaks"]
    named = {name or "home": f"#/{name}" for name in names}
    more = {name: f"#/{name}/{stop}" for name in ("stop", "beside", "trial", "advice")} | {
        name: f"#/{name}/{saved}" for name in ("saved", "hand")
    }
    return phone, named | more


def visit(phone: Handset, address: str) -> None:
    phone.page.goto(phone.address + address)
    phone.page.wait_for_timeout(60)


def faults(phone: Handset) -> list[str]:
    """What axe-core finds against WCAG 2.2 A and AA, and its best practices."""
    phone.page.evaluate(AXE)
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
    found: dict[str, Any] = phone.page.evaluate(
        "(tags) => axe.run(document, { runOnly: { type: 'tag', values: tags } })", tags
    )
    return [f"{one['id']}: {node['html'][:120]}" for one in found["violations"] for node in one["nodes"]]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_screen_against_the_rules(screens: tuple[Handset, dict[str, str]], scheme: Any) -> None:
    phone, addresses = screens
    phone.page.emulate_media(color_scheme=scheme)
    found = {}
    for name, address in addresses.items():
        visit(phone, address)
        if name == "hand":
            phone.page.locator("svg.code").wait_for()
        if wrong := faults(phone):
            found[name] = wrong
    assert found == {}
    phone.page.emulate_media(color_scheme="light")


def test_a_rule_that_is_broken_is_found(screens: tuple[Handset, dict[str, str]]) -> None:
    """The check can fail."""
    phone, _ = screens
    visit(phone, "#/")
    phone.page.evaluate("() => document.querySelector('main').append(document.createElement('button'))")
    assert any(one.startswith("button-name") for one in faults(phone))
    phone.page.evaluate("() => document.querySelector('main > button').remove()")


def test_everything_to_tap_is_large_enough_for_a_glove(screens: tuple[Handset, dict[str, str]]) -> None:
    """Every button, field and choice is at least 64 px high, and 64 px wide or as wide as its words; none overlap.

    A box inside a choice is tapped by the whole of it.
    """
    phone, addresses = screens
    script = """() => [...document.querySelectorAll(
        'button, select, summary, input:not([type=file], [type=radio], label.pick input), label.pick, label.row,' +
        'a.row')]
      .filter((one) => one.offsetParent !== null && !one.classList.contains('unseen'))
      .map((one) => [one.textContent || one.id, one.getBoundingClientRect()])
      .map(([name, box]) => [name, box.width, box.height])"""
    for name, address in addresses.items():
        visit(phone, address)
        boxes = phone.page.evaluate(script)
        assert boxes, name
        small = [one for one in boxes if one[2] < LEAST_TARGET_PX - 0.5 or one[1] < LEAST_TARGET_PX - 0.5]
        assert small == [], name


def test_large_text_breaks_nothing(screens: tuple[Handset, dict[str, str]]) -> None:
    """At twice the text size nothing runs off the side, every button's words stay inside it, and none is squeezed."""
    phone, addresses = screens
    for name, address in addresses.items():
        visit(phone, address)
        phone.page.evaluate(LARGE, "200%")
        over = phone.page.evaluate(
            """() => [document.documentElement.scrollWidth - innerWidth, [...document.querySelectorAll('button')]
              .filter((one) => one.scrollWidth > one.clientWidth + 1).map((one) => one.textContent),
              document.querySelector('h1').getBoundingClientRect().bottom <=
              document.querySelector('main').getBoundingClientRect().top,
              [...document.querySelectorAll('.row-text')].filter((one) => one.clientWidth <
                4 * parseFloat(getComputedStyle(one).fontSize)).map((one) => one.textContent)]"""
        )
        assert over == [0, [], True, []], name
    visit(phone, "#/")
    phone.page.evaluate(LARGE, "")


def test_by_keys_alone_from_the_start_to_a_verdict(farm: Farm, browser: Browser) -> None:
    """Tab, Enter and digits; the focus is seen, and each new screen begins at its heading."""
    phone = Handset.new(farm, browser).ready("a phone with keys")
    page = phone.page

    def reach(name: str) -> None:
        for _ in range(40):
            page.keyboard.press("Tab")
            held = page.evaluate("() => document.activeElement?.textContent || document.activeElement?.ariaLabel || ''")
            if name in held:
                outline = page.evaluate("() => getComputedStyle(document.activeElement).outlineStyle")
                assert outline != "none"
                page.keyboard.press("Enter")
                page.wait_for_timeout(100)
                return
        pytest.fail(f"{name} cannot be reached by Tab")

    for name in ("New check", "In the discharge", "Red tray"):
        reach(name)
        assert page.evaluate("() => document.activeElement.tagName") == "H1"
    # Digits are typed wherever the focus is, as the newcomer's page says: "type what the tray held".
    page.keyboard.type("21,5")
    expect(page.locator("#reading")).to_contain_text("21,5")
    page.keyboard.press("Backspace")
    page.keyboard.type("7")
    reach("Add catch")
    expect(page.locator(".verdict")).to_be_visible()
    reach("Another catch")
    page.keyboard.type("18")
    page.keyboard.press("Enter")
    expect(page.get_by_text("2. 18 g")).to_be_visible()
    # In a small page over the pad the keys are that page's own.
    reach("Another catch")
    reach("Weigh later")
    page.keyboard.press("Tab")
    page.keyboard.type("7")
    expect(page.get_by_label("Bag", exact=True)).to_have_value("7")
    expect(page.locator("#reading")).not_to_contain_text("7")


def test_the_ruler_is_told_to_those_who_do_not_see_it(screens: tuple[Handset, dict[str, str]]) -> None:
    phone, addresses = screens
    visit(phone, addresses["saved"])
    words = phone.page.locator("svg.ruler").get_attribute("aria-label")
    assert words is not None
    assert re.fullmatch(
        r"Ruler: machine loss, middle \d+, likely \d+ to \d+ kg/ha\. The limit is 60 kg/ha\.( The ranges .*)?", words
    )
    # The verdict is words and a shape; the shape alone says nothing to a screen reader.
    assert phone.page.locator(".verdict svg").get_attribute("aria-hidden") == "true"
    assert phone.page.locator(".verdict strong").inner_text() in (
        "Over your limit",
        "Under your limit",
        "Can't tell yet",
    )


def test_nothing_is_fetched_from_elsewhere_and_no_rule_of_the_page_is_broken(farm: Farm, browser: Browser) -> None:
    phone = Handset.new(farm, browser)
    asked: list[str] = []
    said: list[str] = []
    phone.context.on("request", lambda request: asked.append(request.url))
    phone.page.on("console", lambda message: said.append(message.text))
    phone.ready("a watched phone")
    phone.check("21.5")
    assert asked
    assert {url for url in asked if not url.startswith((farm.wire.origin, "data:", "blob:"))} == set()
    assert [text for text in said if "Content Security Policy" in text or "Refused" in text] == []
    assert phone.errors == []
    policy = phone.page.request.get(phone.address).headers["content-security-policy"]
    assert "default-src 'self'" in policy
    assert "unsafe" not in policy


def test_names_are_text_and_never_markup(tmp_path: Path, browser: Browser) -> None:
    """A field called like markup is shown as it is written, on every screen that names it."""
    with a_farm(tmp_path) as farm:
        desk = farm.desk()
        nasty = "<img src=x onerror=document.title='pwned'>"
        add_thing(desk, "field", {"name": nasty, "crop": "canola", "limit": "60 kg/ha"})
        add_thing(desk, "pan", {"name": nasty, "area": "0.4 m2"})
        desk.store.close()
        phone = Handset.new(farm, browser).ready()
        phone.choose(nasty)
        phone.tap("New check")
        phone.tap("In the discharge")
        phone.tap(nasty)
        phone.catch("21.5")
        phone.see(nasty)
        phone.save()
        phone.page.goto(f"{phone.address}#/tray")
        phone.see(nasty)
        assert phone.page.locator("main img").count() == 0
        assert "pwned" not in phone.page.title()


def test_the_page_is_light_enough_for_a_weak_signal() -> None:
    """All files of the app together, as they go over the wire, are at most 120 KB."""
    sizes = {}
    for address in [*app_files(STATIC), "/app/sw.js"]:
        name = "app/index.html" if address == "/app/" else address.removeprefix("/static/").removeprefix("/")
        found = ready(str(STATIC / name), 0, 0)
        sizes[address] = len(found.plain if found.compressed is None else found.compressed)
    assert sum(sizes.values()) / 1000 <= MOST_KB, json.dumps(sizes, indent=1)


def test_it_opens_from_its_own_cache(farm: Farm, browser: Browser) -> None:
    """After the first visit a reload asks the server for no file of the app; only the signal is tried."""
    phone = Handset.new(farm, browser).ready("a phone that reloads")
    phone.wait_until("(async () => (await caches.keys()).some((key) => key.startsWith('chaffinch-app-')))()")
    phone.context.set_offline(True)
    phone.page.reload()
    expect(phone.page.get_by_role("button", name="New check").first).to_be_visible()
    served = phone.page.evaluate(
        """() => performance.getEntriesByType("resource").filter((one) => one.name.includes("/static/"))
          .map((one) => one.transferSize)"""
    )
    assert len(served) > 20
    assert set(served) == {0}

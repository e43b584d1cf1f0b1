"""The desk's pages in a real browser: seen by an auditor's rules, walked by keys, without scripts, on paper."""

from __future__ import annotations

import io
import json
import os
import sys
import tempfile
import zipfile
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any, Literal

import pytest
from desk_farm import Visitor, desk_farm
from desk_pictures import BROWSER, FLAGS, a_log, served
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from chaffinch.book.checks.held import checks_where

sys.path.insert(0, str(Path(__file__).parents[1]))

from heard_logs import heard_folder

LOOKED_AT = (Path(__file__).parent / "desk_looked_at.js").read_text(encoding="utf-8").partition("\n() =>")
AUDIT = "() =>" + LOOKED_AT[2]
AXE = (files("axe_playwright_python") / "axe.min.js").read_text("utf-8")
AXE_TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
AXED = (
    "/today", "/correct", "/season/", "hour_cost=450", "/trial/", "/thing/", "/devices", "/pair", "/fieldlogs/",
    "/reports",
)  # fmt: skip
"""One page of each kind: axe takes a second for each."""
PATIENT_MS = 60_000
"""The longest a page may take before the browser gives up on a busy machine [ms]."""


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    if not Path(BROWSER).exists():
        missing = "no Chromium at /usr/bin/chromium: .ci/chromium installs it"
        if os.environ.get("CI") == "true":
            pytest.fail(missing)
        pytest.skip(missing)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=BROWSER, args=list(FLAGS))
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Visitor, str]]:
    with desk_farm(tmp_path_factory.mktemp("desk")) as visitor, served(visitor.app) as address:
        yield visitor, address


def let_in(browser: Browser, desk: tuple[Visitor, str], **more: Any) -> BrowserContext:
    """A browser that went in by the printed link."""
    visitor, address = desk
    context = browser.new_context(**more)
    context.set_default_timeout(PATIENT_MS)
    page = context.new_page()
    page.goto(f"{address}/enter?key={visitor.app.state.devices.make_link().secret}")
    assert page.url == f"{address}/today"
    page.close()
    return context


def task_data() -> bytes:
    """Task data of a machine with loss sensors that ran while the first checks were taken, as a zip."""
    packed = io.BytesIO()
    with tempfile.TemporaryDirectory() as name, zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as box:
        for one in sorted(heard_folder(Path(name) / "t").iterdir()):
            box.write(one, f"TASKDATA/{one.name}")
    return packed.getvalue()


def two_areas() -> bytes:
    """A field in two halves, the eastern one further than it was cut."""
    found = []
    for name, west, east in (("clay", -104.61, -104.5995), ("sand", -104.5995, -104.59)):
        ring = [[west, 50.39], [east, 50.39], [east, 50.41], [west, 50.41], [west, 50.39]]
        shape = {"type": "Polygon", "coordinates": [ring]}
        found.append({"type": "Feature", "properties": {"zone": name}, "geometry": shape})
    return json.dumps({"type": "FeatureCollection", "features": found}).encode()


def heard_log(visitor: Visitor, name: str) -> str:
    """Task data with loss sensors and zones, sent and asked for everything a page can show."""
    logs = visitor.app.state.field_logs
    kept = logs.keep(io.BytesIO(task_data()), name)
    if kept.zones is None:
        logs.keep_zones(kept, io.BytesIO(two_areas()), "soils.geojson")
        kept.asked = {
            "combine": visitor.book.ids["Old Bess"], "crop": "canola", "zone": "utc", "speed": "5 km/h",
            "price": "600 /t",
        }  # fmt: skip
    return str(kept.token)


def paths(visitor: Visitor) -> list[str]:
    ids = visitor.book.ids
    return [
        "/today",
        "/checks",
        f"/check/{ids['checks']}",
        f"/check/{ids['checks']}/correct",
        f"/check/{ids['checks']}/advice?a-found=chaff",
        "/advice",
        "/advice/leaks",
        "/log",
        "/seasons",
        f"/season/{ids['2026']}?by=combine&source=machine",
        f"/field/{ids['Long Hollow']}",
        "/combines",
        f"/combine/{ids['Old Bess']}?hour_cost=450+/h&now=6+km/h",
        f"/combine/{ids['Old Bess']}?hour_cost=nonsense",
        f"/combine/{ids['Young Bess']}",
        "/day",
        "/fieldlogs",
        f"/fieldlogs/{a_log(visitor.app)}",
        f"/fieldlogs/{heard_log(visitor, 'TASKDATA.zip')}",
        "/reports",
        f"/reports/new?of=/check/{ids['checks']}/report.pdf",
        "/trials",
        f"/trial/{ids['trial']}",
        "/setup",
        f"/thing/{ids['Long Hollow']}",
        "/import",
        "/devices",
        "/pair",
    ]


LOOKS: tuple[Literal["light", "dark"], ...] = ("light", "dark")


def test_every_page_stands_an_audit(browser: Browser, desk: tuple[Visitor, str]) -> None:
    """At 320 px (400 % of 1280) and at a desk's width, light and dark, every drawer opened; nothing from elsewhere.

    A page is loaded once for both looks: they part by the style sheet alone. Without motion, so that no colour is
    judged on its way from one to the other.
    """
    visitor, address = desk
    context = let_in(browser, desk, reduced_motion="reduce")
    page = context.new_page()
    heard: list[str] = []
    page.on("console", lambda message: heard.append(message.text) if message.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: heard.append(str(error)))
    page.on("request", lambda one: heard.append(one.url) if not one.url.startswith(address) else None)
    faults = []
    for width in (320, 1280):
        page.set_viewport_size({"width": width, "height": 800})
        for path in paths(visitor):
            page.goto(address + path)
            page.evaluate("() => document.querySelectorAll('details').forEach((one) => { one.open = true; })")
            grounds = set()
            for look in LOOKS:
                page.emulate_media(color_scheme=look)
                grounds.add(page.evaluate("() => getComputedStyle(document.body).backgroundColor"))
                faults += [f"{look} {width} {path}: {one}" for one in page.evaluate(AUDIT)]
            assert len(grounds) == len(LOOKS), path
    context.close()
    assert faults == []
    assert heard == []


def test_an_audit_finds_faults(browser: Browser) -> None:
    """The rules themselves can fail: a page with one fault of each kind."""
    page = browser.new_page()
    page.set_content(
        "<html><body><h3>a</h3><p style='color:#999;background:#fff'>pale</p>"
        "<input name=a style='border:1px solid #eee'>"
        "<button style='width:9px;height:9px;padding:0'></button><img src='x'><svg width=9 height=9></svg>"
        "<label for=gone>x</label><i id=b></i><i id=b></i><table><tr><th>x</th></tr></table>"
        "<div style='width:4000px'>wide</div></body></html>"
    )
    found = " ".join(page.evaluate(AUDIT))
    page.close()
    for sign in ("contrast 2.85", "edge contrast", "target 9 by 9", "no label", "no name", "no alt", "drawing without",
                 "gone, which is not there", "id b twice", "not one h1", "not one main", "no language", "no title",
                 "without a caption", "without a scope", "wider than the page"):  # fmt: skip
        assert sign in found, sign


def test_large_letters_break_nothing(browser: Browser, desk: tuple[Visitor, str]) -> None:
    """Letters twice as large, and lines further apart (1.4.4, 1.4.12), at the width of a tablet."""
    visitor, address = desk
    context = let_in(browser, desk, viewport={"width": 820, "height": 1180})
    page = context.new_page()
    for path in paths(visitor):
        page.goto(address + path)
        page.evaluate(
            """() => {
              document.documentElement.style.fontSize = "200%";
              for (const one of document.querySelectorAll("p, li, td, th, dd, dt, label")) {
                one.style.lineHeight = "1.5"; one.style.letterSpacing = "0.12em"; one.style.wordSpacing = "0.16em";
              }
            }"""
        )
        wide = page.evaluate("() => { const x = document.scrollingElement; return x.scrollWidth - x.clientWidth; }")
        assert wide <= 1, (path, wide)
    context.close()


def test_every_page_can_be_walked_by_keys(browser: Browser, desk: tuple[Visitor, str]) -> None:
    """Tab reaches everything that can be used, once, in the order of the page, and shows where it is; no trap."""
    visitor, address = desk
    context = let_in(browser, desk)
    page = context.new_page()
    for path in paths(visitor):
        if "nonsense" in path:
            continue  # there the walk begins at what went wrong, which the next test goes through
        page.goto(address + path)
        page.evaluate("() => { document.activeElement?.blur(); window.getSelection()?.removeAllRanges(); }")
        wanted = page.evaluate(
            """() => {
              const all = [...document.querySelectorAll(
                "a[href], button, input:not([type=hidden]), select, textarea, summary, .scroll[tabindex]"
              )];
              const groups = new Set();
              return all.filter((el) => {
                if (el.tabIndex < 0 || el.closest("details:not([open]) > :not(summary)")) return false;
                if (el.getClientRects().length === 0) return false;  // the drawing of the other width
                if (el.type === "radio") { const first = !groups.has(el.name); groups.add(el.name); return first; }
                return true;
              }).map((el, at) => { el.dataset.walk = at; return at; }).length;
            }"""
        )
        reached = []
        for _ in range(wanted):
            page.keyboard.press("Tab")
            found = page.evaluate(
                """() => {
                  const el = document.activeElement, style = getComputedStyle(el);
                  const radio = el.type === "radio" ? document.querySelector(`[type=radio][name=${el.name}]`) : el;
                  const seen = style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2;
                  return [Number(radio.dataset.walk), seen];
                }"""
            )
            reached.append(found[0])
            assert found[1], (path, found[0], "where the focus is cannot be seen")
        assert reached == list(range(wanted)), path
    context.close()


def test_a_check_is_logged_by_keys_alone(browser: Browser, desk: tuple[Visitor, str]) -> None:
    visitor, address = desk
    context = let_in(browser, desk)
    page = context.new_page()
    page.goto(f"{address}/log?field={visitor.book.ids['Long Hollow']}&combine={visitor.book.ids['Old Bess']}")
    page.focus("#catch-1-pan")
    page.keyboard.type("0.4 m2")
    page.keyboard.press("Tab")
    page.keyboard.type("12.5")
    with page.expect_navigation():
        page.keyboard.press("Enter")  # shows the estimate, or what is wrong; never saves by itself
    assert page.evaluate("() => document.activeElement.className") == "problems"
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")  # the error leads to its field
    page.wait_for_function("() => document.activeElement.id === 'catch-1-amount'")
    page.keyboard.press("End")
    page.keyboard.type(" g")
    before = len(checks_where(visitor.book.desk))
    with page.expect_navigation():
        page.keyboard.press("Enter")
    assert "machine loss, likely" in page.inner_text("#estimate")
    assert len(checks_where(visitor.book.desk)) == before
    page.focus("button[value=save]")
    page.keyboard.press("Enter")
    page.wait_for_url("**/check/*")
    assert len(checks_where(visitor.book.desk)) == before + 1
    context.close()


def test_everything_works_without_scripts(browser: Browser, desk: tuple[Visitor, str]) -> None:
    visitor, address = desk
    context = let_in(browser, desk, java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{address}/log?combine={visitor.book.ids['Old Bess']}")
    page.fill("#catch-1-pan", "0.4 m2")
    page.fill("#catch-1-amount", "11 g")
    page.select_option("#crop", "canola")
    page.click("button[value=more]")
    page.fill("#catch-4-amount", "9 g")
    page.click("button[value=save]")
    assert "/check/" in page.url
    page.click("summary:has-text('Light and units')")
    page.check("input[name=look][value=dark]")
    page.check("input[name=measures][value=american]")
    page.click("form[action='/choices'] button")
    assert page.locator("html").get_attribute("data-look") == "dark"
    assert "bu/ac" in page.inner_text(".headline")
    context.close()


def test_a_field_log_is_sent_and_asked_without_scripts(browser: Browser, desk: tuple[Visitor, str]) -> None:
    """A zip goes in, its question is answered, zones are sent, and what was typed stands when something is wrong."""
    _, address = desk
    context = let_in(browser, desk, java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{address}/fieldlogs")
    page.set_input_files("#file", {"name": "half.zip", "mimeType": "application/zip", "buffer": b"PK\x03\x04 no more"})
    page.click("form[enctype] button")
    assert "half.zip: is no whole zip" in page.inner_text("[role=alert]")
    page.click("p.over a")
    page.set_input_files("#file", {"name": "stick.zip", "mimeType": "application/zip", "buffer": task_data()})
    page.click("form[enctype] button")
    assert "tells no time zone" in page.inner_text("#terms")
    page.fill("#zone", "nowhere")
    page.fill("#price", "600 /t")
    page.click("#terms button[type=submit]")
    assert "is no time zone" in page.inner_text("#zone-error")
    assert page.input_value("#price") == "600 /t"
    page.fill("#zone", "UTC")
    page.select_option("#combine", label="Old Bess")
    page.select_option("#crop", "canola")
    page.click("#terms button[type=submit]")
    assert "mean of the field" in page.inner_text("#answer")
    assert page.locator("#bars button").inner_text() == "Note 24 beside the checks"
    page.set_input_files("#zones", {"name": "z.geojson", "mimeType": "application/json", "buffer": two_areas()})
    page.click("#zones-form button >> nth=0")
    assert "clay" in page.inner_text("#by-zone")
    assert page.input_value("#price") == "600 /t"
    page.click("#zones-form button >> nth=1")
    assert page.locator("#by-zone").count() == 0
    context.close()


def test_a_points_figures_stand_beside_it(browser: Browser, desk: tuple[Visitor, str]) -> None:
    """By pointer, by key and by finger; Escape puts them away, and the point leads to its check."""
    visitor, address = desk
    context = let_in(browser, desk, viewport={"width": 1280, "height": 900})
    page = context.new_page()
    page.goto(f"{address}/combine/{visitor.book.ids['Old Bess']}?hour_cost=450+/h&now=6+km/h")
    spots, told = page.locator(".wide a.spot"), page.locator("p.told")
    assert spots.count() >= 8
    first = spots.nth(3)
    said = first.get_attribute("aria-label")
    assert told.is_hidden()
    first.scroll_into_view_if_needed()
    at = first.locator(".dot").bounding_box()
    assert at is not None
    page.mouse.move(at["x"] + at["width"] / 2, at["y"] + at["height"] / 2)
    told.wait_for()  # it is placed before it shows
    assert told.inner_text() == said
    box = told.bounding_box()
    assert box is not None
    assert box["y"] + box["height"] <= at["y"] + 1 or box["y"] >= at["y"] + at["height"] - 1, (
        "it does not hide its point"
    )
    page.keyboard.press("Escape")
    assert told.is_hidden()
    spots.nth(4).focus()
    told.wait_for()
    assert told.inner_text() == spots.nth(4).get_attribute("aria-label")
    page.evaluate("() => new Promise((done) => { addEventListener('scroll', done); scrollBy(0, -60); })")
    assert told.is_visible(), "it goes along with its point"
    page.keyboard.press("Enter")
    page.wait_for_url("**/check/*")
    context.close()

    phone = let_in(browser, desk, viewport={"width": 360, "height": 740}, has_touch=True)
    page = phone.new_page()
    page.goto(f"{address}/trial/{visitor.book.ids['trial']}")
    spot, told = page.locator(".narrow a.spot").first, page.locator("p.told")
    spot.locator(".reach").tap()
    told.wait_for()
    assert told.inner_text() == spot.get_attribute("aria-label")
    assert "/trial/" in page.url, "the first tap shows, the second goes"
    box = told.bounding_box()
    assert box is not None
    assert box["x"] >= 0
    assert box["x"] + box["width"] <= 360
    spot.locator(".reach").tap()
    page.wait_for_url("**/check/*")
    phone.close()


def test_the_page_is_made_for_paper_too(browser: Browser, desk: tuple[Visitor, str]) -> None:
    """In print: ink on white whatever the screen shows, no forms, no menu."""
    visitor, address = desk
    context = let_in(browser, desk, color_scheme="dark")
    page = context.new_page()
    page.goto(f"{address}/check/{visitor.book.ids['checks']}")
    page.emulate_media(media="print")
    assert page.evaluate("() => getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    assert page.evaluate("() => getComputedStyle(document.body).color") == "rgb(0, 0, 0)"
    assert not page.is_visible("nav")
    assert page.is_visible(".headline")
    assert len(page.pdf()) > 5_000
    context.close()


def weight_of(page: Page, address: str, path: str) -> int:
    """Bytes over the wire for one page, its styles and scripts included."""
    got: list[int] = []
    page.on("response", lambda one: got.append(int(one.headers.get("content-length", 0)) or len(one.body())))
    page.goto(address + path, wait_until="networkidle")
    return sum(got)


def test_a_page_is_light(browser: Browser, desk: tuple[Visitor, str]) -> None:
    """Below 120 kB with everything: what a slow line at a farm takes in a second or two."""
    visitor, address = desk
    context = let_in(browser, desk)
    page = context.new_page()
    assert weight_of(page, address, f"/combine/{visitor.book.ids['Old Bess']}?hour_cost=450+/h") < 120_000
    context.close()


def test_axe_finds_nothing(browser: Browser, desk: tuple[Visitor, str]) -> None:
    """A second auditor, of another hand, with its rules for WCAG 2.2 A and AA and its best practices."""
    visitor, address = desk
    context = let_in(browser, desk, color_scheme="dark", bypass_csp=True, viewport={"width": 820, "height": 1180})
    page = context.new_page()
    faults = []
    for path in paths(visitor):
        if not any(one in path for one in AXED):
            continue
        page.goto(address + path)
        page.evaluate("() => document.querySelectorAll('details').forEach((one) => { one.open = true; })")
        page.evaluate(AXE)
        found = page.evaluate("(tags) => axe.run(document, { runOnly: { type: 'tag', values: tags } })", AXE_TAGS)
        faults += [(path, one["id"], [node["target"] for node in one["nodes"]][:3]) for one in found["violations"]]
    context.close()
    assert faults == []

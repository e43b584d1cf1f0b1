"""The phone's advice: Python's figures and cautions in Node, and in a browser big buttons that work without signal."""

from __future__ import annotations

import os
import runpy
import shutil
import subprocess
from pathlib import Path

import pytest
from phone_world import PHONE, Handset, a_farm
from playwright.sync_api import Browser, expect

from chaffinch.book.advice.kept import answers_kept
from chaffinch.book.for_phones import setup

TESTS = Path(__file__).parents[1]
LEAST_TARGET_PX = 64.0


def test_the_twin_and_its_screen_in_node() -> None:
    node = shutil.which("node")
    if node is None:
        if os.environ.get("CI") == "true":
            pytest.fail("no node here: the phone's modules cannot be run")
        pytest.skip("no node here")
    files = [str(TESTS / "js" / f"{name}.test.js") for name in ("advice", "advice_screen")]
    done = subprocess.run([node, "--test", *files], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout[-4000:] + done.stderr[-2000:]
    assert "# fail 0" in done.stdout.replace("ℹ", "#")


def test_the_vectors_are_what_python_would_write() -> None:
    made = runpy.run_path(str(TESTS / "vectors" / "make_advice.py"))
    assert (TESTS / "vectors" / "advice.json").read_text("utf-8") == made["made"](), "run tests/vectors/make_advice.py"


def test_a_stop_without_signal_asks_what_may_be_wrong(browser: Browser, tmp_path: Path) -> None:
    """From the stop to a step worth trying with no network; the answers go to the book with the stop."""
    with a_farm(tmp_path) as farm:
        desk = farm.desk()
        assert setup(desk)["advice"]["causes"]
        desk.store.close()
        phone = Handset.new(farm, browser).ready()
        phone.wait_until("(async () => (await caches.keys()).some((key) => key.startsWith('chaffinch-app-')))()")
        phone.tap("New check")
        phone.tap("In the discharge")
        phone.tap("Red tray")
        phone.catch("95")
        phone.context.set_offline(True)
        phone.page.reload()
        phone.tap("What may be wrong")
        phone.see("Before anyone goes near the machine")
        phone.see("Where is most of the lost seed?")
        sizes = phone.page.locator(".asked button").evaluate_all(
            "(all) => all.map((one) => [one.getBoundingClientRect().height, one.getBoundingClientRect().width])"
        )
        assert len(sizes) == 8
        assert all(height >= LEAST_TARGET_PX and width >= LEAST_TARGET_PX for height, width in sizes)
        phone.tap("behind, loose in the chaff")
        expect(phone.page.get_by_text("Where is most of the lost seed?")).to_have_count(0)
        # Who works by keys goes on at the next question, and by the next key to its first answer.
        focused = "document.activeElement.closest('.asked')?.querySelector('.lead') === document.activeElement"
        assert phone.page.evaluate(focused)
        phone.page.keyboard.press("Tab")
        assert phone.page.evaluate("document.activeElement === document.querySelector('.asked button')")
        phone.tap("I cannot say")
        phone.tap("Keep these answers")
        phone.see("The answers go to the book with this stop.")
        note = next(one for one in phone.records() if one["kind"] == "note")
        phone.page.get_by_role("button", name="Close").click()
        phone.tap("Keep these answers")
        phone.see("Nothing was written twice.")
        assert len([one for one in phone.records() if one["kind"] == "note"]) == 1
        phone.page.get_by_role("button", name="Close").click()
        phone.tap("Leak walk")
        phone.see("Clean-grain elevator")
        told = phone.page.locator(".pick > span").evaluate_all(
            "(all) => all.map((one) => one.getBoundingClientRect()).map((box) => [box.left, box.right, box.width])"
        )
        assert len(told) >= 8
        wide = PHONE["width"]
        assert all(left >= 0 and right <= wide and width >= 180 for left, right, width in told), told
        phone.page.go_back()
        phone.page.go_back()
        phone.context.set_offline(False)
        phone.send_all()
        desk = farm.desk()
        assert answers_kept(desk, {note["body"]["of"]}) == {"found": "chaff"}
        desk.store.close()

"""An older copy of the book is put back, or one record trips the server: what a phone holds still comes into it."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

from phone_world import Answer, Farm, Handset, as_json, nothing_lost
from playwright.sync_api import Browser


def in_book_again(farm: Farm, phone: Handset) -> None:
    """Send now, until the book holds all that was confirmed."""
    phone.page.goto(f"{phone.address}#/tray")
    for _ in range(100):
        phone.tap("Send now")
        phone.page.wait_for_timeout(150)
        if farm.in_book() == farm.confirmed:
            return
    raise AssertionError(f"{len(farm.in_book())} of {len(farm.confirmed)} came into the book")


def test_what_an_older_copy_of_the_book_lacks_goes_again(farm: Farm, browser: Browser, tmp_path: Path) -> None:
    """Three records were taken, two of them and a picture after the copy that is put back: all come again, once."""
    phone = Handset.new(farm, browser).ready()
    phone.check("21.5")
    phone.send_all()
    farm.stop()
    copy, book = tmp_path / "copy.chaffinch", Path(farm.address)
    shutil.copy(book, copy)
    farm.start()
    picture = tmp_path / "stubble.png"
    phone.page.screenshot(path=picture)
    phone.page.goto(f"{phone.address}#/")
    phone.tap("New check")
    phone.catch("18,0")
    with phone.page.expect_file_chooser() as chooser:
        phone.tap("Photo")
    chooser.value.set_files(picture)
    phone.see("1 kept")
    phone.save()
    phone.send_all()
    assert farm.in_book() == farm.confirmed
    kept = farm.settings.photos
    for _ in range(100):
        if phone.lines()[-1]["what"] == "photo sent":
            break
        phone.page.wait_for_timeout(100)
    phone.page.goto(f"{phone.address}#/tray")
    phone.tap("Send now")
    phone.see("3 in the book")
    before = [one["what"] for one in phone.lines()]
    assert sorted(before) == ["accepted"] * 3 + ["photo sent"]

    farm.stop()
    for end in ("", "-wal", "-shm"):
        book.with_name(book.name + end).unlink(missing_ok=True)
    shutil.copy(copy, book)
    shutil.rmtree(kept)
    farm.start()
    assert len(farm.in_book()) == 1
    in_book_again(farm, phone)
    nothing_lost(farm, phone)
    for _ in range(100):
        if phone.lines()[-1]["what"] == "photo sent":  # the picture is there a moment before the phone knows
            break
        phone.page.wait_for_timeout(100)
    after = [one["what"] for one in phone.lines()][len(before) :]
    assert sorted(after) == ["accepted"] * 2 + ["gone"] * 2 + ["photo gone", "photo sent"]
    # Opened anew the phone asks once more, and everything is there.
    phone.page.reload()
    phone.see("3 in the book")
    phone.tap("Send now")
    phone.page.wait_for_timeout(300)
    assert len(phone.lines()) == len(before) + len(after)
    assert phone.errors == []


def test_a_record_the_server_stumbles_over_holds_up_no_other(farm: Farm, browser: Browser) -> None:
    """A fault of the server's own over one record, each time: the others go, that one waits and is not called refused.

    An older server does not know the question what it misses; nothing else is different for it.
    """
    phone = Handset.new(farm, browser).ready()
    phone.context.set_offline(True)
    ids = [phone.check(amount) for amount in ("10.1", "10.2", "10.3")]

    def hook(_: str, path: str, body: bytes, pass_on: Any) -> Answer | None:
        if path == "/api/v1/batch" and ids[0] in body.decode():
            problem = {"status": 500, "field": "server", "value": None, "problem": "made a mistake", "mend": "wait"}
            return as_json(problem, 500)
        if path == "/api/v1/missing":
            return as_json({"status": 404, "field": "request", "problem": "not found", "mend": "look"}, 404)
        passed: Answer = pass_on(body)
        return passed

    farm.wire.hook = hook
    phone.context.set_offline(False)
    phone.page.goto(f"{phone.address}#/tray")
    phone.tap("Send now")
    phone.see("2 in the book")
    phone.see("1 waits on this phone")
    assert {one["what"] for one in phone.lines()} == {"accepted"}
    nothing_lost(farm, phone)
    farm.wire.hook = None
    in_book_again(farm, phone)
    nothing_lost(farm, phone)


def test_a_picture_that_is_not_taken_keeps_no_other_here(farm: Farm, browser: Browser, tmp_path: Path) -> None:
    phone = Handset.new(farm, browser).ready()
    phone.tap("New check")
    phone.tap("In the discharge")
    phone.tap("Red tray")
    phone.catch("21.5")
    asked: list[str] = []
    for n in range(2):
        picture = tmp_path / f"{n}.png"
        phone.page.screenshot(path=picture, clip={"x": 0, "y": 0, "width": 100 + n, "height": 100})
        with phone.page.expect_file_chooser() as chooser:
            phone.tap("Photo")
        chooser.value.set_files(picture)
        phone.see(f"{n + 1} kept")

    def hook(method: str, path: str, body: bytes, pass_on: Any) -> Answer | None:
        if method == "PUT":
            asked.append(path)
            if len(set(asked)) == 1:
                return as_json({"status": 422, "field": "photo", "problem": "is no picture", "mend": "no"}, 422)
        passed: Answer = pass_on(body)
        return passed

    farm.wire.hook = hook
    phone.save()
    phone.send_all()
    for _ in range(100):
        if len(set(asked)) == 2:
            break
        phone.page.wait_for_timeout(100)
    kept = [json.dumps(one) for one in phone.lines() if one["what"] == "photo sent"]
    assert len(kept) <= 1
    assert len(set(asked)) == 2

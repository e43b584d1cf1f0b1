"""What the tests of paper share: a filled season, the text of a PDF, the white of a page's margins."""

from __future__ import annotations

import io
import struct
import zlib
from typing import Any

import numpy as np
from pypdf import PdfReader

from chaffinch.book.checks.entering import replace_check
from chaffinch.book.checks.held import find_check
from chaffinch.book.things import find_thing
from chaffinch.book.trials.trial import start_trial
from season_book import SeasonBook

DAY = "2026-09-30"


def fill(book: SeasonBook) -> None:
    """Checks of two combines in two fields, one with header frames, a trial of four stops, one correction."""
    book.add("pan", "tray", area="0.4 m2")
    for hour, speed in enumerate((5.0, 6.0, 7.0)):
        machine = 30.0 * (speed / 6.0) ** 1.5
        header = 25.0 if hour == 0 else None
        book.ids[f"check {hour}"] = book.check(
            "Old Bess", 10, 8 + hour, speed_kmh=speed, machine_kg_ha=machine, header_kg_ha=header
        )
        book.check("Young Bess", 10, 8 + hour, speed_kmh=speed, machine_kg_ha=0.9 * machine, operator="Tomas")
    book.check("Young Bess", 12, 9, field="Far Common", operator="Tomas")
    desk = book.desk
    a, b = ([{"name": "fan speed", "value": value, "unit": "rpm"}] for value in (900.0, 850.0))
    field = find_thing(desk, "field", "Long Hollow")
    trial = start_trial(desk, find_thing(desk, "combine", "Old Bess"), a, b, field=field, note="why")
    book.ids["trial"] = trial.id
    for place, side in enumerate("ABBA"):
        book.check(
            "Old Bess", 14, 10 + place, machine_kg_ha=40.0 if side == "A" else 25.0,
            where={"trial": trial.id, "side": side}, settings=a if side == "A" else b,
        )  # fmt: skip
    old = find_check(desk, book.ids["check 2"])
    where = {key: old.body[key] for key in ("season", "field", "combine")}
    replace_check(
        desk, [old.id], old.check, reason="Tomas drove, not Ann", where={**where, "operator": book.ids["Tomas"]}
    )


def reader(pdf: bytes) -> PdfReader:
    return PdfReader(io.BytesIO(pdf))


def text_of(pdf: bytes) -> str:
    """Text of all pages, every kind of blank made one."""
    return " ".join(" ".join(page.extract_text() for page in reader(pdf).pages).split())


def plain(text: str) -> str:
    """A text of ours as it stands on paper: no-break and narrow blanks made one."""
    return " ".join(text.replace("\u202f", " ").replace("\u00a0", " ").split())


def ink(png: bytes) -> Any:
    """A picture as darkness from 0 to 1, by row and column: the PNG of the typesetter, unpacked by its own rules."""
    at, data, width, height, channels = 8, b"", 0, 0, 0
    while at < len(png):
        size, kind = struct.unpack(">I4s", png[at : at + 8])
        body = png[at + 8 : at + 8 + size]
        if kind == b"IHDR":
            width, height, depth, colour = struct.unpack(">IIBB", body[:10])
            channels = {0: 1, 2: 3, 4: 2, 6: 4}[colour]
            assert depth == 8
        data += body if kind == b"IDAT" else b""
        at += 12 + size
    flat = np.frombuffer(zlib.decompress(data), dtype=np.uint8).reshape(height, 1 + width * channels)
    rows, before = np.zeros((height, width * channels), dtype=np.int64), np.zeros(width * channels, dtype=np.int64)
    for number, line in enumerate(flat):
        how, now = int(line[0]), line[1:].astype(np.int64)
        if how == 2:
            now = (now + before) % 256
        elif how in (1, 3, 4):
            for k in range(len(now)):
                left = now[k - channels] if k >= channels else 0
                corner = before[k - channels] if k >= channels else 0
                guess = left if how == 1 else (left + before[k]) // 2 if how == 3 else _paeth(left, before[k], corner)
                now[k] = (now[k] + guess) % 256
        rows[number], before = now, now
    picture = rows.reshape(height, width, channels)
    return 1.0 - picture[:, :, : min(3, channels)].mean(axis=2) / 255.0


def _paeth(left: int, up: int, corner: int) -> int:
    guess = left + up - corner
    a, b, c = abs(guess - left), abs(guess - up), abs(guess - corner)
    return left if a <= b and a <= c else up if b <= c else corner

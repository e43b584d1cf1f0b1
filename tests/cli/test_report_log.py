"""``chaffinch report log``: the field of a log on paper from the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from season_book import start

LOG = str(Path(__file__).parents[2] / "examples" / "larkhollow-log.csv")


@pytest.fixture
def book(tmp_path, monkeypatch):
    made = start(tmp_path / "season.chaffinch")
    for hour, speed in ((8, 5.0), (9, 7.0)):
        made.check("Old Bess", 10, hour, speed_kmh=speed)
    made.desk.store.close()
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_a_log_on_paper_and_kept(book, chaffinch):
    words = ("report", "log", LOG, "--combine", "Old Bess", "--crop", "canola", "--zone", "-06:00", "--speed", "5 km/h")
    priced = (*words, "--price", "$14.50 /bu")
    ran = chaffinch(*priced, "--date", "2026-09-30", "--pdf", "log.pdf", "--issue", "--short")
    assert (ran.status, ran.err) == (0, "")
    assert "wrote log.pdf  1 page" in ran.out
    assert "kept as report" in ran.out
    assert (book / "log.pdf").read_bytes().startswith(b"%PDF-1.7")
    assert "Field log report: larkhollow-log" in chaffinch("report", "list").out
    again = chaffinch(*words, "--pdf", "log.pdf")
    assert (again.status, "log.pdf" in again.err) == (2, True), "a file that is there is left alone"
    ring = [[-180, 50], [180, 50], [180, 51], [-180, 51], [-180, 50]]
    area = {"type": "Feature", "properties": {"soil": "loam"}, "geometry": {"type": "Polygon", "coordinates": [ring]}}
    (book / "soils.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": [area]}), encoding="utf-8")
    data = chaffinch(*words, "--zones", "soils.geojson", "--json").data
    assert [one["zone"] for one in data["by_zone"]] == ["loam"]
    assert chaffinch(*words, "--zone-name", "soil", "--json").status == 2
    assert data["total_kg"]["low"] < data["total_kg"]["median"] < data["total_kg"]["high"]
    assert data["other_pace"]["speed_kmh"] == 5.0


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (("--crop", "canola"), "time zone"),
        (("--crop", "canola", "--zone", "-06:00", "--best"), "price"),
        (("--crop", "canola", "--zone", "-06:00", "--combine", "Nobody"), "Nobody"),
        (("--zone", "-06:00"), "--crop"),
    ],
)
def test_what_is_missing_is_said(book, chaffinch, more, said):
    words = ("report", "log", LOG, *(() if "--combine" in more else ("--combine", "Old Bess")), *more)
    ran = chaffinch(*words, "--pdf", "log.pdf")
    assert ran.status == 2
    assert said in ran.err
    assert not (book / "log.pdf").exists()

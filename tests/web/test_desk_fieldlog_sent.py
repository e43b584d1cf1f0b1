"""What is sent to the desk: task data and a shapefile in a zip, zones; bars that are noted, a report that is kept."""

from __future__ import annotations

import gc
import gzip
import io
import json
import sys
import tempfile
import zipfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import geopandas
import polars as pl
import pytest
from desk_farm import Visitor, desk_farm

from chaffinch.book.checks.bars import bars
from chaffinch.book.reports import reports
from chaffinch.errors import InputError
from chaffinch.fieldlog.answers import Answers
from chaffinch.fieldlog.reading.door import read_log
from chaffinch.fieldlog.rows import joined
from chaffinch.fieldlog.writing.records import write_log
from chaffinch.web.field_logs import FieldLogs

sys.path.insert(0, str(Path(__file__).parents[1]))

from heard_logs import HEARD, heard_folder
from season_book import with_speeds

LOG = Path(__file__).parents[2] / "examples" / "larkhollow-log.csv"
BOX = (-104.62, 50.40, -104.58, 50.44)


@pytest.fixture(scope="module")
def visitor(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Visitor]:
    with desk_farm(tmp_path_factory.mktemp("sent"), filled=False) as found:
        with_speeds(found.book, repeats=1)
        yield found


def zipped(folder: Path, inside: str = "") -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as box:
        for one in sorted(folder.iterdir()):
            box.write(one, f"{inside}{one.name}")
            box.writestr(f"__MACOSX/{inside}._{one.name}", b"\0")
    return packed.getvalue()


def send(visitor: Visitor, name: str, data: bytes) -> str:
    sent = visitor.post("/fieldlogs", files={"file": (name, data, "application/octet-stream")})
    assert sent.to.startswith("/fieldlogs/"), sent.words
    return sent.to


def terms(visitor: Visitor, **more: str) -> dict[str, str]:
    return {"zone": "-06:00", "combine": visitor.book.ids["Old Bess"], "crop": "canola", **more}


def middle() -> tuple[float, float]:
    table = pl.read_csv(LOG)
    return float(table["Longitude"].median()), float(table["Latitude"].median())


def areas(west: float, east: float, *, column: str = "zone", **more: str) -> bytes:
    """Two areas side by side around a longitude, as GeoJSON."""
    _, lat = middle()
    half = (west + east) / 2
    found = []
    for name, left, right in (("clay", west, half), ("sand <b>", half, east)):
        ring = [[left, lat - 1], [right, lat - 1], [right, lat + 1], [left, lat + 1], [left, lat - 1]]
        shape = {"type": "Polygon", "coordinates": [ring]}
        found.append({"type": "Feature", "properties": {column: name, **more}, "geometry": shape})
    return json.dumps({"type": "FeatureCollection", "features": found}).encode()


def test_task_data_in_a_zip_and_its_sensors_noted_by_a_button(visitor: Visitor, tmp_path: Path) -> None:
    book = visitor.book
    log = send(visitor, "TASKDATA.zip", zipped(heard_folder(tmp_path / "t", offset_h=-6.0), "stick/TASKDATA/"))
    page = visitor.get(log)
    assert "task data, 900 records" in page.words
    assert "zone: the machine's clock tells no time zone" in page.words
    assert visitor.post(log, terms(visitor)).to == f"{log}#answer"
    page = visitor.get(log)
    assert page.status == 200, page.words
    assert "6 of 6 checks taken while the log ran got their load from it." in page.words
    assert "left sieve (g/s)" in page.words
    assert "Note 24 beside the checks" in page.words
    assert bars(book.desk) == [], "looking notes nothing"

    looker = visitor.as_role("reader")
    assert "left sieve (g/s)" in looker.get(log).words
    assert "Note 24" not in looker.get(log).words
    assert looker.post(f"{log}/bars").status == 403
    assert visitor.post(f"{log}/bars", csrf=False).status == 403
    for _ in range(2):
        assert visitor.as_role("crew").post(f"{log}/bars").to == f"{log}#bars"
    assert {one.sensor for one in bars(book.desk)} == set(HEARD)
    assert len(bars(book.desk)) == 24
    page = visitor.get(log)
    assert "All of them are in the book." in page.words
    assert f"{log}/bars" not in page.text

    combine = visitor.get(f"/combine/{book.ids['Old Bess']}", sensor="loss_left_sieve_g_s").words
    assert "These are readings of left sieve (g/s) from field logs" in combine
    assert "Other sensors, each with a key of its own: the loss sensor (kg/ha), right sieve (g/s)" in combine
    check = visitor.get(f"/check/{bars(book.desk)[0].check}").words
    assert "left sieve (g/s) of a field log: " in check


def test_a_shapefile_in_a_zip_asks_for_units_and_zone(visitor: Visitor, tmp_path: Path) -> None:
    table = pl.read_csv(LOG)
    points = geopandas.points_from_xy(table["Longitude"], table["Latitude"], crs="EPSG:4326")
    told = {"Time": "Time", "Speed (mph)": "Speed", "Swath width (ft)": "Swath_ft", "Flow": "Flow", "Yield": "Yield"}
    columns = {new: table[old].to_list() for old, new in told.items()}
    folder = tmp_path / "shape"
    folder.mkdir()
    frame = geopandas.GeoDataFrame(columns, geometry=points).to_crs("EPSG:32613")
    frame.to_file(folder / "field.shp", driver="ESRI Shapefile")
    log = send(visitor, "field.zip", zipped(folder, "a folder/"))
    page = visitor.get(log)
    assert page.status == 200, page.words
    assert "shapefile, 1 201 records" in page.words
    assert "the machine's clock tells no time zone" in page.words
    # Units stand open where names do not tell them: said in the form, and kept when something else is wrong.
    said = "Flow=flow_kg_s:lb/s\nYield=yield_t_ha:lb/ac\nSpeed=speed_kmh:mph"
    visitor.post(log, terms(visitor, answers=said, price="lots"))
    page = visitor.get(log)
    assert page.status == 422
    assert page.value("answers") == said
    visitor.post(log, terms(visitor, answers=said))
    page = visitor.get(log)
    assert page.status == 200, page.words
    assert "mean of the field" in page.words
    visitor.post(log, terms(visitor, answers="Flow=flow_kg_s:furlongs"))
    assert visitor.get(log).status == 422
    assert "is no unit of flow_kg_s" in visitor.get(log).words


def test_a_bomb_and_a_zip_of_nothing_are_told_before_they_are_unpacked(visitor: Visitor) -> None:
    for name, inside, data, said in (
        ("bomb.zip", "log.csv", bytes(80 << 20), "would unpack to 80 MB or more"),
        ("nothing.zip", "photo.jpg", b"x", "holds no log in an open format"),
    ):
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as box:
            box.writestr(inside, data)
        page = visitor.get(send(visitor, name, packed.getvalue()))
        assert page.status == 422
        assert said in page.words
        assert 'role="alert"' in page.text


def test_zones_stand_in_the_table_and_on_the_map(visitor: Visitor) -> None:
    lon, _ = middle()
    log = send(visitor, "zoned.csv", LOG.read_bytes())
    visitor.post(log, terms(visitor, price="600 /t"))
    whole = visitor.get(log)
    assert "By zone" not in whole.words

    def send_zones(name: str, data: bytes, who: Visitor = visitor):
        return who.post(f"{log}/zones", files={"zones": (name, data, "application/octet-stream")})

    assert send_zones("soils.geojson", areas(lon - 1, lon + 1)).to == f"{log}#by-zone"
    page = visitor.get(log)
    assert page.status == 200, page.words
    assert "By zone" in page.words
    assert "sand <b>" in page.words, "a name is a text and never markup"
    assert page.text.count('<path class="zone"') == 2 * 2, "two zones, in two widths"
    assert "Numbers and thick edges are the zones of the table." in page.words
    assert "mean of the field" in page.words
    report = visitor.get(f"{log}/report.pdf")
    assert report.response.content.startswith(b"%PDF-1.7")

    # What cannot be read or is of another field is told beside its field, and the loss of the field stands.
    for name, data, said, field in (
        ("far.geojson", areas(10.0, 12.0), "hold no record of the log", "zones"),
        ("open.geojson", areas(lon - 1, lon + 1, column="soil", slope="x"), "Column that names the zones", "zone_name"),
        ("bad.gpkg", b"no database", "is no GeoPackage inside", "zones"),
    ):
        assert send_zones(name, data).to == f"{log}#by-zone"
        page = visitor.get(log)
        assert page.status == 422
        assert said in page.words
        assert f'id="{field}-error"' in page.text
        assert "mean of the field" in page.words
        assert page.value("price") == "600 /t"
    send_zones("open.geojson", areas(lon - 1, lon + 1, column="soil", slope="x"))
    visitor.post(log, terms(visitor, zone_name="soil"))
    assert "By zone" in visitor.get(log).words
    assert "Told apart by open.geojson." in visitor.get(log).words
    for name, data, said in (
        ("zones.exe", b"MZ", "is no kind of file we read zones from"),
        ("a.gpkg", b"", "is empty"),
    ):
        refused = send_zones(name, data)
        assert refused.status == 422
        assert said in refused.words
        assert "mean of the field" in refused.words
    assert send_zones("s.geojson", areas(lon - 1, lon + 1), visitor.as_role("reader")).status == 403
    assert visitor.post(f"{log}/zones", {"action": "forget"}).to == f"{log}#by-zone"
    page = visitor.get(log)
    assert "By zone" not in page.words
    assert page.status == 200


def test_the_owner_keeps_the_report_of_a_log(visitor: Visitor) -> None:
    log = send(visitor, "kept.csv", LOG.read_bytes())
    path = f"{log}/report.pdf"
    assert visitor.get("/reports/new", of=path).status == 422, "it was not asked what the field lost"
    visitor.post(log, terms(visitor, price="600 /t"))
    assert 'formaction="/reports/new"' in visitor.get(log).text
    assert "/reports/new" not in visitor.as_role("crew").get(log).text
    offered = visitor.get("/reports/new", of=path, paper="letter", short="yes")
    assert offered.status == 200, offered.words
    assert "Field log report: kept, 1 page." in offered.words
    hidden = {e["name"]: e["value"] for tag, e in offered.tags.elements if e.get("type") == "hidden" and "name" in e}
    before = len(reports(visitor.book.desk))
    visitor.post(log, terms(visitor, price="700 /t"))
    assert visitor.post("/reports", hidden).status == 409, "somebody asked it otherwise meanwhile"
    visitor.post(log, terms(visitor, price="600 /t"))
    for _ in range(2):
        assert visitor.post("/reports", hidden).to == "/reports"
    kept = reports(visitor.book.desk)
    assert len(kept) == before + 1
    assert (kept[-1].price, kept[-1].result["kind"]) == ("600 /t", "log")
    again = visitor.get(f"/reports/{kept[-1].id}/report.pdf")
    assert again.response.content.startswith(b"%PDF-1.7")
    assert visitor.get("/reports/new", of="/fieldlogs/" + "0" * 32 + "/report.pdf").status == 404


def test_units_that_stay_open_are_chosen_from_a_list(visitor: Visitor) -> None:
    lines = [f"2026-08-10 08:{k // 60:02d}:{k % 60:02d},5.0,30" for k in range(120)]
    log = send(visitor, "open.csv", "\n".join(["Time,Speed,Width (ft)", *lines]).encode())
    page = visitor.get(log)
    assert "Speed: no unit fits" in page.words or "Speed: more than one unit fits" in page.words
    asked = next(e for tag, e in page.tags.elements if e.get("name", "").startswith("asked-"))
    number = asked["name"].removeprefix("asked-")
    assert asked["value"] == "answers|Speed"
    assert any(tag == "select" and e.get("name") == f"ask-{number}" for tag, e in page.tags.elements)
    visitor.post(log, {"zone": "-06:00", f"asked-{number}": asked["value"], f"ask-{number}": "speed_kmh:mph"})
    page = visitor.get(log)
    assert page.value("answers") == "Speed=speed_kmh:mph"
    assert "more than one unit fits" not in page.words


def test_each_machine_of_a_log_is_summed_by_its_own_combine(visitor: Visitor, tmp_path: Path) -> None:
    own = read_log(heard_folder(tmp_path / "t"), Answers(zone="UTC")).rows
    assert own is not None
    far = {"lon_deg": own.columns["lon_deg"] + 0.05}
    second = replace(own.with_columns(far), parts=(replace(own.parts[0], machine="Young Bess"),))
    write_log(tmp_path / "both.parquet", joined([own, second]))
    log = send(visitor, "both.parquet", (tmp_path / "both.parquet").read_bytes())
    visitor.post(log, {"combine": "each", "crop": "canola"})
    page = visitor.get(log)
    assert page.status == 422
    assert "say whose it is under “Whose each machine is”" in page.words
    visitor.post(log, {"combine": "each", "crop": "canola", "machine_is": "Larkhollow 1=Old Bess"})
    page = visitor.get(log)
    assert page.status == 200, page.words
    assert "By machine" in page.words
    for name in ("Old Bess", "Young Bess"):
        assert f'<th scope="row">{name}</th>' in page.text
    assert page.value("machine_is") == "Larkhollow 1=Old Bess"
    assert visitor.get(f"{log}/report.pdf", short="yes").response.content.startswith(b"%PDF-1.7")


def test_files_that_are_no_logs_put_no_log_away(visitor: Visitor) -> None:
    log = send(visitor, "good.csv", LOG.read_bytes())
    assert visitor.get(log).status == 200
    for number in range(7):
        bad = send(visitor, "noise.csv", bytes([0, 1, number]))
        assert visitor.get(bad).status == 422
    assert visitor.get(log).status == 200
    assert "good" in visitor.get("/fieldlogs").words


def packed_text() -> bytes:
    """300 MB of text in 300 KB."""
    return gzip.compress(b"Longitude,Latitude,Flow (kg/s)\n" + b"-104.6,50.4,1\n" * 22_000_000, 9)


def records_of_nothing() -> bytes:
    """Two million records in some KB."""
    file = io.BytesIO()
    pl.select(lon_deg=pl.repeat(-104.6, 2_000_000), lat_deg=pl.repeat(50.4, 2_000_000)).write_parquet(file)
    return file.getvalue()


def test_a_small_file_that_holds_a_huge_one_is_not_kept() -> None:
    packed = packed_text()
    zipped = io.BytesIO()
    with zipfile.ZipFile(zipped, "w") as box:
        box.writestr("log.csv.gz", packed)
    logs = FieldLogs()
    huge = {"log.csv.gz": packed, "log.csv": packed, "log.zip": zipped.getvalue(), "log.parquet": records_of_nothing()}
    for name, data in huge.items():
        assert len(data) < 1_000_000
        with pytest.raises(InputError, match="holds more than is worked on here once it is unpacked"):
            logs.keep(io.BytesIO(data), name)
    assert not logs.every()
    # A damaged one is kept, and told on its page.
    kept = logs.keep(io.BytesIO(packed[:1000]), "log.csv.gz")
    assert kept in logs.every()
    with pytest.raises(InputError, match="holds more than is worked on here"):
        logs.keep_zones(kept, io.BytesIO(huge["log.zip"]), "zones.zip")
    assert kept.zones is None


def test_logs_of_a_server_that_was_killed_go_with_the_next(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    killed = tmp_path / "chaffinch-logs-killed"
    killed.mkdir()
    for name in ("in-use", "log.csv"):
        (killed / name).touch()
    at_work, next_one = FieldLogs(), FieldLogs()
    first = at_work.keep(io.BytesIO(b"a,b\n1,2\n"), "log.csv")
    second = next_one.keep(io.BytesIO(b"a,b\n1,2\n"), "log.csv")
    assert not killed.exists()
    assert first.path.exists()
    assert second.path.exists()
    del at_work
    gc.collect()
    assert (first.path.exists(), second.path.exists()) == (False, True)

"""A field log at the desk: sent, asked about, cleaned, summed, drawn and printed; by whom, and what is refused."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from desk_farm import Visitor, desk_farm

from chaffinch.web.field_logs import FieldLogs, name_of
from chaffinch.web.settings import most_bytes

LOG = Path(__file__).parents[2] / "examples" / "larkhollow-log.csv"


@pytest.fixture(scope="module")
def visitor(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Visitor]:
    with desk_farm(tmp_path_factory.mktemp("logs"), filled=False) as found:
        for hour, speed in ((8, 5.0), (9, 6.0), (10, 7.0)):
            found.book.check("Old Bess", 10, hour, speed_kmh=speed, machine_kg_ha=5.0 * speed, header_kg_ha=20.0)
        yield found


@pytest.fixture(scope="module")
def log(visitor: Visitor) -> str:
    """The example's log, sent by the crew; its page."""
    sent = visitor.as_role("crew").post("/fieldlogs", files={"file": (LOG.name, LOG.read_bytes(), "text/csv")})
    assert re.fullmatch(r"/fieldlogs/[0-9a-f]{32}", sent.to), sent.words
    return sent.to


def terms(visitor: Visitor, **more: str) -> dict[str, str]:
    return {"zone": "-06:00", "combine": visitor.book.ids["Old Bess"], "crop": "canola", **more}


def test_what_is_open_is_asked_and_never_guessed(visitor: Visitor, log: str) -> None:
    page = visitor.get(log)
    assert page.status == 200
    assert "zone: the machine's clock tells no time zone" in page.words
    assert 'name="zone"' in page.text
    assert "of the records count" not in page.words, "nothing is cleaned before the answer"
    asked = visitor.post(log, {"zone": "-06:00"})
    assert asked.to == log
    cleaned = visitor.get(log).words
    assert "77 % of the records count; none was taken away." in cleaned
    assert "cut before" in cleaned
    assert "Choose a combine and a crop" in cleaned


def test_the_whole_field_with_its_map_and_another_pace(visitor: Visitor, log: str) -> None:
    sent = visitor.post(log, terms(visitor, price="600 /t", hour_cost="400 /h", speed="5 km/h"))
    assert sent.to == f"{log}#answer"
    page = visitor.get(log)
    assert page.status == 200, page.words
    assert re.search(r"header and machine loss, mean of the field, likely \d", page.words)
    assert re.search(r"In all 0\.\d+ t on 2\.99 ha, likely 0\.\d+ to 0\.\d+\.", page.words)
    assert "That is $" in page.words
    assert "as it was cut, 5.8 km/h on average" in page.words
    assert "Both together: " in page.words
    assert "It rests on 3 checks" in page.words
    squares = re.findall(r'<path class="square tile-([123])" d="([^"]*)"', page.text)
    assert [level for level, _ in squares] == ["1", "2", "3"] * 2, "in two widths"
    for _, path in squares:
        assert re.fullmatch(r"(M\d+\.\d \d+\.\dh\d+\.\dv\d+\.\dh-\d+\.\dz)*", path)
    assert '<tbody> <tr><th scope="row">lowest</th>' in " ".join(page.text.split())
    assert "style=" not in page.text


def test_nobodys_terms_change_under_his_hands(visitor: Visitor, log: str) -> None:
    """Two people look at one log, each on terms of his own; who has asked nothing sees what was asked last."""
    first, second = visitor.as_role("crew"), visitor.as_role("crew")
    first.post(log, terms(visitor, price="600 /t"))
    assert second.get(log).value("price") == "600 /t"
    second.post(log, terms(visitor, price="300 /t"))
    assert (first.get(log).value("price"), second.get(log).value("price")) == ("600 /t", "300 /t")
    assert visitor.as_role("owner").get(log).value("price") == "300 /t"
    assert first.get(f"{log}/report.pdf").response.content != second.get(f"{log}/report.pdf").response.content


def test_who_may_do_what(visitor: Visitor, log: str) -> None:
    visitor.post(log, terms(visitor, price="600 /t"))
    looker = visitor.as_role("reader")
    page = looker.get(log)
    assert page.status == 200
    assert "mean of the field" in page.words, "a reader sees what others asked"
    assert f'action="{log}" class="terms"' not in page.text
    assert looker.get("/fieldlogs").words.count(LOG.stem) == 1
    assert looker.post(log, terms(visitor)).status == 403
    assert looker.post("/fieldlogs", files={"file": (LOG.name, b"a,b\n1,2\n", "text/csv")}).status == 403
    assert visitor.post(log, terms(visitor), csrf=False).status == 403
    found = looker.get(f"{log}/report.pdf", paper="letter", short="yes")
    assert found.response.headers["content-type"] == "application/pdf"
    assert found.response.content.startswith(b"%PDF-1.7")


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("log.exe", b"MZ", "is no kind of field log we read"),
        ("log.csv", b"", "is empty"),
        ("../../etc/passwd.csv", b"", "is empty"),
    ],
)
def test_what_is_no_log_is_refused(visitor: Visitor, name: str, data: bytes, said: str) -> None:
    found = visitor.post("/fieldlogs", files={"file": (name, data, "text/csv")})
    assert found.status == 422
    assert said in found.words


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("noise.csv", b"\x00\x01\x02"),
        ("half.zip", b"PK\x03\x04 and no more"),
        ("empty.geojson", b"{}"),
        ("table.parquet", b"PAR1PAR1"),
    ],
)
def test_a_broken_log_says_so_and_its_page_stands(visitor: Visitor, name: str, data: bytes) -> None:
    sent = visitor.post("/fieldlogs", files={"file": (name, data, "application/octet-stream")})
    page = visitor.get(sent.to)
    assert page.status == 422
    assert 'role="alert"' in page.text


def test_wrong_terms_stand_beside_their_field(visitor: Visitor, log: str) -> None:
    visitor.post(log, terms(visitor, price="lots", speed="5 km/h"))
    page = visitor.get(log)
    assert page.status == 422
    assert 'id="price-error"' in page.text
    assert page.value("speed") == "5 km/h"
    visitor.post(log, terms(visitor, best="yes", price="600 /t"))
    assert 'id="hour_cost-error"' in visitor.get(log).text
    assert visitor.get("/fieldlogs/" + "0" * 32).status == 404


def test_names_and_limits(tmp_path: Path) -> None:
    assert name_of("C:\\logs\\a b.CSV") == "a b.CSV"
    assert name_of("../../x/<b>&.csv") == "_b_.csv"
    assert name_of("...") == "log"
    assert len(name_of("x" * 300 + ".csv")) == 84
    assert most_bytes("/fieldlogs", with_key=True) > 32 * 1024 * 1024
    assert most_bytes("/fieldlogs", with_key=False) < 100_000
    kept = FieldLogs()
    paths = []
    for number in range(8):
        source = tmp_path / "log.csv"
        source.write_text(f"a\n{number}\n", encoding="utf-8")
        with source.open("rb") as file:
            paths.append(kept.keep(file, "log.csv").path)
    assert [path.exists() for path in paths] == [False] * 2 + [True] * 6

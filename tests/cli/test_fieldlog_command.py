"""``chaffinch fieldlog`` as typed: pages, data, exit statuses."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from chaffinch.cli.main import run

EXAMPLE = str(Path(__file__).resolve().parents[2] / "examples" / "larkhollow-log.csv")


def test_looking_prints_the_log_and_its_question(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["fieldlog", "inspect", EXAMPLE]) == 0
    said = capsys.readouterr().out
    assert "1,201 records in 1 part" in said
    assert "Flow: flow_kg_s:lb/s" in said
    assert "? zone: the machine's clock tells no time zone" in said


def test_a_column_left_aside_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lines = Path(EXAMPLE).read_text(encoding="utf-8").splitlines()
    (tmp_path / "log.csv").write_text("\n".join([f"{lines[0]},Ball colour", *(f"{line},7" for line in lines[1:])]))
    assert run(["fieldlog", "inspect", str(tmp_path / "log.csv")]) == 0
    assert "Left aside: Ball colour. A column that is told is read" in " ".join(capsys.readouterr().out.split())


def test_a_log_of_which_no_yield_was_read_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Its limit was blamed, and not the column that had been left aside."""
    lines = [",".join(line.split(",")[:5]) for line in Path(EXAMPLE).read_text(encoding="utf-8").splitlines()]
    (tmp_path / "log.csv").write_text("\n".join([f"{lines[0]},Kernels", *(f"{line},4.2" for line in lines[1:])]))
    assert run(["fieldlog", "clean", str(tmp_path / "log.csv"), "--zone", "-06:00"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "! No record tells a yield and a moisture that can be meant, so none counts." in said
    assert '! Left aside: Kernels. A column that is told is read: --column "NAME=MEANING:UNIT".' in said


def test_looking_as_data(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["fieldlog", "inspect", EXAMPLE, "--json", "--zone", "-06:00"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["questions"] == []
    assert told["parts"][0]["first"] == "2026-08-14 16:00:00"
    assert told["parts"][0]["stated_t"] is None


def test_an_import_with_an_open_question_ends_with_two(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    to = str(tmp_path / "log.gpkg")
    assert run(["fieldlog", "import", EXAMPLE, "--to", to]) == 2
    assert "--zone" in capsys.readouterr().err
    assert run(["fieldlog", "import", EXAMPLE, "--to", to, "--zone", "America/Regina"]) == 0
    assert f"Written: 1,201 records to {to}\n" in capsys.readouterr().out
    assert run(["fieldlog", "import", EXAMPLE, "--to", to, "--zone", "America/Regina"]) == 2
    assert "is there already" in capsys.readouterr().err
    assert run(["fieldlog", "import", EXAMPLE, "--to", to, "--zone", "America/Regina", "--replace", "--json"]) == 0


def test_cleaning_prints_flags_and_the_delay(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    to = str(tmp_path / "log.csv")
    assert run(["fieldlog", "clean", EXAMPLE, "--zone", "utc", "--to", to]) == 0
    said = capsys.readouterr().out
    assert "of the records count; none was taken away" in said
    assert "cut before" in said
    assert "reaches the sensor 6" in said
    assert len(Path(to).read_text(encoding="utf-8").splitlines()) == 1202


def test_cleaning_as_data_and_a_limit_that_takes_too_much(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["fieldlog", "clean", EXAMPLE, "--zone", "utc", "--json", "--set", "speed_least_kmh=30"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["too_much"][0] == "speed"
    assert told["settings"]["speed_least_kmh"] == 30.0
    assert run(["fieldlog", "clean", EXAMPLE, "--zone", "utc", "--set", "speed_least_kmh=30"]) == 0
    assert "flagged 100 % of all records" in " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["inspect", "no-such-log.csv"], "is not there"),
        (["clean", EXAMPLE, "--set", "fast"], "is not understood"),
        (["inspect", EXAMPLE, "--column", "Flow=pace"], "is nothing a column can mean"),
        (["inspekt", EXAMPLE], "did you mean 'inspect'"),
    ],
)
def test_what_is_wrong_is_one_line_and_exit_status_two(
    arguments: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["fieldlog", *arguments]) == 2
    told = capsys.readouterr().err
    assert said in told
    assert told.count("\n") == 1


def test_help_and_other_commands_load_none_of_the_libraries() -> None:
    code = (
        "import sys; from chaffinch.cli.main import run; run(['fieldlog', 'clean', '--help']); run(['crops']); "
        "sys.exit(bool({'polars', 'pyogrio', 'pyproj', 'shapely'} & set(sys.modules)))"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, check=False).returncode == 0


def test_a_folder_of_logs_is_cleaned_each_by_itself(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name in ("a", "b"):
        (tmp_path / f"{name}.csv").write_bytes(Path(EXAMPLE).read_bytes())
    (tmp_path / "c.csv").write_text("just a sentence\n", encoding="utf-8")
    arguments = ["fieldlog", "clean", str(tmp_path), "--each", "--zone", "utc"]
    assert run(arguments) == 1, "one was left out"
    said = capsys.readouterr().out
    assert "2 of 3 logs cleaned" in said
    assert "c.csv was left out" in said
    assert run([*arguments, "--json"]) == 1
    told = json.loads(capsys.readouterr().out)
    assert [one["records"] for one in told] == [1201, 1201, 0]
    (tmp_path / "c.csv").unlink()
    assert run(arguments) == 0
    assert "2 of 2 logs cleaned" in capsys.readouterr().out

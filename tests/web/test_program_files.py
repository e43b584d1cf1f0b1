"""The program's own files as they are sent: without comments, compressed, and the same program."""

from __future__ import annotations

import gzip
import re
import shutil
from hashlib import sha256
from pathlib import Path

import pytest
from starlette.applications import Starlette
from starlette.routing import Mount
from starlette.testclient import TestClient

from chaffinch.web import program_files
from chaffinch.web.program_files import ProgramFiles, app_files, without_comments

STATIC = Path(program_files.__file__).parent / "static"
OURS = [path for part in ("app", "engine", "desk") for path in sorted((STATIC / part).rglob("*.js"))]


@pytest.fixture
def client() -> TestClient:
    return TestClient(Starlette(routes=[Mount("/static", ProgramFiles(directory=STATIC))]))


@pytest.mark.parametrize(
    ("text", "sent"),
    [
        ("// @ts-check\nlet a = 1; // stays\n", "\nlet a = 1; // stays\n"),
        ("/** one line */\nlet a;", "\nlet a;"),
        ("  /**\n   * more\n   */\n  let a;", "\n\n\nlet a;"),
        ("/* a */ let a;", "/* a */ let a;"),
        ("  let a = /** @type {any} */ (b);", "let a = (b);"),
        ("/** @param {any} a */ f(a) {}", "/** @param {any} a */ f(a) {}"),
        ("/*\nlet hidden;\n*/ let a;\n*/", "\n\n\n"),
    ],
)
def test_comments_margins_and_casts_stay_here(text: str, sent: str) -> None:
    assert without_comments(text) == sent


@pytest.mark.parametrize("path", OURS, ids=lambda path: path.name)
def test_no_module_holds_what_would_be_taken_for_a_comment(path: Path) -> None:
    """Two things would be misread: code behind the end of a comment, and a text that goes on over several lines."""
    text = path.read_text("utf-8")
    sent = without_comments(text)
    assert re.search(r"^[ \t]*\*/[ \t]*\S", text, re.MULTILINE) is None
    assert [line for line in sent.split("\n") if line.count("`") % 2 == 1] == []
    assert sent.count("\n") == text.count("\n")


def test_compressed_where_it_is_understood_and_not_sent_twice(client: TestClient) -> None:
    plain = client.get("/static/app/outbox.js", headers={"Accept-Encoding": "identity"})
    assert plain.status_code == 200
    assert "content-encoding" not in plain.headers
    assert "@ts-check" not in plain.text
    assert "export function standings" in plain.text
    assert plain.headers["content-type"].startswith(("text/javascript", "application/javascript"))
    packed = client.get("/static/app/outbox.js", headers={"Accept-Encoding": "gzip"})
    assert packed.headers["content-encoding"] == "gzip"
    assert packed.text == plain.text
    again = client.get("/static/app/outbox.js", headers={"If-None-Match": packed.headers["etag"]})
    assert again.status_code == 304
    assert again.content == b""
    assert packed.headers["etag"] != plain.headers["etag"]


def test_vendored_files_and_pictures_are_sent_as_they_are(client: TestClient) -> None:
    vendored = client.get("/static/vendor/qrcode-generator.mjs")
    assert vendored.content == (STATIC / "vendor" / "qrcode-generator.mjs").read_bytes()
    picture = client.get("/static/app/icon-192.png")
    assert "content-encoding" not in picture.headers
    assert picture.content == (STATIC / "app" / "icon-192.png").read_bytes()


def test_a_file_that_changes_is_sent_anew(tmp_path: Path) -> None:
    (tmp_path / "app").mkdir()
    file = tmp_path / "app" / "one.js"
    client = TestClient(Starlette(routes=[Mount("/static", ProgramFiles(directory=tmp_path))]))
    for text in ("export const a = 1;\n", "export const a = 22;\n"):
        file.write_text(text, "utf-8")
        assert client.get("/static/app/one.js").text == text


@pytest.mark.parametrize(
    "path", ["/static/app/../../app.py", "/static/%2e%2e/app.py", "/static/nothing.js", "/static/app"]
)
def test_nothing_else_is_sent(client: TestClient, path: str) -> None:
    assert client.get(path).status_code == 404


def test_compressing_is_the_same_each_time() -> None:
    path = str(STATIC / "app" / "outbox.js")
    one, two = (program_files.ready.__wrapped__(path, 0, 0) for _ in range(2))
    assert one == two
    assert one.compressed is not None
    assert gzip.decompress(one.compressed) == one.plain


def test_the_list_names_each_file_with_the_hash_of_what_is_sent() -> None:
    app = Starlette(
        routes=[
            Mount("/app", ProgramFiles(directory=STATIC / "app", html=True)),
            Mount("/static", ProgramFiles(directory=STATIC)),
        ]
    )
    client = TestClient(app)
    told = client.get("/app/files.json").json()
    assert told["chaffinch"] == "app"
    assert len(told["files"]) > 60
    for path, digest in told["files"].items():
        assert sha256(client.get(path).content).hexdigest() == digest, path
    assert "/app/sw.js" not in told["files"]


def test_a_program_brought_up_to_date_under_a_running_server(tmp_path: Path) -> None:
    """Phones get the former app whole until the server starts anew."""
    static = tmp_path / "static"
    for folder in ("app", "engine", "vendor"):
        shutil.copytree(STATIC / folder, static / folder)
    client = TestClient(Starlette(routes=[Mount("/static", ProgramFiles(directory=static))]))
    before = client.get("/static/app/texts.js").content
    listed = app_files(static)
    (static / "app" / "texts.js").write_text("export const OTHER = 1;\n", encoding="utf-8")
    (static / "app" / "added.js").write_text("export const ADDED = 1;\n", encoding="utf-8")
    assert client.get("/static/app/texts.js").content == before
    assert app_files(static) == listed
    for kept in (program_files._app, program_files._by_path):
        kept.cache_clear()  # the server starts anew
    assert b"OTHER" in client.get("/static/app/texts.js").content
    assert "/static/app/added.js" in app_files(static)

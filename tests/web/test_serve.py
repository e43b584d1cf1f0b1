"""``chaffinch serve`` as a person starts it: what it prints, who can reach it, and how devices are listed."""

from __future__ import annotations

import http.client
import json
import re
import signal
import socket
import ssl
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from farm_records import begin, farm, uid

from chaffinch.cli.main import run
from chaffinch.cli.terminal.page import Page
from chaffinch.cli.terminal.qr import qr_lines
from chaffinch.web.network import listen, own_addresses

ENDS = "Ctrl-C ends it."


@pytest.fixture(autouse=True)
def book(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The farm's book, alone in the current folder."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TZ", "UTC")
    begin("farm.chaffinch", farm()).close()
    return tmp_path / "farm.chaffinch"


@contextmanager
def serving(*options: str) -> Iterator[str]:
    """Run the command until the block ends; gives all it printed."""
    arguments = [sys.executable, "-X", "utf8", "-m", "chaffinch", "serve", "--port", "0", *options]
    server = subprocess.Popen(arguments, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, encoding="utf-8")
    assert server.stdout is not None
    said = ""
    for line in server.stdout:
        said += line
        if line.strip() == ENDS:
            break
    try:
        assert ENDS in said, said
        yield said
    finally:
        server.send_signal(signal.SIGINT)
        rest = server.stdout.read()
        server.stdout.close()
        assert server.wait(30) == 0, said + rest
        assert "Traceback" not in rest


def first(pattern: str, text: str) -> str:
    found = re.search(pattern, text)
    assert found, text
    return found[1]


def ask(origin: str, path: str, *, headers: dict[str, str] | None = None, context: Any = None) -> Any:
    request = urllib.request.Request(origin + path, headers=headers or {})
    with urllib.request.urlopen(request, timeout=20, context=context) as answer:
        return json.loads(answer.read())


def test_only_this_computer_by_default() -> None:
    with serving() as said:
        origin = first(r"(http://127\.0\.0\.1:\d+)/enter", said)
        assert "code" not in said
        assert ask(origin, "/api/v1/health")["book"] == uid(999)
        port = int(origin.rpartition(":")[2])
        for address in own_addresses():
            with pytest.raises(OSError, match="refused"):
                socket.create_connection((address, port), timeout=5)
        key = first(r"key=(\S+)", said)
        plain = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
        plain.request("GET", f"/enter?key={key}")
        answered = plain.getresponse()
        cookie = str(answered.getheader("set-cookie")).partition(";")[0]
        plain.close()
        assert answered.status == 303
        assert ask(origin, "/api/v1/me", headers={"Cookie": cookie})["role"] == "owner"
        # A header of a proxy means nothing here.
        forged = {"Cookie": cookie, "X-Forwarded-Proto": "https", "X-Forwarded-For": "10.0.0.1"}
        assert ask(origin, "/api/v1/me", headers=forged)["role"] == "owner"


def test_shared_a_phone_trusts_pairs_and_sends() -> None:
    with serving("--share", "--share-port", "0", "--name", "127.0.0.1", "--role", "reader") as said:
        address = first(r"(https://\S+)/app/", said)
        context = ssl.create_default_context(cafile="farm.chaffinch-web/ca.crt")
        assert ask(address, "/api/v1/health", context=context)["book"] == uid(999)
        code = first(r"code (\d{3} \d{3})", said)
        assert "one reader phone" in said
        body = json.dumps({"code": code, "device_name": "Ann's phone"}).encode()
        request = urllib.request.Request(f"{address}/api/v1/pair", body, {"Content-Type": "application/json"})
        with urllib.request.urlopen(request, timeout=20, context=context) as answer:
            paired = json.loads(answer.read())
        assert paired["role"] == "reader"
        token = {"Authorization": f"Bearer {paired['token']}"}
        assert ask(address, "/api/v1/me", headers=token, context=context)["name"] == "Ann's phone"
        # The certificate it may take is the one whose signs were printed.
        with urllib.request.urlopen(f"{address}/chaffinch-ca.crt", timeout=20, context=context) as answer:
            taken = answer.read()
        assert taken == Path("farm.chaffinch-web/ca.crt").read_bytes()
        from chaffinch.web.tls import fingerprint

        signs = fingerprint(taken)
        assert signs[:47] in said
        assert signs[48:] in said
        with urllib.request.urlopen(f"{address}/install-ca", timeout=20, context=context) as answer:
            assert signs in answer.read().decode().replace("\u200b", "")
        # One more phone, and the list, from another terminal.
        assert run(["serve", "pair"]) == 0
        assert run(["serve", "devices", "--revoke", ask_id()]) == 0
        with pytest.raises(urllib.error.HTTPError, match="401"):
            ask(address, "/api/v1/me", headers=token, context=context)
    assert not Path("farm.chaffinch-web/address").exists()


def ask_id() -> str:
    from chaffinch.web.devices import Devices
    from chaffinch.web.settings import WebSettings

    settings = WebSettings(book="farm.chaffinch", keep=Path("farm.chaffinch-web"))
    found = Devices(settings.devices_file, settings.clock, settings.new_secret).every()
    return next(one.id for one in found if one.name == "Ann's phone")


def test_without_tls_it_says_what_that_means() -> None:
    with serving("--share", "--share-port", "0", "--name", "127.0.0.1", "--no-tls") as said:
        address = first(r"(http://\S+)/app/", said)
        assert ask(address, "/api/v1/health")["app"] == "chaffinch"
        assert "can be read on the network" in said
        assert not Path("farm.chaffinch-web/ca.crt").exists()


def test_behind_a_proxy_its_headers_are_believed() -> None:
    """From loopback, where the proxy is: the scheme makes the cookie secure, and the host is the public one."""
    with serving("--behind-proxy", "--origin", "https://farm.example") as said:
        key = first(r"https://farm\.example/enter\?key=(\S+)", said)
        port = int(first(r"port (\d+)", said))
        plain = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
        proxied = {"Host": "farm.example", "X-Forwarded-Proto": "https", "X-Forwarded-For": "203.0.113.9"}
        plain.request("GET", f"/enter?key={key}", headers=proxied)
        cookie = str(plain.getresponse().getheader("set-cookie"))
        plain.close()
        assert cookie.startswith("__Host-chaffinch-")
        assert "Secure" in cookie


@pytest.mark.parametrize(
    ("options", "field"),
    [
        (("--name", "farm.local"), "--name"),
        (("--no-tls",), "--no-tls"),
        (("--behind-proxy",), "--origin"),
        (("--origin", "https://farm.example"), "--behind-proxy"),
        (("--share", "--behind-proxy", "--origin", "https://x"), "--behind-proxy"),
        (("--behind-proxy", "--origin", "farm.example"), "origin"),
        (("--share", "--name", "a b"), "name"),
        (("--book", "missing.chaffinch"), "book"),
        (("devices",), "serve"),
        (("pair",), "serve"),
        (("link",), "serve"),
    ],
)
def test_what_cannot_be_meant_is_refused(
    options: tuple[str, ...], field: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["serve", "--port", "0", *options]) == 2
    line = capsys.readouterr().err
    assert line.startswith(f"chaffinch: {field}: ")
    assert line.count("\n") == 1


def test_an_answer_goes_out_at_once() -> None:
    """Without this every other answer on a kept connection came 40 ms late."""
    with (
        listen("127.0.0.1", 0) as waiting,
        socket.create_connection(waiting.getsockname()),
        waiting.accept()[0] as line,
    ):
        assert line.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)


def test_a_port_in_use_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        assert run(["serve", "--port", str(taken.getsockname()[1])]) == 2
    assert "port" in capsys.readouterr().err


@pytest.fixture
def with_devices() -> list[str]:
    from chaffinch.web.devices import Devices
    from chaffinch.web.settings import WebSettings

    settings = WebSettings(book="farm.chaffinch", keep=Path("farm.chaffinch-web"))
    devices = Devices(settings.devices_file, settings.clock, settings.new_secret)
    return [
        devices.pair(devices.make_code("crew").secret, name, "10.0.0.1").device.id for name in ("Ann's phone", "Lost")
    ]


def test_devices_are_listed_and_shut_out(with_devices: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["serve", "devices"]) == 0
    shown = capsys.readouterr().out
    assert shown.splitlines()[0].split() == ["id", "name", "role", "kind", "last", "here"]
    assert "Ann's phone" in shown
    assert "shut out" not in shown
    assert run(["serve", "devices", "--revoke", with_devices[1][:8]]) == 0
    assert capsys.readouterr().out == "shut out: Lost (crew)\n"
    assert run(["serve", "devices", "--json"]) == 0
    found = {one["name"]: one for one in json.loads(capsys.readouterr().out)}
    assert found["Ann's phone"]["revoked"] is None
    assert found["Lost"]["revoked"] is not None
    assert run(["serve", "devices", "--revoke", "ffff"]) == 2
    assert "is not known here" in capsys.readouterr().err


def read_qr(lines: list[str]) -> list[list[bool]]:
    """Dark modules, as an eye would see them on a dark terminal."""
    halves = {" ": (True, True), "▀": (False, True), "▄": (True, False), "█": (False, False)}
    rows: list[list[bool]] = []
    for line in lines:
        plain = re.sub(r"\x1b\[[0-9;]*m", "", line)
        upper, lower = zip(*(halves[one] for one in plain), strict=True)
        rows += [list(upper), list(lower)]
    return rows


@pytest.mark.parametrize(("fine", "colour"), [(True, False), (True, True), (False, False)])
def test_the_qr_code_is_drawn_as_it_is(*, fine: bool, colour: bool) -> None:
    """Against the library's own matrix; the pattern of the three corners is looked at by itself."""
    import segno

    text = "https://192.168.100.200:8766/app/#pair=123456"
    lines = qr_lines(text, Page(80, colour, fine))
    if fine:
        drawn = read_qr(lines)
    else:
        assert all(line.isascii() for line in lines)
        drawn = [[line[i : i + 2] == "  " for i in range(0, len(line), 2)] for line in lines]
    meant = [[bool(one) for one in row] for row in segno.make(text, error="m", micro=False).matrix_iter(border=2)]
    assert [row[: len(meant)] for row in drawn[: len(meant)]] == meant
    finder = [row[2:9] for row in drawn[2:9]]
    ring = [[max(abs(x - 3), abs(y - 3)) != 2 for x in range(7)] for y in range(7)]
    assert finder == ring
    assert max(len(re.sub(r"\x1b\[[0-9;]*m", "", line)) for line in lines) <= 80


def test_starting_any_other_command_loads_none_of_this() -> None:
    """``chaffinch check`` pays for no web framework."""
    script = (
        "import sys\nfrom chaffinch.cli.main import run\nrun(['crops'])\nrun(['book', '--help'])\n"
        "heavy = {'fastapi', 'starlette', 'uvicorn', 'cryptography', 'segno', 'jinja2', 'pydantic'}\n"
        "assert not heavy & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", script], check=True, stdout=subprocess.DEVNULL)


def test_the_command_explains_itself(capsys: pytest.CaptureFixture[str]) -> None:
    help_of: Callable[..., int] = run
    for words in (
        ["serve", "--help"],
        ["serve", "devices", "--help"],
        ["serve", "pair", "-h"],
        ["serve", "link", "-h"],
    ):
        assert help_of(words) == 0
        assert "Usage: chaffinch serve" in capsys.readouterr().out

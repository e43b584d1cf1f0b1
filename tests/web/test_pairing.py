"""How a device gets in: by a code that is used once and cannot be guessed; and how it is shut out."""

from __future__ import annotations

import sqlite3
import stat
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from served import START, Clock, Served, is_problem

from chaffinch.errors import InputError
from chaffinch.web.devices import CODE_LIFE_S, DESK_LIFE_S, WRONG_TRIES, Devices, LetIn
from chaffinch.web.problems import Refusal

API = "/api/v1"
HERE = "192.168.1.20"


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def devices(tmp_path: Path, clock: Clock) -> Devices:
    import secrets

    return Devices(tmp_path / "keep" / "devices.sqlite", clock, lambda: secrets.token_urlsafe(32))


def refused(call: Callable[[], LetIn]) -> Refusal:
    with pytest.raises(Refusal) as caught:
        call()
    return caught.value


def test_a_code_lets_one_phone_in(devices: Devices) -> None:
    code = devices.make_code("crew")
    assert len(code.secret) == 6
    assert code.secret.isdigit()
    first = devices.pair(f"{code.secret[:3]} {code.secret[3:]}", "Ann's phone", HERE)
    assert (first.device.role, first.device.kind, first.device.name) == ("crew", "phone", "Ann's phone")
    assert refused(lambda: devices.pair(code.secret, "Second", HERE)).status == 401
    assert devices.who(first.secret) == first.device
    assert [one.name for one in devices.every()] == ["Ann's phone"]


def test_a_code_asked_for_by_many_at_once_lets_one_in(devices: Devices) -> None:
    code = devices.make_code("crew").secret

    def ask(n: int) -> bool:
        try:
            devices.pair(code, f"phone {n}", f"192.168.1.{n}")
        except Refusal:
            return False
        return True

    with ThreadPoolExecutor(8) as pool:
        assert sum(pool.map(ask, range(1, 25))) == 1
    assert len(devices.every()) == 1


def test_a_code_ends_after_ten_minutes_and_with_the_next_one(devices: Devices, clock: Clock) -> None:
    code = devices.make_code("crew")
    assert code.ends == START + CODE_LIFE_S == START + 600
    clock.now += CODE_LIFE_S
    assert refused(lambda: devices.pair(code.secret, "late", HERE)).status == 401
    older, newer = devices.make_code("crew"), devices.make_code("reader")
    if older.secret != newer.secret:  # one in a million
        assert refused(lambda: devices.pair(older.secret, "old", HERE)).status == 401
    clock.now += CODE_LIFE_S - 1
    assert devices.pair(newer.secret, "in time", HERE).device.role == "reader"


def wrong(code: str, n: int = 1) -> str:
    return f"{(int(code) + n) % 1_000_000:06d}"


def test_five_wrong_tries_end_a_code_wherever_they_come_from(devices: Devices) -> None:
    code = devices.make_code("crew").secret
    for n in range(WRONG_TRIES):
        assert refused(lambda n=n: devices.pair(wrong(code, n + 1), "guess", f"10.0.{n}.1")).status == 401
    assert refused(lambda: devices.pair(code, "owner of the code", "10.1.1.1")).status == 401


def test_who_keeps_guessing_waits_longer_each_time(devices: Devices, clock: Clock) -> None:
    """Three tries are free; then 1, 2, 4 … seconds, up to an hour. Each time a new code waits, to be fair to him."""
    waits = []
    for _ in range(18):
        code = devices.make_code("crew").secret
        refusal = refused(lambda code=code: devices.pair(wrong(code), "guess", HERE))
        if refusal.status == 429:
            waits.append(refusal.wait_s)
            clock.now += refusal.wait_s
            refusal = refused(lambda code=code: devices.pair(wrong(code), "guess", HERE))
        assert refusal.status == 401
    assert waits == [min(2.0**n, 3600.0) for n in range(15)]
    # Even the right code does not help before the time is over; another address does not wait.
    code = devices.make_code("crew").secret
    assert refused(lambda: devices.pair(code, "guess", HERE)).status == 429
    assert devices.pair(code, "neighbour", "192.168.1.21").device.name == "neighbour"
    clock.now += 3600.0
    assert devices.pair(devices.make_code("crew").secret, "at last", HERE).device.name == "at last"


def test_brute_force_is_stopped(devices: Devices, clock: Clock) -> None:
    """An hour of guessing from 200 addresses, as fast as they are let, against codes that are made anew at once."""
    tried, got_in, addresses = 0, 0, [f"10.0.0.{n}" for n in range(200)]
    number, codes = 0, 0
    code = devices.make_code("crew")
    while clock.now < START + 3600.0 and codes < 40:
        for address in addresses[:20]:
            number += 1
            try:
                devices.pair(f"{number % 1_000_000:06d}", "guess", address)
                got_in += 1
            except Refusal as refusal:
                tried += refusal.status == 401
        clock.now += 30.0
        if clock.now >= code.ends:
            code, codes = devices.make_code("crew"), codes + 1
    # At most five tries count against each code: so many tries, each one in a million.
    assert got_in == 0
    assert tried < 20 * 20
    assert WRONG_TRIES * (codes + 1) / 1_000_000 < 1e-3


def test_an_ipv6_household_counts_as_one(devices: Devices) -> None:
    for n in range(3):
        code = devices.make_code("crew").secret
        assert refused(lambda code=code, n=n: devices.pair(wrong(code), "guess", f"2001:db8:1:2::{n:x}")).status == 401
    code = devices.make_code("crew").secret
    assert refused(lambda: devices.pair(code, "guess", "2001:db8:1:2:ffff::9")).status == 429
    assert devices.pair(code, "elsewhere", "2001:db8:1:3::1").device.name == "elsewhere"


def test_a_clock_set_back_keeps_nobody_out(devices: Devices, clock: Clock) -> None:
    for _ in range(4):
        code = devices.make_code("crew").secret
        with pytest.raises(Refusal):
            devices.pair(wrong(code), "guess", HERE)
        clock.now += 2.0
    clock.now -= 365 * 86_400.0
    code = devices.make_code("crew").secret
    clock.now += 5.0
    with pytest.raises(Refusal):
        devices.pair(wrong(code), "guess", HERE)
    clock.now += 60.0
    assert devices.pair(devices.make_code("crew").secret, "in", HERE)


def test_secrets_are_not_in_the_file_and_the_file_is_ours_alone(devices: Devices) -> None:
    code = devices.make_code("crew")
    found = devices.pair(code.secret, "Ann's phone", HERE)
    link = devices.make_link()
    everything = b"".join(path.read_bytes() for path in devices.file.parent.iterdir())
    for secret in (found.secret, link.secret):
        assert secret.encode() not in everything
    for path in devices.file.parent.iterdir():
        assert stat.S_IMODE(path.stat().st_mode) & 0o077 == 0, path
    assert stat.S_IMODE(devices.file.parent.stat().st_mode) == 0o700
    assert code.secret not in repr(code)
    assert found.secret not in repr(found)


def test_a_link_lets_the_owners_browser_in_once_for_thirty_days(devices: Devices, clock: Clock) -> None:
    link = devices.make_link()
    # A phone's code and a link do not open each other's door.
    assert refused(lambda: devices.pair(link.secret, "phone", "10.0.0.1")).status == 401
    found = devices.enter(devices.make_link().secret, "desk browser", HERE)
    assert (found.device.role, found.device.kind) == ("owner", "desk")
    assert refused(lambda: devices.enter(link.secret, "again", HERE)).status == 401
    clock.now += DESK_LIFE_S - 1
    assert devices.who(found.secret) is not None
    clock.now += 1
    assert devices.who(found.secret) is None
    assert devices.every() == []


def test_a_device_shut_out_is_out_at_once_and_for_good(devices: Devices, clock: Clock) -> None:
    found = devices.pair(devices.make_code("crew").secret, "lost phone", HERE)
    clock.now += 100.0
    gone = devices.revoke(found.device.id[:8])
    assert gone.revoked == START + 100
    assert devices.who(found.secret) is None
    clock.now += 100.0
    assert devices.revoke(found.device.id).revoked == START + 100
    assert [one.revoked for one in devices.every()] == [START + 100]
    for bad in ("zzzz", "", found.device.id[:3], "%", "' OR 1=1 --"):
        with pytest.raises(InputError, match="device"):
            devices.revoke(bad)


def test_two_programs_share_the_list(devices: Devices, clock: Clock) -> None:
    """The server and ``chaffinch serve devices`` are two processes on one file."""
    other = Devices(devices.file, clock, lambda: "s" * 43)
    code = other.make_code("crew")
    found = devices.pair(code.secret, "Ann's phone", HERE)
    assert other.who(found.secret) == found.device
    other.revoke(found.device.id)
    assert devices.who(found.secret) is None


def test_who_is_remembered_is_out_at_once_whoever_shut_it_out(devices: Devices, clock: Clock) -> None:
    """No read for a device that was here a moment ago; another program's writing is noticed all the same."""
    first = devices.pair(devices.make_code("crew").secret, "Ann's phone", HERE)
    assert devices.remembered(first.secret) is None  # not seen yet
    assert devices.who(first.secret) == devices.remembered(first.secret) == first.device
    other = Devices(devices.file, clock, devices.new_secret)
    other.make_code("reader")
    assert devices.remembered(first.secret) is None  # something was written: it is asked for anew
    assert devices.who(first.secret) == devices.remembered(first.secret) == first.device
    other.revoke(first.device.id)
    assert devices.remembered(first.secret) is None
    assert devices.who(first.secret) is None
    assert devices.remembered(first.secret) is None
    devices.close()


def test_a_list_put_in_the_place_of_another_is_noticed(devices: Devices, clock: Clock, tmp_path: Path) -> None:
    """A copy with the same number of writes behind it: SQLite's own count would be the same."""
    first = devices.pair(devices.make_code("crew").secret, "Ann's phone", HERE)
    devices.who(first.secret)
    assert devices.remembered(first.secret) is not None
    aside = tmp_path / "aside.sqlite"
    aside.write_bytes(devices.file.read_bytes())
    Devices(aside, clock, devices.new_secret).revoke(first.device.id)
    aside.replace(devices.file)
    assert devices.remembered(first.secret) is None
    assert devices.who(first.secret) is None
    devices.close()


def test_a_browser_is_remembered_no_longer_than_it_may_come(devices: Devices, clock: Clock) -> None:
    came = devices.enter(devices.make_link().secret, "desk browser", HERE)
    clock.now += DESK_LIFE_S - 1.0
    devices.who(came.secret)  # notes the hour
    assert devices.who(came.secret) is not None
    assert devices.remembered(came.secret) is not None
    clock.now += 2.0
    assert devices.remembered(came.secret) is None
    devices.close()


def test_a_name_can_be_shown(devices: Devices) -> None:
    for bad in ("", "  ", "x" * 61, "a\x00b", "a\u202eb"):
        code = devices.make_code("crew").secret
        with pytest.raises(InputError, match="device_name"):
            devices.pair(code, bad, HERE)
        assert devices.pair(code, "  Ann's\n phone ", HERE).device.name == "Ann's phone"  # the code was not used up


def test_more_devices_than_a_book_knows(devices: Devices, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("chaffinch.web.devices.MOST_DEVICES", 2)
    first = devices.pair(devices.make_code("crew").secret, "one", HERE)
    devices.pair(devices.make_code("crew").secret, "two", HERE)
    code = devices.make_code("crew").secret
    assert refused(lambda: devices.pair(code, "three", HERE)).status == 409
    devices.revoke(first.device.id)
    assert devices.pair(code, "three", HERE).device.name == "three"


def test_an_unknown_role_gets_no_code(devices: Devices) -> None:
    with pytest.raises(InputError, match="role"):
        devices.make_code("admin")  # type: ignore[arg-type]


def test_the_api_pairs_lists_and_revokes(served: Served) -> None:
    owner = served.phone("owner", "owner's phone")
    made = served.client.post(f"{API}/devices/codes", json={"role": "crew"}, headers=owner).json()
    assert made["ends"] == "2026-08-14T16:50:00Z"
    paired = served.client.post(f"{API}/pair", json={"code": made["code"], "device_name": "Wren's phone"}).json()
    phone = {"Authorization": f"Bearer {paired['token']}"}
    listed = served.client.get(f"{API}/devices", headers=owner).json()
    assert {(one["name"], one["role"]) for one in listed} == {("owner's phone", "owner"), ("Wren's phone", "crew")}
    assert paired["token"] not in str(listed)
    wrens = next(one["id"] for one in listed if one["name"] == "Wren's phone")
    assert served.client.get(f"{API}/me", headers=phone).status_code == 200
    gone = served.client.delete(f"{API}/devices/{wrens}", headers=owner)
    assert gone.json()["revoked"] == "2026-08-14T16:40:00Z"
    assert is_problem(served.client.get(f"{API}/me", headers=phone), 401, "device")
    nobody = served.client.delete(f"{API}/devices/00000000-0000-4000-8000-000000000000", headers=owner)
    assert is_problem(nobody, 404, "device")


def test_a_phone_may_leave(served: Served) -> None:
    phone, device = served.let_in("reader")
    assert served.client.delete(f"{API}/me", headers=phone).json()["id"] == device.id
    assert is_problem(served.client.get(f"{API}/me", headers=phone), 401, "device")


def test_wrong_codes_are_refused_by_the_api(served: Served) -> None:
    code = served.devices.make_code("crew").secret
    for n in range(1, 4):
        answered = served.client.post(f"{API}/pair", json={"code": wrong(code, n), "device_name": "guess"})
        assert is_problem(answered, 401, "code")
        assert code not in answered.text
        served.clock.now += 1.0
    waiting = served.client.post(f"{API}/pair", json={"code": wrong(code, 4), "device_name": "guess"})
    assert is_problem(waiting, 401, "code") or is_problem(waiting, 429, "code")
    for n in range(5, 8):
        last = served.client.post(f"{API}/pair", json={"code": wrong(code, n), "device_name": "guess"})
    assert is_problem(last, 429, "code")
    assert int(last.headers["Retry-After"]) >= 1


def test_a_list_that_is_damaged_is_told(served: Served) -> None:
    served.phone()
    with sqlite3.connect(served.devices.file) as file:
        file.execute("DROP TABLE device")
    file.close()
    answered = served.client.get(f"{API}/me", headers={"Authorization": "Bearer x"})
    assert is_problem(answered, 503, "book")

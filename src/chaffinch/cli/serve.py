"""``chaffinch serve``: the book for browsers and phones, on this computer or on the local network."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from chaffinch.cli.options.which_book import opened, print_json, which
from chaffinch.cli.terminal.page import Page, table
from chaffinch.errors import InputError

if TYPE_CHECKING:
    from chaffinch.web.device import Device, Role
    from chaffinch.web.devices import Devices, Waiting
    from chaffinch.web.running import Door
    from chaffinch.web.tls import Certificates

PORT: Final = 8765
ROLE: Final = click.Choice(["crew", "reader", "owner"])
ADDRESS_FILE: Final = "address"
"""In the folder beside the book: where phones find the server that shares it, for a code made later."""


@click.group("serve", invoke_without_command=True)
@click.option("--book", "address", metavar="ADDRESS", help="The book: a file, or postgresql://user@host/database.")
@click.option("--keep", metavar="FOLDER", help="Where devices, certificates and photos are kept; else beside the book.")
@click.option("--port", type=click.IntRange(0, 65535), default=PORT, show_default=True, help="For this computer.")
@click.option("--share", is_flag=True, help="Let phones on the local network in, by TLS and a pairing code.")
@click.option("--share-port", type=click.IntRange(0, 65535), metavar="NUMBER", help="For phones; else one more.")
@click.option("--name", "names", multiple=True, metavar="NAME", help="A name or address phones use; repeat for more.")
@click.option("--role", type=ROLE, default="crew", show_default=True, help="Role of the phone that pairs.")
@click.option("--no-tls", is_flag=True, help="Share without TLS: phones then cannot keep the app for the field.")
@click.option("--behind-proxy", is_flag=True, help="A reverse proxy on this computer speaks for the clients.")
@click.option("--origin", "origins", multiple=True, metavar="URL", help="Address under which a proxy shows the book.")
@click.pass_context
def command(
    ctx: click.Context,
    address: str | None,
    keep: str | None,
    port: int,
    *,
    share: bool,
    share_port: int | None,
    names: Sequence[str],
    role: str,
    no_tls: bool,
    behind_proxy: bool,
    origins: Sequence[str],
) -> None:
    """Open the book to a browser here, and with --share to phones on the local network.

    It prints a link that lets your browser in, once; Ctrl-C ends it. Phones pair with a QR code or its six digits,
    which serve one phone for ten minutes; "serve pair" makes the next one while the server runs.
    """
    if ctx.invoked_subcommand is not None:
        return
    _refuse_odd(share=share, names=names, no_tls=no_tls, behind_proxy=behind_proxy, origins=origins)
    from chaffinch.web.app import DEVICE_NAME, make_app
    from chaffinch.web.network import listen, origins_of
    from chaffinch.web.running import Door, run
    from chaffinch.web.settings import WebSettings, origin_of

    book, folder = _where(address, keep)
    known = [origin_of(one) for one in origins]
    with ExitStack() as stack:
        desk = opened(book, device=DEVICE_NAME)
        stack.callback(desk.store.close)
        here = stack.enter_context(listen("127.0.0.1", port))
        port = here.getsockname()[1]
        doors = [Door(here, behind_proxy=behind_proxy)]
        shared: _Shared | None = None
        if share:
            shared = _share(folder, names, share_port if share_port is not None else port + 1, tls=not no_tls)
            stack.enter_context(shared.door.waiting)
            doors.append(shared.door)
            known += origins_of(shared.scheme, shared.names, shared.port)
        settings = WebSettings(book=book, keep=folder, origins=tuple(known), behind_proxy=behind_proxy, ahead=True)
        app = make_app(settings, desk=desk)
        devices: Devices = app.state.devices
        front = known[0] if behind_proxy else f"http://127.0.0.1:{port}"
        link = devices.make_link()

        def told() -> None:
            page = Page.here()
            _say_desk(page, front, link)
            if behind_proxy:
                page.paragraph(f"The proxy finds the book on 127.0.0.1, port {port}.")
                page.say()
            if shared is not None:
                (folder / ADDRESS_FILE).write_text(shared.origin, encoding="utf-8")
                stack.callback((folder / ADDRESS_FILE).unlink, missing_ok=True)
                _say_pairing(page, shared.origin, devices.make_code(_role(role)))
                _say_certificate(page, shared)
            page.say("Ctrl-C ends it.")

        run(app, doors, when_ready=told)


@command.command("link")
@click.pass_context
def link_command(ctx: click.Context) -> None:
    """Print a new link for your browser, while the server runs."""
    devices = _devices(ctx)
    parent = ctx.parent
    assert parent is not None
    _say_desk(Page.here(), f"http://127.0.0.1:{parent.params['port']}", devices.make_link())


@command.command("pair")
@click.option("--role", type=ROLE, default="crew", show_default=True, help="Role of the phone that pairs.")
@click.pass_context
def pair(ctx: click.Context, role: str) -> None:
    """Make a code for one more phone, while the server runs."""
    devices = _devices(ctx)
    file = devices.file.with_name(ADDRESS_FILE)
    if not file.is_file():
        raise InputError("serve", None, "no server shares this book now", "start one: chaffinch serve --share")
    _say_pairing(Page.here(), file.read_text(encoding="utf-8"), devices.make_code(_role(role)))


@command.command("devices")
@click.option("--revoke", metavar="ID", help="Shut this device out (the beginning of its id is enough).")
@click.option("--json", "as_data", is_flag=True, help="Print as JSON.")
@click.pass_context
def devices_command(ctx: click.Context, revoke: str | None, *, as_data: bool) -> None:
    """List phones and browsers that were let in; shut one out."""
    devices = _devices(ctx)
    if revoke is not None:
        gone = devices.revoke(revoke)
        if not as_data:
            Page.here().say(f"shut out: {gone.name} ({gone.role})")
            return
    found = devices.every()
    if as_data:
        print_json([_as_data(one) for one in found])
        return
    page = Page.here()
    if not found:
        page.say("no device was let in yet; chaffinch serve --share pairs one")
        return
    rows = [["id", "name", "role", "kind", "last here", ""]]
    rows += [[d.id[:8], d.name, d.role, d.kind, _hour(d.seen), "shut out" if d.revoked else ""] for d in found]
    for line in table(rows, left=6):
        page.say(line)


@dataclass(frozen=True, slots=True)
class _Shared:
    """What phones get: a door, its address, and the certificates behind it."""

    door: Door
    scheme: str
    names: tuple[str, ...]
    port: int
    certificates: Certificates | None

    @property
    def origin(self) -> str:
        from chaffinch.web.network import origins_of

        return origins_of(self.scheme, self.names[:1], self.port)[0]


def _share(folder: Path, names: Sequence[str], port: int, *, tls: bool) -> _Shared:
    from chaffinch.web.network import listen, own_addresses, own_names
    from chaffinch.web.running import Door
    from chaffinch.web.tls import certificates

    found = tuple(dict.fromkeys([*names, *own_addresses(), *own_names()]))
    if not found:
        mend = "join one, or name the address: --name 192.168.1.7"
        raise InputError("share", None, "this computer is on no network", mend)
    made = certificates(folder, found, now=datetime.now(UTC)) if tls else None
    waiting = listen("0.0.0.0", port)
    door = Door(waiting) if made is None else Door(waiting, made.certificate, made.key)
    return _Shared(
        door, "https" if tls else "http", found if made is None else made.names, waiting.getsockname()[1], made
    )


def _refuse_odd(*, share: bool, names: Sequence[str], no_tls: bool, behind_proxy: bool, origins: Sequence[str]) -> None:
    """Options that mean nothing together are not ignored."""
    if not share and (names or no_tls):
        option = "--name" if names else "--no-tls"
        raise InputError(option, None, "says how the book is shared", "add --share")
    if behind_proxy and share:
        raise InputError("--behind-proxy", None, "does not go with --share", "let the proxy share it, or leave one out")
    if behind_proxy != bool(origins):
        missing = "--origin" if behind_proxy else "--behind-proxy"
        raise InputError(missing, None, "is missing", "give both: --behind-proxy --origin https://farm.example")


def _where(address: str | None, keep: str | None) -> tuple[str, Path]:
    from chaffinch.web.settings import folder_beside

    book = which(address)
    return book, Path(keep) if keep else folder_beside(book)


def _devices(ctx: click.Context) -> Devices:
    from chaffinch.web.devices import Devices
    from chaffinch.web.settings import WebSettings

    parent = ctx.parent
    assert parent is not None
    book, folder = _where(parent.params["address"], parent.params["keep"])
    settings = WebSettings(book=book, keep=folder)
    if not settings.devices_file.is_file():
        raise InputError("serve", str(folder), "no server kept devices there", "start one: chaffinch serve")
    return Devices(settings.devices_file, settings.clock, settings.new_secret)


def _say_desk(page: Page, front: str, link: Waiting) -> None:
    page.say(page.strong("On this computer"))
    page.say(f"  {front}/enter?key={link.secret}")
    page.paragraph(f"lets one browser in, until {_hour(link.ends)}; for another: chaffinch serve link")
    page.say()


def _say_pairing(page: Page, origin: str, code: Waiting) -> None:
    from chaffinch.cli.terminal.qr import qr_lines

    page.say(page.strong("On a phone"))
    page.say(f"  {origin}/app/")
    digits = page.strong(f"{code.secret[:3]} {code.secret[3:]}")
    page.say(f"  code {digits}, for one {code.role} phone, until {_hour(code.ends)}")
    page.say()
    for line in qr_lines(f"{origin}/app/#pair={code.secret}", page):
        page.say(line)
    page.say()


def _say_certificate(page: Page, shared: _Shared) -> None:
    if shared.certificates is None:
        page.paragraph("Without TLS: what phones send can be read on the network, and they cannot keep the app.")
        page.say()
        return
    from chaffinch.web.tls import fingerprint

    page.paragraph(f"A phone that comes for the first time opens {shared.origin}/install-ca first.")
    page.paragraph("Its browser warns once; the certificate it takes there must have these signs:")
    signs = fingerprint(shared.certificates.ca.read_bytes())
    page.say(f"  {signs[:47]}")
    page.say(f"  {signs[48:]}")
    if shared.certificates.left_out:
        page.paragraph(f"Not in the certificate: {', '.join(shared.certificates.left_out)}.")
    page.say()


def _role(role: str) -> Role:
    from chaffinch.web.device import ROLES

    return next(one for one in ROLES if one == role)


def _hour(seconds: float) -> str:
    return datetime.fromtimestamp(seconds, UTC).astimezone().strftime("%Y-%m-%d %H:%M")


def _as_data(device: Device) -> dict[str, object]:
    return {
        "id": device.id,
        "name": device.name,
        "role": device.role,
        "kind": device.kind,
        "paired": _utc(device.paired),
        "seen": _utc(device.seen),
        "revoked": None if device.revoked is None else _utc(device.revoked),
    }


def _utc(seconds: float) -> str:
    return datetime.fromtimestamp(seconds, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")

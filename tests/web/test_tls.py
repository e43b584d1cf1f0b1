"""The farm's own certificate authority: what it may vouch for, how long, and whether real TLS believes it."""

from __future__ import annotations

import socket
import ssl
import stat
import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.verification import PolicyBuilder, Store, VerificationError

from chaffinch.errors import BookError, InputError
from chaffinch.web import tls
from chaffinch.web.network import listen, origins_of, own_addresses, own_names
from chaffinch.web.tls import Certificates, certificates, fingerprint

NOW = datetime(2026, 8, 14, 16, 40, tzinfo=UTC)
NAMES = ("192.168.1.7", "harvest", "harvest.local")


def read(path: Path) -> x509.Certificate:
    return x509.load_pem_x509_certificate(path.read_bytes())


def shake_hands(made: Certificates, trusted: Path, name: str) -> str:
    """A real TLS handshake on loopback: what the client found, or why it refused."""
    here = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    here.load_cert_chain(made.certificate, made.key)
    waiting = listen("127.0.0.1", 0)

    def answer() -> None:
        with waiting, waiting.accept()[0] as plain:
            try:
                with here.wrap_socket(plain, server_side=True) as secured:
                    secured.sendall(b"hello")
            except (ssl.SSLError, OSError):
                pass  # the client went away: that is its answer

    server = threading.Thread(target=answer)
    server.start()
    there = ssl.create_default_context(cafile=str(trusted))
    try:
        with (
            socket.create_connection(waiting.getsockname()) as plain,
            there.wrap_socket(plain, server_hostname=name) as secured,
        ):
            return secured.recv(5).decode()
    except ssl.SSLCertVerificationError as error:
        return error.verify_message
    finally:
        server.join(30)


@pytest.mark.parametrize("name", NAMES)
def test_a_client_that_trusts_the_authority_trusts_the_server(tmp_path: Path, name: str) -> None:
    made = certificates(tmp_path, NAMES, now=datetime.now(UTC))
    assert (made.names, made.left_out) == (NAMES, ())
    assert shake_hands(made, made.ca, name) == "hello"


def test_another_name_or_another_authority_is_refused(tmp_path: Path) -> None:
    now = datetime.now(UTC)
    made, other = certificates(tmp_path / "a", NAMES, now=now), certificates(tmp_path / "b", NAMES, now=now)
    assert "mismatch" in shake_hands(made, made.ca, "192.168.1.8")
    assert "mismatch" in shake_hands(made, made.ca, "harvest.example")
    assert shake_hands(made, other.ca, "harvest") != "hello"


def sign(folder: Path, name: str) -> Certificates:
    """What a thief of the authority's key could sign: a certificate for any name."""
    ca = read(folder / tls.CA_FILE)
    key = serialization.load_pem_private_key((folder / tls.CA_KEY).read_bytes(), None)
    assert isinstance(key, ec.EllipticCurvePrivateKey)
    away = folder / "stolen"
    away.mkdir()
    tls._make_server(away, ca, key, [name], datetime.now(UTC))
    return Certificates(folder / tls.CA_FILE, away / tls.SERVER_FILE, away / tls.SERVER_KEY, (name,), ())


@pytest.mark.parametrize("name", ["bank.example", "93.184.216.34", "example", "localhost.example"])
def test_a_thief_of_the_authoritys_key_cannot_pass_for_a_bank(tmp_path: Path, name: str) -> None:
    made = certificates(tmp_path, NAMES, now=datetime.now(UTC))
    assert shake_hands(sign(tmp_path, name), made.ca, name) == "permitted subtree violation"


def test_by_a_second_road_too(tmp_path: Path) -> None:
    """The same chain as the library's own verifier sees it, beside OpenSSL's."""
    made = certificates(tmp_path, NAMES, now=NOW)
    store = Store([read(made.ca)])
    for name in NAMES:
        subject: x509.DNSName | x509.IPAddress
        address = tls._address(name)
        subject = x509.DNSName(name) if address is None else x509.IPAddress(address)
        policy = PolicyBuilder().store(store).time(NOW.replace(tzinfo=None))
        chain = policy.build_server_verifier(subject).verify(read(made.certificate), [])
        assert chain[-1] == read(made.ca)
    late = PolicyBuilder().store(store).time((NOW + timedelta(days=398)).replace(tzinfo=None))
    with pytest.raises(VerificationError):
        late.build_server_verifier(x509.DNSName("harvest")).verify(read(made.certificate), [])


def test_what_the_certificates_say(tmp_path: Path) -> None:
    made = certificates(tmp_path, NAMES, now=NOW)
    ca, server = read(made.ca), read(made.certificate)
    assert ca.not_valid_after_utc - NOW == timedelta(days=3650)
    assert server.not_valid_after_utc - NOW == timedelta(days=397)
    # A phone whose clock is a day behind can still come.
    assert server.not_valid_before_utc == ca.not_valid_before_utc == NOW - timedelta(days=2)
    basic = ca.extensions.get_extension_for_class(x509.BasicConstraints)
    assert (basic.critical, basic.value.ca, basic.value.path_length) == (True, True, 0)
    assert ca.extensions.get_extension_for_class(x509.NameConstraints).critical
    assert not server.extensions.get_extension_for_class(x509.BasicConstraints).value.ca
    assert ca.serial_number != server.serial_number


def test_only_this_user_reads_the_keys(tmp_path: Path) -> None:
    made = certificates(tmp_path / "keep", NAMES, now=NOW)
    for path in (tmp_path / "keep").iterdir():
        assert stat.S_IMODE(path.stat().st_mode) == 0o600, path
    assert stat.S_IMODE((tmp_path / "keep").stat().st_mode) == 0o700
    assert b"PRIVATE" not in made.ca.read_bytes()


def test_they_stay_as_long_as_they_fit(tmp_path: Path) -> None:
    first = {p.name: p.read_bytes() for p in [*Path(tmp_path).iterdir()]}
    made = certificates(tmp_path, NAMES, now=NOW)
    first = {p.name: p.read_bytes() for p in tmp_path.iterdir()}
    again = certificates(tmp_path, NAMES, now=NOW + timedelta(days=300))
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == first
    assert again == made
    certificates(tmp_path, NAMES, now=NOW + timedelta(days=368))  # its end comes near
    second = {p.name: p.read_bytes() for p in tmp_path.iterdir()}
    assert second["server.crt"] != first["server.crt"]
    assert second["ca.crt"] == first["ca.crt"]  # phones need not install it again
    certificates(tmp_path, ("10.0.0.3",), now=NOW + timedelta(days=368))  # another network
    assert read(tmp_path / "ca.crt").fingerprint(hashes.SHA256()) == x509.load_pem_x509_certificate(
        first["ca.crt"]
    ).fingerprint(hashes.SHA256())
    held = read(tmp_path / "server.crt").extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert [str(one) for one in held.get_values_for_type(x509.IPAddress)] == ["10.0.0.3"]
    certificates(tmp_path, NAMES, now=NOW + timedelta(days=3640))
    assert (tmp_path / "ca.crt").read_bytes() != first["ca.crt"]


def test_names_that_the_authority_may_not_vouch_for(tmp_path: Path) -> None:
    certificates(tmp_path, NAMES, now=NOW)
    made = certificates(tmp_path, ("192.168.1.9", "farm.example", "8.8.8.8"), now=NOW)
    assert (made.names, made.left_out) == (("192.168.1.9",), ("farm.example", "8.8.8.8"))
    with pytest.raises(InputError, match=r"farm\.example"):
        certificates(tmp_path, ("farm.example",), now=NOW)
    # Named when the authority is made, a name of one's own is in it.
    own = certificates(tmp_path / "new", ("farm.example",), now=datetime.now(UTC))
    assert shake_hands(own, own.ca, "farm.example") == "hello"


@pytest.mark.parametrize("bad", ["", "a b", "x" * 64, "-.", "é.local", "a..b", "1.2.3.4.5/8", "a/b"])
def test_what_is_no_name(tmp_path: Path, bad: str) -> None:
    with pytest.raises(InputError, match="name"):
        certificates(tmp_path, (bad,), now=NOW)


@pytest.mark.parametrize("damaged", ["ca.crt", "ca.key", "server.crt", "server.key"])
def test_damaged_files(tmp_path: Path, damaged: str) -> None:
    """The authority is never replaced in silence, since phones trust the old one; a server's certificate is."""
    certificates(tmp_path, NAMES, now=datetime.now(UTC))
    (tmp_path / damaged).write_bytes(b"-----BEGIN NONSENSE-----\n")
    if damaged.startswith("ca"):
        with pytest.raises(BookError, match="damaged"):
            certificates(tmp_path, NAMES, now=NOW)
        return
    made = certificates(tmp_path, NAMES, now=datetime.now(UTC))
    assert shake_hands(made, made.ca, "harvest") == "hello"


def test_a_key_that_is_not_the_authoritys(tmp_path: Path) -> None:
    certificates(tmp_path / "a", NAMES, now=NOW)
    certificates(tmp_path / "b", NAMES, now=NOW)
    (tmp_path / "a" / "ca.key").write_bytes((tmp_path / "b" / "ca.key").read_bytes())
    with pytest.raises(BookError, match="does not belong"):
        certificates(tmp_path / "a", NAMES, now=NOW)


def test_a_place_that_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "keep").write_text("a file")
    with pytest.raises(BookError, match="cannot be kept"):
        certificates(tmp_path / "keep", NAMES, now=NOW)


def test_the_signs_are_those_a_browser_shows(tmp_path: Path) -> None:
    made = certificates(tmp_path, NAMES, now=NOW)
    from hashlib import sha256

    digest = sha256(ssl.PEM_cert_to_DER_cert(made.ca.read_text())).hexdigest().upper()
    assert fingerprint(made.ca.read_bytes()).replace(":", "") == digest


def test_where_this_computer_is() -> None:
    """Whatever network the tests run on: addresses that can be one, names that are one."""
    for address in own_addresses():
        socket.inet_aton(address)
        assert not address.startswith(("127.", "169.254.", "0."))
    for name in own_names():
        tls._host(name)
    assert origins_of("https", ("10.0.0.3", "fd00::7"), 8766) == ("https://10.0.0.3:8766", "https://[fd00::7]:8766")


def test_a_port_that_is_taken() -> None:
    with listen("127.0.0.1", 0) as first, pytest.raises(InputError, match="port"):
        listen("127.0.0.1", first.getsockname()[1])

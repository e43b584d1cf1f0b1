"""How does a phone come to trust this server? A certificate authority of the farm's own, and a certificate from it.

Browsers keep an app for use without signal only from an origin they trust. The authority is made once, its key is
readable by this user alone, and it is bound by name constraints (RFC 5280 §4.2.1.10) to this computer's names and to
private networks: whoever stole the key could still not pass for a bank. The server's certificate is made anew when the
names change or its end comes near.
"""

from __future__ import annotations

import ipaddress
import os
import re
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from chaffinch.errors import BookError, InputError

CA_FILE: Final = "ca.crt"
CA_KEY: Final = "ca.key"
SERVER_FILE: Final = "server.crt"
SERVER_KEY: Final = "server.key"

CA_DAYS: Final = 3650
"""Life of the authority [d]; own figure: installing it on every phone again each year would teach people to click."""
SERVER_DAYS: Final = 397
"""Life of a server's certificate [d]; browsers refuse more than 398 from public authorities (from memory)."""
RENEW_DAYS: Final = 30
"""So long before its end a certificate is made anew [d]; own figure."""
BACKDATED: Final = timedelta(days=2)
"""Certificates begin so long before now: the clocks of phones and old computers differ."""

PRIVATE: Final = (
    "10.0.0.0/8",
    "172.16.0.0/12",
    "192.168.0.0/16",
    "169.254.0.0/16",
    "127.0.0.0/8",
    "100.64.0.0/10",
    "fc00::/7",
    "fe80::/10",
    "::1/128",
)
"""Networks the authority may vouch for: private, link-local, shared and loopback (RFC 1918, 3927, 6598, 4193, 4291)."""
_LABEL: Final = re.compile(r"[a-z0-9_]([a-z0-9_-]{0,61}[a-z0-9_])?")
PRIVATE_NAMES: Final = ("localhost", "local", "lan", "internal", "home.arpa")
"""Endings of names it may vouch for; ``local`` by RFC 6762, ``home.arpa`` by RFC 8375, ``internal`` is reserved."""


@dataclass(frozen=True, slots=True)
class Certificates:
    """Files for a TLS server.

    Attributes
    ----------
    ca, certificate, key : Path
        The authority's certificate, the server's, and the server's key (PEM).
    names : tuple of str
        Names and addresses that the server's certificate holds.
    left_out : tuple of str
        Names the authority may not vouch for.
    """

    ca: Path
    certificate: Path
    key: Path
    names: tuple[str, ...]
    left_out: tuple[str, ...]


def certificates(folder: Path, names: Sequence[str], *, now: datetime) -> Certificates:
    """The server's certificate for these names, made where there is none that fits; the authority too.

    Parameters
    ----------
    folder : Path
        Where they are kept; made when it is not there, for this user alone.
    names : sequence of str
        Host names and addresses under which phones reach the server.
    now : datetime
        The time, with a zone.

    Raises
    ------
    InputError
        For a name that is none, or when the authority may vouch for none of them.
    BookError
        When the files cannot be read or written.
    """
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        ca, ca_key = _authority(folder, names, now)
        fits = tuple(name for name in names if _may_vouch(ca, name))
        left_out = tuple(name for name in names if name not in fits)
        if not fits:
            mend = f"name a private address, or delete {folder / CA_FILE} and install the new one on the phones"
            raise InputError("name", ", ".join(names), "is none the farm's authority may vouch for", mend)
        if not _still_good(folder, ca, fits, now):
            _make_server(folder, ca, ca_key, fits, now)
    except OSError as error:
        raise BookError(str(folder), f"certificates cannot be kept there ({error.strerror})") from error
    return Certificates(folder / CA_FILE, folder / SERVER_FILE, folder / SERVER_KEY, fits, left_out)


def fingerprint(certificate_pem: bytes) -> str:
    """The SHA-256 fingerprint of a certificate, as browsers and phones show it."""
    digest = x509.load_pem_x509_certificate(certificate_pem).fingerprint(hashes.SHA256()).hex().upper()
    return ":".join(digest[i : i + 2] for i in range(0, len(digest), 2))


def _authority(
    folder: Path, names: Sequence[str], now: datetime
) -> tuple[x509.Certificate, ec.EllipticCurvePrivateKey]:
    file, key_file = folder / CA_FILE, folder / CA_KEY
    if file.is_file() and key_file.is_file():
        try:
            found = x509.load_pem_x509_certificate(file.read_bytes())
            key = serialization.load_pem_private_key(key_file.read_bytes(), None)
        except ValueError:
            raise BookError(str(file), "is damaged; delete it and its key, and install the new one") from None
        if not isinstance(key, ec.EllipticCurvePrivateKey) or key.public_key() != found.public_key():
            raise BookError(str(file), "does not belong to its key; delete both, and install the new one")
        if found.not_valid_after_utc - now > timedelta(days=RENEW_DAYS):
            return found, key
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Chaffinch farm authority")])
    made = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - BACKDATED)
        .not_valid_after(now + timedelta(days=CA_DAYS))
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs_certificates=True), critical=True)
        .add_extension(x509.NameConstraints(_permitted(names), None), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    _write(key_file, _pem(key))
    _write(file, made.public_bytes(serialization.Encoding.PEM))
    return made, key


def _make_server(
    folder: Path, ca: x509.Certificate, ca_key: ec.EllipticCurvePrivateKey, names: Sequence[str], now: datetime
) -> None:
    key = ec.generate_private_key(ec.SECP256R1())
    made = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Chaffinch server")]))
        .issuer_name(ca.subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - BACKDATED)
        .not_valid_after(min(now + timedelta(days=SERVER_DAYS), ca.not_valid_after_utc))
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs_certificates=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName([_general(name) for name in names]), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(ca_key.public_key()), critical=False)
        .sign(ca_key, hashes.SHA256())
    )
    # The key first: a certificate without its key is told apart at the next start, and made anew.
    _write(folder / SERVER_KEY, _pem(key))
    _write(folder / SERVER_FILE, made.public_bytes(serialization.Encoding.PEM))


def _still_good(folder: Path, ca: x509.Certificate, names: Sequence[str], now: datetime) -> bool:
    try:
        found = x509.load_pem_x509_certificate((folder / SERVER_FILE).read_bytes())
        key = serialization.load_pem_private_key((folder / SERVER_KEY).read_bytes(), None)
        found.verify_directly_issued_by(ca)
        held = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except Exception:  # noqa: BLE001 - whatever is wrong with it, it is made anew
        return False
    in_time = found.not_valid_before_utc <= now < found.not_valid_after_utc - timedelta(days=RENEW_DAYS)
    return key.public_key() == found.public_key() and in_time and set(held) == {_general(name) for name in names}


def _permitted(names: Sequence[str]) -> list[x509.GeneralName]:
    networks = [ipaddress.ip_network(one) for one in PRIVATE]
    own: list[x509.GeneralName] = []
    for name in names:
        address = _address(name)
        if address is None:
            own.append(x509.DNSName(_host(name)))
        elif not any(address in network for network in networks if network.version == address.version):
            own.append(x509.IPAddress(ipaddress.ip_network(address)))
    return [*(x509.IPAddress(one) for one in networks), *(x509.DNSName(one) for one in PRIVATE_NAMES), *own]


def _may_vouch(ca: x509.Certificate, name: str) -> bool:
    permitted = ca.extensions.get_extension_for_class(x509.NameConstraints).value.permitted_subtrees or []
    address = _address(name)
    if address is not None:
        networks = [ipaddress.ip_network(str(one.value)) for one in permitted if isinstance(one, x509.IPAddress)]
        return any(address in network for network in networks if network.version == address.version)
    host = _host(name)
    endings = [one.value for one in permitted if isinstance(one, x509.DNSName)]
    return any(host == ending or host.endswith("." + ending) for ending in endings)


def _general(name: str) -> x509.GeneralName:
    address = _address(name)
    return x509.DNSName(_host(name)) if address is None else x509.IPAddress(address)


def _address(name: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address | None:
    try:
        return ipaddress.ip_address(name.strip("[]"))
    except ValueError:
        return None


def _host(name: str) -> str:
    plain = name.lower().rstrip(".")
    parts = plain.split(".")
    if len(plain) > 253 or not all(_LABEL.fullmatch(part) for part in parts):
        raise InputError("name", name, "is no host name or address", "write it like harvest.local or 192.168.1.7")
    return plain


def _usage(*, signs_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs_certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=signs_certificates,
        crl_sign=signs_certificates,
        encipher_only=False,
        decipher_only=False,
    )


def _pem(key: ec.EllipticCurvePrivateKey) -> bytes:
    return key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )


def _write(target: Path, content: bytes) -> None:
    """Write a file that only this user reads, whole or not at all."""
    handle, name = tempfile.mkstemp(dir=target.parent, prefix=".coming-")  # 0600
    with os.fdopen(handle, "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    Path(name).replace(target)

"""What travels between devices: one record in an envelope that can be told from any other.

The id is made on the device at the moment of the reading; the hash is taken over everything else in the envelope
and the id, in one canonical spelling (RFC 8785, JSON Canonicalization Scheme), so that Python and JavaScript agree on
it to the byte. Same id and hash: the same record. Same id and another hash: a conflict, never an overwrite.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256
from typing import Any, Final

import rfc8785

from chaffinch.errors import InputError

ID_FORM: Final = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")
HASH_FORM: Final = re.compile(r"[0-9a-f]{64}")
KIND_FORM: Final = re.compile(r"[a-z][a-z-]{1,30}")
MOST_BYTES: Final = 1_000_000
"""Largest body of one record [bytes]; a photo is a file beside the book, not a body."""

KEYS: Final = ("id", "kind", "schema", "device", "device_time", "body", "hash")


@dataclass(frozen=True, slots=True)
class Envelope:
    """One record as it travels and is stored.

    Attributes
    ----------
    id : str
        UUID made on the device, lower case.
    kind : str
        ``check``, ``field``, ``edit`` … see :mod:`chaffinch.records.kinds`.
    schema : int
        Version of that kind's body.
    device : str
        The device's own name for itself.
    device_time : str
        What the device's clock said, ISO 8601; information, never order.
    body : mapping
        The record itself, JSON-able.
    hash : str
        SHA-256 of all of the above in canonical form, hexadecimal.
    """

    id: str
    kind: str
    schema: int
    device: str
    device_time: str
    body: Mapping[str, Any]
    hash: str

    def as_dict(self) -> dict[str, Any]:
        """The envelope as JSON-able data."""
        return {key: getattr(self, key) for key in KEYS}


def seal(record_id: str, kind: str, schema: int, device: str, device_time: str, body: Mapping[str, Any]) -> Envelope:
    """Put a record into an envelope and compute its hash.

    Raises
    ------
    InputError
        For an id, kind or body out of form.
    """
    unsealed: dict[str, Any] = {
        "id": record_id,
        "kind": kind,
        "schema": schema,
        "device": device,
        "device_time": device_time,
        "body": dict(body),
    }
    _check_form(unsealed)
    return Envelope(**unsealed, hash=content_hash(unsealed))


def content_hash(unsealed: Mapping[str, Any]) -> str:
    """SHA-256 of an envelope without its hash, in canonical JSON, hexadecimal."""
    content = canonical({key: unsealed[key] for key in KEYS if key != "hash"})
    if len(content) > MOST_BYTES:
        raise InputError("body", f"{len(content)} bytes", "is too large for a record", "keep photos as files")
    return sha256(content).hexdigest()


def canonical(value: Any) -> bytes:
    """Canonical JSON of ``value`` (RFC 8785).

    Raises
    ------
    InputError
        For anything JSON cannot hold: NaN, infinity, integers that no double is written as, text with lone
        surrogates, other types.
    """
    try:
        try:
            return rfc8785.dumps(value)
        except rfc8785.IntegerDomainError:
            return rfc8785.dumps(_with_doubles(value))
    except (rfc8785.CanonicalizationError, UnicodeEncodeError, RecursionError) as error:
        raise InputError("record", None, f"cannot be written as JSON ({error})", "use numbers, text, lists") from None


def _with_doubles(value: Any) -> Any:
    """The value with every large integer that is how JSON writes some double turned into that double.

    1e20 is written 100000000000000000000 and comes back as an integer; both must have the one canonical spelling. An
    integer that no double is written as stays, and is refused.
    """
    if isinstance(value, Mapping):
        return {key: _with_doubles(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_with_doubles(item) for item in value]
    if isinstance(value, int) and 2**53 <= abs(value) < 10**21 and rfc8785.dumps(float(value)) == b"%d" % value:
        return float(value)
    return value


def opened(data: object) -> Envelope:
    """Read an envelope that arrived, and check its form and its hash.

    Raises
    ------
    InputError
        When a key is missing or out of form, or the hash does not fit the content.
    """
    if not isinstance(data, Mapping):
        raise InputError("envelope", data, "is no table", "send the envelope as a JSON object")
    missing = [key for key in KEYS if key not in data]
    if missing:
        raise InputError("envelope", None, f"lacks {', '.join(missing)}", "send the whole envelope")
    extra = [str(key) for key in data if key not in KEYS]
    if extra:
        raise InputError(
            "envelope", None, f"holds unknown keys: {', '.join(sorted(extra)[:3])}", "send only known keys"
        )
    _check_form(data)
    if not isinstance(data["hash"], str) or not HASH_FORM.fullmatch(data["hash"]):
        raise InputError("envelope, hash", data["hash"], "is no SHA-256", "send 64 hexadecimal digits")
    if content_hash(data) != data["hash"]:
        raise InputError("envelope, hash", data["hash"], "does not fit the content", "send the record again, unchanged")
    return Envelope(**{key: data[key] for key in KEYS})


def _check_form(data: Mapping[str, Any]) -> None:
    if not isinstance(data["id"], str) or not ID_FORM.fullmatch(data["id"]):
        raise InputError("envelope, id", data["id"], "is no UUID", "make one on the device, in lower case")
    if not isinstance(data["kind"], str) or not KIND_FORM.fullmatch(data["kind"]):
        raise InputError("envelope, kind", data["kind"], "is no kind", "use lower-case letters and hyphens")
    if not isinstance(data["schema"], int) or isinstance(data["schema"], bool) or not 1 <= data["schema"] <= 10_000:
        raise InputError("envelope, schema", data["schema"], "is no schema version", "send a whole number from 1")
    for key in ("device", "device_time"):
        if not isinstance(data[key], str) or not 1 <= len(data[key]) <= 200:
            raise InputError(f"envelope, {key}", data[key], "must be text of 1 to 200 characters", "name the device")
        # PostgreSQL cannot hold a NUL; the others have no business in a name or a time either.
        if any(ord(c) < 32 for c in data[key]):
            raise InputError(f"envelope, {key}", data[key], "holds control characters", "write plain text")
    if not isinstance(data["body"], Mapping):
        raise InputError("envelope, body", data["body"], "is no table", "send the record as a JSON object")

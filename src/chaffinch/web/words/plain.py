"""The sentences of pages that need nothing but themselves, by key: the ways in and out, and the heads of refusals.

They stand apart from :mod:`chaffinch.web.words.desk`, since they are shown before anybody is known, and when nothing
else works. Another language is another table here too.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

PLAIN: Final = MappingProxyType(
    {
        "refused.401": "Who are you?",
        "refused.403": "Not for this role",
        "refused.404": "Nothing here",
        "refused.413": "Too large",
        "refused.421": "Another host is named",
        "refused.429": "Too many at once",
        "refused.500": "That should not have happened",
        "refused.503": "The book cannot be reached",
        "refused.other": "That did not work",
        "refused.pair": "Open the desk here with a code",
        "home": "To the first page",
        "enter.none": "No way in",
        "enter.none.said": "This link was used before, or its ten minutes are over.",
        "enter.none.more": (
            "At the computer that serves, chaffinch serve link prints a new one. Elsewhere, ask the owner for a code."
        ),
        "enter.code": "Type a code",
        "left": "You have left",
        "left.said": "This browser knows nothing of the book any more.",
        "trust.none": "No certificate is needed here",
        "trust.none.said": "This server made none of its own.",
        "trust": "Let this phone trust the farm's server",
        "trust.said": (
            "A phone keeps an app for the field only when it trusts where it came from. The certificate below was made "
            "on the farm's own computer. It can vouch for this server and for nothing outside your own network."
        ),
        "trust.compare": "Compare these signs with those on the computer's screen before you go on: {signs}",
        "trust.android": (
            "Android: take the certificate below. Then Settings, search for “CA certificate”, Install anyway, and "
            "choose the file."
        ),
        "trust.iphone": (
            "iPhone: take the certificate below in Safari and allow it. Then Settings, “Profile downloaded”, Install. "
            "Then General, About, Certificate Trust Settings, and switch it on."
        ),
        "trust.other": (
            "Windows, macOS, Linux: open the file, or import it in the browser's settings under certificates, as an "
            "authority for web sites."
        ),
        "trust.again": "Close the browser, open it again, and load the app's address: no warning may appear now.",
        "trust.take": "Take the certificate",
        "trust.missing": "was not made here",
        "trust.missing.mend": "the server runs without one",
    }
)
"""By key; the first part of a key is its page."""


def plain(key: str, **facts: object) -> str:
    """The sentence of a key, its facts put in.

    Raises
    ------
    KeyError
        For a key the table does not have.
    """
    sentence = PLAIN[key]
    return sentence.format(**facts) if facts else sentence

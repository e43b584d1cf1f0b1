"""What does an error say at the desk? The book tells how a thing is mended on the command line; a browser has none.

The mend of an error may name a command. Here each such piece becomes what the same person does on these pages, and a
command that has no page is left to whoever sits at the computer that serves.
"""

from __future__ import annotations

import re
from typing import Final

from chaffinch.errors import ChaffinchError, InputError
from chaffinch.web.words.desk import words

_PIECES: Final = tuple(
    (re.compile(pattern), key)
    for pattern, key in (
        (r'write crop = "canola"', "mend.crop"),
        (r"say so where the widths stand", "mend.taped"),
        (r" at the top(?: of the file)?\b", ""),
        (r"chaffinch book log … --anyway", "mend.box"),
        (r": chaffinch book log … --bar NUMBER", ""),
        (r": chaffinch book replace[^;]*", "mend.of_check"),
        (r"chaffinch book replace[^;]*", "mend.check"),
        (r": chaffinch check --book[^;]*", "mend.of_check"),
        (r": chaffinch book edit-label[^;]*", "mend.of_setup"),
        (r"chaffinch book edit-label[^;]*", "mend.setup"),
        (r": chaffinch book add[^;]*", "mend.of_setup"),
        (r"chaffinch book add[^;]*", "mend.add"),
        (r"chaffinch book show checks[^;]*", "mend.checks"),
        (r"chaffinch book show[^;]*", "mend.setup"),
        (r"chaffinch trial[^;]*", "mend.trials"),
        (r"chaffinch serve devices[^;]*", "mend.devices"),
        (r"chaffinch (?:book|report|serve|check|day|advise|pace|where|monitor)\b[^;]*", "mend.owner"),
        (r"log its checks with --trial ID --side A or B", "mend.side"),
        (r"--decimals \. or --decimals ,", "mend.decimals"),
        (r"--dates dmy,? or --dates mdy", "mend.dates"),
        (r"--column \"[^\"]*\"(?: and --column \"[^\"]*\")?", "mend.column"),
        (r"look with --dry-run; bring it in all the same with --other-book", "mend.other_book"),
        (r"--fixed [^\s;]+", "mend.fixed"),
        (r": --zone-name COLUMN", "mend.zone_name"),
        (r", like --zone-crs \S+", "mend.zone_crs"),
        (r": --machine NAME", "mend.machine"),
        (r": --machine-is \"[^\"]*\"", "mend.machine_is"),
        (r"add --combine NAME", "mend.combine"),
        (r"add --(?:price|hour-cost)(?: \"[^\"]*\")?", "mend.terms"),
        (r"look at: fieldlog clean", "mend.cleaned"),
        (r"--zone says another", "mend.zone.other"),
        (r"--zone [^\s,;]+(?:, or --zone \S+)?", "mend.zone"),
        (r":? --(?:combine|bar|hours-since) (?:NAME|NUMBER)", ""),
    )
)
_KEY: Final = re.compile(r'\b([a-z]+(?:_[a-z]+)*) = (?:"([^"]+)"|(true|false)\b)')
"""A line of a check file."""
_OPTION: Final = re.compile(r"--([a-z]+(?:-[a-z]+)*)")
"""What a mend may hold, the longer pieces first, and the sentence that stands for it; "" takes it away."""


def said(error: ChaffinchError) -> str:
    """The error in one line, as a person in a browser can act on it."""
    if not isinstance(error, InputError):
        return str(error)
    return InputError(error.field, error.value, error.problem, mend_here(error.mend)).line()


def mend_here(mend: str) -> str:
    """A mend without any command."""
    for pattern, key in _PIECES:
        mend = pattern.sub(words(key) if key else "", mend)
    # A key of a check file is a field of the form, by nearly the same name.
    mend = _KEY.sub(_as_field, mend)
    # Any other option is a field of the form, by nearly the same name.
    return _OPTION.sub(lambda found: "“" + found[1].replace("-", " ") + "”", mend)


def _as_field(found: re.Match[str]) -> str:
    value = found[2] or words("flag.yes" if found[3] == "true" else "flag.no")
    return words("mend.key", name=found[1].replace("_", " "), value=value)

"""Bringing in a phone's file, at once; or a spreadsheet of past checks: its columns, what would come in, then in."""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass, field, replace
from hashlib import sha256
from threading import Lock
from typing import IO, Annotated, Any, Final

from fastapi import APIRouter, Depends, Path, Request
from starlette.datastructures import UploadFile
from starlette.responses import Response

from chaffinch.book.exchange.importing import Imported
from chaffinch.book.exchange.phone_file import OTHERS, Photo, import_phone_file, is_phone_file
from chaffinch.book.sheets.meanings import DATE_STYLES, FIXED, MEANINGS
from chaffinch.book.sheets.spreadsheet import (
    Matching,
    Sheet,
    import_spreadsheet,
    match_columns,
    open_sheet,
    read_rows,
    with_styles,
)
from chaffinch.book.times import local
from chaffinch.errors import InputError
from chaffinch.web.access import Owner, owner
from chaffinch.web.api.photos import keep_photo, media_type
from chaffinch.web.pages.frame import Form, Typed, desk_of, form_of, see, show
from chaffinch.web.problems import Refusal
from chaffinch.web.words.desk import words

router = APIRouter()

KEPT: Final = 4
"""Sheets kept in memory between two pages; own figure."""
MOST_SHEET_BYTES: Final = 8 * 1024**2
"""Largest spreadsheet that is matched in a browser [bytes]; own figure: it stays in memory between two pages."""
SHOWN: Final = 40
"""Checks and refusals that a page shows; own figure."""
EXAMPLES: Final = 3
"""First rows shown beside each column."""

Token = Annotated[str, Path(pattern="^[0-9a-f]{32}$")]


@dataclass
class Sheets:
    """Sheets that were sent and are being matched, each for the device that sent it; the oldest is put away first."""

    _kept: OrderedDict[tuple[str, str], Sheet] = field(default_factory=OrderedDict)
    _lock: Lock = field(default_factory=Lock)

    def keep(self, device: str, data: bytes) -> str:
        """Keep a sheet, and return what it is asked for by."""
        sheet, token = open_sheet(data), sha256(data).hexdigest()[:32]
        with self._lock:
            self._kept[device, token] = sheet
            self._kept.move_to_end((device, token))
            while len(self._kept) > KEPT:
                self._kept.popitem(last=False)
        return token

    def find(self, device: str, token: str) -> Sheet | None:
        """A sheet that is still kept."""
        with self._lock:
            return self._kept.get((device, token))


@router.get("/import", dependencies=[Depends(owner)])
def choose(request: Request) -> Response:
    """Choose the file."""
    return show(request, "import.html", "setup", form=Form(), others=False)


@router.post("/import")
def send(request: Request, who: Owner, sent: Typed) -> Response:
    """Read the file, and go on to its columns."""
    form, file = form_of(sent), sent.get("file")
    try:
        if not isinstance(file, UploadFile) or not file.filename:
            raise InputError("file", None, "is missing", "choose a phone's file, or a sheet saved as CSV")
        beginning = file.file.read(64)
        file.file.seek(0)
        if is_phone_file(beginning):
            return _phone_page(request, file.file, other_book=form.get("other_book") == "yes")
        data = file.file.read(MOST_SHEET_BYTES + 1)
        if len(data) > MOST_SHEET_BYTES:
            problem = f"is larger than {MOST_SHEET_BYTES // 1024**2} MB"
            raise InputError("spreadsheet", file.filename, problem, words("import.sheet.mend"))
        token = _sheets(request).keep(who.id, data)
    except InputError as error:
        form.refuse(error, {"file": "file", "spreadsheet": "file"})
        return show(request, "import.html", "setup", status=422, form=form, others=error.problem == OTHERS)
    return see(f"/import/{token}")


def _phone_page(request: Request, file: IO[bytes], *, other_book: bool) -> Response:
    kept: list[bool] = []
    found = import_phone_file(
        desk_of(request), file, other_book=other_book, each_photo=lambda one: kept.append(_kept(request, one))
    )
    counts, notices = found.imported, list(found.imported.notices)
    if kept:
        notices.append(words("import.phone.photos", count=sum(kept), left=len(kept) - sum(kept)))
    return show(
        request,
        "import_phone.html",
        "setup",
        device=found.device,
        counts=words("import.counts", accepted=counts.accepted, known=counts.known, conflicts=counts.conflicts,
                     refused=len(counts.refused)),
        notices=notices,
        receipts=[(f"{one.kind} {one.id[:8]}" if one.kind else f"{one.line}", local(one.taken_at) if one.kind else "",
                   words(f"import.outcome.{one.outcome}"), one.reason) for one in found.receipts[:SHOWN]],
        more=max(0, len(found.receipts) - SHOWN),
    )  # fmt: skip


def _kept(request: Request, photo: Photo) -> bool:
    """Whether a picture of the file is beside the book now."""
    if media_type(photo.content) is None:
        return False
    try:
        keep_photo(request.app.state.settings.photos, photo.sha256, photo.content)
    except Refusal:
        return False
    return True


@router.get("/import/{token}")
def columns(request: Request, token: Token, who: Owner) -> Response:
    """What each column is taken for, to be changed."""
    sheet = _sheets(request).find(who.id, token)
    if sheet is None:
        return _gone(request)
    matching = match_columns(sheet.header, sheet.sample, sheet.units)
    return _page(request, token, sheet, Form(_values(matching)), None)


@router.post("/import/{token}")
def go_on(request: Request, token: Token, who: Owner, sent: Typed) -> Response:
    """Show what would come in, or bring it in."""
    form, sheet = form_of(sent), _sheets(request).find(who.id, token)
    if sheet is None:
        return _gone(request)
    try:
        rows = read_rows(sheet, _matching(sheet, form))
        found = import_spreadsheet(desk_of(request), rows, dry_run=form.get("action") != "write")
    except InputError as error:
        form.refuse(error, _fields(sheet))
        return _page(request, token, sheet, form, None, status=422)
    return _page(request, token, sheet, form, found)


def _sheets(request: Request) -> Sheets:
    found: Sheets | None = getattr(request.app.state, "sheets", None)
    if found is None:
        found = Sheets()
        request.app.state.sheets = found
    return found


def _gone(request: Request) -> Response:
    form = Form()
    form.general.append(words("import.gone"))
    return show(request, "import.html", "setup", status=404, form=form, others=False)


def _values(matching: Matching) -> dict[str, str]:
    values = {}
    for number, column in enumerate(matching.columns):
        values[f"meaning-{number}"] = column.meaning or ""
        values[f"unit-{number}"] = column.unit
    return values


def _matching(sheet: Sheet, form: Form) -> Matching:
    """The matching that the form says.

    Raises
    ------
    InputError
        For a meaning or unit that a column cannot have, or a line that says nothing for every row.
    """
    matching = match_columns(sheet.header, sheet.sample, sheet.units)
    for number, column in enumerate(matching.columns):
        meaning, unit = form.get(f"meaning-{number}"), form.get(f"unit-{number}")
        if (meaning, unit) == (column.meaning or "", column.unit):
            continue
        written = f"{meaning}{':' if unit else ''}{unit}" if meaning else "-"
        matching = matching.with_column(f"{column.header}={written}")
    matching = replace(matching, fixed={})
    for line in form.get("fixed").splitlines():
        if not line.strip():
            continue
        key, mark, value = line.partition("=")
        if not mark:
            raise InputError("fixed", line.strip(), "is not KEY = VALUE", "write it like crop = canola")
        matching = matching.with_fixed(key.strip(), value)
    return with_styles(matching, **{key: form.get(key) for key in ("dates", "decimals", "zone")})


def _fields(sheet: Sheet) -> dict[str, str]:
    """What errors call a value → the field of the form."""
    names = {name: name for name in ("fixed", "dates", "decimals", "zone")}
    names |= {f"fixed, {key}": "fixed" for key in FIXED}
    for number, header in enumerate(sheet.header):
        names[f"column {header}"] = f"meaning-{number}"
        names[header] = f"meaning-{number}"
    return names


def _page(
    request: Request, token: str, sheet: Sheet, form: Form, found: Imported | None, *, status: int = 200
) -> Response:
    examples = [
        " · ".join(cells[number] for cells in sheet.sample[:EXAMPLES] if cells[number])
        for number in range(len(sheet.header))
    ]
    told: dict[str, Any] | None = None
    if found is not None:
        told = {
            "dry": found.dry_run,
            "counts": words("import.counts", accepted=found.accepted, known=found.known, conflicts=found.conflicts,
                            refused=len(found.refused)),
            "adds": ", ".join(f"{kind} {name}" for kind, name in found.added),
            "coming": [(_span(one.rows), local(one.taken_at), one.field, one.combine, one.crop, ", ".join(one.catches),
                        "" if one.outcome == "accepted" else one.outcome) for one in found.coming[:SHOWN]],
            "more": max(0, len(found.coming) - SHOWN),
            "refused": [one.line() for one in found.refused[:SHOWN]],
            "more_refused": max(0, len(found.refused) - SHOWN),
            "notices": list(found.notices),
        }  # fmt: skip
    return show(
        request,
        "import_columns.html",
        "setup",
        status=status,
        token=token,
        header=list(zip(sheet.header, examples, strict=True)),
        meanings=[(key, one.about) for key, one in MEANINGS.items()],
        date_styles=DATE_STYLES,
        form=form,
        notices=list(sheet.notices),
        told=told,
        fixed_keys=", ".join(FIXED),
    )


def _span(rows: tuple[int, ...]) -> str:
    if len(rows) > 1 and rows[-1] - rows[0] == len(rows) - 1:
        return f"{rows[0]}–{rows[-1]}"
    return ", ".join(map(str, rows[:3])) + (" …" if len(rows) > 3 else "")

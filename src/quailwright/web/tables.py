"""Tables: every table as a spreadsheet, and a keeper's own old sheet taken in."""

from collections.abc import AsyncIterator
from http import HTTPStatus
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Depends, Request
from starlette.datastructures import FormData, UploadFile
from starlette.responses import RedirectResponse, Response

from quailwright.exchange.typed import at_present
from quailwright.guide.round import day_at
from quailwright.journal.drafts import folder_apart
from quailwright.journal.findings import BadInput, FlockUnusable, QuailwrightError
from quailwright.language import say
from quailwright.web.guard import AnyVisitor, Keeper, OwnForm, Reader, Visitor, check_token
from quailwright.web.home import AtHome, Home
from quailwright.web.view import page

if TYPE_CHECKING:
    from quailwright.exchange.tables_in_page import Kept
    from quailwright.exchange.tables_in_seen import Preview
    from quailwright.exchange.tables_out import Asked

router = APIRouter(default_response_class=Response, include_in_schema=False)

_BOOK = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
_MOST_FIELDS = 1000
_ROWS_SHOWN = 40
_GUIDE = "/tables/import/match"


def tables_of(home: Home) -> "Asked":
    """What tables are made of now."""
    from quailwright.exchange.tables_out import Asked

    return Asked(home.desk.entries(), home.flock(), home.desk.store, home.now(), True)


async def _own_upload(request: Request, who: AnyVisitor) -> AsyncIterator[FormData]:
    """A form of ours that may bring a file and a field for each column. Raises MayNot."""
    form = await request.form(max_fields=_MOST_FIELDS, max_files=1)
    try:
        check_token(request, who, str(form.get("token", "")))
        yield form
    finally:
        await form.close()


OwnUpload = Annotated[FormData, Depends(_own_upload)]


@router.get("/tables")
def tables(request: Request, home: AtHome, who: Reader, undone: str = "") -> Response:
    """Every table to take along, and what was taken in."""
    from quailwright.exchange.tables_in_back import imports
    from quailwright.exchange.tables_out import TABLES

    taken = imports(home.desk.entries()) if who.keeps else []
    return page(
        request, who, "tables.html", tables=TABLES, taken=taken[::-1], error=None, undone=undone
    )


@router.get("/tables/flock.xlsx")
def book(home: AtHome, who: Reader) -> Response:
    """All tables as one workbook."""
    from quailwright.exchange.tables_out import TABLES
    from quailwright.exchange.tables_out_files import workbook

    asked = tables_of(home)
    return _file(workbook(TABLES, asked, home.settings.invented), _BOOK, home, "flock", "xlsx")


@router.get("/tables/flock.zip")
def folder(home: AtHome, who: Reader) -> Response:
    """All tables as CSV files."""
    from quailwright.exchange.tables_out import TABLES
    from quailwright.exchange.tables_out_files import zipped

    return _file(zipped(TABLES, tables_of(home)), "application/zip", home, "flock", "zip")


@router.get("/tables/table/{table}.csv")
def one(home: AtHome, who: Reader, table: str) -> Response:
    """One table as CSV, with the mark that spreadsheet programs know UTF-8 by."""
    from quailwright.exchange.tables_out import table_named
    from quailwright.exchange.tables_out_files import BYTE_ORDER_MARK, csv_text

    found = table_named(table)
    text = BYTE_ORDER_MARK + csv_text(found, tables_of(home))
    return _file(text.encode(), "text/csv; charset=utf-8", home, found.name, "csv")


def _file(content: bytes, media_type: str, home: Home, name: str, ending: str) -> Response:
    day = day_at(home.flock(), home.now())
    return Response(
        content,
        media_type=media_type,
        headers={"Content-Disposition": f'attachment; filename="{name}-{day}.{ending}"'},
    )


# A sheet of the keeper's own.


@router.get("/tables/import")
def choose(request: Request, who: Keeper, gone: str = "") -> Response:
    """Which sheet is to be taken in; `gone`: the one before is no longer kept."""
    return _choose_page(request, who, gone=bool(gone))


def _choose_page(
    request: Request, who: Visitor, error: QuailwrightError | None = None, gone: bool = False
) -> Response:
    status = HTTPStatus.OK if error is None else HTTPStatus.UNPROCESSABLE_ENTITY
    return page(request, who, "tables_choose.html", status=status, error=error, gone=gone)


def _no_longer_kept() -> Response:
    return RedirectResponse("/tables/import?gone=yes", HTTPStatus.SEE_OTHER)


@router.post("/tables/import")
def bring(request: Request, home: AtHome, who: Keeper, form: OwnUpload) -> Response:
    """Takes the file, looks at it, and goes on to the guide."""
    from quailwright.exchange.tables_in_grid import read_book
    from quailwright.exchange.tables_in_guess import seems
    from quailwright.exchange.tables_in_page import Kept

    file = form.get("sheet")
    try:
        if not isinstance(file, UploadFile) or not file.filename:
            raise BadInput(say("No file was chosen."))
        name = Path(file.filename.replace("\\", "/")).name[-120:]
        with folder_apart() as folder:
            path = folder / f"sheet{Path(name).suffix.lower()[:8]}"
            path.write_bytes(file.file.read())
            brought = read_book(path, name)
        match = seems(brought, home.flock())
    except FlockUnusable:
        raise
    except QuailwrightError as error:
        return _choose_page(request, who, error)
    home.uploads.keep(who.key, Kept(brought, match, home.now()))
    return RedirectResponse(_GUIDE, HTTPStatus.SEE_OTHER)


@router.get("/tables/import/match")
def guide_page(request: Request, home: AtHome, who: Keeper) -> Response:
    """The guide: what was understood, what is asked, and what comes of it."""
    kept = home.uploads.of(who.key, home.now())
    if kept is None:
        return _no_longer_kept()
    return _guide_page(request, home, who, kept)


@router.post("/tables/import/match")
def choose_more(request: Request, home: AtHome, who: Keeper, form: OwnUpload) -> Response:
    """What was chosen: looked at again, or written."""
    from quailwright.exchange.tables_in_page import chosen

    kept = home.uploads.of(who.key, home.now())
    if kept is None:
        return _no_longer_kept()
    typed = {name: value for name, value in form.items() if isinstance(value, str)}
    try:
        kept.match = chosen(typed, kept.book, kept.match, home.flock())
    except FlockUnusable:
        raise
    except QuailwrightError as error:
        return _guide_page(request, home, who, kept, error)
    home.uploads.keep(who.key, kept)
    return RedirectResponse(f"{_GUIDE}#comes", HTTPStatus.SEE_OTHER)


@router.post("/tables/import/write")
def write(request: Request, home: AtHome, who: Keeper, form: OwnForm) -> Response:
    """Writes the rows as they were shown, all or none."""
    kept = home.uploads.of(who.key, home.now())
    if kept is None:
        return _no_longer_kept()
    seen = _seen(home, kept)
    if not seen.may_be_written or seen.import_id != str(form.get("import", "")):
        sentence = say("What would be written has changed. Look it through again.")
        return _guide_page(request, home, who, kept, BadInput(sentence))
    try:
        home.record(*seen.new)
    except FlockUnusable:
        raise
    except QuailwrightError as error:
        return _guide_page(request, home, who, kept, error)
    home.uploads.forget(who.key)
    return page(request, who, "tables_written.html", seen=seen)


@router.post("/tables/import/forget")
def forget(home: AtHome, who: Keeper, form: OwnForm) -> Response:
    """Lets go of the sheet."""
    home.uploads.forget(who.key)
    return RedirectResponse("/tables", HTTPStatus.SEE_OTHER)


@router.get("/tables/import/match.toml")
def match_file(home: AtHome, who: Keeper) -> Response:
    """How the sheet is read, as the command line takes it."""
    from quailwright.exchange.tables_in_match import match_text, questions_text

    kept = home.uploads.of(who.key, home.now())
    if kept is None:
        return _no_longer_kept()
    seen = _seen(home, kept)
    asked = questions_text([(one.about, one.text) for one in seen.asked])
    text = match_text(seen.match) + asked
    return _file(text.encode(), "application/toml; charset=utf-8", home, "match", "toml")


@router.post("/tables/undo")
def undo(request: Request, home: AtHome, who: Keeper, form: OwnForm) -> Response:
    """Takes back all entries of one import."""
    from quailwright.exchange.tables_in_back import imports, undoing
    from quailwright.exchange.tables_out import TABLES

    entries = home.desk.entries()
    import_id = str(form.get("import", ""))
    try:
        at = at_present(home.now(), home.flock().zone)
        home.record(*undoing(import_id, entries, at, who.name, home.fresh_id))
    except FlockUnusable:
        raise
    except QuailwrightError as error:
        return page(
            request, who, "tables.html", status=HTTPStatus.UNPROCESSABLE_ENTITY, tables=TABLES,
            taken=imports(entries)[::-1], error=error, undone="",
        )  # fmt: skip
    return RedirectResponse(f"/tables?undone={import_id}", HTTPStatus.SEE_OTHER)


def _seen(home: Home, kept: "Kept") -> "Preview":
    from quailwright.exchange.tables_in import previewed

    entries = home.desk.entries()
    return previewed(kept.book, kept.match, home.flock(), entries, home.now())


def _guide_page(
    request: Request, home: Home, who: Visitor, kept: "Kept", error: QuailwrightError | None = None
) -> Response:
    from quailwright.exchange import tables_in_page, tables_in_told

    seen = _seen(home, kept)
    return page(
        request,
        who,
        "tables_match.html",
        status=HTTPStatus.OK if error is None else HTTPStatus.UNPROCESSABLE_ENTITY,
        seen=seen,
        guide=tables_in_page.guide(seen, home.flock()),
        outcome=tables_in_told.outcome(seen, False),
        left=[tables_in_told.left_words(left) for left in seen.left],
        cannot=tables_in_told.CANNOT_BE_READ,
        days_left_out=tables_in_page.day_is_left_out(seen),
        most=_ROWS_SHOWN,
        error=error,
    )

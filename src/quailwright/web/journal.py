"""The journal: what was written, by whom and when; taking back and correcting."""

from http import HTTPStatus

from fastapi import APIRouter, Request
from starlette.responses import Response

from quailwright.exchange.journal_told import LINES_ON_A_PAGE, Line, with_id
from quailwright.exchange.record import corrected
from quailwright.guide.at_hand import known_names
from quailwright.journal.entries import KINDS, Retract, as_dict, kind_of
from quailwright.journal.findings import BadInput, FlockUnusable, QuailwrightError
from quailwright.language import mark, say
from quailwright.web.entering import sent_back, write
from quailwright.web.forms import as_typed, form_of, typed_fields
from quailwright.web.guard import Logger, MayNot, OwnForm, Reader, Visitor, refused
from quailwright.web.home import AtHome, Home
from quailwright.web.view import page

router = APIRouter(default_response_class=Response, include_in_schema=False)


@router.get("/journal")
def journal(
    request: Request, home: AtHome, who: Reader, text: str = "", kind: str = "", page_no: int = 1
) -> Response:
    """The journal, newest first; searched by a text and a kind."""
    fitting = home.desk.listing().found(text.strip(), kind)
    pages = max(1, -(-len(fitting) // LINES_ON_A_PAGE))
    shown = min(max(page_no, 1), pages)
    first = (shown - 1) * LINES_ON_A_PAGE
    return page(
        request,
        who,
        "journal.html",
        lines=fitting[first : first + LINES_ON_A_PAGE],
        total=len(fitting),
        text=text,
        kind=kind,
        kinds=list(KINDS),
        shown=shown,
        pages=pages,
    )


@router.get("/journal/{entry_id}")
def entry(request: Request, home: AtHome, who: Reader, entry_id: str) -> Response:
    """One entry: what it says, who wrote it, and how to mend it."""
    line = _line(home, entry_id)
    others = home.desk.lines()
    of = with_id(others, line.entry.entry) if isinstance(line.entry, Retract) else None
    return page(
        request,
        who,
        "entry.html",
        line=line,
        of=of,
        may_mend=not isinstance(line.entry, Retract) and who.may_write(kind_of(line.entry)),
        may_take_back=not refused(home, who, line.entry),
        corrects=with_id(others, line.corrects) if line.corrects else None,
    )


@router.post("/journal/{entry_id}/retract")
def retract(home: AtHome, who: Logger, entry_id: str, form: OwnForm) -> Response:
    """Takes an entry back."""
    _line(home, entry_id)
    why = str(form.get("why", "")).strip() or mark("taken back on its page")
    return sent_back(form, write(home, who, {"kind": "retract", "entry": entry_id, "why": why}))


@router.get("/journal/{entry_id}/correct")
def correction_form(request: Request, home: AtHome, who: Logger, entry_id: str) -> Response:
    """The entry's form, filled in with what it says."""
    line = _line(home, entry_id)
    if not who.may_write(kind_of(line.entry)):
        raise MayNot(say("That entry is for a keeper to correct."))
    return _correction_page(request, home, who, line, as_typed(as_dict(line.entry)))


@router.post("/journal/{entry_id}/correct")
def correct(request: Request, home: AtHome, who: Logger, entry_id: str, form: OwnForm) -> Response:
    """Takes an entry back and puts what was typed in its stead."""
    line, typed = _line(home, entry_id), typed_fields(form)
    why = typed.pop("why", mark("corrected on its page"))
    try:
        right = corrected(
            line.entry, typed, why, who.name, home.now(), home.flock().zone, home.fresh_id
        )
        sentence = refused(home, who, right)
        if sentence:
            raise MayNot(sentence)
        home.record(right)
    except FlockUnusable:
        raise
    except QuailwrightError as error:
        return _correction_page(request, home, who, line, typed, error)
    return sent_back(form, right)


def _line(home: Home, entry_id: str) -> Line:
    line = with_id(home.desk.lines(), entry_id.lower())
    if line is None:
        raise BadInput(say("There is no such entry. The journal lists them all."))
    return line


def _correction_page(
    request: Request,
    home: Home,
    who: Visitor,
    line: Line,
    values: dict[str, str],
    error: QuailwrightError | None = None,
) -> Response:
    if isinstance(line.entry, Retract):
        raise BadInput(say("What takes an entry back is not corrected: take it back too."))
    kind = kind_of(line.entry)
    said: dict[str, tuple[str, ...]] = {}
    for finding in error.findings if error is not None else ():
        name = finding.field.removeprefix("instead.")
        said[name] = (*said.get(name, ()), f"{say(finding.what)} {say(finding.mend)}")
    form = form_of(kind, known_names(home.flock(), kind), values=values, said=said)
    fields = {field.note.name for field in (*form.fields, *form.rest)}
    return page(
        request,
        who,
        "correct.html",
        status=HTTPStatus.OK if error is None else HTTPStatus.UNPROCESSABLE_ENTITY,
        line=line,
        form=form,
        values=values,
        error=error,
        elsewhere=[one for name, some in said.items() if name not in fields for one in some],
        may_insist=False,
    )

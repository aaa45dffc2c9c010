"""Sheets, cards and labels as PDF, and the lid of an incubator typed back."""

from collections.abc import Mapping
from http import HTTPStatus
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from quailwright.exchange.hatch_told import hatch_told
from quailwright.exchange.lid import lid_of
from quailwright.exchange.lid_back import LidBack, entries_back, lid_back
from quailwright.guide.round import day_at, units_of
from quailwright.journal.findings import BadInput, FlockUnusable, QuailwrightError
from quailwright.language import say
from quailwright.web.guard import Logger, MayNot, OwnForm, Reader, Visitor, refused
from quailwright.web.home import AtHome, Home
from quailwright.web.view import page

router = APIRouter(prefix="/paper", default_response_class=Response, include_in_schema=False)

_DIGITS = 5
"""Fewer than so many may stand in an address as a count."""


@router.get("/{what}.pdf")
def sheet_pdf(request: Request, home: AtHome, who: Reader, what: str) -> Response:
    """A sheet as PDF; of what, and on which paper, stands in the address."""
    from quailwright.exchange.sheets.press import Press, paper_of
    from quailwright.exchange.sheets.printed import printed, what_of

    known, now = what_of(what), home.now()
    flock = home.flock()
    asked = {name: value[:200] for name, value in request.query_params.items()}
    paper = paper_of(asked.get("paper", ""), flock)
    press = Press(home.desk.store, flock, now, now, paper, str(request.base_url))
    made = printed(press, known.name, asked)
    plain = made.name.encode("ascii", "replace").decode().replace("?", "-")
    named = f"inline; filename=\"{plain}\"; filename*=UTF-8''{quote(made.name)}"
    return Response(made.data, media_type="application/pdf", headers={"Content-Disposition": named})


@router.get("/back/hatch")
def lid(
    request: Request, home: AtHome, who: Logger, hatch: str = "", written: str = ""
) -> Response:
    """The form of the sheet on an incubator's lid."""
    shown = _form_of(home, hatch)
    number = int(written) if written.isdecimal() and len(written) < _DIGITS else 0
    return _lid_page(request, home, who, shown, {}, written=number)


@router.post("/back/hatch")
def lid_typed_back(
    request: Request, home: AtHome, who: Logger, form: OwnForm, hatch: str = ""
) -> Response:
    """Writes every cell that was filled in, or nothing."""
    now = home.now()
    shown = _form_of(home, hatch)
    typed = {name: value for name, value in form.items() if isinstance(value, str)}
    try:
        known = home.desk.known(now)
        entries = entries_back(shown, typed, typed.get("form", ""), who.name, now, known)
        sentence = refused(home, who, *entries)
        if sentence:
            raise MayNot(sentence)
        home.record(*entries)
    except FlockUnusable:
        raise
    except QuailwrightError as error:
        return _lid_page(request, home, who, shown, typed, error=error)
    query = urlencode({"hatch": shown.hatch, "written": len(entries)}, quote_via=quote)
    return RedirectResponse(f"/paper/back/hatch?{query}", HTTPStatus.SEE_OTHER)


def _form_of(home: Home, name: str) -> LidBack:
    """The form of a hatch; of the only one under way, where none is named. Raises BadInput."""
    flock, now = home.flock(), home.now()
    if not name:
        open_ = [hatch.name for hatch in flock.hatches_open()]
        if len(open_) != 1:
            raise BadInput(say("Say which hatch: open its sheet from the page of what is printed."))
        name = open_[0]
    report = hatch_told(home.desk.store, flock, name, now)
    return lid_back(flock, lid_of(flock, report), day_at(flock, now))


def _lid_page(
    request: Request,
    home: Home,
    who: Visitor,
    back: LidBack,
    typed: Mapping[str, str],
    *,
    error: QuailwrightError | None = None,
    written: int = 0,
) -> Response:
    flock = home.flock()
    return page(
        request,
        who,
        "paper_back_hatch.html",
        status=HTTPStatus.OK if error is None else HTTPStatus.UNPROCESSABLE_ENTITY,
        back=back,
        typed=typed,
        form_id=typed.get("form") or home.fresh_id(),
        error=error,
        written=written,
        on=day_at(flock, home.now()),
        units=units_of(flock),
    )

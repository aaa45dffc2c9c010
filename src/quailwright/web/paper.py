"""Paper: sheets and cards to print, and a week of paper typed back."""

from collections.abc import Mapping
from datetime import date
from functools import partial
from http import HTTPStatus
from typing import TYPE_CHECKING
from urllib.parse import urlencode

import segno
from fastapi import APIRouter, Request
from markupsafe import Markup
from starlette.responses import RedirectResponse, Response

from quailwright.exchange.paper import place_cards, round_sheet
from quailwright.exchange.paper_back import (
    MOST_DEATHS,
    WeekBack,
    entries_back,
    monday_of,
    week_back,
    week_before,
)
from quailwright.exchange.typed import EARLIEST_YEAR, day_typed
from quailwright.guide.round import day_at, units_of
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.journal.findings import BadInput, FlockUnusable, QuailwrightError
from quailwright.language import say
from quailwright.web.guard import Logger, MayNot, OwnForm, Reader, Visitor, refused
from quailwright.web.home import LOOPBACK, AtHome, Home
from quailwright.web.view import in_path, page

if TYPE_CHECKING:
    from quailwright.exchange.sitter import Asked

router = APIRouter(prefix="/paper", default_response_class=Response, include_in_schema=False)


@router.get("")
def paper(request: Request, home: AtHome, who: Reader, paper: str = "") -> Response:
    """What can be printed, on paper of which size, and what can be typed back."""
    from quailwright.exchange.sheets.press import paper_of
    from quailwright.exchange.sheets.printed import offered

    flock = home.flock()
    on = day_at(flock, home.now())
    return page(
        request,
        who,
        "paper.html",
        on=on,
        last_week=week_before(monday_of(on)),
        paper=paper_of(paper, flock),
        there=offered(flock, on),
        only_here=_only_here(request),
    )


@router.get("/round")
def sheet(request: Request, home: AtHome, who: Reader, day: str = "", days: str = "1") -> Response:
    """The round of a day or a week, to print."""
    flock = home.flock()
    on = day_at(flock, home.now())
    first, week = day_typed(day) or on, days == str(DAYS_A_WEEK)

    return page(
        request,
        who,
        "paper_round.html",
        sheet=round_sheet(flock, on, first, DAYS_A_WEEK if week else 1, partial(home.round, flock)),
        on=on,
        week=week,
    )


@router.get("/away")
def sitter(request: Request, home: AtHome, who: Reader) -> Response:
    """The sheet for whoever looks after the birds, for the days of the address."""
    from quailwright.exchange.sitter import hot_day, sitter_asked, sitter_sheet

    flock = home.flock()
    on = day_at(flock, home.now())
    typed = {name: request.query_params.get(name, "").strip()[:40] for name in _ABOUT_AWAY}
    told, error = None, None
    try:
        asked = sitter_asked(flock, on, *typed.values())
        make = partial(sitter_sheet, flock, on, asked)
        told = home.desk.once(flock, f"away {asked}", on, make)
    except BadInput as refused_for:
        error = refused_for
    return page(
        request,
        who,
        "paper_away.html",
        status=HTTPStatus.OK if error is None else HTTPStatus.UNPROCESSABLE_ENTITY,
        sheet=told,
        query=urlencode(
            {
                **{name: text for name, text in typed.items() if text},
                **({} if told is None else _days_of(told.asked)),
            }
        ),
        error=error,
        typed=typed,
        on=on,
        units=units_of(flock),
        hot=hot_day(flock),
    )


def _days_of(asked: "Asked") -> dict[str, str]:
    """The days away, as they stand in an address."""
    return {"from": asked.first.isoformat(), "until": asked.last.isoformat()}


_ABOUT_AWAY = ("from", "until", "morning", "midday", "evening", "scoop")


@router.get("/places")
def cards(request: Request, home: AtHome, who: Reader) -> Response:
    """A card for each place, with a code that opens its page on a phone."""
    flock = home.flock()
    on = day_at(flock, home.now())
    base = str(request.base_url)
    told = place_cards(flock, on)
    names = [card.place.place for card in told]
    return page(
        request,
        who,
        "paper_places.html",
        cards=told,
        codes={name: place_code(f"{base}places/{in_path(name)}") for name in names},
        only_here=_only_here(request),
        on=on,
        units=units_of(flock),
    )


def _only_here(request: Request) -> bool:
    """Whether the pages are asked for by an address that no phone can open."""
    return request.url.hostname in {host.strip("[]") for host in LOOPBACK}


def place_code(address: str) -> Markup:
    """A QR code (ISO/IEC 18004) as a drawing of its own: paths only, no styles."""
    code = segno.make(address, error="m", micro=False)
    return Markup(
        code.svg_inline(border=4, omitsize=True, dark="#000", light="#fff", svgclass="code")
    )


@router.get("/back")
def back(
    request: Request, home: AtHome, who: Logger, week: str = "", written: str = ""
) -> Response:
    """The form of a week of paper."""
    flock = home.flock()
    on = day_at(flock, home.now())
    shown = week_back(flock, _week_asked(week, on), on)
    return _back_page(request, home, who, shown, {}, written=_whole(written))


@router.post("/back")
def typed_back(
    request: Request, home: AtHome, who: Logger, form: OwnForm, week: str = ""
) -> Response:
    """Writes every cell that was filled in, or nothing."""
    flock, now = home.flock(), home.now()
    on = day_at(flock, now)
    shown = week_back(flock, _week_asked(week, on), on)
    typed = {name: value for name, value in form.items() if isinstance(value, str)}
    try:
        known = home.desk.known(now)
        entries = entries_back(
            shown, typed, typed.get("form", ""), who.name, now, flock.zone, known
        )
        sentence = refused(home, who, *entries)
        if sentence:
            raise MayNot(sentence)
        home.record(*entries)
    except FlockUnusable:
        raise
    except QuailwrightError as error:
        return _back_page(request, home, who, shown, typed, error=error)
    address = f"/paper/back?week={shown.first}&written={len(entries)}"
    return RedirectResponse(address, HTTPStatus.SEE_OTHER)


def _back_page(
    request: Request,
    home: Home,
    who: Visitor,
    week: WeekBack,
    typed: Mapping[str, str],
    *,
    error: QuailwrightError | None = None,
    written: int = 0,
) -> Response:
    on = day_at(home.flock(), home.now())
    return page(
        request,
        who,
        "paper_back.html",
        status=HTTPStatus.OK if error is None else HTTPStatus.UNPROCESSABLE_ENTITY,
        week=week,
        typed=typed,
        form_id=typed.get("form") or home.fresh_id(),
        error=error,
        written=written,
        deaths=range(MOST_DEATHS),
        on=on,
    )


def _whole(text: str) -> int:
    return int(text) if text.isdecimal() and len(text) < 4 else 0


def _week_asked(text: str, on: date) -> date:
    """The Monday of the week asked for (any of its days, or `2027-W18` of ISO 8601); this one."""
    day = day_typed(text) or on
    if day.year < EARLIEST_YEAR:
        raise BadInput(say("That week is too long ago. Type back one of these years."))
    first = monday_of(day)
    if first > on:
        raise BadInput(say("That week is still to come. Type back one that has begun."))
    return first

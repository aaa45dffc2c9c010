"""Breeding: the mating board, its cards to print, and rotation."""

from collections.abc import Mapping
from http import HTTPStatus
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from markupsafe import Markup
from starlette.responses import RedirectResponse, Response

from quailwright.guide.round import day_at
from quailwright.journal.entries import Entry, Pairing
from quailwright.journal.findings import BadInput, FlockUnusable, QuailwrightError
from quailwright.web.guard import Logger, MayNot, OwnForm, Reader, Visitor, refused
from quailwright.web.home import LOOPBACK, AtHome, Home
from quailwright.web.paper import place_code
from quailwright.web.view import in_path, page

if TYPE_CHECKING:
    from quailwright.exchange.matings_page import MatingsPage

router = APIRouter(prefix="/breeding", default_response_class=Response, include_in_schema=False)

_LONGEST = 2_000
_MOST_PENS = 200


@router.get("/board")
def board(request: Request, home: AtHome, who: Reader, written: str = "") -> Response:
    """Who goes with whom: a card for each pen, and a button that writes the pairings down."""
    return _board(request, home, who, written=written)


@router.post("/board")
def log_pairings(request: Request, home: AtHome, who: Logger, form: OwnForm) -> Response:
    """Writes the pairings that the board showed, all or none."""
    from quailwright.exchange.matings_page import Pairing as Planned
    from quailwright.exchange.matings_page import pairing_entries

    pairings, ids = [], []
    for n in range(_MOST_PENS):
        pen, cocks, hens = (
            [value for value in form.getlist(f"{name}-{n}") if isinstance(value, str)]
            for name in ("pen", "cocks", "hens")
        )
        if pen:
            pairings.append(Planned(pen[0], tuple(cocks), tuple(hens)))
            ids.append(str(form.get(f"id-{n}", "")))
    try:
        now, zone_name = home.now(), home.flock().zone
        entries = pairing_entries(pairings, ids, who.name, now, zone_name)
        known = home.desk.known(now)
        # A second tap, or one sent again: what is written down already is not written anew.
        entries = [entry for entry in entries if not _stands(entry, known.get(entry.id))]
        sentence = refused(home, who, *entries)
        if sentence:
            raise MayNot(sentence)
        home.record(*entries)
    except FlockUnusable:
        raise
    except QuailwrightError as error:
        return _board(request, home, who, error=error)
    return RedirectResponse(f"/breeding/board?written={len(pairings)}", HTTPStatus.SEE_OTHER)


def _board(
    request: Request,
    home: Home,
    who: Visitor,
    *,
    written: str = "",
    error: QuailwrightError | None = None,
) -> Response:
    from quailwright.exchange.matings_page import FIELDS, FIGURES, TRAIT_WORDS

    typed = _typed(request, FIELDS)
    told, wrong = None, error
    try:
        told = _told(home, typed)
    except BadInput as no:
        wrong = wrong or no
    asks = {name: value for name, value in typed.items() if value}
    nobody = wrong is not None and error is None and not asks
    return page(
        request,
        who,
        "breeding_board.html",
        status=HTTPStatus.OK if wrong is None or nobody else HTTPStatus.UNPROCESSABLE_ENTITY,
        told=told,
        error=wrong,
        nobody=nobody,
        typed=typed,
        asks=f"?{urlencode(asks)}" if asks else "",
        written=int(written) if written.isdecimal() and len(written) < 4 else 0,
        figures=FIGURES,
        traits=TRAIT_WORDS,
        ids=[home.fresh_id() for _ in told.pairings] if told is not None else [],
        may_pair=who.may_write("pairing"),
    )


@router.get("/board/cards")
def cards(request: Request, home: AtHome, who: Reader) -> Response:
    """The pens of the board as cards to print, each with a code that opens its place."""
    from quailwright.exchange.matings_page import FIELDS

    told, error = None, None
    try:
        told = _told(home, _typed(request, FIELDS))
    except BadInput as wrong:
        error = wrong
    base = str(request.base_url)
    codes: dict[str, Markup] = {}
    for card in told.pens if told is not None else ():
        if card.known:
            codes[card.pen] = place_code(f"{base}places/{in_path(card.pen)}")
    return page(
        request,
        who,
        "paper_pens.html",
        status=HTTPStatus.OK if error is None else HTTPStatus.UNPROCESSABLE_ENTITY,
        told=told,
        error=error,
        codes=codes,
        only_here=request.url.hostname in {host.strip("[]") for host in LOOPBACK},
        on=day_at(home.flock(), home.now()),
    )


@router.get("/rotation")
def rotation(request: Request, home: AtHome, who: Reader) -> Response:
    """Sons move on, daughters stay: pens, days, inbreeding ahead, and new blood."""
    from quailwright.exchange.rotation_page import FIELDS, SCHEMES, asked, rotation_page

    flock = home.flock()
    day = day_at(flock, home.now())
    typed = _typed(request, FIELDS)
    told, error = None, None
    try:
        ask = asked(typed)
        told = home.desk.once(
            flock, f"rotation {ask}", day, lambda: rotation_page(flock, day, ask)[1]
        )
    except BadInput as wrong:
        error = wrong
    nobody = error is not None and not any(typed.values())
    return page(
        request,
        who,
        "breeding_rotation.html",
        status=HTTPStatus.OK if error is None or nobody else HTTPStatus.UNPROCESSABLE_ENTITY,
        told=told,
        error=error,
        nobody=nobody,
        typed=typed,
        schemes=SCHEMES,
    )


def _told(home: Home, typed: Mapping[str, str]) -> "MatingsPage":
    """The board as asked for, kept until the flock changes. Raises BadInput."""
    from quailwright.exchange.matings_page import asked, matings_page

    flock, ask = home.flock(), asked(typed)
    day = day_at(flock, home.now())
    return home.desk.once(flock, f"board {ask}", day, lambda: matings_page(flock, day, ask)[1])


def _typed(request: Request, fields: tuple[str, ...]) -> Mapping[str, str]:
    return {name: request.query_params.get(name, "")[:_LONGEST] for name in fields}


def _stands(entry: Entry, known: Entry | None) -> bool:
    """Whether a pairing is in the journal under its id, be it of another moment."""
    return (
        isinstance(entry, Pairing)
        and isinstance(known, Pairing)
        and (entry.pen, entry.cocks, entry.hens) == (known.pen, known.cocks, known.hens)
    )

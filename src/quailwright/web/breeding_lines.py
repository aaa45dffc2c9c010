"""Breeding: lines, and the family of a bird."""

from http import HTTPStatus

from fastapi import APIRouter, Request
from starlette.responses import Response

from quailwright.flock.state import Flock
from quailwright.guide.at_hand import known_names
from quailwright.guide.round import day_at
from quailwright.journal.findings import BadInput
from quailwright.language import say
from quailwright.web.forms import Form, form_of
from quailwright.web.guard import Reader, Visitor
from quailwright.web.home import AtHome
from quailwright.web.view import page

router = APIRouter(default_response_class=Response, include_in_schema=False)

_FIELDS = {
    "bird": ("bird", "sex", "group", "sire", "dam", "hatched_on"),
    "pairing": ("pen", "cocks", "hens"),
    "hen_laid": ("bird", "eggs", "days"),
}


def _forms(flock: Flock, who: Visitor) -> list[Form]:
    labels = {
        "bird": say("A bird by its ring"),
        "pairing": say("A pairing: which cocks run with which hens"),
        "hen_laid": say("Eggs of one hen"),
    }
    kinds = [kind for kind in _FIELDS if kind != "hen_laid" or flock.birds]
    return [
        form_of(kind, known_names(flock, kind), {}, _FIELDS[kind], labels[kind])
        for kind in kinds
        if who.may_write(kind)
    ]


@router.get("/breeding")
def lines(request: Request, home: AtHome, who: Reader) -> Response:
    """The flock's lines, and the way to matings, birds to keep and colours."""
    from quailwright.exchange.lines_page import lines_page

    flock = home.flock()
    day = day_at(flock, home.now())
    return page(
        request,
        who,
        "breeding.html",
        told=home.desk.once(flock, "breeding", day, lambda: lines_page(flock, day)[1]),
        birds=list(flock.birds),
        forms=_forms(flock, who),
    )


@router.get("/breeding/family")
def family(request: Request, home: AtHome, who: Reader, bird: str = "") -> Response:
    """One bird: its forebears, sibs, chicks, weights and eggs."""
    from quailwright.exchange.family_page import family

    flock = home.flock()
    day = day_at(flock, home.now())
    ring, told, error = bird.strip(), None, None
    if ring:
        try:
            told = home.desk.once(flock, f"family {ring}", day, lambda: family(flock, ring, day))
        except BadInput as wrong:
            error = wrong
    return page(
        request,
        who,
        "family.html",
        status=HTTPStatus.OK if error is None else HTTPStatus.UNPROCESSABLE_ENTITY,
        told=told,
        error=error,
        birds=list(flock.birds),
        asked=ring,
    )

"""Breeding: the odds of a cross, what parents hide, and the table of colours."""

from http import HTTPStatus
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.responses import Response

from quailwright.journal.findings import BadInput
from quailwright.web.guard import Reader
from quailwright.web.home import AtHome
from quailwright.web.view import page

router = APIRouter(default_response_class=Response, include_in_schema=False)


@router.get("/breeding/cross")
def cross(request: Request, home: AtHome, who: Reader) -> Response:
    """What colours a cross makes, and what its chicks tell of the parents."""
    from quailwright.exchange.cross_page import FIELDS, FIGURES, cross_page

    flock = home.flock()
    asked = request.query_params
    typed = {name: asked.get(name, "")[:200] for name in FIELDS}
    counted = {name: text[:20] for name, text in asked.items() if name not in FIELDS}
    told, error = None, None
    try:
        told = cross_page(flock, typed, counted)
    except BadInput as wrong:
        error = wrong
        told = cross_page(flock, {}, {})
    return page(
        request,
        who,
        "breeding_cross.html",
        status=HTTPStatus.OK if error is None else HTTPStatus.UNPROCESSABLE_ENTITY,
        told=told,
        error=error,
        typed=typed,
        figures=FIGURES,
        address=f"{request.url.path}?{urlencode({**typed, **counted})}",
    )


@router.get("/breeding/colours")
def colours(request: Request, home: AtHome, who: Reader) -> Response:
    """The table of colours, with what is in dispute and whence it is known."""
    from quailwright.exchange.colours_told import colours_told

    return page(request, who, "breeding_colours.html", table=colours_told())

"""Feed mixed at home: blends of bought feeds, rations of ingredients, and what birds need."""

from http import HTTPStatus

from fastapi import APIRouter, Request
from starlette.responses import Response

from quailwright.guide.round import day_at
from quailwright.web.guard import Logger, OwnForm, Reader
from quailwright.web.home import AtHome
from quailwright.web.view import page

router = APIRouter(prefix="/feed", default_response_class=Response, include_in_schema=False)


@router.get("/blend")
def blend(request: Request, home: AtHome, who: Reader) -> Response:
    """Feeds blended to a target; what was typed is in the address, and nothing is written."""
    from quailwright.exchange.blend_page import blend_page, names

    flock = home.flock()
    query = request.query_params
    typed = {name: query.get(name, "").strip() for name in names()}
    told = blend_page(flock, day_at(flock, home.now()), typed)
    return page(request, who, "blend.html", status=_status(told.elsewhere), told=told)


@router.get("/ration")
def ration(request: Request, home: AtHome, who: Reader) -> Response:
    """What a ration is asked."""
    from quailwright.exchange.ration_page import ration_page

    return page(request, who, "ration.html", told=ration_page(home.flock()))


@router.post("/ration")
def reckon_ration(request: Request, home: AtHome, who: Logger, form: OwnForm) -> Response:
    """The ration that was asked for. Whole scoops take seconds; nothing is written."""
    from quailwright.exchange.ration_page import names, ration_page

    flock = home.flock()
    typed = {name: str(form.get(name, "")).strip() for name in names(flock)}
    told = ration_page(flock, typed)
    return page(request, who, "ration.html", status=_status(told.elsewhere), told=told)


@router.get("/needs")
def needs(request: Request, home: AtHome, who: Reader, of: str = "") -> Response:
    """What birds of a stage need, or what ingredients hold: each figure with its source."""
    from quailwright.exchange.needs_page import needs_page

    return page(request, who, "needs.html", told=needs_page(of))


def _status(elsewhere: list[str]) -> int:
    return HTTPStatus.UNPROCESSABLE_ENTITY if elsewhere else HTTPStatus.OK

"""Housing: room by pen, the standards of room to choose from, droppings, bedding and compost."""

from fastapi import APIRouter, Request
from starlette.responses import Response

from quailwright.guide.round import day_at
from quailwright.web.guard import Reader
from quailwright.web.home import AtHome
from quailwright.web.view import page

router = APIRouter(default_response_class=Response, include_in_schema=False)


@router.get("/housing")
def housing(request: Request, home: AtHome, who: Reader, standard: str = "") -> Response:
    """Room by pen, by the standard asked for, else by the one chosen; all of them side by side."""
    from quailwright.exchange import housing_told

    flock = home.flock()
    told = housing_told.housing_told(flock, day_at(flock, home.now()), standard)
    return page(request, who, "housing.html", told=told, words=housing_told, units=told.units)


@router.get("/manure")
def manure(request: Request, home: AtHome, who: Reader, bedding: str = "") -> Response:
    """Droppings and bedding by week, and what to mix for compost."""
    from quailwright.exchange import manure_told
    from quailwright.husbandry.compost import MATERIALS

    flock = home.flock()
    told = manure_told.manure_told(flock, day_at(flock, home.now()), bedding)
    return page(
        request, who, "manure.html", told=told, words=manure_told, units=told.units,
        materials=MATERIALS,
    )  # fmt: skip

"""The room that readings take: how many there are, which are kept one by one, and for how long."""

from http import HTTPStatus

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from quailwright.exchange.readings_room import MOST_DAYS, keep, readings_room
from quailwright.exchange.readings_room_told import room_told
from quailwright.husbandry import facts
from quailwright.journal.findings import BadInput
from quailwright.language import figure
from quailwright.web.guard import Keeper, OwnForm, Reader, Visitor
from quailwright.web.home import AtHome, Home
from quailwright.web.view import page

router = APIRouter(default_response_class=Response, include_in_schema=False)

_FIELDS = ("days", "after_hatch_days")


@router.get("/settings/readings")
def room(request: Request, home: AtHome, who: Reader) -> Response:
    """What readings take, and what is kept one by one."""
    return _page(request, home, who)


@router.post("/settings/readings")
def choose(request: Request, home: AtHome, who: Keeper, form: OwnForm) -> Response:
    """Writes down for how long readings are kept one by one."""
    typed = {name: str(form.get(name, "")) for name in _FIELDS}
    try:
        keep(home.desk.store, typed["days"], typed["after_hatch_days"])
    except BadInput as error:
        return _page(request, home, who, typed, error)
    return RedirectResponse("/settings/readings", HTTPStatus.SEE_OTHER)


def _page(
    request: Request,
    home: Home,
    who: Visitor,
    typed: dict[str, str] | None = None,
    error: BadInput | None = None,
) -> Response:
    flock = home.flock()
    told = readings_room(home.desk.store, flock, home.now())
    kept = {"days": str(told.keeping.days), "after_hatch_days": str(told.keeping.after_hatch_days)}
    last = home.caretaker.told("readings")
    return page(
        request,
        who,
        "readings_room.html",
        status=HTTPStatus.OK if error is None else HTTPStatus.UNPROCESSABLE_ENTITY,
        sensors=[
            (one.place, one.instrument, figure(one.readings, ",d"), figure(one.kept, ",d"))
            for one in told.sensors
        ],
        sentences=room_told(told, flock.zone),
        failed=last.sentence if last is not None and last.failed else "",
        typed=typed or kept,
        error=error,
        least=int(facts.value("sensors.keep_days_least")),
        most=MOST_DAYS,
        may=who.keeps,
    )

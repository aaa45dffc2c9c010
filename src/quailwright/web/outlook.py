"""The outlook: the weeks ahead against the goal, and what a question would change."""

from fastapi import APIRouter, Request
from starlette.responses import Response

from quailwright.guide.round import units_of
from quailwright.web.guard import Reader
from quailwright.web.home import AtHome
from quailwright.web.view import page

router = APIRouter(default_response_class=Response, include_in_schema=False)


@router.get("/outlook")
def outlook(
    request: Request,
    home: AtHome,
    who: Reader,
    ask: str = "",
    lamp_h: str = "",
    fewer_cocks: str = "",
) -> Response:
    """Eggs, hens and feed of the weeks ahead; with `ask`, as they would be then."""
    from quailwright.exchange.outlook_page import outlook_page

    flock, now = home.flock(), home.now()
    typed = {"ask": ask, "lamp_h": lamp_h, "fewer_cocks": fewer_cocks}
    told = home.desk.with_readings(
        flock,
        f"outlook {typed}",
        now,
        flock.hatches_open(),
        lambda: outlook_page(home.desk.store, flock, now, typed),
    )
    return page(request, who, "outlook.html", told=told, units=units_of(flock))

"""The outlook: the weeks ahead against the goal, and what a question would change."""

from collections.abc import Callable
from datetime import datetime
from typing import TypeVar

from fastapi import APIRouter, Request
from starlette.responses import Response

from quailwright.flock.state import Flock
from quailwright.guide.round import units_of
from quailwright.web.guard import Reader
from quailwright.web.home import AtHome, Home
from quailwright.web.view import page

T = TypeVar("T")

router = APIRouter(default_response_class=Response, include_in_schema=False)


def once_an_hour(home: Home, flock: Flock, now: datetime) -> "Callable[[str, Callable[[], T]], T]":
    """What is made under a name of the flock that stands now, for all who ask within the hour."""
    return home.desk.once_an_hour(flock, now)


@router.get("/outlook")
def outlook(
    request: Request,
    home: AtHome,
    who: Reader,
    ask: str = "",
    lamp_h: str = "",
    fewer_cocks: str = "",
    fewer_hens: str = "",
    set_eggs: str = "",
    set_on: str = "",
    set_of: str = "",
) -> Response:
    """Eggs, hens and feed of the weeks ahead; with `ask`, as they would be then."""
    from quailwright.exchange.outlook_kept import kept
    from quailwright.exchange.outlook_page import outlook_page

    flock, now = home.flock(), home.now()
    typed = {
        "ask": ask, "lamp_h": lamp_h, "fewer_cocks": fewer_cocks, "fewer_hens": fewer_hens,
        "set_eggs": set_eggs, "set_on": set_on, "set_of": set_of,
    }  # fmt: skip
    told = kept(home.desk, now) if home.settings.office and not any(typed.values()) else None
    if told is None:
        open_now = list(flock.hatches_open())
        once = once_an_hour(home, flock, now)
        told = home.desk.with_readings(
            flock, f"outlook {typed}", now, open_now,
            lambda: outlook_page(home.desk.store, flock, now, typed, once),
        )  # fmt: skip
    return page(request, who, "outlook.html", told=told, units=units_of(flock))

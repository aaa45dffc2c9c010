"""The JSON API of the calendar."""

from typing import Annotated

from fastapi import APIRouter, Query
from starlette.responses import Response

from quailwright.journal.moments import until
from quailwright.language import spoken
from quailwright.web.api import On, Told, as_of
from quailwright.web.guard import Reader
from quailwright.web.home import AtHome
from quailwright.web.openapi import says

router = APIRouter(prefix="/api", default_response_class=Response)


@router.get("/calendar", responses=says("CalendarShape", "Refusal"))
def calendar(
    home: AtHome,
    who: Reader,
    on: On = None,
    kinds: Annotated[
        str, Query(description="Only these, with commas between; else all but round.")
    ] = "",
    round_at: Annotated[
        str, Query(alias="round", description="The daily round too, at this time.")
    ] = "",
) -> Response:
    """What lies ahead, as `calendar --json`."""
    from quailwright.exchange.calendar_shape import calendar_shape
    from quailwright.exchange.calendar_told import events_of_store, wanted_typed

    flock, asked = as_of(home, on)
    chosen = wanted_typed(spoken(), kinds, True, round_at)
    events = events_of_store(home.desk.store, flock, home.desk.entries(), asked, chosen)
    return Told(calendar_shape(events, until(asked, flock.zone).moment(flock.zone), flock.zone))

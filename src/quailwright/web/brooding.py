"""A brooder: heat by week, what its heater holds, and when heat can end; page and API."""

from http import HTTPStatus
from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from quailwright.guide.round import day_at, units_of
from quailwright.web.api import On, Told, as_of
from quailwright.web.guard import Reader
from quailwright.web.home import AtHome
from quailwright.web.openapi import says
from quailwright.web.view import page

router = APIRouter(default_response_class=Response)

Text = Annotated[str | None, Query(max_length=80)]


@router.get("/brooding", include_in_schema=False)
def brooding(request: Request, home: AtHome, who: Reader) -> Response:
    """Heat by week and what holds it; what was typed is in the address, and nothing is written."""
    from quailwright.exchange.brooding_asked import names
    from quailwright.exchange.brooding_page import brooding_page

    flock, query = home.flock(), request.query_params
    on = day_at(flock, home.now())
    typed = {name: query[name].strip()[:80] for name in names(on) if name in query}
    told = brooding_page(home.desk.store, flock, on, typed)
    status = HTTPStatus.UNPROCESSABLE_ENTITY if told.told is None else HTTPStatus.OK
    return page(
        request, who, "brooding.html", status=status, asked_page=told, units=units_of(flock)
    )


@router.get("/api/brooding", responses=says("BroodingShape", "Refusal"))
def told(
    home: AtHome,
    who: Reader,
    on: On = None,
    group: Text = None,
    place: Text = None,
    birds: Annotated[Text, Query(description="Their number, if not that of the group.")] = None,
    age: Annotated[Text, Query(description="Days, if not that of the group.")] = None,
    room: Annotated[Text, Query(description="Degrees C, or F with an F.")] = None,
    box: Annotated[Text, Query(description="Inside, cm: 80x60x45, or 32x24x18in.")] = None,
    wall: Annotated[Text, Query(description="Of what the walls are.")] = None,
    thickness: Annotated[Text, Query(description="Of the walls, mm.")] = None,
    lid: Annotated[Text, Query(description="closed, half or open.")] = None,
    litter: Annotated[Text, Query(description="Its depth, cm.")] = None,
    air_changes: Annotated[Text, Query(description="An hour; else by the birds' need.")] = None,
    watts: Annotated[Text, Query(description="Of the heater.")] = None,
    price: Annotated[Text, Query(description="Of a kWh.")] = None,
    night: Annotated[
        list[str] | None,
        Query(max_length=12, description="Lowest night of a month, degrees C: 2027-05=8."),
    ] = None,
    room_in: Annotated[
        list[str] | None,
        Query(max_length=12, description="The room in a month, degrees C: 2027-06=16."),
    ] = None,
) -> Response:
    """Heat by week, what holds it and when it can end, as `brooding --json`."""
    from quailwright.exchange.brooding_asked import given
    from quailwright.exchange.brooding_shape import brooding_shape
    from quailwright.exchange.brooding_told import brooding_of

    flock, asked = as_of(home, on)
    typed = {
        "group": group, "place": place, "birds": birds, "age": age, "room": room, "box": box,
        "wall": wall, "thickness": thickness, "lid": lid, "litter": litter,
        "air_changes": air_changes, "watts": watts, "price": price,
    }  # fmt: skip
    found = brooding_of(home.desk.store, flock, day_at(flock, asked), given(typed, night, room_in))
    return Told(brooding_shape(found))

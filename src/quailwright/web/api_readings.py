"""The JSON API of readings: in from CSV, back as a series or summed up."""

from datetime import date, datetime, timedelta
from typing import Annotated, Literal

from fastapi import APIRouter, Query
from starlette.responses import Response

from quailwright.exchange.readings_report import report, report_shape
from quailwright.exchange.readings_taken import Sent, extents_shape, series, take_in
from quailwright.exchange.typed import with_offset
from quailwright.journal.findings import BadInput
from quailwright.journal.moments import NotAMoment, instant, parse_moment, until
from quailwright.web.api import Told
from quailwright.web.guard import Logger, OwnBody, Reader
from quailwright.web.home import AtHome, Home
from quailwright.web.openapi import says, takes_text

router = APIRouter(prefix="/api/readings", default_response_class=Response)

Place = Annotated[str, Query(description="Where the instrument hung.", max_length=80)]
From = Annotated[
    str | None, Query(alias="from", description="First day, or an instant; else the first kept.")
]
Until = Annotated[
    str | None, Query(description="Last day, or an instant before which; else the last kept.")
]


def _span(home: Home, from_: str | None, until_: str | None) -> tuple[datetime | None, ...]:
    """The span that is meant. Raises BadInput."""
    zone_name = home.flock().zone
    first, last = (
        None if text is None else _moment(home, name, text, zone_name)
        for name, text in (("from", from_), ("until", until_))
    )
    start = None if first is None else instant(_text(first), zone_name, hour=0)
    if last is None or isinstance(last, datetime):
        return start, last
    return start, until(last, zone_name).moment(zone_name) + timedelta(seconds=1)


def _moment(home: Home, name: str, text: str, zone_name: str) -> date | datetime:
    try:
        return parse_moment(with_offset(text, home.now(), zone_name))
    except NotAMoment as error:
        raise BadInput(f"{name}: {error}") from None


def _text(moment: date | datetime) -> str:
    return moment.isoformat()


@router.get("", responses=says("Extents", "Refusal"))
def extents(home: AtHome, who: Reader) -> Response:
    """What readings there are: by place and instrument how many, the first and the last."""
    return Told(extents_shape(home.desk.store.reading_extents()))


@router.post("", responses=says("ReadingsTaken", "Refusal"), openapi_extra=takes_text("text/csv"))
def take(
    home: AtHome,
    who: Logger,
    body: OwnBody,
    place: Place,
    instrument: Annotated[str, Query(description="Which, if there are several.")] = "",
    timezone: Annotated[str, Query(description="Zone of times without one.")] = "",
    units: Annotated[Literal["c", "f"] | None, Query(description="Of temperature.")] = None,
    dates: Annotated[
        Literal["dmy", "mdy", "ymd"] | None, Query(description="Order of day, month and year.")
    ] = None,
    dry_run: Annotated[bool, Query(description="Say what would be kept; keep nothing.")] = False,
    new_place: Annotated[
        bool, Query(description="The place may be one that no entry has named.")
    ] = False,
) -> Response:
    """Takes in readings from a CSV file, all or none, as `readings import`; a repeat is harmless.

    The body is the file itself, up to 2 MB: send a longer one in parts.
    """
    sent = Sent(body, place, instrument, timezone, units, dates, dry_run, new_place)
    return Told(take_in(home.desk.store, home.flock(), sent, home.now()))


@router.get("/series", responses=says("ReadingsSeries", "Refusal"))
def read(
    home: AtHome,
    who: Reader,
    place: Place,
    instrument: Annotated[str | None, Query(description="Only that; else all there.")] = None,
    from_: From = None,
    until_: Annotated[Until, Query(alias="until")] = None,
    step_minutes: Annotated[
        int, Query(ge=0, le=10_080, description="Means of so many minutes; 0: each reading.")
    ] = 0,
) -> Response:
    """What instruments at a place showed between two moments, as shown."""
    start, end = _span(home, from_, until_)
    return Told(series(home.desk.store, place, instrument, start, end, step_minutes))


@router.get("/summary", responses=says("ReadingsReport", "Refusal"))
def summary(
    home: AtHome,
    who: Reader,
    place: Place,
    from_: From = None,
    until_: Annotated[Until, Query(alias="until")] = None,
) -> Response:
    """What the readings of a place say, as `readings show --json`."""
    start, end = _span(home, from_, until_)
    told = report(home.desk.store, home.flock(), place, start, end)
    return Told(report_shape(told))

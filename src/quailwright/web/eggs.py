"""Eggs: what was laid by week, by whom and where it went, and the form to log more."""

from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.responses import Response

from quailwright.guide.at_hand import known_names
from quailwright.guide.round import day_at
from quailwright.language import say
from quailwright.web.forms import form_of
from quailwright.web.guard import Reader
from quailwright.web.home import AtHome
from quailwright.web.view import page

router = APIRouter(default_response_class=Response, include_in_schema=False)


@router.get("/eggs")
def eggs(
    request: Request,
    home: AtHome,
    who: Reader,
    by: str = "group",
    of: str = "",
    weeks: str = "",
) -> Response:
    """Eggs of the last weeks, of all or of one group or place."""
    from quailwright.exchange.eggs_chart import eggs_chart
    from quailwright.exchange.eggs_page import WEEKS_TO_CHOOSE, eggs_page, first_day, weeks_asked

    flock, now = home.flock(), home.now()
    on, asked = day_at(flock, now), weeks_asked(weeks)
    entries = home.desk.since(first_day(flock, on, asked), now)
    told = eggs_page(flock, on, entries, now, by, asked, of)
    names = known_names(flock, "eggs_collected")
    forms = [
        form_of(
            "eggs_collected",
            names,
            {"group": group.name},
            ("eggs", "cracked"),
            say("Eggs of {group}", group=group.name),
        )
        for group in told.layers
    ]
    query = urlencode({"by": by, "of": of, "weeks": asked})
    return page(
        request,
        who,
        "eggs.html",
        told=told,
        chart=eggs_chart(told.weeks, told.goal),
        by=by,
        of=of,
        asked=asked,
        choices=WEEKS_TO_CHOOSE,
        address=f"{request.url.path}?{query}",
        forms=forms,
        nothing=not told.total and not told.layers,
    )

"""Feed ahead: when each bag runs out, what to order, what is used, and forms to write it down."""

from fastapi import APIRouter, Request
from starlette.responses import Response

from quailwright.guide.at_hand import known_names
from quailwright.guide.round import units_of
from quailwright.language import say
from quailwright.web.forms import form_of
from quailwright.web.guard import Reader
from quailwright.web.home import AtHome
from quailwright.web.outlook import once_an_hour
from quailwright.web.view import page

router = APIRouter(default_response_class=Response, include_in_schema=False)


@router.get("/feed")
def feed(request: Request, home: AtHome, who: Reader) -> Response:
    """What feed is there, when it runs out, and what was used of late."""
    from quailwright.exchange.feed_page import CAUTIONS, feed_page
    from quailwright.exchange.outlook_page import as_things_are

    flock, now = home.flock(), home.now()
    once = once_an_hour(home, flock, now)
    _, ahead = as_things_are(home.desk.store, flock, now, once)
    told = once(f"feed on {ahead.as_of}", lambda: feed_page(ahead, flock))
    asks = (
        ("feed_given", ("feed", "kg", "place"), say("Feed given")),
        ("feed_bought", ("feed", "kg", "cost", "mixed_on"), say("Feed bought")),
        ("feed_counted", ("feed", "kg"), say("Feed weighed in the store")),
    )
    forms = [
        form_of(kind, known_names(flock, kind), {}, fields, label)
        for kind, fields, label in asks
        if who.may_write(kind)
    ]
    return page(
        request,
        who,
        "feed_ahead.html",
        told=told,
        cautions=CAUTIONS,
        forms=forms,
        units=units_of(flock),
    )

"""Eggs: what was laid by week, by whom and where it went, and the form to log more."""

from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.responses import Response

from quailwright.exchange.store_told import (
    SHOWN,
    EggStore,
    labels,
    order_chances,
    store_told,
)
from quailwright.flock.state import Flock
from quailwright.guide.at_hand import known_names
from quailwright.guide.round import day_at
from quailwright.language import say
from quailwright.web.forms import form_of
from quailwright.web.guard import Reader
from quailwright.web.home import AtHome, Home
from quailwright.web.outlook import once_an_hour
from quailwright.web.view import page

_ON_PAGE = 8
"""Times of who received what that the page shows first."""

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


@router.get("/eggs/store")
def store(request: Request, home: AtHome, who: Reader, of: str = "", all: str = "") -> Response:
    """Lots, boxes and orders, what may not be sold, and who received what."""
    flock = home.flock()
    on = day_at(flock, home.now())
    told = stored(home, flock, of, len(flock.eggs_gone) if all or of else _ON_PAGE)
    asks = (
        ("eggs_out", ("use", "eggs", "group", "box", "order", "to", "income"),
         say("Eggs eaten, sold or given")),
        ("eggs_boxed", ("box", "eggs", "group", "laid_from", "laid_to"), say("Eggs into a box")),
        ("eggs_ordered", ("order", "eggs", "on", "to", "price_per_egg"), say("An order")),
        ("egg_rule", ("storage", "keeps_days", "checked_on", "said_by"),
         say("How long eggs may be kept")),
    )  # fmt: skip
    forms = [
        form_of(kind, known_names(flock, kind), {}, fields, label)
        for kind, fields, label in asks
        if who.may_write(kind)
    ]
    return page(request, who, "egg_store.html", told=told, forms=forms, on=on)


def stored(home: Home, flock: Flock, of: str = "", shown: int | None = None) -> EggStore:
    """The egg store as it stands, with the chance to fill each order."""
    now = home.now()
    on = day_at(flock, now)
    chances = None
    if any(order.left for order in flock.orders.values()):
        from quailwright.exchange.outlook_page import as_things_are

        _, ahead = as_things_are(home.desk.store, flock, now, once_an_hour(home, flock, now))
        chances = order_chances(flock, on, ahead)
    return store_told(
        flock, on, home.desk.entries(), chances, of, SHOWN if shown is None else shown
    )


@router.get("/eggs/labels")
def egg_labels(request: Request, home: AtHome, who: Reader) -> Response:
    """Labels to print, of boxes and lots that may be sold."""
    flock = home.flock()
    on = day_at(flock, home.now())
    told = store_told(flock, on)
    return page(
        request, who, "egg_labels.html", labels=labels(flock, on), told=told, on=on,
        holding_set=flock.holding is not None and bool(flock.holding.label_contact),
    )  # fmt: skip

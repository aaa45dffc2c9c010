"""Light: the day's length, when to set the lamp, and what follows without one."""

from http import HTTPStatus
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.responses import Response

from quailwright.guide.at_hand import known_names
from quailwright.guide.round import day_at
from quailwright.journal.findings import BadInput
from quailwright.language import say
from quailwright.web.forms import as_typed, form_of
from quailwright.web.guard import Reader
from quailwright.web.home import AtHome
from quailwright.web.view import page

router = APIRouter(default_response_class=Response, include_in_schema=False)


@router.get("/light")
def light(request: Request, home: AtHome, who: Reader) -> Response:
    """The light of a day and a year, and dated steps for the lamp's timer."""
    from quailwright.exchange.light_page import (
        END_WORDS,
        FIELDS,
        FIGURES,
        asked,
        light_page,
        place_known,
    )

    flock = home.flock()
    day = day_at(flock, home.now())
    typed = {name: request.query_params.get(name, "") for name in FIELDS}
    told, error, known = None, None, place_known(flock)
    if known:
        try:
            ask = asked(typed)
            told = home.desk.once(
                flock, f"light {ask}", day, lambda: light_page(flock, day, ask)[1]
            )
        except BadInput as wrong:
            error = wrong
    holding = flock.holding
    so_far = {
        name: getattr(holding, name)
        for name in ("light_target_h", "lamp_on", "lamp_off", "rests_in_winter")
        if holding is not None and getattr(holding, name) is not None
    }
    form = form_of(
        "holding",
        known_names(flock, "holding"),
        {},
        ("lamp_on", "lamp_off", "light_target_h"),
        say("The lamp's times, and what you aim for"),
        as_typed(so_far),
    )
    return page(
        request,
        who,
        "light.html",
        status=HTTPStatus.OK if error is None else HTTPStatus.UNPROCESSABLE_ENTITY,
        told=told,
        known=known,
        error=error,
        typed=typed,
        address=f"{request.url.path}?{urlencode(typed)}",
        ends=END_WORDS,
        figures=FIGURES,
        form=form if who.may_write("holding") else None,
    )

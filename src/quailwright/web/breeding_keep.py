"""Whom to keep for breeding, what it brings now and over generations."""

from http import HTTPStatus
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.responses import Response

from quailwright.guide.round import day_at
from quailwright.journal.findings import BadInput
from quailwright.web.guard import Reader
from quailwright.web.home import AtHome
from quailwright.web.view import page

router = APIRouter(default_response_class=Response, include_in_schema=False)


@router.get("/breeding/keep")
def keep(request: Request, home: AtHome, who: Reader) -> Response:
    """Birds ranked by what they pass on towards what the keeper wants, and whom to keep."""
    from quailwright.exchange.gain_page import gain_of, gain_page
    from quailwright.exchange.keep_page import (
        COUNTS,
        FIELDS,
        FIGURES,
        asked,
        default_counts,
        hatches_with_rings,
        keep_page,
    )

    flock = home.flock()
    day = day_at(flock, home.now())
    typed = {name: request.query_params.get(name, "") for name in FIELDS}
    ahead = request.query_params.get("ahead", "") == "yes"
    told, gain, error = None, None, None
    try:
        ask = asked(typed)
        told = home.desk.once(flock, f"keep {ask}", day, lambda: keep_page(flock, day, ask)[1])
        if ahead:
            gains = gain_of(told, ask)
            gain = home.desk.once(
                flock, f"gain {gains}", day, lambda: gain_page(flock, day, gains)[1]
            )
    except BadInput as wrong:
        error = wrong
    return page(
        request,
        who,
        "breeding_keep.html",
        status=HTTPStatus.OK if error is None else HTTPStatus.UNPROCESSABLE_ENTITY,
        told=told,
        gain=gain,
        error=error,
        typed=typed,
        shown=told.counts
        if told is not None
        else default_counts(flock) | {name: value for name, value in typed.items() if value},
        counts=COUNTS,
        hatches=hatches_with_rings(flock),
        figures=FIGURES,
        address=f"{request.url.path}?{urlencode({**typed, 'ahead': 'yes' if ahead else ''})}",
        further=f"{request.url.path}?{urlencode({**typed, 'ahead': 'yes'})}#ahead",
    )

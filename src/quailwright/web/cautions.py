"""Cautions: every hazard, who decides, the keeper's own numbers to ring, and on whose word."""

from fastapi import APIRouter, Request
from starlette.responses import Response

from quailwright.guide.cautions import all_cautions, deciding_contacts
from quailwright.web.guard import Reader
from quailwright.web.home import AtHome
from quailwright.web.view import page

router = APIRouter(default_response_class=Response, include_in_schema=False)


@router.get("/cautions")
def cautions(request: Request, home: AtHome, who: Reader) -> Response:
    """Every caution with who decides, and whom of them the keeper can ring."""
    flock = home.flock()
    return page(
        request,
        who,
        "cautions_all.html",
        told=[(each, deciding_contacts(each, flock)) for each in all_cautions()],
        contacts=list(flock.contacts.values()),
    )

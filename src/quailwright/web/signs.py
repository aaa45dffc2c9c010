"""What looks wrong, in full, and what is watched to see it."""

from fastapi import APIRouter, Request
from starlette.responses import Response

from quailwright.guide.round import day_at
from quailwright.guide.signs.report import SignsReport, signs_report
from quailwright.web.guard import Reader
from quailwright.web.home import AtHome, Home
from quailwright.web.view import page

router = APIRouter(default_response_class=Response, include_in_schema=False)


def report(home: Home) -> SignsReport:
    """The signs of today, made once for all who ask."""
    flock = home.flock()
    on = day_at(flock, home.now())
    return home.desk.once(flock, "signs", on, lambda: signs_report(flock, on))


@router.get("/signs")
def signs(request: Request, home: AtHome, who: Reader) -> Response:
    """What looks wrong, what is watched, and what nobody logs."""
    return page(request, who, "signs.html", told=report(home))

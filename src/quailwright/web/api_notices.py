"""The JSON API of notices."""

from fastapi import APIRouter
from starlette.responses import Response

from quailwright.exchange.notice_shape import notices_shape
from quailwright.journal.moments import until
from quailwright.web.api import On, Told, as_of
from quailwright.web.guard import Reader
from quailwright.web.home import AtHome
from quailwright.web.openapi import says

router = APIRouter(prefix="/api", default_response_class=Response)


@router.get("/notices", responses=says("NoticesShape"))
def notices(home: AtHome, _: Reader, on: On = None) -> Response:
    """What is wrong, the rules of notices, the channels without their addresses."""
    flock, asked = as_of(home, on)
    return Told(notices_shape(home.desk, flock, until(asked, flock.zone).moment(flock.zone)))

"""Help: where does this figure come from?"""

from fastapi import APIRouter, Request
from starlette.responses import Response

from quailwright.guide import figures
from quailwright.guide.round import units_of
from quailwright.web.guard import Reader
from quailwright.web.home import AtHome
from quailwright.web.view import page

router = APIRouter(prefix="/help", default_response_class=Response, include_in_schema=False)

_MOST_SHOWN = 100


@router.get("")
def sources(
    request: Request, home: AtHome, who: Reader, text: str = "", subject: str = "", rule: str = ""
) -> Response:
    """The facts by subject; searched by words, a subject or the rule that stands on them."""
    asked = bool(text.strip() or subject or rule)
    found = figures.found(text.strip(), subject, rule) if asked else []
    return page(
        request,
        who,
        "help.html",
        subjects=figures.subjects(),
        text=text,
        subject=subject,
        rule=rule,
        asked=asked,
        total=len(found),
        found=found[:_MOST_SHOWN],
        words=figures.words,
        units=units_of(home.flock()),
    )

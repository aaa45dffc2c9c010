"""The language of the pages: chosen on each phone, and a matter of the reader only."""

from http import HTTPStatus

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from quailwright.journal.findings import BadInput
from quailwright.language import LANGUAGES, say
from quailwright.web.entering import own_address
from quailwright.web.guard import OwnForm, remember
from quailwright.web.view import LANGUAGE

router = APIRouter(default_response_class=Response, include_in_schema=False)


@router.post("/language")
def choose(request: Request, form: OwnForm) -> Response:
    """Answers this phone in the language chosen from now on, whoever is signed in on it."""
    tag = str(form.get("language", ""))
    if tag not in LANGUAGES:
        raise BadInput(say("There is no such language here. Press one of the buttons."))
    where = own_address(str(form.get("back", "/")))
    response = RedirectResponse(where, HTTPStatus.SEE_OTHER)
    remember(response, request, LANGUAGE, tag)
    if request.url.scheme == "https":
        # Pages that the browser holds for its back button are in the language before.
        response.headers["Clear-Site-Data"] = '"cache"'
    return response

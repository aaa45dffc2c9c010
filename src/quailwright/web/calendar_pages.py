"""The calendar: a file to take along, private addresses that phones subscribe to."""

import hashlib
from http import HTTPStatus
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from starlette.datastructures import FormData
from starlette.responses import PlainTextResponse, RedirectResponse, Response

from quailwright.exchange.household import LONGEST_NAME
from quailwright.journal.findings import BadInput
from quailwright.journal.moments import zone
from quailwright.language import say, spoken
from quailwright.web.guard import OwnForm, Reader, Visitor, new_token
from quailwright.web.home import LOOPBACK, AtHome, Home
from quailwright.web.paper import place_code
from quailwright.web.view import page

if TYPE_CHECKING:
    from quailwright.exchange.calendar_told import Wanted

router = APIRouter(default_response_class=Response, include_in_schema=False)


@router.api_route("/calendar/{token}.ics", methods=["GET", "HEAD"])
def subscribed(request: Request, home: AtHome, token: str) -> Response:
    """The calendar of a private address: who knows it needs no sign-in."""
    from quailwright.exchange.subscriptions import answer

    content = answer(home.desk, token, home.now(), _base(request))
    if content is None:
        return PlainTextResponse(say("There is no such page here."), HTTPStatus.NOT_FOUND)
    return _ics(request, content, "inline")


@router.get("/calendar.ics")
def file(request: Request, home: AtHome, who: Reader) -> Response:
    """The calendar as a file, for apps that cannot reach these pages."""
    from quailwright.exchange.calendar_told import Wanted, told_now

    wanted = Wanted(language=spoken())
    return _ics(request, told_now(home.desk, home.now(), wanted, _base(request)), "attachment")


def _ics(request: Request, content: bytes, disposition: str) -> Response:
    from quailwright.exchange.calendar_ics import MEDIA_TYPE

    # Weak: on the way it may be compressed.
    etag = f'W/"{hashlib.sha256(content).hexdigest()[:32]}"'
    headers = {"ETag": etag, "Cache-Control": "private, no-cache"}
    known = [each.strip() for each in request.headers.get("if-none-match", "").split(",")]
    if etag in known or etag.removeprefix("W/") in known:
        return Response(status_code=HTTPStatus.NOT_MODIFIED, headers=headers)
    headers["Content-Disposition"] = f'{disposition}; filename="quail.ics"'
    return Response(content, media_type=f"{MEDIA_TYPE}; charset=utf-8", headers=headers)


@router.get("/settings/calendar")
def settings(request: Request, home: AtHome, who: Reader) -> Response:
    """What a phone's calendar can show, and the addresses that were made for it."""
    return _page(request, home, who)


@router.post("/settings/calendar")
def change(request: Request, home: AtHome, who: Reader, form: OwnForm) -> Response:
    """Makes, changes or revokes a private address, as the button pressed says."""
    from quailwright.exchange import subscriptions

    store, name = home.desk.store, str(form.get("name", "")).strip()
    try:
        match form.get("do"):
            case "make":
                token = new_token(home)
                subscriptions.make(store, name, who.person, _wanted(form), token, home.now())
                made = f"{_base(request)}/calendar/{token}.ics"
                shown = _page(request, home, who, made=made)
                shown.headers["Cache-Control"] = "no-store"
                return shown
            case "change":
                number = _number(form)
                chosen = _wanted(form)
                subscriptions.change(store, number, who.person, who.keeps, name, chosen)
            case "revoke":
                subscriptions.revoke(store, _number(form), who.person, who.keeps)
            case _:
                raise BadInput(say("Nothing was asked for. Press one of the buttons."))
    except BadInput as error:
        return _page(request, home, who, error.sentence)
    return RedirectResponse("/settings/calendar", HTTPStatus.SEE_OTHER)


def _page(request: Request, home: Home, who: Visitor, wrong: str = "", made: str = "") -> Response:
    from quailwright.exchange.calendar_events import KIND_SAYS, KIND_WORDS, USUAL
    from quailwright.exchange.calendar_told import USUAL_ROUND
    from quailwright.exchange.subscriptions import addresses

    scheme, _, rest = made.partition("://")
    link = f"{'webcals' if scheme == 'https' else 'webcal'}://{rest}" if made else ""
    return page(
        request,
        who,
        "calendar.html",
        status=HTTPStatus.UNPROCESSABLE_ENTITY if wrong else HTTPStatus.OK,
        addresses=addresses(home.desk.store, who.person, who.keeps, home.now()),
        wrong=wrong,
        made=made,
        link=link,
        code=place_code(link) if made else "",
        only_here=request.url.hostname in {host.strip("[]") for host in LOOPBACK},
        is_https=request.url.scheme == "https",
        zone=zone(home.flock().zone or "UTC"),
        kinds=KIND_WORDS,
        kind_says=KIND_SAYS,
        usual=USUAL,
        usual_round=USUAL_ROUND,
        speaks=spoken(),
        longest_name=LONGEST_NAME,
    )


def _wanted(form: FormData) -> "Wanted":
    from quailwright.exchange.calendar_told import wanted

    return wanted(
        str(form.get("language", "")),
        [str(each) for each in form.getlist("kinds")],
        form.get("alarms") is not None,
        str(form.get("round_at", "")),
    )


def _number(form: FormData) -> int:
    text = str(form.get("address", ""))
    return int(text) if text.isdecimal() and len(text) < 10 else -1


def _base(request: Request) -> str:
    return str(request.base_url).rstrip("/")

"""Notices that go out of the house: by which channels, by which rules, what was told."""

from collections import defaultdict
from http import HTTPStatus

from fastapi import APIRouter, Request
from starlette.datastructures import FormData
from starlette.responses import RedirectResponse, Response

from quailwright.exchange import notice_settings
from quailwright.exchange.notice_address import SECURITIES, mail_address, pasted_address
from quailwright.exchange.notice_page import notice_page, see_to
from quailwright.exchange.notice_settings import settings_of
from quailwright.exchange.notice_watch import send_test
from quailwright.guide.round import units_of
from quailwright.journal.findings import BadInput
from quailwright.language import mark, say
from quailwright.web.entering import own_address
from quailwright.web.guard import Keeper, Logger, OwnForm, Reader, Visitor, may_reach_out
from quailwright.web.home import AtHome, Home
from quailwright.web.view import page

router = APIRouter(default_response_class=Response, include_in_schema=False)

_SECURITIES = {
    "starttls": mark("STARTTLS (port 587)"),
    "ssl": mark("TLS from the first byte (port 465)"),
    "insecure": mark("none: passwords and mail go in the open (port 25)"),
}
_ADDRESS = "/settings/notices"


@router.get("/settings/notices")
def notices(request: Request, home: AtHome, who: Reader) -> Response:
    """Rules, channels, hours of quiet, and what was told."""
    may_reach_out(home)
    return _page(request, home, who)


@router.post("/settings/notices")
def change_notices(request: Request, home: AtHome, who: Keeper, form: OwnForm) -> Response:
    """Does what the button pressed says."""
    may_reach_out(home)
    typed = {name: str(value) for name, value in form.items()}
    try:
        said = _done(home, typed, form)
    except BadInput as error:
        return _page(request, home, who, wrong=error.sentence, typed=typed)
    if said is not None:
        return _page(request, home, who, said=said)
    return RedirectResponse(f"{_ADDRESS}#{typed.get('do', '')}", HTTPStatus.SEE_OTHER)


def _done(home: Home, typed: dict[str, str], form: FormData) -> str | None:
    """Does it; gives a sentence where there is something to say. Raises BadInput."""
    store, settings = home.desk.store, settings_of(home.desk.store)
    digest = bool(form.get("digest"))
    match typed.get("do"):
        case "on" | "off" as do:
            notice_settings.keep(store, notice_settings.switched(settings, do == "on"))
        case "rule":
            flock = home.flock()
            changed = notice_settings.with_rule(settings, typed, units_of(flock))
            notice_settings.keep(store, changed)
        case "own":
            notice_settings.keep(store, notice_settings.with_own(settings, typed, home.flock()))
        case "less":
            left = notice_settings.without_own(settings, typed.get("rule", ""))
            notice_settings.keep(store, left)
        case "hours":
            notice_settings.keep(store, notice_settings.with_hours(settings, typed))
        case "mail" | "paste" as do:
            address = (
                mail_address(typed) if do == "mail" else pasted_address(typed.get("address", ""))
            )
            name, language = typed.get("name", ""), typed.get("language", "")
            notice_settings.add_channel(store, name, address, language, digest, home.now())
        case "channel":
            notice_settings.change_channel(
                store, _number(typed), typed.get("language", ""), bool(form.get("on")), digest
            )
        case "remove":
            notice_settings.remove_channel(store, _number(typed))
        case "test":
            channel = notice_settings.channel_of(store, _number(typed))
            sent = send_test(store, channel, home.now())
            if sent.went:
                return say(
                    "{name}: the test went. {answer} Look whether it has arrived.",
                    name=channel.name, answer=say(sent.answer),
                )  # fmt: skip
            return say(
                "{name}: the test did not go. {answer}",
                name=channel.name, answer=say(sent.answer),
            )  # fmt: skip
        case _:
            raise BadInput(say("Nothing was asked for. Press one of the buttons."))
    return None


@router.post("/notices/see")
def see(home: AtHome, who: Logger, form: OwnForm) -> Response:
    """Notes that somebody sees to it."""
    if not see_to(home.desk, _number(form), who.name):
        raise BadInput(say("That notice is not there any more. Load the page anew."))
    return RedirectResponse(own_address(str(form.get("back", "/"))), HTTPStatus.SEE_OTHER)


def _page(
    request: Request,
    home: Home,
    who: Visitor,
    wrong: str = "",
    said: str = "",
    typed: dict[str, str] | None = None,
) -> Response:
    flock = home.flock()
    # Secrets are never sent back, not even to who typed them.
    hidden = ("password", "address", "token")
    shown = defaultdict(str, {k: v for k, v in (typed or {}).items() if k not in hidden})
    return page(
        request,
        who,
        "notices.html",
        status=HTTPStatus.UNPROCESSABLE_ENTITY if wrong else HTTPStatus.OK,
        told=notice_page(home.desk, flock, home.now()),
        places=[place.name for place in flock.in_walking_order() if not place.closed],
        securities={code: _SECURITIES[code] for code in SECURITIES},
        longest_name=notice_settings.LONGEST_NAME,
        degrees="°F" if units_of(flock) == "us" else "°C",
        wrong=wrong,
        said=said,
        typed=shown,
    )


def _number(typed: "dict[str, str] | FormData") -> int:
    text = str(typed.get("number", ""))
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        raise BadInput(say("That is not there any more. Load the page anew."))
    return int(text)

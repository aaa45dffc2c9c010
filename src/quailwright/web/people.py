"""The people of the household: the first passphrase, signing in and out, roles."""

from collections.abc import Mapping
from datetime import timedelta
from http import HTTPStatus

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from quailwright.exchange.household import LONGEST_NAME, SHORTEST_PASSPHRASE, STAYS_SIGNED_IN
from quailwright.journal.findings import BadInput
from quailwright.language import mark, say, say_many
from quailwright.web.entering import own_address
from quailwright.web.guard import (
    KNOWN,
    SIGNED_IN,
    AnyVisitor,
    Keeper,
    MayNot,
    OwnForm,
    Reader,
    Visitor,
    new_token,
    remember,
)
from quailwright.web.home import AtHome, Home
from quailwright.web.view import page

ROLE_WORDS: Mapping[str, str] = {
    "keeper": mark("keeper"),
    "helper": mark("helper"),
    "child": mark("child"),
    "viewer": mark("viewer"),
}
"""Each role in words, to be said."""

router = APIRouter(default_response_class=Response, include_in_schema=False)


@router.get("/begin")
def begin_form(request: Request, home: AtHome, who: AnyVisitor) -> Response:
    """The first visit: a name and a passphrase."""
    if home.settings.invented or home.household.everyone():
        return RedirectResponse("/", HTTPStatus.SEE_OTHER)
    _begins_here(home)
    return _begin_page(request, who)


@router.post("/begin")
def begin(request: Request, home: AtHome, who: AnyVisitor, form: OwnForm) -> Response:
    """Makes the first keeper, and signs them in."""
    name, passphrase = _name(form.get("name")), str(form.get("passphrase", ""))
    if home.settings.invented:
        raise BadInput(say("The invented flock has no people."))
    _begins_here(home)
    code = str(form.get("code", "")) if home.settings.office else None
    try:
        if passphrase != str(form.get("again", "")):
            raise BadInput(say("The two passphrases differ. Type the same one twice."))
        if code is not None:
            _count_try(request, home)
        home.household.begin(name, passphrase, home.now(), code)
    except BadInput as error:
        return _begin_page(request, who, name, error.sentence, code or "")
    let_in = _let_in(request, home, name, passphrase, "/")
    return let_in or RedirectResponse("/sign-in", HTTPStatus.SEE_OTHER)


def _begins_here(home: Home) -> None:
    """Raises MayNot, or BadInput, where anybody of the network could come first.

    `serve --home-network` has a passphrase set before it begins: where there is none after all,
    another file was put in the place of the one served.
    """
    if home.settings.may_begin:
        return
    if home.household.everyone():
        raise BadInput(say("Somebody has set a passphrase already. Sign in with it."))
    raise MayNot(
        say(
            "No passphrase is set for this flock file, and over the home network none can be. "
            "On the computer that serves it, end `quailwright serve`, see that the file is the "
            "right one, and begin again: it asks for a passphrase in the terminal."
        )
    )


def _count_try(request: Request, home: Home) -> None:
    """Codes are tried as seldom as passphrases. Raises BadInput."""
    wait = home.attempts.tried(_address(request), home.now())
    if wait is not None:
        raise BadInput(_wait_words(wait))


def _address(request: Request) -> str:
    return request.client.host if request.client is not None else ""


def _wait_words(wait: timedelta) -> str:
    return say_many(
        "Tried too often. Wait {n} minute, then try again.",
        "Tried too often. Wait {n} minutes, then try again.",
        -(-wait // timedelta(minutes=1)),
    )


def _begin_page(
    request: Request, who: Visitor, name: str = "", wrong: str = "", code: str = ""
) -> Response:
    status = HTTPStatus.UNPROCESSABLE_ENTITY if wrong else HTTPStatus.OK
    return page(
        request, who, "begin.html", status=status, name=name, wrong=wrong, code=code,
        shortest=SHORTEST_PASSPHRASE, longest_name=LONGEST_NAME,
    )  # fmt: skip


@router.get("/sign-in")
def sign_in_form(request: Request, home: AtHome, who: AnyVisitor, back: str = "/") -> Response:
    """Name and passphrase."""
    if not home.settings.invented and not home.household.everyone():
        return RedirectResponse("/begin", HTTPStatus.SEE_OTHER)
    ended = say(
        "You are signed in here no longer: a sign-in lasts {days} days by the clock of the flock's "
        "computer, and ends where that clock is set back by more than a day. Sign in again.",
        days=STAYS_SIGNED_IN.days,
    )
    wrong = ended if SIGNED_IN in request.cookies and who.role is None else ""
    return page(request, who, "sign_in.html", name="", back=own_address(back), wrong=wrong)


@router.post("/sign-in")
def sign_in(request: Request, home: AtHome, who: AnyVisitor, form: OwnForm) -> Response:
    """Signs in, unless it was tried too often."""
    name, back = _name(form.get("name")), own_address(str(form.get("back", "/")))
    now = home.now()
    known = home.household.knows(request.cookies.get(KNOWN, ""), name)
    # A browser on which this person was signed in before has tries of its own: nobody who tries
    # from elsewhere locks them out (OWASP, device cookies; from memory).
    by = f"browser {known}" if known else _address(request)
    wait = home.attempts.tried(by, now, of_all=not known)
    if wait is None:
        let_in = _let_in(request, home, name, str(form.get("passphrase", "")), back)
        if let_in is not None:
            home.attempts.succeeded(by, now)
            return let_in
        wrong = say("That name and passphrase do not fit. Try again.")
        status = HTTPStatus.FORBIDDEN
    else:
        wrong, status = _wait_words(wait), HTTPStatus.TOO_MANY_REQUESTS
    return page(request, who, "sign_in.html", status=status, name=name, back=back, wrong=wrong)


def _let_in(request: Request, home: Home, name: str, passphrase: str, back: str) -> Response | None:
    token = new_token(home)
    if home.household.sign_in(name, passphrase, token, home.now()) is None:
        return None
    before = request.cookies.get(SIGNED_IN)
    if before:
        home.household.sign_out(before)
    response = RedirectResponse(back, HTTPStatus.SEE_OTHER)
    remember(response, request, SIGNED_IN, token)
    if not home.household.knows(request.cookies.get(KNOWN, ""), name):
        remember(response, request, KNOWN, home.household.mark_of_known(name, new_token(home)))
    return response


@router.post("/sign-out")
def sign_out(request: Request, home: AtHome, who: Reader, form: OwnForm) -> Response:
    """Ends this sign-in, or with `everywhere` every one of this person."""
    if who.person is not None and form.get("everywhere"):
        home.household.sign_out_everywhere(who.person)
    elif who.person is not None:
        home.household.sign_out(who.key)
    response = RedirectResponse("/sign-in", HTTPStatus.SEE_OTHER)
    response.delete_cookie(SIGNED_IN)
    if request.url.scheme == "https":
        response.headers["Clear-Site-Data"] = '"cache"'
    return response


@router.get("/people")
def people(request: Request, home: AtHome, who: Keeper) -> Response:
    """Who may open these pages, and as what."""
    return _people_page(request, home, who)


@router.post("/people")
def change_people(request: Request, home: AtHome, who: Keeper, form: OwnForm) -> Response:
    """Adds, changes or removes a person, as the button pressed says."""
    role, passphrase = str(form.get("role", "")), str(form.get("passphrase", ""))
    try:
        match form.get("do"):
            case "add":
                home.household.add(_name(form.get("name")), role, passphrase, home.now())
            case "change":
                home.household.change(_person(form.get("person")), role, passphrase)
            case "remove":
                home.household.remove(_person(form.get("person")))
            case _:
                raise BadInput(say("Nothing was asked for. Press one of the buttons."))
    except BadInput as error:
        return _people_page(request, home, who, error.sentence)
    return RedirectResponse("/people", HTTPStatus.SEE_OTHER)


def _people_page(request: Request, home: Home, who: Visitor, wrong: str = "") -> Response:
    return page(
        request,
        who,
        "people.html",
        status=HTTPStatus.UNPROCESSABLE_ENTITY if wrong else HTTPStatus.OK,
        everyone=home.household.everyone(),
        roles=ROLE_WORDS,
        wrong=wrong,
        shortest=SHORTEST_PASSPHRASE,
        longest_name=LONGEST_NAME,
    )


def _name(typed: object) -> str:
    return str(typed or "").strip()


def _person(typed: object) -> int:
    text = str(typed or "")
    return int(text) if text.isdecimal() and len(text) < 10 else -1

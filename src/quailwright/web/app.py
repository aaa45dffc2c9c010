"""The application: what is served, and what every answer carries."""

import logging
from collections.abc import AsyncIterator, Awaitable, Callable, MutableMapping
from contextlib import asynccontextmanager, nullcontext
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.staticfiles import StaticFiles

from quailwright import __version__
from quailwright.exchange import shapes
from quailwright.journal.findings import FlockUnusable, Moved, QuailwrightError, Withheld
from quailwright.journal.store import Store, open_store
from quailwright.language import best_of, say, speaking
from quailwright.web import (
    api,
    api_breeding,
    api_calendar,
    api_devices,
    api_notices,
    api_readings,
    api_tables,
    backups,
    breeding_board,
    breeding_cross,
    breeding_keep,
    breeding_lines,
    brooding,
    calendar_pages,
    cautions,
    costs,
    eggs,
    entering,
    feed_ahead,
    first_run,
    hatches,
    help_pages,
    housing,
    journal,
    languages,
    light,
    notices,
    offline,
    outlook,
    pages,
    paper,
    people,
    plan,
    rations,
    readings_room,
    sensors,
    settings_pages,
    sheets,
    signs,
    tables,
)
from quailwright.web.guard import MayNot, NoPassphraseYet, NotSignedIn, Visitor, visitor
from quailwright.web.home import Home, Settings, home_of
from quailwright.web.view import LANGUAGE, STATIC, in_path, page, static_version

LARGEST_BODY_BYTES = 2 * 1024 * 1024
_SMALLEST_TO_COMPRESS = 700
_COMPRESSION = 5
"""Of 9: a twentieth larger than the smallest, in half the time."""

_HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
        "connect-src 'self'; manifest-src 'self'; worker-src 'self'; form-action 'self'; "
        "base-uri 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
}
_log = logging.getLogger("uvicorn.error")
_KEPT_FOR_GOOD = "public, max-age=31536000, immutable"
_ASKED_EACH_TIME = "private, no-cache"

_SETTING_UP = (first_run, settings_pages, help_pages, languages, cautions)
_FOR_SCRIPTS = (
    api, api_breeding, api_calendar, api_devices, api_notices, api_readings, api_tables,
)  # fmt: skip
_FEED_AND_MONEY = (costs, feed_ahead, rations)
_KEEPING = (signs, brooding, housing, light)
_IN_AND_OUT = (calendar_pages, sheets, sensors, readings_room, notices, tables, backups)
_BREEDING = (breeding_lines, breeding_board, breeding_keep, breeding_cross)
_DAILY = (pages, hatches, eggs, paper, plan, outlook, entering, journal, people, offline)
_PARTS = (
    *_DAILY, *_KEEPING, *_BREEDING, *_IN_AND_OUT, *_FEED_AND_MONEY, *_SETTING_UP, *_FOR_SCRIPTS,
)  # fmt: skip

_Message = MutableMapping[str, Any]
_Receive = Callable[[], Awaitable[_Message]]
_Send = Callable[[_Message], Awaitable[None]]
_App = Callable[[_Message, _Receive, _Send], Awaitable[None]]


def create_app(settings: Settings, store: Store | None = None) -> FastAPI:
    """The pages and the JSON API of one flock: of its file, or of a store that is open already.

    Raises FlockUnusable.
    """
    if store is None:
        store = open_store(settings.flock, create=True)
    home = Home.of(settings, store)
    try:
        home.desk.entries()  # damage is told when serving begins, not by the first page
    except FlockUnusable:
        store.close()
        raise

    @asynccontextmanager
    async def life(_: FastAPI) -> AsyncIterator[None]:
        with home.caretaker.working() if settings.caretaker else nullcontext():
            yield
        store.close()

    app = FastAPI(
        title="quailwright",
        version=__version__,
        summary="The journal of a small flock of Coturnix quail, and what follows from it.",
        openapi_url=None,
        lifespan=life,
    )
    app.state.home = home
    for part in _PARTS:
        app.include_router(part.router)
    app.mount(f"/static/{static_version()}", StaticFiles(directory=STATIC), name="static")
    app.add_middleware(
        GZipMiddleware, minimum_size=_SMALLEST_TO_COMPRESS, compresslevel=_COMPRESSION
    )
    app.add_middleware(TrustedHostMiddleware, allowed_hosts=list(settings.hosts))
    app.add_middleware(Speaking)
    app.add_middleware(Guarded)
    _say_failures(app)
    return app


class Guarded:
    """Puts the headers on every answer, and takes no body larger than `LARGEST_BODY_BYTES`."""

    def __init__(self, app: _App) -> None:
        self._app = app

    async def __call__(self, scope: _Message, receive: _Receive, send: _Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        taken = 0

        async def measured() -> _Message:
            nonlocal taken
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > LARGEST_BODY_BYTES:
                raise HTTPException(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, say("That is too large."))
            return message

        async def with_headers(message: _Message) -> None:
            if message["type"] == "http.response.start":
                own = {name.lower() for name, _ in message["headers"]}
                there = message["status"] in (HTTPStatus.OK, HTTPStatus.NOT_MODIFIED)
                cached = there and scope["path"].startswith("/static/")
                caching = _KEPT_FOR_GOOD if cached else _ASKED_EACH_TIME
                for name, value in {**_HEADERS, "Cache-Control": caching}.items():
                    if name.lower().encode() not in own:
                        message["headers"].append((name.lower().encode(), value.encode()))
            await send(message)

        await self._app(scope, measured, with_headers)


class Speaking:
    """Answers in the language that this phone chose, else in the first that its browser wants."""

    def __init__(self, app: _App) -> None:
        self._app = app

    async def __call__(self, scope: _Message, receive: _Receive, send: _Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        request = Request(scope)
        asked = request.headers.get("accept-language", "").split(",")
        chosen = [request.cookies.get(LANGUAGE, ""), *(tag.split(";")[0].strip() for tag in asked)]
        begun = False

        async def noted(message: _Message) -> None:
            nonlocal begun
            begun = True
            await send(message)

        with speaking(best_of(chosen)):
            try:
                await self._app(scope, receive, noted)
            except Exception as error:
                if begun:
                    raise
                # Answered in here it is in this language, and bears the headers of all answers.
                _log.exception("A fault of our own")
                await _own_fault(request, error)(scope, receive, send)


def _say_failures(app: FastAPI) -> None:
    """Every failure ends in a sentence: a page, or JSON where a script asked."""
    app.exception_handler(QuailwrightError)(_refused)
    app.exception_handler(MayNot)(_may_not)
    app.exception_handler(NotSignedIn)(_not_signed_in)
    app.exception_handler(NoPassphraseYet)(_no_passphrase_yet)
    app.exception_handler(HTTPException)(_not_served)
    app.exception_handler(RequestValidationError)(_not_understood)


def status_of(error: QuailwrightError) -> HTTPStatus:
    """The status that an error is answered with.

    A phone tries again on 503, so one whose flock has moved away is told otherwise.
    """
    if isinstance(error, Withheld | Moved):
        return HTTPStatus.CONFLICT
    if isinstance(error, FlockUnusable):
        return HTTPStatus.SERVICE_UNAVAILABLE
    return HTTPStatus.UNPROCESSABLE_ENTITY


def _refused(request: Request, error: Exception) -> Response:
    assert isinstance(error, QuailwrightError)
    if isinstance(error, FlockUnusable) and home_of(request).settings.office:
        # Where the office keeps its database is told to the office alone.
        _log.error("%s", error.sentence)
        moved = isinstance(error, Moved)
        error = Moved(_moved_away()) if moved else FlockUnusable(office_unusable())
    findings = shapes.findings_shape(error.findings)
    return _said(request, status_of(error), error.sentence, findings)


def office_unusable() -> str:
    """The sentence where an office's database does not answer as it should."""
    return say("The record cannot be reached just now. Nothing of this was kept. Try again soon.")


def _moved_away() -> str:
    """The sentence where a flock that an office serves has moved elsewhere."""
    return say(
        "This flock has moved away. It can still be read here, but nothing more is written here, "
        "and this was not. Ask the office where the flock is now."
    )


def _may_not(request: Request, error: Exception) -> Response:
    assert isinstance(error, MayNot)
    return _said(request, HTTPStatus.FORBIDDEN, error.sentence)


def _not_signed_in(request: Request, _: Exception) -> Response:
    if _for_script(request):
        return _said(request, HTTPStatus.UNAUTHORIZED, say("Sign in first."))
    asked = request.url.path if request.method == "GET" else "/"
    return RedirectResponse(f"/sign-in?back={in_path(asked)}", HTTPStatus.SEE_OTHER)


def _no_passphrase_yet(request: Request, _: Exception) -> Response:
    if _for_script(request):
        return _said(
            request, HTTPStatus.UNAUTHORIZED, say("Open the pages and set a passphrase first.")
        )
    return RedirectResponse("/begin", HTTPStatus.SEE_OTHER)


def _not_served(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    status = HTTPStatus(error.status_code)
    sentences = {
        HTTPStatus.NOT_FOUND: say("There is no such page here."),
        HTTPStatus.METHOD_NOT_ALLOWED: say("This address cannot be asked that way."),
    }
    return _said(request, status, sentences.get(status, str(error.detail)))


def _not_understood(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    said = [f"{'.'.join(str(p) for p in one['loc'][1:])}: {one['msg']}." for one in error.errors()]
    return _said(request, HTTPStatus.UNPROCESSABLE_ENTITY, " ".join(said))


def _own_fault(request: Request, error: Exception) -> Response:
    sentence = say(
        "A fault of quailwright's own ({fault}). Nothing of this was kept.",
        fault=type(error).__name__,
    )
    return _said(request, HTTPStatus.INTERNAL_SERVER_ERROR, sentence)


def _said(
    request: Request,
    status: HTTPStatus,
    sentence: str,
    findings: list[dict[str, Any]] | None = None,
) -> Response:
    if _for_script(request):
        body = {"sentence": sentence, "findings": findings or []}
        return JSONResponse(body, status_code=status)
    shown = {"sentence": sentence, "findings": findings or []}
    try:
        return page(request, _who(request), "said.html", status=status, **shown)
    except FlockUnusable as unusable:
        words = sentence if home_of(request).settings.office else unusable.sentence
        return PlainTextResponse(words, HTTPStatus.SERVICE_UNAVAILABLE)


def _who(request: Request) -> Visitor:
    try:
        return visitor(request, home_of(request))
    except QuailwrightError:
        return Visitor("", None, None, "")


def _for_script(request: Request) -> bool:
    return request.url.path.startswith("/api/")

"""The pages of many flocks: each under a host name of its own, `creek.quail.example`.

A host name of its own is an origin of its own: what a browser keeps for one flock (cookies, entries
not sent yet, pages, the worker) is nothing at another. A flock's application is made when it is
first asked for, and the ones used last are kept.
"""

import asyncio
import logging
import re
import secrets
from collections import OrderedDict
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI
from starlette.concurrency import run_in_threadpool
from starlette.responses import PlainTextResponse

from quailwright.exchange.shared import KEY_BYTES
from quailwright.journal.findings import FlockUnusable
from quailwright.journal.flocks import Flocks, is_name, open_flocks
from quailwright.language import say
from quailwright.web.app import create_app, office_unusable
from quailwright.web.home import Settings

MOST_KEPT = 100
"""Flocks whose pages a process keeps at hand."""

_log = logging.getLogger("uvicorn.error")
_PORT = re.compile(r"[0-9]{1,5}")
_DOMAIN = re.compile(
    r"(?=.{1,200}\Z)[a-z0-9]([a-z0-9-]*[a-z0-9])?(\.[a-z0-9]([a-z0-9-]*[a-z0-9])?)*"
)
_AT_HOME = "localhost"
"""What stands under it is this computer: browsers trust it without https (RFC 6761)."""

_Message = Any
_Receive = Callable[[], Awaitable[_Message]]
_Send = Callable[[_Message], Awaitable[None]]


def _present() -> datetime:
    return datetime.now(UTC)


def _fresh_key() -> bytes:
    return secrets.token_bytes(KEY_BYTES)


@dataclass(frozen=True, slots=True)
class Office:
    """What the pages of many flocks are started with; it goes to every server process.

    Attributes:
        flocks: the database, a `postgresql://` URL.
        domain: under which each flock has its host name, in small letters.
        most_kept: so many flocks a process keeps at hand.
        clock: gives the present instant (aware).
        shared_key: the secret that the processes share, made anew at each start.
    """

    flocks: str
    domain: str
    most_kept: int = MOST_KEPT
    clock: Callable[[], datetime] = _present
    shared_key: bytes = field(default_factory=_fresh_key, repr=False)


def is_domain(text: str) -> bool:
    """Whether flocks can have their host names under it: a domain name in small letters."""
    return _DOMAIN.fullmatch(text) is not None


def flock_named(host: str, domain: str) -> str | None:
    """Which flock a Host header names, as `creek.quail.example`; None where it can name none.

    Only the one way in which browsers write it counts, with or without a port: another (a dot at
    the end, a name within a name) would be another origin, and what a phone kept there is lost.
    """
    name, colon, port = host.lower().partition(":")
    if not host.isascii() or (colon and _PORT.fullmatch(port) is None):
        return None
    flock, dot, above = name.partition(".")
    return flock if dot and above == domain and is_name(flock) else None


def many(office: Office) -> "Many":
    """The pages of an office's flocks: an application by ASGI."""
    return Many(office)


class _Kept:
    """The application of a flock, and how many requests are under way in it."""

    def __init__(self, app: FastAPI) -> None:
        self.app = app
        self.under_way = 0
        self.dropped = False

    def let_go(self) -> None:
        """Closes it, once it is dropped and nothing is under way."""
        if self.dropped and not self.under_way:
            self.app.state.home.desk.store.close()


class Many:
    """Hands each request to the application of the flock that its host names."""

    def __init__(self, office: Office) -> None:
        self._office = office
        self._flocks: Flocks | None = None
        self._kept: OrderedDict[str, _Kept] = OrderedDict()
        self._opening: dict[str, asyncio.Task[FastAPI | None]] = {}

    async def __call__(self, scope: _Message, receive: _Receive, send: _Send) -> None:
        match scope["type"]:
            case "lifespan":
                await self._live(receive, send)
            case "http":
                await self._answer(scope, receive, send)

    @property
    def kept(self) -> list[str]:
        """The flocks at hand, the one used last at the end."""
        return list(self._kept)

    async def _live(self, receive: _Receive, send: _Send) -> None:
        await receive()
        try:
            self._flocks = await run_in_threadpool(open_flocks, self._office.flocks)
        except FlockUnusable as error:
            await send({"type": "lifespan.startup.failed", "message": error.sentence})
            return
        await send({"type": "lifespan.startup.complete"})
        await receive()
        self._flocks.close()
        await send({"type": "lifespan.shutdown.complete"})

    async def _answer(self, scope: _Message, receive: _Receive, send: _Send) -> None:
        hosts = [value.decode("latin-1") for name, value in scope["headers"] if name == b"host"]
        name = flock_named(hosts[0], self._office.domain) if len(hosts) == 1 else None
        if name is None:
            await _nothing_here(scope, receive, send)
            return
        if scope["scheme"] != "https" and not self._at_home():
            sentence = say("These pages are to be had over https only.")
            await _plain(sentence, HTTPStatus.BAD_REQUEST)(scope, receive, send)
            return
        try:
            kept = await self._of(name)
        except FlockUnusable as error:
            _log.error("%s", error.sentence)
            await _plain(office_unusable(), HTTPStatus.SERVICE_UNAVAILABLE)(scope, receive, send)
            return
        if kept is None:
            await _nothing_here(scope, receive, send)
            return
        canonical = (b"host", hosts[0].lower().encode())
        headers = [canonical if one[0] == b"host" else one for one in scope["headers"]]
        kept.under_way += 1
        try:
            await kept.app({**scope, "headers": headers}, receive, send)
        finally:
            kept.under_way -= 1
            kept.let_go()

    def _at_home(self) -> bool:
        return self._office.domain == _AT_HOME or self._office.domain.endswith(f".{_AT_HOME}")

    async def _of(self, name: str) -> _Kept | None:
        """The application of a flock, made once whoever asks meanwhile; None: there is none."""
        if name not in self._kept:
            opening = self._opening.get(name)
            if opening is None:
                opening = asyncio.create_task(run_in_threadpool(self._made, name))
                self._opening[name] = opening
                opening.add_done_callback(lambda _: self._opening.pop(name, None))
            # One who hangs up while it is made leaves it to the others.
            app = await asyncio.shield(opening)
            if app is None:
                return None
            if name not in self._kept:
                self._kept[name] = _Kept(app)
        self._kept.move_to_end(name)
        kept = self._kept[name]
        while len(self._kept) > self._office.most_kept:
            _, last = self._kept.popitem(last=False)
            last.dropped = True
            last.let_go()
        return kept

    def _made(self, name: str) -> FastAPI | None:
        assert self._flocks is not None
        if not self._flocks.has(name):
            return None
        settings = Settings(
            name, self._office.clock, hosts=(f"{name}.{self._office.domain}",), office=True,
            shared_key=self._office.shared_key,
        )  # fmt: skip
        return create_app(settings, self._flocks.store(name))


def _plain(sentence: str, status: HTTPStatus) -> PlainTextResponse:
    headers = {"Cache-Control": "no-store", "X-Content-Type-Options": "nosniff"}
    return PlainTextResponse(sentence, status, headers)


async def _nothing_here(scope: _Message, receive: _Receive, send: _Send) -> None:
    """The same for a name that no flock has and one that none can have."""
    answer = _plain(say("There is no such page here."), HTTPStatus.NOT_FOUND)
    await answer(scope, receive, send)

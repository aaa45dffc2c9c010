"""Targets of scripts/fuzz: what comes over HTTP: pages, forms, the JSON API, devices."""

import logging
import random
import shutil
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from scripts import fuzz_inputs as inputs
from scripts import fuzz_typed as typed
from scripts.fuzz_common import FLOCK, NOW, scratch
from tests.web.conftest import READ_PAGES

# Over HTTP.


class ServerFault(Exception):
    """An answer of 500, and what raised it."""


class House:
    """The application over a copy of a small flock; a fresh copy after some writes."""

    MOST_WRITES = 10

    def __init__(self) -> None:
        from quailwright.exchange.household import TOKEN_BYTES, Household
        from quailwright.exchange.sensor_payload import USUAL
        from quailwright.exchange.sensor_settings import KEY_BYTES, Sensors
        from quailwright.journal.store import open_store

        self._folder = scratch()
        self._whole = self._folder / "whole.sqlite"
        with open_store(str(self._whole), create=True) as store:
            with store.writing() as writer:
                writer.append(FLOCK, NOW)
            household = Household(store)
            household.begin("keeper", "only for this run", NOW)
            self._cookie = "ab" * TOKEN_BYTES
            household.sign_in("keeper", "only for this run", self._cookie, NOW)
            noise = bytes(range(KEY_BYTES))
            key = Sensors(store).add_device("probe", "box", "probe", USUAL, NOW, noise)
        self.device = f"Bearer {key}"
        self._raised: list[BaseException] = []
        logging.getLogger("quailwright").addHandler(_Noting(self._raised))
        logging.getLogger("quailwright").propagate = False
        self._copies = 0
        self._client: Any = None
        self.fresh()

    def fresh(self) -> None:
        """The application over the flock as it was at first."""
        from starlette.testclient import TestClient

        from quailwright.web.app import create_app
        from quailwright.web.guard import SIGNED_IN
        from quailwright.web.home import Settings

        if self._client is not None:
            self._client.__exit__(None, None, None)
            for left in self._folder.glob("flock*"):
                left.unlink()
        self._copies += 1
        flock = self._folder / f"flock{self._copies}.sqlite"
        shutil.copy(self._whole, flock)
        self.app = create_app(Settings(str(flock), lambda: NOW, noise=random.Random(1).randbytes))
        self._client = TestClient(
            self.app, base_url="http://localhost", follow_redirects=False,
            cookies={SIGNED_IN: self._cookie},
        )  # fmt: skip
        self._client.__enter__()
        self.token = str(self._client.get("/api/me").json()["token"])
        self._writes = 0

    def ask(self, method: str, address: str, body: bytes, headers: Mapping[str, str]) -> int:
        """The status of an answer. Raises what the application raised."""
        import httpx2

        try:
            answer = self._client.request(method, address, content=body, headers=dict(headers))
        except (httpx2.InvalidURL, UnicodeError):
            return 400
        if answer.status_code >= 500:
            self.fresh()
            if self._raised:
                raise self._raised.pop()
            raise ServerFault(answer.text[:500])
        if method == "POST" and answer.status_code < 400:
            self._writes += 1
            if self._writes > self.MOST_WRITES:
                self.fresh()
        return int(answer.status_code)

    def text_of(self, page: str) -> str:
        """A page."""
        return str(self._client.get(page).text)


class _Noting(logging.Handler):
    def __init__(self, raised: list[BaseException]) -> None:
        super().__init__()
        self._raised = raised

    def emit(self, record: logging.LogRecord) -> None:
        if record.exc_info and record.exc_info[1] is not None:
            self._raised[:] = [record.exc_info[1]]


def pages_target() -> Callable[[bytes], bool]:
    """`GET /page?query`, or `POST /page` with a form below it."""
    house = House()

    def take(data: bytes) -> bool:
        first, _, form = data.partition(b"\n")
        method, _, address = first.decode(errors="replace").partition(" ")
        if not address.startswith("/") or address.startswith("//"):
            return False
        if method == "GET":
            return house.ask("GET", address, b"", {}) < 400
        if method != "POST" or address.startswith(inputs.LEFT_OUT):
            return False
        body = b"token=" + house.token.encode() + b"&" + form
        kind = {"Content-Type": "application/x-www-form-urlencoded"}
        return house.ask("POST", address, body, kind) < 400

    return take


def pages_seeds() -> Iterator[bytes]:
    house = House()
    yield from inputs.asked_pages(house.text_of)


_CALLS = ("/api/entries", "/api/offers", "/api/ration", "/api/blend",
          "/api/readings?place=box", "/api/plan/accept")  # fmt: skip


def api_target() -> Callable[[bytes], bool]:
    """A path of the JSON API on the first line, and the body that is sent there."""
    house = House()

    def take(data: bytes) -> bool:
        path, _, body = data.partition(b"\n")
        address = path.decode(errors="replace")
        if not address.startswith("/api/") or address.partition("?")[0].rstrip("/") == "/api/plan":
            return False
        method = "POST" if body else "GET"
        headers = {"X-Write-Token": house.token}
        return house.ask(method, address, body, headers) < 400

    return take


def api_seeds() -> Iterator[bytes]:
    for line in inputs.sample_entries():
        yield b"/api/entries\n" + line
    yield b"/api/entries\n[" + b",".join(inputs.sample_entries()[:4]) + b"]"
    for text in inputs.texts_of("tests/web/test_api.py", "tests/web/test_rations.py"):
        if text.startswith(b"/api/"):
            yield text + b"\n"
        elif b"{" in text or b"=" in text:
            yield from (path.encode() + b"\n" + text for path in _CALLS[1:4])
    for text in inputs.briefs():
        yield from (path.encode() + b"\n" + text for path in _CALLS[1:4])
    for text in typed.readings_seeds():
        yield b"/api/readings?place=box\n" + text


_SLOW = ("/outlook", "/plan", "/feed/needs", "/breeding/rotation", "/breeding/keep")
_QUICK = tuple(page for page in READ_PAGES if not page.startswith(_SLOW))


def kept_target() -> Callable[[bytes], bool]:
    """Entries that are taken must leave every page standing: a few of them are asked for each."""
    house = House()

    def take(data: bytes) -> bool:
        headers = {"X-Write-Token": house.token}
        before = len(house.app.state.home.desk.entries())
        status = house.ask("POST", "/api/entries", data, headers)
        if status >= 400:
            return False
        if len(house.app.state.home.desk.entries()) == before:
            return False
        for page in ("/", *random.Random(data).sample(_QUICK, 2)):
            house.ask("GET", page, b"", {})
        return True

    return take


def kept_seeds() -> Iterator[bytes]:
    yield from inputs.sample_entries()
    yield b"[" + b",".join(inputs.sample_entries()) + b"]"


def device_target() -> Callable[[bytes], bool]:
    house = House()

    def take(data: bytes) -> bool:
        answer = house.ask("POST", "/api/readings/sent", data, {"Authorization": house.device})
        return answer < 300

    return take


def device_seeds() -> Iterator[bytes]:
    yield from (each.partition(b"\n")[2] for each in typed.payload_seeds())

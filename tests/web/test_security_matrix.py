"""Who is let in at every address, by `security_matrix.csv`: an address that is not in it fails.

What a handler refuses besides (a kind that a helper may not write, what is another's) is told by
test_guard.py, test_child.py and tests/exchange/test_who_may.py. A further application, or another
flock of the same, is added to `FLOCKS`.
"""

import csv
import shutil
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import timedelta
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from argon2 import PasswordHasher
from fastapi import FastAPI
from starlette.responses import Response
from starlette.testclient import TestClient
from tests.web.conftest import NOW, PHRASES

from quailwright.exchange import subscriptions
from quailwright.exchange.calendar_told import Wanted
from quailwright.exchange.household import STAYS_SIGNED_IN
from quailwright.exchange.sensor_payload import USUAL
from quailwright.exchange.sensor_settings import Sensors
from quailwright.journal.people import begin
from quailwright.web.app import create_app
from quailwright.web.guard import SIGNED_IN
from quailwright.web.home import Home, Settings

WHO = ("nobody", "child", "viewer", "helper", "keeper", "device key", "calendar address")
NO_LONGER = ("revoked", "expired", "removed", "passphrase changed")
"""Sessions that were: each must be as nobody's."""
BY_THEIR_OWN_KEY = ("/api/readings/sent", "/calendar/{token}.ics")
"""Their handlers look at the key: these are asked in earnest."""
LET_IN = 299
FILLED = {
    "{kind}": "eggs_collected", "{question}": "x", "{what}": "x", "{table}": "eggs",
    "{name:path}": "pen", "{name}": "wash", "{made}": "x", "{entry_id}": "x",
}  # fmt: skip


def table() -> dict[tuple[str, str], dict[str, bool]]:
    """By address and method, who is let in."""
    with Path(__file__).with_name("security_matrix.csv").open(newline="") as file:
        return {
            (row["address"], row["method"]): {who: row[who] == "yes" for who in WHO}
            for row in csv.DictReader(file)
        }


MATRIX = table()


def addresses_of(app: FastAPI) -> set[tuple[str, str]]:
    """Every address and method that is answered, files of the pages apart."""
    found: set[tuple[str, str]] = set()

    def look(routes: Iterable[Any]) -> None:
        for route in routes:
            within = getattr(route, "original_router", None)
            if within is not None:
                look(within.routes)
            elif getattr(route, "methods", None):
                found.update((route.path, method) for method in route.methods)
            else:
                assert route.path.startswith("/static/"), route

    look(app.routes)
    return found


@dataclass(frozen=True)
class Flock:
    """A served flock, and a browser or device of everyone who may ask."""

    app: Any
    home: Home
    clients: dict[str, TestClient]
    calendar: str

    def asked(self, who: str, address: str, method: str) -> int:
        """The status of an answer."""
        path = address.replace("{token}", self.calendar if who == "calendar address" else "0" * 64)
        for name, value in FILLED.items():
            path = path.replace(name, value)
        client = self.clients[who]
        token = client.headers["X-Test-Token"]
        return client.request(
            method,
            path,
            params={"place": "pen", "bird": "b", "cock": "wild", "hen": "wild"},
            data={"token": token} if method == "POST" else None,
            headers={"X-Write-Token": token},
        ).status_code


def served(made_once: Path, folder: Path) -> Flock:
    """A flock of its own, as one application."""
    file = shutil.copy(made_once, folder / "flock.sqlite")
    app = create_app(Settings(str(file), lambda: NOW))
    return with_everyone(app, app.state.home, "http://localhost")


def with_everyone(app: Any, home: Home, address: str) -> Flock:
    """Signs everyone in, without hashing for each: what a browser holds is put into it."""
    household, clients = home.household, {}
    if all(one.name != "child" for one in household.everyone()):
        household.add("child", "child", PHRASES["helper"], NOW)
    before = {one.name: one for one in household.everyone()}
    for name in ("removed", "passphrase changed"):
        household.add(name, "keeper", PHRASES["helper"], NOW)
    people = {one.name: one for one in household.everyone()}

    def browser(name: str, person: str, at: Any = NOW) -> None:
        client = TestClient(app, base_url=address, follow_redirects=False)
        if person:
            token = home.settings.noise(32).hex()
            with household.store.household(writes=True) as connection:
                begin(connection, people[person].id, sha256(token.encode()).hexdigest(), at)
            client.cookies.set(SIGNED_IN, token)
        clients[name] = client

    for role in ("keeper", "helper", "viewer", "child"):
        browser(role, role)
    browser("nobody", "")
    browser("revoked", "keeper")
    browser("expired", "keeper", NOW - STAYS_SIGNED_IN - timedelta(seconds=1))
    browser("removed", "removed")
    browser("passphrase changed", "passphrase changed")
    household.sign_out(clients["revoked"].cookies[SIGNED_IN])
    household.remove(people["removed"].id)
    household.change(people["passphrase changed"].id, "keeper", "other words of ours")

    key = Sensors(household.store).add_device(
        "lid", "box", "lid", USUAL, NOW, home.settings.noise(32)
    )
    calendar = home.settings.noise(32).hex()
    subscriptions.make(household.store, "phone", before["keeper"].id, Wanted(), calendar, NOW)
    for name, secret in (("device key", key), ("calendar address", calendar)):
        browser(name, "")
        clients[name].headers["Authorization"] = f"Bearer {secret}"
        clients[name].cookies.set(SIGNED_IN, secret)
    for client in clients.values():
        client.get("/sign-in")  # gives a browser of nobody's the cookie of a visit
        client.headers["X-Test-Token"] = client.get("/api/me").json()["token"]
    return Flock(app, home, clients, calendar)


FLOCKS: dict[str, Callable[[Path, Path], Flock]] = {"one flock": served, "another": served}
"""How each is served. Of any two, a session of one is nothing in the other."""


@pytest.fixture(scope="module")
def flocks(made_once: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Flock]]:
    """All of them."""
    with pytest.MonkeyPatch.context() as patch:
        quick = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
        patch.setattr("quailwright.exchange.household._hasher", quick)
        made = {
            name: serve(made_once, tmp_path_factory.mktemp("f")) for name, serve in FLOCKS.items()
        }
    yield made
    for flock in made.values():
        flock.home.desk.store.close()


@pytest.fixture
def only_guards(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever is let in to a handler gets an answer at once in its stead."""

    async def let_in(**_: object) -> Response:
        return Response(status_code=LET_IN)

    monkeypatch.setattr("fastapi.routing.run_endpoint_function", let_in)


def test_every_address_has_its_line(flocks: dict[str, Flock]) -> None:
    for flock in flocks.values():
        found = addresses_of(flock.app)
        assert found - MATRIX.keys() == set(), "say in security_matrix.csv who is let in there"
        assert MATRIX.keys() - found == set(), "these are in security_matrix.csv alone"


@pytest.mark.usefixtures("only_guards")
@pytest.mark.parametrize("who", [*WHO, *NO_LONGER])
def test_who_is_let_in(flocks: dict[str, Flock], who: str) -> None:
    flock = flocks["one flock"]
    wrong = []
    # Who was is as nobody at a few addresses: then at all, for they are looked at in one place.
    for (address, method), may in list(MATRIX.items())[:: 1 if who in WHO else 5]:
        if address in BY_THEIR_OWN_KEY:
            continue
        let_in = may[who if who in WHO else "nobody"]
        status = flock.asked(who, address, method)
        refused = (403,) if who in ("child", "viewer", "helper", "keeper") else (303, 401, 403)
        if status not in ((LET_IN,) if let_in else refused):
            wrong.append((address, method, status))
    assert wrong == []


@pytest.mark.parametrize("who", [*WHO, *NO_LONGER])
def test_keys_open_their_own_address_alone(flocks: dict[str, Flock], who: str) -> None:
    flock = flocks["one flock"]
    for (address, method), may in MATRIX.items():
        if address in BY_THEIR_OWN_KEY:
            status = flock.asked(who, address, method)
            # A key that holds is told that nothing stood in the message.
            let_in = status in (200, 422)
            assert let_in == may.get(who, False), (address, method, status)
            assert let_in or status in (401, 404, 429)


@pytest.mark.usefixtures("only_guards")
def test_pages_are_read_and_posted_to_and_nothing_else(flocks: dict[str, Flock]) -> None:
    assert {method for _, method in MATRIX} == {"GET", "HEAD", "POST"}
    for address in sorted({address for address, _ in MATRIX}):
        assert flocks["one flock"].asked("keeper", address, "DELETE") == 405, address


@pytest.mark.usefixtures("only_guards")
def test_a_session_of_one_flock_is_nothing_in_another(flocks: dict[str, Flock]) -> None:
    one, *others = flocks.values()
    keeper = one.clients["keeper"]
    token = keeper.headers["X-Test-Token"]
    for other in others:
        there = TestClient(other.app, base_url="http://localhost", follow_redirects=False)
        there.cookies.set(SIGNED_IN, keeper.cookies[SIGNED_IN])
        for (address, method), may in MATRIX.items():
            if not may["nobody"] and address not in BY_THEIR_OWN_KEY:
                answer = there.request(
                    method, address, data={"token": token} if method == "POST" else None,
                    headers={"X-Write-Token": token},
                )  # fmt: skip
                assert answer.status_code in (303, 401, 403), (address, method)
        # Nor does the token of a page there do for who is signed in here.
        form, headers = {"token": token}, {"X-Write-Token": token}
        for address in ("/log/eggs_collected", "/api/entries"):
            answer = other.clients["keeper"].post(address, data=form, headers=headers)
            assert answer.status_code == 403


def test_keys_of_one_flock_are_nothing_in_another(flocks: dict[str, Flock]) -> None:
    one, *others = flocks.values()
    for other in others:
        there = TestClient(other.app, base_url="http://localhost")
        assert there.get(f"/calendar/{one.calendar}.ics").status_code == 404
        header = one.clients["device key"].headers["Authorization"]
        answer = there.post("/api/readings/sent", json={}, headers={"Authorization": header})
        assert answer.status_code == 401

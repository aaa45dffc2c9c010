"""A household for tests: the application over a small flock, asked as a browser would."""

import re
import shutil
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

import pytest
from argon2 import PasswordHasher
from fastapi import FastAPI
from starlette.testclient import TestClient
from tests.makers import made

from quailwright.exchange.household import Household
from quailwright.journal.entries import Entry
from quailwright.journal.store import open_store
from quailwright.web.app import create_app
from quailwright.web.home import Settings

NOW = datetime(2027, 5, 3, 7, 30, tzinfo=UTC)
PHRASES = {"keeper": "keeper words here", "helper": "helper words here", "viewer": "viewer words!"}

SMALL_FLOCK = (
    made("holding", "2027-01-01", name="Home", timezone="Europe/Lisbon", currency="EUR"),
    made("place", "2027-01-01", place="pen", role="pen", floor_m2=4, walk_order=2),
    made(
        "place", "2027-01-01", place="box", role="incubator", capacity_eggs=60, walk_order=1
    ),
    made(
        "group", "2027-01-01", group="hens", place="pen", hens=10, cocks=2, hatched_on="2026-10-01"
    ),
    made("goal", "2027-01-01", eggs_per_week=40, certainty=0.8),
    made("feed_bought", "2027-04-01", feed="pellets", kg=20, cost=18),
    made("eggs_collected", "2027-05-01", group="hens", eggs=8, by="Mira"),
    made("eggs_set", "2027-04-28T20:00+01:00", hatch="may", eggs=24, place="box", source="friend"),
    made("eggs_weighed", "2027-04-28T20:00+01:00", hatch="may", eggs=24, total_g=264),
    made("eggs_weighed", "2027-05-02T20:00+01:00", hatch="may", eggs=24, total_g=257),
)  # fmt: skip

READ_PAGES = (
    "/", "/hatches", "/hatches/may", "/birds", "/places/pen", "/places/box", "/plan", "/plan/ask",
    "/outlook", "/outlook?ask=fewer_cocks", "/outlook?ask=no_hatches", "/plan/offers", "/more",
    "/feed/blend", "/feed/ration", "/feed/needs", "/feed/needs?of=ingredients",
    "/eggs", "/eggs?by=place&of=pen&weeks=4", "/paper", "/paper/round", "/paper/round?days=7",
    "/paper/places", "/paper?paper=letter", "/signs", "/housing",
    "/housing?standard=swiss", "/manure",
    "/manure?bedding=straw", "/eggs/store", "/eggs/labels", "/paper/away",
    "/paper/away?from=2027-05-10&until=2027-05-23&scoop=90", "/cautions",
    "/costs", "/costs?span=month", "/costs?from=2027-03-01&until=2027-04-30&minute=0,2", "/feed",
    "/light", "/light?hours=13,5&end=both&watts=8&price=0.3",
    "/breeding", "/breeding/family", "/breeding/board", "/breeding/board?pens=2",
    "/breeding/board/cards", "/breeding/rotation",
    "/breeding/keep", "/breeding/keep?cocks=1&hens=4&eggs=2&ahead=yes",
    "/breeding/cross?cock=brown&hen=wild", "/breeding/colours",
    "/breeding/cross?cock=wild&hen=wild&look-1=wild&chicks-1=13&look-2=lavender&chicks-2=5",
    "/tables", "/journal", "/kept", "/no-signal", "/settings", "/settings/holding",
    "/settings/places",
    "/settings/places/change?name=pen", "/settings/instruments", "/settings/sources",
    "/settings/calendar", "/settings/feeds", "/settings/feeds/change?name=pellets",
    "/settings/care", "/settings/readings", "/settings/backup", "/settings/notices",
    "/settings/care/rule?name=wash", "/help", "/help?subject=incubation", "/help?text=nrc",
    "/help?rule=wash", "/brooding",
    "/brooding?age=3&birds=30&room=18&box=80x60x45&watts=90&price=0.25&night+2027-05=8",
    "/readings", "/settings/sensors",
)  # fmt: skip
WRITE_PAGES = (
    "/paper/back",
    "/paper/back?week=2027-04-26",
    "/paper/back/hatch?hatch=may",
    "/log",
    "/log/eggs_collected",
    "/log/eggs_set?hatch=x",
    "/log/care_rule",
)
KEEPER_PAGES = (
    "/people", "/tables/import",
    "/settings/care/own", "/settings/sources/change", "/first/where", "/first/latitude",
    "/first/units", "/first/incubator", "/first/pen", "/first/birds", "/first/counts?weeks=1",
    "/first/source", "/first/goal", "/first/sure", "/first/done",
)  # fmt: skip

Enter = Callable[[str], TestClient]


@pytest.fixture(scope="session")
def made_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A flock file whose passphrases are hashed as a keeper's are: each sign-in takes its time."""
    return _made(tmp_path_factory.mktemp("made once"))


@pytest.fixture(scope="session")
def made_quickly(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The flock file that each test gets a copy of.

    Its passphrases are hashed as cheaply as can be. A hash tells what it costs, so that each of
    the many sign-ins of these tests is cheap too, by the code that lets people in.
    """
    quick = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("quailwright.exchange.household._hasher", quick)
        return _made(tmp_path_factory.mktemp("made quickly"))


def _made(folder: Path) -> Path:
    location = str(folder / "flock.sqlite")
    with open_store(location, create=True) as store:
        with store.writing() as writer:
            writer.append(SMALL_FLOCK, NOW)
        household = Household(store)
        household.begin("keeper", PHRASES["keeper"], NOW)
        for role in ("helper", "viewer"):
            household.add(role, role, PHRASES[role], NOW)
    return Path(location)


@pytest.fixture
def flock_file(made_quickly: Path, tmp_path: Path) -> str:
    """A flock file with a small flock and three people."""
    return str(shutil.copy(made_quickly, tmp_path / "flock.sqlite"))


@pytest.fixture
def app(flock_file: str) -> Iterator[FastAPI]:
    """The application, with a clock that stands still."""
    made_app = create_app(Settings(flock_file, lambda: NOW))
    yield made_app
    made_app.state.home.desk.store.close()


@pytest.fixture
def enter(app: FastAPI) -> Enter:
    """Gives a browser signed in as the person of that role; "" as nobody."""
    return partial(entered, app)


def entered(app: FastAPI, role: str, base_url: str = "http://localhost") -> TestClient:
    """A browser signed in as the person of that role; "" as nobody."""
    client = TestClient(app, base_url=base_url, follow_redirects=False)
    if role:
        form = {
            "name": role,
            "passphrase": PHRASES[role],
            "token": token_of(client, "/sign-in"),
        }
        assert client.post("/sign-in", data=form).status_code == 303
    return client


@pytest.fixture(scope="module")
def reading(made_quickly: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """A keeper's browser for tests that only read: what was reckoned for one is there for all."""
    flock = shutil.copy(made_quickly, tmp_path_factory.mktemp("reading") / "flock.sqlite")
    app = create_app(Settings(str(flock), lambda: NOW))
    yield entered(app, "keeper")
    app.state.home.desk.store.close()


@pytest.fixture
def keeper(enter: Enter) -> TestClient:
    """A browser signed in as the keeper."""
    return enter("keeper")


def token_of(client: TestClient, page: str = "/more") -> str:
    """The write token that a page puts into its forms."""
    text = client.get(page, follow_redirects=True).text
    found = re.search(r'name="token" value="([^"]+)"', text)
    assert found is not None, text
    return found[1]


def journal_of(app: FastAPI) -> list[Entry]:
    """Every entry of the journal."""
    entries: list[Entry] = app.state.home.desk.entries()
    return entries


def routes_of(app: FastAPI) -> list[tuple[str, set[str]]]:
    """Every address that is answered, with its methods; names in it are of the small flock."""
    found: list[tuple[str, set[str]]] = []

    def look(routes: Iterable[object]) -> None:
        for route in routes:
            within = getattr(route, "original_router", None)
            if within is not None:
                look(within.routes)
            elif getattr(route, "methods", None):
                path = str(getattr(route, "path", "")).replace("{kind}", "care")
                path = path.replace("{entry_id}", SMALL_FLOCK[0].id)
                path = path.replace("{what}", "places").replace("{question}", "where")
                path = path.replace("{table}", "eggs")
                name = "pen" if path.startswith("/places") else "may"
                path = path.replace("{name:path}", name).replace("{name}", "wash")
                found.append((path, set(route.methods)))  # type: ignore[attr-defined]

    look(app.routes)
    assert len(found) > 30
    return found

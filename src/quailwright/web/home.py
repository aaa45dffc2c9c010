"""What the pages of one flock share: its file at hand, its people, the clock and the templates."""

import secrets
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from typing import Annotated

from fastapi import Depends, Request

from quailwright.exchange.caretaker import Caretaker
from quailwright.exchange.chores import chores
from quailwright.exchange.desk import Desk
from quailwright.exchange.household import Household
from quailwright.exchange.now_shown import DaysAtHand
from quailwright.exchange.record import Recorded
from quailwright.exchange.sensor_sent import SentLast
from quailwright.exchange.shared import AmongProcesses, OwnMemory, Shared
from quailwright.exchange.tables_in_page import Uploads
from quailwright.flock.state import Flock
from quailwright.guide.round import Round, day_at, todays_round
from quailwright.journal.entries import Entry
from quailwright.journal.ids import NOISE_BYTES, new_id
from quailwright.journal.store import Store
from quailwright.web.attempts import Attempts
from quailwright.web.planner import Planner
from quailwright.web.planner_shared import SharedPlanner

LOOPBACK = ("localhost", "127.0.0.1", "[::1]")


def _present() -> datetime:
    return datetime.now(UTC)


@dataclass(frozen=True, slots=True)
class Settings:
    """What the pages are started with.

    Attributes:
        flock: the flock file, or a `postgresql://` URL.
        clock: gives the present instant (aware).
        noise: gives so many random bytes.
        hosts: names by which the pages may be asked for; any other is refused, so that no page
            elsewhere can reach them through a name of its own.
        invented: whether it is the demo's flock, which anyone on this computer may open.
        caretaker: whether notices, backups and sensors are looked after while the pages are served.
        may_begin: whether a visitor may set the first passphrase: not over the home network, where
            anybody may come first. An office asks for its code besides.
        office: whether an office keeps this flock among others, for people it does not know: see
            `may_reach_out`.
        shared_key: the secret of the server processes that serve one flock together; b"" where
            there is one alone.
    """

    flock: str
    clock: Callable[[], datetime] = _present
    noise: Callable[[int], bytes] = secrets.token_bytes
    hosts: tuple[str, ...] = LOOPBACK
    invented: bool = False
    caretaker: bool = False
    may_begin: bool = True
    office: bool = False
    shared_key: bytes = b""


@dataclass(frozen=True, slots=True)
class Home:
    """What every handler may ask."""

    settings: Settings
    desk: Desk
    household: Household
    caretaker: Caretaker
    attempts: Attempts
    key_attempts: Attempts
    devices_sent: SentLast
    planner: Planner
    uploads: Uploads
    days: DaysAtHand = field(default_factory=DaysAtHand)

    @classmethod
    def of(cls, settings: Settings, store: Store) -> "Home":
        """The home of an open flock file."""
        desk = Desk(store)
        caretaker = Caretaker(desk, chores(), settings.clock)
        shared: Shared = OwnMemory()
        planner = Planner()
        if settings.shared_key:
            shared = among = AmongProcesses(store, settings.shared_key)
            planner = SharedPlanner(among)
        return cls(
            settings, desk, Household(store), caretaker, Attempts("sign-in", shared),
            Attempts("key", shared), SentLast(shared), planner, Uploads(shared),
        )  # fmt: skip

    def now(self) -> datetime:
        """The present instant."""
        return self.settings.clock()

    def fresh_id(self) -> str:
        """The id of a new entry."""
        return new_id(self.now(), self.settings.noise(NOISE_BYTES))

    def flock(self) -> Flock:
        """What stands now."""
        return self.desk.flock(self.now())

    def round(self, flock: Flock, on: date) -> Round:
        """The round of a day, of the flock that `flock()` gave."""
        now = self.now()
        asked = on if on < day_at(flock, now) else now
        return self.desk.with_air(
            flock, "round", on, asked, lambda air: todays_round(flock, on, air)
        )

    def record(self, *entries: Entry) -> Recorded:
        """Writes entries, all or none. Raises BadInput and its kin; then nothing was written."""
        return self.desk.record(entries, self.now())


def home_of(request: Request) -> Home:
    """The home that the application was made with."""
    home: Home = request.app.state.home
    return home


AtHome = Annotated[Home, Depends(home_of)]

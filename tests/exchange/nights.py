"""Nights for tests of notices: a flock file, sensors that send, a clock that steps, a post box."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from tests.makers import made

from quailwright.exchange import notice_settings
from quailwright.exchange.desk import Desk
from quailwright.exchange.notice_send import Sent
from quailwright.exchange.notice_settings import NoticeSettings
from quailwright.exchange.notice_watch import NoticeWatch
from quailwright.guide.notices.words import Letter
from quailwright.journal import notices
from quailwright.journal.entries import Entry
from quailwright.journal.notices import Notice
from quailwright.journal.readings import to_ms
from quailwright.journal.store import open_store

EVENING = datetime(2027, 5, 3, 20, 0, tzinfo=UTC)
MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)
FLOCK = (
    made("holding", "2027-01-01", name="Home", timezone="Europe/Lisbon"),
    made("place", "2027-01-01", place="box", role="incubator", capacity_eggs=60),
    made("place", "2027-01-01", place="box 2", role="incubator", capacity_eggs=60),
    made("place", "2027-01-01", place="warm box", role="brooder", floor_m2=1),
    made("eggs_set", "2027-04-28T20:00+01:00", hatch="may", eggs=24, place="box", source="friend"),
    made("eggs_set", "2027-04-29T20:00+01:00", hatch="june", eggs=24, place="box 2",
         source="friend"),
    made("group", "2027-05-01", group="chicks", place="warm box", chicks=20,
         hatched_on="2027-05-01"),
)  # fmt: skip
"""Two machines with eggs and a brooder with chicks of two days."""
WARM = {"box": 37.5, "box 2": 37.5, "warm box": 34.0}
Air = Callable[[datetime], Mapping[str, float | None]]
"""What each place's sensor shows at an instant; None or nothing: it sends nothing."""


def warm(_: datetime) -> Mapping[str, float]:
    """All is well."""
    return WARM


@dataclass
class Night:
    """The flock's desk with what was sent so far; `works` says whether the server takes it."""

    desk: Desk
    now: datetime
    works: bool = True
    sent: list[tuple[datetime, Letter]] = field(default_factory=list)
    watch: NoticeWatch | None = None

    def post(self, address: str, letter: Letter) -> Sent:
        """A server of messages."""
        assert address
        if not self.works:
            return Sent(False, "The server gave no answer in time.")
        self.sent.append((self.now, letter))
        return Sent(True, "It was taken by the server.")

    def start(self) -> None:
        """The server is started: nothing is remembered but what was kept."""
        self.watch = NoticeWatch(self.post)

    def go(
        self, until: datetime, air: Air, every: timedelta = timedelta(seconds=30),
        sends: timedelta = MINUTE, serves: bool = True,
    ) -> None:  # fmt: skip
        """Lets time go by up to `until`; while it does not serve, readings arrive nowhere."""
        next_sent = self.now
        while self.now < until:
            if self.now >= next_sent and serves:
                self.send(air(self.now))
                next_sent = self.now + sends
            if serves:
                if self.watch is None:
                    self.start()
                assert self.watch is not None
                self.watch.watch(self.desk, self.now)
            self.now += every

    def send(self, shown: Mapping[str, float | None]) -> None:
        """One reading of each place."""
        with self.desk.store.writing() as writer:
            for place, celsius in shown.items():
                if celsius is not None:
                    at = [to_ms(self.now)]
                    writer.append_readings(place, "probe", at, [celsius], [None])

    @property
    def titles(self) -> list[str]:
        """What was sent, by title."""
        return [letter.title for _, letter in self.sent]

    def after(self, begun: datetime) -> list[timedelta]:
        """When each message came after an instant."""
        return [at - begun for at, _ in self.sent]

    def notices(self) -> list[Notice]:
        """Every notice there is."""
        with self.desk.store.household() as connection:
            return notices.notices(connection, self.now - timedelta(days=60))

    def most_in_an_hour(self) -> int:
        """The most messages within any hour."""
        at = [each for each, _ in self.sent]
        return max((sum(first <= each < first + HOUR for each in at) for first in at), default=0)


@contextmanager
def night(
    folder: Path, settings: NoticeSettings | None = None, now: datetime = EVENING,
    entries: Sequence[Entry] = FLOCK, language: str = "en", digest: bool = False,
) -> Iterator[Night]:  # fmt: skip
    """A night with notices on and one channel."""
    with Desk(open_store(str(folder / "flock.sqlite"), create=True)) as desk:
        with desk.store.writing() as writer:
            writer.append(entries, now)
        notice_settings.keep(desk.store, settings or NoticeSettings(on=True))
        made_at = now - HOUR
        notice_settings.add_channel(
            desk.store, "phone", "jsons://example.org/a-secret-path", language, digest, made_at
        )
        yield Night(desk, now)


def without_power(_: datetime) -> Mapping[str, float]:
    """A machine without power since long ago."""
    return {"box": 20.0}

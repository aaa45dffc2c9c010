"""The diary that the invented keepers write: a day, a clock, and whoever holds the pencil."""

from collections.abc import Iterator
from datetime import date, datetime, time
from operator import itemgetter
from typing import Any, TypeVar
from uuid import UUID

from numpy.random import Generator, default_rng

from quailwright.journal.entries import RANK, Entry
from quailwright.journal.moments import order_key, zone

E = TypeVar("E", bound=Entry)

_SEED_WORD = 2**32
_ID_BYTES = 16
_IDS_AT_ONCE = 256


def invented_ids(on: date, rng: Generator) -> Iterator[str]:
    """UUIDs (version 4) without end: the same for the same date and seed, and for no other."""
    rng = default_rng([on.toordinal(), *rng.integers(_SEED_WORD, size=2)])
    while True:
        drawn = rng.bytes(_ID_BYTES * _IDS_AT_ONCE)
        for start in range(0, len(drawn), _ID_BYTES):
            yield str(UUID(bytes=drawn[start : start + _ID_BYTES], version=4))


class Diary:
    """Entries as they are written. Its clock only goes on, so they stand in the order written."""

    def __init__(self, zone_name: str, ids: Iterator[str]) -> None:
        self.entries: list[Entry] = []
        self.by = ""
        self.zone_name = zone_name
        self._ids = ids
        self._day = date.min
        self._minute = 0

    def turn_to(self, day: date) -> None:
        """Opens the page of a new day, at midnight."""
        self._day = day
        self._minute = 0

    def not_before(self, clock: str) -> None:
        """Lets it become this time of the day, such as 07:10, if it is not later already."""
        hours, minutes = clock.split(":")
        self._minute = max(self._minute, 60 * int(hours) + int(minutes))

    def wait(self, minutes: int = 1) -> None:
        """Lets some minutes pass."""
        self._minute += minutes

    def now(self) -> str:
        """The present moment as an entry says it, with the offset of the holding."""
        clock = time(*divmod(self._minute, 60), tzinfo=zone(self.zone_name))
        return datetime.combine(self._day, clock).isoformat(timespec="minutes")

    def write(self, kind: type[E], **fields: Any) -> E:
        """Writes an entry of now; the clock goes on by a minute."""
        entry = self._add(kind, self.now(), fields)
        self.wait()
        return entry

    def tick(self, kind: type[E], **fields: Any) -> E:
        """Writes an entry of now, as one of several taps in the same minute."""
        return self._add(kind, self.now(), fields)

    def write_undated(self, kind: type[E], **fields: Any) -> E:
        """Writes an entry that only says the day."""
        return self._add(kind, self._day.isoformat(), fields)

    def drawn_up(self, kind: type[E], at: str, **fields: Any) -> E:
        """An entry with an id of its own that is not written by itself (see `retract`)."""
        return kind(id=next(self._ids), at=at, by=self.by, **fields)

    def _add(self, kind: type[E], at: str, fields: dict[str, Any]) -> E:
        entry = self.drawn_up(kind, at, **fields)
        self.entries.append(entry)
        return entry


def in_order(*diaries: Diary) -> list[Entry]:
    """All entries of some diaries in the order in which they fold."""
    keyed = [
        (order_key(entry.at, RANK[type(entry)], entry.id, diary.zone_name), entry)
        for diary in diaries
        for entry in diary.entries
    ]
    keyed.sort(key=itemgetter(0))
    return [entry for _, entry in keyed]

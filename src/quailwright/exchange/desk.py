"""An open flock file kept at hand: read once, and after that only what arrived since.

What it holds is a copy that may be dropped at any time; the journal alone is the record. A list or
a flock that it gave stays as it was when more arrives: readers need no lock.
"""

import threading
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import partial
from types import TracebackType
from typing import Any, TypeVar

from quailwright.exchange.air_seen import air_counts, air_seen
from quailwright.exchange.hatch_air import reading_counts
from quailwright.exchange.hatch_told import hatch_told
from quailwright.exchange.journal_told import Line, Listing, written_on
from quailwright.exchange.record import COMES_LATE, Recorded, fitting, kept_at_hand
from quailwright.flock.fold import newest_zone
from quailwright.flock.kept import Kept
from quailwright.flock.state import AirSeen, Flock, Hatch
from quailwright.guide.hatch.records import telling_hatches
from quailwright.guide.hatch.report import HatchReport
from quailwright.journal.entries import Entry
from quailwright.journal.store import NOTHING_YET, Store, Writer
from quailwright.language import spoken

_Made = TypeVar("_Made")

_KEPT_AT_MOST = 100
"""Pages' worth of what was reckoned; a flock whose readings arrive each minute makes new ones."""


@dataclass(frozen=True, slots=True)
class _Standing:
    """The flock as of a moment; it stands until `until`, when the next entry has happened."""

    kept: Kept
    flock: Flock
    since: datetime
    until: datetime | None

    def stands(self, kept: Kept, now: datetime) -> bool:
        return self.kept is kept and self.since <= now and (self.until is None or now < self.until)


class _Once:
    """Something made by the first who asks for it, while those who ask meanwhile wait."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._made: tuple[Any] | None = None

    def made_by(self, make: Callable[[], _Made]) -> _Made:
        with self._lock:
            if self._made is None:
                self._made = (make(),)
            made: _Made = self._made[0]
            return made


class Desk:
    """Answers from an open flock file, and writes to it. Close it, or use it as a context manager.

    What is written by others is seen: nothing is answered or written without a look at what has
    arrived since.
    """

    def __init__(self, store: Store) -> None:
        self.store = store
        self._lock = threading.Lock()
        self._writing = threading.Lock()
        self._forget()

    def _forget(self) -> None:
        self._entries: list[Entry] = []
        self._last = NOTHING_YET
        self._kept: Kept | None = None
        self._standing: _Standing | None = None
        self._checked: tuple[Kept, Kept] | None = None
        self._listed: tuple[list[Entry], Listing] | None = None
        self._made: tuple[Flock, dict[tuple[str, date | datetime, str], _Once]] | None = None

    def __enter__(self) -> "Desk":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self.store.close()

    def entries(self) -> list[Entry]:
        """Every entry, in order of arrival. Raises FlockUnusable."""
        with self._lock:
            return self._read()

    def mark(self) -> str:
        """What tells this flock from others: the id of its first entry, or "" before there is one.

        Raises FlockUnusable.
        """
        entries = self.entries()
        return entries[0].id if entries else ""

    def flock(self, now: datetime) -> Flock:
        """What stands at `now` (aware), from what has happened by then. Raises FlockUnusable."""
        with self._lock:
            kept, standing = self._keep(now), self._standing
            if standing is None or not standing.stands(kept, now):
                standing = _Standing(kept, kept.as_of(now), now, kept.next_after(now))
                self._standing = standing
            return standing.flock

    def once(
        self, flock: Flock, name: str, on: date | datetime, make: Callable[[], _Made]
    ) -> _Made:
        """What `make` makes of a flock of this desk for a day, made once for all of a language."""
        asked = (name, on, spoken())
        with self._lock:
            if self._made is None or self._made[0] is not flock:
                self._made = (flock, {})
            made = self._made[1]
            if asked not in made and len(made) >= _KEPT_AT_MOST:
                del made[next(iter(made))]
            one = made.setdefault(asked, _Once())
        return one.made_by(make)

    def with_readings(
        self, flock: Flock, name: str, now: datetime, hatches: Iterable[Hatch],
        make: Callable[[], _Made],
    ) -> _Made:  # fmt: skip
        """As `once`, of what the air of these hatches tells, too: made anew for every minute, and
        when readings of it arrived."""
        known = ",".join(str(count) for count in reading_counts(self.store, hatches, now))
        return self.once(flock, f"{name} of {known}", now.replace(second=0, microsecond=0), make)

    def once_an_hour(
        self, flock: Flock, now: datetime
    ) -> Callable[[str, Callable[[], _Made]], _Made]:
        """What is made under a name of this flock, for all who ask within the hour of `now`."""
        open_now, hour = list(flock.hatches_open()), now.replace(minute=0)

        def once(name: str, make: Callable[[], _Made]) -> _Made:
            return self.with_readings(flock, name, hour, open_now, make)

        return once

    def with_air(
        self, flock: Flock, name: str, on: date, asked: date | datetime,
        make: Callable[[tuple[AirSeen, ...]], _Made],
    ) -> _Made:  # fmt: skip
        """As `once`, of what sensors told of brooders and pens up to `asked`, too: made anew when
        readings of it arrived."""
        known = air_counts(self.store, flock, asked)

        def told() -> _Made:
            return make(air_seen(self.store, flock, asked))

        return self.once(flock, f"{name} of {known}", on, told)

    def hatch(self, flock: Flock, name: str, now: datetime) -> HatchReport:
        """The report of a hatch as of `now`, of a flock that `flock(now)` gave. Raises BadInput."""
        hatch = flock.hatches.get(name)
        tells = () if hatch is None else (hatch, *telling_hatches(flock, hatch))
        told = partial(hatch_told, self.store, flock, name, now)
        return self.with_readings(flock, f"hatch {name}", now, tells, told)

    def record(self, entries: Sequence[Entry], now: datetime) -> Recorded:
        """Appends entries as `record.record` does, with what is at hand in place of reading all.

        Raises as `record.record`.
        """
        with self._writing, self.store.writing() as writer:
            with self._lock:
                kept = self._keep(now, writer)
            fresh, after = fitting(kept, entries)
            writer.append(fresh, now)
        with self._lock:
            self._checked = (kept, after)
        return Recorded(tuple(fresh), len(entries) - len(fresh))

    def done(self, on: date, now: datetime) -> list[Line]:
        """What was done on a day up to `now` and still stands, the last first."""
        with self._lock:
            kept = self._keep(now)
        return written_on(kept.since(on), on, now, kept.zone)

    def since(self, day: date, now: datetime) -> Sequence[Entry]:
        """The entries of a day and later, and maybe some of before it, in no certain order.

        Raises FlockUnusable.
        """
        with self._lock:
            return self._keep(now).since(day)

    def known(self, now: datetime) -> Mapping[str, Entry]:
        """Every entry, and everything put in another's stead, by id. Raises FlockUnusable."""
        with self._lock:
            return self._keep(now).facts

    def listing(self) -> Listing:
        """The journal as a list to read and to search. Raises FlockUnusable."""
        with self._lock:
            entries = self._read()
            if self._listed is None or self._listed[0] is not entries:
                self._listed = (entries, self._listing(entries))
            return self._listed[1]

    def lines(self) -> list[Line]:
        """The lines of the journal, the newest first. Raises FlockUnusable."""
        return self.listing().lines

    def _listing(self, entries: list[Entry]) -> Listing:
        zone = newest_zone(entries)
        if self._listed is None or self._listed[1].zone != zone:
            return Listing(entries, zone)
        before, listing = self._listed
        return listing.and_(entries[len(before) :])

    def _read(self, writer: Writer | None = None) -> list[Entry]:
        source = self.store if writer is None else writer
        arrived = source.arrived_since(self._last)
        if arrived is None:
            self._forget()
            arrived = source.arrived_since(NOTHING_YET) or ([], NOTHING_YET)
        new, self._last = arrived
        if new:
            self._entries = self._entries + new
        return self._entries

    def _keep(self, now: datetime, writer: Writer | None = None) -> Kept:
        """The entries folded; anew where `now` has left the days in which others may come late."""
        entries, kept = self._read(writer), self._kept
        if kept is None or not COMES_LATE / 2 <= now.date() - kept.day <= 2 * COMES_LATE:
            kept = kept_at_hand(entries, now)
        elif len(kept.entries) < len(entries):
            new = entries[len(kept.entries) :]
            before, after = self._checked or (None, kept)
            written = before is kept and after.entries[len(kept.entries) :] == new
            kept = after if written else kept.and_(new)
        self._kept = kept
        return kept

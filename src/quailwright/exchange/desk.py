"""An open flock file kept at hand: read once, and after that only what arrived since.

What it holds is a copy that may be dropped at any time; the journal alone is the record. A list or
a flock that it gave stays as it was when more arrives: readers need no lock.
"""

import threading
from dataclasses import dataclass
from datetime import datetime
from types import TracebackType

from quailwright.exchange.journal_told import Line, lines
from quailwright.flock.fold import fold, newest_zone
from quailwright.flock.state import Flock
from quailwright.journal.entries import Entry
from quailwright.journal.moments import has_happened, instant
from quailwright.journal.store import Store


@dataclass(frozen=True, slots=True)
class _Folded:
    """The flock as of a moment; it stands until `until`, when the next entry has happened."""

    entries: list[Entry]
    flock: Flock
    since: datetime
    until: datetime | None

    def stands(self, entries: list[Entry], now: datetime) -> bool:
        return (
            self.entries is entries
            and self.since <= now
            and (self.until is None or now < self.until)
        )


class Desk:
    """Answers from an open flock file. Close it, or use it as a context manager."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self._lock = threading.Lock()
        self._entries: list[Entry] = []
        self._arrival = 0
        self._folded: _Folded | None = None
        self._listed: tuple[list[Entry], list[Line]] | None = None

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
            entries, folded = self._read(), self._folded
            if folded is None or not folded.stands(entries, now):
                zone_name = newest_zone(entries)
                ahead = [
                    instant(entry.at, zone_name, hour=0)
                    for entry in entries
                    if not has_happened(entry.at, now, zone_name)
                ]
                folded = _Folded(entries, fold(entries, now), now, min(ahead, default=None))
                self._folded = folded
            return folded.flock

    def lines(self) -> list[Line]:
        """The journal as a list to read, the newest first. Raises FlockUnusable."""
        with self._lock:
            entries = self._read()
            if self._listed is None or self._listed[0] is not entries:
                self._listed = (entries, lines(entries, newest_zone(entries)))
            return self._listed[1]

    def _read(self) -> list[Entry]:
        arrived, self._arrival = self.store.arrived_since(self._arrival)
        if arrived:
            self._entries = self._entries + arrived
        return self._entries

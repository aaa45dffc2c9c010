"""How often a passphrase may be tried."""

import threading
from collections import deque
from dataclasses import dataclass, field
from datetime import datetime, timedelta

WITHIN = timedelta(minutes=15)
MOST_FROM_ONE, MOST_OF_ALL = 5, 50
_MOST_ADDRESSES = 10_000


@dataclass(slots=True)
class Attempts:
    """Failed sign-ins of the last quarter of an hour, by address and in all; kept in memory."""

    _failed: dict[str, deque[datetime]] = field(default_factory=dict)
    _all: deque[datetime] = field(default_factory=deque)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def tried(self, address: str, now: datetime, of_all: bool = True) -> timedelta | None:
        """Counts a try as failed, and gives None; or how long that address must wait first.

        It is counted before the passphrase is looked at: many tries at once are no more than the
        most. One that was right is told to `succeeded`. Without `of_all` the tries of all others
        do not count: what strangers do locks out nobody who is known.
        """
        with self._lock:
            own = self._failed.get(address, deque())
            limits = [(own, MOST_FROM_ONE), *([(self._all, MOST_OF_ALL)] if of_all else [])]
            waits = [
                since[-most] + WITHIN - now
                for since, most in limits
                if len(since) >= most and since[-most] + WITHIN > now
            ]
            if not waits:
                self._count(address, now, of_all)
            return max(waits, default=None)

    def _count(self, address: str, now: datetime, of_all: bool) -> None:
        if address not in self._failed and len(self._failed) >= _MOST_ADDRESSES:
            self._failed.pop(next(iter(self._failed)))
        self._failed.setdefault(address, deque(maxlen=MOST_FROM_ONE)).append(now)
        if of_all:
            self._all.append(now)
        while len(self._all) > MOST_OF_ALL:
            self._all.popleft()

    def succeeded(self, address: str, now: datetime) -> None:
        """Forgets that this try was one that failed. Those before it stay: somebody else's, maybe,
        who signs in as themselves between guesses."""
        with self._lock:
            for tries in (self._failed.get(address), self._all):
                if tries and now in tries:
                    tries.remove(now)

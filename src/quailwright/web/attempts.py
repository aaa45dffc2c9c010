"""How often a passphrase, or the key of a device, may be tried."""

from dataclasses import dataclass, field
from datetime import datetime, timedelta

from quailwright.exchange.shared import Held, OwnMemory, Shared

WITHIN = timedelta(minutes=15)
MOST_FROM_ONE, MOST_OF_ALL = 5, 50
_FAILED = "failed"

_Tries = list[tuple[str, datetime, bool]]
"""By whom and when, the oldest first, and whether it counts among those of all."""


@dataclass(frozen=True, slots=True)
class Attempts:
    """Failed tries of the last quarter of an hour, by address and in all.

    Attributes:
        of: what is tried: the tries of one thing do not count for another.
        shared: where they are counted; several server processes count together.
    """

    of: str = "sign-in"
    shared: Shared = field(default_factory=OwnMemory)

    def tried(self, address: str, now: datetime, of_all: bool = True) -> timedelta | None:
        """Counts a try as failed, and gives None; or how long that address must wait first.

        It is counted before the passphrase is looked at: many tries at once are no more than the
        most. One that was right is told to `succeeded`. Without `of_all` the tries of all others
        do not count: what strangers do locks out nobody who is known.
        """
        with self.shared.turn(_FAILED) as held:
            tries = self._lately(held, now)
            own = [at for who, at, _ in tries if who == address]
            everyone = [at for _, at, counts in tries if counts]
            limits = [(own, MOST_FROM_ONE), *([(everyone, MOST_OF_ALL)] if of_all else [])]
            waits = [since[-most] + WITHIN - now for since, most in limits if len(since) >= most]
            if not waits:
                held.put(self.of, [*tries, (address, now, of_all)])
            return max(waits, default=None)

    def succeeded(self, address: str, now: datetime) -> None:
        """Forgets that this try was one that failed. Those before it stay: somebody else's, maybe,
        who signs in as themselves between guesses."""
        with self.shared.turn(_FAILED) as held:
            tries = self._lately(held, now)
            for this in [one for one in tries if one[:2] == (address, now)][:1]:
                tries.remove(this)
            held.put(self.of, tries)

    def _lately(self, held: Held, now: datetime) -> _Tries:
        tries: _Tries = held.get(self.of) or []
        return [one for one in tries if abs(now - one[1]) < WITHIN]

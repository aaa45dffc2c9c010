"""How often a passphrase, or the key of a device, may be tried."""

from dataclasses import dataclass, field
from datetime import datetime, timedelta

from quailwright.exchange.shared import Held, OwnMemory, Shared

WITHIN = timedelta(minutes=15)
MOST_FROM_ONE, MOST_OF_ALL = 5, 50
_FAILED = "failed"

_Tries = list[tuple[str | None, datetime]]
"""From which address and when, the oldest first; None: of an address that has succeeded since."""


@dataclass(frozen=True, slots=True)
class Attempts:
    """Failed tries of the last quarter of an hour, by address and in all.

    Attributes:
        of: what is tried: the tries of one thing do not count for another.
        shared: where they are counted; several server processes count together.
    """

    of: str = "sign-in"
    shared: Shared = field(default_factory=OwnMemory)

    def tried(self, address: str, now: datetime) -> timedelta | None:
        """Counts a try as failed, and gives None; or how long that address must wait first.

        It is counted before the passphrase is looked at: many tries at once are no more than the
        most. One that was right is told to `succeeded`.
        """
        with self.shared.turn(_FAILED) as held:
            tries = self._lately(held, now)
            own = [at for who, at in tries if who == address]
            waits = [
                since[-most] + WITHIN - now
                for since, most in ((own, MOST_FROM_ONE), ([at for _, at in tries], MOST_OF_ALL))
                if len(since) >= most
            ]
            if not waits:
                held.put(self.of, [*tries, (address, now)])
            return max(waits, default=None)

    def succeeded(self, address: str, now: datetime) -> None:
        """Forgets the failures of an address, and that this try was one.

        In all they still count: who has a passphrase of their own may not try others' without end.
        """
        with self.shared.turn(_FAILED) as held:
            tries = self._lately(held, now)
            if (address, now) in tries:
                tries.remove((address, now))
            forgotten: _Tries = [(None if who == address else who, at) for who, at in tries]
            held.put(self.of, forgotten)

    def _lately(self, held: Held, now: datetime) -> _Tries:
        tries: _Tries = held.get(self.of) or []
        return [(who, at) for who, at in tries if abs(now - at) < WITHIN]

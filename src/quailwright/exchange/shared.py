"""What the pages of a flock remember between two requests, for a while: in memory, or shared.

One server process remembers in its own memory. Several processes over one database share it through
the flock's table `passing`; there it is signed with a key that only they hold and that ends with
them: what anyone else put into the table, or an earlier run, is as if it were not there.
"""

import hashlib
import hmac
import pickle
import threading
import zlib
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from typing import Any, Protocol

from quailwright.journal.passing import Passing
from quailwright.journal.store import Store

KEY_BYTES = 32
_SIGNED_BYTES = 32
_FASTEST = 1


class Held(Protocol):
    """What is remembered of a kind, by key, while nobody else changes it."""

    def get(self, key: str) -> Any:
        """What is under a key; None where nothing is."""

    def put(self, key: str, value: Any) -> None:
        """Remembers it under a key; a new one comes last."""

    def drop(self, key: str) -> None:
        """Forgets it."""

    def every(self) -> dict[str, Any]:
        """All of the kind, the oldest first."""


class Shared(Protocol):
    """What is remembered: of one process (`OwnMemory`) or of several (`AmongProcesses`)."""

    def turn(self, kind: str) -> AbstractContextManager[Held]:
        """What is remembered of a kind, to change it; others wait meanwhile."""

    def look(self, kind: str, key: str) -> Any:
        """What is remembered of a kind under a key; None where nothing is."""

    def every(self, kind: str) -> dict[str, Any]:
        """All that is remembered of a kind, the oldest first."""


class _OwnHeld(dict[str, Any]):
    def put(self, key: str, value: Any) -> None:
        self[key] = value

    def drop(self, key: str) -> None:
        self.pop(key, None)

    def every(self) -> dict[str, Any]:
        return dict(self)


class OwnMemory:
    """Remembers in this process."""

    def __init__(self) -> None:
        self._lock = threading.RLock()
        self._held: dict[str, _OwnHeld] = {}

    @contextmanager
    def turn(self, kind: str) -> Iterator[Held]:
        """See `Shared`."""
        with self._lock:
            yield self._held.setdefault(kind, _OwnHeld())

    def look(self, kind: str, key: str) -> Any:
        """See `Shared`."""
        with self.turn(kind) as held:
            return held.get(key)

    def every(self, kind: str) -> dict[str, Any]:
        """See `Shared`."""
        with self.turn(kind) as held:
            return held.every()


class AmongProcesses:
    """Remembers for several processes, in the flock's database (PostgreSQL)."""

    def __init__(self, store: Store, key: bytes) -> None:
        """`key`: secret, the same in all of them, of `KEY_BYTES` random bytes.

        Raises FlockUnusable.
        """
        self._store, self._key = store, key
        with store.passing() as passing:
            passing.prepare()

    @contextmanager
    def turn(self, kind: str) -> Iterator[Held]:
        """See `Shared`. What is changed is kept when the block ends without an error."""
        with self._store.passing() as passing:
            passing.my_turn()
            yield _SharedHeld(passing, self, kind)

    def look(self, kind: str, key: str) -> Any:
        """See `Shared`."""
        with self._store.passing() as passing:
            return self.opened(kind, key, passing.get(kind, key))

    def every(self, kind: str) -> dict[str, Any]:
        """See `Shared`."""
        with self._store.passing() as passing:
            return self.all_of(passing, kind)

    def living(self, number: int) -> Callable[[], None]:
        """Takes a number until what it gives is called, or this process ends."""
        return self._store.living(number)

    def lives(self, number: int) -> bool:
        """Whether who took that number still has it."""
        with self._store.passing() as passing:
            return passing.lives(number)

    def sealed(self, kind: str, key: str, value: Any) -> bytes:
        """A value as it is passed on."""
        packed = zlib.compress(pickle.dumps(value, pickle.HIGHEST_PROTOCOL), _FASTEST)
        return self._signature(kind, key, packed) + packed

    def opened(self, kind: str, key: str, passed: bytes | None) -> Any:
        """A value that `sealed` made with this key; None for anything else."""
        if passed is None:
            return None
        signature, packed = passed[:_SIGNED_BYTES], passed[_SIGNED_BYTES:]
        if not hmac.compare_digest(signature, self._signature(kind, key, packed)):
            return None
        # Safe to unpack: only who holds the key can have made it.
        return pickle.loads(zlib.decompress(packed))

    def all_of(self, passing: Passing, kind: str) -> dict[str, Any]:
        """All of a kind that was sealed with this key, the oldest first."""
        found = {one.key: self.opened(kind, one.key, one.value) for one in passing.every(kind)}
        return {key: value for key, value in found.items() if value is not None}

    def _signature(self, kind: str, key: str, packed: bytes) -> bytes:
        # Of which flock it is counts too: what is passed at one is nothing at another.
        signed = b"\0".join((self._store.location.encode(), kind.encode(), key.encode(), packed))
        return hmac.digest(self._key, signed, hashlib.sha256)


class _SharedHeld:
    def __init__(self, passing: Passing, shared: AmongProcesses, kind: str) -> None:
        self._passing, self._shared, self._kind = passing, shared, kind

    def get(self, key: str) -> Any:
        return self._shared.opened(self._kind, key, self._passing.get(self._kind, key))

    def put(self, key: str, value: Any) -> None:
        self._passing.put(self._kind, key, self._shared.sealed(self._kind, key, value))

    def drop(self, key: str) -> None:
        self._passing.drop(self._kind, key)

    def every(self) -> dict[str, Any]:
        return self._shared.all_of(self._passing, self._kind)

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

import sqlalchemy as sa

from quailwright.journal import passing
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
        with store.passing() as connection:
            passing.prepare(connection)

    @contextmanager
    def turn(self, kind: str) -> Iterator[Held]:
        """See `Shared`. What is changed is kept when the block ends without an error."""
        with self._store.passing() as connection:
            passing.my_turn(connection)
            yield _SharedHeld(connection, self, kind)

    def look(self, kind: str, key: str) -> Any:
        """See `Shared`."""
        with self._store.passing() as connection:
            return self.opened(kind, key, passing.get(connection, kind, key))

    def every(self, kind: str) -> dict[str, Any]:
        """See `Shared`."""
        with self._store.passing() as connection:
            return self._all(connection, kind)

    def living(self, number: int) -> Callable[[], None]:
        """Takes a number until what it gives is called, or this process ends."""
        return self._store.living(number)

    def lives(self, number: int) -> bool:
        """Whether who took that number still has it."""
        with self._store.passing() as connection:
            return passing.lives(connection, number)

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

    def _all(self, connection: sa.Connection, kind: str) -> dict[str, Any]:
        found = {
            one.key: self.opened(kind, one.key, one.value)
            for one in passing.every(connection, kind)
        }
        return {key: value for key, value in found.items() if value is not None}

    def _signature(self, kind: str, key: str, packed: bytes) -> bytes:
        # Of which flock it is counts too: what is passed at one is nothing at another.
        signed = b"\0".join((self._store.location.encode(), kind.encode(), key.encode(), packed))
        return hmac.digest(self._key, signed, hashlib.sha256)


class _SharedHeld:
    def __init__(self, connection: sa.Connection, shared: AmongProcesses, kind: str) -> None:
        self._connection, self._shared, self._kind = connection, shared, kind

    def get(self, key: str) -> Any:
        found = passing.get(self._connection, self._kind, key)
        return self._shared.opened(self._kind, key, found)

    def put(self, key: str, value: Any) -> None:
        sealed = self._shared.sealed(self._kind, key, value)
        passing.put(self._connection, self._kind, key, sealed)

    def drop(self, key: str) -> None:
        passing.drop(self._connection, self._kind, key)

    def every(self) -> dict[str, Any]:
        return self._shared._all(self._connection, self._kind)

"""Who looks after a flock: one process alone of all, known by a lock that ends with the process.

Of a SQLite file it is a lock on a file beside it, of a database an advisory lock. One connection of
a process holds the locks of all its flocks, in a transaction that it leaves open: so a pooler that
hands connections round between transactions hands this one to nobody else. Such a transaction holds
no snapshot (it is READ COMMITTED, and at rest), so it keeps nothing from being vacuumed.
"""

import hashlib
import os
import threading
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy.exc import DBAPIError

_CARETAKER_LOCK = 0x51_75_61_69_6C
"""Of the public schema of a database: any number that is always the same will do."""


def care_locked(database: str) -> AbstractContextManager[bool]:
    """Whether this process, alone of all, now looks after the flock in that SQLite file."""
    return _locked(Path(f"{database}.caretaker"))


@contextmanager
def _locked(path: Path) -> Iterator[bool]:
    """Whether this process now holds that file locked; a folder that is read-only: it does not."""
    import fcntl

    try:
        held = os.fdopen(os.open(path, os.O_RDWR | os.O_CREAT, 0o600))
    except OSError:
        yield False
        return
    with held:
        try:
            fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            yield False
        else:
            yield True


def lock_number(what: str) -> int:
    """The number of an advisory lock: of different things, different ones."""
    return int.from_bytes(hashlib.sha256(what.encode()).digest()[:8], "big", signed=True)


def care_number(flock: str | None) -> int:
    """The lock of whoever looks after a flock; None is the one in the public schema."""
    return _CARETAKER_LOCK if flock is None else lock_number(f"the caretaker of {flock}")


def cares_alone(connection: sa.Connection, flock: str | None) -> bool:
    """Whether this transaction, alone of all, now looks after the flock, until it ends."""
    mine = sa.text("SELECT pg_try_advisory_xact_lock(:number)")
    return bool(connection.execute(mine, {"number": care_number(flock)}).scalar())


class Cares:
    """The flocks of a database that this process looks after. Safe to use from several threads."""

    def __init__(self, engine: sa.Engine) -> None:
        self._engine = engine
        self._turn = threading.Lock()
        self._connection: sa.Connection | None = None
        self._held: set[int] = set()

    @contextmanager
    def alone(self, flock: str | None) -> Iterator[Callable[[], bool]]:
        """Gives a function that says whether this process, alone of all, looks after the flock.

        Raises DBAPIError, as does the function, when the database is lost.
        """
        number = care_number(flock)
        connection = self._take(number)
        try:
            yield lambda: connection is not None and self._stands(connection)
        finally:
            if connection is not None:
                self._let_go(number, connection)

    def _take(self, number: int) -> sa.Connection | None:
        """The connection that now holds the lock, or None where it is held already."""
        with self._turn:
            if number in self._held:  # the database would give it to the same session twice
                return None
            if self._connection is None:
                opened = self._engine.connect()
                opened.detach()  # it is none of the pool's: it is kept for as long as this cares
                self._connection = opened
            got = self._asked("SELECT pg_try_advisory_lock(:number)", number)
            if got:
                self._held.add(number)
                return self._connection
            self._rest()
            return None

    def _stands(self, connection: sa.Connection) -> bool:
        """Asked each time: a connection that is lost has lost its locks too."""
        with self._turn:
            return connection is self._connection and self._asked("SELECT 1 = 1", None)

    def _let_go(self, number: int, connection: sa.Connection) -> None:
        with self._turn:
            if connection is not self._connection:
                return
            self._held.discard(number)
            with suppress(DBAPIError):
                self._asked("SELECT pg_advisory_unlock(:number)", number)
            self._rest()

    def _asked(self, question: str, number: int | None) -> bool:
        assert self._connection is not None
        try:
            given = {} if number is None else {"number": number}
            return bool(self._connection.execute(sa.text(question), given).scalar())
        except DBAPIError:
            self._held.clear()
            self._rest()
            raise

    def _rest(self) -> None:
        """Nothing is held any more: no connection is either."""
        if not self._held and self._connection is not None:
            lost, self._connection = self._connection, None
            with suppress(DBAPIError):
                lost.close()

"""A flock moves to another place: from a file to a database, from there to a file, or on.

It goes by way of a backup, so that all comes along and is proven equal before it is kept there.
While it moves nobody writes where it comes from; once it has, the database there itself refuses
what would make two records of one flock. It can still be read.
"""

import io
import re
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

import sqlalchemy as sa

from quailwright.journal.backup import Backup, Manifest, State, open_backup, write
from quailwright.journal.drafts import folder_apart
from quailwright.journal.findings import BadInput, FlockUnusable
from quailwright.journal.restoring import Restored, restore
from quailwright.journal.store import MOVED, Store, open_store, without_password
from quailwright.language import say

_RECORD = (
    "entry", "reading", "sensor", "thinned", "person", "device", "topic", "subscription",
)  # fmt: skip
"""What makes the record of a flock. Where it comes from, people can still sign in to read, and a
backup can still be noted."""


def move(from_: str, to: str, now: datetime, version: str, state: State) -> Restored:
    """Moves a flock to a place that holds nothing, and closes the record that it comes from.

    One that was ended between these two steps is finished when it is asked for again.
    Raises BadInput where both are the same, however they are written, FlockUnusable where one
    cannot be used or `to` holds another record, Withheld where what arrived is not equal; then
    nothing has changed.
    """
    if _same_file(from_, to):
        raise _there_it_is(from_, to)
    with open_store(from_) as store, _nobody_else(store), store.writing_nowhere_else() as closing:
        where = moved_to(closing)
        if where is not None:
            raise FlockUnusable(
                say(
                    "{flock} has moved to {to} already; nothing was moved. Move it from there.",
                    flock=store.location,
                    to=where,
                )
            )
        with folder_apart() as apart:
            path = apart / "move.zip"
            with path.open("w+b") as stream:
                manifest = write(store, stream, now, version, state)
            moved = _there_already(closing, from_, manifest, to, now, version, state)
            if moved is None:
                with open_backup(path) as backup:
                    moved = _restored(backup, to, now, state)
        _close(closing, shown(to))
        return moved


def shown(location: str) -> str:
    """A location as it is told to whoever comes later, from wherever: a file with its whole path.

    A database without its password.
    """
    if "://" in location:
        return without_password(location)
    return str(Path(location).expanduser().resolve())


def _there_it_is(from_: str, to: str) -> BadInput:
    flock, other = without_password(from_), without_password(to)
    if flock == other:
        return BadInput(say("{flock} is where it is already.", flock=flock))
    return BadInput(
        say(
            "{flock} is where it is already: {to} is the same one, written in another way. "
            "Nothing was moved.",
            flock=flock,
            to=other,
        )
    )


def _same_file(one: str, other: str) -> bool:
    """Whether both are one file, under whatever names."""
    if "://" in one or "://" in other:
        return one == other
    first, second = Path(one).expanduser(), Path(other).expanduser()
    try:
        return first.samefile(second)
    except OSError:  # one of them is not there
        return first.resolve() == second.resolve()


def _same_tables(closing: sa.Connection, there: sa.Connection) -> bool:
    """Whether two transactions are of one flock of one database, under whatever names.

    A database may have many names and ports, and poolers before it. So it is asked itself: a lock
    of a number that nobody can guess, taken in the one, is seen in the other only where both are in
    the same database; and there the flock's tables are known by their number.
    """
    if {closing.dialect.name, there.dialect.name} != {"postgresql"}:
        return False
    number = {"number": secrets.randbits(63)}
    closing.execute(sa.text("SELECT pg_advisory_xact_lock(:number)"), number)
    free = sa.text("SELECT pg_try_advisory_xact_lock(:number)")
    table = sa.text("SELECT to_regclass('entry')::oid::bigint")
    return (
        not there.execute(free, number).scalar()
        and closing.execute(table).scalar() == there.execute(table).scalar()
    )


def _only_read(there: sa.Connection) -> bool:
    """Whether it is a database that may not be written, as one that copies another."""
    return (
        there.dialect.name == "postgresql"
        and there.execute(sa.text("SHOW transaction_read_only")).scalar() == "on"
    )


class _InUse(FlockUnusable):
    """Somebody serves it."""


@contextmanager
def _nobody_else(store: Store) -> Iterator[None]:
    """While nobody serves what moves, and as long as this lasts nobody begins to."""
    with store.sole_caretaker() as mine:
        if not mine():
            raise _InUse(
                say(
                    "{flock} is being served or in use; nothing was moved. End "
                    "`quailwright serve` first.",
                    flock=store.location,
                )
            )
        yield


def _there_already(
    closing: sa.Connection,
    from_: str,
    manifest: Manifest,
    to: str,
    now: datetime,
    version: str,
    state: State,
) -> Restored | None:
    """What arrived by a move that was ended before it closed the record that it came from.

    None where nothing stands. Raises BadInput where it is the same flock, FlockUnusable where
    something else stands.
    """
    try:
        with open_store(to) as store, store.snapshot() as connection:
            if _same_tables(closing, connection):
                raise _there_it_is(from_, to)
            closed, only_read = moved_to(connection) is not None, _only_read(connection)
            there = write(store, io.BytesIO(), now, version, state)
            if not any(there.rows(table) for table in ("entry", "reading", "person")):
                with _nobody_else(store):
                    return None
    except _InUse:
        raise
    except FlockUnusable as error:
        if _holds_bytes(to):
            raise FlockUnusable(say("{why} Nothing was moved.", why=error.sentence)) from error
        return None  # nothing is there yet; what else is in the way says `restore`
    if closed or only_read or there.parts != manifest.parts:
        raise FlockUnusable(
            say(
                "{flock} holds a record already; nothing was moved. Name a place that holds none.",
                flock=without_password(to),
            )
        )
    return Restored(there.rows("entry"), there.rows("reading"), same_state=True)


def _holds_bytes(to: str) -> bool:
    path = Path(to).expanduser()
    return "://" not in to and path.is_file() and path.stat().st_size > 0


def _restored(backup: Backup, to: str, now: datetime, state: State) -> Restored:
    try:
        return restore(backup, to, False, now, state)
    except FlockUnusable as error:
        if not isinstance(error.__cause__, OSError):
            raise
        raise FlockUnusable(
            say(
                "{path} could not be written: {why}. Nothing was moved.",
                path=shown(to),
                why=error.__cause__.strerror or error.__cause__,
            )
        ) from error


# The mark that it has moved: triggers, which hold whichever version of quailwright writes.


def moved_to(connection: sa.Connection) -> str | None:
    """Where the flock of a closed record has moved to; None: the record is open."""
    if connection.dialect.name == "sqlite":
        named = "SELECT sql FROM sqlite_master WHERE type = 'trigger' AND name = :name"
        said = connection.execute(sa.text(named), {"name": "entry_moved_insert"}).scalar()
        written = None if said is None else _RAISED.search(said)
        told = said if written is None else written[1].replace("''", "'")
    else:
        named = (
            "SELECT tgargs FROM pg_trigger "
            "WHERE tgrelid = to_regclass('entry') AND tgname = 'entry_moved'"
        )
        said = connection.execute(sa.text(named)).scalar()
        told = None if said is None else bytes(said).rstrip(b"\0").decode()
    return None if told is None else str(told).removeprefix(MOVED)


_RAISED = re.compile(r"RAISE\(ABORT, '(.*)'\)", re.DOTALL)


def _close(connection: sa.Connection, to: str) -> None:
    text = f"{MOVED}{to}".replace("'", "''")

    def run(statement: str) -> None:
        # What is read in a name as a sign of the driver's stays as it is.
        connection.exec_driver_sql(
            statement.replace("%", "%%") if connection.dialect.name == "postgresql" else statement
        )

    if connection.dialect.name == "sqlite":
        for table in _RECORD:
            for verb in ("INSERT", "UPDATE", "DELETE"):
                run(
                    f"CREATE TRIGGER {table}_moved_{verb.lower()} BEFORE {verb} ON {table} "
                    f"BEGIN SELECT RAISE(ABORT, '{text}'); END"
                )
        return
    run(
        "CREATE OR REPLACE FUNCTION record_moved() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RAISE EXCEPTION USING MESSAGE = TG_ARGV[0]; END $$"
    )
    for table in _RECORD:
        run(
            f"CREATE TRIGGER {table}_moved BEFORE INSERT OR UPDATE OR DELETE OR TRUNCATE "
            f"ON {table} EXECUTE FUNCTION record_moved('{text}')"
        )

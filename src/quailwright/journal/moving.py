"""A flock moves to another place: from a file to a database, from there to a file, or on.

It goes by way of a backup, so that all comes along and is proven equal before it is kept there.
While it moves nobody writes where it comes from; once it has, the database there itself refuses
what would make two records of one flock. It can still be read.
"""

import io
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

import sqlalchemy as sa

from quailwright.journal.backup import Manifest, State, open_backup, write
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
    Raises BadInput where both are the same, FlockUnusable where one cannot be used or `to` holds
    another record, Withheld where what arrived is not equal; then nothing has changed.
    """
    if _same(from_, to):
        raise BadInput(say("{flock} is where it is already.", flock=without_password(from_)))
    with open_store(from_) as store, _nobody_else(store), store.writing_nowhere_else() as closing:
        if has_moved(closing):
            raise FlockUnusable(
                say("{flock} has moved already; write where it is.", flock=store.location)
            )
        with folder_apart() as apart:
            path = apart / "move.zip"
            with path.open("w+b") as stream:
                manifest = write(store, stream, now, version, state)
            moved = _there_already(manifest, to, now, version, state)
            if moved is None:
                with open_backup(path) as backup:
                    moved = restore(backup, to, False, now, state)
        _close(closing, without_password(to))
        return moved


def _same(one: str, other: str) -> bool:
    if "://" in one or "://" in other:
        return one == other
    return Path(one).expanduser().resolve() == Path(other).expanduser().resolve()


@contextmanager
def _nobody_else(store: Store) -> Iterator[None]:
    """While nobody serves what moves, and as long as this lasts nobody begins to."""
    with store.sole_caretaker() as mine:
        if not mine():
            raise FlockUnusable(
                say(
                    "{flock} is being served or in use; nothing was moved. End "
                    "`quailwright serve` first.",
                    flock=store.location,
                )
            )
        yield


def _there_already(
    manifest: Manifest, to: str, now: datetime, version: str, state: State
) -> Restored | None:
    """What arrived by a move that was ended before it closed the record that it came from.

    None where nothing stands. Raises FlockUnusable where another record does.
    """
    try:
        with open_store(to) as store, store.snapshot() as connection:
            closed = has_moved(connection)
            there = write(store, io.BytesIO(), now, version, state)
    except FlockUnusable:
        return None  # nothing is there yet; what else is in the way says `restore`
    if not any(there.rows(table) for table in ("entry", "reading", "person")):
        return None
    if closed or there.parts != manifest.parts:
        raise FlockUnusable(
            say(
                "{flock} holds a record already; nothing was moved. Name a place that holds none.",
                flock=without_password(to),
            )
        )
    return Restored(there.rows("entry"), there.rows("reading"), same_state=True)


# The mark that it has moved: triggers, which hold whichever version of quailwright writes.


def has_moved(connection: sa.Connection) -> bool:
    """Whether the record is closed, since the flock has moved."""
    if connection.dialect.name == "sqlite":
        named = "SELECT 1 FROM sqlite_master WHERE type = 'trigger' AND name = 'entry_moved_insert'"
    else:
        named = (
            "SELECT 1 FROM pg_trigger "
            "WHERE tgrelid = to_regclass('entry') AND tgname = 'entry_moved'"
        )
    return connection.execute(sa.text(named)).first() is not None


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

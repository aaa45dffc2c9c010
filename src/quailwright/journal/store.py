"""The append-only store of entries; readings and people beside it; SQLite, or PostgreSQL by URL.

A database holds one flock in its public schema, or many, each in its own: see `flocks`.

Every acknowledged append is on the disk (SQLite: write-ahead log, `synchronous=FULL`). The
database itself refuses to change or delete an entry. Reading yields entries in order of arrival;
`flock.fold` puts them in the order in which they happened.
"""

import os
import re
import sqlite3
import zlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple
from urllib.parse import parse_qsl, quote, unquote

import msgspec
import sqlalchemy as sa
from sqlalchemy.exc import DBAPIError, NoSuchModuleError

from quailwright.journal import (
    damage,
    devices,
    notices,
    options,
    passing,
    people,
    subscriptions,
    summaries,
)
from quailwright.journal import readings as sensors
from quailwright.journal.care import Cares, care_locked
from quailwright.journal.drafts import begins, clear, make_folder, sync_folder
from quailwright.journal.entries import Entry, decode, encode, kind_of
from quailwright.journal.findings import Finding, FlockUnusable, Moved
from quailwright.journal.moments import utc_text
from quailwright.language import mark, say

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

SCHEMA = "0008"
"""The newest migration in `migrations/versions`; a flock file at this one opens without Alembic."""

_BUSY_SECONDS = 15
_DRAFT = ".new"
_PASSWORD = re.compile(
    r"(?<=://)([^:@/]*):.*@|((?<=[?&])[^=&]*(?:pass|secret)[^=&]*=)[^&]*", re.IGNORECASE
)
_SIZE = sa.text(
    "SELECT coalesce(sum(pg_total_relation_size(oid)), 0)::bigint FROM pg_class "
    "WHERE relnamespace = to_regnamespace(quote_ident(current_schema())) AND relkind = 'r'"
)
_SOON_READ_BYTES = 16_000_000
"""A flock file so small is read through before the first entry is written (10 ms); larger ones are
while they are served."""

metadata = sa.MetaData()
entry_table = sa.Table(
    "entry",
    metadata,
    sa.Column("arrival", sa.Integer, primary_key=True, autoincrement=True),
    sa.Column("id", sa.String(36), nullable=False, unique=True),
    sa.Column("kind", sa.String(40), nullable=False),
    sa.Column("at", sa.String(40), nullable=False),
    sa.Column("recorded_at", sa.String(40), nullable=False),
    sa.Column("crc32", sa.BigInteger, nullable=False),
    sa.Column("body", sa.LargeBinary, nullable=False),
    sqlite_autoincrement=True,
)
for _part in (sensors, people, options, subscriptions, devices, summaries, notices):
    for _table in _part.metadata.sorted_tables:
        _table.to_metadata(metadata)


class Store:
    """An open flock file. Use `open_store`; close it, or use it as a context manager.

    Attributes:
        location: where it is, as it may be shown.
        flock: its name, where it is one of many in a database.
    """

    def __init__(
        self,
        engine: sa.Engine,
        location: str,
        cares: Cares | None = None,
        flock: str | None = None,
        close: Callable[[], None] | None = None,
    ) -> None:
        self._engine = engine
        self._cares = cares or Cares(engine)
        self._close = close
        self.location = location
        self.flock = flock
        self._damaged: damage.Damaged | None = None
        self._left_alone: sqlite3.Connection | None = None
        self._looked_through = engine.dialect.name != "sqlite"

    def __enter__(self) -> "Store":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Lets go of the flock file; the connections of many flocks stay open."""
        if self._close is not None:
            self._close()
        if self._left_alone is not None:
            self._left_alone.close()

    @property
    def damaged(self) -> str:
        """What is wrong with the flock file and the way back, in a sentence; "" as far as known."""
        return "" if self._damaged is None else self._damaged.sentence

    @contextmanager
    def writing(self) -> Iterator["Writer"]:
        """A write transaction: what it reads stays true until it ends; all or nothing is kept.

        Raises FlockUnusable (disk full, locked, read-only); then nothing was written.
        """
        engine = self._engine.execution_options(writes=True)
        with self._sentences(writes=True), engine.begin() as connection:
            if connection.dialect.name == "postgresql":
                connection.execute(sa.text("LOCK TABLE entry IN EXCLUSIVE MODE"))
            self._look_through(connection)
            writer = Writer(connection, self.location)
            yield writer
        if writer.newest is not None:
            damage.note(Path(self.location).expanduser(), writer.newest)

    @contextmanager
    def writing_nowhere_else(self) -> Iterator[sa.Connection]:
        """A write transaction that nobody else's goes beside, of entries or of people."""
        writer = self._engine.execution_options(writes=True)
        with self._sentences(), writer.begin() as connection:
            if connection.dialect.name == "postgresql":
                connection.execute(sa.text("LOCK TABLE entry, person IN EXCLUSIVE MODE"))
            yield connection

    def entries(self) -> list[Entry]:
        """Every entry, in order of arrival. Raises FlockUnusable when one cannot be read."""
        with self._sentences(), self._engine.connect() as connection:
            return _read(connection, self.location)

    def entry_rows(self) -> list[tuple[str, int, bytes]]:
        """Every entry as it is kept, unread: (id, CRC-32, text), in order of arrival.

        Raises FlockUnusable.
        """
        with self._sentences(), self._engine.connect() as connection:
            rows = connection.execute(_ARRIVED, {"last": NOTHING_YET.number}).all()
            return [(entry_id, crc32, bytes(body)) for _, entry_id, crc32, body in rows]

    def recorded_lately(self) -> datetime | None:
        """The newest instant at which one of the last entries to arrive was recorded."""
        with self._sentences(), self._engine.connect() as connection:
            newest = connection.execute(_RECORDED_LATELY).scalar()
        with suppress(ValueError):
            return datetime.fromisoformat(newest) if newest else None
        return None

    def arrived_since(self, last: "Arrival") -> tuple[list[Entry], "Arrival"] | None:
        """The entries that arrived after `last`, and the newest arrival now.

        None when the journal does not hold `last`: it is another file's, or a backup was put back.
        """
        with self._sentences(), self._engine.connect() as connection:
            return _arrived(connection, self.location, last)

    @contextmanager
    def household(self, writes: bool = False) -> Iterator[sa.Connection]:
        """A transaction on the people of the household, for the functions of `people`."""
        engine = self._engine.execution_options(writes=writes)
        with self._sentences(writes), engine.begin() as connection:
            if writes and connection.dialect.name == "postgresql":
                connection.execute(sa.text("LOCK TABLE person IN EXCLUSIVE MODE"))
            yield connection

    @contextmanager
    def passing(self) -> Iterator[passing.Passing]:
        """A transaction on what server processes pass one another; see `passing`."""
        with self._sentences(), self._engine.begin() as connection:
            yield passing.Passing(connection)

    def living(self, number: int) -> Callable[[], None]:
        """Takes a number until what it gives is called, or this process ends; see `passing`."""
        with self._sentences():
            connection = self._engine.connect()
            # It is none of the pool's any more, and its transaction stays open: with either lost,
            # the number is free.
            connection.detach()
            passing.Passing(connection).live(number)

            def let_go() -> None:
                # One that is lost has let go already.
                with suppress(DBAPIError):
                    connection.close()

            return let_go

    @contextmanager
    def snapshot(self) -> Iterator[sa.Connection]:
        """A transaction that reads one moment's state, whatever is written meanwhile."""
        engine = self._engine
        if engine.dialect.name == "postgresql":
            engine = engine.execution_options(isolation_level="REPEATABLE READ")
        with self._sentences(), engine.begin() as connection:
            yield connection

    @contextmanager
    def sole_caretaker(self) -> Iterator[Callable[[], bool]]:
        """Gives a function that says whether this process, alone of all, looks after the flock.

        The system lets go for a process that ends, however it ends. Raises FlockUnusable.
        """
        with self._sentences():
            if self._engine.dialect.name == "postgresql":
                with self._cares.alone(self.flock) as mine:
                    yield mine
            else:
                with care_locked(str(self._engine.url.database)) as got:
                    yield lambda: got

    def damage(self) -> list[Finding]:
        """What is wrong with the file itself: pages, checksums, rows that do not match."""
        with self._sentences(), self._engine.connect() as connection:
            findings = []
            if connection.dialect.name == "sqlite":
                for (verdict,) in connection.execute(sa.text("PRAGMA integrity_check")):
                    if verdict != "ok":
                        findings.append(
                            _damaged(say("The database says: {verdict}.", verdict=verdict))
                        )
            for row in connection.execute(sa.text("SELECT * FROM entry")):
                findings.extend(_row_damage(row))
            return findings

    def check(self) -> None:
        """Reads the file's pages and its entries anew. Raises Damaged, and then writes no more."""
        with self._sentences(), self._engine.connect() as connection:
            check_all(connection, self.location)
            check_names(connection)

    def readings(
        self, place: str, from_: datetime | None = None, until: datetime | None = None
    ) -> list[sensors.Readings]:
        """The readings of a place from `from_` to before `until` (aware), by instrument."""
        with self._sentences(), self._engine.connect() as connection:
            return sensors.read(connection, place, *_span(from_, until))

    def reading_count(
        self, place: str, from_: datetime | None = None, until: datetime | None = None
    ) -> int:
        """How many readings of a place were read in a span."""
        with self._sentences(), self._engine.connect() as connection:
            return sensors.count(connection, place, *_span(from_, until))

    def reading_rows(
        self, place: str, from_: datetime | None = None, until: datetime | None = None
    ) -> int:
        """How many readings of a place in a span `readings` gives: of long ago, fewer than read."""
        with self._sentences(), self._engine.connect() as connection:
            return sensors.rows(connection, place, *_span(from_, until))

    def latest_readings(self, until: datetime | None = None) -> list[sensors.Latest]:
        """The last reading of every instrument at every place, in order of their names.

        With `until` (aware), the last before that instant.
        """
        until_ms = None if until is None else sensors.to_ms(until)
        with self._sentences(), self._engine.connect() as connection:
            return sensors.latest(connection, until_ms)

    def reading_extents(self, place: str | None = None) -> list[sensors.Extent]:
        """What readings there are, by place and instrument."""
        with self._sentences(), self._engine.connect() as connection:
            return sensors.extents(connection, place)

    def reading_buckets(
        self,
        place: str,
        step: timedelta,
        from_: datetime | None = None,
        until: datetime | None = None,
        shift: timedelta = timedelta(0),
    ) -> list[sensors.Bucket]:
        """Readings of a place by step, reckoned in the database; see `readings.buckets`."""
        step_ms, shift_ms = (each // timedelta(milliseconds=1) for each in (step, shift))
        with self._sentences(), self._engine.connect() as connection:
            return sensors.buckets(connection, place, step_ms, *_span(from_, until), shift_ms)

    def reading_sensors(self) -> list[summaries.Sensor]:
        """Every instrument at every place, with how much of it was read and left out."""
        with self._sentences(), self._engine.connect() as connection:
            return summaries.sensors(connection)

    def first_unthinned(self, sensor: int, from_ms: int | None, until_ms: int) -> int | None:
        """The first instant of a span that is not thinned; see `summaries.first_unthinned`."""
        with self._sentences(), self._engine.connect() as connection:
            return summaries.first_unthinned(connection, sensor, from_ms, until_ms)

    def unthinned(
        self, sensor: int, from_ms: int | None, until_ms: int, stretch_ms: int, most: int
    ) -> summaries.Stretches | None:
        """The next stretches to be thinned, to look at; see `summaries.unthinned`."""
        with self._sentences(), self._engine.connect() as connection:
            return summaries.unthinned(connection, sensor, from_ms, until_ms, stretch_ms, most)

    def room(self) -> "Room":
        """How large the flock file is, and how much of it waits to be used again.

        Of a database, the flock's own tables with their indexes.
        """
        with self._sentences(), self._engine.connect() as connection:
            if connection.dialect.name == "postgresql":
                return Room(int(connection.execute(_SIZE).scalar_one()), 0)
            page, pages, free = (
                int(connection.exec_driver_sql(f"PRAGMA {name}").scalar_one())
                for name in ("page_size", "page_count", "freelist_count")
            )
            return Room(page * pages, page * free)

    def give_back(self, most_bytes: int) -> None:
        """Makes a SQLite file smaller by room that waits to be used again, by so much at most.

        A file that was begun before this could be done keeps its room, and uses it again.
        """
        if self._engine.dialect.name != "sqlite":
            return
        with self._sentences(writes=True), self._engine.connect() as connection:
            page = int(connection.exec_driver_sql("PRAGMA page_size").scalar_one())
            driver: Any = connection.connection.driver_connection
            # Only a script is run to its end; it is a transaction of its own.
            driver.executescript(f"PRAGMA incremental_vacuum({max(1, most_bytes // page)})")

    def _look_through(self, connection: sa.Connection) -> None:
        """Before the first write to a small file: nothing is written on top of damage."""
        if not self._looked_through:
            if Path(self.location).expanduser().stat().st_size <= _SOON_READ_BYTES:
                check_pages(connection, self.location)
                check_names(connection)
            self._looked_through = True

    @contextmanager
    def _sentences(self, writes: bool = False) -> Iterator[None]:
        if writes and self._damaged is not None:
            raise self._damaged
        try:
            with in_sentences(self.location):
                yield
        except damage.Damaged as error:
            if self._damaged is None:
                self._damaged, self._left_alone = error, _left_alone(self._engine)
            raise


class Writer:
    """What may be done inside a write transaction: read everything, append."""

    def __init__(self, connection: sa.Connection, location: str) -> None:
        self._connection = connection
        self._location = location
        self.newest: damage.Noted | None = None

    def entries(self) -> list[Entry]:
        """Every entry, in order of arrival."""
        return _read(self._connection, self._location)

    def arrived_since(self, last: "Arrival") -> tuple[list[Entry], "Arrival"] | None:
        """As `Store.arrived_since`, of what this transaction sees."""
        return _arrived(self._connection, self._location, last)

    def append(self, entries: Iterable[Entry], now: datetime) -> None:
        """Adds entries; `now` (aware) is kept beside each. Ids must be new to the store."""
        recorded_at = utc_text(now)
        rows = []
        for entry in entries:
            body = encode(entry)
            rows.append(
                {
                    "id": entry.id,
                    "kind": kind_of(entry),
                    "at": entry.at,
                    "recorded_at": recorded_at,
                    "crc32": zlib.crc32(body),
                    "body": body,
                }
            )
        if rows:
            # Straight to the driver: SQLAlchemy's handling of each row takes longer than writing.
            insert = entry_table.insert().compile(
                dialect=self._connection.dialect, column_keys=rows[0]
            )
            self._connection.exec_driver_sql(str(insert), rows)
            if self._connection.dialect.name == "sqlite":
                last = sa.text("SELECT max(arrival) FROM entry")
                number = int(self._connection.execute(last).scalar_one())
                self.newest = damage.Noted(number, str(rows[-1]["id"]))

    def append_readings(
        self,
        place: str,
        instrument: str,
        at_ms: Sequence[int],
        temperature_c: Sequence[float | None],
        humidity_pct: Sequence[float | None],
    ) -> sensors.Kept:
        """Adds readings of one instrument (or ''), as columns of one length; see `summaries`."""
        return summaries.append(
            self._connection, place, instrument, at_ms, temperature_c, humidity_pct
        )

    def first_time(self, messages: Iterable[devices.Taken]) -> list[bool]:
        """Of each message of a broker whether it has not been taken before; see `devices`."""
        return devices.first_time(self._connection, messages)

    def unthinned(
        self, sensor: int, from_ms: int | None, until_ms: int, stretch_ms: int, most: int
    ) -> summaries.Stretches | None:
        """The next stretches to be thinned; see `summaries.unthinned`."""
        return summaries.unthinned(self._connection, sensor, from_ms, until_ms, stretch_ms, most)

    def thin(
        self,
        stretches: summaries.Stretches,
        stretch_ms: int,
        kept: "NDArray[np.bool_]",
        off: "tuple[NDArray[np.float64], NDArray[np.float64]]",
    ) -> int:
        """Leaves out readings of these stretches, and returns how many; see `summaries.thin`."""
        return summaries.thin(self._connection, stretches, stretch_ms, kept, off)


class Room(NamedTuple):
    """Bytes of the flock file, and how many of these wait to be used again."""

    size: int
    free: int


def _span(from_: datetime | None, until: datetime | None) -> tuple[int | None, int | None]:
    """Instants as the store keeps them; an open end stays open."""
    return (
        None if from_ is None else sensors.to_ms(from_),
        None if until is None else sensors.to_ms(until),
    )


_UNREADABLE = (msgspec.DecodeError, UnicodeDecodeError, TypeError)
"""What decoding a row raises; TypeError when damage has made a blob something else."""


class Arrival(NamedTuple):
    """An entry's place in the order of arrival, and its id; `NOTHING_YET` is before the first."""

    number: int
    entry_id: str


NOTHING_YET = Arrival(0, "")
_ARRIVED = sa.text(
    "SELECT arrival, id, crc32, body FROM entry WHERE arrival >= :last ORDER BY arrival"
)


_RECORDED_LATELY = sa.text(
    "SELECT max(recorded_at) FROM "
    "(SELECT recorded_at FROM entry ORDER BY arrival DESC LIMIT 20) AS lately"
)


def _read(connection: sa.Connection, location: str) -> list[Entry]:
    return (_arrived(connection, location, NOTHING_YET) or ([], NOTHING_YET))[0]


def _arrived(
    connection: sa.Connection, location: str, last: Arrival
) -> tuple[list[Entry], Arrival] | None:
    rows = list(connection.execute(_ARRIVED, {"last": last.number}).all())
    newest = Arrival(rows[-1][0], rows[-1][1]) if rows else last
    if last != NOTHING_YET:
        if not rows or Arrival(*rows[0][:2]) != last:
            return None
        del rows[0]
    entries = _decoded(rows, location)
    if last == NOTHING_YET and connection.dialect.name == "sqlite":
        damage.check_whole(connection, location, len(entries), newest.number)
    return entries, newest


def _decoded(rows: Iterable[Any], location: str) -> list[Entry]:
    """The entries of these rows (arrival, id, crc32, body), each as it was written, in order."""
    entries, before, checksum = [], 0, zlib.crc32
    entry_id: object = ""
    try:
        for arrival, entry_id, crc32, body in rows:
            if checksum(body) != crc32:
                raise _altered(location, entry_id)
            entry = decode(body)
            if entry.id != entry_id or arrival <= before:
                raise _altered(location, entry_id)
            entries.append(entry)
            before = arrival
    except _UNREADABLE as error:
        raise _altered(location, entry_id) from error
    return entries


def _altered(location: str, entry_id: object) -> damage.Damaged:
    what = say("entry {id} is not as it was written.", id=entry_id)
    return damage.damaged(location, what)


def check_pages(connection: sa.Connection, location: str) -> None:
    """Reads every page of a SQLite file. Raises Damaged."""
    verdict = str(connection.execute(sa.text("PRAGMA quick_check(1)")).scalar())
    if verdict != "ok":
        told = say("the database says: {verdict}.", verdict=" ".join(verdict.split()))
        raise damage.damaged(location, told)


def check_names(connection: sa.Connection) -> None:
    """Names every column of every table: the database does not find out that one was altered."""
    for table in metadata.sorted_tables:
        connection.execute(sa.select(table).limit(0))


def check_all(connection: sa.Connection, location: str) -> None:
    """Reads every page and every entry. Raises Damaged."""
    if connection.dialect.name == "sqlite":
        check_pages(connection, location)
    if sa.inspect(connection).has_table(entry_table.name):
        _read(connection, location)


def _damaged(what: str, entry_id: str = "") -> Finding:
    return Finding("damage", what, say("Put back your last backup."), entry=entry_id)


def _row_damage(row: sa.Row[Any]) -> list[Finding]:
    if not isinstance(row.body, bytes) or zlib.crc32(row.body) != row.crc32:
        altered = say("Entry {id} was altered: its checksum does not match.", id=row.id)
        return [_damaged(altered, row.id)]
    try:
        entry = decode(row.body)
    except _UNREADABLE as error:
        unread = say("Entry {id} cannot be read: {error}.", id=row.id, error=error)
        return [_damaged(unread, row.id)]
    if (entry.id, kind_of(entry), entry.at) != (row.id, row.kind, row.at):
        return [_damaged(say("Entry {id} does not match its row.", id=row.id), row.id)]
    return []


# Opening a flock file.


def open_store(location: str, create: bool = False) -> Store:
    """Opens the flock file: a path, or a `postgresql://` URL; brings its schema up to date.

    With `create`, a missing SQLite file is made. A URL may name one of many flocks (`?flock=creek`,
    see `flocks`), which is not made by being opened. Raises FlockUnusable with a keeper's sentence.
    """
    if flock_in(location) is not None:
        from quailwright.journal.flocks import open_alone

        return open_alone(location)
    try:
        url = _url(location, create)
        location = without_password(location)
        engine = sa.create_engine(url, **_engine_settings(url))
    except (sa.exc.ArgumentError, NoSuchModuleError, ValueError) as error:
        raise FlockUnusable(_no_flock_file(location)) from error
    sqlite, read_only = engine.dialect.name == "sqlite", "mode" in url.query
    if sqlite:
        _set_up_sqlite(engine, read_only)
    try:
        with in_sentences(location):
            if create and sqlite and not read_only and url.database:
                _begin(Path(url.database))
            if sqlite:
                path = damage.itself(Path(location).expanduser().absolute())
                damage.mind_its_place(engine, path, location)
                _as_it_was_left(engine, path, location)
            bring_up_to_date(engine, location)
    except damage.Damaged:
        left = _left_alone(engine)
        engine.dispose()
        if left is not None:
            left.close()
        raise
    except FlockUnusable:
        engine.dispose()
        raise
    return Store(engine, location, close=engine.dispose)


def flock_in(location: str) -> str | None:
    """The flock that a `postgresql://` URL names, as it is written, or None."""
    if "://" not in location:
        return None
    asked = parse_qsl(location.partition("?")[2], keep_blank_values=True)
    named = [value for key, value in asked if key == "flock"]
    return ",".join(named) if named else None


def with_flock(location: str, name: str | None) -> str:
    """A `postgresql://` URL that names a flock, or with None none."""
    before, _, asked = location.partition("?")
    parts = [part for part in asked.split("&") if part]
    parts = [part for part in parts if unquote(part.partition("=")[0]) != "flock"]
    if name is not None:
        parts.append(f"flock={name}")
    return f"{before}?{'&'.join(parts)}" if parts else before


def _as_it_was_left(engine: sa.Engine, path: Path, location: str) -> None:
    with engine.connect() as connection:
        page = int(connection.exec_driver_sql("PRAGMA page_size").scalar_one())
        damage.check_length(path, page, location)
        damage.check_noted(connection, path, location)


def _left_alone(engine: sa.Engine) -> sqlite3.Connection | None:
    """A connection that only reads, to be closed last: then the log is not written into the file.

    What is damaged is left as it was found, for what can be salvaged of it.
    """
    if engine.dialect.name != "sqlite" or "mode" in engine.url.query:
        return None
    path = quote(str(Path(str(engine.url.database)).absolute()))
    raw = None
    with suppress(sqlite3.Error, UnicodeDecodeError):
        raw = sqlite3.connect(f"file:{path}?mode=ro", uri=True, check_same_thread=False, timeout=0)
        raw.execute("SELECT count(*) FROM sqlite_master").fetchone()
    return raw


def _no_flock_file(location: str) -> str:
    return say(
        "{location} is not a flock file. Give a path, or postgresql://USER@HOST/DATABASE.",
        location=without_password(location),
    )


def _url(location: str, create: bool) -> sa.URL:
    if "://" in location:
        url = sa.make_url(location)
        if url.drivername in ("postgresql", "postgres"):
            return url.set(drivername="postgresql+psycopg")
        raise NoSuchModuleError(url.drivername)
    try:
        named = Path(location).expanduser()
        path = damage.itself(named)
        there = path.exists()
    except (OSError, RuntimeError) as error:
        raise FlockUnusable(
            say("{path} cannot be opened ({error}). Check the path.", path=location, error=error)
        ) from error
    if not there:
        damage.check_missing(path)
        if named.is_symlink():  # or a new one would begin where a drive is not plugged in
            raise FlockUnusable(
                say(
                    "{path} leads to {file}, which is not there. Is its drive plugged in?",
                    path=named,
                    file=path,
                )
            )
        if not create:
            raise FlockUnusable(
                say(
                    "There is no flock file at {path}. "
                    "`quailwright log` or `quailwright journal import` begins one; "
                    "`quailwright demo` shows an invented one.",
                    path=path,
                )
            )
        _make_folder(path)
    elif path.is_dir():
        raise FlockUnusable(say("{path} is a folder. Name the flock file in it.", path=path))
    elif damage.is_cut_to_nothing(path):
        if damage.noted(path) is None:
            raise FlockUnusable(_no_flock_file(location))
        raise damage.damaged(location, say("next to nothing of it is left."))
    elif not _may(path, os.R_OK):
        raise FlockUnusable(
            say("{path} may not be read by you. Change its permissions.", path=path)
        )
    elif not (_may(path, os.W_OK) and _may(path.parent, os.W_OK)):
        return _read_only_url(path)
    return sa.URL.create("sqlite", database=str(path))


def _may(path: Path, mode: int) -> bool:
    return os.access(path, mode, effective_ids=os.access in os.supports_effective_ids)


def _read_only_url(path: Path) -> sa.URL:
    """A flock file that may only be read: without its write-ahead log, nobody is writing to it."""
    query = {"uri": "true", "mode": "ro"}
    if not path.with_name(f"{path.name}-wal").exists():
        query["immutable"] = "1"
    return sa.URL.create("sqlite", database=f"file:{quote(str(path.absolute()))}", query=query)


def without_password(location: str) -> str:
    """A location as it may be shown."""
    return _PASSWORD.sub(lambda m: f"{m[2]}***" if m[2] else f"{m[1]}:***@", location)


def _make_folder(path: Path) -> None:
    try:
        make_folder(path.parent, mode=0o700)
    except OSError as error:
        raise FlockUnusable(
            say("{path} cannot be made: {why}.", path=path.parent, why=error.strerror)
        ) from error


def _engine_settings(url: sa.URL) -> dict[str, Any]:
    if url.get_backend_name() == "sqlite":
        return {"connect_args": {"timeout": _BUSY_SECONDS}, "paramstyle": "named"}
    return {"connect_args": {"connect_timeout": _BUSY_SECONDS}}


def _set_up_sqlite(engine: sa.Engine, read_only: bool, begins: bool = False) -> None:
    """Full durability; a write locks out other writers from its start on.

    A file that begins can give room back later (`Store.give_back`).
    """

    @sa.event.listens_for(engine, "connect")
    def on_connect(raw: Any, _record: object) -> None:
        raw.isolation_level = None
        if begins:
            raw.execute("PRAGMA auto_vacuum=INCREMENTAL")
        if not read_only:
            raw.execute("PRAGMA journal_mode=WAL")
            raw.execute("PRAGMA synchronous=FULL")

    @sa.event.listens_for(engine, "begin")
    def on_begin(connection: sa.Connection) -> None:
        writes = connection.get_execution_options().get("writes", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _begin(path: Path) -> None:
    """Makes a flock file where there is none, whole or not at all, whoever else makes it too."""
    clear(path.parent, path.name, _DRAFT)
    if path.exists():
        return
    log = path.with_name(f"{path.name}-wal")
    if log.exists() and not path.exists():
        # SQLite would read it into the new file, and mix two flocks.
        raise FlockUnusable(
            say(
                "{log} is there without its flock file {path}, and may hold entries. Put that file "
                "back beside it, or move the log elsewhere.",
                log=log,
                path=path,
            )
        )
    draft = path.with_name(f"{begins(path.name)}{_DRAFT}")
    # It holds secrets: for its owner alone, as SQLite then makes what stands beside it too.
    with suppress(OSError):
        draft.touch(mode=0o600)
    engine = sa.create_engine(sa.URL.create("sqlite", database=str(draft)))
    _set_up_sqlite(engine, read_only=False, begins=True)
    try:
        from quailwright.journal.migrations import upgrade

        upgrade(engine)
        engine.dispose()
        _put_in_place(draft, path)
    finally:
        engine.dispose()
        for left in (draft, *(draft.with_name(draft.name + end) for end in ("-wal", "-shm"))):
            left.unlink(missing_ok=True)


def _put_in_place(draft: Path, path: Path) -> None:
    try:
        path.hardlink_to(draft)
    except FileExistsError:
        return
    except OSError:
        if not path.exists():
            draft.replace(path)
    sync_folder(path.parent)


def server_engine(location: str, pooled: int | None = None) -> sa.Engine:
    """An engine on the database at a `postgresql://` URL, as it is. Raises FlockUnusable.

    Which flock the URL names is not minded. With `pooled` it is for many flocks: as many
    connections at most, and nothing is prepared on one for the next transaction, which a pooler
    may hand to another connection.
    """
    try:
        url = _url(with_flock(location, None), create=False)
        settings = _engine_settings(url)
        if pooled is not None:
            settings["connect_args"]["prepare_threshold"] = None
            settings |= {
                "pool_size": pooled,
                "max_overflow": 0,
                "pool_timeout": _BUSY_SECONDS,
                "pool_pre_ping": True,
            }
        return sa.create_engine(url, **settings)
    except (sa.exc.ArgumentError, NoSuchModuleError, ValueError) as error:
        raise FlockUnusable(_no_flock_file(location)) from error


def draft_engine(path: Path) -> sa.Engine:
    """An engine on a SQLite file that nobody else knows of: a crash may lose it, no time is lost.

    The file stands alone (no write-ahead log), and is the system's to write out.
    """
    engine = sa.create_engine(sa.URL.create("sqlite", database=str(path)), paramstyle="named")

    @sa.event.listens_for(engine, "connect")
    def on_connect(raw: Any, _record: object) -> None:
        raw.isolation_level = None
        raw.execute("PRAGMA journal_mode=MEMORY")
        raw.execute("PRAGMA synchronous=OFF")

    @sa.event.listens_for(engine, "begin")
    def on_begin(connection: sa.Connection) -> None:
        connection.exec_driver_sql("BEGIN IMMEDIATE")

    return engine


@contextmanager
def in_sentences(location: str) -> Iterator[None]:
    """What the database raises becomes FlockUnusable, with a keeper's sentence."""
    try:
        yield
    except DBAPIError as error:
        if any(sign in str(error.orig).lower() for sign in _DAMAGE_SIGNS):
            what = say("the database cannot find its way in it.")
            raise damage.damaged(location, what) from error
        if "not a database" in str(error.orig) and damage.noted(Path(location).expanduser()):
            raise damage.damaged(location, say("its beginning cannot be read.")) from error
        kind = Moved if str(error.orig).startswith(MOVED) else FlockUnusable
        raise kind(_sentence(error, location)) from error
    except UnicodeDecodeError as error:  # of the driver, about names in a broken schema
        what = say("the database cannot find its way in it.")
        raise damage.damaged(location, what) from error
    except sa.exc.TimeoutError as error:
        # Every connection of this process is taken, by those who wait for a file in use.
        sentence = _SIGNS["locked"]
        raise FlockUnusable(say(sentence, location=location)) from error


def bring_up_to_date(engine: sa.Engine, location: str) -> None:
    """Migrates what is older. Raises FlockUnusable for what is newer, or no flock."""
    version = schema_version(engine)
    if version == SCHEMA:
        return
    if version is not None and version > SCHEMA:
        raise FlockUnusable(
            say(
                "{location} was written by a newer quailwright (schema {schema}; "
                "this one knows {known}). Update quailwright.",
                location=location,
                schema=version,
                known=SCHEMA,
            )
        )
    from quailwright.journal.migrations import upgrade

    if version is not None:
        with engine.connect() as connection:
            check_all(connection, location)
    upgrade(engine)


_TABLES = sa.text(
    "SELECT relname FROM pg_class "
    "WHERE relnamespace = to_regnamespace(quote_ident(current_schema())) AND relkind IN ('r', 'p')"
)


def schema_version(engine: sa.Engine) -> str | None:
    """The migration that a flock stands at, or None where there are no tables at all."""
    with engine.connect() as connection:
        if connection.dialect.name == "postgresql":
            there = sa.text("SELECT to_regclass('alembic_version'), to_regclass('entry')")
            if None not in connection.execute(there).one():
                return connection.execute(_VERSION).scalar()
            tables = set(connection.execute(_TABLES).scalars())
        else:
            tables = set(sa.inspect(connection).get_table_names())
        if not tables:
            return None
        if not {"alembic_version", entry_table.name} <= tables:
            raise FlockUnusable(
                say(
                    "{name} is a database, but not a flock file. Name another.",
                    name=engine.url.database,
                )
            )
        return connection.execute(_VERSION).scalar()


_VERSION = sa.text("SELECT version_num FROM alembic_version")


MOVED = "the record has moved to "
"""What the database says of a record that has moved, before where to; see `moving`."""


def _sentence(error: DBAPIError, location: str) -> str:
    text = str(error.orig)
    if text.startswith(MOVED):
        return say(
            "{location} has moved to {to}. It can still be read; what is new is written there.",
            location=location,
            to=text.removeprefix(MOVED).partition("\n")[0],
        )
    for sign, sentence in _SIGNS.items():
        if sign in text.lower():
            return say(sentence, location=location)
    written = " ".join(text.split())
    return say("{location} cannot be used ({error}).", location=location, error=written)


_DAMAGE_SIGNS = (
    "malformed", "could not decode", "unsupported file format", "no such table", "no such column",
    "no column named",
)  # fmt: skip
"""What SQLite says of damage; the last of them, of names that were altered in its schema."""
_SIGNS = {
    "disk is full": mark(
        "{location} could not be written: the disk is full. Nothing of this was kept. Make room."
    ),
    "disk i/o error": mark(
        "{location} could not be written or read: the disk is full or failing. "
        "Nothing of this was kept."
    ),
    "not a database": mark("{location} is not a flock file. Name another, or put back a backup."),
    "locked": mark("{location} is in use by another program that does not let go. Try again."),
    "readonly": mark("{location} may not be written by you. Change its permissions."),
    "read-only": mark("{location} may not be written by you. Change its permissions."),
    "unable to open": mark("{location} cannot be opened. Check the folder and its permissions."),
    "unique constraint": mark(
        "{location} holds an entry with this id already. Nothing of this was kept."
    ),
    "append-only": mark("{location} refused: entries are never changed or deleted."),
}

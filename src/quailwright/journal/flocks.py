"""Many flocks in one PostgreSQL database, each in a schema of its own, over one pool.

`postgresql://USER@HOST/DATABASE?flock=creek` names one of them; without `flock=` it is the one in
the public schema. A list of them stands in the schema `quailwright`. Which flock a statement
reaches is said at the beginning of every transaction (`SET LOCAL search_path`), and ends with it:
nothing of it stays on a connection that goes back to the pool, or to a pooler before the database.

Where the role that the server signs in with may create roles, each flock has a role of its own that
owns its schema and may use nothing else; every transaction of the flock takes it on (`SET LOCAL
ROLE`), so that the database itself refuses a statement that names another flock's schema.
"""

import hashlib
import re
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import datetime
from typing import NamedTuple

import sqlalchemy as sa
from sqlalchemy.exc import DBAPIError

from quailwright.journal.care import Cares, cares_alone, lock_number
from quailwright.journal.findings import BadInput, FlockUnusable
from quailwright.journal.moments import utc_text
from quailwright.journal.store import (
    SCHEMA,
    Store,
    bring_up_to_date,
    flock_in,
    in_sentences,
    schema_version,
    server_engine,
    with_flock,
    without_password,
)
from quailwright.language import say

CONNECTIONS = 8
"""How many a process holds at most for all its flocks, and one more for what it looks after."""

_LIST = "quailwright"
_NAME = re.compile(r"[a-z0-9]([a-z0-9-]{0,38}[a-z0-9])?")
_LISTED = sa.Table(
    "flock",
    sa.MetaData(schema=_LIST),
    sa.Column("name", sa.String(40), primary_key=True),
    sa.Column("role", sa.String(63)),
    sa.Column("begun_at", sa.String(40), nullable=False),
)
_NOWHERE = f"SET LOCAL search_path TO {_LIST}, pg_temp"


class Place(NamedTuple):
    """Where one flock stands: its schema, and the role that owns it (None: the server's own)."""

    flock: str
    role: str | None

    @property
    def schema(self) -> str:
        """The name of the schema. A name of a flock has no `_`: so it is no other schema's."""
        return f"flock_{self.flock}"

    @property
    def begins(self) -> str:
        """What a transaction of the flock begins with, one message to the database."""
        path = f'SET LOCAL search_path TO "{self.schema}", pg_temp'
        return path if self.role is None else f'{path}; SET LOCAL ROLE "{self.role}"'


class Told(NamedTuple):
    """A flock: its entries, when the last was recorded (UTC), bytes, whether it has moved away."""

    name: str
    entries: int
    last_entry_at: str | None
    bytes: int
    moved: bool


class Dropped(NamedTuple):
    """What was dropped with a flock: records that restoring put aside; a role that had to stay."""

    aside: int
    role_left: str | None


_MOVED = (
    "EXISTS (SELECT 1 FROM pg_trigger "
    "WHERE tgrelid = to_regclass('entry') AND tgname = 'entry_moved')"
)
_HOW_MUCH = sa.text(
    "SELECT (SELECT count(*) FROM entry), "
    "(SELECT recorded_at FROM entry ORDER BY arrival DESC LIMIT 1), " + _MOVED
)
_SCHEMAS = sa.text(
    "SELECT nspname, pg_get_userbyid(nspowner) FROM pg_namespace "
    "WHERE nspname = :schema OR nspname ~ :aside ORDER BY nspname"
)


def is_name(text: str) -> bool:
    """Whether a flock can be called so: a-z, 0-9 and - between them, 1 to 40 (a host's label)."""
    return _NAME.fullmatch(text) is not None


class Flocks:
    """The flocks of a database, over one engine. Use `open_flocks`; close it, or use `with`."""

    def __init__(self, engine: sa.Engine, location: str) -> None:
        self.engine = engine
        self.location = location
        self._cares = Cares(engine)

    def __enter__(self) -> "Flocks":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Lets go of every connection."""
        self.engine.dispose()

    def names(self) -> list[str]:
        """The flocks, in order of name. Raises FlockUnusable."""
        with self._listing() as connection:
            if not _has_list(connection):
                return []
            return sorted(connection.execute(sa.select(_LISTED.c.name)).scalars())

    def has(self, name: str) -> bool:
        """Whether there is a flock of that name; of a text that can be none's name there is none.

        Raises FlockUnusable.
        """
        if not is_name(name):
            return False
        with self._listing() as connection:
            return _place(connection, name) is not None

    def add(self, name: str, now: datetime) -> bool:
        """Makes an empty flock, whole or not at all; False: there is one of that name already.

        Raises BadInput for a name that cannot be one, FlockUnusable.
        """
        if not is_name(name):
            raise BadInput(bad_name(name))
        from quailwright.journal.migrations import upgrade_within

        with in_sentences(self._shown):
            make_list(self.engine)
            with self.engine.begin() as connection:
                if not taken_in(connection, name, now).new:
                    return False
                upgrade_within(connection)
        return True

    def drop(self, name: str, sure: bool = False) -> Dropped:
        """Drops a flock with all that was kept of it, wholly or not at all.

        Raises BadInput where its record has not moved elsewhere and `sure` is not said,
        FlockUnusable where it is being looked after, or there is none of that name.
        """
        with self._listing() as connection:
            _take_turns(connection, f"beginning {name}")
            place = _place(connection, name)
            if place is None:
                raise self._no_such(name)
            if not cares_alone(connection, name):
                raise FlockUnusable(
                    say(
                        "{name} is being served or in use; nothing was dropped. End "
                        "`quailwright serve` first.",
                        name=name,
                    )
                )
            connection.exec_driver_sql(place.begins)
            if not sure and not connection.execute(sa.text(f"SELECT {_MOVED}")).scalar():
                raise BadInput(
                    say(
                        "{name} has not moved elsewhere: with it all that is recorded of it would "
                        "be gone. Nothing was dropped. `quailwright move` it into a file first, or "
                        "say --sure.",
                        name=name,
                    )
                )
            return _dropped(connection, place)

    def _no_such(self, name: str) -> FlockUnusable:
        return FlockUnusable(
            say(
                "There is no flock {name} in {location}. `quailwright flocks add` begins one.",
                name=name,
                location=self._shown,
            )
        )

    def store(self, name: str) -> Store:
        """The flock, open, over the connections of all; brought to today's schema if it is older.

        Closing it closes nothing. Raises FlockUnusable, also where there is no such flock.
        """
        return self._store(name, alone=False)

    def _store(self, name: str, alone: bool) -> Store:
        if not is_name(name):
            raise FlockUnusable(bad_name(name))
        with self._listing() as connection:
            place = _place(connection, name)
        if place is None:
            raise self._no_such(name)
        engine = self._engine_of(place)
        location = with_flock(self._shown, name)
        with in_sentences(location):
            bring_up_to_date(engine, location)
        return Store(engine, location, self._cares, name, self.engine.dispose if alone else None)

    def upgrade(self) -> list[str]:
        """Brings every flock to today's schema, each in a transaction of its own.

        Returns those that were older. Raises FlockUnusable; those done before stay done.
        """
        with self._listing() as connection:
            places = _places(connection)
        older = []
        for place in places:
            engine, location = self._engine_of(place), with_flock(self._shown, place.flock)
            with in_sentences(location):
                if schema_version(engine) != SCHEMA:
                    bring_up_to_date(engine, location)
                    older.append(place.flock)
        return older

    def sizes(self) -> dict[str, int]:
        """Bytes on the disk of every flock, with its indexes. Raises FlockUnusable."""
        statement = sa.text(
            "SELECT nspname, sum(pg_total_relation_size(c.oid))::bigint FROM pg_class c "
            "JOIN pg_namespace n ON n.oid = relnamespace "
            "WHERE relkind = 'r' AND starts_with(nspname, 'flock_') GROUP BY nspname"
        )
        with self._listing() as connection:
            sizes = {schema: size for schema, size in connection.execute(statement)}  # noqa: C416
            return {place.flock: sizes.get(place.schema, 0) for place in _places(connection)}

    def told(self) -> list[Told]:
        """What there is of every flock, in order of name. Raises FlockUnusable."""
        sizes = self.sizes()
        with self._listing() as connection:
            places = _places(connection)
        told = []
        for place in places:
            with in_sentences(self._shown), self._engine_of(place).begin() as connection:
                entries, last, moved = connection.execute(_HOW_MUCH).one()
            told.append(Told(place.flock, entries, last, sizes.get(place.flock, 0), moved))
        return told

    @property
    def _shown(self) -> str:
        return without_password(self.location)

    def _engine_of(self, place: Place) -> sa.Engine:
        return self.engine.execution_options(flock=place)

    @contextmanager
    def _listing(self) -> Iterator[sa.Connection]:
        with in_sentences(self._shown), self.engine.begin() as connection:
            yield connection


def open_flocks(location: str, connections: int = CONNECTIONS) -> Flocks:
    """The flocks of the database at a `postgresql://` URL; a `flock=` in it is not minded.

    Args:
        connections: how many are held at most, for all flocks; who finds none free waits.

    Raises FlockUnusable where it is no such URL, or the database cannot be reached.
    """
    if "://" not in location:
        raise FlockUnusable(
            say(
                "{location} holds one flock. Many flocks are kept in a database: name it as "
                "postgresql://USER@HOST/DATABASE.",
                location=location,
            )
        )
    location = with_flock(location, None)
    engine = server_engine(location, pooled=connections)
    separate(engine)
    try:
        flocks = Flocks(engine, location)
        flocks.names()
    except BaseException:
        engine.dispose()
        raise
    return flocks


def open_alone(location: str) -> Store:
    """One flock of a database, by a location that names it; closing it closes all."""
    name = flock_in(location)
    assert name is not None
    flocks = open_flocks(location)
    try:
        return flocks._store(name, alone=True)
    except BaseException:
        flocks.close()
        raise


def bad_name(name: str) -> str:
    """The sentence about a name that cannot be one."""
    return say(
        "{name!r} cannot be the name of a flock: it is 1 to 40 of a to z, 0 to 9 and -, and "
        "neither begins nor ends with -.",
        name=name,
    )


def separate(engine: sa.Engine) -> None:
    """Has every transaction begin by saying which flock it is of: by default, of none."""

    @sa.event.listens_for(engine, "begin")
    def on_begin(connection: sa.Connection) -> None:
        place: Place | None = connection.get_execution_options().get("flock")
        connection.exec_driver_sql(_NOWHERE if place is None else place.begins)


# The list.


def _has_list(connection: sa.Connection) -> bool:
    there = sa.text(f"SELECT to_regclass('{_LIST}.flock') IS NOT NULL")
    return bool(connection.execute(there).scalar())


def _places(connection: sa.Connection) -> list[Place]:
    if not _has_list(connection):
        return []
    rows = connection.execute(sa.select(_LISTED.c.name, _LISTED.c.role).order_by(_LISTED.c.name))
    return [Place(*row) for row in rows]


def _place(connection: sa.Connection, name: str) -> Place | None:
    if not _has_list(connection):
        return None
    asked = sa.select(_LISTED.c.name, _LISTED.c.role).where(_LISTED.c.name == name)
    row = connection.execute(asked).first()
    return None if row is None else Place(*row)


def make_list(engine: sa.Engine) -> None:
    """Makes the list of flocks where there is none, in a transaction of its own."""
    with engine.begin() as connection:
        if _has_list(connection):
            return
        _take_turns(connection, "the list of flocks")
        connection.execute(sa.text(f"CREATE SCHEMA IF NOT EXISTS {_LIST}"))
        _LISTED.create(connection, checkfirst=True)


class Taken(NamedTuple):
    """Where a flock stands, and whether it was not there before."""

    place: Place
    new: bool


def taken_in(connection: sa.Connection, name: str, now: datetime) -> Taken:
    """Lists a flock and makes its schema, if it is new; the transaction is the flock's from now.

    Two that take in the same one take turns. The list must be there (`make_list`).
    """
    _take_turns(connection, f"beginning {name}")
    place = _place(connection, name)
    new = place is None
    if place is None:
        place = Place(name, _role_made(connection, name))
        owner = "" if place.role is None else f' AUTHORIZATION "{place.role}"'
        connection.execute(sa.text(f'CREATE SCHEMA "{place.schema}"{owner}'))
        connection.execute(
            _LISTED.insert().values(name=name, role=place.role, begun_at=utc_text(now))
        )
    connection.exec_driver_sql(place.begins)
    return Taken(place, new)


def _dropped(connection: sa.Connection, place: Place) -> Dropped:
    """Drops the schema of a flock, what was put aside of it, its line in the list, and its role."""
    quote = connection.dialect.identifier_preparer.quote
    # So `restoring` calls what it puts aside. A name of a flock bears no sign of a pattern's.
    named = {"schema": place.schema, "aside": f"^{place.flock}_before_[0-9]{{8}}_[0-9]{{6}}$"}
    schemas = connection.execute(_SCHEMAS, named).all()
    for schema, owner in schemas:
        # Only its owner may drop a schema; who may take that role on is its owner then.
        connection.execute(sa.text("SET LOCAL ROLE NONE"))
        connection.execute(sa.text(f"SET LOCAL ROLE {quote(owner)}"))
        connection.execute(sa.text(f"DROP SCHEMA {quote(schema)} CASCADE"))
    connection.execute(sa.text("SET LOCAL ROLE NONE"))
    connection.exec_driver_sql(_NOWHERE)
    connection.execute(_LISTED.delete().where(_LISTED.c.name == place.flock))
    role_left = place.role
    if place.role is not None:
        # A role is of the whole server: one that owns something elsewhere stays.
        with suppress(DBAPIError), connection.begin_nested():
            connection.execute(sa.text(f"DROP ROLE {quote(place.role)}"))
            role_left = None
    aside = sum(schema != place.schema for schema, _ in schemas)
    return Dropped(aside, role_left)


def _take_turns(connection: sa.Connection, what: str) -> None:
    connection.execute(
        sa.text("SELECT pg_advisory_xact_lock(:number)"), {"number": lock_number(what)}
    )


def _role_made(connection: sa.Connection, name: str) -> str | None:
    """A role for a flock, which this session may take on; None where none may be made.

    Roles are of the whole server: the name says of which database it is.
    """
    database, version, superuser, may = connection.execute(
        sa.text(
            "SELECT current_database(), current_setting('server_version_num')::int, rolsuper, "
            "rolsuper OR rolcreaterole FROM pg_roles WHERE rolname = current_user"
        )
    ).one()
    if not may:
        return None
    role = f"flock_{name}_{hashlib.sha256(database.encode()).hexdigest()[:12]}"
    there = sa.text("SELECT 1 FROM pg_roles WHERE rolname = :role")
    if connection.execute(there, {"role": role}).first() is None:
        connection.execute(sa.text(f'CREATE ROLE "{role}" NOLOGIN'))
    if not superuser:
        how = " WITH INHERIT FALSE, SET TRUE" if version >= 160_000 else ""
        connection.execute(sa.text(f'GRANT "{role}" TO CURRENT_USER{how}'))
    return role

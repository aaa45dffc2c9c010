"""Putting a backup back, and proving it equal: into a new file, a database, or one in use till now.

A backup of an older schema is put into that schema and proven there, then it is migrated. A file is
made whole beside its target and put in its place at one stroke: killed at any instant, either the
old one or the new one stands. A database is changed in one transaction.
"""

import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.exc import DBAPIError

from quailwright.journal import drafts, flocks, people
from quailwright.journal.backup import BODIES, Backup, State, Total, body_total, lines_of, tables_of
from quailwright.journal.care import care_locked, cares_alone
from quailwright.journal.damage import NOTE, Noted, note
from quailwright.journal.entries import Entry
from quailwright.journal.findings import FlockUnusable, Withheld
from quailwright.journal.migrations import upgrade_within
from quailwright.journal.store import (
    draft_engine,
    flock_in,
    in_sentences,
    metadata,
    server_engine,
    without_password,
)
from quailwright.language import say

_ENDS = ("-wal", "-shm", NOTE)
_ROOM_TIMES = 3
"""A database takes up to so many times the room of its parts."""


@dataclass(frozen=True, slots=True)
class Restored:
    """What was put back, and what of it is the same.

    Attributes:
        entries, readings: how many.
        same_state: whether the flock stands as it was noted when the backup was made; another
            version of quailwright may reckon it in another way from the same entries.
        aside: where what stood there before is now; "" where nothing did.
    """

    entries: int
    readings: int
    same_state: bool
    aside: str = ""


def prove(backup: Backup, state: State) -> Restored:
    """Restores a backup into a file of its own, for as long as it takes to compare.

    Raises Withheld where it is not equal, or there is no room for it here.
    """
    folder = _with_room(backup, [Path(tempfile.gettempdir()), backup.path.absolute().parent])
    with drafts.folder_apart(folder) as apart:
        return _made(backup, apart / "restored.sqlite", state)


class NoRoom(Withheld):
    """There is no room to restore a backup, so that it could not be proven."""


def _with_room(backup: Backup, folders: list[Path]) -> Path:
    needed = _ROOM_TIMES * backup.manifest.bytes + 10_000_000
    for folder in folders:
        with suppress(OSError):
            if os.access(folder, os.W_OK) and shutil.disk_usage(folder).free > needed:
                return folder
    raise NoRoom(
        say(
            "There is not enough room to restore {path}: some {megabytes:,.0f} MB are needed in "
            "{folder}.",
            path=backup.path,
            megabytes=needed / 1e6,
            folder=folders[0],
        )
    )


def _made(backup: Backup, path: Path, state: State, sign_ins_end: bool = False) -> Restored:
    """A file made of a backup, whole and proven, on the disk."""
    engine = draft_engine(path)
    try:
        with in_sentences(str(path)), engine.begin() as connection:
            restored = _filled(backup, connection, state, sign_ins_end)
    finally:
        engine.dispose()
    with path.open("rb+") as made:
        os.fsync(made.fileno())
    return restored


# Filling an empty database, within one transaction.


def _filled(
    backup: Backup, connection: sa.Connection, state: State, sign_ins_end: bool = False
) -> Restored:
    """Puts everything into an empty database and proves it equal. Raises Withheld.

    With `sign_ins_end` nobody is signed in there, once that is proven.
    """
    manifest = backup.manifest
    upgrade_within(connection, manifest.schema)
    named = {part.table for part in manifest.parts}
    tables = tables_of(connection, lambda name, _: name != "alembic_version")
    if {table.name for table in tables} < named:
        raise _unequal(backup, ", ".join(sorted(named - {table.name for table in tables})))
    tables = [table for table in tables if table.name in named]
    for table in tables:
        for rows in backup.rows(table):
            _insert(backup, connection, table, rows)
    before = state(backup.entries())
    _prove_tables(backup, connection, tables)
    upgrade_within(connection)
    entries: list[Entry] = []
    bodies = body_total(connection, str(backup.path), entries)
    after = state(entries)
    if bodies.part(BODIES, "entry") != _listed(backup, BODIES) or before != after:
        raise _unequal(backup, BODIES)
    if sign_ins_end:
        people.end_everybodys(connection)
    return Restored(
        len(entries), manifest.rows("reading"), same_state=after == manifest.state_sha256
    )


def _listed(backup: Backup, name: str) -> Any:
    return next((part for part in backup.manifest.parts if part.file == name), None)


def _prove_tables(backup: Backup, connection: sa.Connection, tables: list[sa.Table]) -> None:
    for table in tables:
        name, total = f"tables/{table.name}.jsonl", Total()
        for rows, text in lines_of(connection, table):
            total.add(rows, text)
        if total.part(name, table.name) != _listed(backup, name):
            raise _unequal(backup, name)


def _unequal(backup: Backup, part: str) -> Withheld:
    return Withheld(
        say(
            "{path} was restored to try it, and {part} is not equal to what was backed up. "
            "Use another backup.",
            path=backup.path,
            part=part,
        )
    )


def _insert(
    backup: Backup, connection: sa.Connection, table: sa.Table, rows: list[tuple[Any, ...]]
) -> None:
    """Straight to the driver, for speed, in the order of the columns of the table."""
    try:
        if connection.dialect.name == "postgresql":
            _copy(connection, table, rows)
            return
        cursor: Any = connection.connection.driver_connection
        marks = ", ".join("?" for _ in table.columns)
        quoted = connection.dialect.identifier_preparer.format_table(table)
        cursor.executemany(f"INSERT INTO {quoted} VALUES ({marks})", rows)
    except Exception as error:
        if "disk" in str(error).lower():
            raise DBAPIError(None, None, error) from error
        raise Withheld(
            say(
                "{path} is damaged: its part {part} holds rows that cannot be. Use another backup.",
                path=backup.path,
                part=f"tables/{table.name}.jsonl",
            )
        ) from error


def _copy(connection: sa.Connection, table: sa.Table, rows: list[tuple[Any, ...]]) -> None:
    prepare = connection.dialect.identifier_preparer
    names = ", ".join(prepare.format_column(column) for column in table.columns)
    driver: Any = connection.connection.driver_connection
    statement = f"COPY {prepare.format_table(table)} ({names}) FROM STDIN"
    with driver.cursor() as cursor, cursor.copy(statement) as copy:
        for row in rows:
            copy.write_row(row)


def _count_on(connection: sa.Connection) -> None:
    """Numbers that PostgreSQL gives by itself go on after those that were put back."""
    for table in tables_of(connection, list(metadata.tables)):
        for column in table.primary_key.columns:
            sequence = connection.execute(
                sa.text("SELECT pg_get_serial_sequence(:table, :column)"),
                {"table": f'"{table.name}"', "column": column.name},
            ).scalar()
            if sequence is not None:
                highest = connection.execute(sa.select(sa.func.max(column))).scalar()
                if highest is not None:
                    connection.execute(
                        sa.text("SELECT setval(CAST(:sequence AS regclass), :highest)"),
                        {"sequence": sequence, "highest": highest},
                    )


# Putting it in the place of what was there.


def restore(
    backup: Backup,
    location: str,
    replace: bool,
    now: datetime,
    state: State,
    sign_ins_end: bool = False,
) -> Restored:
    """Puts a backup into a new or empty flock file, or with `replace` in the place of any.

    What is replaced is put aside first. With `sign_ins_end` nobody is signed in there any more: a
    sign-in of the time of the backup may have been ended since, as of a phone that was lost. Raises
    FlockUnusable where something stands in the way, Withheld where the backup is not right; then
    nothing has changed.
    """
    if "://" in location:
        return _restore_to_server(backup, location, replace, now, state, sign_ins_end)
    path = Path(location).expanduser()
    return _restore_to_file(backup, path, replace, now, state, sign_ins_end)


def _stands(location: str) -> FlockUnusable:
    return FlockUnusable(
        say(
            "{location} holds a record already; nothing was restored. Name a new file with "
            "--flock, or say --replace to put that one aside first.",
            location=location,
        )
    )


def _served(location: str) -> FlockUnusable:
    return FlockUnusable(
        say(
            "{location} is being served or in use; nothing was restored. End `quailwright serve` "
            "first.",
            location=location,
        )
    )


def _restore_to_file(
    backup: Backup, path: Path, replace: bool, now: datetime, state: State, sign_ins_end: bool
) -> Restored:
    try:
        path = path.resolve()
        if path.is_dir():
            raise FlockUnusable(say("{path} is a folder. Name the flock file in it.", path=path))
        drafts.make_folder(path.parent, mode=0o700)
        _clear_drafts(path)
        with _nobody_cares(path), _draft_beside(path) as draft:
            if path.exists() and not replace:
                held = _held(path)
                if held is None or held > 0:
                    raise _stands(str(path)) if held else _not_ours(path)
            _with_room(backup, [path.parent])
            restored = _made(backup, draft, state, sign_ins_end)
            aside = _put_in_place(draft, path, now)
            _note_newest(path)
    except OSError as error:
        raise FlockUnusable(
            say(
                "{path} could not be written: {why}. Nothing was restored.",
                path=path,
                why=error.strerror or error,
            )
        ) from error
    return Restored(restored.entries, restored.readings, restored.same_state, aside)


def _not_ours(path: Path) -> FlockUnusable:
    return FlockUnusable(
        say(
            "{path} is damaged or not a flock file; nothing was restored. Name a new file with "
            "--flock, or say --replace to put that one aside first.",
            path=path,
        )
    )


@contextmanager
def _nobody_cares(path: Path) -> Iterator[None]:
    """While nobody serves the file, and as long as this lasts nobody begins to."""
    with care_locked(str(path)) as mine:
        if not mine and path.with_name(f"{path.name}.caretaker").exists():
            raise _served(str(path))
        yield


_DRAFT, _OLD = ".restoring", ".aside"


@contextmanager
def _draft_beside(path: Path) -> Iterator[Path]:
    """The name of a file of our own in the same folder; nothing is left of it."""
    handle, name = tempfile.mkstemp(prefix=drafts.begins(path.name), suffix=_DRAFT, dir=path.parent)
    os.close(handle)
    draft = Path(name)
    try:
        yield draft
    finally:
        for end in ("", "-journal", *_ENDS):
            draft.with_name(draft.name + end).unlink(missing_ok=True)


def _clear_drafts(path: Path) -> None:
    """Takes away what a restore that was killed left; an old file that it had replaced stays."""
    drafts.clear(path.parent, path.name, _DRAFT)
    for left in drafts.left_by_others(path.parent, path.name, _OLD):
        if not left.name.endswith(_OLD):
            continue
        if path.exists() and left.samefile(path):  # it was not replaced: a second name of it
            _move_log(left, path)
            left.unlink()
        else:
            stamp = left.name.removesuffix(_OLD).partition(f".{path.name}.")[2].partition("-")[2]
            _move(left, _aside_name(path, stamp))


def _note_newest(path: Path) -> None:
    """So that what becomes of it is noticed from now on, and not from the next entry on."""
    with (
        suppress(sqlite3.Error),
        closing(sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)) as raw,
    ):
        newest = raw.execute(
            "SELECT arrival, id FROM entry ORDER BY arrival DESC LIMIT 1"
        ).fetchone()
        if newest is not None:
            note(path, Noted(*newest))


def _held(path: Path) -> int | None:
    """How many rows of the record a flock file holds; None for what is no sound flock file."""
    if not path.stat().st_size:
        return 0
    try:
        with closing(sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)) as raw:
            names = {
                name for (name,) in raw.execute("SELECT name FROM sqlite_master WHERE type='table'")
            }
            if not {"entry", "alembic_version"} <= names:
                return None
            counts: list[int] = [
                raw.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0]
                for name in names & set(metadata.tables)
                if name in ("entry", "reading", "person")
            ]
            return sum(counts)
    except (sqlite3.Error, UnicodeDecodeError):  # of names in a broken schema
        return None


def _put_in_place(draft: Path, path: Path, now: datetime) -> str:
    """Gives the new file the name of the old one, at one stroke, and the old one a dated name.

    A sound old file is first made one with its write-ahead log; of a damaged one that is moved
    along. Until the stroke the old one has a hidden second name. Gives its dated name, or "".
    """
    stamp = now.astimezone(UTC).strftime("%Y-%m-%dT%H%M%SZ")
    old = path.with_name(f"{drafts.begins(path.name)}{stamp}{_OLD}")
    if path.exists():
        if _held(path) is not None:
            _made_one(path)
        _second_name(path, old)
    _move_log(path, old)
    # The log has gone on the disk too before the new one comes: it must never be read with it.
    drafts.sync_folder(path.parent)
    draft.replace(path)
    drafts.sync_folder(path.parent)
    aside = _aside_name(path, stamp)
    if not old.exists():
        _move_log(old, aside)
        return ""
    _move(old, aside)
    drafts.sync_folder(path.parent)
    return str(aside)


def _aside_name(path: Path, stamp: str) -> Path:
    """A name beside a file that is free."""
    stem = f"{path.name}.before-restore-{stamp}"
    aside, number = path.with_name(stem), 1
    while aside.exists():
        number += 1
        aside = path.with_name(f"{stem}-{number}")
    return aside


def _move(old: Path, new: Path) -> None:
    """Moves a database file with its log."""
    _move_log(old, new)
    old.replace(new)


def _move_log(old: Path, new: Path) -> None:
    for end in _ENDS:
        beside = old.with_name(old.name + end)
        if beside.exists():
            beside.replace(new.with_name(new.name + end))


def _made_one(path: Path) -> None:
    """Writes what stands in the write-ahead log into the file. Raises FlockUnusable if in use."""
    try:
        with closing(sqlite3.connect(path, timeout=1)) as raw:
            raw.execute("PRAGMA journal_mode=DELETE").fetchone()
    except sqlite3.OperationalError as error:
        if "locked" in str(error):
            raise _served(str(path)) from error
    except (sqlite3.DatabaseError, UnicodeDecodeError):
        return


def _second_name(path: Path, old: Path) -> None:
    try:
        old.hardlink_to(path)
    except OSError:  # a file system without such links: a copy
        draft = path.with_name(f"{drafts.begins(path.name)}copy{_DRAFT}")
        shutil.copyfile(path, draft)
        draft.chmod(0o600)
        with draft.open("rb+") as made:
            os.fsync(made.fileno())
        draft.replace(old)


def _restore_to_server(
    backup: Backup, location: str, replace: bool, now: datetime, state: State, sign_ins_end: bool
) -> Restored:
    """Into the public schema of a database, or into the flock that the location names.

    One that is not there yet begins with what is restored, in the same transaction.
    """
    shown, name = without_password(location), flock_in(location)
    if name is not None and not flocks.is_name(name):
        raise FlockUnusable(flocks.bad_name(name))
    engine = server_engine(location, pooled=None if name is None else 1)
    try:
        with in_sentences(shown):
            if name is not None:
                flocks.make_list(engine)
            with engine.begin() as connection:
                place = None
                if name is not None:
                    place = flocks.taken_in(connection, name, now).place
                if not cares_alone(connection, name):
                    raise _served(shown)
                aside = _cleared(connection, place, shown, replace, now)
                restored = _filled(backup, connection, state, sign_ins_end)
                _count_on(connection)
    finally:
        engine.dispose()
    return Restored(restored.entries, restored.readings, restored.same_state, aside)


def _cleared(
    connection: sa.Connection, place: flocks.Place | None, shown: str, replace: bool, now: datetime
) -> str:
    """Takes the tables of a flock out of the way: empty ones are dropped, others put aside."""
    names = set(sa.inspect(connection).get_table_names())
    if not names:
        return ""
    if not {"entry", "alembic_version"} <= names:
        raise FlockUnusable(
            say("{name} is a database, but not a flock file. Name another.", name=shown)
        )
    ours = sorted(names & {*metadata.tables, "alembic_version"})
    quote = connection.dialect.identifier_preparer.quote
    held = sum(
        connection.execute(sa.text(f"SELECT count(*) FROM {name}")).scalar_one()
        for name in ("entry", "reading", "person")
        if name in names
    )
    if held and not replace:
        raise _stands(shown)
    aside = _made_aside(connection, place, now) if held else ""
    for name in ours:
        to = f"SET SCHEMA {quote(aside)}"
        statement = (
            f"ALTER TABLE {quote(name)} {to}" if aside else f"DROP TABLE {quote(name)} CASCADE"
        )
        connection.execute(sa.text(statement))
    function = "FUNCTION entry_append_only()"
    connection.execute(
        sa.text(f"ALTER {function} SET SCHEMA {quote(aside)}" if aside else f"DROP {function}")
    )
    return say("schema {name}", name=aside) if aside else ""


def _made_aside(connection: sa.Connection, place: flocks.Place | None, now: datetime) -> str:
    """A schema for what is put aside, which is the flock's own as much as the one it comes from."""
    stamp = f"{now.astimezone(UTC):%Y%m%d_%H%M%S}"
    quote = connection.dialect.identifier_preparer.quote
    if place is None:
        aside = f"before_restore_{stamp}"
        connection.execute(sa.text(f"CREATE SCHEMA {quote(aside)}"))
        return aside
    aside = f"{place.flock}_before_{stamp}"  # at most the 63 characters that a name may have
    owner = "" if place.role is None else f" AUTHORIZATION {quote(place.role)}"
    connection.execute(sa.text("SET LOCAL ROLE NONE"))  # a flock's own role makes no schemas
    connection.execute(sa.text(f"CREATE SCHEMA {quote(aside)}{owner}"))
    connection.exec_driver_sql(place.begins)
    return aside

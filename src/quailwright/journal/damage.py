"""Whether a flock file is still the one that it was, what is said of damage, and the way back.

Beside a flock file stands a note of the newest entry that was acknowledged (`flock.sqlite-last`):
a write-ahead log that was lost, or of another file, or an older copy leaves a file that is sound in
itself and lacks what was kept. The note is written after each commit and never before, so that it
may lag behind the file and never runs ahead of it.
"""

import os
import re
import shlex
from contextlib import suppress
from pathlib import Path
from typing import Any, NamedTuple

import sqlalchemy as sa

from quailwright.journal.findings import FlockUnusable
from quailwright.language import mark, say

NOTE = "-last"
"""How the name of the note ends, after that of the flock file."""
_SHORTEST = 512
"""Bytes of the smallest page that SQLite has."""
_NOTED = re.compile(r"\A(\d{1,15}) (\S{1,36})\n\Z")


class Damaged(FlockUnusable):
    """The flock file is damaged; nothing is written to it any more."""


_WAY_BACK = mark(
    "{location} is damaged: {what} Nothing is written to it any more. The way back, in this order: "
    "end `quailwright serve`; `quailwright journal salvage rescued.jsonl --flock {flock}`; "
    "`quailwright restore LAST_BACKUP.zip --replace --flock {flock}`; "
    "`quailwright journal import rescued.jsonl --as-found --flock {flock}`."
)


def damaged(location: str, what: str) -> Damaged:
    """The error that says what is wrong with a flock file, and the way back; `what` is said."""
    return Damaged(say(_WAY_BACK, location=location, what=what, flock=shlex.quote(location)))


class Noted(NamedTuple):
    """The newest entry that was acknowledged: its number in order of arrival, and its id."""

    number: int
    entry_id: str


def note(path: Path, newest: Noted) -> None:
    """Notes beside a flock file the newest entry that it holds. Where that fails, nothing is."""
    with suppress(OSError):
        handle = os.open(_beside(path), os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(handle, "w", encoding="utf-8") as beside:
            beside.write(f"{newest.number} {newest.entry_id}\n")


def noted(path: Path) -> Noted | None:
    """What was noted; None where nothing that can be read was."""
    try:
        found = _NOTED.match(_beside(path).read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError):
        return None
    return None if found is None else Noted(int(found[1]), found[2])


def itself(path: Path) -> Path:
    """The file that a name leads to: beside it stands what belongs to it, and not beside a link."""
    return path.resolve() if path.is_symlink() else path


def _beside(path: Path) -> Path:
    path = itself(path)
    return path.with_name(path.name + NOTE)


def check_noted(connection: sa.Connection, path: Path, location: str) -> None:
    """Raises Damaged where the file does not hold the entry that was noted."""
    newest = noted(path)
    if newest is None:
        return
    there = sa.text("SELECT id FROM entry WHERE arrival = :number")
    try:
        found = connection.execute(there, {"number": newest.number}).scalar()
    except sa.exc.OperationalError as error:
        if "no such table" not in str(error):
            raise
        found = None
    if found == newest.entry_id:
        return
    raise damaged(
        location,
        say(
            "entry {number:,} ({id}), which was kept, is not in it: its write-ahead log was lost, "
            "or another file was put in its place (if you did that on purpose, delete {note}).",
            number=newest.number,
            id=newest.entry_id,
            note=_beside(path),
        ),
    )


def check_missing(path: Path) -> None:
    """Raises FlockUnusable where a flock file stood that is not there any more."""
    newest = noted(path)
    if newest is not None:
        raise FlockUnusable(
            say(
                "The flock file {path} is not there any more: it held {number:,} entries. Put it "
                "back, or `quailwright restore LAST_BACKUP.zip --flock {flock}`; to begin a new "
                "one, delete {note}.",
                path=path,
                number=newest.number,
                flock=shlex.quote(str(path)),
                note=_beside(path),
            )
        )


def is_cut_to_nothing(path: Path) -> bool:
    """Whether a file is too short to be any; an empty one may be one that begins."""
    size = path.stat().st_size
    return size < _SHORTEST and (size > 0 or noted(path) is not None)


def check_length(path: Path, page: int, location: str) -> None:
    """Raises Damaged where a file ends in the midst of a page and no log can mend that.

    A cut at the end of a page the database finds itself.
    """
    size = path.stat().st_size
    log = path.with_name(f"{path.name}-wal")
    if size % page and not (log.exists() and log.stat().st_size):
        raise damaged(location, say("it ends in the midst of a page: its end was cut off."))


def check_whole(connection: sa.Connection, location: str, count: int, last: int) -> None:
    """Raises Damaged where not all entries were read: by their index, and by the number given last.

    What is told apart here is sound by itself: a page of older days, or of elsewhere in the file.
    """
    known, highest = connection.exec_driver_sql(
        "SELECT (SELECT count(*) FROM entry INDEXED BY sqlite_autoindex_entry_1), "
        "(SELECT coalesce(max(seq), 0) FROM sqlite_sequence WHERE name = 'entry')"
    ).one()
    if (known, highest) != (count, last):
        raise damaged(location, say("not all of its entries can be found in it."))


# The file in its place.


def in_its_place(path: Path) -> tuple[int, int] | None:
    """What tells a file from any other of this computer; None where there is none."""
    try:
        stands = path.stat()
    except OSError:
        return None
    return stands.st_dev, stands.st_ino


def mind_its_place(engine: sa.Engine, path: Path, location: str) -> None:
    """Has no transaction begin on a file that stands in its place no longer.

    The one who meets another file there is told, once; from then on that one is used. What the
    former file had in its write-ahead log is put aside, for it is not the new one's.
    """
    known: list[tuple[int, int]] = []

    @sa.event.listens_for(engine, "do_connect")
    def before_connecting(*_: object) -> None:
        if in_its_place(path) is None:  # the driver would make an empty one
            raise _gone(location)

    @sa.event.listens_for(engine, "connect")
    def on_connect(_: Any, record: Any) -> None:
        record.info["file"] = in_its_place(path)
        if not known and record.info["file"]:
            known.append(record.info["file"])

    @sa.event.listens_for(engine, "checkin")
    def on_checkin(_: Any, record: Any) -> None:
        record.info["log"] = in_its_place(path.with_name(f"{path.name}-wal"))

    @sa.event.listens_for(engine, "checkout")
    def on_checkout(_: Any, record: Any, __: Any) -> None:
        stands = in_its_place(path)
        if stands is None:
            raise _gone(location)
        if record.info["file"] == stands:
            if known != [stands]:
                known[:] = [stands]
                raise _another(location)
            return
        if known == [stands]:
            raise sa.exc.DisconnectionError
        known[:] = [stands]
        _put_log_aside(path, record.info["file"], record.info.get("log"))
        raise _another(location)


def _put_log_aside(path: Path, file: tuple[int, int] | None, log: tuple[int, int] | None) -> None:
    beside = path.with_name(f"{path.name}-wal")
    if file is None or log is None or in_its_place(beside) != log:
        return
    for end in ("-wal", "-shm"):
        with suppress(OSError):
            aside = path.with_name(f"{path.name}.replaced-{file[1]}{end}")
            path.with_name(path.name + end).replace(aside)


def _gone(location: str) -> FlockUnusable:
    return FlockUnusable(
        say(
            "{location} is not there any more: it was moved or deleted, or its disk was taken "
            "away. Nothing of this was kept. Put it back.",
            location=location,
        )
    )


def _another(location: str) -> FlockUnusable:
    return FlockUnusable(
        say(
            "Another file was put in the place of {location} meanwhile. Nothing of this was kept. "
            "The file that is there now is used from here on: look at it, and try again.",
            location=location,
        )
    )

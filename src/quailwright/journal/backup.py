"""A backup: one zip file of JSON Lines and a list of its parts, apart from any database.

`entries.jsonl` holds the entries as `journal import` takes them; `tables/NAME.jsonl` holds one row
of a table as a JSON object on each line (readings some thousands on a line). docs/backup.md tells
the format whole. What is read here is never trusted: nothing is unpacked under a name that the
file gives, and every part must have the size and the SHA-256 that the list says.
"""

import base64
import hashlib
import io
import zipfile
import zlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import ExitStack, closing, contextmanager
from datetime import UTC, datetime
from itertools import accumulate, chain, pairwise, repeat
from pathlib import Path
from typing import IO, Annotated, Any

import msgspec
import sqlalchemy as sa
from msgspec import Meta, Struct

from quailwright.journal.entries import Entry, decode
from quailwright.journal.findings import BadInput, FlockUnusable, Withheld
from quailwright.journal.moments import utc_text
from quailwright.journal.store import SCHEMA, Store, metadata
from quailwright.language import say

FORMAT = 1
MANIFEST, BODIES, README = "manifest.json", "entries.jsonl", "README.txt"
COMPRESSION = 6
"""Of 9: docs/backup.md has the figures."""

_PRESSED = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_LARGEST_MANIFEST = 1_000_000
_LONGEST_LINE = 4_000_000
_TOGETHER = 5_000
"""Rows that are read, and readings that stand on one line."""
_MOST_TIMES_SMALLER = 1_100
"""Deflate makes nothing smaller than 1 / 1032 (RFC 1951): what says more is no honest part."""

_ABOUT = """A backup of a flock's record, made by quailwright.

manifest.json   what this file holds: the rows, bytes and SHA-256 of each part
entries.jsonl   the journal: one entry as a JSON object on each line, in order of arrival
tables/*.jsonl  the tables of the database: one row as a JSON object on each line
tables/reading.jsonl  on each line many readings of one sensor, one array for each column; at_ms is
                milliseconds since 1970-01-01T00:00Z: the first, then the steps to the next ones

    quailwright restore THIS_FILE --flock NEW_FLOCK.sqlite

puts it back. Without quailwright: unzip it and read the text. It holds secrets (hashes of
passphrases, addresses of notices): keep it where only you can read it.
"""

State = Callable[[Iterable[Entry]], str]
"""Gives the digest of what stands, folded from entries in order of arrival."""

_Sha256 = Annotated[str, Meta(pattern=r"\A[0-9a-f]{64}\Z")]
_Number = Annotated[int, Meta(ge=0)]


class Part(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One part: its name in the zip, whose rows it holds, how many, its size and its SHA-256."""

    file: Annotated[str, Meta(pattern=r"\A(entries|tables/[a-z_]{1,60})\.jsonl\Z")]
    table: Annotated[str, Meta(pattern=r"\A[a-z_]{1,60}\Z")]
    rows: _Number
    bytes: _Number
    sha256: _Sha256


class Manifest(Struct, frozen=True, kw_only=True):
    """What a backup says of itself; docs/backup.md explains each field."""

    format: int
    quailwright: str
    schema: Annotated[str, Meta(pattern=r"\A[0-9a-z_]{1,32}\Z")]
    made_at: str
    mark: str
    state_sha256: _Sha256
    parts: tuple[Part, ...]

    def rows(self, table: str) -> int:
        """How many rows of a table it holds."""
        return max((part.rows for part in self.parts if part.table == table), default=0)

    @property
    def bytes(self) -> int:
        """The size of all parts, unpacked."""
        return sum(part.bytes for part in self.parts)


# Writing.


def write(store: Store, stream: IO[bytes], now: datetime, version: str, state: State) -> Manifest:
    """Writes a backup of one moment's state to a seekable stream, while others may write.

    Raises FlockUnusable when the journal cannot be read or is damaged; OSError of the stream.
    """
    with (
        store.snapshot() as connection,
        zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive,
    ):
        tables = tables_of(connection, list(metadata.tables))
        entries: list[Entry] = []
        bodies = _bodies(connection, store.location, entries)
        parts = [_written(archive, now, BODIES, "entry", bodies)]
        for table in tables:
            lines = lines_of(connection, table)
            parts.append(_written(archive, now, f"tables/{table.name}.jsonl", table.name, lines))
        manifest = Manifest(
            format=FORMAT,
            quailwright=version,
            schema=SCHEMA,
            made_at=utc_text(now),
            mark=entries[0].id if entries else "",
            state_sha256=state(entries),
            parts=tuple(parts),
        )
        told = msgspec.json.format(msgspec.json.encode(manifest), indent=1)
        for name, text in ((MANIFEST, told), (README, _ABOUT.encode())):
            archive.writestr(_named(name, now), text)
    return manifest


def _named(name: str, now: datetime) -> zipfile.ZipInfo:
    stamp = now.astimezone(UTC)
    info = zipfile.ZipInfo(
        name, (stamp.year, stamp.month, stamp.day, stamp.hour, stamp.minute, stamp.second)
    )
    info.external_attr = 0o600 << 16
    info.compress_type = zipfile.ZIP_DEFLATED
    # The level given to ZipFile does not hold for parts that bring their own ZipInfo.
    info._compresslevel = COMPRESSION  # type: ignore[attr-defined]
    return info


def _written(
    archive: zipfile.ZipFile,
    now: datetime,
    name: str,
    table: str,
    lines: Iterable[tuple[int, bytes]],
) -> Part:
    total = Total()
    with archive.open(_named(name, now), "w", force_zip64=True) as part:
        for rows, text in lines:
            total.add(rows, text)
            part.write(text)
    return total.part(name, table)


class Total:
    """Counts what goes by, and takes its digest."""

    def __init__(self) -> None:
        self.rows, self.bytes = 0, 0
        self._digest = hashlib.sha256()

    def add(self, rows: int, text: bytes) -> None:
        """Counts some rows and their text."""
        self.rows += rows
        self.bytes += len(text)
        self._digest.update(text)

    def part(self, name: str, table: str) -> Part:
        """What went by, as a part."""
        return Part(
            file=name,
            table=str(table),
            rows=self.rows,
            bytes=self.bytes,
            sha256=self._digest.hexdigest(),
        )


# Rows as lines. Each step gives how many rows it holds, and their text.

Lines = Iterator[tuple[int, bytes]]


def tables_of(
    connection: sa.Connection, names: Sequence[str] | Callable[[str, sa.MetaData], bool]
) -> list[sa.Table]:
    """Those tables as they stand in the database, each after those that it refers to."""
    known = sa.MetaData()
    known.reflect(connection, only=names)
    return known.sorted_tables


def body_total(connection: sa.Connection, location: str, entries: list[Entry]) -> Total:
    """The entries of a database as they would stand in a backup; they are put into `entries`."""
    total = Total()
    for rows, text in _bodies(connection, location, entries):
        total.add(rows, text)
    return total


def _bodies(connection: sa.Connection, location: str, entries: list[Entry]) -> Lines:
    """The text of each entry, as it was written. Raises FlockUnusable where one is damaged."""
    statement = sa.text("SELECT id, crc32, body FROM entry ORDER BY arrival")
    for some in _rows(connection, statement):
        text = bytearray()
        for entry_id, crc, body in some:
            entry = read_body(body, crc)
            if entry is None:
                raise FlockUnusable(
                    say(
                        "{location} holds a damaged entry ({id}): no backup was made of it. "
                        "docs/backup.md tells the way back.",
                        location=location,
                        id=entry_id,
                    )
                )
            entries.append(entry)
            text += body + b"\n"
        yield len(some), bytes(text)


def read_body(body: object, crc32: object) -> Entry | None:
    """The entry of a row, or None where its text is not what was written."""
    if not isinstance(body, bytes) or b"\n" in body or zlib.crc32(body) != crc32:
        return None
    try:
        return decode(body)
    except (msgspec.DecodeError, UnicodeDecodeError):
        return None


def _is_columns(table: sa.Table) -> bool:
    """Whether many rows stand on one line: the readings, which are millions."""
    return table.name == "reading" and len(table.primary_key.columns) == 2


def lines_of(connection: sa.Connection, table: sa.Table) -> Lines:
    """A table as lines, in order of its primary key: the same rows give the same bytes."""
    return (_columns_as_lines if _is_columns(table) else _rows_as_lines)(connection, table)


def _rows_as_lines(connection: sa.Connection, table: sa.Table) -> Lines:
    columns = _columns(table)
    names = [str(column.name) for column in columns]
    binary = [isinstance(column.type, sa.LargeBinary) for column in columns]
    keys = list(table.primary_key.columns) or columns
    ordered = [_in_bytes(connection, key) for key in keys]
    encoder = msgspec.json.Encoder()
    for some in _rows(connection, sa.select(*columns).order_by(*ordered)):
        text = bytearray()
        for row in some:
            values = (
                base64.b64encode(value).decode() if is_binary and value is not None else value
                for value, is_binary in zip(row, binary, strict=True)
            )
            text += encoder.encode(dict(zip(names, values, strict=True)))
            text += b"\n"
        yield len(some), bytes(text)


def _columns(table: sa.Table) -> list[sa.Column[Any]]:
    """The columns that a part of the table holds: of an entry its text stands in a part apart."""
    found = sorted(table.columns, key=lambda column: column.name)
    return [column for column in found if (table.name, column.name) != ("entry", "body")]


def _in_bytes(connection: sa.Connection, key: sa.Column[Any]) -> sa.ColumnElement[Any]:
    """A key to order by, alike in every database: text by its bytes."""
    text = isinstance(key.type, sa.String)
    return sa.collate(key, "C") if text and connection.dialect.name == "postgresql" else key


def _columns_as_lines(connection: sa.Connection, table: sa.Table) -> Lines:
    sensor, at = table.primary_key.columns
    others = [column for column in _columns(table) if column not in (sensor, at)]
    encoder = msgspec.json.Encoder()
    whose = connection.execute(sa.select(sensor).distinct().order_by(sensor)).scalars().all()
    for one in whose:
        statement = sa.select(at, *others).where(sensor == one).order_by(at)
        for some in _rows(connection, statement):
            instants, *values = zip(*some, strict=True)
            line: dict[str, object] = {str(sensor.name): one}
            line[str(at.name)] = [
                instants[0],
                *(after - before for before, after in pairwise(instants)),
            ]
            for column, each in zip(others, values, strict=True):
                line[str(column.name)] = each
            yield len(some), encoder.encode(line) + b"\n"


def _rows(connection: sa.Connection, statement: sa.Executable) -> Iterator[Sequence[Any]]:
    """Rows of a statement, some at a time, without all being held."""
    streamed = {"stream_results": True, "max_row_buffer": _TOGETHER}
    with closing(connection.execute(statement, execution_options=streamed)) as result:
        yield from result.partitions(_TOGETHER)


# Reading.


class Backup:
    """A backup open for reading. Use `open_backup`."""

    def __init__(self, archive: zipfile.ZipFile, path: Path, manifest: Manifest) -> None:
        self._archive = archive
        self._reading = ExitStack()
        self.path = path
        self.manifest = manifest

    def close(self) -> None:
        """Ends whatever is being read."""
        self._reading.close()

    def check(self) -> None:
        """Reads every part to its end. Raises Withheld, naming the part that is not right."""
        for part in self.manifest.parts:
            for _ in self._lines(part):
                pass

    def entries(self) -> Iterator[Entry]:
        """The entries. Raises Withheld."""
        part = self._part(BODIES)
        for line in self._lines(part):
            try:
                yield decode(line)
            except (msgspec.DecodeError, UnicodeDecodeError) as error:
                raise _wrong(self.path, part.file) from error

    def rows(self, table: sa.Table) -> Iterator[list[tuple[Any, ...]]]:
        """The rows of a table of the schema that it was made with, some at a time.

        A row has the columns of the table in their order. Raises Withheld.
        """
        part = self._part(f"tables/{table.name}.jsonl")
        try:
            make = self._of_columns if _is_columns(table) else self._of_rows
            counted = 0
            for some in make(table, part):
                counted += len(some)
                yield some
        except (msgspec.DecodeError, UnicodeDecodeError, ValueError, TypeError) as error:
            raise _wrong(self.path, part.file) from error
        if counted != part.rows:
            raise _wrong(self.path, part.file)

    def _of_rows(self, table: sa.Table, part: Part) -> Iterator[list[tuple[Any, ...]]]:
        columns = _columns(table)
        names = [column.name for column in columns]
        shape = msgspec.defstruct(
            "Row",
            [(str(column.name), _shape(column)) for column in columns],
            forbid_unknown_fields=True,
        )
        decoder = msgspec.json.Decoder(shape)
        lines: Iterator[tuple[Any, bytes | None]] = zip(
            map(decoder.decode, self._lines(part)),
            self._bodies() if table.name == "entry" else repeat(None),
            strict=table.name == "entry",
        )
        some = []
        for row, body in lines:
            known = {name: getattr(row, name) for name in names}
            if body is not None:
                if read_body(body, known["crc32"]) is None:
                    raise _wrong(self.path, BODIES)
                known["body"] = body
            some.append(tuple(known[column.name] for column in table.columns))
            if len(some) == _TOGETHER:
                yield some
                some = []
        if some:
            yield some

    def _bodies(self) -> Iterator[bytes]:
        return self._lines(self._part(BODIES))

    def _of_columns(self, table: sa.Table, part: Part) -> Iterator[list[tuple[Any, ...]]]:
        sensor, at = table.primary_key.columns
        shape = msgspec.defstruct(
            "Columns",
            [
                (
                    str(column.name),
                    _shape(column) if column is sensor else list[_shape(column)],  # type: ignore[misc]
                )
                for column in _columns(table)
            ],
            forbid_unknown_fields=True,
        )
        decoder = msgspec.json.Decoder(shape)
        for line in self._lines(part):
            found = decoder.decode(line)
            values = [
                accumulate(getattr(found, column.name))
                if column.name == at.name
                else repeat(getattr(found, column.name))
                if column.name == sensor.name
                else getattr(found, column.name)
                for column in table.columns
            ]
            lengths = {
                len(getattr(found, column.name)) for column in table.columns if column is not sensor
            }
            if len(lengths) != 1:
                raise ValueError(lengths)
            yield list(zip(*values, strict=False))

    def _part(self, name: str) -> Part:
        for part in self.manifest.parts:
            if part.file == name:
                return part
        raise _wrong(self.path, name)

    def _lines(self, part: Part) -> Iterator[bytes]:
        """The lines of a part, without their ends, checked against the list once all are read."""
        digest, size = hashlib.sha256(), 0
        try:
            raw: Any = self._reading.enter_context(self._archive.open(part.file))
            with io.BufferedReader(raw, 1 << 16) as stream:
                while line := stream.readline(_LONGEST_LINE):
                    size += len(line)
                    if size > part.bytes or not line.endswith(b"\n"):
                        raise _wrong(self.path, part.file)
                    digest.update(line)
                    yield line[:-1]
        except _UNREADABLE as error:
            raise _wrong(self.path, part.file) from error
        if size != part.bytes or digest.hexdigest() != part.sha256:
            raise _wrong(self.path, part.file)


_UNREADABLE = (
    zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, OSError, KeyError,
)  # fmt: skip
"""What zipfile raises for a part that is damaged, encrypted or pressed in some other way."""


def _shape(column: sa.Column[Any]) -> Any:
    """What a value of a column may be in JSON."""
    kinds: Sequence[tuple[Any, Any]] = (
        (sa.Boolean, bool),
        (sa.Integer, Annotated[int, Meta(ge=-(2**63), le=2**63 - 1)]),
        (sa.Numeric, float),
        (sa.Float, float),
        (sa.LargeBinary, bytes),
        (sa.String, str),
    )
    for kind, shape in kinds:
        if isinstance(column.type, kind):
            return shape | None if column.nullable else shape
    raise TypeError(column)


def _wrong(path: Path, part: str) -> Withheld:
    return Withheld(
        say(
            "{path} is damaged: its part {part} is not what its list says. Use another backup.",
            path=path,
            part=part,
        )
    )


def _no_backup(path: Path) -> BadInput:
    return BadInput(say("{path} is not a backup of quailwright, or its end is missing.", path=path))


@contextmanager
def open_backup(path: Path) -> Iterator[Backup]:
    """Opens a backup and reads its list, no more.

    Raises BadInput for what is no backup or is of a newer quailwright, Withheld for a damaged one.
    """
    if path.exists() and not (path.is_file() or path.is_dir()):  # a device has no end
        raise _no_backup(path)
    try:
        archive = zipfile.ZipFile(path)
    except FileNotFoundError:
        raise BadInput(say("There is no file {path}. Check the name.", path=path)) from None
    except IsADirectoryError:
        raise BadInput(say("{path} is a folder. Name the file in it.", path=path)) from None
    except (zipfile.BadZipFile, NotImplementedError, ValueError) as error:
        raise _no_backup(path) from error
    except OSError as error:
        raise BadInput(
            say("{path} cannot be read: {why}.", path=path, why=error.strerror or error)
        ) from error
    with archive:
        if any(info.compress_type not in _PRESSED for info in archive.infolist()):
            raise _no_backup(path)
        manifest = _manifest(archive, path)
        _check_list(archive, path, manifest)
        with closing(Backup(archive, path, manifest)) as backup:
            yield backup


class _AnyFormat(Struct):
    format: int
    schema: str


def _manifest(archive: zipfile.ZipFile, path: Path) -> Manifest:
    try:
        with archive.open(MANIFEST) as stream:
            text = stream.read(_LARGEST_MANIFEST + 1)
        if len(text) > _LARGEST_MANIFEST:
            raise _no_backup(path)
        of = msgspec.json.decode(text, type=_AnyFormat)
    except (*_UNREADABLE, msgspec.DecodeError, UnicodeDecodeError) as error:
        raise _no_backup(path) from error
    if of.format > FORMAT or of.schema > SCHEMA:
        raise BadInput(
            say(
                "{path} was made by a newer quailwright (schema {schema}; this one knows {known}). "
                "Update quailwright.",
                path=path,
                schema=of.schema[:40],
                known=SCHEMA,
            )
        )
    try:
        return msgspec.json.decode(text, type=Manifest)
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise _wrong(path, MANIFEST) from error


def _check_list(archive: zipfile.ZipFile, path: Path, manifest: Manifest) -> None:
    """That the zip holds the parts of the list, each once and of its size, and nothing else."""
    listed = {part.file: part for part in manifest.parts}
    inside = archive.infolist()
    for name in chain(listed, (BODIES,)):
        if name not in {info.filename for info in inside}:
            raise _wrong(path, name)
    if len(listed) != len(manifest.parts):
        raise _wrong(path, MANIFEST)
    seen = set()
    for info in inside:
        part, name = listed.get(info.filename), info.filename
        if name in seen or (part is None and name not in (MANIFEST, README)):
            raise Withheld(
                say(
                    "{path} holds a part {part!r} that its list does not name: it is not as "
                    "quailwright made it. Use another backup.",
                    path=path,
                    part=name[:80],
                )
            )
        seen.add(name)
        too_good = info.file_size > _MOST_TIMES_SMALLER * (info.compress_size + 1)
        if part is not None and (info.file_size != part.bytes or too_good):
            raise _wrong(path, name)

"""What can still be read of a damaged flock file: entries whose checksum holds, page by page.

It does not ask SQLite, which gives up where its tree of pages is broken, but reads the file's pages
one after another (SQLite's "Database File Format", sections 1.5 to 1.6 and 2.1, and 4.1 of its
write-ahead log): every leaf page that holds rows is looked through for rows of the table `entry`.
An entry is never changed, so a page that is out of date can only give the same one again.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from quailwright.journal.backup import read_body
from quailwright.journal.entries import Entry
from quailwright.journal.findings import FlockUnusable
from quailwright.journal.store import Store
from quailwright.language import say

_HEADER, _LEAF = 100, 0x0D
_USUAL_PAGE = 4096
_WAL_HEADER, _FRAME_HEADER = 32, 24
_ENTRY_COLUMNS = 7  # arrival, id, kind, at, recorded_at, crc32, body
_LARGEST_BODY = 4_000_000
_INTEGER_SIZES = {1: 1, 2: 2, 3: 3, 4: 4, 5: 6, 6: 8}
_Value = int | bytes | str | None


@dataclass(frozen=True, slots=True)
class Salvaged:
    """What was read: entries with the text of each, in order of arrival, and how many are missing.

    `missing` is the least that it can be: entries after the last one known leave no trace.
    """

    entries: tuple[tuple[Entry, bytes], ...]
    missing: int


def salvage(path: Path) -> Salvaged:
    """Reads what can be read of a flock file and its write-ahead log; neither is changed.

    Raises FlockUnusable when the file itself cannot be read.
    """
    try:
        data = path.read_bytes()
        beside = path.with_name(f"{path.name}-wal")
        log = beside.read_bytes() if beside.exists() else b""
    except OSError as error:
        raise FlockUnusable(
            say("{path} cannot be read: {why}.", path=path, why=error.strerror or error)
        ) from error
    found: dict[int, tuple[Entry, bytes]] = {}
    highest = 0
    for pages, leaves in _sources(data, log):
        before, found = found, {}
        for number, page in leaves:
            for arrival, values in _rows(page, number, pages):
                if len(values) == _ENTRY_COLUMNS:
                    body = values[6]
                    entry = read_body(body, values[5])
                    if entry is not None and isinstance(body, bytes) and entry.id == values[1]:
                        found[arrival] = (entry, body)
                elif len(values) == 2 and values[0] == "entry" and isinstance(values[1], int):
                    highest = max(highest, values[1])  # of the table sqlite_sequence
        # An entry keeps its number: a log that gives one to another entry is of another file.
        ours = all(found[n][0].id == before[n][0].id for n in found.keys() & before.keys())
        found = before | found if ours else before
    highest = max([highest, *found])
    return Salvaged(tuple(found[arrival] for arrival in sorted(found)), highest - len(found))


def salvage_rows(store: Store) -> Salvaged:
    """Reads what can be read of a flock in a database at an address: rows whose checksum holds.

    Raises FlockUnusable when the table itself cannot be read.
    """
    rows = store.entry_rows()
    found = []
    for entry_id, crc32, body in rows:
        entry = read_body(body, crc32)
        if entry is not None and entry.id == entry_id:
            found.append((entry, body))
    return Salvaged(tuple(found), len(rows) - len(found))


_Pages = Mapping[int, bytes]


def _sources(data: bytes, log: bytes) -> Iterator[tuple[_Pages, list[tuple[int, bytes]]]]:
    """The pages of the file, then those of the log laid over them; with those to look through."""
    size = int.from_bytes(data[16:18], "big")
    size = 65_536 if size == 1 else size
    if size < 512 or size & (size - 1):
        size = _USUAL_PAGE
    pages = {n + 1: data[n * size : (n + 1) * size] for n in range(-(-len(data) // size))}
    yield pages, list(pages.items())
    newer, step = dict(pages), _FRAME_HEADER + size
    frames = []
    for start in range(_WAL_HEADER, len(log) - step + 1, step):
        number = int.from_bytes(log[start : start + 4], "big")
        frames.append((number, log[start + _FRAME_HEADER : start + step]))
    newer.update(frames)
    yield newer, frames


def _rows(page: bytes, number: int, pages: _Pages) -> Iterator[tuple[int, list[_Value]]]:
    """The rows of a leaf page of a table: their number and values. What is broken is left out."""
    start = _HEADER if number == 1 else 0
    if len(page) < start + 8 or page[start] != _LEAF:
        return
    for n in range(int.from_bytes(page[start + 3 : start + 5], "big")):
        at = int.from_bytes(page[start + 8 + 2 * n : start + 10 + 2 * n], "big")
        try:
            length, at = _varint(page, at)
            arrival, at = _varint(page, at)
            yield arrival, _values(_payload(page, at, length, pages))
        except (IndexError, ValueError, KeyError):
            continue


def _payload(page: bytes, at: int, length: int, pages: _Pages) -> bytes:
    """The bytes of a row, with those that stand on pages of their own."""
    usable = len(page)
    if length > _LARGEST_BODY:
        raise ValueError(length)
    most = usable - 35
    if length <= most:
        return page[at : at + length]
    least = (usable - 12) * 32 // 255 - 23
    here = least + (length - least) % (usable - 4)
    here = here if here <= most else least
    payload = bytearray(page[at : at + here])
    following = int.from_bytes(page[at + here : at + here + 4], "big")
    while len(payload) < length:
        more = pages[following]
        following = int.from_bytes(more[:4], "big")
        payload += more[4:]
        if len(more) <= 4:
            raise ValueError(more)
    return bytes(payload[:length])


def _values(payload: bytes) -> list[_Value]:
    """The values of a row, as far as this file's tables have them."""
    size, at = _varint(payload, 0)
    kinds = []
    while at < size:
        kind, at = _varint(payload, at)
        kinds.append(kind)
    values: list[_Value] = []
    for kind in kinds:
        if kind in (0, 8, 9):
            values.append({0: None, 8: 0, 9: 1}[kind])
            continue
        length = _INTEGER_SIZES.get(kind) or (8 if kind == 7 else (kind - 12) // 2)
        part = payload[at : at + length]
        if len(part) < length:
            raise ValueError(kind)
        at += length
        if kind in _INTEGER_SIZES:
            values.append(int.from_bytes(part, "big", signed=True))
        else:
            values.append(part.decode() if kind >= 13 and kind % 2 else part)
    return values


def _varint(data: bytes, at: int) -> tuple[int, int]:
    value = 0
    for n in range(9):
        byte = data[at + n]
        if n == 8:
            return value << 8 | byte, at + 9
        value = value << 7 | byte & 0x7F
        if byte < 0x80:
            return value, at + n + 1
    raise ValueError(at)

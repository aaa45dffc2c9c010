"""Targets of scripts/fuzz: files that are brought: sheets, backups, calendars."""

import tempfile
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any

from scripts import fuzz_inputs as inputs
from scripts.fuzz_common import FLOCK, NOW, as_file, or_sentence, refused, scratch
from tests.makers import uid

from quailwright.journal.findings import QuailwrightError

# Spreadsheets.


def _previewing() -> Callable[[Any, str], bool]:
    from quailwright.exchange.record import kept_at_hand
    from quailwright.exchange.tables_in import previewed
    from quailwright.exchange.tables_in_guess import seems
    from quailwright.exchange.tables_in_match import match_text, read_match
    from quailwright.exchange.tables_in_page import guide
    from quailwright.exchange.tables_in_told import left_words, outcome, preview_shape

    kept = kept_at_hand(FLOCK, NOW)
    flock = kept.as_of(NOW)

    def preview(book: Any, kind: str = "") -> bool:
        match = seems(book, flock, kind=kind)
        assert read_match(match_text(match).encode(), "match.toml") == match
        seen = previewed(book, match, flock, FLOCK, NOW, kept)
        if seen.asked:  # As if its keeper had answered.
            match = replace(
                match, year=match.year or 2027, dates=match.dates or "dmy",
                decimal=match.decimal or ".", month=match.month or 5,
                always={"group": "hens", "place": "pen", "feed": "layer", **match.always},
            )  # fmt: skip
            guide(seen, flock)
            seen = previewed(book, match, flock, FLOCK, NOW, kept)
        outcome(seen, False)
        preview_shape(seen, False)
        guide(seen, flock)
        for left in seen.left:
            left_words(left)
        for problem in seen.problems:
            refused(QuailwrightError(problem.sentence))
        return not seen.problems and bool(seen.new)

    return preview


def sheet_text_target() -> Callable[[bytes], bool]:
    from quailwright.exchange.tables_in_grid import read_book

    folder, preview = scratch(), _previewing()

    def take(data: bytes) -> bool:
        with as_file(folder, data, ".csv") as path:
            return preview(read_book(path), "")

    return or_sentence(take)


def sheet_text_seeds() -> Iterator[bytes]:
    for text in inputs.grids():
        yield text.partition(b"\n")[2].replace(b"@", b"").replace(b"#", b"")
        yield text.partition(b"\n")[2].replace(b"@", b"").replace(b"#", b"").replace(b"\t", b";")
    yield from (
        each for each in inputs.texts_of("tests/exchange/test_tables_in.py") if b"," in each
    )


def cells_target() -> Callable[[bytes], bool]:
    """Cells themselves, as if a workbook had held them: see `inputs.grids`."""
    from quailwright.exchange.tables_in_grid import Book, Grid
    from quailwright.exchange.tables_in_match import Match, checked

    preview = _previewing()

    def take(data: bytes) -> bool:
        kind, *lines = data.decode(errors="replace").split("\n")
        rows = [[_cell(text) for text in line.split("\t")[:40]] for line in lines[:60]]
        width = max(map(len, rows), default=0)
        if not width:
            return False
        whole = tuple((*row, *[None] * (width - len(row))) for row in rows)
        merged = {(1, 0): (0, 0)} if len(whole) > 2 and len(data) % 5 == 0 else {}
        checked(Match("Sheet", kind=kind))
        grid = Grid("Sheet", whole, merged, bool(merged), len(data) % 11 == 0, len(data) % 7 == 0)
        return preview(Book("book.xlsx", (grid,)), kind)

    return or_sentence(take)


def _cell(text: str) -> Any:
    """`#` before a number, `@` before a day, an instant, a time or seconds, `!` for yes or no."""
    mark, rest = text[:1], text[1:]
    if mark == "#":
        try:
            return float(rest) if "." in rest or "e" in rest or "n" in rest else int(rest[:300])
        except ValueError:
            return text
    if mark == "!":
        return rest == "yes"
    if mark == "@":
        for read in (date.fromisoformat, datetime.fromisoformat, time.fromisoformat):
            try:
                return read(rest)
            except ValueError:
                continue
        try:
            return timedelta(seconds=float(rest))
        except (ValueError, OverflowError):
            return text
    return text if text.strip() else None


def book_parts_target() -> Callable[[bytes], bool]:
    """The files within a workbook, of which any may be changed, packed for the reader."""
    return _reading_books(lambda data: inputs.in_zip(inputs.parted(data)))


def book_bytes_target() -> Callable[[bytes], bool]:
    return _reading_books(lambda data: data)


def _reading_books(packed: Callable[[bytes], bytes]) -> Callable[[bytes], bool]:
    """The reader runs within this process: what ends it there is tried again in one of its own."""
    from quailwright.exchange import tables_in_grid as grids
    from quailwright.exchange import tables_in_reader as reader
    from quailwright.journal.findings import BadInput

    folder, preview = scratch(), _previewing()

    def take(data: bytes) -> bool:
        content = packed(data)
        # The reader goes by the ending.
        ending = ".ods" if b"opendocument" in data else ".xls" if len(data) % 5 == 0 else ".xlsx"
        with as_file(folder, content, ending) as path:
            from_1904 = content[:2] == b"PK" and grids._unpacked_fits(path, path.name)
            told = reader._read(str(path))
        if "sheets" not in told:
            raise BadInput(f"It cannot be read ({told['error']}).")
        import json

        told = json.loads(json.dumps(told))
        found = tuple(grids._grid(sheet, from_1904) for sheet in told["sheets"])
        found = tuple(grid for grid in found if grid.rows)
        return bool(found) and preview(grids.Book(path.name, found), "")

    return or_sentence(take)


def in_a_process_of_its_own(name: str, data: bytes) -> bool:
    """What an input of `book` or `parts` comes to as a keeper meets it: True for a sentence."""
    from quailwright.exchange.tables_in_grid import read_book

    content = inputs.in_zip(inputs.parted(data)) if name == "parts" else data
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "input.xlsx")
        path.write_bytes(content)
        try:
            read_book(path)
        except QuailwrightError as error:
            refused(error)
        return True


def parts_seeds() -> Iterator[bytes]:
    for _, content in inputs.books():
        yield inputs.joined(inputs.out_of_zip(content))


def book_seeds() -> Iterator[bytes]:
    yield from (content for _, content in inputs.books())
    # The head of a file of the older kind (MS-CFB, 2.2): there is no writer of them here.
    yield (
        bytes.fromhex("d0cf11e0a1b11ae1")
        + bytes(16)
        + bytes.fromhex("3e000300feff0900")
        + bytes(480)
    )


# Backups.


def backup_target() -> Callable[[bytes], bool]:
    """Parts of a backup. Its list is made to fit what it lists, unless it begins with another."""
    from quailwright.exchange.backups import state_of
    from quailwright.journal.backup import open_backup
    from quailwright.journal.restoring import prove

    folder = scratch()

    def take(data: bytes) -> bool:
        parts = inputs.parted(data)
        fitted = data[:1] != b"-"
        content = inputs.in_zip(_list_that_fits(parts) if fitted else parts)
        with as_file(folder, content, ".zip") as path, open_backup(path) as backup:
            backup.check()
            prove(backup, state_of)
        return True

    return or_sentence(take)


def _list_that_fits(parts: list[tuple[str, bytes]]) -> list[tuple[str, bytes]]:
    import hashlib
    import json

    bodies = dict(parts)
    fitted = []
    for name, body in parts:
        if name == "manifest.json":
            try:
                told = json.loads(body)
                for part in told["parts"]:
                    is_ = bodies[part["file"]]
                    part["bytes"], part["sha256"] = len(is_), hashlib.sha256(is_).hexdigest()
                body = json.dumps(told).encode()
            except (ValueError, KeyError, TypeError, RecursionError):
                pass
        fitted.append((name, body))
    return fitted


def backup_seeds() -> Iterator[bytes]:
    from quailwright.exchange.backups import back_up
    from quailwright.journal.store import open_store

    with tempfile.TemporaryDirectory() as folder:
        with open_store(str(Path(folder, "flock.sqlite")), create=True) as store:
            with store.writing() as writer:
                writer.append(FLOCK, NOW)
                writer.append_readings(
                    "box", "probe", [1, 2, 3], [37.5, 37.6, None], [55.0, None, 5.0]
                )
            whole = back_up(store, Path(folder, "backup.zip"), NOW)
        yield inputs.joined(inputs.out_of_zip(whole.path.read_bytes()))
        yield b"-" + inputs.joined(inputs.out_of_zip(whole.path.read_bytes()))


def zip_target() -> Callable[[bytes], bool]:
    """A backup's bytes as they are."""
    from quailwright.exchange.backups import state_of
    from quailwright.journal.backup import open_backup
    from quailwright.journal.restoring import prove

    folder = scratch()

    def take(data: bytes) -> bool:
        with as_file(folder, data, ".zip") as path, open_backup(path) as backup:
            backup.check()
            prove(backup, state_of)
        return True

    return or_sentence(take)


def zip_seeds() -> Iterator[bytes]:
    for seed in backup_seeds():
        yield inputs.in_zip(inputs.parted(seed))


# The calendar.


def calendar_target() -> Callable[[bytes], bool]:
    """Names of things in the calendar that is written, and any file read as one of ours."""
    import icalendar

    from quailwright.exchange.calendar_ics import NotOurs, Wrapping, told_in_file
    from quailwright.exchange.calendar_told import Wanted, events_of_store, ics_of
    from quailwright.exchange.record import fitting, kept_at_hand, typed_entry
    from quailwright.journal.store import open_store

    store = open_store(str(scratch() / "flock.sqlite"), create=True)
    with store.writing() as writer:
        writer.append(FLOCK, NOW)
    kept = kept_at_hand(FLOCK, NOW)
    mark = FLOCK[0].id
    wrapping = Wrapping(mark, "Quail", "Europe/Lisbon", "http://10.0.0.2:8347")

    def written(name: str) -> bool:
        fields = {"kind": "eggs_set", "hatch": name, "eggs": "12", "place": name, "source": name,
                  "at": "2027-05-01"}  # fmt: skip
        entry = typed_entry(fields, NOW, uid(990_005), "Europe/Lisbon")
        fresh, after = fitting(kept, [entry])
        flock = after.as_of(NOW)
        events = events_of_store(store, flock, [*FLOCK, *fresh], NOW, Wanted())
        content, _ = ics_of(events, {}, NOW, wrapping)
        # RFC 5545, 3.1: lines end in CR LF and hold no more than 75 octets.
        assert all(len(line) <= 75 and b"\n" not in line and b"\r" not in line
                   for line in content.split(b"\r\n"))  # fmt: skip
        found = icalendar.Calendar.from_ical(content)
        summaries = {str(event["SUMMARY"]) for event in found.walk("VEVENT")}
        assert summaries == {event.summary for event in events}, "read back as something else"
        assert len(told_in_file(content, mark)) >= len(events)
        return True

    def take(data: bytes) -> bool:
        with suppress(NotOurs):
            told_in_file(data, mark)
        return written(data.decode(errors="replace")[:80])

    return or_sentence(take)


def calendar_seeds() -> Iterator[bytes]:
    yield from (each for each in inputs.texts_of("tests/exchange/test_calendar.py"))
    yield from (each.encode() for each in inputs.VALUES if each)
    yield (
        b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//x//y//EN\r\nBEGIN:VEVENT\r\nUID:a\r\n"
        b"DTSTART;TZID=Europe/Lisbon:20270502T200000\r\nRRULE:FREQ=DAILY\r\nSUMMARY:x\\, y\r\n"
        b"END:VEVENT\r\nEND:VCALENDAR\r\n"
    )

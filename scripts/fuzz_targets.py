"""What scripts/fuzz tries: each way by which something typed, sent or brought comes in.

A target takes one input and gives True where it was taken, False where it was refused with a
sentence. Anything else that it raises is a fault.
"""

import logging
import random
import re
import shutil
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any, NamedTuple

from scripts import fuzz_inputs as inputs
from tests.makers import made, uid
from tests.web.conftest import READ_PAGES, SMALL_FLOCK

from quailwright.journal.findings import QuailwrightError

NOW = datetime(2027, 5, 3, 7, 30, tzinfo=UTC)
ON = date(2027, 5, 3)
FLOCK = (
    *SMALL_FLOCK,
    made("feed", "2027-01-01", feed="layer", protein_pct=17, calcium_pct=3.5, price_per_kg=0.9),
    made("feed", "2027-01-01", feed="starter", protein_pct=26, calcium_pct=1.1, price_per_kg=1.2),
    made("instrument", "2027-01-01", instrument="probe", place="box", temperature_offset_c=0.2),
)


class Target(NamedTuple):
    """A way in.

    Attributes:
        seeds: what it begins with.
        ready: makes what it needs and gives the function that takes an input.
        covers: modules of quailwright whose lines are counted.
    """

    seeds: Callable[[], Iterator[bytes]]
    ready: Callable[[], Callable[[bytes], bool]]
    covers: tuple[str, ...]


class NotSaid(Exception):
    """A refusal that is no sentence, or one that would drive the terminal it is shown on."""


def _refused(error: QuailwrightError) -> bool:
    sentences = [error.sentence, *(finding.sentence for finding in error.findings)]
    for said in sentences:
        if not said.strip() or re.search(r"[\x00-\x08\x0b-\x1f\x7f-\x9f]", said):
            raise NotSaid(repr(said))
    return False


def _or_sentence(take: Callable[[bytes], bool]) -> Callable[[bytes], bool]:
    def taken(data: bytes) -> bool:
        try:
            return take(data)
        except QuailwrightError as error:
            return _refused(error)

    return taken


def _found(read: Any, findings: Any) -> bool:
    """Of readers that give what they read, or None, and findings."""
    if read is None:
        assert findings, "nothing was read, and nothing says why"
        return _refused(QuailwrightError("Not right.", tuple(findings)))
    return True


def _scratch() -> Path:
    memory = Path("/dev/shm")
    return Path(tempfile.mkdtemp(prefix="quail-fuzz-", dir=memory if memory.is_dir() else None))


@contextmanager
def _as_file(folder: Path, data: bytes, ending: str) -> Iterator[Path]:
    path = folder / f"input{ending}"
    path.write_bytes(data)
    yield path


# The journal.


def _journal() -> Callable[[bytes], bool]:
    from quailwright.exchange.record import fitting, kept_at_hand
    from quailwright.flock.digest import digest
    from quailwright.flock.fold import fold
    from quailwright.guide.round import todays_round
    from quailwright.journal.jsonl import parse_lines, write_lines

    kept = kept_at_hand(FLOCK, NOW)

    def take(data: bytes) -> bool:
        numbered, findings = parse_lines(data)
        if findings:
            return _found(None, findings)
        entries = [entry for _, entry in numbered]
        again, none = parse_lines(b"".join(write_lines(entries)))
        assert not none and [entry for _, entry in again] == entries, "not as it was written"
        # What another phone sends late is kept whatever it says.
        late = fold([*FLOCK, *entries])
        digest(late)
        todays_round(late, ON, ())
        fresh, after = fitting(kept, entries)
        if fresh:
            todays_round(after.as_of(NOW), ON, ())
        return True

    return _or_sentence(take)


def _journal_seeds() -> Iterator[bytes]:
    yield from inputs.sample_entries()
    yield b"\n".join(inputs.sample_entries())
    yield from (
        each for each in inputs.texts_of("tests/journal/test_bad_input.py",
        "tests/journal/test_jsonl.py", "tests/cli/test_bad_input.py") if b"{" in each
    )  # fmt: skip


def _log() -> Callable[[bytes], bool]:
    from quailwright.cli.log import _split
    from quailwright.exchange.record import fitting, kept_at_hand, typed_entry

    kept = kept_at_hand(FLOCK, NOW)

    def take(data: bytes) -> bool:
        kind, *fields = data.decode(errors="surrogateescape").split("\n")
        entry = typed_entry({"kind": kind} | _split(fields), NOW, uid(990_001), "Europe/Lisbon")
        fitting(kept, [entry])
        return True

    return _or_sentence(take)


def _log_seeds() -> Iterator[bytes]:
    import msgspec

    for line in inputs.sample_entries():
        fields = msgspec.json.decode(line)
        typed = [f"{name}={value}" for name, value in fields.items() if name not in ("kind", "id")]
        yield "\n".join([fields["kind"], *typed]).encode()
    for text in inputs.texts_of("tests/cli/test_bad_input.py", "tests/cli/test_log.py"):
        if b"=" in text:
            yield text.replace(b" ", b"\n")


# Readings and sensors.


def _readings() -> Callable[[bytes], bool]:
    from quailwright.exchange.readings_csv import import_csv
    from quailwright.exchange.readings_layout import Told
    from quailwright.exchange.readings_taken import taken_shape
    from quailwright.journal.store import open_store

    folder = _scratch()
    store = open_store(str(folder / "flock.sqlite"), create=True)
    told = [
        Told(home_zone="Europe/Lisbon", role="incubator"),
        Told("America/New_York", units="f", dates="mdy"),
        Told(home_zone="Australia/Lord_Howe", dates="dmy", role="pen"),
    ]

    def take(data: bytes) -> bool:
        with _as_file(folder, data, ".csv") as path:
            done = import_csv(store, path, "box", "", told[len(data) % 3], dry_run=True, now=NOW)
        taken_shape(done, "box", "", True)
        return True

    return _or_sentence(take)


def _readings_seeds() -> Iterator[bytes]:
    names = ("tests/exchange/test_readings_csv.py", "tests/cli/test_readings.py")
    yield from (each for each in inputs.texts_of(*names) if b"," in each or b";" in each)
    yield from inputs.examples_of("readings.md")
    times = ("2027-05-02T20:00Z", "2.5.2027 20:00", "05/02/2027 8:00 PM", "1809288000")
    for at, sign in zip(times, ",;\t,", strict=True):
        head = sign.join(("Time", "Temperature (°C)", "RH %", "sensor"))
        rows = "\n".join(sign.join((at, f"3{n},5" if sign == ";" else f"3{n}.5", "55", "a")) for n in range(4))
        yield f"{head}\n{rows}\n".encode()
        yield f"{head}\n{rows}\n".encode("utf-16")


def _payload() -> Callable[[bytes], bool]:
    """A topic on the first line, then what was sent, read in each way and by a guess."""
    from quailwright.exchange import sensor_settings as settings
    from quailwright.exchange.mqtt import _hear, _in_a_sentence
    from quailwright.exchange.sensor_guess import guess
    from quailwright.exchange.sensor_keep import Arrived, Instants
    from quailwright.exchange.sensor_payload import USUAL, How, pointer_problem, read_payload
    from quailwright.language import say

    ways = (
        USUAL, How("number"), How("number", shows="humidity", humidity_unit="/"), How("senml"),
        How("json", temperature="/0/a~1b", humidity="/h", temperature_unit="degF"),
        How("json", temperature="", time="/t", temperature_unit="K"), How("senml", temperature="t"),
    )  # fmt: skip
    heard: dict[str, Any] = {}

    def take(data: bytes) -> bool:
        first, _, payload = data.partition(b"\n")
        topic = first.decode(errors="replace")
        _hear(heard, topic, payload, NOW)
        for check in (settings.parsed_address, settings._check_filter, settings._check_name):
            try:
                check(topic)
            except QuailwrightError as error:
                _refused(error)
        pointer_problem(topic)
        settings.overlap(topic, topic)
        for level in (None, 1, 3):
            mapped = settings.Mapped(1, topic, "box", "probe", USUAL, level)
            name = mapped.instrument_of(topic)
            assert 1 <= len(name) <= settings.LONGEST_NAME
        guessed = guess(payload, topic, NOW, "incubator")
        some = False
        for how in (*ways, guessed.how or USUAL):
            found = read_payload(payload, how, NOW)
            assert found.readings or found.refused, "neither readings nor a sentence"
            for sentence in found.refused:
                _refused(QuailwrightError(say(sentence)))
            Instants().apart(Arrived("box", "probe", found.readings))
            some = some or bool(found.readings)
        _in_a_sentence(QuailwrightError("x"))
        return some

    return take


def _payload_seeds() -> Iterator[bytes]:
    names = ("sensor_payload", "mqtt", "sensor_keep", "sensor_settings")
    for text in inputs.texts_of(*(f"tests/exchange/test_{name}.py" for name in names)):
        if text[:1] in b"[{0123456789-":
            yield b"shed/box/temperature\n" + text
    for text in inputs.examples_of("sensors.md"):
        yield b"shed/box/temperature\n" + text
    yield b'a/b\n{"temperature": 37.5, "humidity": "55", "time": "2027-05-02T20:00:00Z"}'
    yield b'a/b\n[{"bn":"x","bt":1809288000,"n":"t","u":"Cel","v":37},{"n":"h","u":"%RH","v":5}]'
    yield b"a/b\n37,5"
    yield b"mqtts://user@[::1]:8883/\n1e400"
    yield b"+/x/#\n"


def _device() -> Callable[[bytes], bool]:
    house = House()

    def take(data: bytes) -> bool:
        answer = house.ask("POST", "/api/readings/sent", data, {"Authorization": house.device})
        return answer < 300

    return take


def _device_seeds() -> Iterator[bytes]:
    yield from (each.partition(b"\n")[2] for each in _payload_seeds())


# Briefs.


def _brief() -> Callable[[bytes], bool]:
    """Lines that begin with `#!` are what is told otherwise beside the file."""
    from quailwright.exchange.plan_asked import brief_of, changed, questions
    from quailwright.flock.fold import fold
    from quailwright.planning.brief import completed, read_brief, taken_for_granted

    flock = fold(FLOCK, NOW)

    def take(data: bytes) -> bool:
        lines = data.split(b"\n")
        changes = [line[2:].decode(errors="replace") for line in lines if line.startswith(b"#!")]
        brief, findings = read_brief(data, changes)
        if brief is None:
            return _found(None, findings)
        whole, findings = completed(brief, flock, ON)
        if findings:
            return _found(None, findings)
        taken_for_granted(whole)
        return True

    def typed(data: bytes) -> bool:
        """The same typed into the page: name=value lines."""
        told = dict(line.split("=", 1) for line in data.decode(errors="replace").split("\n") if "=" in line)
        told = {name.strip(): value.strip() for name, value in told.items()}
        made = brief_of(told)
        brief, findings = read_brief(made)
        if brief is None:
            return _found(None, findings)
        whole, findings = completed(brief, flock, ON)
        if not findings:
            changed(made, whole, told, told.get("machine_eggs", ""))
        questions(flock, ON)
        return True

    first, second = _or_sentence(take), _or_sentence(typed)

    def both(data: bytes) -> bool:
        one = first(data)
        return second(data) or one

    return both


def _offers() -> Callable[[bytes], bool]:
    import numpy as np

    from quailwright.exchange.offers_shape import offers_shape
    from quailwright.flock.fold import fold
    from quailwright.planning.offers import answer, read_offers

    flock = fold(FLOCK, NOW)
    answered: set[bytes] = set()

    def take(data: bytes) -> bool:
        asked, findings = read_offers(data)
        if asked is None:
            return _found(None, findings)
        if len(asked.offers) > 3:
            return True
        # Comparing takes a while: one of each shape.
        shape = re.sub(rb"\d+", b"0", data)
        if shape not in answered:
            answered.add(shape)
            offers_shape(answer(asked, flock, ON, np.random.default_rng(1)), ON)
        return True

    return _or_sentence(take)


def _ration() -> Callable[[bytes], bool]:
    from quailwright.exchange.ration_shape import ration_shape
    from quailwright.exchange.ration_told import ration_asked, ration_of
    from quailwright.flock.fold import fold

    flock = fold(FLOCK, NOW)

    def take(data: bytes) -> bool:
        asked = ration_asked("The brief", data, flock)
        if len(asked.question.choices) <= 6 and b"scoop" not in data:
            ration_shape(asked, ration_of(asked))
        return True

    return _or_sentence(take)


def _blend() -> Callable[[bytes], bool]:
    from quailwright.exchange.blend_told import blend_of, blend_shape, said
    from quailwright.flock.fold import fold

    flock = fold(FLOCK, NOW)

    def take(data: bytes) -> bool:
        blend = blend_of("The brief", data, flock, ON)
        blend_shape(blend)
        said(blend)
        return True

    return _or_sentence(take)


def _match() -> Callable[[bytes], bool]:
    from quailwright.exchange.tables_in_match import match_text, read_match

    def take(data: bytes) -> bool:
        match = read_match(data, "match.toml")
        assert read_match(match_text(match).encode(), "again") == match, "not as it was written"
        return True

    return _or_sentence(take)


def _match_seeds() -> Iterator[bytes]:
    yield from inputs.examples_of("tables.md")
    yield from (each for each in inputs.texts_of("tests/exchange/test_tables_in.py") if b"=" in each)
    yield (
        b'sheet = "S"\nhead = [1, 2]\nkind = "eggs_collected"\ndown = ["A"]\ndates = "dmy"\n'
        b'year = 2027\ndecimal = ","\n[columns]\nA = "day"\nB = "eggs"\n[always]\ngroup = "hens"\n'
        b'[names]\n"pen A" = "hens"\n[wide]\nfield = "eggs"\nname = "group"\n[wide.columns]\n'
        b'C = "hens"\n[[first]]\nkind = "group"\ngroup = "x"\nat = "2027-01-01"\n'
    )


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
            _refused(QuailwrightError(problem.sentence))
        return not seen.problems and bool(seen.new)

    return preview


def _sheet_text() -> Callable[[bytes], bool]:
    from quailwright.exchange.tables_in_grid import read_book

    folder, preview = _scratch(), _previewing()

    def take(data: bytes) -> bool:
        with _as_file(folder, data, ".csv") as path:
            return preview(read_book(path), "")

    return _or_sentence(take)


def _sheet_text_seeds() -> Iterator[bytes]:
    for text in inputs.grids():
        yield text.partition(b"\n")[2].replace(b"@", b"").replace(b"#", b"")
        yield text.partition(b"\n")[2].replace(b"@", b"").replace(b"#", b"").replace(b"\t", b";")
    yield from (each for each in inputs.texts_of("tests/exchange/test_tables_in.py") if b"," in each)


def _cells() -> Callable[[bytes], bool]:
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

    return _or_sentence(take)


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


def _book_parts() -> Callable[[bytes], bool]:
    """The files within a workbook, of which any may be changed, packed for the reader."""
    return _reading_books(lambda data: inputs.in_zip(inputs.parted(data)))


def _book_bytes() -> Callable[[bytes], bool]:
    return _reading_books(lambda data: data)


def _reading_books(packed: Callable[[bytes], bytes]) -> Callable[[bytes], bool]:
    """The reader runs within this process: what ends it there is tried again in one of its own."""
    from quailwright.exchange import tables_in_grid as grids
    from quailwright.exchange import tables_in_reader as reader
    from quailwright.journal.findings import BadInput

    folder, preview = _scratch(), _previewing()

    def take(data: bytes) -> bool:
        content = packed(data)
        # The reader goes by the ending.
        ending = ".ods" if b"opendocument" in data else ".xls" if len(data) % 5 == 0 else ".xlsx"
        with _as_file(folder, content, ending) as path:
            from_1904 = content[:2] == b"PK" and grids._unpacked_fits(path, path.name)
            told = reader._read(str(path))
        if "sheets" not in told:
            raise BadInput(f"It cannot be read ({told['error']}).")
        import json

        told = json.loads(json.dumps(told))
        found = tuple(grids._grid(sheet, from_1904) for sheet in told["sheets"])
        found = tuple(grid for grid in found if grid.rows)
        return bool(found) and preview(grids.Book(path.name, found), "")

    return _or_sentence(take)


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
            _refused(error)
        return True


def _parts_seeds() -> Iterator[bytes]:
    for _, content in inputs.books():
        yield inputs.joined(inputs.out_of_zip(content))


def _book_seeds() -> Iterator[bytes]:
    yield from (content for _, content in inputs.books())
    # The head of a file of the older kind (MS-CFB, 2.2): there is no writer of them here.
    yield bytes.fromhex("d0cf11e0a1b11ae1") + bytes(16) + bytes.fromhex("3e000300feff0900") + bytes(480)


# Paper typed back.


def _typed(data: bytes) -> dict[str, str]:
    return dict(
        (line.split("=", 1) + [""])[:2] for line in data.decode(errors="replace").split("\n")
    )


def _lid() -> Callable[[bytes], bool]:
    from quailwright.exchange.desk import Desk
    from quailwright.exchange.hatch_told import hatch_told
    from quailwright.exchange.lid import lid_of
    from quailwright.exchange.lid_back import entries_back, lid_back
    from quailwright.exchange.record import fitting, kept_at_hand
    from quailwright.journal.store import open_store

    store = open_store(str(_scratch() / "flock.sqlite"), create=True)
    with store.writing() as writer:
        writer.append(FLOCK, NOW)
    desk, kept = Desk(store), kept_at_hand(FLOCK, NOW)
    flock = desk.flock(NOW)
    form = lid_back(flock, lid_of(flock, hatch_told(store, flock, "may", NOW)), ON)
    us = replace(form, units="us")

    def take(data: bytes) -> bool:
        typed = _typed(data)
        form_id = typed.get("form", uid(7))
        for each in (form, us):
            fitting(kept, entries_back(each, typed, form_id, "Tom", NOW, desk.known(NOW)))
        return True

    return _or_sentence(take)


def _lid_seeds() -> Iterator[bytes]:
    yield (
        b"form=0191d5a0-5f5e-7c3a-9d52-3f0c5a1b2c3d\nweighed|1|eggs=24\nweighed|1|total_g=254,5\n"
        b"weighed|1|on=2027-05-03\ncandled|0|clear=3\ncandled|0|dead=0\ncandled|0|on=2027-05-03"
    )
    yield b"turns|2027-05-01=3\nlowest|2027-05-02=37,2\nhighest|2027-05-02=38\nturns|2027-05-02="


def _week() -> Callable[[bytes], bool]:
    from quailwright.exchange.paper_back import entries_back, week_back
    from quailwright.exchange.record import fitting, kept_at_hand

    kept = kept_at_hand(FLOCK, NOW)
    flock = kept.as_of(NOW)
    form = week_back(flock, date(2027, 4, 27), ON)

    def take(data: bytes) -> bool:
        typed = _typed(data)
        form_id = typed.get("form", uid(7))
        entries = entries_back(form, typed, form_id, "Tom", NOW, "Europe/Lisbon", kept.facts)
        fitting(kept, entries)
        return True

    return _or_sentence(take)


def _week_seeds() -> Iterator[bytes]:
    yield (
        b"form=0191d5a0-5f5e-7c3a-9d52-3f0c5a1b2c3d\neggs|2027-04-30|hens=7\n"
        b"feed|2027-04-30|pellets=0,5\nwater|2027-04-30|pen=1.5\ndead|0|count=1\n"
        b"dead|0|day=2027-04-30\ndead|0|who=hens|hens"
    )


# Backups.


def _backup() -> Callable[[bytes], bool]:
    """Parts of a backup. Its list is made to fit what it lists, unless it begins with another."""
    from quailwright.exchange.backups import state_of
    from quailwright.journal.backup import open_backup
    from quailwright.journal.restoring import prove

    folder = _scratch()

    def take(data: bytes) -> bool:
        parts = inputs.parted(data)
        fitted = data[:1] != b"-"
        content = inputs.in_zip(_list_that_fits(parts) if fitted else parts)
        with _as_file(folder, content, ".zip") as path, open_backup(path) as backup:
            backup.check()
            prove(backup, state_of)
        return True

    return _or_sentence(take)


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


def _backup_seeds() -> Iterator[bytes]:
    from quailwright.exchange.backups import back_up
    from quailwright.journal.store import open_store

    with tempfile.TemporaryDirectory() as folder:
        with open_store(str(Path(folder, "flock.sqlite")), create=True) as store:
            with store.writing() as writer:
                writer.append(FLOCK, NOW)
                writer.append_readings("box", "probe", [1, 2, 3], [37.5, 37.6, None], [55.0, None, 5.0])
            whole = back_up(store, Path(folder, "backup.zip"), NOW)
        yield inputs.joined(inputs.out_of_zip(whole.path.read_bytes()))
        yield b"-" + inputs.joined(inputs.out_of_zip(whole.path.read_bytes()))


def _zip() -> Callable[[bytes], bool]:
    """A backup's bytes as they are."""
    from quailwright.exchange.backups import state_of
    from quailwright.journal.backup import open_backup
    from quailwright.journal.restoring import prove

    folder = _scratch()

    def take(data: bytes) -> bool:
        with _as_file(folder, data, ".zip") as path, open_backup(path) as backup:
            backup.check()
            prove(backup, state_of)
        return True

    return _or_sentence(take)


def _zip_seeds() -> Iterator[bytes]:
    for seed in _backup_seeds():
        yield inputs.in_zip(inputs.parted(seed))


# The calendar.


def _calendar() -> Callable[[bytes], bool]:
    """Names of things in the calendar that is written, and any file read as one of ours."""
    import icalendar

    from quailwright.exchange.calendar_ics import NotOurs, Wrapping, told_in_file
    from quailwright.exchange.calendar_told import Wanted, events_of_store, ics_of
    from quailwright.exchange.record import fitting, kept_at_hand, typed_entry
    from quailwright.journal.store import open_store

    store = open_store(str(_scratch() / "flock.sqlite"), create=True)
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
        try:
            told_in_file(data, mark)
        except NotOurs:
            pass
        return written(data.decode(errors="replace")[:80])

    return _or_sentence(take)


def _calendar_seeds() -> Iterator[bytes]:
    yield from (each for each in inputs.texts_of("tests/exchange/test_calendar.py"))
    yield from (each.encode() for each in inputs.VALUES if each)
    yield (
        b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//x//y//EN\r\nBEGIN:VEVENT\r\nUID:a\r\n"
        b"DTSTART;TZID=Europe/Lisbon:20270502T200000\r\nRRULE:FREQ=DAILY\r\nSUMMARY:x\\, y\r\n"
        b"END:VEVENT\r\nEND:VCALENDAR\r\n"
    )


# Over HTTP.


class ServerFault(Exception):
    """An answer of 500, and what raised it."""


class House:
    """The application over a copy of a small flock; a fresh copy after some writes."""

    MOST_WRITES = 10

    def __init__(self) -> None:
        from quailwright.exchange.household import TOKEN_BYTES, Household
        from quailwright.exchange.sensor_payload import USUAL
        from quailwright.exchange.sensor_settings import KEY_BYTES, Sensors
        from quailwright.journal.store import open_store

        self._folder = _scratch()
        self._whole = self._folder / "whole.sqlite"
        with open_store(str(self._whole), create=True) as store:
            with store.writing() as writer:
                writer.append(FLOCK, NOW)
            household = Household(store)
            household.begin("keeper", "only for this run", NOW)
            self._cookie = "ab" * TOKEN_BYTES
            household.sign_in("keeper", "only for this run", self._cookie, NOW)
            noise = bytes(range(KEY_BYTES))
            key = Sensors(store).add_device("probe", "box", "probe", USUAL, NOW, noise)
        self.device = f"Bearer {key}"
        self._raised: list[BaseException] = []
        logging.getLogger("quailwright").addHandler(_Noting(self._raised))
        logging.getLogger("quailwright").propagate = False
        self._copies = 0
        self._client: Any = None
        self.fresh()

    def fresh(self) -> None:
        """The application over the flock as it was at first."""
        from starlette.testclient import TestClient

        from quailwright.web.app import create_app
        from quailwright.web.guard import SIGNED_IN
        from quailwright.web.home import Settings

        if self._client is not None:
            self._client.__exit__(None, None, None)
            for left in self._folder.glob("flock*"):
                left.unlink()
        self._copies += 1
        flock = self._folder / f"flock{self._copies}.sqlite"
        shutil.copy(self._whole, flock)
        self.app = create_app(Settings(str(flock), lambda: NOW, noise=random.Random(1).randbytes))
        self._client = TestClient(
            self.app, base_url="http://localhost", follow_redirects=False,
            cookies={SIGNED_IN: self._cookie},
        )  # fmt: skip
        self._client.__enter__()
        self.token = str(self._client.get("/api/me").json()["token"])
        self._writes = 0

    def ask(self, method: str, address: str, body: bytes, headers: Mapping[str, str]) -> int:
        """The status of an answer. Raises what the application raised."""
        import httpx2

        try:
            answer = self._client.request(method, address, content=body, headers=dict(headers))
        except (httpx2.InvalidURL, UnicodeError):
            return 400
        if answer.status_code >= 500:
            self.fresh()
            if self._raised:
                raise self._raised.pop()
            raise ServerFault(answer.text[:500])
        if method == "POST" and answer.status_code < 400:
            self._writes += 1
            if self._writes > self.MOST_WRITES:
                self.fresh()
        return int(answer.status_code)

    def text_of(self, page: str) -> str:
        """A page."""
        return str(self._client.get(page).text)


class _Noting(logging.Handler):
    def __init__(self, raised: list[BaseException]) -> None:
        super().__init__()
        self._raised = raised

    def emit(self, record: logging.LogRecord) -> None:
        if record.exc_info and record.exc_info[1] is not None:
            self._raised[:] = [record.exc_info[1]]


def _pages() -> Callable[[bytes], bool]:
    """`GET /page?query`, or `POST /page` with a form below it."""
    house = House()

    def take(data: bytes) -> bool:
        first, _, form = data.partition(b"\n")
        method, _, address = first.decode(errors="replace").partition(" ")
        if not address.startswith("/") or address.startswith("//"):
            return False
        if method == "GET":
            return house.ask("GET", address, b"", {}) < 400
        if method != "POST" or address.startswith(inputs.LEFT_OUT):
            return False
        body = b"token=" + house.token.encode() + b"&" + form
        kind = {"Content-Type": "application/x-www-form-urlencoded"}
        return house.ask("POST", address, body, kind) < 400

    return take


def _pages_seeds() -> Iterator[bytes]:
    house = House()
    yield from inputs.asked_pages(house.text_of)


_CALLS = ("/api/entries", "/api/offers", "/api/ration", "/api/blend",
          "/api/readings?place=box", "/api/plan/accept")  # fmt: skip


def _api() -> Callable[[bytes], bool]:
    """A path of the JSON API on the first line, and the body that is sent there."""
    house = House()

    def take(data: bytes) -> bool:
        path, _, body = data.partition(b"\n")
        address = path.decode(errors="replace")
        if not address.startswith("/api/") or address.partition("?")[0].rstrip("/") == "/api/plan":
            return False
        method = "POST" if body else "GET"
        headers = {"X-Write-Token": house.token}
        return house.ask(method, address, body, headers) < 400

    return take


def _api_seeds() -> Iterator[bytes]:
    for line in inputs.sample_entries():
        yield b"/api/entries\n" + line
    yield b"/api/entries\n[" + b",".join(inputs.sample_entries()[:4]) + b"]"
    for text in inputs.texts_of("tests/web/test_api.py", "tests/web/test_rations.py"):
        if text.startswith(b"/api/"):
            yield text + b"\n"
        elif b"{" in text or b"=" in text:
            yield from (path.encode() + b"\n" + text for path in _CALLS[1:4])
    for text in inputs.briefs():
        yield from (path.encode() + b"\n" + text for path in _CALLS[1:4])
    for text in _readings_seeds():
        yield b"/api/readings?place=box\n" + text


_QUICK = tuple(
    page for page in READ_PAGES
    if not page.startswith(("/outlook", "/plan", "/feed/needs", "/breeding/rotation", "/breeding/keep"))
)  # fmt: skip


def _kept() -> Callable[[bytes], bool]:
    """Entries that are taken must leave every page standing: a few of them are asked for each."""
    house = House()

    def take(data: bytes) -> bool:
        headers = {"X-Write-Token": house.token}
        before = len(house.app.state.home.desk.entries())
        status = house.ask("POST", "/api/entries", data, headers)
        if status >= 400:
            return False
        if len(house.app.state.home.desk.entries()) == before:
            return False
        for page in ("/", *random.Random(data).sample(_QUICK, 2)):
            house.ask("GET", page, b"", {})
        return True

    return take


def _kept_seeds() -> Iterator[bytes]:
    yield from inputs.sample_entries()
    yield b"[" + b",".join(inputs.sample_entries()) + b"]"


def _briefs() -> Iterator[bytes]:
    yield from inputs.briefs()


TARGETS = {
    "journal": Target(_journal_seeds, _journal, ("journal.jsonl", "journal.checks", "journal.moments")),
    "log": Target(_log_seeds, _log, ("cli.log", "exchange.typed", "journal.checks")),
    "readings": Target(_readings_seeds, _readings, ("exchange.readings_csv", "exchange.readings_layout",
                       "exchange.readings_stamps", "exchange.readings_headings")),
    "payload": Target(_payload_seeds, _payload, ("exchange.sensor_payload", "exchange.sensor_guess",
                      "exchange.sensor_settings")),
    "device": Target(_device_seeds, _device, ("web.api_devices", "exchange.sensor_sent",
                     "exchange.sensor_keep")),
    "brief": Target(_briefs, _brief, ("planning.brief", "exchange.plan_asked")),
    "offers": Target(_briefs, _offers, ("planning.offers",)),
    "ration": Target(_briefs, _ration, ("planning.ration_brief", "planning.ration")),
    "blend": Target(_briefs, _blend, ("planning.blend_brief", "planning.blend")),
    "match": Target(_match_seeds, _match, ("exchange.tables_in_match",)),
    "csv": Target(_sheet_text_seeds, _sheet_text, ("exchange.tables_in_grid", "exchange.tables_in_guess")),
    "cells": Target(inputs.grids, _cells, ("exchange.tables_in_cells",
                    "exchange.tables_in_guess", "exchange.tables_in_rows")),
    "parts": Target(_parts_seeds, _book_parts, ("exchange.tables_in_grid", "exchange.tables_in_reader")),
    "book": Target(_book_seeds, _book_bytes, ("exchange.tables_in_grid", "exchange.tables_in_reader")),
    "lid": Target(_lid_seeds, _lid, ("exchange.lid_back",)),
    "week": Target(_week_seeds, _week, ("exchange.paper_back",)),
    "backup": Target(_backup_seeds, _backup, ("journal.backup", "journal.restoring")),
    "zip": Target(_zip_seeds, _zip, ("journal.backup",)),
    "calendar": Target(_calendar_seeds, _calendar, ("exchange.calendar_ics",)),
    "pages": Target(_pages_seeds, _pages, ("web.pages", "web.entering", "web.forms", "web.settings_pages",
                    "web.paper", "web.costs", "web.light", "web.brooding", "exchange.typed")),
    "calls": Target(_api_seeds, _api, ("web.api", "web.api_readings", "exchange.record",
                    "exchange.feed_requested")),
    "kept": Target(_kept_seeds, _kept, ("flock.fold", "exchange.record", "guide.round")),
}  # fmt: skip
"""By the name that scripts/fuzz knows them by."""

IN_A_PROCESS_OF_ITS_OWN = ("parts", "book")

"""Backup and restore: one moment's state, whole or not at all, equal when it is put back."""

import hashlib
import io
import json
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import threading
import time
import zipfile
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import msgspec
import pytest
import sqlalchemy as sa
from hypothesis import given, settings
from tests.flock.journals import journals
from tests.journal.test_store import ENTRIES, WEIGHED, WRITER, append, python
from tests.makers import made

from quailwright.exchange import backups
from quailwright.journal import backup as format_of
from quailwright.journal import drafts, options, people, restoring
from quailwright.journal.entries import Entry, encode
from quailwright.journal.findings import BadInput, FlockUnusable, Withheld
from quailwright.journal.jsonl import parse_lines
from quailwright.journal.migrations import upgrade_within
from quailwright.journal.store import SCHEMA, metadata, open_store

NOW = datetime(2027, 5, 2, 20, 0, tzinfo=UTC)
READINGS = ([1, 60_001, 120_000], [37.5, None, -0.1], [None, 45.123456789, 0.0])


def filled(location: str, *entries: Entry) -> str:
    """A flock with entries, readings, options; gives its location."""
    with open_store(location, create=True) as store:
        append(store, *entries)
        with store.writing() as writer:
            writer.append_readings("box", "", *READINGS)
            writer.append_readings("Käfig 2", "left", *READINGS)
        with store.household(writes=True) as connection:
            options.put(connection, "öffnen", '{"a": "\\u0007"}')
    return location


def backed_up(location: str, target: Path, quick: bool = False) -> Path:
    with open_store(location) as store:
        return backups.back_up(store, target, NOW, quick).path


def restored(path: Path, location: str, replace: bool = False) -> list[Entry]:
    backups.restore(path, location, replace, NOW)
    with open_store(location) as store:
        assert store.damage() == []
        return store.entries()


def everything(location: str) -> dict[str, list[Any]]:
    """Every row of every table, in some order that is always the same."""
    with open_store(location) as store, store.snapshot() as connection:
        return {
            name: sorted(map(repr, connection.execute(sa.select(table))))
            for name, table in metadata.tables.items()
        }


@pytest.fixture(scope="module")
def made_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a small flock, and its backup."""
    folder = tmp_path_factory.mktemp("made once")
    backed_up(filled(str(folder / "home.sqlite"), *ENTRIES, WEIGHED), folder)
    return folder


@pytest.fixture
def small(made_once: Path, tmp_path: Path) -> Path:
    """A backup of a small flock, beside `home.sqlite`."""
    shutil.copytree(made_once, tmp_path, dirs_exist_ok=True)
    return next(tmp_path.glob("*.zip"))


# Equal.


def a_value(column: sa.Column[Any], number: int) -> Any:
    """Something that a column can hold, another for each number."""
    if isinstance(column.type, sa.Boolean):
        return number % 2 == 0
    if isinstance(column.type, sa.Integer):
        return number
    if isinstance(column.type, sa.Float):
        return number / 3
    if isinstance(column.type, sa.LargeBinary):
        return bytes([0, 10, 255, number])
    assert isinstance(column.type, sa.String), column
    return f"{'Zz~äÄ'[number % 5]}{number}"


def test_every_table_comes_along_and_text_is_ordered_alike_everywhere(
    location: str, tmp_path: Path
) -> None:
    with open_store(location, create=True) as store:
        append(store, *ENTRIES)
        with store.household(writes=True) as connection:
            for table in metadata.sorted_tables:
                if table.name == "entry":
                    continue
                for number in range(1, 8):
                    row = {column.name: a_value(column, number) for column in table.columns}
                    holes = [c.name for c in table.columns if c.nullable]
                    if number == 3:
                        row |= dict.fromkeys(holes)
                    connection.execute(table.insert().values(row))
    before = everything(location)
    path = backed_up(location, tmp_path)
    with zipfile.ZipFile(path) as archive:
        parts = {name.removeprefix("tables/").removesuffix(".jsonl") for name in archive.namelist()}
    assert parts == {*metadata.tables, "entries", "manifest.json", "README.txt"}
    assert restored(path, str(tmp_path / "again.sqlite")) == ENTRIES
    # But for the sign-ins, which end.
    assert everything(str(tmp_path / "again.sqlite")) == {**before, "sign_in": []}


def test_sqlite_to_postgresql_to_sqlite_is_equal(postgresql: str, tmp_path: Path) -> None:
    first = filled(str(tmp_path / "home.sqlite"), *ENTRIES)
    one = backed_up(first, tmp_path / "one.zip")
    assert restored(one, postgresql) == ENTRIES
    two = backed_up(postgresql, tmp_path / "two.zip")
    assert restored(two, str(tmp_path / "back.sqlite")) == ENTRIES
    assert everything(str(tmp_path / "back.sqlite")) == everything(first) == everything(postgresql)
    with format_of.open_backup(one) as before, format_of.open_backup(two) as after:
        assert before.manifest.parts == after.manifest.parts
        assert before.manifest.state_sha256 == after.manifest.state_sha256
    with open_store(postgresql) as store:  # numbers go on
        append(store, WEIGHED)
        with store.writing() as writer:
            writer.append_readings("a new place", "", *READINGS)


@settings(max_examples=6)
@given(journal=journals())
def test_any_journal_comes_back_byte_for_byte_and_stands_alike(
    journal: list[Entry], tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("any")
    with open_store(str(folder / "home.sqlite"), create=True) as store:
        append(store, *journal)
        state = backups.state_of(store.entries())
    path = backed_up(str(folder / "home.sqlite"), folder / "one.zip", quick=True)
    back = restored(path, str(folder / "again.sqlite"))
    assert b"".join(map(encode, back)) == b"".join(map(encode, journal))
    assert backups.state_of(back) == state


def test_common_tools_read_it(tmp_path: Path) -> None:
    sound = [*ENTRIES[:2], WEIGHED]
    small = backed_up(filled(str(tmp_path / "home.sqlite"), *sound), tmp_path)
    with zipfile.ZipFile(small) as archive:
        assert archive.testzip() is None
        manifest = json.loads(archive.read("manifest.json"))
        for part in manifest["parts"]:
            text = archive.read(part["file"])
            assert hashlib.sha256(text).hexdigest() == part["sha256"]
            assert len(text) == part["bytes"]
        entries, findings = parse_lines(archive.read("entries.jsonl"))
        readings = [json.loads(line) for line in archive.read("tables/reading.jsonl").splitlines()]
    assert findings == []
    assert [entry for _, entry in entries] == sound
    assert readings[0] == {
        "sensor": 1,
        "at_ms": [1, 60_000, 59_999],
        "temperature_c": READINGS[1],
        "humidity_pct": READINGS[2],
        "stands_for": [None] * 3,
        "mean_c": [None] * 3,
        "mean_pct": [None] * 3,
    }
    assert small.stat().st_mode & 0o777 == 0o600


def test_an_older_schema_is_put_into_that_schema_and_then_migrated(
    small: Path, tmp_path: Path
) -> None:
    engine = sa.create_engine(f"sqlite:///{tmp_path / 'as of 0003.sqlite'}")
    of_0003 = sa.MetaData()
    with engine.begin() as connection:
        upgrade_within(connection, "0003")
        of_0003.reflect(connection)
    engine.dispose()
    texts: dict[str, bytes] = {}

    def of_then(name: str, text: bytes) -> bytes:
        """Lines with no more fields than the table had."""
        fields = of_0003.tables[name].columns.keys()
        rows = [json.loads(line) for line in text.splitlines()]
        return b"".join(
            msgspec.json.encode({field: row[field] for field in row if field in fields}) + b"\n"
            for row in rows
        )

    def as_of_0003(manifest: dict[str, Any]) -> None:
        manifest["schema"] = "0003"
        manifest["parts"] = [part for part in manifest["parts"] if part["table"] in of_0003.tables]
        with zipfile.ZipFile(small) as archive:
            for part in manifest["parts"]:
                if part["table"] in ("sensor", "reading"):
                    text = of_then(part["table"], archive.read(part["file"]))
                    part |= {"bytes": len(text), "sha256": hashlib.sha256(text).hexdigest()}
                    texts[part["file"]] = text

    old = changed(small, tmp_path / "old.zip", as_of_0003, lambda parts: parts.update(texts))
    assert restored(old, str(tmp_path / "new.sqlite")) == [*ENTRIES, WEIGHED]
    there = everything(str(tmp_path / "new.sqlite"))
    assert len(there["reading"]) == 6
    later = set(there) - set(of_0003.tables)
    assert len(later) > 5
    assert all(there[name] == [] for name in later)
    with closing(sqlite3.connect(tmp_path / "new.sqlite")) as raw:
        assert raw.execute("SELECT version_num FROM alembic_version").fetchone() == (SCHEMA,)


def test_a_flock_with_nothing_in_it(location: str, tmp_path: Path) -> None:
    open_store(location, create=True).close()
    path = backed_up(location, tmp_path)
    assert path.name == "quailwright-flock-00000000-2027-05-02T200000Z.zip"
    assert restored(path, str(tmp_path / "again.sqlite")) == []


def test_a_backup_equals_one_moment_while_another_writes(location: str, tmp_path: Path) -> None:
    open_store(location, create=True).close()
    writer = subprocess.Popen(
        python(WRITER, location, "0", "100000"), stdout=subprocess.PIPE, text=True
    )
    try:
        assert writer.stdout is not None
        counts: list[int] = []
        for turn in range(3):
            while int(writer.stdout.readline()[:8], 16) < (counts[-1] if counts else 0):
                pass  # until it has written more than the last backup held
            path = backed_up(location, tmp_path / f"{turn}.zip", quick=turn > 0)
            with format_of.open_backup(path) as backup:
                notes = [int(entry.note) for entry in backup.entries()]
            assert notes == list(range(len(notes)))
            counts.append(len(notes))
    finally:
        writer.kill()
        writer.communicate()
    assert counts == sorted(set(counts))


def test_two_at_once_both_stand(tmp_path: Path) -> None:
    where = filled(str(tmp_path / "home.sqlite"), *ENTRIES)
    folder = tmp_path / "backups"
    folder.mkdir()
    threads = [threading.Thread(target=backed_up, args=(where, folder)) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    left = sorted(path.name for path in folder.iterdir())
    assert len(left) == 3, left
    for name in left:
        assert backups.check(folder / name).restored is not None


# What is no backup, or not a sound one.


def changed(
    small: Path,
    target: Path,
    manifest: Callable[[dict[str, Any]], None] = lambda manifest: None,
    parts: Callable[[dict[str, bytes]], None] = lambda parts: None,
) -> Path:
    """A backup with something else in it; the manifest names every part that it lists."""
    with zipfile.ZipFile(small) as archive:
        texts = {name: archive.read(name) for name in archive.namelist()}
    told = json.loads(texts.pop("manifest.json"))
    names = {part["file"] for part in told["parts"]}
    manifest(told)
    kept = {part["file"] for part in told["parts"]}
    texts = {name: text for name, text in texts.items() if name in kept or name not in names}
    parts(texts)
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in texts.items():
            archive.writestr(name, text)
        archive.writestr("manifest.json", json.dumps(told))
    return target


def agreed(small: Path, target: Path, name: str, text: bytes, rows: int) -> Path:
    """A backup in which another part stands, and its list says so."""

    def say_so(manifest: dict[str, Any]) -> None:
        for part in manifest["parts"]:
            if part["file"] == name:
                part |= {"bytes": len(text), "rows": rows}
                part["sha256"] = hashlib.sha256(text).hexdigest()

    return changed(small, target, say_so, lambda parts: parts.update({name: text}))


def refused(path: Path, tmp_path: Path) -> str:
    """The sentence with which a file is refused; nothing is written."""
    folder = tmp_path / "target"
    folder.mkdir(exist_ok=True)
    with pytest.raises((Withheld, BadInput)) as raised:
        backups.restore(path, str(folder / "new.sqlite"), False, NOW)
    assert {each.name for each in folder.iterdir()} <= {"new.sqlite.caretaker"}
    return raised.value.sentence


def test_any_byte_changed_or_missing_is_found(small: Path, tmp_path: Path) -> None:
    whole, chance = small.read_bytes(), random.Random(20270502)
    bad = tmp_path / "bad.zip"
    found = 0
    for _ in range(25):
        data = bytearray(whole)
        data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
        bad.write_bytes(data)
        try:
            backups.check(bad, quick=True)
        except (Withheld, BadInput):
            found += 1
        else:  # a date, an attribute, the README: nothing of what is restored
            assert backups.check(bad).restored is not None
    assert found > 5
    for size in (0, 1, 100, len(whole) // 2, len(whole) - 1):
        bad.write_bytes(whole[:size])
        assert "is not a backup of quailwright, or its end is missing" in refused(bad, tmp_path)


def test_what_is_no_backup_is_a_sentence(small: Path, tmp_path: Path) -> None:
    foreign = tmp_path / "foreign.zip"
    with zipfile.ZipFile(foreign, "w") as archive:
        archive.writestr("letter.txt", "Dear all")
    assert "is not a backup of quailwright" in refused(foreign, tmp_path)
    assert "There is no file" in refused(tmp_path / "none.zip", tmp_path)
    assert "is a folder" in refused(tmp_path, tmp_path)
    assert "is not a backup of quailwright" in refused(Path("/dev/zero"), tmp_path)
    for told in (b"[]", b"{", b'{"format": "one"}', b"\xff", b" " * 1_000_001):
        with zipfile.ZipFile(foreign, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr("manifest.json", told)
        assert "is not a backup of quailwright" in refused(foreign, tmp_path)


def test_a_list_that_is_not_utf_8_is_a_sentence(small: Path, tmp_path: Path) -> None:
    bad = tmp_path / "bad.zip"
    with zipfile.ZipFile(small) as whole, zipfile.ZipFile(bad, "w") as archive:
        for name in whole.namelist():
            text = whole.read(name)
            if name == "manifest.json":
                text = text.replace(b'"parts"', b'"mark": "\xff", "parts"', 1)
            archive.writestr(name, text)
    assert "its part manifest.json is not what its list says" in refused(bad, tmp_path)


def test_a_list_pressed_in_another_way_is_a_sentence(small: Path, tmp_path: Path) -> None:
    bad = tmp_path / "bad.zip"
    with zipfile.ZipFile(small) as whole, zipfile.ZipFile(bad, "w", zipfile.ZIP_LZMA) as archive:
        for name in whole.namelist():
            archive.writestr(name, whole.read(name))
    assert "is not a backup of quailwright" in refused(bad, tmp_path)


def test_a_number_that_no_process_has_is_left_alone() -> None:
    assert drafts.is_running(10**30)


@pytest.mark.parametrize("newer", [{"schema": "9000"}, {"format": 2}])
def test_a_newer_one_is_refused(small: Path, tmp_path: Path, newer: dict[str, Any]) -> None:
    bad = changed(small, tmp_path / "bad.zip", lambda manifest: manifest.update(newer))
    assert "was made by a newer quailwright" in refused(bad, tmp_path)


def test_parts_that_the_list_does_not_name_are_refused(small: Path, tmp_path: Path) -> None:
    bad = tmp_path / "bad.zip"
    for name in ("../../etc/passwd", "/etc/passwd", "tables/evil.jsonl", "C:\\x"):
        changed(small, bad, parts=lambda parts, name=name: parts.update({name: b"x"}))  # type: ignore[misc]
        assert f"holds a part {name!r} that its list does not name" in refused(bad, tmp_path)
    shutil.copy(small, bad)
    with zipfile.ZipFile(bad, "a") as archive, pytest.warns(UserWarning, match="Duplicate"):
        archive.writestr("entries.jsonl", b"")
    assert "'entries.jsonl' that its list does not name" in refused(bad, tmp_path)

    def elsewhere(manifest: dict[str, Any]) -> None:
        manifest["parts"][1]["file"] = "../evil.jsonl"

    changed(small, bad, elsewhere)
    assert "its part manifest.json is not what" in refused(bad, tmp_path)


def test_a_part_that_is_missing_or_another_is_named(small: Path, tmp_path: Path) -> None:
    bad = tmp_path / "bad.zip"
    changed(small, bad, parts=lambda parts: parts.__delitem__("tables/sensor.jsonl"))
    assert "its part tables/sensor.jsonl is not" in refused(bad, tmp_path)
    changed(small, bad, parts=lambda parts: parts.update({"tables/sensor.jsonl": b"{}\n"}))
    assert "its part tables/sensor.jsonl is not" in refused(bad, tmp_path)
    bomb = io.BytesIO(b"[" * 10_000_000).getvalue()
    changed(small, bad, parts=lambda parts: parts.update({"entries.jsonl": bomb}))
    assert "its part entries.jsonl is not" in refused(bad, tmp_path)
    agreed(small, bad, "entries.jsonl", bomb, 1)
    assert "its part entries.jsonl is not" in refused(bad, tmp_path)


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("entries.jsonl", b'{"kind":"care"}\n' * 4),
        ("tables/entry.jsonl", b"{}\n" * 4),
        ("tables/sensor.jsonl", b'{"id":1,"instrument":"","place":"box","more":1}\n'),
        ("tables/sensor.jsonl", b'{"id":99999999999999999999,"instrument":"","place":"box"}\n'),
        ("tables/sensor.jsonl", b'{"id":1,"instrument":"","place":"box"}\n' * 2),
        ("tables/sensor.jsonl", b'{"id":2,"instrument":"","place":"box"}\n{"id":1}\n'),
        ("tables/sensor.jsonl", b'{"id":1,"instrument":"","place":"b\\u0000x"}\n'[:-1]),
        ("tables/reading.jsonl", b'{"sensor":1,"at_ms":[1,2],"temperature_c":[1.0],'
                                 b'"humidity_pct":[null]}\n'),
        ("tables/reading.jsonl", b'{"sensor":1,"at_ms":[9223372036854775807,9],'
                                 b'"temperature_c":[1.0,2.0],"humidity_pct":[null,null]}\n'),
        ("tables/reading.jsonl", b"not json\n"),
        ("tables/reading.jsonl", b"[" * 5000 + b"\n"),
        ("tables/person.jsonl", b'{"id":1,"name":"x","role":"keeper"}\n'),
    ],
)  # fmt: skip
def test_rows_that_cannot_be_are_a_sentence_though_checksums_agree(
    small: Path, tmp_path: Path, name: str, text: bytes
) -> None:
    bad = agreed(small, tmp_path / "bad.zip", name, text, text.count(b"\n"))
    sentence = refused(bad, tmp_path)
    assert name in sentence or "entries.jsonl" in sentence
    assert "is damaged" in sentence or "is not equal" in sentence


def test_a_damaged_journal_is_not_backed_up(tmp_path: Path) -> None:
    where = filled(str(tmp_path / "home.sqlite"), *ENTRIES)
    with closing(sqlite3.connect(where)) as raw, raw:
        raw.execute("DROP TRIGGER entry_no_update")
        raw.execute("UPDATE entry SET crc32 = 1 WHERE arrival = 2")
    with open_store(where) as store, pytest.raises(FlockUnusable, match="damaged entry"):
        backups.back_up(store, tmp_path, NOW)
    assert list(tmp_path.glob("*.zip")) == []
    assert list(tmp_path.glob(".quailwright*")) == []


# Where it goes.


def test_a_file_that_is_no_backup_is_left_alone(small: Path, tmp_path: Path) -> None:
    where = str(tmp_path / "home.sqlite")
    with open_store(where) as store:
        with pytest.raises(BadInput, match="is no backup: it is left as it is"):
            backups.back_up(store, Path(where), NOW)
        again = backups.back_up(store, small, NOW)
        beside = backups.back_up(store, tmp_path, NOW)
        with pytest.raises(BadInput, match=r"No backup was made: .* cannot be written"):
            backups.back_up(store, tmp_path / "no such folder" / "x.zip", NOW)
    assert (again.path, beside.path.stem) == (small, f"{small.stem}-2")


def test_what_holds_a_record_is_put_aside_or_left(small: Path, tmp_path: Path) -> None:
    where = tmp_path / "other.sqlite"
    other = made("care", "2027-05-02", task="water")
    with open_store(str(where), create=True) as store:
        append(store, other)
    with pytest.raises(FlockUnusable, match="holds a record already"):
        backups.restore(small, str(where), False, NOW)
    done = backups.restore(small, str(where), True, NOW)
    assert done.aside == f"{where}.before-restore-2027-05-02T200000Z"
    with open_store(str(where)) as store, open_store(done.aside) as aside:
        assert store.entries() == [*ENTRIES, WEIGHED]
        assert aside.entries() == [other]
    second = backups.restore(small, str(where), True, NOW)
    assert second.aside == f"{done.aside}-2"


def test_a_log_left_by_a_kill_goes_with_its_own_file(small: Path, tmp_path: Path) -> None:
    where, other = tmp_path / "other.sqlite", made("care", "2027-05-02", task="water")
    open_store(str(where), create=True).close()
    program = f"""
import os
from tests.makers import made
from tests.journal.test_store import NOW
from quailwright.journal.store import open_store
with open_store({str(where)!r}) as store:
    with store.writing() as writer:
        writer.append([made("care", "2027-05-02", task="water", id={other.id!r})], NOW)
    os._exit(0)
"""
    subprocess.run(python(program), check=True, cwd=Path(__file__).parents[2], timeout=60)
    assert where.with_name("other.sqlite-wal").stat().st_size > 0
    done = backups.restore(small, str(where), True, NOW)
    with open_store(str(where)) as store, open_store(done.aside) as aside:
        assert store.entries() == [*ENTRIES, WEIGHED]
        assert aside.entries() == [other]


def test_a_damaged_file_is_put_aside_as_it_is(small: Path, tmp_path: Path) -> None:
    where = tmp_path / "other.sqlite"
    where.write_bytes(b"\x00" * 5000)
    where.with_name("other.sqlite-wal").write_bytes(b"old log")
    with pytest.raises(FlockUnusable, match="is damaged or not a flock file; nothing"):
        backups.restore(small, str(where), False, NOW)
    done = backups.restore(small, str(where), True, NOW)
    assert Path(done.aside).read_bytes() == b"\x00" * 5000
    assert Path(f"{done.aside}-wal").read_bytes() == b"old log"
    with open_store(str(where)) as store:
        assert store.entries() == [*ENTRIES, WEIGHED]


def test_what_a_killed_restore_left_is_cleared_by_the_next(small: Path, tmp_path: Path) -> None:
    where, dead = tmp_path / "home.sqlite", 2**22 + 1  # more than the number of any process
    second = tmp_path / f".home.sqlite.{dead}-2027-05-01T000000Z.aside"
    second.hardlink_to(where)
    (tmp_path / f".home.sqlite.{dead}-x.restoring").write_text("half")
    replaced = tmp_path / f".home.sqlite.{dead}-2027-05-01T000001Z.aside"
    replaced.write_text("the old one, by its only name")
    running = tmp_path / f".home.sqlite.{os.getpid()}-x.restoring"
    running.write_text("another's")
    backups.restore(small, str(where), True, NOW)
    assert list(tmp_path.glob(".*")) == [running]
    kept = tmp_path / "home.sqlite.before-restore-2027-05-01T000001Z"
    assert kept.read_text() == "the old one, by its only name"


def test_a_file_system_without_links_gets_a_copy(
    small: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_links(self: Path, target: Path) -> None:
        raise PermissionError(1, "Operation not permitted")

    where = tmp_path / "home.sqlite"
    monkeypatch.setattr(Path, "hardlink_to", no_links)
    aside = Path(backups.restore(small, str(where), True, NOW).aside)
    assert aside.stat().st_mode & 0o777 == 0o600
    with open_store(str(aside)) as store:
        assert store.entries() == [*ENTRIES, WEIGHED]
    assert list(tmp_path.glob(".*")) == []


def test_a_flock_in_use_is_left_alone(small: Path, tmp_path: Path) -> None:
    where = str(tmp_path / "home.sqlite")
    with open_store(where) as store, store.sole_caretaker() as mine:
        assert mine()
        with pytest.raises(FlockUnusable, match="is being served or in use"):
            backups.restore(small, where, True, NOW)
    with closing(sqlite3.connect(where)) as raw:
        raw.execute("BEGIN")
        raw.execute("SELECT * FROM entry").fetchone()
        with pytest.raises(FlockUnusable, match="is being served or in use"):
            backups.restore(small, where, True, NOW)
    assert len(restored(small, where, replace=True)) == 4


def test_sign_ins_of_the_time_of_the_backup_end_where_that_is_asked(
    location: str, tmp_path: Path
) -> None:
    """One that was ended since, as of a phone that was lost, must not hold again."""
    home = filled(str(tmp_path / "first.sqlite"), *ENTRIES)
    with open_store(home) as store, store.household(writes=True) as connection:
        people.add(connection, "Bob", "keeper", "hash", NOW)
        people.begin(connection, 1, "token", NOW)
    before, path = everything(home), backed_up(home, tmp_path / "one.zip", quick=True)
    for ends in (False, True):
        with format_of.open_backup(path) as backup:
            restoring.restore(backup, location, True, NOW, backups.state_of, sign_ins_end=ends)
        there = everything(location)
        assert len(there["sign_in"]) == 1 - ends
        assert {**there, "sign_in": before["sign_in"]} == before


def test_a_database_is_put_aside_too(small: Path, postgresql: str) -> None:
    open_store(postgresql, create=True).close()
    assert backups.restore(small, postgresql, False, NOW).aside == ""  # an empty flock
    with open_store(postgresql) as store:
        append(store, made("care", "2027-05-02", task="water"))
        before = store.entries()
    with pytest.raises(FlockUnusable, match="holds a record already"):
        backups.restore(small, postgresql, False, NOW)
    with open_store(postgresql) as store:
        assert store.entries() == before
        with store.sole_caretaker() as mine:
            assert mine()
            with pytest.raises(FlockUnusable, match="is being served or in use"):
                backups.restore(small, postgresql, True, NOW)
    done = backups.restore(small, postgresql, True, NOW)
    assert done.aside == "schema before_restore_20270502_200000"
    with open_store(postgresql) as store:
        assert store.entries() == [*ENTRIES, WEIGHED]
        with (
            pytest.raises(FlockUnusable, match="never changed or deleted"),
            store.snapshot() as connection,
        ):
            connection.execute(sa.text("DELETE FROM entry"))
        with store.snapshot() as connection:
            kept = "SELECT count(*) FROM before_restore_20270502_200000.entry"
            assert connection.execute(sa.text(kept)).scalar() == len(before)


# Failing machines.


def killed(work: Callable[[], object], after_s: float) -> None:
    """Does the work in a process of its own, and kills it after so long."""
    child = os.fork()
    if child == 0:
        try:
            work()
        finally:
            os._exit(0)
    time.sleep(after_s)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)


def test_killed_backups_leave_whole_ones_only(tmp_path: Path) -> None:
    where, folder = filled(str(tmp_path / "home.sqlite"), *ENTRIES), tmp_path / "backups"
    folder.mkdir()
    chance = random.Random(20270502)
    for _ in range(12):
        killed(lambda: backed_up(where, folder), chance.uniform(0, 0.15))
        for path in folder.glob("*.zip"):
            backups.check(path, quick=True)
    backed_up(where, folder)
    assert [path for path in folder.iterdir() if path.suffix != ".zip"] == []


def test_a_killed_restore_leaves_the_old_or_the_new(small: Path, tmp_path: Path) -> None:
    where = tmp_path / "other" / "home.sqlite"
    old = made("care", "2027-05-02", task="water")
    with open_store(str(tmp_path / "old.sqlite"), create=True) as store:
        append(store, old)
    chance = random.Random(20270502)
    stood = []
    for _ in range(12):
        shutil.rmtree(where.parent, ignore_errors=True)
        where.parent.mkdir()
        shutil.copy(tmp_path / "old.sqlite", where)
        killed(lambda: backups.restore(small, str(where), True, NOW), chance.uniform(0, 0.2))
        with open_store(str(where)) as store:
            assert store.damage() == []
            stood.append(store.entries())
    assert all(one in ([old], [*ENTRIES, WEIGHED]) for one in stood)
    backups.restore(small, str(where), True, NOW)
    assert list(where.parent.glob(".*restoring*")) == []


FULL = """
import resource, sys
from datetime import UTC, datetime
from pathlib import Path
from quailwright.exchange import backups
from quailwright.journal.findings import QuailwrightError
from quailwright.journal.store import open_store
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[3]),) * 2)
try:
    if sys.argv[4] == "backup":
        with open_store(sys.argv[1]) as store:
            backups.back_up(store, Path(sys.argv[2]), datetime.now(UTC))
    else:
        backups.restore(Path(sys.argv[1]), sys.argv[2], True, datetime.now(UTC))
except QuailwrightError as error:
    print(error.exit_code, error.sentence)
"""


@pytest.mark.parametrize("room", ["1000", "60000"])
def test_a_full_disk_leaves_no_backup(small: Path, tmp_path: Path, room: str) -> None:
    folder = tmp_path / "backups"
    folder.mkdir()
    done = subprocess.run(
        python(FULL, str(tmp_path / "home.sqlite"), str(folder), room, "backup"),
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert done.stderr == ""
    assert done.stdout[:2] in ("1 ", "2 ", "3 ")
    assert list(folder.iterdir()) == []


def test_a_full_disk_leaves_the_flock_as_it_was(small: Path, tmp_path: Path) -> None:
    where = tmp_path / "other.sqlite"
    with open_store(str(where), create=True) as store:
        append(store, WEIGHED)
    done = subprocess.run(
        python(FULL, str(small), str(where), "60000", "restore"),
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert done.stderr == ""
    assert done.stdout[:2] in ("1 ", "3 ")
    with open_store(str(where)) as store:
        assert store.entries() == [WEIGHED]
    assert [path.name for path in tmp_path.glob(".*")] == []


def test_a_folder_that_may_not_be_written_is_a_sentence(tmp_path: Path) -> None:
    where, folder = filled(str(tmp_path / "home.sqlite"), *ENTRIES), tmp_path / "backups"
    folder.write_text("a file where a folder was")
    with open_store(where) as store, pytest.raises(BadInput, match="is no backup"):
        backups.back_up(store, folder, NOW)
    if os.getuid() != 0:
        folder.unlink()
        folder.mkdir(mode=0o500)
        with open_store(where) as store, pytest.raises(BadInput, match="cannot be written"):
            backups.back_up(store, folder, NOW)


def test_a_folder_that_vanishes_midway_is_a_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    where, folder = filled(str(tmp_path / "home.sqlite"), *ENTRIES), tmp_path / "backups"
    folder.mkdir()
    proven = backups._proven

    def gone(draft: Path, quick: bool) -> tuple[bool, str]:
        found = proven(draft, quick)
        shutil.rmtree(folder)
        return found

    monkeypatch.setattr(backups, "_proven", gone)
    with open_store(where) as store, pytest.raises(BadInput, match="No backup was made"):
        backups.back_up(store, folder, NOW)
    assert not folder.exists()


def test_no_room_to_restore_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    where = filled(str(tmp_path / "home.sqlite"), *ENTRIES)
    monkeypatch.setattr(shutil, "disk_usage", lambda folder: shutil._ntuple_diskusage(9, 9, 9))
    with open_store(where) as store:
        done = backups.back_up(store, tmp_path, NOW)
    assert (done.whole, done.why_not) == (
        False,
        "There was no room to restore it and compare.",
    )

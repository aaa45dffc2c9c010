"""What can be read of a damaged flock file: every entry on a page that is whole, and no other."""

import random
import subprocess
from pathlib import Path

import psycopg
import pytest
from tests.journal.test_store import append, python
from tests.makers import made

from quailwright.exchange.record import salvage_file
from quailwright.journal.damage import Damaged
from quailwright.journal.entries import Entry, encode
from quailwright.journal.findings import FlockUnusable
from quailwright.journal.salvage import salvage
from quailwright.journal.store import open_store

PAGE = 4096
SENT = [
    made("care", "2027-05-02", task="water", note="ä" * (1900 if n % 7 == 0 else n % 90))
    for n in range(1200)
]


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A flock file of many pages: some rows go over several, and the tree has several levels."""
    path = tmp_path_factory.mktemp("salvage") / "home.sqlite"
    with open_store(str(path), create=True) as store:
        append(store, *SENT)
    return path


def found(path: Path) -> tuple[list[Entry], int]:
    before = path.read_bytes()
    salvaged = salvage(path)
    assert path.read_bytes() == before
    assert [body for _, body in salvaged.entries] == [encode(e) for e, _ in salvaged.entries]
    return [entry for entry, _ in salvaged.entries], salvaged.missing


def test_a_whole_file_is_read_whole(whole: Path) -> None:
    assert found(whole) == (SENT, 0)


def test_of_broken_pages_only_their_entries_are_lost(whole: Path, tmp_path: Path) -> None:
    chance, bad = random.Random(20270502), tmp_path / "bad.sqlite"
    pages = whole.stat().st_size // PAGE
    for count in (1, 3, 10):
        data = bytearray(whole.read_bytes())
        for page in chance.sample(range(pages), count):
            data[page * PAGE : (page + 1) * PAGE] = chance.randbytes(PAGE)
        bad.write_bytes(data)
        entries, missing = found(bad)
        assert [entry for entry in SENT if entry in entries] == entries
        assert len(entries) + missing == len(SENT)
        assert missing <= 35 * count


def test_without_its_first_page_or_its_tree_all_entries_are_read(
    whole: Path, tmp_path: Path
) -> None:
    data, bad = bytearray(whole.read_bytes()), tmp_path / "bad.sqlite"
    data[:PAGE] = bytes(PAGE)
    inner = [n for n in range(1, len(data) // PAGE) if data[n * PAGE] in (2, 5)]
    assert inner
    for page in inner:
        data[page * PAGE : (page + 1) * PAGE] = bytes(PAGE)
    bad.write_bytes(data)
    assert found(bad) == (SENT, 0)


def test_of_a_cut_file_the_beginning_is_read(whole: Path, tmp_path: Path) -> None:
    bad, data = tmp_path / "bad.sqlite", whole.read_bytes()
    for size in (0, 10, 5000, len(data) // 2, len(data) - 1):
        bad.write_bytes(data[:size])
        entries, missing = found(bad)
        assert entries == [entry for entry in SENT if entry in entries]
        assert missing == 0 or len(entries) + missing <= len(SENT)
        if size == len(data) // 2:
            assert len(entries) > 400


def test_noise_gives_no_entry_that_was_not_sent(whole: Path, tmp_path: Path) -> None:
    chance, bad = random.Random(7), tmp_path / "bad.sqlite"
    for _ in range(10):
        data = bytearray(whole.read_bytes())
        for _ in range(500):
            data[chance.randrange(len(data))] = chance.randrange(256)
        bad.write_bytes(data)
        entries, _ = found(bad)
        assert set(entries) <= set(SENT)
    bad.write_bytes(chance.randbytes(300_000))
    assert found(bad) == ([], 0)


def test_what_stands_in_the_log_is_read_too(tmp_path: Path) -> None:
    where = tmp_path / "home.sqlite"
    program = f"""
import os, pickle
from datetime import UTC, datetime
from quailwright.journal.entries import Care
from quailwright.journal.store import open_store
with open_store({str(where)!r}, create=True) as store:
    for n in range(40):
        with store.writing() as writer:
            entry = Care(id=f"{{n:08x}}-0000-4000-8000-{{n:012x}}", at="2027-05-02", task="water",
                         note="x" * (1990 if n % 3 else 5))
            writer.append([entry], datetime.now(UTC))
    os._exit(0)
"""
    subprocess.run(python(program), check=True, timeout=60)
    assert where.with_name("home.sqlite-wal").stat().st_size > 100_000
    entries, missing = found(where)
    assert (len(entries), missing) == (40, 0)


def test_a_file_that_is_not_there_is_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(FlockUnusable, match="cannot be read: No such file"):
        salvage(tmp_path / "none.sqlite")


def test_a_flock_in_a_database_gives_every_row_that_holds(postgresql: str, tmp_path: Path) -> None:
    entries = [made("care", "2027-05-02", task="water", note=str(n)) for n in range(5)]
    with open_store(postgresql, create=True) as store:
        append(store, *entries)
    with psycopg.connect(postgresql) as raw:
        raw.execute("ALTER TABLE entry DISABLE TRIGGER ALL")
        raw.execute("UPDATE entry SET body = '{}' WHERE id = %s", (entries[2].id,))
    with open_store(postgresql) as store, pytest.raises(Damaged, match="journal salvage"):
        store.entries()
    found = salvage_file(postgresql, tmp_path / "rescued.jsonl")
    assert [entry for entry, _ in found.entries] == [*entries[:2], *entries[3:]]
    assert found.missing == 1
    assert len((tmp_path / "rescued.jsonl").read_text().splitlines()) == 4

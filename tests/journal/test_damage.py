"""Damage to a flock file is noticed when it is opened or read, and nothing is written on it."""

import os
import random
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing, suppress
from datetime import UTC, datetime
from pathlib import Path

import pytest
from tests.makers import made

from quailwright.exchange import backups
from quailwright.journal.damage import NOTE, Damaged, Noted, noted
from quailwright.journal.entries import Entry, encode
from quailwright.journal.findings import FlockUnusable
from quailwright.journal.salvage import salvage
from quailwright.journal.store import Store, open_store

NOW = datetime(2027, 5, 2, 20, 0, tzinfo=UTC)
PAGE = 4096
ENTRIES = [made("care", "2027-05-02", task="water", note="x" * (n % 150)) for n in range(150)]
MORE = [made("care", "2027-05-03", task="wash", note="y" * 400) for _ in range(20)]


def append(path: Path, *entries: Entry) -> None:
    with open_store(str(path), create=True) as store:
        append_to(store, *entries)


def append_to(store: Store, *entries: Entry) -> None:
    with store.writing() as writer:
        writer.append(entries, NOW)


@pytest.fixture(scope="module")
def made_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("damage") / "flock.sqlite"
    append(path, *ENTRIES)
    return path


@pytest.fixture
def path(made_once: Path, tmp_path: Path) -> Path:
    """A flock file of some pages, with the note beside it."""
    for end in ("", NOTE):
        shutil.copy(f"{made_once}{end}", tmp_path / f"flock.sqlite{end}")
    return tmp_path / "flock.sqlite"


def killed_after(path: Path, entries: list[Entry]) -> None:
    """Appends entries one by one in a process that ends without closing the file."""
    child = os.fork()
    if child == 0:
        code = 1
        try:
            store = open_store(str(path), create=True)
            for entry in entries:
                with store.writing() as writer:
                    writer.append([entry], NOW)
            code = 0
        finally:
            os._exit(code)
    assert os.waitpid(child, 0)[1] == 0


@pytest.fixture
def live(path: Path) -> Path:
    """The same, with entries that stand in the write-ahead log alone, as after a kill."""
    killed_after(path, MORE)
    assert path.with_name("flock.sqlite-wal").stat().st_size > PAGE
    return path


def refused(path: Path) -> str:
    """What reading and writing say; neither changes the file or its log."""
    ends = ("", "-wal")

    def files() -> list[bytes]:
        beside = [path.with_name(path.name + end) for end in ends]
        return [one.read_bytes() if one.exists() else b"" for one in beside]

    before, said = files(), []
    for _ in range(2):
        with pytest.raises(Damaged) as error, open_store(str(path)) as store:
            store.entries()
        said.append(error.value.sentence)
    with suppress(Damaged), open_store(str(path)) as store:
        with pytest.raises(Damaged):
            store.check()
        assert store.damaged
        with pytest.raises(Damaged):
            append_to(store, made("care", "2027-05-04", task="water"))
    assert files() == before
    assert said[0] == said[1]
    return said[0]


def pages(path: Path, change: Callable[[list[bytes]], None]) -> None:
    data = path.read_bytes()
    each = [data[n : n + PAGE] for n in range(0, len(data), PAGE)]
    change(each)
    path.write_bytes(b"".join(each))


def leaves(each: list[bytes]) -> list[int]:
    """The pages that hold nothing but entries."""
    return [n for n, page in enumerate(each) if page[0] == 13 and page.count(b'"kind":"care"') > 2]


def test_the_sentence_names_file_and_way_back(path: Path) -> None:
    def zero(each: list[bytes]) -> None:
        each[leaves(each)[1]] = bytes(PAGE)

    pages(path, zero)
    said = refused(path)
    assert said.startswith(f"{path} is damaged: ")
    steps = [
        "end `quailwright serve`",
        f"`quailwright journal salvage rescued.jsonl --flock {path}`",
        f"`quailwright restore LAST_BACKUP.zip --replace --flock {path}`",
        f"`quailwright journal import rescued.jsonl --as-found --flock {path}`",
    ]
    at = [said.index(step) for step in steps]
    assert at == sorted(at)


def test_a_beginning_that_is_gone_is_damage_of_a_flock_file(path: Path) -> None:
    def zero(each: list[bytes]) -> None:
        each[0] = bytes(PAGE)

    pages(path, zero)
    assert refused(path).startswith(f"{path} is damaged: its beginning cannot be read. ")
    assert len(salvage(path).entries) == len(ENTRIES)
    path.with_name(f"{path.name}{NOTE}").unlink()  # then it can be a file of anything
    with pytest.raises(FlockUnusable, match="is not a flock file"):
        open_store(str(path))


def test_one_bit_of_an_entry(path: Path) -> None:
    data = bytearray(path.read_bytes())
    body = encode(ENTRIES[70])
    data[data.index(body) + len(body) // 2] ^= 4
    path.write_bytes(data)
    assert f"entry {ENTRIES[70].id} is not as it was written." in refused(path)


def test_pages_swapped_or_doubled(path: Path) -> None:
    whole = path.read_bytes()

    def swap(each: list[bytes]) -> None:
        a, b = leaves(each)[1:3]
        each[a], each[b] = each[b], each[a]

    def double(each: list[bytes]) -> None:
        a, b = leaves(each)[1:3]
        each[a] = each[b]

    for change in (swap, double):
        path.write_bytes(whole)
        pages(path, change)
        refused(path)


def test_a_page_of_older_days(path: Path, tmp_path: Path) -> None:
    """A page that is sound in itself, and lacks the entries that came since."""
    old = tmp_path / "old.sqlite"
    shutil.copy(path, old)
    append(path, *MORE[:2])
    before, data = old.read_bytes(), path.read_bytes()
    last = max(n for n in leaves([before[n : n + PAGE] for n in range(0, len(before), PAGE)])
               if before[n * PAGE : (n + 1) * PAGE] != data[n * PAGE : (n + 1) * PAGE])  # fmt: skip
    pages(path, lambda each: each.__setitem__(last, before[last * PAGE : (last + 1) * PAGE]))
    path.with_name(path.name + NOTE).unlink()
    assert "not all of its entries can be found in it" in refused(path)


@pytest.mark.parametrize("left", [1, PAGE, 3 * PAGE, -PAGE, -1, -100])
def test_a_file_that_was_cut(path: Path, left: int) -> None:
    data = path.read_bytes()
    path.write_bytes(data[:left])
    with pytest.raises(FlockUnusable) as error, open_store(str(path)) as store:
        store.entries()
    assert str(path) in error.value.sentence
    assert path.read_bytes() == data[:left]


def test_an_emptied_file(path: Path) -> None:
    path.write_bytes(b"")
    assert "next to nothing of it is left" in refused(path)


def test_a_log_that_was_lost_cut_or_of_another_file(live: Path, tmp_path: Path) -> None:
    log, whole = live.with_name("flock.sqlite-wal"), {}
    for end in ("", "-wal", "-shm", NOTE):
        whole[end] = live.with_name(live.name + end).read_bytes()

    def anew() -> None:
        for end, data in whole.items():
            live.with_name(live.name + end).write_bytes(data)

    log.unlink()
    assert "its write-ahead log was lost" in refused(live)
    anew()
    log.write_bytes(whole["-wal"][: len(whole["-wal"]) // 2])
    assert "its write-ahead log was lost" in refused(live)
    assert len(salvage(live).entries) > len(ENTRIES)

    other = tmp_path / "other.sqlite"
    others = [made("care", "2027-05-03", task="wash") for _ in range(50)]
    killed_after(other, others)
    anew()
    shutil.copy(f"{other}-wal", log)
    refused(live)
    assert [entry for entry, _ in salvage(live).entries] == ENTRIES

    anew()
    with open_store(str(live)) as store:
        assert store.entries() == [*ENTRIES, *MORE]


def test_an_older_copy_in_its_place(path: Path, tmp_path: Path) -> None:
    shutil.copy(path, tmp_path / "older")
    append(path, *MORE)
    assert noted(path) == Noted(len(ENTRIES) + len(MORE), MORE[-1].id)
    shutil.copy(tmp_path / "older", path)
    said = refused(path)
    assert f"if you did that on purpose, delete {path}{NOTE}" in said
    path.with_name(path.name + NOTE).unlink()
    with open_store(str(path)) as store:
        assert store.entries() == ENTRIES


def test_a_file_that_is_gone_is_not_begun_anew(path: Path) -> None:
    path.unlink()
    with pytest.raises(FlockUnusable, match="is not there any more: it held 150 entries"):
        open_store(str(path), create=True)
    assert not path.exists()


def test_a_note_that_cannot_be_read_harms_nothing(path: Path) -> None:
    for text in (b"", b"\xff\xff", b"12", b"x y\n"):
        path.with_name(path.name + NOTE).write_bytes(text)
        with open_store(str(path)) as store:
            assert store.entries() == ENTRIES


def test_damage_elsewhere_ends_writing_too(path: Path) -> None:
    with open_store(str(path)) as store, store.writing() as writer:
        writer.append_readings("pen", "", list(range(0, 90_000_000, 60_000)), [20.5] * 1500,
                               [None] * 1500)  # fmt: skip
    with closing(sqlite3.connect(path)) as raw:
        (root,) = raw.execute(
            "SELECT rootpage FROM sqlite_master WHERE name = 'reading'"
        ).fetchone()
    pages(path, lambda each: each.__setitem__(root - 1, bytes(PAGE)))
    before = path.read_bytes()
    with open_store(str(path)) as store:
        assert store.entries() == ENTRIES
        with pytest.raises(Damaged), store.writing() as writer:
            writer.append(MORE, NOW)
    assert path.read_bytes() == before


def test_random_damage_never_gives_other_entries(path: Path) -> None:
    chance, whole = random.Random(20270502), path.read_bytes()
    for _ in range(25):
        data = bytearray(whole)
        for _ in range(chance.choice([1, 5, 40])):
            data[chance.randrange(len(data))] = chance.randrange(256)
        path.write_bytes(data)
        said, read = "", ENTRIES
        try:
            with open_store(str(path)) as store:
                read = store.entries()
        except FlockUnusable as error:
            said = error.sentence
        assert read == ENTRIES
        assert not said or str(path) in said


# Another file in its place, while it is open.


def test_another_file_is_told_once_and_then_used(live: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.sqlite"
    append(other, *ENTRIES[:3])
    one = made("care", "2027-05-05", task="feed")
    with open_store(str(live)) as store:
        assert len(store.entries()) == len(ENTRIES) + len(MORE)
        other.replace(live)
        with pytest.raises(FlockUnusable, match="Another file was put in the place"):
            append_to(store, one)
        assert store.entries() == ENTRIES[:3]
        with store.writing() as writer:
            writer.append([one], NOW)
    with open_store(str(live)) as store:
        assert store.entries() == [*ENTRIES[:3], one]
    aside = [each.name for each in tmp_path.glob("flock.sqlite.replaced-*-wal")]
    assert len(aside) == 1


def test_a_file_that_was_moved_away_is_said_and_not_made_anew(path: Path) -> None:
    with open_store(str(path)) as store:
        store.entries()
        path.rename(path.with_name("away"))
        for _ in range(2):
            with pytest.raises(FlockUnusable, match="is not there any more"):
                store.entries()
        assert not path.exists()
        path.with_name("away").rename(path)
        assert store.entries() == ENTRIES


def test_names_that_cannot_be_read_do_not_stop_the_way_back(path: Path, tmp_path: Path) -> None:
    """The driver cannot say what is wrong with a schema that is no UTF-8."""
    with open_store(str(path)) as store:
        backup = backups.back_up(store, tmp_path / "last.zip", NOW).path
    data = path.read_bytes()
    data = data.replace(b"tableentryentry", b"tableent\xf1yentry", 1)
    path.write_bytes(data.replace(b"CREATE TABLE entry", b"CREATF TABLE entry", 1))
    refused(path)
    assert backups.restore(backup, str(path), True, NOW).entries == len(ENTRIES)

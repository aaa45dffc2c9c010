"""A flock moves from a file to a database and back: all of it, once, and to one place."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa
from tests.journal.test_backup import everything, filled
from tests.journal.test_store import ENTRIES, WEIGHED, append

from quailwright.exchange.backups import back_up, state_of
from quailwright.exchange.household import Household
from quailwright.exchange.moves import move
from quailwright.journal import devices, moving, options
from quailwright.journal.findings import BadInput, FlockUnusable
from quailwright.journal.flocks import open_flocks
from quailwright.journal.store import open_store

NOW = datetime(2027, 5, 2, 20, 0, tzinfo=UTC)
PASSPHRASE = "three words and a quail"


@pytest.fixture
def home(tmp_path: Path) -> str:
    """A flock file with entries, readings, a person, a device and a setting."""
    location = filled(str(tmp_path / "home.sqlite"), *ENTRIES)
    with open_store(location) as store:
        Household(store).begin("Ann", PASSPHRASE, NOW)
        with store.household(writes=True) as connection:
            devices.add_device(connection, "shed", "f" * 64, "shed", "probe", "{}", NOW)
            options.put(connection, "backup", '{"folder": "/media"}')
        with store.writing() as writer:
            at = [1_800_000_000_000 + 60_000 * n for n in range(3000)]
            writer.append_readings("shed", "probe", at, [20.5] * 3000, [None] * 3000)
    return location


def test_all_of_a_flock_moves_to_a_database_and_back(
    home: str, postgresql: str, tmp_path: Path
) -> None:
    creek, back = f"{postgresql}&flock=creek", str(tmp_path / "back.sqlite")
    before = everything(home)
    moved = move(home, creek, NOW)
    assert moved.entries == len(ENTRIES)
    assert moved.readings == len(before["reading"]) > 3000
    assert everything(creek) == before == everything(home)
    with open_store(creek) as store, open_store(home) as left:
        assert state_of(store.entries()) == state_of(left.entries())
        person = Household(store).sign_in("Ann", PASSPHRASE, "a token", NOW)
        assert person is not None
        assert Household(store).signed_in("a token", NOW + timedelta(days=1)) == person
        append(store, WEIGHED)  # numbers go on
    there = everything(creek)
    move(creek, back, NOW)
    assert everything(back) == there == everything(creek)
    with open_flocks(postgresql) as flocks:
        (told,) = flocks.told()
        assert told[:3] == ("creek", len(ENTRIES) + 1, "2027-05-02T20:00:00+00:00")
        assert told.moved


def test_where_it_came_from_is_read_and_not_written(
    home: str, location: str, tmp_path: Path
) -> None:
    """From a file, and from a database."""
    if "://" in location:
        move(home, location, NOW)
        home = location
    to = tmp_path / "it's moved 100%.sqlite"
    move(home, str(to), NOW)
    with open_store(home) as store:
        said = f"has moved to {to}. It can still be read; what is new is written there."
        with pytest.raises(FlockUnusable) as refused:
            append(store, WEIGHED)
        assert refused.value.sentence.endswith(said)
        with pytest.raises(FlockUnusable, match="has moved to"), store.writing() as writer:
            writer.append_readings("shed", "probe", [5], [20.5], [None])
        with pytest.raises(FlockUnusable, match="has moved to"):
            Household(store).add("Ben", "helper", PASSPHRASE, NOW)
        assert store.entries() == list(ENTRIES)
        assert Household(store).sign_in("Ann", PASSPHRASE, "a token", NOW) is not None
        assert back_up(store, tmp_path, NOW).whole
    with pytest.raises(FlockUnusable) as refused:
        move(home, str(tmp_path / "other.sqlite"), NOW)
    assert f"has moved to {to} already; nothing was moved" in refused.value.sentence
    assert not (tmp_path / "other.sqlite").exists()


def test_what_stands_in_the_way_of_a_move(home: str, postgresql: str, tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="is where it is already"):
        move(home, str(tmp_path / "." / "home.sqlite"), NOW)
    other = filled(str(tmp_path / "other.sqlite"), *ENTRIES[:1])
    with pytest.raises(FlockUnusable, match="holds a record already; nothing was moved"):
        move(home, other, NOW)
    with pytest.raises(FlockUnusable, match="cannot be the name of a flock"):
        move(home, f"{postgresql}&flock=Creek", NOW)
    with open_store(home) as store, store.sole_caretaker() as mine:
        assert mine()
        with pytest.raises(FlockUnusable, match="is being served or in use; nothing was moved"):
            move(home, f"{postgresql}&flock=creek", NOW)
    with open_flocks(postgresql) as flocks:
        assert flocks.names() == []
        flocks.add("hill", NOW)
    moved = str(tmp_path / "moved.sqlite")
    filled(moved, *ENTRIES)
    move(moved, f"{postgresql}&flock=hill", NOW)
    with pytest.raises(FlockUnusable, match="holds a record already; nothing was moved"):
        move(f"{postgresql}&flock=hill", moved, NOW)  # equal, but closed
    with open_store(home) as store:
        append(store, WEIGHED)


def test_a_flock_file_does_not_move_to_another_name_of_itself(tmp_path: Path) -> None:
    home = filled(str(tmp_path / "home.sqlite"), *ENTRIES)
    linked, pointed = tmp_path / "linked.sqlite", tmp_path / "pointed.sqlite"
    linked.hardlink_to(home)
    pointed.symlink_to(home)
    for from_, to in ((home, linked), (linked, home), (home, pointed), (pointed, linked)):
        with pytest.raises(BadInput, match="is the same one, written in another way"):
            move(str(from_), str(to), NOW)
    with open_store(home) as store:
        append(store, WEIGHED)


def test_a_flock_of_a_database_does_not_move_to_another_spelling_of_itself(
    postgresql: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Names, ports and poolers of a database are not known; what is held in it is."""
    before, _, host = postgresql.partition("?")
    database = before.split("@/")[1]
    creek, hill = f"{postgresql}&flock=creek", f"{postgresql}&flock=hill"
    only_read = "options=-cdefault_transaction_read_only%3Don"
    with open_flocks(postgresql) as flocks:
        flocks.add("creek", NOW)
    for here, others in {
        creek: (
            f"{before}?flock=creek&{host}",
            f"postgres:///{database}?user=postgres&{host}&flock=cree%6b&{only_read}",
        ),
        postgresql: (f"{postgresql}&port=5432",),
    }.items():
        with open_store(here, create=True) as store:
            append(store, *ENTRIES)
        for other in others:
            with pytest.raises(BadInput, match="is the same one, written in another way"):
                move(here, other, NOW)
        with open_store(here) as store:
            append(store, WEIGHED)
    # Another flock of the same database is another place. A server that copies another is none:
    # there it would be equal, but nothing could be written.
    with monkeypatch.context() as patched:
        patched.setattr(moving, "_close", lambda *_: None)
        move(creek, hill, NOW)
    with pytest.raises(FlockUnusable, match="nothing was moved"):
        move(creek, f"{hill}&{only_read}", NOW)
    move(creek, hill, NOW)
    with pytest.raises(FlockUnusable, match=r"has moved to .*flock=hill already"):
        move(creek, hill, NOW)


def test_what_hinders_a_move_speaks_of_moving(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    home = filled(str(tmp_path / "home.sqlite"), *ENTRIES)
    (tmp_path / "a file").write_text("no folder")
    (tmp_path / "notes.sqlite").write_text("no flock at all" * 99)
    empty = str(tmp_path / "empty.sqlite")
    with open_store(empty, create=True):
        pass
    with pytest.raises(FlockUnusable, match=r"could not be written: .*\. Nothing was moved"):
        move(home, str(tmp_path / "a file" / "to.sqlite"), NOW)
    with pytest.raises(FlockUnusable, match=r"is not a flock file\. .*Nothing was moved"):
        move(home, str(tmp_path / "notes.sqlite"), NOW)
    with (
        open_store(empty) as store,
        store.sole_caretaker(),
        pytest.raises(FlockUnusable, match=r"empty\.sqlite is being served or in use; nothing was"),
    ):
        move(home, empty, NOW)
    monkeypatch.chdir(tmp_path)
    move(home, "empty.sqlite", NOW)
    with open_store(home) as store, pytest.raises(FlockUnusable) as refused:
        append(store, WEIGHED)
    assert f"has moved to {tmp_path.resolve() / 'empty.sqlite'}. " in refused.value.sentence


def test_a_move_that_was_ended_before_it_was_closed_is_finished(
    home: str, postgresql: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    creek = f"{postgresql}&flock=creek"

    def ended(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr(moving, "_close", ended)
        with pytest.raises(KeyboardInterrupt):
            move(home, creek, NOW)
    assert everything(creek) == everything(home)
    assert move(home, creek, NOW).entries == len(ENTRIES)
    with open_store(home) as store, pytest.raises(FlockUnusable, match="has moved to"):
        append(store, WEIGHED)
    with open_store(creek) as store:
        append(store, WEIGHED)
    with open_store(home) as store, store.snapshot() as connection:
        assert moving.moved_to(connection) == creek
        assert connection.execute(sa.text("SELECT count(*) FROM entry")).scalar() == len(ENTRIES)

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
    with pytest.raises(FlockUnusable, match="has moved already"):
        move(home, str(tmp_path / "other.sqlite"), NOW)
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
        assert moving.has_moved(connection)
        assert connection.execute(sa.text("SELECT count(*) FROM entry")).scalar() == len(ENTRIES)

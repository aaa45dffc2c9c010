"""Many flocks in one database: each is alone, whoever asks and whatever fails."""

from collections.abc import Iterator
from datetime import UTC, datetime

import psycopg
import pytest
from tests.makers import made

from quailwright.journal.flocks import open_flocks
from quailwright.journal.store import Store, open_store

NOW = datetime(2027, 5, 2, 20, 0, tzinfo=UTC)


@pytest.fixture
def plain(postgresql: str) -> Iterator[str]:
    """The database, for a role that may make schemas there, but no roles and nothing else."""
    with psycopg.connect(postgresql, autocommit=True) as connection:
        connection.execute("CREATE ROLE office LOGIN")
        connection.execute("GRANT CREATE ON DATABASE flock TO office")
    yield postgresql.replace("postgres@", "office@")
    with psycopg.connect(postgresql, autocommit=True) as connection:
        connection.execute("DROP OWNED BY office")
        connection.execute("DROP ROLE office")


@pytest.fixture(params=["roles", "no roles"])
def where(request: pytest.FixtureRequest, postgresql: str) -> str:
    """The database, with a role for every flock and without."""
    url: str = postgresql if request.param == "roles" else request.getfixturevalue("plain")
    return url


def log(store: Store, *notes: str) -> None:
    with store.writing() as writer:
        writer.append([made("care", "2027-05-01", task="water", note=note) for note in notes], NOW)


def notes(store: Store) -> list[str]:
    return [entry.note or "" for entry in store.entries()]


def test_two_flocks_and_the_public_one_stand_apart(where: str, postgresql: str) -> None:
    with open_store(postgresql, create=True) as public, open_flocks(where) as flocks:
        log(public, "of the public one")
        assert flocks.names() == []
        assert flocks.add("creek", NOW)
        assert not flocks.add("creek", NOW)
        assert flocks.add("hill-2", NOW)
        assert flocks.names() == ["creek", "hill-2"]
        assert flocks.has("creek")
        assert not flocks.has("nobody")
        creek, hill = flocks.store("creek"), flocks.store("hill-2")
        log(creek, "of the creek")
        log(hill, "of the hill", "and one more")
        creek.close()  # it closes nothing that others use
        assert (notes(creek), notes(hill)) == (["of the creek"], ["of the hill", "and one more"])
        assert notes(public) == ["of the public one"]
        with open_store(f"{where}&flock=creek") as alone:
            assert notes(alone) == ["of the creek"]
            assert alone.location == f"{where}&flock=creek"
        assert flocks.upgrade() == []

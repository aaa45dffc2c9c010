"""People and sign-ins beside the journal, on both databases; entries know nothing of them."""

from datetime import UTC, datetime, timedelta

from quailwright.journal import people
from quailwright.journal.store import NOTHING_YET, open_store

NOW = datetime(2027, 5, 2, 12, tzinfo=UTC)


def test_people_come_change_sign_in_and_go(location: str) -> None:
    with open_store(location, create=True) as store:
        with store.household(writes=True) as connection:
            people.add(connection, "Mira", "keeper", "a hash", NOW)
            people.add(connection, "Tom", "viewer", "another hash", NOW)
            mira, tom = people.everyone(connection)
            people.begin(connection, tom.id, "ab" * 32, NOW)
            people.change(connection, tom.id, "helper", "a third hash")
        with store.household() as connection:
            second = timedelta(seconds=1)
            who = people.signed_in(connection, "ab" * 32, NOW, NOW)
            late = people.signed_in(connection, "ab" * 32, NOW + second, NOW + second)
            ahead = people.signed_in(connection, "ab" * 32, NOW - second, NOW - second)
        assert who == people.Person(tom.id, "Tom", "helper", "a third hash")
        assert late is None
        assert ahead is None
        with store.household(writes=True) as connection:
            people.remove(connection, tom.id)
            assert people.everyone(connection) == [mira]
            assert people.signed_in(connection, "ab" * 32, NOW, NOW) is None
        assert store.entries() == []
        assert store.arrived_since(NOTHING_YET) == ([], NOTHING_YET)

"""Devices, topics and messages taken, in either kind of database."""

from datetime import UTC, datetime

from quailwright.journal import devices
from quailwright.journal.devices import Taken
from quailwright.journal.store import open_store

NOW = datetime(2027, 5, 3, 7, 30, tzinfo=UTC)


def test_devices_and_topics_come_and_go(location: str) -> None:
    with open_store(location, create=True) as store:
        with store.household(writes=True) as connection:
            devices.add_device(connection, "lid", "a" * 64, "box", "probe", "{}", NOW)
            devices.add_topic(connection, "shed/+", "box", "", "{}", NOW)
        with store.household() as connection:
            (lid,) = devices.devices(connection)
            assert devices.device_of(connection, "a" * 64) == lid
            assert devices.device_of(connection, "b" * 64) is None
            (topic,) = devices.topics(connection)
        assert (lid.name, lid.place, topic.filter) == ("lid", "box", "shed/+")
        with store.household(writes=True) as connection:
            devices.remove_device(connection, lid.id)
            devices.remove_topic(connection, topic.id)
            assert (devices.devices(connection), devices.topics(connection)) == ([], [])


def test_a_message_sent_again_is_known_and_one_like_it_is_not(location: str) -> None:
    with open_store(location, create=True) as store:
        with store.writing() as writer:
            first = writer.first_time([Taken(1, "a", False), Taken(2, "a", False)])
        assert first == [True, True]
        with store.writing() as writer:
            again = [Taken(1, "a", True), Taken(1, "a", False), Taken(2, "b", True)]
            assert writer.first_time(again) == [False, True, True]
            assert writer.first_time([Taken(2, "b", True), Taken(3, "a", True)]) == [False, True]

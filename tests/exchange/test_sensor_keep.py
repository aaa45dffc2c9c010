"""Readings of many sensors in one transaction, in either kind of database."""

from datetime import UTC, datetime

from quailwright.exchange.sensor_keep import Arrived, Instants, keep
from quailwright.exchange.sensor_payload import Measured
from quailwright.journal.devices import Taken
from quailwright.journal.readings import Kept, to_ms
from quailwright.journal.store import open_store

AT = to_ms(datetime(2027, 5, 3, 7, 30, tzinfo=UTC))


def test_many_sensors_at_once_and_each_message_once(location: str) -> None:
    told = [
        [Arrived(f"pen-{n}", "", (Measured(AT, 20.0 + n, None, own_time=False),))] for n in range(3)
    ]
    messages = [Taken(n + 1, f"digest {n}", again=False) for n in range(3)]
    again = [each._replace(again=True) for each in messages]
    with open_store(location, create=True) as store:
        assert keep(store, told, messages) == Kept(written=3)
        assert keep(store, told, again) == Kept(already=3)
        assert keep(store, told) == Kept(already=3)
        assert keep(store, [[]], [None]) == Kept()
        shown = [(one.place, one.temperature_c) for one in store.latest_readings()]
    assert shown == [("pen-0", 20.0), ("pen-1", 21.0), ("pen-2", 22.0)]


def test_readings_without_a_time_are_apart() -> None:
    untimed, timed = Measured(AT, 20.0, None, False), Measured(AT, 21.0, None, True)
    instants = Instants()
    first = instants.apart(Arrived("pen", "", (untimed, untimed, timed)))
    then = instants.apart(Arrived("pen", "", (untimed,)))
    other = instants.apart(Arrived("pen", "lid", (untimed,)))
    set_back = instants.apart(Arrived("pen", "", (untimed._replace(at_ms=AT - 3_600_000),)))
    told = [[one.at_ms - AT for one in each.measured] for each in (first, then, other, set_back)]
    assert told == [[0, 1, 0], [2], [0], [-3_600_000]]

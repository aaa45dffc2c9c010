"""Measured values into the flock file: those of many sensors in one transaction."""

from collections.abc import Sequence
from typing import NamedTuple

from quailwright.exchange.sensor_payload import Measured
from quailwright.journal.devices import Taken
from quailwright.journal.readings import Kept
from quailwright.journal.store import Store

Sensor = tuple[str, str]
"""A place and an instrument."""


class Arrived(NamedTuple):
    """What one message told of one sensor."""

    place: str
    instrument: str
    measured: tuple[Measured, ...]


class Instants:
    """Gives readings without a time of their own an instant each: two that come within one
    millisecond would else count as one."""

    def __init__(self) -> None:
        self._last: dict[Sensor, int] = {}

    def apart(self, arrived: Arrived) -> Arrived:
        """The same, its readings without a time not earlier than the next free millisecond."""
        sensor = (arrived.place, arrived.instrument)
        timed = []
        for one in arrived.measured:
            if not one.own_time:
                at_ms = max(one.at_ms, self._last.get(sensor, 0) + 1)
                # A clock that is set back must not make all that follows be of its old time.
                at_ms = at_ms if at_ms - one.at_ms < _MOST_APART_MS else one.at_ms
                self._last[sensor] = at_ms
                timed.append(one._replace(at_ms=at_ms))
            else:
                timed.append(one)
        return arrived._replace(measured=tuple(timed))


_MOST_APART_MS = 10_000


def keep(
    store: Store, told: Sequence[Sequence[Arrived]], messages: Sequence[Taken | None] = ()
) -> Kept:
    """Keeps what messages told, all in one transaction; returns once it is on the disk.

    Of each message of `messages` that was taken before, what it told counts as there already. A
    reading of an instrument in the future or twice in one instant is as in `journal.readings`.

    Raises FlockUnusable; then nothing was kept.
    """
    if not any(told):
        return Kept()
    with store.writing() as writer:
        marked = [each for each in messages if each is not None]
        first = iter(writer.first_time(marked)) if marked else iter(())
        columns: dict[Sensor, list[Measured]] = {}
        kept = Kept()
        for number, arrived in enumerate(told):
            message = messages[number] if messages else None
            if message is not None and not next(first):
                kept += Kept(already=sum(len(each.measured) for each in arrived))
                continue
            for each in arrived:
                columns.setdefault((each.place, each.instrument), []).extend(each.measured)
        for (place, instrument), measured in columns.items():
            kept += writer.append_readings(
                place,
                instrument,
                [one.at_ms for one in measured],
                [one.temperature_c for one in measured],
                [one.humidity_pct for one in measured],
            )
    return kept

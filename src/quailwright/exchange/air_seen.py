"""What sensors told of the last nights and days at brooders and pens with birds, for the round.

For each instrument the lowest and the highest of each night and each day, less what it is known to
be off by; stuck and spiking readings are left out. Only the last days are read, however many
readings are kept.
"""

from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from itertools import pairwise

from quailwright.flock.climate import corrected
from quailwright.flock.sensor_faults import faults
from quailwright.flock.state import AirSeen, Flock
from quailwright.husbandry import facts
from quailwright.journal.moments import until, zone
from quailwright.journal.readings import Readings, from_ms, to_ms
from quailwright.journal.store import Store

DAYS_READ = 5
"""A sign of air or of deaths looks back no further."""
_NOT_LIVED_IN = ("incubator", "hatcher", "egg_store")
_MORNING, _EVENING = time(8), time(18)
"""Where nights end and begin."""


def air_seen(store: Store, flock: Flock, asked: date | datetime) -> tuple[AirSeen, ...]:
    """What sensors told up to `asked`, in order of time. `flock` is what stands then.

    Raises FlockUnusable.
    """
    start, end = _span(flock, asked)
    found: list[AirSeen] = []
    for place in _places(flock):
        if store.reading_count(place, start, end):
            for readings in store.readings(place, start, end):
                found.extend(_lows_and_highs(flock, readings, start, end))
    return tuple(sorted(found, key=lambda one: (one.at, one.place)))


def air_counts(store: Store, flock: Flock, asked: date | datetime) -> str:
    """How many readings `air_seen` would read of each place: they are only ever added to."""
    start, end = _span(flock, asked)
    return ",".join(str(store.reading_count(place, start, end)) for place in _places(flock))


def _places(flock: Flock) -> list[str]:
    return [
        place.name
        for place in flock.places.values()
        if place.role not in _NOT_LIVED_IN and flock.groups_at(place.name)
    ]


def _span(flock: Flock, asked: date | datetime) -> tuple[datetime, datetime]:
    """From the evening before the first of the days read to `asked` (the end of it, for a day)."""
    end = until(asked, flock.zone).moment(flock.zone)
    here = zone(flock.zone or "UTC")
    first = end.astimezone(here).date() - timedelta(days=DAYS_READ)
    return datetime.combine(first, _EVENING, tzinfo=here), end


def _lows_and_highs(
    flock: Flock, readings: Readings, start: datetime, end: datetime
) -> Iterator[AirSeen]:
    import numpy as np

    from quailwright.guide.hatch.records import instrument_at

    known = instrument_at(flock, readings.place, readings.instrument, "temperature_offset_c")
    true = corrected(readings, known).temperature_c
    read = ~np.isnan(true)
    at, celsius = readings.at_ms[read], true[read]
    good = ~faults(at, celsius, facts.value("sensors.spike_temperature_c")).left_out
    at, celsius = at[good], celsius[good]
    edges = np.array([to_ms(edge) for edge in _edges(start, end)], dtype=np.int64)
    for low, high in pairwise(np.searchsorted(at, edges).tolist()):
        if high > low:
            some = celsius[low:high]
            last = from_ms(int(at[high - 1])).astimezone(start.tzinfo)
            yield AirSeen(last, readings.place, float(some.min()), float(some.max()), None)


def _edges(start: datetime, end: datetime) -> Iterator[datetime]:
    """Evenings and mornings at the holding from `start` on, and the end."""
    day = start.date()
    while True:
        for hour in (_MORNING, _EVENING):
            edge = datetime.combine(day, hour, tzinfo=start.tzinfo)
            if start <= edge < end:
                yield edge
        if datetime.combine(day, _EVENING, tzinfo=start.tzinfo) >= end:
            break
        day += timedelta(days=1)
    yield end

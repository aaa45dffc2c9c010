"""What sensors show now, place by place: corrected, how old, against what is wanted, and the day.

The last 24 hours come summed up by the database, whatever the number of readings, and are kept for
pages that look every few seconds (`DaysAtHand`).
"""

import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Literal

from quailwright.exchange.json_types import NowShape
from quailwright.flock.climate import machine_band
from quailwright.flock.state import Flock
from quailwright.guide.hatch.records import instrument_at
from quailwright.guide.round import day_at
from quailwright.guide.signs.air import limits
from quailwright.husbandry import facts
from quailwright.husbandry.brooding import heat_range_c
from quailwright.journal.readings import Bucket, Latest
from quailwright.journal.store import Store
from quailwright.language import say, say_many

STEP = timedelta(minutes=15)
DAY = timedelta(hours=24)
SILENT_AFTER = timedelta(days=30)
"""Instruments not read for so long are told of in a line, as sensors taken down."""
_HOUR = timedelta(hours=1)

Verdict = Literal["well", "low", "high", "far_low", "far_high", ""]


@dataclass(frozen=True, slots=True)
class Wanted:
    """Temperatures [°C] wanted at a place, and beyond which harm begins; for whom, in words."""

    low_c: float
    high_c: float
    far_low_c: float
    far_high_c: float
    whose: str


@dataclass(frozen=True, slots=True)
class ShownDay:
    """The last 24 hours of one instrument, by quarter hours; figures as corrected.

    `usual_step_h` is how long lies between two readings; None where there are not two.
    """

    start: datetime
    end: datetime
    buckets: tuple[Bucket, ...]
    usual_step_h: float | None


@dataclass(frozen=True, slots=True)
class InstrumentNow:
    """The last reading of an instrument: corrected, and as shown. `age` is negative where the
    clock of the device is ahead."""

    instrument: str
    at: datetime
    age: timedelta
    stale: bool
    temperature_c: float | None
    humidity_pct: float | None
    shown_temperature_c: float | None
    shown_humidity_pct: float | None
    verdict: Verdict
    day: ShownDay | None


@dataclass(frozen=True, slots=True)
class PlaceNow:
    """A place with the instruments that are read there."""

    place: str
    role: str | None
    wanted: Wanted | None
    instruments: tuple[InstrumentNow, ...]


@dataclass(frozen=True, slots=True)
class Now:
    """What all sensors show; `silent` are instruments that have not been read for long."""

    as_of: datetime
    places: tuple[PlaceNow, ...]
    silent: tuple[Latest, ...]


Days = Mapping[tuple[str, str], ShownDay]


class DaysAtHand:
    """The last 24 hours of every instrument, kept for pages that look every few seconds.

    Whole hours are summed up once an hour and the present one once a minute: a reading that comes
    late into an hour gone by is shown within the hour. It holds a copy that may be dropped.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._hours: tuple[datetime, _Summed] | None = None
        self._present: tuple[datetime, _Summed] | None = None

    def days(self, store: Store, flock: Flock, now: datetime) -> Days:
        """The 24 hours before `now` of every instrument read in them. Raises FlockUnusable."""
        end = now.astimezone(UTC)
        minute = end.replace(second=0, microsecond=0)
        hour = minute.replace(minute=0)
        with self._lock:
            if self._hours is None or self._hours[0] != hour:
                self._hours = (hour, _summed(store, hour - DAY, hour))
            if self._present is None or self._present[0] != minute:
                self._present = (minute, _summed(store, hour, hour + 2 * _HOUR))
            hours, present = self._hours[1], self._present[1]
        found = {}
        for place, instrument in dict.fromkeys((*hours, *present)):
            buckets = [
                _corrected(flock, place, instrument, each)
                for each in (
                    *hours.get((place, instrument), ()), *present.get((place, instrument), ()),
                )
                if each.start + STEP > end - DAY
            ]  # fmt: skip
            if buckets:
                found[place, instrument] = ShownDay(
                    end - DAY, end, tuple(buckets), _usual_step_h(buckets)
                )
        return found


_Summed = dict[tuple[str, str], list[Bucket]]


def _summed(store: Store, start: datetime, end: datetime) -> _Summed:
    """Readings by quarter hours, of every place that was read since `start`."""
    found: _Summed = {}
    for place in sorted({each.place for each in store.latest_readings() if each.at >= start}):
        for bucket in store.reading_buckets(place, STEP, start, end):
            found.setdefault((place, bucket.instrument), []).append(bucket)
    return found


def days_shown(store: Store, flock: Flock, now: datetime) -> Days:
    """The last 24 hours of every instrument that was read in them. Raises FlockUnusable."""
    return DaysAtHand().days(store, flock, now)


def readings_now(
    store: Store, flock: Flock, days: Days, now: datetime, until: datetime | None = None
) -> Now:
    """What the sensors show at `now` (aware), with `days` from `days_shown`.

    `until` leaves out what was read then or later, for a look back.
    """
    by_place: dict[str, list[InstrumentNow]] = {}
    latest = store.latest_readings(until)
    silent = [each for each in latest if now - each.at > SILENT_AFTER]
    walk = {place.name: number for number, place in enumerate(flock.in_walking_order())}
    wanted: dict[str, Wanted | None] = {}
    for each in latest:
        if now - each.at <= SILENT_AFTER:
            if each.place not in wanted:
                wanted[each.place] = wanted_at(flock, each.place, now)
            day = days.get((each.place, each.instrument))
            by_place.setdefault(each.place, []).append(
                _now(flock, each, day, wanted[each.place], now)
            )
    places = [
        PlaceNow(
            name,
            flock.places[name].role if name in flock.places else None,
            wanted[name],
            tuple(instruments),
        )
        for name, instruments in by_place.items()
    ]
    places.sort(key=lambda one: (walk.get(one.place, len(walk)), one.place))
    return Now(now, tuple(places), tuple(silent))


def wanted_at(flock: Flock, place: str, now: datetime) -> Wanted | None:
    """The temperatures wanted at a place by those who are in it; None where nobody asks for any."""
    role = flock.places[place].role if place in flock.places else None
    if role in ("incubator", "hatcher"):
        hatches = [each.name for each in flock.hatches_open() if place in (each.set_in, each.place)]
        if not hatches:
            return None
        band = machine_band()
        return Wanted(band.low, band.high, band.far_low, band.far_high, ", ".join(hatches))
    if role == "brooder":
        on = day_at(flock, now)
        ages = [
            (age, group.name)
            for group in flock.groups_at(place)
            if (age := group.age_days(on)) is not None
        ]
        if not ages:
            return None
        age, name = min(ages)
        low, high = heat_range_c(max(0, age))
        harm = limits(max(0, age), None)
        whose = say_many("{group}, {n} day old", "{group}, {n} days old", age, group=name)
        return Wanted(low, high, harm.low, harm.high, whose)
    return None


def _offsets(flock: Flock, place: str, instrument: str) -> tuple[float, float]:
    warm = instrument_at(flock, place, instrument, "temperature_offset_c")
    damp = instrument_at(flock, place, instrument, "humidity_offset_pct")
    return (
        (warm.temperature_offset_c or 0.0) if warm is not None else 0.0,
        (damp.humidity_offset_pct or 0.0) if damp is not None else 0.0,
    )


def _less(shown: float | None, offset: float) -> float | None:
    return None if shown is None else shown - offset


def _corrected(flock: Flock, place: str, instrument: str, bucket: Bucket) -> Bucket:
    celsius, percent = _offsets(flock, place, instrument)
    return bucket._replace(
        temperature_c=_less(bucket.temperature_c, celsius),
        temperature_low_c=_less(bucket.temperature_low_c, celsius),
        temperature_high_c=_less(bucket.temperature_high_c, celsius),
        humidity_pct=_less(bucket.humidity_pct, percent),
        humidity_low_pct=_less(bucket.humidity_low_pct, percent),
        humidity_high_pct=_less(bucket.humidity_high_pct, percent),
    )


def _usual_step_h(buckets: Sequence[Bucket]) -> float | None:
    readings = sum(each.readings for each in buckets)
    if readings < 2:
        return None
    return (buckets[-1].start + STEP - buckets[0].start) / _HOUR / (readings - 1)


def _now(
    flock: Flock, latest: Latest, day: ShownDay | None, wanted: Wanted | None, now: datetime
) -> InstrumentNow:
    celsius_off, percent_off = _offsets(flock, latest.place, latest.instrument)
    celsius = _less(latest.temperature_c, celsius_off)
    age = now - latest.at
    stale = age / _HOUR > _silent_h(day)
    return InstrumentNow(
        latest.instrument,
        latest.at,
        age,
        stale,
        celsius,
        _less(latest.humidity_pct, percent_off),
        latest.temperature_c,
        latest.humidity_pct,
        "" if celsius is None or wanted is None or stale else _verdict(celsius, wanted),
        day,
    )


def _silent_h(day: ShownDay | None) -> float:
    """For how many hours an instrument may say nothing before what it said last is old."""
    shortest, longest = facts.value("sensors.gap_shortest_h"), facts.value("sensors.gap_longest_h")
    if day is None or day.usual_step_h is None:
        return longest
    return min(max(facts.value("sensors.gap_steps") * day.usual_step_h, shortest), longest)


def _verdict(celsius: float, wanted: Wanted) -> Verdict:
    if celsius < wanted.far_low_c:
        return "far_low"
    if celsius > wanted.far_high_c:
        return "far_high"
    if celsius < wanted.low_c:
        return "low"
    return "high" if celsius > wanted.high_c else "well"


def ago(age: timedelta) -> str:
    """How long ago, as one says it: `20 s ago`."""
    seconds = age.total_seconds()
    if seconds <= -_MINUTE_S:
        return say(
            "{minutes:.0f} min ahead: is the device's clock right?", minutes=-seconds // _MINUTE_S
        )
    if seconds < _MINUTE_S:
        return say("{seconds:.0f} s ago", seconds=max(seconds, 0.0))
    if seconds < _HOUR_S:
        return say("{minutes:.0f} min ago", minutes=seconds // _MINUTE_S)
    if seconds < 2 * _DAY_S:
        return say("{hours:.0f} h ago", hours=seconds // _HOUR_S)
    return say("{days:.0f} days ago", days=seconds // _DAY_S)


_MINUTE_S, _HOUR_S, _DAY_S = 60, 3600, 86_400


def now_shape(told: Now) -> NowShape:
    """`readings now --json`: temperatures in °C, humidity in %, corrected and as shown."""
    return {
        "as_of": told.as_of.isoformat(),
        "places": [
            {
                "place": each.place,
                "role": each.role,
                "wanted_c": None
                if each.wanted is None
                else [round(each.wanted.low_c, 2), round(each.wanted.high_c, 2)],
                "instruments": [
                    {
                        "instrument": one.instrument,
                        "at": one.at.isoformat(),
                        "age_s": round(one.age.total_seconds(), 1),
                        "stale": one.stale,
                        "temperature_c": _rounded(one.temperature_c),
                        "humidity_pct": _rounded(one.humidity_pct),
                        "shown_temperature_c": one.shown_temperature_c,
                        "shown_humidity_pct": one.shown_humidity_pct,
                        "verdict": one.verdict,
                    }
                    for one in each.instruments
                ],
            }
            for each in told.places
        ],
        "silent": [
            {"place": one.place, "instrument": one.instrument, "at": one.at.isoformat()}
            for one in told.silent
        ],
    }


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 4)

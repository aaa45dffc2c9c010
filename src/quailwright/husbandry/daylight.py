"""When the sun rises and sets at a place, and how long the day is."""

import math
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from quailwright.husbandry import facts
from quailwright.language import say

Array = NDArray[np.float64]

HOURS_A_DAY = 24.0
_DEG_A_TURN = 360.0
_DAYS_A_CENTURY = 36525.0
_EPOCH = date(2000, 1, 1)
"""Its noon is the epoch of the polynomials."""
_ROUNDS = 5
"""Times that the sun is placed anew at the moment found: the last changes it by under a second."""


@dataclass(frozen=True, slots=True)
class Sun:
    """The sun on a day at a place.

    Attributes:
        on: the day, as calendars there count it.
        noon: when it stands highest, on that day's clock.
        sunrise, sunset: when the top of its disc meets a level horizon; None where it does not.
        dawn, dusk: begin and end of civil twilight, when it is light enough to work outside; None
            where it stays light or dark.
        day_h: hours from sunrise to sunset, 0 in polar night and 24 in polar day.
    """

    on: date
    noon: datetime
    sunrise: datetime | None
    sunset: datetime | None
    dawn: datetime | None
    dusk: datetime | None
    day_h: float


class Halves(NamedTuple):
    """The sun of days in a row; hours are counted from 0 h UTC of each, arrays of shape (days,).

    Attributes:
        noon_h: when it stands highest [h].
        rise_h, set_h: when it rises and sets [h]; the night's middle before and after noon where
            it does not set, noon where it does not rise.
    """

    noon_h: Array
    rise_h: Array
    set_h: Array


def sun_halves(
    latitude_deg: float,
    longitude_deg: float,
    first: date,
    days: int,
    depression_deg: float | None = None,
) -> Halves:
    """Rise, noon and set of the sun on each of `days` days from `first`, on level ground.

    The sun's place by a published series of low accuracy, at the moment itself: to 10 seconds of
    a high-precision almanac from 1990 to 2100 within 65 degrees of latitude, and 30 seconds of
    NOAA's own form of it. Nearer the poles, where the sun skims the horizon, minutes may be
    missing. Hills and trees shorten the day; air much colder or denser than usual lengthens it by
    a minute.

    Args:
        latitude_deg: [deg], north above 0, south below, -90 to 90.
        longitude_deg: [deg], east above 0, west below, -180 to 180.
        first: the first day.
        days: how many, 0 or more.
        depression_deg: how far the sun's middle lies below the horizon [deg]; at sunrise if None.

    Raises:
        ValueError: a latitude or longitude outside its range.

    Source: Meeus 1998, Astronomical Algorithms, 2nd edition, chapters 15, 22, 25 and 28, the
    solar coordinates of low accuracy; figures in ``facts/daylight.csv``. Certainty: published.
    """
    if not -90 <= latitude_deg <= 90:
        raise ValueError(
            say(
                "A latitude lies between -90 and 90 degrees, not {degrees:g}.", degrees=latitude_deg
            )
        )
    if not -180 <= longitude_deg <= 180:
        raise ValueError(
            say(
                "A longitude lies between -180 and 180 degrees, not {degrees:g}.",
                degrees=longitude_deg,
            )
        )
    below = (
        facts.value("daylight.sunrise_depression_deg") if depression_deg is None else depression_deg
    )
    day = np.arange(days, dtype=float) + (first - _EPOCH).days - 0.5
    mean_noon = 0.5 - longitude_deg / _DEG_A_TURN
    noon = np.full(days, mean_noon)
    for _ in range(_ROUNDS):
        noon = mean_noon - _place(day + noon)[1] / _DEG_A_TURN
    latitude = math.radians(latitude_deg)
    height = -math.sin(math.radians(below))
    found = []
    for side in (-1.0, 1.0):
        moment, cosine, half_day = noon, noon, noon
        for _ in range(_ROUNDS):
            declination, early = _place(day + moment)
            cosine = (height - math.sin(latitude) * np.sin(declination)) / (
                math.cos(latitude) * np.cos(declination)
            )
            half_day = np.arccos(np.clip(cosine, -1.0, 1.0)) / (2.0 * math.pi)
            moment = mean_noon - early / _DEG_A_TURN + side * half_day
        moment = np.where(np.abs(cosine) < 1.0, moment, noon + side * half_day)
        found.append(moment * HOURS_A_DAY)
    return Halves(noon * HOURS_A_DAY, *found)


def _place(days: Array) -> tuple[Array, Array]:
    """Declination of the sun [rad], and by how much it is ahead of the mean sun [deg].

    Args:
        days: since noon of 1 January 2000 [d]; universal time serves, as the minute between it
            and dynamical time moves the sun by less than a thousandth of a degree.
    """
    centuries = days / _DAYS_A_CENTURY

    def at(key: str) -> Array:
        """A figure that changes evenly."""
        start, rate = facts.value(f"daylight.{key}"), facts.value(f"daylight.{key}_per_century")
        return start + rate * centuries

    def bent(key: str) -> Array:
        """A figure whose change itself changes."""
        return at(key) + facts.value(f"daylight.{key}_per_century2") * centuries**2

    longitude, anomaly = bent("sun_longitude"), np.radians(bent("sun_anomaly"))
    node = np.radians(at("moon_node"))
    nutation = facts.value("daylight.nutation_longitude") * np.sin(node)
    centre = (
        at("sun_centre_1") * np.sin(anomaly)
        + at("sun_centre_2") * np.sin(2.0 * anomaly)
        + facts.value("daylight.sun_centre_3") * np.sin(3.0 * anomaly)
    )
    seen = np.radians(longitude + centre + facts.value("daylight.sun_aberration") + nutation)
    tilt = np.radians(at("obliquity") + facts.value("daylight.nutation_obliquity") * np.cos(node))
    ascension = np.degrees(np.arctan2(np.cos(tilt) * np.sin(seen), np.cos(seen)))
    ahead = (
        longitude - facts.value("daylight.sun_noon_offset") - ascension + nutation * np.cos(tilt)
    )
    half = _DEG_A_TURN / 2
    return np.arcsin(np.sin(tilt) * np.sin(seen)), (ahead + half) % _DEG_A_TURN - half


def day_lengths_h(latitude_deg: float, longitude_deg: float, first: date, days: int) -> Array:
    """Hours from sunrise to sunset on each of `days` days from `first`, shape (days,).

    0 in polar night and 24 in polar day. The longitude matters little: half round the earth is
    half a day, and so half of what the day length changes overnight.

    Raises:
        ValueError: a latitude or longitude outside its range.

    Source: as `sun_halves`.
    """
    halves = sun_halves(latitude_deg, longitude_deg, first, days)
    return np.clip(halves.set_h - halves.rise_h, 0.0, HOURS_A_DAY)


def day_length_h(latitude_deg: float, on: date, longitude_deg: float = 0.0) -> float:
    """`day_lengths_h` of one day."""
    return float(day_lengths_h(latitude_deg, longitude_deg, on, 1)[0])


def noon_shift_days(longitude_deg: float, on: date, zone: tzinfo) -> int:
    """Days to add so that the sun's noon falls on the day `on` of a zone's own calendar.

    0 but where a zone keeps the date of the other side of the date line.
    """
    clock_noon = datetime.combine(on, time(12), tzinfo=zone)
    from_utc_midnight = clock_noon - datetime.combine(on, time(), tzinfo=UTC)
    mean_noon_h = HOURS_A_DAY * (0.5 - longitude_deg / _DEG_A_TURN)
    return round((from_utc_midnight / timedelta(hours=1) - mean_noon_h) / HOURS_A_DAY)


def sun_on(latitude_deg: float, longitude_deg: float, on: date, zone: tzinfo) -> Sun:
    """The sun on a day of a place's own calendar, told in its own clock.

    Raises:
        ValueError: a latitude or longitude outside its range.

    Source: as `sun_halves`.
    """
    there = on + timedelta(days=noon_shift_days(longitude_deg, on, zone))
    midnight = datetime.combine(there, time(), tzinfo=UTC)

    def clock(hours: Array) -> datetime:
        return (midnight + timedelta(hours=float(hours[0]))).astimezone(zone)

    def ends(depression_deg: float | None) -> tuple[Halves, datetime | None, datetime | None]:
        halves = sun_halves(latitude_deg, longitude_deg, there, 1, depression_deg)
        if not _NEVER_H < float(halves.set_h[0] - halves.rise_h[0]) < HOURS_A_DAY - _NEVER_H:
            return halves, None, None
        return halves, clock(halves.rise_h), clock(halves.set_h)

    halves, sunrise, sunset = ends(None)
    _, dawn, dusk = ends(facts.value("daylight.civil_depression_deg"))
    up_h = float(np.clip(halves.set_h - halves.rise_h, 0.0, HOURS_A_DAY)[0])
    return Sun(on, clock(halves.noon_h), sunrise, sunset, dawn, dusk, up_h)


_NEVER_H = 1e-6
"""Within so little of 0 or 24 h the sun does not rise, or not set."""

"""Day length against the astral library (NOAA's solar equations)."""

from datetime import date, timedelta
from itertools import pairwise

import pytest
from astral import Observer
from astral.sun import sunrise, sunset
from hypothesis import given
from hypothesis import strategies as st

from quailwright.husbandry.daylight import day_length_h

LEAP_CYCLE = [2025, 2026, 2027, 2028]


def days_of(year: int) -> list[date]:
    first = date(year, 1, 1)
    return [first + timedelta(days=day) for day in range((date(year + 1, 1, 1) - first).days)]


def astral_day_h(latitude_deg: float, on: date) -> float:
    observer = Observer(latitude_deg, 0)
    length = sunset(observer, on) - sunrise(observer, on)
    return length.total_seconds() / 3600 % 24


# The model knows whole days of one calendar; the leap years move the equinox by a day against it
# and counting whole days by half a day more. Tolerance: a day and a half of the fastest change at
# that latitude, plus one minute: 4 minutes at 35 degrees, 9 at 60.
@pytest.mark.parametrize("latitude_deg", [60, 52, 45, 35, 20, 0, -20, -35, -45, -55, -60])
@pytest.mark.parametrize("year", LEAP_CYCLE)
def test_day_length_agrees_with_astral(latitude_deg: float, year: int) -> None:
    days = days_of(year)
    almanac = [astral_day_h(latitude_deg, on) for on in days]
    overnight = max(abs(b - a) for a, b in pairwise(almanac))
    for on, hours in zip(days, almanac, strict=True):
        assert abs(day_length_h(latitude_deg, on) - hours) < 1.5 * overnight + 1 / 60, on


# Near the polar circle a hundredth of a degree of the sun's height is minutes of day. Tolerance: a
# quarter of an hour, the step of a lamp timer.
@pytest.mark.parametrize("latitude_deg", [65, -65])
@pytest.mark.parametrize("year", LEAP_CYCLE)
def test_day_length_serves_a_lamp_timer_near_the_polar_circle(
    latitude_deg: float, year: int
) -> None:
    for on in days_of(year):
        assert abs(day_length_h(latitude_deg, on) - astral_day_h(latitude_deg, on)) < 0.25, on


@given(on=st.dates(), latitude_deg=st.floats(min_value=-90, max_value=90))
def test_day_length_is_within_the_day_everywhere(on: date, latitude_deg: float) -> None:
    assert 0 <= day_length_h(latitude_deg, on) <= 24


def test_polar_day_and_night_are_whole() -> None:
    june, december = date(2027, 6, 21), date(2027, 12, 21)
    for latitude_deg in (70, 80, 90):
        assert day_length_h(latitude_deg, june) == day_length_h(-latitude_deg, december) == 24
        assert day_length_h(latitude_deg, december) == day_length_h(-latitude_deg, june) == 0


def test_southern_summer_is_northern_winter() -> None:
    assert (
        day_length_h(-37.8, date(2027, 12, 21)) > 14 > 10 > day_length_h(37.8, date(2027, 12, 21))
    )


@pytest.mark.parametrize("latitude_deg", [90.5, -91, float("nan")])
def test_impossible_latitude_is_refused(latitude_deg: float) -> None:
    with pytest.raises(ValueError, match="latitude"):
        day_length_h(latitude_deg, date(2027, 3, 1))

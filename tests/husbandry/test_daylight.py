"""The sun against two astronomy libraries: astral (NOAA's equations) and ephem (VSOP87)."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import ephem  # type: ignore[import-untyped]
import numpy as np
import pytest
from astral import Depression, Observer
from astral.sun import dusk, sunrise, sunset
from hypothesis import given
from hypothesis import strategies as st

from quailwright.husbandry.daylight import day_length_h, day_lengths_h, sun_halves, sun_on

MINUTE = timedelta(minutes=1)
LATITUDES = [65, 60, 52, 45, 35, 20, 0, -20, -35, -45, -55, -60, -65]
YEARS = [1990, 2027, 2028, 2100]


def at(on: date, hours: float) -> datetime:
    return datetime(on.year, on.month, on.day, tzinfo=UTC) + timedelta(hours=float(hours))


def ephem_sun(latitude: float, longitude: float, noon: datetime) -> tuple[datetime, datetime]:
    """Rise and set about a noon, for the horizon of almanacs: the sun's middle 50' below."""
    observer = ephem.Observer()
    observer.lat, observer.lon = str(latitude), str(longitude)
    observer.pressure, observer.horizon = 0, "-0:50"
    observer.date = noon.replace(tzinfo=None)
    rise = observer.previous_rising(ephem.Sun(), use_center=True).datetime()
    down = observer.next_setting(ephem.Sun(), use_center=True).datetime()
    return rise.replace(tzinfo=UTC), down.replace(tzinfo=UTC)


# Every fifth day of a year, an ordinary one, a leap year, and the ends of the span promised.
@pytest.mark.parametrize("latitude", LATITUDES)
@pytest.mark.parametrize("longitude", [0.0, 148.5, -179.0])
@pytest.mark.parametrize("year", YEARS)
def test_sunrise_and_sunset_agree_with_ephem_to_a_quarter_minute(
    latitude: float, longitude: float, year: int
) -> None:
    first = date(year, 1, 1)
    found = sun_halves(latitude, longitude, first, 366)
    for n in range(0, 366, 5):
        on = first + timedelta(days=n)
        rise, down = ephem_sun(latitude, longitude, at(on, found.noon_h[n]))
        assert abs(at(on, found.rise_h[n]) - rise) < MINUTE / 4, on
        assert abs(at(on, found.set_h[n]) - down) < MINUTE / 4, on


# NOAA's equations as astral has them; its own error grows to half a minute at 60 degrees.
@pytest.mark.parametrize("latitude", [one for one in LATITUDES if abs(one) <= 60])
@pytest.mark.parametrize("year", [2026, 2027, 2028])
def test_sunrise_and_sunset_agree_with_astral_to_a_minute(latitude: float, year: int) -> None:
    first = date(year, 1, 1)
    found, observer = sun_halves(latitude, 0.0, first, 365), Observer(latitude, 0)
    for n in range(0, 365, 3):
        on = first + timedelta(days=n)
        assert abs(at(on, found.rise_h[n]) - sunrise(observer, on)) < MINUTE, on
        down = min(
            abs(at(on, found.set_h[n]) - sunset(observer, on + timedelta(d))) for d in (0, -1)
        )
        assert down < MINUTE, on


@pytest.mark.parametrize("latitude", LATITUDES)
def test_day_lengths_agree_with_ephem_to_a_minute(latitude: float) -> None:
    first = date(2027, 1, 1)
    noon = sun_halves(latitude, 10.0, first, 365).noon_h
    for n, hours in enumerate(day_lengths_h(latitude, 10.0, first, 365)):
        rise, down = ephem_sun(latitude, 10.0, at(first + timedelta(n), noon[n]))
        assert abs(hours - (down - rise).total_seconds() / 3600) < 1 / 60, n


# Places with odd clocks: half an hour of summer time, a change at midnight, a zone a day ahead of
# its longitude, and one 14 hours ahead of Greenwich. ephem knows no zones: instants are compared.
@pytest.mark.parametrize(
    ("latitude", "longitude", "zone"),
    [
        (-31.55, 159.08, "Australia/Lord_Howe"),
        (-33.45, -70.67, "America/Santiago"),
        (-13.83, -171.77, "Pacific/Apia"),
        (1.87, -157.4, "Pacific/Kiritimati"),
        (51.9, 176.6, "America/Adak"),
        (38.7, -9.1, "Europe/Lisbon"),
    ],
)
def test_the_sun_is_told_on_the_day_and_in_the_clock_of_the_place(
    latitude: float, longitude: float, zone: str
) -> None:
    for n in range(0, 365, 9):
        on = date(2027, 1, 1) + timedelta(days=n)
        sun = sun_on(latitude, longitude, on, ZoneInfo(zone))
        assert sun.noon.date() == sun.on == on
        rise, down = ephem_sun(latitude, longitude, sun.noon.astimezone(UTC))
        assert sun.sunrise is not None
        assert sun.sunset is not None
        assert abs(sun.sunrise - rise) < MINUTE
        assert abs(sun.sunset - down) < MINUTE
        assert sun.noon.tzinfo == ZoneInfo(zone)


@pytest.mark.parametrize("latitude", [52, 0, -45])
def test_civil_twilight_agrees_with_astral(latitude: float) -> None:
    for n in range(0, 365, 14):
        on = date(2027, 1, 1) + timedelta(days=n)
        sun, observer = sun_on(latitude, 0.0, on, UTC), Observer(latitude, 0)
        assert sun.dusk is not None
        assert abs(sun.dusk - dusk(observer, on, Depression.CIVIL)) < MINUTE


@given(
    on=st.dates(date(1990, 1, 1), date(2100, 12, 31)),
    latitude=st.floats(-90, 90),
    longitude=st.floats(-180, 180),
)
def test_the_day_lies_about_its_noon_everywhere(
    on: date, latitude: float, longitude: float
) -> None:
    found = sun_halves(latitude, longitude, on, 2)
    assert ((found.rise_h <= found.noon_h) & (found.noon_h <= found.set_h)).all()
    lengths = day_lengths_h(latitude, longitude, on, 2)
    assert ((lengths >= 0) & (lengths <= 24)).all()


def test_polar_day_and_night_are_whole_and_have_no_rise_or_set() -> None:
    june, december = date(2027, 6, 21), date(2027, 12, 21)
    for latitude in (70, 80, 90):
        for bright, dark in ((latitude, -latitude), (-latitude, latitude)):
            on = june if bright > 0 else december
            assert day_length_h(bright, on) == pytest.approx(24)
            assert day_length_h(dark, on) == 0
    for on in (june, december):
        sun = sun_on(78.2, 15.6, on, ZoneInfo("Arctic/Longyearbyen"))
        assert sun.sunrise is sun.sunset is None


def test_southern_summer_is_northern_winter() -> None:
    assert (
        day_length_h(-37.8, date(2027, 12, 21)) > 14 > 10 > day_length_h(37.8, date(2027, 12, 21))
    )


def test_no_days_give_nothing() -> None:
    assert day_lengths_h(45.0, 0.0, date(2027, 1, 1), 0).shape == (0,)
    assert np.isfinite(day_lengths_h(45.0, 0.0, date(2027, 1, 1), 3)).all()


@pytest.mark.parametrize("latitude", [90.5, -91, float("nan")])
def test_impossible_latitude_is_refused(latitude: float) -> None:
    with pytest.raises(ValueError, match="latitude"):
        day_length_h(latitude, date(2027, 3, 1))


@pytest.mark.parametrize("longitude", [180.5, -181, float("nan")])
def test_impossible_longitude_is_refused(longitude: float) -> None:
    with pytest.raises(ValueError, match="longitude"):
        day_length_h(50.0, date(2027, 3, 1), longitude)

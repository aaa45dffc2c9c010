"""Day length and lay against Stein and Bacon 1976, the light trials of 1975, and astral."""

from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import pytest
from astral import Observer
from astral.sun import sunrise, sunset

from quailwright.husbandry.photoperiod import (
    fall,
    first_egg_age_d,
    lay_by_light,
    lay_of_young_and_old,
    lit_hours,
    natural_hours,
    response,
    rise,
)

HALF_YEAR = 180


def changed(before_h: float, after_h: float) -> np.ndarray:
    """Half a year at one day length, then half a year at another."""
    return np.repeat([before_h, after_h], HALF_YEAR)


# "Reproductive response to intermittent light regimens in Coturnix", Poult Sci 1975, 54:1918-1926:
# none at 10 h and less, part at 11 to 12 h, full at 13 h and more.
def test_response_to_day_length_poult_sci_1975() -> None:
    assert response(np.array([0.0, 6.0, 8.0, 10.0])).tolist() == [0, 0, 0, 0]
    assert response(np.array([13.0, 14.0, 18.0, 24.0])).tolist() == [1, 1, 1, 1]
    part = response(np.array([11.0, 11.5, 12.0]))
    assert (part > 0.2).all()
    assert (part < 0.8).all()
    assert (np.diff(part) > 0).all()


# Stein and Bacon 1976, "Effect of photoperiod upon age and maintenance of sexual development in
# female Coturnix coturnix japonica", Poult Sci: first egg at 42.8 d in 14 h, at 112.7 d in 8 h.
def test_first_egg_stein_and_bacon_1976() -> None:
    assert first_egg_age_d(14.0) == pytest.approx(42.8, abs=0.1)
    assert first_egg_age_d(8.0) == pytest.approx(112.7, abs=0.1)
    ages = [first_egg_age_d(hours) for hours in np.arange(8.0, 15.0, 0.5)]
    assert all(later <= earlier for earlier, later in pairwise(ages))


def test_a_line_that_matures_late_does_so_in_short_days_too() -> None:
    assert first_egg_age_d(14.0, 50.0) == pytest.approx(50.0)
    assert first_egg_age_d(8.0, 50.0) > first_egg_age_d(8.0)


# The same: hens stop 15 days (to 89 days old) or 6 days (from 140 days old) after a cut from 14
# to 8 h. The mean time to stop is the share still laying, added up over the days after the cut.
def test_days_to_stop_stein_and_bacon_1976() -> None:
    young, old = lay_of_young_and_old(response(changed(14.0, 8.0)))
    assert young[HALF_YEAR:].sum() == pytest.approx(15.0, abs=1.0)
    assert old[HALF_YEAR:].sum() == pytest.approx(6.0, abs=1.0)


# The same: 15 to 20 days (young), 5 days (old) to lay after a change from 8 to 14 h.
def test_days_to_restart_stein_and_bacon_1976() -> None:
    young, old = lay_of_young_and_old(response(changed(8.0, 14.0)))
    assert 15.0 <= (1 - young[HALF_YEAR:]).sum() <= 20.0
    assert (1 - old[HALF_YEAR:]).sum() == pytest.approx(5.0, abs=1.0)


def test_steady_light_keeps_lay_as_it_is() -> None:
    for hours in (8.0, 11.5, 14.0):
        lay = lay_by_light(response(np.full(60, hours)), 17.0, 15.0)
        assert lay == pytest.approx(np.full(60, response(np.array(hours))))
    assert lay_by_light(np.array([]), 17.0, 15.0).shape == (0,)


def test_lay_never_leaves_what_the_light_of_its_days_allows() -> None:
    hours = np.random.default_rng(1).uniform(6.0, 18.0, 400)
    lay = lay_by_light(response(hours), 17.0, 6.0)
    assert (lay >= 0).all()
    assert (lay <= 1).all()
    assert np.abs(np.diff(lay)).max() < 0.2  # "maintenance" lags: no jump from one day to the next


# A minute, as the day-length tests; 2 near 60 degrees, where astral's own error grows at both ends.
@pytest.mark.parametrize("latitude_deg", [60, 38.7, 0, -36.8, -55])
def test_natural_hours_agree_with_astral(latitude_deg: float) -> None:
    first, days = date(2027, 12, 1), 400
    observer = Observer(latitude_deg, 0)
    almanac = [
        (sunset(observer, on) - sunrise(observer, on)).total_seconds() / 3600 % 24
        for on in (first + timedelta(days=n) for n in range(days))
    ]
    hours = natural_hours(latitude_deg, first, days)
    minutes = 1 if abs(latitude_deg) < 60 else 2
    assert np.abs(hours - np.array(almanac)).max() < minutes / 60


def test_an_impossible_latitude_is_refused() -> None:
    with pytest.raises(ValueError, match="latitude"):
        natural_hours(91.0, date(2027, 1, 1), 3)


# Woodard and Abplanalp, reviewed on a Turkish page: half of the hens lay at 49 to 54 days.
# Narinc et al. 2013: first eggs in the literature from 35 days.
def test_lay_rises_where_published() -> None:
    ages_d = np.arange(0, 120)
    share = rise(ages_d / 7, 7.55)
    assert (share[:35] == 0).all()
    assert 49 <= ages_d[np.argmax(share >= 0.5)] <= 54
    assert share[91] > 0.95  # Sonoda, Ibaraki and Imai 1985: stable from week 13
    assert (np.diff(share) >= 0).all()


def test_lay_falls_with_age_and_never_before_its_plateau() -> None:
    ages_w = np.arange(0.0, 120.0)
    share = fall(ages_w, 0.006)
    assert (share[:13] == 1).all()
    assert (np.diff(share) <= 0).all()
    assert share[-1] == pytest.approx(np.exp(-0.006 * (ages_w[-1] - 14)))


def test_a_lamp_lengthens_days_and_shortens_none() -> None:
    natural = np.array([8.0, 12.0, 16.0])
    assert lit_hours(natural, 15.0).tolist() == [15.0, 15.0, 16.0]
    assert lit_hours(natural, None).tolist() == natural.tolist()
    for wrong in (-1.0, 24.5):
        with pytest.raises(ValueError, match="24 hours"):
            lit_hours(natural, wrong)

"""Lamp times: by hand, and that they keep to their limits at any place and date."""

from datetime import date
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from quailwright.husbandry.daylight import Halves, sun_halves
from quailwright.husbandry.lamp import (
    ENDS,
    lamp_hours,
    lamp_settings,
    light_h,
    lit_by_settings,
    most_light_h,
)

QUARTER, MINUTE = 0.25, 1 / 60
WEEK = 7


def same_day(rise_h: float, set_h: float, days: int) -> Halves:
    return Halves(np.full(days, (rise_h + set_h) / 2), np.full(days, rise_h), np.full(days, set_h))


@pytest.mark.parametrize(
    ("lamp", "hours"),
    [
        ([], 9.0),
        ([(5.5, 8.0)], 11.0),
        ([(16.0, 20.5)], 13.0),
        ([(5.5, 8.0), (16.0, 20.5)], 15.0),
        ([(5.5, 20.5)], 15.0),
        ([(10.0, 12.0)], 9.0),  # inside the day
        ([(4.0, 6.0)], 12.5),  # a dark hour and a half before sunrise, shorter than the night
        ([(20.0, 26.0)], 18.5),  # past midnight
        ([(-2.0, 8.0)], 18.5),  # from before midnight
        ([(0.0, 24.0)], 24.0),
        ([(16.0, 31.0)], 23.5),
        ([(16.0, 32.0)], 24.0),
    ],
)
def test_light_counts_from_first_to_last(lamp: list[tuple[float, float]], hours: float) -> None:
    assert light_h(7.5, 16.5, lamp) == pytest.approx(hours)


def test_a_polar_night_has_the_light_of_its_lamp() -> None:
    assert light_h(12.0, 12.0, []) == 0.0
    assert light_h(12.0, 12.0, [(4.0, 16.0)]) == pytest.approx(12.0)


# Nine hours of day, sunset 16:30. An hour a week: 10, 11, 12, 13, 14 h before 16:30.
def test_steps_of_an_hour_a_week_by_hand() -> None:
    settings = lamp_settings(same_day(7.5, 16.5, 70), 14.0, 9.0, "morning")
    assert [(one.first, one.lamp) for one in settings] == [
        (0, ((6.5, 7.5),)),
        (7, ((5.5, 7.5),)),
        (14, ((4.5, 7.5),)),
        (21, ((3.5, 7.5),)),
        (28, ((2.5, 7.5),)),
    ]
    assert lamp_hours(settings, 35) == pytest.approx(7 * (1 + 2 + 3 + 4 + 5))


def test_the_evening_and_both_ends_by_hand() -> None:
    day = same_day(7.5, 16.5, 7)
    assert lamp_settings(day, 14.0, 14.0, "evening")[0].lamp == ((16.5, 21.5),)
    assert lamp_settings(day, 14.0, 14.0, "both")[0].lamp == ((5.0, 7.5), (16.5, 19.0))


def test_two_spans_with_hardly_a_day_between_them_are_one() -> None:
    assert lamp_settings(same_day(11.9, 12.1, 7), 8.0, 8.0, "both")[0].lamp == ((8.0, 16.0),)
    assert lamp_settings(same_day(12.0, 12.0, 7), 8.0, 8.0, "both")[0].lamp == ((8.0, 16.0),)


def test_a_day_long_enough_needs_no_lamp() -> None:
    assert lamp_settings(same_day(5.0, 20.0, 30), 14.0, 15.0, "morning")[0].lamp == ()


def test_a_lamp_that_does_is_left_alone() -> None:
    now = [(2.4, 8.0)]
    settings = lamp_settings(same_day(7.5, 16.5, 30), 14.0, 14.1, "morning", now)
    assert [one.lamp for one in settings] == [tuple(now)]


def test_light_comes_down_by_an_hour_a_week_too() -> None:
    day = same_day(7.5, 16.5, 70)
    settings = lamp_settings(day, 12.0, 18.0, "morning", [(-1.5, 7.5)])
    lit = lit_by_settings(day, settings)
    assert lit[::WEEK].tolist() == [17, 16, 15, 14, 13, 12, 12, 12, 12, 12]


@given(
    latitude=st.floats(-65, 65),
    longitude=st.floats(-180, 180),
    first=st.dates(date(1990, 1, 1), date(2100, 1, 1)),
    target=st.floats(8, 16),
    end=st.sampled_from(ENDS),
)
def test_lamp_times_keep_to_their_limits_everywhere(
    latitude: float, longitude: float, first: date, target: float, end: str
) -> None:
    days = 371
    sun = sun_halves(latitude, longitude, first, days)
    natural = sun.set_h - sun.rise_h
    settings = lamp_settings(sun, target, float(natural[0]), end, ())  # type: ignore[arg-type]
    lit = lit_by_settings(sun, settings)
    step = 1.0
    # No week is longer than the one before by more than a step, but where nature makes it so.
    before, after = lit[:-WEEK], lit[WEEK:]
    rise = np.maximum(step, natural[WEEK:] - natural[:-WEEK])
    assert (after - before <= rise + MINUTE).all()
    # The timer makes no day longer than what leaves the birds their dark, and none shorter.
    assert (lit <= np.maximum(most_light_h(), natural) + 2 * MINUTE).all()
    assert (lit >= natural - MINUTE).all()
    # The target is reached within the weeks that it is away, and kept: within a notch of the timer
    # and what a week of sun moves.
    drift = np.abs(np.diff(natural)).max() * WEEK
    weeks = int(np.ceil(max(0.0, target - natural[0]) / (step - QUARTER - drift / 2))) + 1
    assume(drift < step)
    assert (lit[weeks * WEEK :] >= min(target, 16.0) - QUARTER - drift - MINUTE).all()
    # And it is not overshot by more than the slack and a notch, but by nature.
    over = np.maximum(natural, target + 0.5 + QUARTER + drift)
    assert (lit <= over + 2 * MINUTE).all()
    # Times lie on the notches of a timer, and two settings in a row differ.
    for one in settings:
        for on, off in one.lamp:
            assert on < off
            assert on / QUARTER == pytest.approx(round(on / QUARTER), abs=1e-6)
    assert all(a.lamp != b.lamp for a, b in pairwise(settings))


@pytest.mark.parametrize("end", ENDS)
@pytest.mark.parametrize("latitude", [75.0, -78.0, 90.0])
def test_lamp_times_through_polar_night_and_day(latitude: float, end: str) -> None:
    sun = sun_halves(latitude, 15.0, date(2027, 9, 1), 366)
    natural = np.minimum(24.0, sun.set_h - sun.rise_h)
    settings = lamp_settings(sun, 14.0, float(natural[0]), end, ())  # type: ignore[arg-type]
    lit = lit_by_settings(sun, settings)
    dark = natural == 0
    assert dark.any()
    assert lit[dark].max() == pytest.approx(14.0, abs=0.75)
    assert (lit[dark] <= 16.0).all()
    # Where night falls at a stroke it begins anew from nothing, an hour a week.
    in_the_dark = dark[:-WEEK] & dark[WEEK:]
    assert ((lit[WEEK:] - lit[:-WEEK])[in_the_dark] <= 1.0 + MINUTE).all()


@pytest.mark.parametrize("target", [-1.0, 16.5, float("nan")])
def test_a_day_no_lamp_should_make_is_refused(target: float) -> None:
    with pytest.raises(ValueError, match="16 h"):
        lamp_settings(same_day(7.5, 16.5, 7), target, 9.0, "morning")


def test_no_days_need_no_settings() -> None:
    nothing = same_day(7.5, 16.5, 0)
    assert lamp_settings(nothing, 14.0, 9.0, "morning") == []
    assert lit_by_settings(nothing, []).shape == (0,)

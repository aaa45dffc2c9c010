"""The scores held to closed forms and to forecasts that are right by construction."""

from datetime import date
from math import erf, exp, pi, sqrt

import numpy as np
import pytest
from numpy.random import default_rng
from studies.egg_references import last_month, logged_weeks, rule_of_thumb
from studies.forecast_scores import crps, held, pit, ratio_interval, within
from studies.outlook_scores import QUANTITIES, run, summary
from tests.makers import made

from quailwright.flock.fold import fold

TODAY = date(2027, 5, 30)


def crps_of_normal(mean: float, sd: float, came: float) -> float:
    """Closed form: Gneiting, Raftery, Westveld & Goldman 2005, Calibrated probabilistic forecasting
    using ensemble model output statistics, equation 5."""
    z = (came - mean) / sd
    density, below = exp(-z * z / 2) / sqrt(2 * pi), 0.5 * (1 + erf(z / sqrt(2)))
    return sd * (z * (2 * below - 1) + 2 * density - 1 / sqrt(pi))


@pytest.mark.parametrize("came", [-1.0, 3.0, 4.5, 9.0])
def test_crps_of_draws_nears_the_closed_form_of_the_normal(came: float) -> None:
    draws = default_rng(1).normal(3.0, 2.0, (200_000, 1))
    assert crps(draws, np.array([came]))[0] == pytest.approx(
        crps_of_normal(3.0, 2.0, came), rel=0.01
    )


def test_crps_does_not_favour_many_draws() -> None:
    """The fair estimator has the same mean for any number of draws (Ferro 2014)."""
    draws = default_rng(2).normal(3.0, 2.0, (3, 100_000))
    assert crps(draws, np.full(100_000, 4.5)).mean() == pytest.approx(
        crps_of_normal(3.0, 2.0, 4.5), rel=0.02
    )


def test_crps_by_all_pairs() -> None:
    draws = default_rng(3).poisson(4.0, (17, 5))
    came = np.array([0, 2, 4, 6, 20])
    pairs = np.abs(draws[:, None, :] - draws[None, :, :]).sum(axis=(0, 1)) / (17 * 16)
    assert crps(draws, came) == pytest.approx(np.abs(draws - came).mean(axis=0) - pairs / 2)


def test_crps_of_one_draw_is_the_absolute_error() -> None:
    assert crps(np.array([[5.0, 8.0]]), np.array([7.0, 8.0])).tolist() == [2.0, 0.0]


@pytest.mark.parametrize("mean", [0.05, 1.0, 30.0])
def test_places_of_counts_are_even_under_a_true_forecast(mean: float) -> None:
    rng = default_rng(4)
    draws, came = rng.poisson(mean, (400, 4000)), rng.poisson(mean, 4000)
    places = pit(draws, came, rng)
    for level in (0.5, 0.8, 0.9):
        assert within(places, level).mean() == pytest.approx(level, abs=0.025)
        assert held(draws, came, level).mean() >= level - 0.025


def test_places_tell_a_forecast_that_is_too_high() -> None:
    rng = default_rng(5)
    assert pit(rng.poisson(40, (200, 500)), rng.poisson(30, 500), rng).mean() < 0.2


def test_ratio_of_scores_and_its_interval() -> None:
    rng = default_rng(6)
    other = rng.gamma(2.0, 5.0, 300)
    ratio, low, high = ratio_interval(0.8 * other, other, rng)
    assert (ratio, low, high) == pytest.approx((0.8, 0.8, 0.8))
    assert np.isnan(ratio_interval(other, np.zeros(300), rng)).all()


def test_weeks_of_the_record_end_today_and_an_empty_one_counts() -> None:
    entries = [
        made("group", "2027-05-01", group="a", place="pen", hens=5),
        *(made("eggs_collected", f"2027-05-{day:02}", group="a", eggs=4) for day in range(10, 17)),
        made("eggs_collected", "2027-05-30", group="a", eggs=20),
    ]
    weeks = logged_weeks(fold(entries, TODAY), TODAY)
    assert weeks.eggs.tolist() == [28.0, 0.0, 20.0]
    assert weeks.told.tolist() == [True, False, True]


def test_last_month_is_its_mean_and_widens_to_no_record() -> None:
    entries = [
        made("group", "2027-05-01", group="a", place="pen", hens=5),
        *(made("eggs_collected", f"2027-05-{day:02}", group="a", eggs=4) for day in range(3, 31)),
    ]
    weeks = logged_weeks(fold(entries, TODAY), TODAY)
    drawn = last_month(weeks, 26, 4000, default_rng(7))
    assert np.median(drawn, axis=0) == pytest.approx(np.full(26, 28.0), rel=0.05)


def test_rule_of_thumb_counts_hens_and_those_that_come_of_age() -> None:
    """Four eggs from five hens a day; ten chicks of four weeks are five hens in three weeks."""
    entries = [
        made("group", "2027-05-01", group="a", place="pen", hens=5, hatched_on="2026-05-01"),
        made("group", "2027-05-10", group="b", place="brooder", chicks=10, hatched_on="2027-05-02"),
    ]
    eggs = rule_of_thumb(fold(entries, TODAY), TODAY, 26)
    assert eggs[:2] == pytest.approx([28.0, 28.0])
    assert eggs[4:] == pytest.approx(np.full(22, 56.0))


def test_plain_forecast_is_scored_alike_by_one_process_and_by_two() -> None:
    one, two = (run(6, 50, 9, jobs, "plain") for jobs in (1, 2))
    first, second = summary(one, 9), summary(two, 9)
    first.pop("seconds")
    second.pop("seconds")
    assert str(first) == str(second)
    assert [row["n"] for row in first["eggs"]] == [6] * 5
    assert {row["quantity"] for row in first["places"]} == {*QUANTITIES, "chicks of a hatch"}

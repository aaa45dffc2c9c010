"""Cumulative sums against printed run lengths, and against the chain that is exact."""

from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import betabinom, binom  # type: ignore[import-untyped]

from quailwright.guide.signs.change import (
    chance_below,
    interval_for,
    run_length,
    score_of_chance,
)

_NORMAL = NormalDist()


def simulated_run_length(k: float, h: float, runs: int, rng: np.random.Generator) -> float:
    """The same by brute force: normal scores, summed until the sum passes the interval."""
    total, length, lasting = np.zeros(runs), np.zeros(runs), np.ones(runs, bool)
    while lasting.any():
        total = np.maximum(0.0, total + rng.normal(size=runs) - k)
        length[lasting] += 1
        lasting &= total <= h
    return float(length.mean())


@pytest.mark.parametrize(
    ("h", "shift", "printed"),
    # Montgomery, Introduction to Statistical Quality Control, table of the average run length of
    # the tabular CUSUM with k = 1/2 (two-sided; from memory): 168 and 465 with nothing wrong.
    # One side alone runs twice as long; once the mean has moved, the other side adds nothing.
    [
        (4, 0.0, 2 * 168), (4, 0.5, 26.6), (4, 1.0, 8.38), (4, 1.5, 4.75), (4, 2.0, 3.34),
        (5, 0.0, 2 * 465), (5, 0.5, 38.0), (5, 1.0, 10.4), (5, 1.5, 5.75), (5, 2.0, 4.01),
    ],
)  # fmt: skip
def test_run_lengths_montgomery_table(h: float, shift: float, printed: float) -> None:
    assert run_length(0.5, h, shift) == pytest.approx(printed, rel=0.01)


@pytest.mark.parametrize(
    ("k", "h"),
    # Hawkins 1993, Cumulative sum control charting: an underutilized SPC tool, Quality
    # Engineering 5:463: k and h for a two-sided run length of 370 (from memory)
    [(0.25, 8.01), (0.5, 4.77), (0.75, 3.34), (1.0, 2.52), (1.25, 1.99), (1.5, 1.61)],
)
def test_decision_intervals_hawkins_1993(k: float, h: float) -> None:
    assert interval_for(k, 2 * 370.0) == pytest.approx(h, abs=0.02)


@pytest.mark.parametrize(("k", "observations"), [(0.3, 60), (0.8, 120), (1.6, 180)])
def test_intervals_keep_their_rate_by_brute_force(k: float, observations: int) -> None:
    runs = 4000
    mean = simulated_run_length(k, interval_for(k, observations), runs, np.random.default_rng(1))
    # run lengths are nearly exponential: their spread is their mean
    assert mean == pytest.approx(observations, rel=4 / runs**0.5 + 0.01)


def test_no_interval_without_a_rate() -> None:
    with pytest.raises(ValueError, match="above 0"):
        interval_for(0.0, 900)
    with pytest.raises(ValueError, match="rarer"):
        interval_for(0.5, 1)


@given(
    trials=st.integers(0, 60),
    part=st.floats(0, 1),
    mean=st.floats(0.02, 0.98),
    likeness=st.floats(0.001, 0.5),
)
def test_chances_scipy(trials: int, part: float, mean: float, likeness: float) -> None:
    """The beta-binomial of scipy.stats, which is a different code."""
    successes = round(part * trials)
    many = (1 - likeness) / likeness
    law = betabinom(trials, mean * many, (1 - mean) * many)
    expected = law.cdf(successes) - law.pmf(successes) / 2
    assert chance_below(successes, trials, mean, likeness) == pytest.approx(expected, abs=1e-7)


def test_chances_without_likeness_are_binomial() -> None:
    law = binom(15, 0.8)
    expected = law.cdf(9) - law.pmf(9) / 2
    assert chance_below(9, 15, 0.8, 0.0) == pytest.approx(expected, rel=1e-3)


def test_scores_are_standard_and_bounded() -> None:
    assert score_of_chance(0.5) == pytest.approx(0.0)
    assert score_of_chance(0.025) == pytest.approx(-1.959964, abs=1e-6)  # any normal table
    assert -8.1 < score_of_chance(0.0) < -7.9
    assert 7.9 < score_of_chance(1.0) < 8.3

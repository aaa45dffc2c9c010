"""Sequential change detection: a one-sided cumulative sum of standard scores (CUSUM).

Each new observation comes as a standard score: how far it lies from what was to be expected, in
standard deviations, above 0 the way that means trouble. The sum grows while scores stay above the
reference value `k` and falls to 0 while they do not; a sign stands when it passes the decision
interval `h`. `h` follows from how seldom it may do so while nothing is wrong.
"""

import math
from functools import cache
from statistics import NormalDist

from quailwright.language import say

_NORMAL = NormalDist()
_OVERSHOOT = 1.166
"""Mean overshoot of the boundary, twice 0.583: Siegmund 1985, Sequential Analysis, chapter X."""
_FARTHEST = 8.0
"""Scores are cut off here: beyond, a tail's chance says nothing more."""


def run_length(k: float, h: float, shift: float = 0.0) -> float:
    """Mean number of observations up to the sign, started from 0 (average run length, ARL).

    Args:
        k: reference value, in standard deviations, above 0.
        h: decision interval, in standard deviations, 0 or more.
        shift: by how much the mean score is off, in standard deviations.

    Returns:
        Mean run length [observations]. Within 3 % of exact for h of 3 and more at no shift.

    Source: Siegmund 1985, Sequential Analysis: Tests and Confidence Intervals, Springer, the
    corrected diffusion approximation. Certainty: published (the formula from memory; the tests
    hold it against printed tables).
    """
    drift, reach = shift - k, h + _OVERSHOOT
    if abs(drift) < 1e-9:
        return reach**2
    turn = 2.0 * drift * reach
    return (math.exp(-turn) + turn - 1.0) / (2.0 * drift**2)


@cache
def interval_for(k: float, observations: float) -> float:
    """The decision interval at which a false sign comes once in so many observations.

    Args:
        k: reference value, in standard deviations, above 0.
        observations: mean run length wanted while nothing is wrong, 2 or more.

    Raises:
        ValueError: k not above 0, or fewer than 2 observations.
    """
    if not (k > 0 and observations >= 2):
        raise ValueError(
            say("The reference value is above 0, and a false sign rarer than every second day.")
        )
    low, high = 0.0, 50.0
    for _ in range(60):
        middle = (low + high) / 2.0
        low, high = (middle, high) if run_length(k, middle) < observations else (low, middle)
    return high


def score_of_chance(chance: float) -> float:
    """The standard score below which that chance lies; cut off at 8 to either side."""
    lowest = _NORMAL.cdf(-_FARTHEST)
    return _NORMAL.inv_cdf(min(max(chance, lowest), 1.0 - 1e-15))


def chance_below(successes: int, trials: int, mean: float, likeness: float) -> float:
    """Chance of fewer successes than these, plus half of that of as many (mid-P), beta-binomial.

    Args:
        successes: 0 to `trials`.
        trials: 0 or more.
        mean: mean share of successes, above 0, below 1.
        likeness: correlation between two trials of one day, 0 or more, below 1; 0: binomial.

    Returns:
        0 to 1.

    Source: Skellam 1948, J R Stat Soc B 10:257 (the distribution); Lancaster 1961, J Am Stat
    Assoc 56:223 (mid-P).
    """
    if trials <= 0:
        return 0.5
    many = (1.0 - likeness) / max(likeness, 1e-6)
    a, b = mean * many, (1.0 - mean) * many
    here = math.exp(
        math.lgamma(trials + 1) - math.lgamma(successes + 1) - math.lgamma(trials - successes + 1)
        + math.lgamma(successes + a) + math.lgamma(trials - successes + b)
        - math.lgamma(trials + a + b)
        + math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b)
    )  # fmt: skip
    total, term = here / 2.0, here
    for count in range(successes, 0, -1):
        term *= count * (trials - count + b) / ((trials - count + 1) * (count - 1 + a))
        total += term
        if term < 1e-12 * total:
            break
    return min(1.0, total)

"""Sequential change detection: a one-sided cumulative sum of standard scores (CUSUM).

Each new observation comes as a standard score: how far it lies from what was to be expected, in
standard deviations, above 0 the way that means trouble. The sum grows while scores stay above the
reference value `k` and falls to 0 while they do not; a sign stands when it passes the decision
interval `h`. `h` follows from how seldom it may do so while nothing is wrong.
"""

import math
from functools import lru_cache
from statistics import NormalDist

from quailwright.language import say

_NORMAL = NormalDist()
_STATES = 40
"""Parts into which the sum is cut: run lengths are then within 1 % of exact."""
_OVERSHOOT = 1.166
"""Twice the mean overshoot of a boundary by a normal walk: Siegmund 1985, Sequential Analysis."""
_FARTHEST = 8.0
"""Scores are cut off here: beyond, a tail's chance says nothing more."""


def run_length(k: float, h: float, shift: float = 0.0) -> float:
    """Mean number of observations up to the sign, started from 0 (average run length, ARL).

    The sum is cut into equal parts and followed as a Markov chain.

    Args:
        k: reference value, in standard deviations, above 0.
        h: decision interval, in standard deviations, above 0.
        shift: by how much the mean score is off, in standard deviations.

    Returns:
        Mean run length [observations].

    Source: Brook and Evans 1972, An approach to the probability distribution of CUSUM run length,
    Biometrika 59:539-549. Certainty: published.
    """
    import numpy as np

    width = 2.0 * h / (2 * _STATES - 1)
    steps = range(-_STATES, _STATES)
    below = np.array([_NORMAL.cdf((step + 0.5) * width + k - shift) for step in steps])
    part = np.arange(_STATES)
    from_to = part[None, :] - part[:, None] + _STATES
    chain = below[from_to] - below[from_to - 1]
    chain[:, 0] = below[from_to[:, 0]]
    means = np.linalg.solve(np.eye(_STATES) - chain, np.ones(_STATES))
    return float(means[0])


@lru_cache(4096)
def interval_for(k: float, observations: float) -> float:
    """The decision interval at which a false sign comes once in so many observations.

    Args:
        k: reference value, in standard deviations, above 0.
        observations: mean run length wanted while nothing is wrong, 2 or more.

    Returns:
        In standard deviations, to 1 % of the run length.

    Raises:
        ValueError: k not above 0, or fewer than 2 observations.
    """
    if not (k > 0 and observations >= 2):
        raise ValueError(
            say("The reference value is above 0, and a false sign rarer than every second day.")
        )
    interval, wanted = _rough_interval(k, observations), math.log(observations)
    for _ in range(_REFININGS):
        # The run length grows as exp(2 k h) for long runs.
        interval += (wanted - math.log(run_length(k, interval))) / (2.0 * k)
        interval = max(interval, 0.01)
    return interval


_REFININGS = 4


def _rough_interval(k: float, observations: float) -> float:
    """By Siegmund's approximation, (exp(2kb) - 2kb - 1) / 2k² with b = h + 1.166."""
    turn = math.log(2.0 * k**2 * observations + 1.0)
    for _ in range(_REFININGS):
        turn = math.log(2.0 * k**2 * observations + 1.0 + turn)
    return max(0.05, turn / (2.0 * k) - _OVERSHOOT)


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

"""Scores of a forecast in draws against what came: pure functions of arrays.

Draws are the first axis, (draws, ...); what came has the other axes.
"""

from typing import Any

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Numbers = NDArray[Any]


def crps(draws: Numbers, came: Numbers) -> Floats:
    """The continuous ranked probability score of each item, in its unit; less is better.

    The fair estimator, E|X - y| - sum |Xi - Xj| / (2 m (m - 1)), whose mean does not depend on the
    number of draws m (Ferro 2014, Fair scores for ensemble forecasts). One draw is a forecast
    without a spread: its score is the absolute error.
    """
    number = draws.shape[0]
    error: Floats = np.abs(draws - came).mean(axis=0)
    if number == 1:
        return error
    ordered = np.sort(draws, axis=0).astype(np.float64)
    weight = 2.0 * np.arange(1, number + 1) - number - 1.0
    between = np.einsum("i,i...->...", weight, ordered)
    score: Floats = error - between / (number * (number - 1.0))
    return score


def pit(draws: Numbers, came: Numbers, rng: Generator) -> Floats:
    """Where what came stands among the draws, between 0 and 1; even over many honest forecasts.

    Drawn at random over the draws that equal it, so that counts do not seem better covered than
    they are (Czado, Gneiting & Held 2009, Predictive model assessment for count data).
    """
    below = (draws < came).sum(axis=0)
    same = (draws == came).sum(axis=0)
    stands: Floats = (below + rng.random(below.shape) * (same + 1.0)) / (draws.shape[0] + 1.0)
    return stands


def within(stands: Floats, level: float) -> Bools:
    """Whether a place from `pit` lies in the central interval of that level."""
    inside: Bools = np.abs(stands - 0.5) <= level / 2.0
    return inside


def held(draws: Numbers, came: Numbers, level: float) -> Bools:
    """Whether what came lies in the central interval as it is shown, both ends counted."""
    low, high = np.quantile(draws, (0.5 - level / 2.0, 0.5 + level / 2.0), axis=0)
    inside: Bools = (low <= came) & (came <= high)
    return inside


def share_interval(hits: Bools, rng: Generator, repeats: int = 1000) -> tuple[float, float, float]:
    """The share of true items with its 95 % bootstrap interval. Rows (first axis) stay whole."""
    rows = hits.reshape(hits.shape[0], -1).mean(axis=1)
    picked = rng.integers(0, rows.size, (repeats, rows.size))
    low, high = np.quantile(rows[picked].mean(axis=1), (0.025, 0.975))
    return float(rows.mean()), float(low), float(high)


def ratio_interval(
    mine: Floats, other: Floats, rng: Generator, repeats: int = 1000
) -> tuple[float, float, float]:
    """The ratio of mean scores (mine / other) over the same flocks, (flocks,) each, with its 95 %
    bootstrap interval. NaN where the other is nothing."""
    picked = rng.integers(0, mine.size, (repeats, mine.size))
    below = other[picked].mean(axis=1)
    if not other.mean() > 0.0 or not (below > 0.0).all():
        return (float("nan"),) * 3
    low, high = np.quantile(mine[picked].mean(axis=1) / below, (0.025, 0.975))
    return float(mine.mean() / other.mean()), float(low), float(high)


def histogram(stands: Floats, bins: int = 10) -> list[int]:
    """How many places from `pit` lie in each of equal bins."""
    return [int(n) for n in np.histogram(stands, bins=bins, range=(0.0, 1.0))[0]]

"""Age of a bird, as every table by age counts it."""

import math

from quailwright.language import say

DAYS_A_WEEK = 7
DAYS_A_YEAR = 365.25


def checked_age_d(age_d: float) -> float:
    """The age itself, if it can be an age.

    Args:
        age_d: age [d] from hatch.

    Returns:
        `age_d` [d].

    Raises:
        ValueError: below 0, not a number or without end.
    """
    if not (math.isfinite(age_d) and age_d >= 0):
        raise ValueError(say("A bird cannot be {days:g} days old.", days=age_d))
    return age_d


def week_of_life(age_d: float) -> int:
    """The week of life that an age falls in, 1 for the first seven days from hatch.

    Args:
        age_d: age [d] from hatch, 0 or more.

    Returns:
        Week, 1 or more.

    Raises:
        ValueError: as `checked_age_d`.
    """
    return int(checked_age_d(age_d) // DAYS_A_WEEK) + 1

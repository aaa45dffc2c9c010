"""Deaths by age."""

import math
from typing import Literal

from quailwright.husbandry import facts
from quailwright.husbandry.age import week_of_life
from quailwright.language import say

CHICK_WEEKS = 3

Sex = Literal["chick", "hen", "cock"]


def weekly_death_rate(age_d: float, sex: Sex) -> float:
    """Share of living birds of this age that die in a week.

    By week for the first three weeks, then one rate for growing birds, then one for hens and one
    for cocks. A bird not yet sexed ("chick") past the growing age has the mean of the two, as
    half the birds of a hatch are cocks.

    Args:
        age_d: age [d] from hatch, 0 or more.
        sex: "hen", "cock", or "chick" for a bird not sexed.

    Returns:
        Fraction a week, 0 to 1.

    Raises:
        ValueError: age below 0.

    Source: Effect of season on mortality, Int Res J Biol Sci 4(7):29-33, 2015, for chicks
    (published); between 0.14 and 1.28 % a week in four sources for hens, 0.6 of that for cocks
    (inferred: cocks outlive hens, but no weekly figure for them was found).
    """
    week = week_of_life(age_d)
    if week <= CHICK_WEEKS:
        return facts.value(f"survival.chick_week_{week}")
    if age_d < facts.value("survival.grower_until_d"):
        return facts.value("survival.grower_week")
    hen = facts.value("survival.adult_week_hen")
    cock = facts.value("survival.adult_week_cock")
    return by_sex(sex, hen, cock)


def by_sex(sex: Sex, hen: float, cock: float) -> float:
    """The figure of this sex; for a bird not sexed, the mean of both as they come from the egg."""
    match sex:
        case "hen":
            return hen
        case "cock":
            return cock
        case "chick":
            cocks = facts.value("survival.cocks_at_hatch")
            return cocks * cock + (1.0 - cocks) * hen


def chance_of_as_many(deaths: int, expected: float, shape: float) -> float:
    """Chance that so many birds die, or more, where losses are as usual.

    Deaths are Poisson at a rate that differs from flock to flock by a Gamma distribution, so that
    their number is negative binomial. It is exact for that, and holds while few of many die.

    Args:
        deaths: 0 or more.
        expected: mean number of deaths in that time, 0 or more.
        shape: of the Gamma distribution, above 0; the smaller, the more flocks differ.

    Returns:
        Chance, 0 to 1; it falls with `deaths` and rises with `expected`.

    Raises:
        ValueError: an argument out of range.

    Source: Greenwood and Yule 1920, J R Stat Soc 83:255-279. Certainty: published (method).
    """
    if deaths < 0 or not expected >= 0.0 or not shape > 0.0:
        raise ValueError(say("Deaths and what is expected are 0 or more, the shape above 0."))
    if deaths == 0:
        return 1.0
    if expected == 0.0:
        return 0.0
    p = expected / (shape + expected)
    fewer = math.fsum(
        math.exp(
            math.lgamma(shape + k)
            - math.lgamma(shape)
            - math.lgamma(k + 1)
            + shape * math.log1p(-p)
            + k * math.log(p)
        )
        for k in range(deaths)
    )
    if fewer < _NEAR_ALL:
        return 1.0 - fewer
    term = math.exp(
        math.lgamma(shape + deaths)
        - math.lgamma(shape)
        - math.lgamma(deaths + 1)
        + shape * math.log1p(-p)
        + deaths * math.log(p)
    )
    tail, k = 0.0, deaths
    while term > tail * _SMALLEST_PART:
        tail += term
        term *= p * (shape + k) / (k + 1)
        k += 1
    return tail


_NEAR_ALL = 0.999
"""Above this the tail is summed by itself, so that small chances keep their digits."""
_SMALLEST_PART = 1e-15


def spread_of_losses(age_d: float) -> float:
    """Shape of the Gamma distribution by which losses at an age differ from flock to flock.

    For chicks that of the Beta prior of the week; for older birds the one with the same spread
    as the log-normal prior.

    Args:
        age_d: age [d] from hatch, 0 or more.

    Raises:
        ValueError: age below 0.

    Source: `facts/survival.csv`. Certainty: inferred.
    """
    week = week_of_life(age_d)
    if week <= CHICK_WEEKS:
        return facts.value(f"survival.chick_week_{week}_beta_a")
    return 1.0 / math.expm1(_log_sd(age_d) ** 2)


def mean_over_median(age_d: float) -> float:
    """Mean of the published losses at an age over the figure that `weekly_death_rate` gives.

    1 for chicks, whose figure is a mean; above 1 for older birds, whose figure is a median.
    """
    if week_of_life(age_d) <= CHICK_WEEKS:
        return 1.0
    return math.exp(_log_sd(age_d) ** 2 / 2)


def _log_sd(age_d: float) -> float:
    young = age_d < facts.value("survival.grower_until_d")
    return facts.value(f"survival.{'grower_week' if young else 'adult_week_hen'}_log_sd")

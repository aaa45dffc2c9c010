"""Deaths by age."""

from typing import Literal

from quailwright.husbandry import facts
from quailwright.husbandry.age import week_of_life

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

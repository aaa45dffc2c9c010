"""What the birds of a group are to eat, by age, sex and lay."""

from datetime import date
from functools import cache

from quailwright.flock.cohorts import Cohort
from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.husbandry.feeding import intake_of_g_per_day


def eaten_g_per_day(cohort: Cohort, day: date, laying: float = 1.0) -> float:
    """Feed that a cohort eats in a day by its age [g]; hens out of lay eat as cocks do."""
    by_cock, by_hen, may_lay = intake_g(cohort.age_d(day))
    hens = cohort.hens + cohort.chicks / 2
    cocks = cohort.cocks + cohort.chicks / 2
    if may_lay:
        by_hen = by_cock + (by_hen - by_cock) * min(1.0, laying)
    return hens * by_hen + cocks * by_cock


@cache
def intake_g(age_d: int | None) -> tuple[float, float, bool]:
    """Feed that a cock and a hen in lay eat in a day [g], and whether hens of that age may lay."""
    if age_d is None:
        age_d = int(facts.value("laying.unknown_age_w") * DAYS_A_WEEK)
    earliest, _ = facts.spread("laying.first_egg_age_d")
    by_cock, by_hen = intake_of_g_per_day(age_d, "cock"), intake_of_g_per_day(age_d, "hen")
    return by_cock, by_hen, age_d >= earliest

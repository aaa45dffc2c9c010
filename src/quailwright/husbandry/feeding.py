"""Which feed, and how much of it, by age."""

from typing import Literal

from quailwright.husbandry import facts
from quailwright.husbandry.age import checked_age_d, week_of_life

GROWING_WEEKS = 8

Line = Literal["egg", "dual", "meat"]
Stage = Literal["starter", "grower", "layer"]

_TABLE: dict[Line, str] = {"egg": "_light", "dual": "", "meat": "_heavy"}


def intake_g_per_day(age_d: float, line: Line = "dual") -> float:
    """Feed that one bird eats in a day, spill not counted (``feeding.wastage``).

    One figure a week for eight weeks, then that of a laying hen. Grown cocks eat less
    (``feeding.intake_adult_cock_g_d``). No weekly table for quail could be found in print: the
    weeks are set so that their totals agree with published totals.

    Args:
        age_d: age [d] from hatch, 0 or more.
        line: "egg" for small layers, "dual" for the usual home bird, "meat" for the largest.

    Returns:
        Feed [g/d].

    Raises:
        ValueError: age below 0.

    Source: totals of the growing trials and intake of hens listed in ``facts/feeding.csv``.
    Certainty: inferred for growing birds, published for hens.
    """
    week = week_of_life(age_d)
    if week <= GROWING_WEEKS:
        return facts.value(f"feeding.intake{_TABLE[line]}_week_{week}")
    return facts.value(f"feeding.intake_adult{_TABLE[line]}_g_d")


def stage(age_d: float) -> Stage:
    """The feed that suits this age: starter, grower or layer.

    Layer feed earlier harms birds that do not lay yet, by its calcium.

    Args:
        age_d: age [d] from hatch, 0 or more.

    Returns:
        "starter" to 3 weeks, "grower" to 6, then "layer".

    Raises:
        ValueError: age below 0.

    Source: Lee et al. 1977, cited by Shim and Vohra 1984; growing quails in the tropics, Indian J
    Anim Sci. Certainty: published to 3 weeks, inferred to 6.
    """
    if checked_age_d(age_d) < facts.value("feeding.starter_until_d"):
        return "starter"
    if age_d < facts.value("feeding.grower_until_d"):
        return "grower"
    return "layer"

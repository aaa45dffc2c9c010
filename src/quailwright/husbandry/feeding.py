"""Which feed, and how much of it, by age."""

from typing import Literal

from quailwright.husbandry import facts
from quailwright.husbandry.age import checked_age_d, week_of_life
from quailwright.husbandry.survival import Sex, by_sex

GROWING_WEEKS = 8

Line = Literal["egg", "dual", "meat"]
Stage = Literal["starter", "grower", "layer"]
STAGES: tuple[Stage, ...] = ("starter", "grower", "layer")

_TABLE: dict[Line, str] = {"egg": "_light", "dual": "", "meat": "_heavy"}


def intake_g_per_day(age_d: float, line: Line = "dual") -> float:
    """Feed that a growing bird or a hen eats in a day, spill not counted (``feeding.wastage``).

    One figure a week for eight weeks, then that of a laying hen; for cocks, who eat less when
    grown, see `intake_of_g_per_day`. No weekly table for quail could be found in print: the
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


def intake_of_g_per_day(age_d: float, sex: Sex, line: Line = "dual") -> float:
    """Feed that one bird of this sex eats in a day, spill not counted (``feeding.wastage``).

    Hens as `intake_g_per_day`. Cocks as hens while they grow, but never more than a grown cock:
    15 g, and in the egg and meat lines as much more or less as the hens of those lines eat.
    Flocks spread about it by ``feeding.intake_flock_cv``.

    Args:
        age_d: age [d] from hatch, 0 or more.
        sex: "hen", "cock", or "chick" for a bird not sexed, which has the mean of the two.
        line: "egg" for small layers, "dual" for the usual home bird, "meat" for the largest.

    Returns:
        Feed [g/d].

    Raises:
        ValueError: age below 0.

    Source: grown cock, New South Wales DPI, Raising Japanese quail (Primefact 602), from memory;
    the rest as `intake_g_per_day`. Certainty: inferred.
    """
    hen = intake_g_per_day(age_d, line)
    size = facts.value(f"feeding.intake_adult{_TABLE[line]}_g_d") / facts.value(
        "feeding.intake_adult_g_d"
    )
    cock = min(hen, size * facts.value("feeding.intake_adult_cock_g_d"))
    return by_sex(sex, hen, cock)


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

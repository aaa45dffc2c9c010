"""Room for a bird."""

from quailwright.husbandry import facts
from quailwright.husbandry.age import week_of_life


def floor_m2_per_bird(age_d: float) -> facts.Figure:
    """Floor area that a bird of this age needs, with its source; see `facts.rows` for the others.

    Args:
        age_d: age [d] from hatch, 0 or more.

    Returns:
        The default figure [m²]. Sources disagree two- to threefold for chicks and tenfold for
        adults; ``housing.floor_m2_adult_minimum`` is the least.

    Raises:
        ValueError: age below 0.

    Source: as each row says. Certainty: inferred, between cage trials and welfare advice.
    """
    week = week_of_life(age_d)
    if week == 1:
        return facts.figure("brooding.floor_week_1")
    if week <= 3:
        return facts.figure("brooding.floor_week_2_3")
    if week <= 6:
        return facts.figure("brooding.floor_week_4_6")
    return facts.figure("housing.floor_m2_adult")

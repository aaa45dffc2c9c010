"""What inbreeding of chicks costs against other inbreeding: hatch, chicks and eggs."""

from dataclasses import dataclass

from quailwright.husbandry.inheritance.depression import (
    chicks_kept,
    chicks_kept_range,
    kept,
    points_lost,
)


@dataclass(frozen=True, slots=True)
class Cost:
    """What is lost, as published trials of full-sib lines have it.

    Attributes:
        hatch: share of the hatch of fertile eggs.
        survival: share of chicks that would live to 4 weeks.
        chicks, chicks_low, chicks_high: share of both together; the range is that of lines.
        eggs: points of hen-day lay, once the chicks are hens: eggs of 100 days of a hen.
    """

    hatch: float
    survival: float
    chicks: float
    chicks_low: float
    chicks_high: float
    eggs: float


def cost_of(inbreeding: float, instead_of: float = 0.0) -> Cost:
    """What chicks' inbreeding costs, where they would else be inbred less, or not at all.

    Args:
        inbreeding, instead_of: of the chicks, 0 to 1.

    Source: as `husbandry.inheritance.depression`.
    """
    low, high = chicks_kept_range(inbreeding)
    low_else, high_else = chicks_kept_range(instead_of)
    return Cost(
        1 - float(kept("hatch", inbreeding) / kept("hatch", instead_of)),
        1 - float(kept("survival", inbreeding) / kept("survival", instead_of)),
        1 - float(chicks_kept(inbreeding) / chicks_kept(instead_of)),
        1 - float(high / high_else),
        1 - float(low / low_else),
        float(points_lost("lay", inbreeding) - points_lost("lay", instead_of)),
    )

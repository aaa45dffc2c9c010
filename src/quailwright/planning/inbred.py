"""What inbreeding costs in hatch, chicks and eggs, by published losses."""

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Share:
    """A share with the least and the most that sources give."""

    middle: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Cost:
    """Shares lost to inbreeding: of chicks hatched, of chicks that live, of eggs of the hens."""

    hatch: Share
    survival: Share
    eggs: Share


def cost_of(inbreeding: float, instead_of: float = 0.0) -> Cost:
    """What inbreeding of chicks costs, against another inbreeding (none): shares of what would be.

    Args:
        inbreeding, instead_of: of the chicks, 0 to 1.
    """
    more = inbreeding - instead_of

    def lost(rate: float) -> float:
        return 1 - math.exp(-rate * more)

    return Cost(
        Share(lost(1.25), lost(1.0), lost(2.0)),
        Share(lost(0.75), lost(0.6), lost(1.0)),
        Share(lost(0.5), lost(0.3), lost(0.6)),
    )

"""What heat and cold do to lay and to feed eaten."""

import numpy as np
from numpy.typing import NDArray

from quailwright.husbandry import facts
from quailwright.language import say

Array = NDArray[np.float64]


def lay_factor(air_c: float | Array) -> Array:
    """Eggs in such air over those in mild air.

    None are lost up to 33 °C; then a straight line down, whose slope is a judgement. It holds for
    heat of many hours each day: 2 hours a day at 35 to 36 °C for a week did nothing.

    Args:
        air_c: temperature of the birds' air through the hot hours [°C].

    Returns:
        Factor, 0 to 1, of the shape of `air_c`.

    Raises:
        ValueError: not a number, or without end.

    Source: UNESP cyclic heat study of Japanese quail, 24 to 36 °C (no effect to 33, lower at 36);
    Arch Anim Breed 2004, 47:93 (lower at 35 °C constant). Certainty: published where it begins,
    inferred how far it falls.
    """
    above = np.maximum(0.0, _air(air_c) - facts.value("housing.heat_lay_none_c"))
    return np.maximum(0.0, 1.0 + facts.value("housing.heat_lay_per_c") * above)


def feed_factor(air_c: float | Array) -> Array:
    """Feed eaten in such air over that in mild air, 18 to 26 °C.

    Trials disagree: 14.75 % less at 32 than at 24 °C in one, no difference from 23 to 35 °C in
    another; the line lies between them.

    Args:
        air_c: mean temperature of the birds' air by day [°C].

    Returns:
        Factor, 0 or more, above 1 in the cold, of the shape of `air_c`.

    Raises:
        ValueError: not a number, or without end.

    Source: ``feeding.heat_intake_per_c`` and ``feeding.cold_intake_per_c``; Santos et al. 2019,
    Poult Sci 98:2830. Certainty: inferred.
    """
    air = _air(air_c)
    above = np.maximum(0.0, air - facts.value("feeding.heat_intake_from_c"))
    below = np.maximum(0.0, facts.value("feeding.cold_intake_below_c") - air)
    change = (
        facts.value("feeding.heat_intake_per_c") * above
        + facts.value("feeding.cold_intake_per_c") * below
    )
    return np.maximum(0.0, 1.0 + change)


def _air(air_c: float | Array) -> Array:
    air = np.asarray(air_c, float)
    if not np.all(np.isfinite(air)):
        raise ValueError(say("The temperature of the birds' air is a number of °C."))
    return air

"""Droppings to clear away or to compost."""

import numpy as np
from numpy.typing import NDArray

from quailwright.husbandry import facts
from quailwright.husbandry.feeding import intake_of_g_per_day
from quailwright.husbandry.survival import Sex
from quailwright.language import say

Array = NDArray[np.float64]
_G_PER_KG = 1000.0


def droppings_kg(birds: float | Array, days: float | Array) -> Array:
    """Fresh droppings of grown birds, at 70 to 75 % water; growing birds leave less.

    No weighing of quail droppings was found in print, so this is an estimate: 25 to 38 g a bird
    and day (``housing.manure_g_d``).

    Args:
        birds: grown birds, 0 or more.
        days: days, 0 or more.

    Returns:
        Mass [kg], of the shape that the arguments make together.

    Raises:
        ValueError: birds or days below 0 or not a number.

    Source: mass balance from 23 to 30 g feed a day. Certainty: inferred.
    """
    return _bird_days(birds, days) * facts.value("housing.manure_g_d") / _G_PER_KG


def nitrogen_kg(birds: float | Array, days: float | Array) -> Array:
    """Nitrogen in the droppings of grown birds, before any of it is lost as ammonia.

    Args:
        birds: grown birds, 0 or more.
        days: days, 0 or more.

    Returns:
        Mass [kg], of the shape that the arguments make together.

    Raises:
        ValueError: as `droppings_kg`.

    Source: mass balance from 23 to 30 g a day of feed with 20 % protein, less that in the eggs.
    Certainty: inferred.
    """
    return _bird_days(birds, days) * facts.value("housing.manure_nitrogen_g_d") / _G_PER_KG


def as_grown(age_d: float, sex: Sex) -> float:
    """What a bird of this age leaves, as part of what a laying hen leaves: as it eats.

    Args:
        age_d: age [d] from hatch, 0 or more.
        sex: "hen", "cock", or "chick" for a bird not sexed.

    Returns:
        Part, 0 to 1.

    Raises:
        ValueError: age below 0.

    Source: the feed of each age, as `intake_of_g_per_day` has it; droppings follow what is eaten.
    Certainty: inferred.
    """
    eaten = intake_of_g_per_day(age_d, sex) / facts.value("feeding.intake_adult_g_d")
    return min(1.0, eaten)


def _bird_days(birds: float | Array, days: float | Array) -> Array:
    number, time = np.asarray(birds, float), np.asarray(days, float)
    if not (np.all(number >= 0) and np.all(time >= 0)):
        raise ValueError(say("Birds and days are 0 or more."))
    bird_days: Array = number * time
    return bird_days

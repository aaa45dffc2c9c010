"""The traits that a keeper may choose by, with what is published of them."""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from quailwright.husbandry import facts

Array = NDArray[np.float64]
TraitName = Literal["weight", "eggs", "egg_weight"]
TRAITS: tuple[TraitName, ...] = ("weight", "eggs", "egg_weight")


@dataclass(frozen=True, slots=True)
class Trait:
    """A trait: body weight [g], eggs of a hen in 90 days of full lay, or egg weight [g].

    Attributes:
        heritability: h2 of a bird's own value, over 90 days or several eggs.
        heritability_sd: how far that of one flock may lie from it.
        spread: standard deviation between birds of one hatch and sex, part of the mean.
        pen_spread: between pens of like birds, part of the mean.
    """

    name: TraitName
    heritability: float
    heritability_sd: float
    spread: float
    pen_spread: float


def trait(name: TraitName) -> Trait:
    """A trait by its name."""
    spread = "growth.between_bird_cv" if name == "weight" else f"selection.{name}_spread"
    return Trait(
        name,
        facts.value(f"selection.{name}_heritability"),
        facts.value(f"selection.{name}_heritability_sd"),
        facts.value(spread),
        facts.value(f"selection.{name}_pen_spread"),
    )


def genetic_correlations() -> Array:
    """Genetic correlations of `TRAITS`, (3, 3)."""
    return _correlations("genetic")


def phenotypic_correlations() -> Array:
    """Correlations of `TRAITS` as seen on the birds, (3, 3)."""
    return _correlations("phenotypic")


def _correlations(kind: str) -> Array:
    found = np.eye(len(TRAITS))
    for i, one in enumerate(TRAITS):
        for j, other in enumerate(TRAITS[:i]):
            found[i, j] = found[j, i] = facts.value(f"selection.{other}_{one}_{kind}")
    return found


def eggs_noise(rate: float, days: float) -> float:
    """Variance of eggs in 90 days as so many days of one hen tell them, about her true number.

    Each day is taken by itself, an egg or none; hens lay in runs, which makes the true figure
    lower. Certainty: inferred.

    Args:
        rate: eggs a hen a day, 0 to 1.
        days: days counted, above 0.
    """
    over_d = facts.value("selection.eggs_over_d")
    return over_d * over_d * rate * (1 - rate) / days


def egg_weight_noise(mean_g: float, eggs: float) -> float:
    """Variance of the mean weight of so many eggs about what the hen lays in the long run [g2]."""
    return (mean_g * facts.value("selection.egg_within_hen_spread")) ** 2 / eggs


def accuracy_of_days(rate: float, days: float) -> float:
    """Correlation of eggs counted on so many days with the hen's breeding value for eggs.

    Args:
        rate: eggs a hen a day of the flock, above 0 and below 1.
        days: days counted, above 0.
    """
    over_d = facts.value("selection.eggs_over_d")
    usual = trait("eggs")
    variance = (usual.spread * rate * over_d) ** 2
    lasting = variance - eggs_noise(rate, over_d)
    genes = usual.heritability * variance
    return math.sqrt(genes / (max(lasting, genes) + eggs_noise(rate, days)))

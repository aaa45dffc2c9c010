"""The gain of selection by chance, bird by bird, and the inbreeding that the choice itself adds."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quailwright.husbandry.selection.response import Scheme

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Simulated:
    """Draws (rows) by generation (columns), the first column being the first chicks.

    Attributes:
        gain: mean breeding value of the chicks, above the start.
        inbreeding: mean inbreeding of the chicks.
    """

    gain: Array
    inbreeding: Array


def simulated(
    scheme: Scheme,
    generations: int,
    draws: int,
    rng: np.random.Generator,
    chosen: bool = True,
) -> Simulated:
    """Flocks that keep the best by their own record, from unrelated birds.

    Many genes of small effect: a chick has the mean of its parents and a part of its own, less so
    where they are inbred. Each chick has a father and a mother drawn from those kept. Each draw
    has a heritability of its own by `scheme.heritability_sd`.

    Args:
        scheme: who is kept of how many.
        generations, draws: 1 or more.
        rng: where chance comes from.
        chosen: False: those kept are drawn at random, to compare.
    """
    n = scheme.of_cocks + scheme.of_hens
    told = rng.normal(scheme.heritability, scheme.heritability_sd, (draws, 1)).clip(0.01, 0.99)
    base, noise = told * scheme.sd**2, np.sqrt(1 - told) * scheme.sd
    values = rng.normal(size=(draws, n)) * np.sqrt(base)
    kinship = np.broadcast_to(np.eye(n) / 2, (draws, n, n))
    each = np.arange(draws)[:, None]
    gain, inbreeding = np.empty((draws, generations)), np.empty((draws, generations))
    for generation in range(generations):
        seen = values + noise * rng.normal(size=(draws, n))
        if not chosen:
            seen = rng.normal(size=(draws, n))
        order = np.argsort(-seen[:, : scheme.of_cocks], axis=1)[:, : scheme.cocks]
        fathers = np.take_along_axis(order, rng.integers(0, scheme.cocks, (draws, n)), 1)
        order = np.argsort(-seen[:, scheme.of_cocks :], axis=1)[:, : scheme.hens]
        mothers = np.take_along_axis(order, rng.integers(0, scheme.hens, (draws, n)), 1)
        mothers = mothers + scheme.of_cocks
        inbred = np.diagonal(kinship, axis1=1, axis2=2) * 2 - 1
        own = base / 2 * (1 - (inbred[each, fathers] + inbred[each, mothers]) / 2)
        values = (values[each, fathers] + values[each, mothers]) / 2
        values = values + rng.normal(size=(draws, n)) * np.sqrt(own)
        of_chicks = kinship[each, fathers, mothers]
        half = (kinship[each, fathers] + kinship[each, mothers]) / 2
        kinship = (
            np.take_along_axis(half, fathers[:, None, :], 2)
            + np.take_along_axis(half, mothers[:, None, :], 2)
        ) / 2
        kinship[:, np.arange(n), np.arange(n)] = (1 + of_chicks) / 2
        gain[:, generation], inbreeding[:, generation] = values.mean(1), of_chicks.mean(1)
    return Simulated(gain, inbreeding)

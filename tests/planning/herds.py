"""Invented herds, for tests of matings: a few generations from few sires."""

import numpy as np
from numpy.typing import NDArray

from quailwright.husbandry.inheritance.kinship import relationships
from quailwright.husbandry.inheritance.pedigree import Pedigree


def herd(rng: np.random.Generator, generations: int, birds: int) -> NDArray[np.float64]:
    """Relationships among the last generation of so many birds, (birds, birds).

    Each generation's parents are a few cocks and hens of the one before, by chance.
    """
    sires, dams = [-1] * birds, [-1] * birds
    for generation in range(1, generations):
        before = list(range((generation - 1) * birds, generation * birds))
        few = max(1, birds // 4)
        sires += [int(rng.choice(before[:few])) for _ in range(birds)]
        dams += [int(rng.choice(before[few:])) for _ in range(birds)]
    last = np.arange((generations - 1) * birds, generations * birds, dtype=np.intp)
    return relationships(Pedigree.of_known(sires, dams), last)

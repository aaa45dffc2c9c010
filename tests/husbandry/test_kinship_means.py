"""Relationship to weighted birds at once, against the relationships of all pairs."""

import numpy as np
import pytest

from quailwright.husbandry.inheritance.kinship import relationships
from quailwright.husbandry.inheritance.means import Related
from quailwright.husbandry.inheritance.pedigree import Pedigree


def test_related_to_weights_is_the_whole_matrix_times_them() -> None:
    rng = np.random.default_rng(3)
    fathers: list[dict[int, float]] = []
    mothers: list[dict[int, float]] = []
    for bird in range(60):
        some = list(rng.permutation(bird)[:6]) if bird > 8 else []
        fathers.append({int(p): 1 / 4 for p in some[:3]})
        mothers.append({int(p): 1 / 3 for p in some[3:]})
    pedigree = Pedigree(fathers, mothers)
    weights = rng.random((60, 4))
    whole = relationships(pedigree)
    related = Related(pedigree)
    assert related.to(weights) == pytest.approx(whole @ weights)
    assert related.to(weights[:, 0]) == pytest.approx(whole @ weights[:, 0])


def test_founders_shares_halve_each_generation() -> None:
    """A bird has a half of its genes from each parent, a quarter from each grandparent."""
    pedigree = Pedigree.of_known([-1, -1, 0, -1, 2], [-1, -1, 1, -1, 3])
    share = Related(pedigree).flow([0, 0, 0, 0, 1.0])
    assert share == pytest.approx([0.25, 0.25, 0.5, 0.5, 1])

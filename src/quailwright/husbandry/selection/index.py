"""How to weigh several records of a bird and its kin into one figure."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quailwright.language import say

Array = NDArray[np.float64]

FULL_SIBS = 0.5
"""Their relationship, of parents not inbred."""


@dataclass(frozen=True, slots=True)
class Index:
    """A sum of records, weighed so that it follows the goal as nearly as any sum can.

    Attributes:
        weights: of each record, (k,).
        accuracy: correlation of the index with the goal, 0 to 1.
        gains: what each trait gains by selection of intensity 1 on the index, (t,).
    """

    weights: Array
    accuracy: float
    gains: Array


def best_index(records: Array, with_traits: Array, traits: Array, goal: Array) -> Index:
    """The selection index b = P^-1 G v.

    Args:
        records: covariance P of the records, (k, k), positive definite.
        with_traits: covariance G of records and breeding values, (k, t).
        traits: covariance of the breeding values, (t, t).
        goal: worth v of a unit of each trait, (t,), not all 0.

    Raises:
        ValueError: nothing is wanted.

    Source: Smith 1936, A discriminant function for plant selection, Ann Eugen 7:240-250; Hazel
    1943, The genetic basis for constructing selection indexes, Genetics 28:476-490 (from memory).
    """
    wanted = float(goal @ traits @ goal)
    if wanted <= 0:
        raise ValueError(say("A goal wants one trait at least."))
    weights = np.asarray(np.linalg.solve(records, with_traits @ goal), np.float64)
    spread = float(np.sqrt(weights @ records @ weights))
    gains: Array = with_traits.T @ weights / spread
    return Index(weights, spread / float(np.sqrt(wanted)), gains)


def own_and_family(
    heritability: float, sibs: int, relationship: float, common: float = 0.0
) -> tuple[Array, Array]:
    """Covariances of a bird's own record and the mean of its sibs, of a trait of variance 1.

    Args:
        heritability: h2 of the trait.
        sibs: n other birds in the mean, 1 or more.
        relationship: 0.5 of full sibs, 0.25 of half sibs.
        common: share of the variance by what one hatch or pen has in common.

    Returns:
        (P, G) as `best_index` takes them: (2, 2) and (2, 1).

    Source: Falconer and Mackay 1996, Introduction to quantitative genetics, 4th edition,
    chapter 13 (from memory).
    """
    alike = relationship * heritability + common
    mean = (1 + (sibs - 1) * alike) / sibs
    return (
        np.array([[1.0, alike], [alike, mean]]),
        np.array([[heritability], [relationship * heritability]]),
    )

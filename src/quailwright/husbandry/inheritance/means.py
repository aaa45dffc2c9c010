"""Relationship to one bird, or to the mean of a group, without all pairs of birds."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from quailwright.husbandry.inheritance.kinship import mendelian
from quailwright.husbandry.inheritance.pedigree import Pedigree

Array = NDArray[np.float64]


class Related:
    """Relationships of a pedigree to weighted birds, each in time linear in its chances.

    Source: Colleau 2002, An indirect approach to the extensive calculation of relationship
    coefficients, Genet Sel Evol 34:409-421 (from memory): A x = T D T' x, with T the inverse of
    I - W, W the shares expected from each possible parent, D the Mendelian variances.
    """

    def __init__(self, pedigree: Pedigree) -> None:
        from scipy.sparse import eye_array  # type: ignore[import-untyped]

        self._own = mendelian(pedigree)
        differences = eye_array(len(pedigree), format="csr") - pedigree.halves
        self._down, self._up = differences.tocsr(), differences.T.tocsr()

    def flow(self, weights: ArrayLike) -> Array:
        """What share of the genes of birds of these weights came through each bird: as `weights`.

        Of a founder, its share of their genes.
        """
        from scipy.sparse.linalg import spsolve_triangular  # type: ignore[import-untyped]

        right = np.asarray(weights, float)
        found: Array = spsolve_triangular(self._up, right, lower=False, unit_diagonal=True)
        return found

    def to(self, weights: ArrayLike) -> Array:
        """Additive relationship of every bird to birds of these weights: (n,) or (n, k)."""
        from scipy.sparse.linalg import spsolve_triangular

        flowing = self.flow(weights)
        own = self._own if flowing.ndim == 1 else self._own[:, None]
        found: Array = spsolve_triangular(self._down, own * flowing, lower=True, unit_diagonal=True)
        return found

"""Breeding values by the mixed-model equations of an animal model."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import block_array, csc_array, csr_array, diags_array  # type: ignore[import-untyped]
from scipy.sparse.linalg import splu  # type: ignore[import-untyped]

from quailwright.language import say

Array = NDArray[np.float64]

_AT_ONCE = 64
"""Sets of values solved for together: so much memory is taken."""


@dataclass(frozen=True)
class Records:
    """What was measured: y = X b + Z u + e.

    Attributes:
        values: y, (m,).
        fixed: X, (m, p), of full rank: what a record has in common with others of its hatch and
            sex, say.
        shares: Z, (m, q): the effects in each record. A bird's own: 1 at the bird. The mean of k
            birds: 1/k at each.
        noise: variance of e, (m,), above 0; of a mean of k birds a kth of one bird's.
    """

    values: Array
    fixed: Array
    shares: csr_array
    noise: Array


class Estimates:
    """Best linear unbiased estimates of the fixed effects and predictions of the random ones.

    Attributes:
        fixed: b, (p,).
        values: u, (q,).
    """

    def __init__(self, solved: Any, fixed: int, solution: Array) -> None:
        self._solved, self._fixed = solved, fixed
        self.fixed, self.values = solution[:fixed], solution[fixed:]

    def error_covariance(self, contrasts: Array) -> Array:
        """Covariance of the errors of prediction of some sums of the values.

        Args:
            contrasts: (k, q), the sums; a row of zeros but for a 1 asks for one value.

        Returns:
            (k, k); on the diagonal the prediction error variance. Exact: one solution each.
        """
        found: Array = contrasts @ self.errors_with(contrasts).T
        return (found + found.T) / 2

    def errors_with(self, contrasts: Array) -> Array:
        """Covariance of the error of each sum with that of every value, (k, q)."""
        asked = np.zeros((self._fixed + contrasts.shape[1], contrasts.shape[0]))
        asked[self._fixed :] = contrasts.T
        found: Array = self._solved.solve(asked)[self._fixed :].T
        return found

    def error_blocks(self, effects: NDArray[np.intp]) -> Array:
        """Covariances of the errors within small sets of values, as the traits of one bird.

        Args:
            effects: (k, t), places of the values of each set.

        Returns:
            (k, t, t). Exact: a solution for each value.
        """
        k, t = effects.shape
        found = np.empty((k, t, t))
        for first in range(0, k, _AT_ONCE):
            some = effects[first : first + _AT_ONCE]
            flat = some.ravel()
            asked = np.zeros((self._fixed + len(self.values), len(flat)))
            asked[self._fixed + flat, np.arange(len(flat))] = 1
            solved = self._solved.solve(asked)[self._fixed :]
            columns = np.arange(len(flat)).reshape(some.shape)
            found[first : first + _AT_ONCE] = solved[some[:, :, None], columns[:, None, :]]
        return (found + found.transpose(0, 2, 1)) / 2


def blup(records: Records, precision: csr_array) -> Estimates:
    """Solves the mixed-model equations, sparse.

    Args:
        records: m of them.
        precision: inverse of the covariance of the random effects, (q, q), sparse: of breeding
            values of one trait the inverse of the relationships over the additive variance; of
            several traits the Kronecker product of the inverse of their covariance and that.

    Raises:
        ValueError: X is not of full rank, or a variance is not above 0.

    Source: Henderson 1975, Best linear unbiased estimation and prediction under a selection
    model, Biometrics 31:423-447; Mrode 2014, Linear models for the prediction of animal breeding
    values, 3rd edition, chapter 3.
    """
    fixed = records.fixed.shape[1]
    if fixed and np.linalg.matrix_rank(records.fixed) < fixed:
        raise ValueError(say("The fixed effects of the records cannot be told apart."))
    if not (records.noise > 0).all():
        raise ValueError(say("The variance of a record is above 0."))
    both = block_array([[csr_array(records.fixed), records.shares]], format="csr")
    weighed = both.T @ diags_array(1 / records.noise)
    left = weighed @ both
    size = left.shape[0]
    at = precision.tocoo()
    left = left + csr_array((at.data, (at.row + fixed, at.col + fixed)), (size, size))
    # The equations are symmetric and positive definite: an order made for that keeps them sparse.
    solved = splu(
        csc_array(left),
        permc_spec="MMD_AT_PLUS_A",
        diag_pivot_thresh=0.0,
        options={"SymmetricMode": True},
    )
    return Estimates(solved, fixed, solved.solve(weighed @ records.values))


def reliability(error_variance: Array, variance: Array) -> Array:
    """Squared accuracy of predictions: the share of the variance that is told, 0 to 1.

    Args:
        error_variance: of prediction, as `Estimates.error_covariance` has it.
        variance: of the value before any record: 1 + inbreeding times the additive variance.
    """
    found: Array = np.clip(1 - error_variance / variance, 0.0, 1.0)
    return found

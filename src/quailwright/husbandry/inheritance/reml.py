"""Heritability learned from a flock's own records, by restricted maximum likelihood."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quailwright.husbandry.inheritance.blup import Records
from quailwright.language import say

Array = NDArray[np.float64]

_LEAST, _MOST = 1e-4, 1 - 1e-4
_CURVATURE_STEP = 1e-3


@dataclass(frozen=True, slots=True)
class Variances:
    """Variances of a trait as records tell them.

    Attributes:
        additive, residual: of breeding values, and of a record of noise 1 about them.
        heritability: additive over their sum; `heritability_sd` its standard error.
        log_likelihood: restricted, at its highest, but for a constant.
    """

    additive: float
    residual: float
    heritability: float
    heritability_sd: float
    log_likelihood: float


def reml(records: Records, relationships: Array) -> Variances:
    """Additive and residual variance at the highest restricted likelihood.

    The likelihood is made a function of heritability alone, by one dense decomposition of the
    records (Patterson and Thompson 1971, Recovery of inter-block information when block sizes are
    unequal, Biometrika 58:545-554; decomposition as Kang et al. 2008, Efficient control of
    population structure in model organism association mapping, Genetics 178:1709-1723; both from
    memory). Time goes with the cube of the records: a second for 1,000.

    Args:
        records: m of them, more than fixed effects; `noise` is relative: 1 for a bird's own record.
        relationships: A among the q effects, (q, q).

    Returns:
        Variances, the heritability between 0.0001 and 0.9999; its standard error by the curvature.

    Raises:
        ValueError: too few records for the fixed effects, or these are not of full rank.
    """
    m = len(records.values)
    rank = int(np.linalg.matrix_rank(records.fixed))
    if rank < records.fixed.shape[1]:
        raise ValueError(say("The fixed effects of the records cannot be told apart."))
    if m - rank < 2:
        raise ValueError(say("There are too few records for so many hatches and sexes."))
    root = np.sqrt(records.noise)
    alike = (records.shares @ relationships @ records.shares.T) / np.outer(root, root)
    fixed, values = records.fixed / root[:, None], records.values / root
    # Contrasts free of the fixed effects: an orthonormal basis of what X leaves.
    basis, _ = np.linalg.qr(fixed, mode="complete")
    free = basis[:, fixed.shape[1] :]
    weights, axes = np.linalg.eigh(free.T @ alike @ free)
    along = axes.T @ (free.T @ values)
    n = len(along)

    def likelihood(share: float) -> float:
        variance = share * weights + 1 - share
        total = (along * along / variance).sum() / n
        return float(-0.5 * (np.log(variance).sum() + n * np.log(total)))

    from scipy.optimize import minimize_scalar  # type: ignore[import-untyped]

    grid = np.linspace(_LEAST, _MOST, 41)
    near = int(np.argmax([likelihood(share) for share in grid]))
    low, high = grid[max(0, near - 1)], grid[min(len(grid) - 1, near + 1)]
    share = float(
        minimize_scalar(
            lambda at: -likelihood(at), bounds=(low, high), method="bounded",
            options={"xatol": 1e-7},
        ).x
    )  # fmt: skip
    middle = min(max(share, 2 * _CURVATURE_STEP), 1 - 2 * _CURVATURE_STEP)
    bend = (
        likelihood(middle + _CURVATURE_STEP)
        - 2 * likelihood(middle)
        + likelihood(middle - _CURVATURE_STEP)
    ) / _CURVATURE_STEP**2
    error = 1 / np.sqrt(-bend) if bend < 0 else 1.0
    total = float((along * along / (share * weights + 1 - share)).sum() / n)
    return Variances(
        share * total, (1 - share) * total, share, float(min(error, 1.0)), likelihood(share)
    )

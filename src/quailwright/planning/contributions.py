"""How much each bird should give to the next generation: least kinship at a wanted value."""

import numpy as np
from numpy.typing import NDArray

from quailwright.language import say
from quailwright.planning.program import Program
from quailwright.planning.solver import Solution, solve

Array = NDArray[np.float64]

_SECONDS = 20.0
_NEAR = 1e-9


class OutOfReach(ValueError):
    """No shares within the limits reach what is wanted."""


def least_kinship(
    related: Array,
    cocks: NDArray[np.bool_],
    *,
    least: Array,
    most: Array,
    values: Array | None = None,
    wanted: float | None = None,
) -> Array:
    """Shares of the next generation's genes that keep its birds least related.

    They make c'Ac/2 least: the mean kinship of the next generation, half of whose genes come from
    each sex.

    Args:
        related: A, additive relationships among n birds, (n, n), as `kinship.relationships`.
        cocks: which are cocks, (n,); the others are hens.
        least, most: shares of each bird, (n,), 0 to 0.5.
        values: breeding values, (n,), in any unit; with `wanted`.
        wanted: least mean breeding value of the next generation, c'g, in that unit.

    Returns:
        c, (n,): half of it to cocks, half to hens, of all 1.

    Raises:
        OutOfReach: the limits leave no such shares.

    Source: Meuwissen 1997, Maximizing the response of selection with a predefined rate of
    inbreeding, J Anim Sci 75:934-940 (title from memory); here as a quadratic programme.
    """
    program = Program()
    for n in range(len(related)):
        program.column(str(n), lower=float(least[n]), upper=float(most[n]))
    _halves(program, cocks)
    if values is not None and wanted is not None:
        scale = _scale(values)
        program.row(
            "value",
            [(n, float(value) / scale) for n, value in enumerate(values)],
            lower=wanted / scale - _NEAR,
        )
    return _found(solve(program, gap=0.0, seconds=_SECONDS, at_once=True, curved=related))


def most_value(cocks: NDArray[np.bool_], values: Array, *, least: Array, most: Array) -> Array:
    """Shares within the limits that make the mean breeding value most; as `least_kinship`."""
    program = Program()
    scale = _scale(values)
    for n, value in enumerate(values):
        program.column(
            str(n), lower=float(least[n]), upper=float(most[n]), cost=-float(value) / scale
        )
    _halves(program, cocks)
    return _found(solve(program, gap=0.0, seconds=_SECONDS, at_once=True))


def _halves(program: Program, cocks: NDArray[np.bool_]) -> None:
    for name, sex in (("cocks", cocks), ("hens", ~cocks)):
        program.row(name, [(int(n), 1.0) for n in np.flatnonzero(sex)], lower=0.5, upper=0.5)


def _scale(values: Array) -> float:
    return float(np.abs(values).max()) or 1.0


def _found(solution: Solution) -> Array:
    if not solution.found:
        raise OutOfReach(say("No shares of these birds reach what is wanted."))
    return np.clip(solution.values, 0.0, None)

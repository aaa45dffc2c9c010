"""The same rations in another solver: clarabel, an interior-point solver of cones.

It takes the margin of a need as the second-order cone that it is, where ours closes in on it by
planes, so both the solver and the way are others (Goulart and Chen 2024, Clarabel: An
interior-point solver for conic programs with quadratic objectives).
"""

from statistics import NormalDist

import clarabel  # type: ignore[import-untyped]
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import sparse  # type: ignore[import-untyped]
from tests.planning.rations import BASIC, MANY, question

from quailwright.husbandry.feeding import Stage
from quailwright.husbandry.nutrients import NUTRIENTS
from quailwright.planning.ration_mix import Question, least_cost


def by_cones(asked: Question) -> tuple[bool, float]:
    """Whether there is a mix, and the least cost of a kilogram, written anew from the needs."""
    choices, n = asked.choices, len(asked.choices)
    cost = np.array([choice.price for choice in choices])
    energy = np.array([choice.of("energy") for choice in choices])
    equal = [(np.ones(n), 1.0)]
    below: list[tuple[NDArray[np.float64], float]] = []  # row @ shares <= bound
    cones: list[NDArray[np.float64]] = []  # rows @ shares in a second-order cone
    for number, choice in enumerate(choices):
        unit = np.eye(n)[number]
        below.append((unit, min(choice.limit, choice.most)))
        below.append((-unit, -choice.least))
    z = NormalDist().inv_cdf(asked.certainty)
    for need in asked.needs:
        held = np.array([choice.of(need.nutrient) for choice in choices])
        if need.most is not None:
            below.append((held / need.most, 1.0))
        if need.least is None:
            continue
        above = held / need.least - (energy / asked.energy if need.per_energy else 1.0)
        spread = np.array([c.protein_cv for c in choices]) * held / need.least
        if NUTRIENTS[need.nutrient].kind in ("protein", "amino acid") and z > 0:
            cones.append(np.vstack([above, z * np.diag(spread)]))
        else:
            below.append((-above, 0.0))
    rows = [row for row, _ in equal] + [row for row, _ in below]
    matrix = np.vstack([*rows, *(-cone for cone in cones)])
    bounds = [bound for _, bound in equal] + [bound for _, bound in below]
    right = np.array([*bounds, *(0.0 for cone in cones for _ in cone)])
    kinds = [
        clarabel.ZeroConeT(len(equal)),
        clarabel.NonnegativeConeT(len(below)),
        *(clarabel.SecondOrderConeT(len(cone)) for cone in cones),
    ]
    told = clarabel.DefaultSettings()
    told.verbose = False
    solver = clarabel.DefaultSolver(
        sparse.csc_matrix((n, n)), cost, sparse.csc_matrix(matrix), right, kinds, told
    )
    found = solver.solve()
    return "Solved" in str(found.status), float(found.obj_val)


@pytest.mark.parametrize("stage", ["starter", "grower", "layer"])
@pytest.mark.parametrize("certainty", [0.5, 0.8, 0.95])
@pytest.mark.parametrize("codes", [BASIC, MANY], ids=["ten", "many"])
@pytest.mark.parametrize("per_energy", [False, True])
def test_the_least_cost_is_that_of_an_interior_point_solver(
    stage: Stage, certainty: float, codes: tuple[str, ...], per_energy: bool
) -> None:
    asked = question(stage, codes, certainty=certainty, per_energy=per_energy)
    mix = least_cost(asked)
    solved, cost = by_cones(asked)
    assert (mix is not None) is solved
    if mix is not None:
        assert mix.cost == pytest.approx(cost, rel=2e-6)


def test_both_find_the_same_infeasible() -> None:
    asked = question("starter", ("maize", "sbm48"))
    assert least_cost(asked) is None
    assert not by_cones(asked)[0]

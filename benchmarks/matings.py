"""Matings for 200 candidates: `python -m benchmarks.matings [--rounds N]`.

Run from the project's folder with the Python of `.venv-check`. See docs/matings.md for what each
row means. Nothing here is asserted.
"""

import argparse
from collections.abc import Iterator
from functools import partial

import clarabel  # type: ignore[import-untyped]
import numpy as np
from benchmarks.measure import Ratio, seconds, side_by_side
from benchmarks.rows import Row, row_of
from benchmarks.run import _show
from numpy.typing import NDArray
from scipy import sparse  # type: ignore[import-untyped]

from quailwright.husbandry.inheritance.kinship import relationships
from quailwright.husbandry.inheritance.pedigree import Pedigree
from quailwright.planning.contributions import least_kinship
from quailwright.planning.pairs import Mating, best_pairs

Array = NDArray[np.float64]

CANDIDATES, COCKS, PENS, HENS = 200, 40, 20, 80
GENERATIONS = 5
WANTED = 0.4


def main() -> int:
    """Runs every benchmark and prints its figures."""
    parser = argparse.ArgumentParser(description="Matings against bare solvers side by side.")
    parser.add_argument("--rounds", type=int, default=5, help="rounds of each pair (default 5)")
    rounds = parser.parse_args().rounds
    related, cocks, mating = _asked()
    print(f"{CANDIDATES} candidates, {COCKS} of them cocks; {HENS} hens in {PENS} pens")
    print(f"  mean kinship {related.mean() / 2:.3f}, in {GENERATIONS} generations from few cocks")
    for ratio in ratios(rounds):
        _show(ratio)
    least, most = mating.least_and_most
    for wish in (None, WANTED):
        made = best_pairs(mating, wish)
        exact = least_kinship(
            related, cocks, least=least, most=most,
            values=None if wish is None else mating.values, wanted=wish,
        )  # fmt: skip
        print(
            f"value wanted {wish}: kinship {made.kinship:.5f} of whole birds, "
            f"{exact @ related @ exact / 2:.5f} of shares; inbreeding of chicks "
            f"{made.inbreeding:.5f}"
        )
    return 0


def rows(quick: bool) -> Iterator[Row]:
    """For the page of all benchmarks."""
    for ratio in ratios(1 if quick else 5):
        yield row_of("matings", ratio)


def _asked() -> tuple[Array, NDArray[np.bool_], Mating]:
    rng = np.random.default_rng(1)
    related = candidates(rng)
    cocks = np.arange(CANDIDATES) < COCKS
    values = rng.normal(size=CANDIDATES)
    mating = Mating(related, cocks, (4,) * PENS, HENS, related / 2 >= 0.25, values=values)
    return related, cocks, mating


def ratios(rounds: int) -> Iterator[Ratio]:
    """Shares and whole matings, beside bare solvers."""
    related, cocks, mating = _asked()
    least, most = mating.least_and_most
    values = mating.values
    assert values is not None

    def shares() -> object:
        return least_kinship(related, cocks, least=least, most=most, values=values, wanted=WANTED)

    def cones() -> object:
        return _clarabel(related, cocks, most, values, WANTED)

    for what, work, against, reference in (
        ("shares of least kinship at a value (HiGHS)", shares, "the same, clarabel", cones),
        ("matings: least kinship", lambda: best_pairs(mating), "clarabel's shares", cones),
        ("matings at a value", lambda: best_pairs(mating, WANTED), "clarabel's shares", cones),
    ):
        yield side_by_side(
            what, partial(seconds, work), against, partial(seconds, reference), rounds
        )


def candidates(rng: np.random.Generator) -> Array:
    """Relationships of a generation whose parents were few."""
    sires, dams = [-1] * CANDIDATES, [-1] * CANDIDATES
    for generation in range(1, GENERATIONS):
        first = (generation - 1) * CANDIDATES
        sires += [first + int(rng.integers(0, 8)) for _ in range(CANDIDATES)]
        dams += [first + int(rng.integers(COCKS, COCKS + 24)) for _ in range(CANDIDATES)]
    last = np.arange((GENERATIONS - 1) * CANDIDATES, GENERATIONS * CANDIDATES, dtype=np.intp)
    return relationships(Pedigree.of_known(sires, dams), last)


def _clarabel(
    related: Array, cocks: NDArray[np.bool_], most: Array, values: Array, wanted: float
) -> Array:
    n = len(related)
    rows = np.vstack([cocks, ~cocks, np.eye(n), -np.eye(n), -values])
    right = np.concatenate([[0.5, 0.5], most, np.zeros(n), [-wanted]])
    told = clarabel.DefaultSettings()
    told.verbose = False
    solver = clarabel.DefaultSolver(
        sparse.csc_matrix(np.triu(related)),
        np.zeros(n),
        sparse.csc_matrix(rows),
        right,
        [clarabel.ZeroConeT(2), clarabel.NonnegativeConeT(2 * n + 1)],
        told,
    )
    return np.array(solver.solve().x)


if __name__ == "__main__":
    raise SystemExit(main())

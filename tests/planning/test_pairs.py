"""Matings: shares against an interior-point solver, choices against every choice there is."""

from collections.abc import Iterator, Sequence
from itertools import combinations, permutations

import clarabel  # type: ignore[import-untyped]
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import sparse  # type: ignore[import-untyped]
from tests.planning.herds import herd

from quailwright.planning.contributions import OutOfReach, least_kinship, most_value
from quailwright.planning.pairs import Mating, Pairs, best_pairs, share_out, shares_of

Array = NDArray[np.float64]


def by_cones(
    related: Array, cocks: NDArray[np.bool_], most: Array, values: Array, wanted: float | None
) -> Array:
    """The same shares by clarabel, written anew (Goulart and Chen 2024)."""
    n = len(related)
    rows = [np.vstack([cocks, ~cocks]).astype(float), np.eye(n), -np.eye(n)]
    right = [np.array([0.5, 0.5]), most, np.zeros(n)]
    if wanted is not None:
        rows.append(-values[None])
        right.append(np.array([-wanted]))
    bounds = np.concatenate(right)
    told = clarabel.DefaultSettings()
    told.verbose = False
    solver = clarabel.DefaultSolver(
        sparse.csc_matrix(np.triu(related)),
        np.zeros(n),
        sparse.csc_matrix(np.vstack(rows)),
        bounds,
        [clarabel.ZeroConeT(2), clarabel.NonnegativeConeT(len(bounds) - 2)],
        told,
    )
    return np.array(solver.solve().x)


@pytest.mark.parametrize("seed", range(6))
def test_shares_of_least_kinship_are_those_of_an_interior_point_solver(seed: int) -> None:
    rng = np.random.default_rng(seed)
    related = herd(rng, 4, 24)
    cocks = np.arange(24) < 6
    values = rng.normal(size=24)
    most = np.where(cocks, 0.25, 0.5 / 12)
    least = np.zeros(24)
    top = float(most_value(cocks, values, least=least, most=most) @ values)
    free = least_kinship(related, cocks, least=least, most=most)
    base = float(free @ values)
    for wanted in (None, base + (top - base) / 2, base + (top - base) * 0.9):
        ours = least_kinship(related, cocks, least=least, most=most, values=values, wanted=wanted)
        theirs = by_cones(related, cocks, most, values, wanted)
        assert ours @ related @ ours == pytest.approx(theirs @ related @ theirs, rel=1e-6)
        assert ours[cocks].sum() == pytest.approx(0.5)
        assert wanted is None or ours @ values >= wanted - 1e-6


def test_unrelated_birds_give_alike_and_wright_s_effective_size() -> None:
    # Wright 1931, Genetics 16:97-159: 1/(8 cocks) + 1/(8 hens); 3 and 12 make 5.2 %, Ne 9.6.
    cocks = np.arange(15) < 3
    shares = least_kinship(np.eye(15), cocks, least=np.zeros(15), most=np.full(15, 0.5))
    assert shares == pytest.approx(np.where(cocks, 0.5 / 3, 0.5 / 12), abs=1e-6)
    assert shares @ shares / 2 == pytest.approx(1 / 24 + 1 / 96, rel=1e-6)


def test_a_value_out_of_reach_is_refused() -> None:
    cocks = np.arange(4) < 2
    limits = {"least": np.zeros(4), "most": np.full(4, 0.5)}
    with pytest.raises(OutOfReach):
        least_kinship(np.eye(4), cocks, **limits, values=np.ones(4), wanted=2.0)


# Whole birds.


def groupings(hens: Sequence[int], sizes: Sequence[int]) -> Iterator[list[list[int]]]:
    if not sizes:
        yield []
        return
    for first in combinations(hens, sizes[0]):
        rest = [hen for hen in hens if hen not in first]
        for others in groupings(rest, sizes[1:]):
            yield [list(first), *others]


def least_of_all(mating: Mating, wanted: float | None) -> float:
    """The least cost over every choice of cocks, hens and pairs, reckoned from its definition."""
    cocks, hens = np.flatnonzero(mating.cocks).tolist(), np.flatnonzero(~mating.cocks).tolist()
    best = float("inf")
    for sires in permutations(cocks, len(mating.rooms)):
        for dams in combinations(hens, mating.hens):
            for families in groupings(dams, mating.sizes):
                pairs = [(c, h) for c, mates in zip(sires, families, strict=True) for h in mates]
                if any(mating.barred[pair] for pair in pairs):
                    continue
                shares = np.zeros(len(mating.cocks))
                for cock, hen in pairs:
                    shares[[cock, hen]] += 0.5 / len(pairs)
                value = 0.0 if mating.values is None else float(shares @ mating.values)
                if wanted is not None and value < wanted - 1e-9:
                    continue
                inbred = sum(mating.related[pair] for pair in pairs) / 2 / len(pairs)
                best = min(best, float(shares @ mating.related @ shares) / 2 + inbred)
    return best


def small(seed: int, valued: bool) -> Mating:
    rng = np.random.default_rng(seed)
    related = herd(rng, 3, 9)
    return Mating(
        related,
        np.arange(9) < 4,
        (3, 2),
        4,
        related / 2 >= 0.25,
        values=rng.normal(size=9) if valued else None,
    )


def test_small_flocks_are_mated_as_the_best_of_all_choices() -> None:
    exact, gaps = 0, []
    for seed in range(20):
        mating = small(seed, seed % 2 == 1)
        wanted = None
        if mating.values is not None:
            low, high = best_pairs(mating).value, best_pairs(mating, np.inf).value
            assert low is not None
            assert high is not None
            wanted = low + (high - low) / 2
        found, least = best_pairs(mating, wanted), least_of_all(mating, wanted)
        gaps.append(found.cost / least - 1)
        exact += gaps[-1] < 1e-6
    assert min(gaps) > -1e-6  # nothing is better than the best: the same is being reckoned
    assert exact >= 18
    assert max(gaps) < 0.07


@pytest.mark.parametrize("seed", range(8))
def test_the_one_cock_of_three_that_goes_with_the_most_hens_is_found(seed: int) -> None:
    """One pen and few cocks: near kin barred, the cock least kin to all need not be the best."""
    related = herd(np.random.default_rng(seed), 4, 8)
    barred = related / 2 >= 0.25
    mating = Mating(related, np.arange(8) < 3, (3,), 3, barred)
    found = best_pairs(mating)
    whole = sum(map(len, found.hens_of.values())) == 3
    least = least_of_all(mating, None)
    assert whole == (least < float("inf"))
    assert not whole or found.cost <= least * 1.02


@settings(max_examples=10, deadline=None)
@given(st.integers(0, 10_000), st.integers(1, 3), st.integers(1, 9), st.booleans())
def test_every_hen_once_pens_within_limits_refused_pairs_never(
    seed: int, pens: int, hens: int, valued: bool
) -> None:
    rng = np.random.default_rng(seed)
    related = herd(rng, 3, 14)
    rooms = tuple(int(room) for room in rng.integers(1, 5, pens))
    hens = max(pens, min(hens, sum(rooms), 10))
    barred = (related / 2 >= 0.25) | (rng.random((14, 14)) < 0.1)
    barred |= barred.T
    values = rng.normal(size=14) if valued else None
    mating = Mating(related, np.arange(14) < 4, rooms, min(hens, sum(rooms)), barred, values=values)
    found = best_pairs(mating, 0.1 if valued else None)
    placed = [hen for mates in found.hens_of.values() for hen in mates]
    assert len(placed) == len(set(placed)) <= mating.hens
    assert all(not mating.cocks[hen] for hen in placed)
    assert all(mating.cocks[cock] for cock in found.hens_of)
    sizes = sorted((len(mates) for mates in found.hens_of.values()), reverse=True)
    assert all(size <= room for size, room in zip(sizes, sorted(rooms, reverse=True), strict=True))
    assert not any(barred[cock, hen] for cock, mates in found.hens_of.items() for hen in mates)
    if placed:
        shares = shares_of(14, found.hens_of)
        assert found.kinship == pytest.approx(shares @ related @ shares / 2)


def test_pairs_that_must_be_are() -> None:
    rng = np.random.default_rng(5)
    related = herd(rng, 3, 12)
    mating = Mating(
        related, np.arange(12) < 4, (3, 3), 6, np.zeros((12, 12), bool), together=((3, 11), (2, 7))
    )
    found: Pairs = best_pairs(mating)
    assert 11 in found.hens_of[3]
    assert 7 in found.hens_of[2]


def test_hens_are_shared_out_as_equally_as_rooms_allow() -> None:
    assert share_out(10, [8, 8, 2]) == [4, 4, 2]
    assert share_out(3, [4, 4]) == [2, 1]
    assert share_out(99, [2, 1]) == [2, 1]

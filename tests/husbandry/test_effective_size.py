"""The effective size of flocks and rotations against published formulas and exact recursion."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from quailwright.husbandry.inheritance.effective_size import (
    Families,
    birds_for,
    by_families,
    census,
    cyclic_rotation,
    generations_until,
    inbreeding_after,
    one_son_a_cock,
    rise,
    size_of,
)

NUMBERS = st.integers(1, 200)


# Wright 1931. 1 + 10 is printed as 3.7 in one text, a slip of rounding.
@pytest.mark.parametrize(
    ("cocks", "hens", "size"),
    [(1, 10, 3.64), (10, 10, 20), (100, 100_000, 399.6), (1, 4, 3.2), (3, 12, 9.6)],
)
def test_census_wright_1931(cocks: int, hens: int, size: float) -> None:
    assert census(cocks, hens) == pytest.approx(size, abs=0.05)


def test_three_cocks_and_twelve_hens() -> None:
    assert census(3, 12) == pytest.approx(9.6)
    assert 100 * rise(census(3, 12)) == pytest.approx(5.2, abs=0.05)
    assert 100 * rise(census(1, 4)) == pytest.approx(15.6, abs=0.05)
    assert census(np.array([0, 3, 0]), np.array([5, 0, 0])).tolist() == [0, 0, 0]


@given(NUMBERS, NUMBERS)
def test_families_hill_1979(cocks: int, hens: int) -> None:
    """Blind choice of parents gives the census figure, families of one size twice as much."""
    blind = Families(
        sons_per_cock=1,
        daughters_per_cock=hens / cocks,
        sons_per_hen=cocks / hens,
        daughters_per_hen=1,
    )
    assert by_families(cocks, hens, blind) == pytest.approx(float(census(cocks, hens)))
    assert by_families(cocks, hens, Families()) == pytest.approx(2 * float(census(cocks, hens)))


@given(NUMBERS, st.integers(1, 20))
def test_one_son_a_cock_is_a_case_of_hill_1979(cocks: int, each: int) -> None:
    """Gowe, Robertson and Latter 1959: 3 / (32 cocks) + 1 / (32 hens) a generation."""
    hens = cocks * each
    one_of_his_hens = Families(sons_per_hen=(1 / each) * (1 - 1 / each))
    found = one_son_a_cock(cocks, hens)
    assert found == pytest.approx(by_families(cocks, hens, one_of_his_hens))
    assert rise(found) == pytest.approx(3 / (32 * cocks) + 1 / (32 * hens))


def steady_rise(pairs: int, steps: list[int]) -> float:
    """Of pairs whose sons move so many lines on, by the exact recursion of relationships."""
    birds = 2 * pairs
    related, left = np.eye(birds), []
    for now in range(60 * len(steps)):
        cock = (np.arange(pairs) - steps[now % len(steps)]) % pairs
        halves = np.zeros((birds, birds))
        for line in range(pairs):
            halves[[line, pairs + line], cock[line]] = 0.5
            halves[[line, pairs + line], pairs + line] = 0.5
        inbred = related[cock, pairs + np.arange(pairs)] / 2
        related = halves @ related @ halves.T
        np.fill_diagonal(related, 1 + np.tile(inbred, 2))
        left.append(1 - inbred.mean())
    late = -10 * len(steps) - 1
    return float(1 - (left[-1] / left[late]) ** (1 / (10 * len(steps))))


@pytest.mark.parametrize("pairs", [4, 8])
def test_cyclic_rotation_farid_1987_by_exact_recursion(pairs: int) -> None:
    doubling = [2**power for power in range(int(math.log2(pairs)))]
    one_by_one = list(range(1, pairs))
    assert rise(cyclic_rotation(pairs, doubling=True)) == pytest.approx(
        steady_rise(pairs, doubling), rel=0.03
    )
    assert rise(cyclic_rotation(pairs)) == pytest.approx(steady_rise(pairs, one_by_one), rel=0.03)


def test_inbreeding_builds_up() -> None:
    # Falconer and Mackay 1996: 1 - (1 - 1/2N)^t. Ten generations of 3 cocks and 12 hens.
    assert inbreeding_after(10, rise(9.6)) == pytest.approx(1 - (1 - 1 / 19.2) ** 10)
    assert inbreeding_after(np.array([0, 1]), 0.1, 0.2) == pytest.approx([0.2, 0.28])
    assert generations_until(0.28, 0.1, 0.2) == pytest.approx(1)
    assert generations_until(0.1, 0.1, 0.2) == 0
    assert generations_until(0.1, 0.0) == math.inf
    assert generations_until(0.1, 1.0) == 1
    assert size_of(np.array([0.05, 0.0])).tolist() == [10, math.inf]


@given(st.floats(0.5, 500), st.integers(1, 12))
def test_birds_for_a_wanted_size_are_the_fewest(size: float, each: int) -> None:
    cocks, hens = birds_for(size, each)
    assert hens == cocks * each
    assert census(cocks, hens) >= size * (1 - 1e-6)
    assert cocks == 1 or census(cocks - 1, hens - each) < size


def test_birds_for_the_size_of_a_known_flock() -> None:
    assert birds_for(9.6, 4) == (3, 12)
    assert birds_for(50, 4) == (16, 64)


def test_what_cannot_be() -> None:
    with pytest.raises(ValueError, match="0 or more"):
        census(-1, 4)
    for wrong in (0.0, -3.0, math.nan):
        with pytest.raises(ValueError, match="above 0"):
            rise(wrong)
    with pytest.raises(ValueError, match="0 or more"):
        size_of(-0.1)
    with pytest.raises(ValueError, match="cocks and hens"):
        by_families(0, 3, Families())
    with pytest.raises(ValueError, match="Variances"):
        by_families(2, 3, Families(sons_per_hen=-1))
    with pytest.raises(ValueError, match="at least"):
        one_son_a_cock(3, 2)
    with pytest.raises(ValueError, match="2 or more"):
        cyclic_rotation(1)
    with pytest.raises(ValueError, match="Generations"):
        inbreeding_after(-1, 0.1)
    with pytest.raises(ValueError, match="between 0 and 1"):
        inbreeding_after(1, 1.1)
    with pytest.raises(ValueError, match="between 0 and 1"):
        generations_until(1.0, 0.1)
    with pytest.raises(ValueError, match="at least"):
        birds_for(3, 0)

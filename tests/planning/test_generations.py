"""Kinship over generations: published rates of regular systems, and the pedigree's reckoning."""

import numpy as np
import pytest

from quailwright.husbandry.inheritance.effective_size import size_of
from quailwright.husbandry.inheritance.kinship import inbreeding
from quailwright.husbandry.inheritance.pedigree import Chances, Pedigree
from quailwright.planning.generations import (
    Parents,
    Scheme,
    cyclic_step,
    inbreeding_ahead,
    moved_right,
    one_pen,
    rise_per_generation,
    unrelated,
    with_new_blood,
)


def through(scheme: Scheme, birds: int, generations: int) -> list[float]:
    """The same by a pedigree of all generations: mean inbreeding of each."""
    fathers: list[Chances] = [{}] * birds
    mothers: list[Chances] = [{}] * birds
    for generation in range(1, generations + 1):
        first = (generation - 1) * birds
        parents = scheme(generation)
        for table, into in ((parents.fathers, fathers), (parents.mothers, mothers)):
            into += [
                {first + int(n): float(row[n]) for n in np.flatnonzero(row > 0)} for row in table
            ]
    found = inbreeding(Pedigree(fathers, mothers))
    return [
        float(found[n * birds : (n + 1) * birds].mean()) for n in range(1, generations + 1)
    ]  # fmt: skip


@pytest.mark.parametrize(
    "scheme",
    [
        moved_right([2, 3, 1]),
        moved_right([2, 3, 1], cyclic_step(3)),
        one_pen([2, 3, 1]),
        with_new_blood(moved_right([2, 3, 1]), (0,), 2),
    ],
    ids=["circular", "cyclic", "one pen", "new blood"],
)
def test_the_recursion_is_that_of_a_pedigree_with_chances(scheme: Scheme) -> None:
    assert inbreeding_ahead(unrelated(9), scheme, 6) == pytest.approx(through(scheme, 9, 6))


@pytest.mark.parametrize(("pens", "tolerance"), [(16, 0.04), (32, 0.01)])
def test_circular_pair_mating_kimura_crow_1963(pens: int, tolerance: float) -> None:
    # Kimura and Crow 1963, Genet Res 4:399-415, abstract: each male progeny moved one cage to the
    # right loses pi^2 / (N + 12)^2 a generation, for large N.
    birds = 2 * pens
    ahead = inbreeding_ahead(unrelated(birds), moved_right([1] * pens), 600)
    assert rise_per_generation(ahead) == pytest.approx(np.pi**2 / (birds + 12) ** 2, rel=tolerance)


@pytest.mark.parametrize("birds", [8, 16])
def test_circular_half_sib_mating_kimura_crow_1963(birds: int) -> None:
    # The same abstract: each bird mated with its neighbours right and left, pi^2 / (2N + 4)^2.
    fathers = np.eye(birds)
    parents = Parents(fathers, np.roll(fathers, 1, axis=1))
    ahead = inbreeding_ahead(unrelated(birds), lambda _: parents, 400)
    assert rise_per_generation(ahead) == pytest.approx(np.pi**2 / (2 * birds + 4) ** 2, rel=0.02)


@pytest.mark.parametrize("pens", [8, 16])
def test_cyclic_mating_theor_appl_genet_1987(pens: int) -> None:
    # Theor Appl Genet 1987, 73:506-515, abstract: one male and one female of n families, mates
    # changing in turn: 1 / (4N - (log2 N + 1)) a generation on the mean of a cycle, N = 2n.
    birds = 2 * pens
    ahead = inbreeding_ahead(unrelated(birds), moved_right([1] * pens, cyclic_step(pens)), 200)
    expected = 1 / (4 * birds - np.log2(birds) - 1)
    assert rise_per_generation(ahead, pens - 1) == pytest.approx(expected, rel=0.02)


def test_three_cocks_and_twelve_hens_wright_1931() -> None:
    # 4 x 3 x 12 / 15 = 9.6 birds, 1 / 19.2 = 5.2 % in the first generation that can be inbred.
    ahead = inbreeding_ahead(unrelated(15), one_pen([4, 4, 4]), 2)
    assert ahead == pytest.approx([0.0, 1 / 19.2])
    assert float(size_of(ahead[1])) == pytest.approx(9.6)


def test_equal_families_double_the_effective_size() -> None:
    # Gowe, Robertson and Latter 1959 (from memory): a son of each sire and a daughter of each dam
    # halve the rise; with as many cocks as hens it doubles Ne. Pens that circulate settle near it.
    mixed = inbreeding_ahead(unrelated(32), one_pen([1] * 16), 40)
    rotated = inbreeding_ahead(unrelated(32), moved_right([1] * 16, cyclic_step(16)), 46)
    ratio = rise_per_generation(mixed) / rise_per_generation(rotated, 45)
    assert ratio == pytest.approx(2.0, rel=0.12)


def test_full_sibs_in_a_pen_of_its_own() -> None:
    # Full-sib mating, F = 0, 1/4, 3/8, 1/2, 19/32: Wright 1921 (from memory).
    ahead = inbreeding_ahead(unrelated(2), moved_right([1], lambda _: 0), 6)
    assert ahead == pytest.approx([0, 0.25, 0.375, 0.5, 0.59375, 0.671875])


def test_new_blood_lowers_inbreeding() -> None:
    plain = inbreeding_ahead(unrelated(12), moved_right([2] * 4), 12)
    renewed = inbreeding_ahead(unrelated(12), with_new_blood(moved_right([2] * 4), (0,), 3), 12)
    assert (renewed <= plain + 1e-12).all()
    assert renewed[-1] < 0.8 * plain[-1]

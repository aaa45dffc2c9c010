"""Founders' shares, known generations and the realised effective size."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quailwright.husbandry.inheritance.descent import (
    by_generation,
    effective_founders,
    founder_genomes,
    founders_shares,
    generations,
    realised,
    shares,
)
from quailwright.husbandry.inheritance.effective_size import census
from quailwright.husbandry.inheritance.kinship import inbreeding, relationships
from quailwright.husbandry.inheritance.pedigree import Chances, Pedigree

# A cock on two hens, a son of the first on a daughter of the second.
HALF_SIBS = Pedigree.of_known([-1, -1, -1, 0, 0, 3], [-1, -1, -1, 1, 2, 4])


def test_a_chick_of_half_sibs_has_half_of_the_shared_grandsire() -> None:
    chick = np.array([5])
    assert founders_shares(HALF_SIBS, chick) == pytest.approx([0.5, 0.25, 0.25, 0, 0, 0])
    assert shares(HALF_SIBS, chick) == pytest.approx([0.5, 0.25, 0.25, 0.5, 0.5, 1])
    assert effective_founders(HALF_SIBS, chick) == pytest.approx(1 / (0.25 + 2 / 16))
    # One bird has its own relationship with itself, 1 + 1/8.
    assert founder_genomes(HALF_SIBS, chick) == pytest.approx(1 / 1.125)


def test_founders_keep_all_they_brought() -> None:
    founders = np.array([0, 1, 2])
    assert effective_founders(HALF_SIBS, founders) == pytest.approx(3)
    assert founder_genomes(HALF_SIBS, founders) == pytest.approx(3)


def test_an_unknown_parent_is_a_founder_of_its_own() -> None:
    half = Pedigree([{}, {0: 1.0}, {0: 0.5}], [{}, {}, {1: 1.0}])
    assert founders_shares(half, np.array([2])) == pytest.approx([0.5, 0.25, 0.25])
    assert generations(half) == pytest.approx([0, 0.5, 0.25 + 0.5 * 1.5])


def test_generations_of_a_full_sib_line() -> None:
    sires, dams = [-1, -1], [-1, -1]
    for _ in range(8):
        sires += [len(sires) - 2] * 2
        dams += [len(dams) - 1] * 2
    line = Pedigree.of_known(sires, dams)
    assert generations(line) == pytest.approx(np.repeat(np.arange(9), 2))
    # The rise of full-sib mating is 0.191 a generation, and the effective size 2.6 (Falconer and
    # Mackay 1996, chapter 5, from memory). The first generation does not rise yet.
    found = realised(line, np.array([16, 17]))
    assert found is not None
    assert found.birds == 2
    assert found.rise == pytest.approx(0.191, abs=0.01)
    assert found.size == pytest.approx(2.6, abs=0.1)
    assert found.error == pytest.approx(0)
    told = by_generation(inbreeding(line), generations(line))
    assert [each.birds for each in told] == [2] * 9
    assert told[2].mean == told[2].most == pytest.approx(0.25)


def test_realised_size_of_a_flock_mated_blindly_is_that_of_the_census() -> None:
    rng = np.random.default_rng(5)
    cocks, hens, rounds = 5, 15, 30
    size = cocks + hens
    sires, dams = [-1] * size, [-1] * size
    for round_ in range(rounds):
        first = round_ * size
        sires += rng.integers(first, first + cocks, size).tolist()
        dams += rng.integers(first + cocks, first + size, size).tolist()
    flock = Pedigree.of_known(sires, dams)
    found = realised(flock, np.arange(rounds * size, (rounds + 1) * size))
    assert found is not None
    # One flock of many: within a fifth.
    assert found.size == pytest.approx(float(census(cocks, hens)), rel=0.2)
    assert 0 < found.error < found.size


def test_nothing_is_told_of_birds_without_known_forebears() -> None:
    assert realised(HALF_SIBS, np.array([0, 3])) is None
    unrelated = Pedigree.of_known([-1, -1, -1, -1, 0, 2, 4], [-1, -1, -1, -1, 1, 3, 5])
    found = realised(unrelated, np.array([6]))
    assert found is not None
    assert found.size == math.inf
    assert math.isnan(found.error)
    with pytest.raises(ValueError, match="At least one bird"):
        founders_shares(HALF_SIBS, np.zeros(0, np.intp))
    with pytest.raises(ValueError, match="has an inbreeding"):
        by_generation(np.zeros(2), np.zeros(3))


@st.composite
def pens(draw: st.DrawFn) -> Pedigree:
    """Birds whose parents are one of a few, or not known."""
    parents: list[list[Chances]] = [[], []]
    for bird in range(draw(st.integers(1, 20))):
        for sex in (0, 1):
            fitting = range(sex, bird, 2)
            some = [other for other in fitting if draw(st.booleans())][-3:]
            unknown = draw(st.booleans())
            parents[sex].append({other: 1 / (len(some) + unknown) for other in some})
    return Pedigree(parents[0], parents[1])


@settings(max_examples=20)
@given(pens(), st.data())
def test_shares_sum_to_one_and_genomes_are_the_mean_relationship(
    pedigree: Pedigree, data: st.DataObject
) -> None:
    everyone = st.integers(0, len(pedigree) - 1)
    of = np.array(data.draw(st.lists(everyone, min_size=1, unique=True)))
    found = founders_shares(pedigree, of)
    assert np.all(found >= 0)
    assert found.sum() == pytest.approx(1)
    mean = relationships(pedigree, of).mean()
    assert founder_genomes(pedigree, of) == pytest.approx(1 / mean)
    assert founder_genomes(pedigree, of) <= effective_founders(pedigree, of) + 1e-9

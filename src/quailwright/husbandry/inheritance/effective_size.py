"""How fast inbreeding rises in a closed flock, from how many birds breed and how they are mated.

The effective size is the number of birds of an ideal flock (as many cocks as hens, parents drawn
blindly for each chick) in which it rises as fast.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quailwright.language import say

Array = NDArray[np.float64]


def census(cocks: float | Array, hens: float | Array) -> Array:
    """Effective size by numbers alone: 4 x cocks x hens / (cocks + hens), birds.

    It holds where each chick's parents are drawn blindly among all, in separate generations.

    Args:
        cocks, hens: that breed, 0 or more; without one or the other it is 0.

    Raises:
        ValueError: less than 0, or not a number.

    Source: Wright 1931, Evolution in Mendelian populations, Genetics 16:97-159 (from memory).
    """
    males, females = np.asarray(cocks, float), np.asarray(hens, float)
    if not (np.all(males >= 0) and np.all(females >= 0)):
        raise ValueError(say("Cocks and hens are 0 or more."))
    both = males + females
    found: Array = np.where(both > 0, 4 * males * females / np.where(both > 0, both, 1.0), 0.0)
    return found


def rise(size: float | Array) -> Array:
    """Rise of inbreeding in a generation, of what is not inbred yet: 1 / (2 size).

    For few birds it is an approximation: by then it has not become steady.

    Args:
        size: effective, above 0.

    Raises:
        ValueError: not above 0.

    Source: Wright 1931, as above.
    """
    return 1 / (2 * _size(size))


def size_of(rise_per_generation: float | Array) -> Array:
    """Effective size with that rise: 1 / (2 rise); without end where nothing rises.

    Raises:
        ValueError: a rise below 0.
    """
    risen = np.asarray(rise_per_generation, float)
    if not np.all(risen >= 0):
        raise ValueError(say("The rise of inbreeding is 0 or more."))
    with np.errstate(divide="ignore"):
        found: Array = 1 / (2 * risen)
    return found


def _size(size: float | Array) -> Array:
    found = np.asarray(size, float)
    if not np.all(found > 0):
        raise ValueError(say("The effective size is above 0."))
    return found


@dataclass(frozen=True, slots=True)
class Families:
    """How unequal families are: variances over parents of the number of breeders they leave.

    Of sons and of daughters, per cock and per hen, with the covariances of the two.
    """

    sons_per_cock: float = 0.0
    daughters_per_cock: float = 0.0
    sons_per_hen: float = 0.0
    daughters_per_hen: float = 0.0
    both_per_cock: float = 0.0
    both_per_hen: float = 0.0


def by_families(cocks: float, hens: float, families: Families) -> float:
    """Effective size where families are as unequal as told, birds.

    With families all of one size (no variance) twice the census figure; with those that come about
    blindly (variances equal to the means) the census figure.

    Args:
        cocks, hens: that breed in each generation, above 0.

    Raises:
        ValueError: without cocks or without hens, or a variance below 0.

    Source: Hill 1979, A note on effective population size with overlapping generations, Genetics
    92:317-322, for separate generations (from memory).
    """
    variances = (
        families.sons_per_cock,
        families.daughters_per_cock,
        families.sons_per_hen,
        families.daughters_per_hen,
    )
    if not (cocks > 0 and hens > 0):
        raise ValueError(say("A flock that breeds has cocks and hens."))
    if not all(variance >= 0 for variance in variances):
        raise ValueError(say("Variances of family sizes are 0 or more."))
    ratio = cocks / hens
    through_cocks = (
        2
        + families.sons_per_cock
        + 2 * ratio * families.both_per_cock
        + ratio**2 * families.daughters_per_cock
    )
    through_hens = (
        2
        + families.sons_per_hen / ratio**2
        + 2 * families.both_per_hen / ratio
        + families.daughters_per_hen
    )
    return 1 / (through_cocks / (16 * cocks) + through_hens / (16 * hens))


def one_son_a_cock(cocks: float, hens: float) -> float:
    """Effective size where each cock leaves one son and each hen one daughter, birds.

    Cocks have equally many hens, at least one; which of his hens is the son's mother is left to
    chance. Inbreeding then rises by 3 / (32 cocks) + 1 / (32 hens) in a generation.

    Raises:
        ValueError: without cocks, or with fewer hens than cocks.

    Source: Gowe, Robertson and Latter 1959, Environment and poultry breeding problems 5, Poult Sci
    38:462-471 (from memory).
    """
    if not 0 < cocks <= hens:
        raise ValueError(say("There is a cock at least, and a hen at least for each."))
    return 1 / (3 / (16 * cocks) + 1 / (16 * hens))


def cyclic_rotation(pairs: float, doubling: bool = False) -> float:
    """Effective size of lines of one pair each whose sons move to other lines, birds.

    Daughters stay; each line is filled by one son and one daughter of its pair, so that families
    are equal. Sons move 1, 2, 3, ... lines on, generation by generation, and then from 1 again, or
    by doubling 1, 2, 4, ... In the long run; the same step each time is slower at first and, with
    many lines, in the long run.

    Args:
        pairs: lines, 2 or more; for doubling a power of 2.
        doubling: whether the steps double.

    Raises:
        ValueError: fewer than 2.

    Source: about 2 N - 2 on the mean of a cycle, with N birds, and a rise of about
    1 / (4 N - log2 N - 1), which is that of maximum avoidance and taken here for doubling:
    Farid, Makarechian and Strobeck 1987, Inbreeding under a cyclical mating system, Theor Appl
    Genet 73:506-515 (read in an excerpt; authors from memory). Which of the two goes with which
    steps was found by exact recursion (tests), 3 % off at most from 4 lines on.
    """
    if not pairs >= 2:
        raise ValueError(say("Lines to move sons between are 2 or more."))
    birds = 2 * pairs
    return (4 * birds - math.log2(birds) - 1) / 2 if doubling else 2 * birds - 2


def inbreeding_after(
    generations: float | Array, rise_per_generation: float | Array, start: float | Array = 0.0
) -> Array:
    """Inbreeding after so many generations: 1 - (1 - start) (1 - rise)^generations.

    Args:
        generations: 0 or more.
        rise_per_generation: 0 to 1.
        start: inbreeding now, 0 to 1.

    Raises:
        ValueError: out of range.

    Source: Falconer and Mackay 1996, Introduction to Quantitative Genetics, chapter 4 (from
    memory).
    """
    since, risen = np.asarray(generations, float), np.asarray(rise_per_generation, float)
    now = np.asarray(start, float)
    if not np.all(since >= 0):
        raise ValueError(say("Generations are 0 or more."))
    if not np.all((risen >= 0) & (risen <= 1)) or not np.all((now >= 0) & (now <= 1)):
        raise ValueError(say("Inbreeding and its rise are between 0 and 1."))
    found: Array = 1 - (1 - now) * (1 - risen) ** since
    return found


def generations_until(wanted: float, rise_per_generation: float, start: float = 0.0) -> float:
    """Generations until inbreeding comes to `wanted`; without end where it does not rise.

    Raises:
        ValueError: out of range, as `inbreeding_after`, or `wanted` is 1 or more.
    """
    inbreeding_after(0, rise_per_generation, start)
    if not 0 <= wanted < 1:
        raise ValueError(say("Inbreeding and its rise are between 0 and 1."))
    if wanted <= start:
        return 0.0
    if not rise_per_generation:
        return math.inf
    if rise_per_generation == 1:
        return 1.0
    return math.log((1 - wanted) / (1 - start)) / math.log1p(-rise_per_generation)


def birds_for(size: float, hens_per_cock: int = 1) -> tuple[int, int]:
    """The fewest cocks, with so many hens each, of at least that effective size by `census`.

    Returns:
        (cocks, hens).

    Raises:
        ValueError: no size above 0, or no hen a cock.
    """
    _size(size)
    if not hens_per_cock >= 1:
        raise ValueError(say("There is a cock at least, and a hen at least for each."))
    of_one = float(census(1, hens_per_cock))
    cocks = max(1, math.ceil(size / of_one - 1e-9))
    return cocks, cocks * hens_per_cock

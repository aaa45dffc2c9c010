"""Where the genes of birds come from, how far back it is known, and how fast inbreeding rose."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quailwright.husbandry.inheritance.kinship import inbreeding, mendelian
from quailwright.husbandry.inheritance.pedigree import Pedigree, Places
from quailwright.language import say

Array = NDArray[np.float64]

_ALL_KNOWN = 1e-9


def shares(pedigree: Pedigree, of: Places) -> Array:
    """The expected share of each bird's genes in the mean of some birds, (n,).

    Of the birds themselves 1 over their number; of a forebear half of its chicks' shares. What
    passed through several generations counts in each, so that the sum is above 1.

    Args:
        pedigree: n birds.
        of: places of the birds, 1 or more, each once.

    Raises:
        ValueError: no birds.
    """
    if not len(of):
        raise ValueError(say("Whose genes? At least one bird is to be named."))
    found = np.zeros(len(pedigree))
    found[of] = 1 / len(of)
    passed = found.tolist()
    halves = pedigree.halves
    ends, parents, parts = (each.tolist() for each in (halves.indptr, halves.indices, halves.data))
    for bird in range(len(pedigree) - 1, -1, -1):
        share = passed[bird]
        if share:
            for at in range(ends[bird], ends[bird + 1]):
                passed[parents[at]] += parts[at] * share
    return np.array(passed)


def founders_shares(pedigree: Pedigree, of: Places) -> Array:
    """The expected share of the genes of some birds that came into the pedigree with each bird.

    (n,), with the sum 1. Of a bird without known parents it is its whole share, of a bird with one
    known parent half of it, namely that of the other; 0 where both are known.

    Args:
        pedigree: n birds.
        of: places of the birds, 1 or more, each once.

    Raises:
        ValueError: no birds.

    Source: Lacy 1989, Analysis of founder representation in pedigrees, Zoo Biol 8:111-123 (from
    memory).
    """
    unknown = 1 - np.asarray(pedigree.halves.sum(axis=1)).ravel()
    found: Array = shares(pedigree, of) * np.where(unknown > _ALL_KNOWN, unknown, 0.0)
    return found


def effective_founders(pedigree: Pedigree, of: Places) -> float:
    """So many founders with equal shares would keep as much: 1 over the sum of shares squared.

    Arguments, errors and source as `founders_shares`.
    """
    return float(1 / np.sum(founders_shares(pedigree, of) ** 2))


def founder_genomes(pedigree: Pedigree, of: Places) -> float:
    """So many unrelated founders have as much variety as these birds have left.

    1 over the mean relationship among them, each with itself too. Less than the effective founders
    by what was lost by chance since. Exact for parents known by chance too, chicks' drawn apart.

    Arguments and errors as `founders_shares`.

    Source: Lacy 1989, as above, and 1995, Clarification of genetic terms and their use in the
    management of captive populations, Zoo Biol 14:565-578 (from memory).
    """
    return float(1 / np.sum(shares(pedigree, of) ** 2 * mendelian(pedigree)))


def generations(pedigree: Pedigree) -> Array:
    """Complete generations of forebears known of each bird, or as many in all, (n,).

    Half of one more than its father's, and half of one more than its mother's; 0 without known
    parents. Over possible parents the mean.

    Source: Maignel, Boichard and Verrier 1996, Genetic variability of French dairy breeds estimated
    from pedigree information, Interbull Bull 14:49-54 (from memory).
    """
    halves = pedigree.halves
    ends, parents, parts = (each.tolist() for each in (halves.indptr, halves.indices, halves.data))
    found: list[float] = []
    for bird in range(len(pedigree)):
        links = range(ends[bird], ends[bird + 1])
        found.append(sum([parts[at] * (1 + found[parents[at]]) for at in links]))
    return np.array(found, float)


@dataclass(frozen=True, slots=True)
class Generation:
    """One generation: its birds' number and their inbreeding, mean and greatest."""

    number: int
    birds: int
    mean: float
    most: float


def by_generation(inbred: Array, generation: Array) -> list[Generation]:
    """Mean inbreeding by generation, the oldest first.

    Args:
        inbred: inbreeding of n birds.
        generation: of each; halves and other parts are rounded, 1.5 to 2.

    Raises:
        ValueError: not as many of the one as of the other.
    """
    if inbred.shape != generation.shape:
        raise ValueError(say("Every bird has an inbreeding and a generation."))
    numbers = np.floor(generation + 0.5).astype(int)
    return [
        Generation(
            int(number),
            int(np.count_nonzero(numbers == number)),
            float(inbred[numbers == number].mean()),
            float(inbred[numbers == number].max()),
        )
        for number in np.unique(numbers)
    ]


@dataclass(frozen=True, slots=True)
class Realised:
    """How fast inbreeding has risen on the way to some birds.

    Attributes:
        birds: those that told it, with more than one generation of known forebears.
        rise: per generation, of what was not inbred yet.
        size: of an ideal flock with that rise, birds; without end where none is inbred.
        error: standard error of `size` by how birds differ; NaN of fewer than two birds. Birds of
            a flock share forebears, and birds with possible parents have means that differ less
            than they do, so the truth is less sure than it says.
    """

    birds: int
    rise: float
    size: float
    error: float


def realised(pedigree: Pedigree, of: Places) -> Realised | None:
    """The effective size that the inbreeding of some birds shows, or None where none can tell.

    Each bird's rise is 1 - (1 - F) to the power 1 / (g - 1), with F its inbreeding and g the
    complete generations of forebears known. It tells of the past, and with few known generations
    and few founders not yet of much.

    Source: Gutierrez, Cervantes and Goyache 2009, Improving the estimation of realized effective
    population sizes in farm animals, J Anim Breed Genet 126:327-332, after Gutierrez, Cervantes,
    Molina, Valera and Goyache 2008, Genet Sel Evol 40:359-378 (from memory).
    """
    known = generations(pedigree)[of] - 1
    inbred = inbreeding(pedigree)[of]
    deep = known > _ALL_KNOWN
    if not np.any(deep):
        return None
    each = 1 - (1 - inbred[deep]) ** (1 / known[deep])
    birds, rise = len(each), float(each.mean())
    size = 1 / (2 * rise) if rise > 0 else math.inf
    if birds < 2:
        return Realised(birds, rise, size, math.nan)
    error = 2 / math.sqrt(birds) * size**2 * float(each.std(ddof=1)) if rise > 0 else math.nan
    return Realised(birds, rise, size, error)

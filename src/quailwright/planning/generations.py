"""Kinship from one generation to the next, by who may be whose parent: exact, no chance drawn.

A scheme is two tables: of each bird of the next generation, the chance that each bird of this one
is its father, and its mother. Where parents are chosen by chance each chick's are drawn apart, so
what comes out is the mean over all choices.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Parents:
    """Chances of parents: (birds of the next generation, birds of this one), each row to 1.

    What a row lacks to 1 is the chance of a parent from outside, unrelated to all.
    """

    fathers: Array
    mothers: Array


def next_kinship(kinship: Array, parents: Parents) -> Array:
    """Kinship among the birds of the next generation, (k, k), from that of this one, (n, n).

    Kinship of two birds is half of their additive relationship; of a bird with itself
    (1 + its inbreeding) / 2.

    Source: Malecot 1948, Les mathematiques de l'heredite (from memory).
    """
    halves = (parents.fathers + parents.mothers) / 2
    found: Array = halves @ kinship @ halves.T
    np.fill_diagonal(found, (1 + chicks_inbreeding(kinship, parents)) / 2)
    return found


def chicks_inbreeding(kinship: Array, parents: Parents) -> Array:
    """Inbreeding expected of each bird of the next generation, (k,): its parents' kinship."""
    found: Array = ((parents.fathers @ kinship) * parents.mothers).sum(1)
    return found


Scheme = Callable[[int], Parents]
"""The parents of generation 1, 2, ..., by its number."""


def inbreeding_ahead(kinship: Array, scheme: Scheme, generations: int) -> Array:
    """Mean inbreeding of the chicks of each generation from the first on, (generations,)."""
    return np.array(
        [
            float(chicks_inbreeding(now, parents).mean())
            for now, parents in steps(kinship, scheme, generations)
        ]
    )


def steps(kinship: Array, scheme: Scheme, generations: int) -> Iterator[tuple[Array, Parents]]:
    """The kinship of each generation of parents, with the parents that it makes of its chicks."""
    for number in range(1, generations + 1):
        parents = scheme(number)
        yield kinship, parents
        kinship = next_kinship(kinship, parents)


# Pens of one cock and some hens each: birds in the order of the pens, each cock before his hens.


def cocks_at(hens: Sequence[int]) -> list[int]:
    """Where the cock of each pen stands among all birds."""
    return [sum(hens[:pen]) + pen for pen in range(len(hens))]


def moved_right(hens: Sequence[int], step: Callable[[int], int] = lambda _: 1) -> Scheme:
    """Sons move so many pens right, daughters stay; each hen leaves a daughter in her pen.

    A pen's next cock is the son of a hen drawn by chance from the pen that he comes from. With a
    step of 1 it is circular, and for pairs the circular pair mating of Kimura and Crow 1963, On the
    maximum avoidance of inbreeding, Genet Res 4:399-415.

    Args:
        hens: of each pen, 1 or more.
        step: pens that the sons of a generation, by its number from 1, move. 0: they stay.
    """
    at = cocks_at(hens)
    birds = sum(hens) + len(hens)

    def parents(generation: int) -> Parents:
        fathers, mothers = np.zeros((birds, birds)), np.zeros((birds, birds))
        for pen, own in enumerate(at):
            left = (pen - step(generation)) % len(hens)
            fathers[own, at[left]] = 1.0
            mothers[own, at[left] + 1 : at[left] + 1 + hens[left]] = 1.0 / hens[left]
            for hen in range(own + 1, own + 1 + hens[pen]):
                fathers[hen, own] = mothers[hen, hen] = 1.0
        return Parents(fathers, mothers)

    return parents


def cyclic_step(pens: int) -> Callable[[int], int]:
    """Steps 1, 2, ..., pens - 1, and again: each pen's hens meet the sons of every other in turn.

    Source: cyclical mating, Theor Appl Genet 1987, 73:506-515.
    """
    return lambda generation: 1 + (generation - 1) % max(1, pens - 1)


def one_pen(hens: Sequence[int]) -> Scheme:
    """The same birds together: the father of each young bird is any cock, its mother any hen."""
    at = cocks_at(hens)
    birds = sum(hens) + len(hens)
    fathers = np.zeros((birds, birds))
    fathers[:, at] = 1.0 / len(at)
    mothers = np.where(fathers > 0, 0.0, 1.0 / sum(hens))
    return lambda _: Parents(fathers, mothers)


def with_new_blood(scheme: Scheme, cocks: tuple[int, ...], each: int) -> Scheme:
    """The same with these birds of every so-many-th generation from outside, kin to none.

    Two newcomers are taken for unrelated to each other, too.
    """

    def parents(generation: int) -> Parents:
        made = scheme(generation)
        if not cocks or not each or generation % each:
            return made
        fathers, mothers = made.fathers.copy(), made.mothers.copy()
        fathers[list(cocks)] = mothers[list(cocks)] = 0.0
        return Parents(fathers, mothers)

    return parents


def unrelated(birds: int) -> Array:
    """Kinship among birds that share no known forebear, (birds, birds)."""
    return np.eye(birds) / 2


def rise_per_generation(inbreeding: Array, last: int = 1) -> float:
    """Mean rise of inbreeding over the last so many generations, of what was not yet inbred."""
    left = 1.0 - inbreeding
    return float(1.0 - (left[-1] / left[-1 - last]) ** (1.0 / last))

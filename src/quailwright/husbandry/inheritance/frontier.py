"""A pedigree walked from its oldest birds to its youngest, keeping only what is still needed.

It goes batch by batch; no bird of a batch may be a parent of another of it. After each, those birds
are forgotten that will be no parents any more. Where few birds stand between (a farm's breeders of
the time), the relationships among these are kept, a dense square. Where many do (parents drawn from
all birds before), the shares that each has of its ancestors are kept, sparse rows.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array  # type: ignore[import-untyped]

from quailwright.husbandry.inheritance.pedigree import Chances, Links, Mates, Pedigree, Places
from quailwright.language import say

Array = NDArray[np.float64]

MOST_IN_A_SQUARE = 10_000
"""Birds kept at a time as a square at most, unless more are wanted: it takes 800 MB then."""
MOST_IN_ROWS = 2**27
"""Shares kept at a time as rows at most: they take 1.6 GB then, and a batch as much again."""
_BATCH = 512
"""Birds in a batch at most, so that a batch takes little memory beside what is kept."""
_CALLS = 2e5
"""What a batch costs besides its sums, in sums."""


@dataclass(frozen=True)
class Walked:
    """What a walk through a pedigree of n birds found.

    Attributes:
        inbreeding: (n,).
        mendelian: (n,), the variance of a bird's breeding value that is not its parents', in units
            of the additive variance.
        related: (k, k), additive relationships among the birds wanted.
    """

    inbreeding: Array
    mendelian: Array
    related: Array


def walked(pedigree: Pedigree, wanted: Places) -> Walked:
    """Inbreeding and Mendelian variance of all, and the relationships among the birds wanted.

    With u and v the shares of each ancestor in a bird's father and in its mother, as expected, and
    d the Mendelian variances, its inbreeding is half the sum of u v d, and its own d is 1 less a
    quarter of the sum of (u² + v²) d. The rows hold u and v, the square holds such sums.

    Args:
        pedigree: n birds.
        wanted: places of k of them, each once.

    Raises:
        ValueError: more than `MOST_IN_A_SQUARE` parents at a time, and too many ancestors of these.

    Source: Henderson 1976, A simple method for computing the inverse of a numerator relationship
    matrix used in prediction of breeding values, Biometrics 32:69-83; Quaas 1976, Computing the
    diagonal elements and inverse of a large numerator relationship matrix, Biometrics 32:949-953;
    Meuwissen and Luo 1992, Computing inbreeding coefficients in large populations, Genet Sel Evol
    24:305-313 (from memory). For parents known by chance it is the same algebra on their means.
    """
    ways = ways_through(pedigree, wanted)
    most = max(MOST_IN_A_SQUARE, len(wanted))
    narrow = [way for way in ways if way.width <= most]
    if narrow:
        return in_a_square(pedigree, wanted, min(narrow, key=lambda way: way.cost))
    return in_rows(pedigree, wanted, min(ways, key=lambda way: len(way.batches)))


@dataclass(frozen=True)
class Way:
    """An order to take birds in.

    Attributes:
        batches: the birds of each batch.
        last: of each bird the batch that needs it last as a parent; the number of batches where it
            is wanted to the end; -1 where none does.
        width: birds to be kept at a time at most.
        cost: how long it takes with a square, in sums.
    """

    batches: list[Places]
    last: Places
    width: int
    cost: float


def ways_through(pedigree: Pedigree, wanted: Places) -> list[Way]:
    """Two of them: in the order in which the birds stand, and by their depth."""
    parents, chicks = _all_links(pedigree)
    return [
        _way(batch_of, parents, chicks, wanted)
        for batch_of in (_runs(parents, chicks, len(pedigree)), _depths(pedigree))
    ]


def _all_links(pedigree: Pedigree) -> tuple[Places, Places]:
    both = (pedigree.links_to_fathers, pedigree.links_to_mothers)
    return (
        np.concatenate([links.parents for links in both]),
        np.concatenate([links.chicks for links in both]),
    )


def _runs(parents: Places, chicks: Places, n: int) -> Places:
    """A new batch begins at each bird that has a parent in the batch."""
    latest = np.full(n, -1)
    np.maximum.at(latest, chicks, parents)
    begins = np.zeros(n, np.intp)
    began = 0
    for bird, parent in enumerate(latest.tolist()):
        if parent >= began:
            began = bird
            begins[bird] = 1
    return np.cumsum(begins)


def _depths(pedigree: Pedigree) -> Places:
    """One more than the deepest parent; birds without parents just before their first chick."""
    n = len(pedigree)
    parents_of: list[list[int]] = [[] for _ in range(n)]
    parents, chicks = _all_links(pedigree)
    for chick, parent in zip(chicks.tolist(), parents.tolist(), strict=True):
        parents_of[chick].append(parent)
    depth = [0] * n
    for bird, its in enumerate(parents_of):
        if its:
            depth[bird] = 1 + max([depth[parent] for parent in its])
    found = np.array(depth, np.intp)
    first = np.full(n, n)
    np.minimum.at(first, parents, found[chicks])
    founders = (found == 0) & (first < n)
    found[founders] = first[founders] - 1
    return found


def _way(batch_of: Places, parents: Places, chicks: Places, wanted: Places) -> Way:
    n = len(batch_of)
    order = np.argsort(batch_of, kind="stable")
    counts = np.bincount(batch_of)
    within = np.arange(n) - np.repeat(np.cumsum(counts) - counts, counts)
    starts = np.flatnonzero(within % _BATCH == 0)
    batches = np.split(order, starts[1:]) if n else []
    at = np.empty(n, np.intp)
    at[order] = np.repeat(np.arange(len(batches)), np.diff(starts, append=n))
    last = np.full(n, -1)
    np.maximum.at(last, parents, at[chicks])
    last[wanted] = len(batches)
    kept = last >= 0
    more = np.bincount(at[kept], minlength=len(batches) + 1)
    less = np.bincount(last[kept], minlength=len(batches) + 1)
    width = int(np.max(np.cumsum(more - less), initial=0))
    links = int(np.count_nonzero(kept[chicks]))
    return Way(batches, last, width, float(links + 3 * kept.sum()) * width + _CALLS * len(batches))


def in_a_square(pedigree: Pedigree, wanted: Places, way: Way) -> Walked:
    """As `walked`; takes memory for the square of the birds kept at a time."""
    n = len(pedigree)
    inbred, mendelian = np.zeros(n), np.ones(n)
    square = np.zeros((way.width, way.width))
    slot = np.full(n, -1)
    free = list(range(way.width))[::-1]
    leaving = _leaving(way)
    for now, birds in enumerate(way.batches):
        both = [pedigree.links_to_fathers.of(birds), pedigree.links_to_mothers.of(birds)]
        inbred[birds] = _sums(both[0], both[1], square, slot) / 2
        for links in both:
            own = _of_one(links, inbred) if _single(links) else _sums(links, links, square, slot)
            mendelian[birds] -= own / 4
        _together(pedigree, birds, inbred, mendelian, partial(_between, square, slot))
        kept = birds[way.last[birds] >= 0]
        halves = pedigree.halves[kept]
        shares = csr_array(
            (halves.data, slot[halves.indices], halves.indptr), (len(kept), way.width)
        )
        rows = shares @ square
        across = np.ascontiguousarray(rows.T)
        among = shares @ across
        np.fill_diagonal(among, 1 + inbred[kept])
        free.extend(slot[leaving[now]].tolist())
        free.sort(reverse=True)
        new = np.array([free.pop() for _ in kept], np.intp)
        slot[kept] = new
        square[new] = rows
        square[:, new] = across
        square[np.ix_(new, new)] = (among + among.T) / 2
    return Walked(inbred, mendelian, square[np.ix_(slot[wanted], slot[wanted])])


def _leaving(way: Way) -> list[Places]:
    """By batch, the birds that it needs last."""
    order = np.argsort(way.last, kind="stable")
    ends = np.searchsorted(way.last[order], np.arange(len(way.batches) + 1))
    return np.split(order, ends)[1:-1]


def _single(links: Links) -> bool:
    """Whether no bird has more than one possible parent of this sex."""
    return bool(np.all(np.diff(links.ends) <= 1))


def _of_one(links: Links, inbred: Array) -> Array:
    """What `_sums(links, links)` comes to where no bird has more than one possible parent."""
    weights = links.chances**2 * (1 + inbred[links.parents])
    return np.bincount(links.chicks, weights, len(links.ends) - 1).astype(float)


def _sums(one: Links, other: Links, square: Array, slot: Places) -> Array:
    """Of each bird the mean relationship of its possible parents, of two sexes or of one."""
    n = len(one.ends) - 1
    if _single(one) and _single(other):
        sums = np.zeros(n)
        both = (np.diff(one.ends) > 0) & (np.diff(other.ends) > 0)
        first, second = one.ends[:-1][both], other.ends[:-1][both]
        related = square[slot[one.parents[first]], slot[other.parents[second]]]
        sums[both] = one.chances[first] * other.chances[second] * related
        return sums
    rows, of_row = np.unique(one.parents, return_inverse=True)
    columns, of_column = np.unique(other.parents, return_inverse=True)
    left, right = np.zeros((n, len(rows))), np.zeros((n, len(columns)))
    left[one.chicks, of_row] = one.chances
    right[other.chicks, of_column] = other.chances
    found: Array = np.sum(left @ square[np.ix_(slot[rows], slot[columns])] * right, axis=1)
    return found


def _together(
    pedigree: Pedigree,
    birds: Places,
    inbred: Array,
    mendelian: Array,
    between: Callable[[Chances, Chances], float],
) -> None:
    """Where it is known who ran with whom, the inbreeding of these birds goes by that.

    The relationship to all others is that of parents drawn apart, so that what the bird is more
    or less inbred adds to its own variance alone.
    """
    found: dict[int, float] = {}
    for bird in birds.tolist() if pedigree.mates else ():
        mates: Sequence[Mates] | None = pedigree.mates.get(bird)
        if mates is None:
            continue
        if id(mates) not in found:  # shared by all chicks of a hatch
            found[id(mates)] = sum(
                some.share * between(some.fathers, some.mothers) / 2 for some in mates
            )
        mendelian[bird] += found[id(mates)] - inbred[bird]
        inbred[bird] = found[id(mates)]


def _between(square: Array, slot: Places, fathers: Chances, mothers: Chances) -> float:
    """The mean relationship of the one and the other."""
    if not (fathers and mothers):
        return 0.0
    table = square[np.ix_(slot[list(fathers)], slot[list(mothers)])]
    return float(np.array([*fathers.values()]) @ table @ np.array([*mothers.values()]))


def _between_rows(
    held: dict[int, tuple[NDArray[np.int32], Array]],
    mendelian: Array,
    fathers: Chances,
    mothers: Chances,
) -> float:
    """As `_between`, from rows of shares."""
    found = np.zeros((2, len(mendelian)))
    for shares, parents in zip(found, (fathers, mothers), strict=True):
        for parent, chance in parents.items():
            places, values = held[parent]
            shares[places] += chance * values
    return float((found[0] * found[1]) @ mendelian)


def in_rows(pedigree: Pedigree, wanted: Places, way: Way) -> Walked:
    """As `walked`; takes memory for each ancestor of each bird kept at a time."""
    n = len(pedigree)
    inbred, mendelian = np.zeros(n), np.ones(n)
    held: dict[int, tuple[NDArray[np.int32], Array]] = {}
    count = 0
    leaving = _leaving(way)
    for now, birds in enumerate(way.batches):
        shares = []
        for links in (pedigree.links_to_fathers.of(birds), pedigree.links_to_mothers.of(birds)):
            parents, column = np.unique(links.parents, return_inverse=True)
            chances = csr_array(
                (links.chances, column.astype(np.int32), links.ends.astype(np.int32)),
                (len(birds), len(parents)),
            )
            found = chances @ _stacked([held[bird] for bird in parents.tolist()], n)
            found.sort_indices()
            shares.append(found)
            own = _of_one(links, inbred) if _single(links) else found.power(2) @ mendelian
            mendelian[birds] -= own / 4
        inbred[birds] = shares[0].multiply(shares[1]) @ mendelian / 2
        _together(pedigree, birds, inbred, mendelian, partial(_between_rows, held, mendelian))
        mean = (shares[0] + shares[1]) / 2
        for at, bird in enumerate(birds.tolist()):
            if way.last[bird] >= 0:
                its = slice(mean.indptr[at], mean.indptr[at + 1])
                places = np.append(mean.indices[its], np.int32(bird))
                held[bird] = places, np.append(mean.data[its], 1.0)
                count += len(held[bird][0])
        for bird in leaving[now].tolist():
            count -= len(held.pop(bird)[0])
        if count > MOST_IN_ROWS:
            raise ValueError(
                say("Too many birds of this pedigree are parents at one time for this computer.")
            )
    rows = _stacked([held[bird] for bird in wanted.tolist()], n)
    related = (rows.multiply(mendelian) @ rows.T).toarray()
    return Walked(inbred, mendelian, (related + related.T) / 2)


def _stacked(rows: list[tuple[NDArray[np.int32], Array]], n: int) -> csr_array:
    ends = np.cumsum([0, *(len(columns) for columns, _ in rows)], dtype=np.int32)
    columns = np.concatenate([columns for columns, _ in rows] or [np.zeros(0, np.int32)])
    values = np.concatenate([values for _, values in rows] or [np.zeros(0)])
    return csr_array((values, columns, ends), (len(rows), n))

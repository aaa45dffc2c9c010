"""From shares to whole birds: which cocks, which hens, and which hen goes with which cock."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from quailwright.planning.contributions import OutOfReach, least_kinship, most_value
from quailwright.planning.program import Program
from quailwright.planning.solver import solve

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

_SECONDS = 20.0
_ROUNDS = 30
_SWAPS = 500
_MOST_CHOICES = 10
_BETTER = 1e-10
_TAKE_BARRED = 50.0
_LEAVE_EMPTY = 20.0
_TAKE_SPARE = 4.0
_SHORT_OF_VALUE = 100.0


@dataclass(frozen=True)
class Mating:
    """Birds to choose from, and what holds.

    Attributes:
        related: additive relationships among n birds, (n, n).
        cocks: which are cocks, (n,); the others are hens.
        rooms: the most hens of each pen to be filled, one cock each.
        hens: hens to be mated in all, no more than the rooms hold.
        barred: pairs that must not be, (n, n), symmetric.
        together: pairs that must be, (cock, hen).
        values: breeding values, (n,), or None.
        mind: of each bird, what taking it costs beside kinship, (n,): 0 mostly. It settles ties.
        at: a number for where each bird lives, (n,), to settle ties by the fewest moved.
    """

    related: Array
    cocks: Flags
    rooms: tuple[int, ...]
    hens: int
    barred: Flags
    together: tuple[tuple[int, int], ...] = ()
    values: Array | None = None
    mind: Array | None = None
    at: NDArray[np.intp] | None = None

    @property
    def sizes(self) -> list[int]:
        """Hens of each pen, the largest room first: as equal as the rooms allow."""
        return share_out(self.hens, sorted(self.rooms, reverse=True))

    @property
    def least_and_most(self) -> tuple[Array, Array]:
        """The shares of the next generation that each bird may have."""
        sizes, of_hen = self.sizes, 0.5 / self.hens
        most = np.where(self.cocks, of_hen * max(sizes), of_hen)
        least = np.zeros(len(self.cocks))
        for cock, hen in self.together:
            least[cock], least[hen] = of_hen * min(sizes), of_hen
        return least, most


@dataclass
class Pairs:
    """Cocks with their hens, best first.

    Attributes:
        hens_of: by cock, his hens.
        kinship: mean kinship of the birds of the next generation, c'Ac/2.
        inbreeding: mean over the chicks expected.
        value: mean breeding value of the chicks, or None.
    """

    hens_of: dict[int, list[int]] = field(default_factory=dict)
    kinship: float = 0.0
    inbreeding: float = 0.0
    value: float | None = None

    @property
    def cost(self) -> float:
        """What is made least: kinship of the next generation, and inbreeding of its birds."""
        return self.kinship + self.inbreeding

    @property
    def birds(self) -> set[int]:
        """All birds mated."""
        return {*self.hens_of, *(hen for hens in self.hens_of.values() for hen in hens)}


def share_out(hens: int, rooms: Sequence[int]) -> list[int]:
    """Hens over pens, as equal as their rooms allow; those left over go to the first pens."""
    sizes = [0] * len(rooms)
    for _ in range(min(hens, sum(rooms))):
        open_ = [at for at, room in enumerate(rooms) if sizes[at] < room]
        sizes[min(open_, key=lambda at: (sizes[at], at))] += 1
    return sizes


def best_pairs(mating: Mating, wanted: float | None = None) -> Pairs:
    """The choice of birds and pairs with least kinship and inbreeding.

    Shares come from a quadratic programme, whole birds from its largest shares, pairs from an
    assignment (least inbreeding of the chicks, whole by itself); then birds are exchanged as long
    as kinship and inbreeding together fall. The last step finds what no single exchange betters,
    which need not be the least of all: small cases are held against every choice in the tests.

    Args:
        wanted: least mean breeding value of the chicks; `inf`: as high as it goes.
    """
    if mating.values is None:
        wanted = None
    elif wanted is not None and not np.isfinite(wanted):
        least, most = mating.least_and_most
        highest = most_value(mating.cocks, mating.values, least=least, most=most)
        wanted = float(highest @ mating.values)
    found = [_exchanged(mating, chosen, wanted) for chosen in _starts(mating, wanted)]
    return _tried_on(mating, min(found, key=lambda pairs: _rank(mating, pairs, wanted)), wanted)


def _rank(mating: Mating, pairs: Pairs, wanted: float | None) -> tuple[int, float, float]:
    """The lower the better: places left empty, what lacks to the value wanted, then the cost."""
    placed = sum(map(len, pairs.hens_of.values()))
    short = _short(pairs.value, wanted)
    return (
        mating.hens - placed,
        0.0 if short < _BETTER else short,
        pairs.cost + _minded(mating, pairs),
    )


def _better(mating: Mating, one: Pairs, than: Pairs, wanted: float | None) -> bool:
    ours, theirs = _rank(mating, one, wanted), _rank(mating, than, wanted)
    if ours[0] != theirs[0]:
        return ours[0] < theirs[0]
    if abs(ours[1] - theirs[1]) > _BETTER:
        return ours[1] < theirs[1]
    return ours[2] < theirs[2] - _BETTER


def _tried_on(mating: Mating, best: Pairs, wanted: float | None) -> Pairs:
    """In a small flock each exchange is tried to its end: all hens paired anew after it."""
    forced = {bird for pair in mating.together for bird in pair}
    for _ in range(_ROUNDS):
        taken = best.birds
        free = [bird for bird in range(len(mating.cocks)) if bird not in taken]
        tries = [
            (out, into)
            for out in sorted(taken - forced)
            for into in free
            if mating.cocks[into] == mating.cocks[out]
        ]
        if len(tries) > _MOST_TRIES:
            return best
        for out, into in tries:
            swapped = {
                into if cock == out else cock: [into if hen == out else hen for hen in hens]
                for cock, hens in best.hens_of.items()
            }
            if not _could_better(mating, swapped, best, wanted):
                continue
            cocks, hens = list(swapped), [hen for mates in swapped.values() for hen in mates]
            found = _exchanged(mating, _paired(mating, cocks, hens), wanted)
            if _better(mating, found, best, wanted):
                best = found
                break
        else:
            return best
    return best


_MOST_TRIES = 1000


def _could_better(
    mating: Mating, hens_of: dict[int, list[int]], best: Pairs, wanted: float | None
) -> bool:
    """Whether these birds could be better, were each hen with the cock least kin to her."""
    found = _weighed(mating, hens_of)
    cocks = list(hens_of)
    hens = [hen for mates in hens_of.values() for hen in mates]
    if not hens:
        return True
    found.inbreeding = float(mating.related[np.ix_(cocks, hens)].min(0).mean()) / 2
    return _better(mating, found, best, wanted)


def _short(value: float | None, wanted: float | None) -> float:
    return 0.0 if value is None or wanted is None else max(0.0, wanted - value)


def _starts(mating: Mating, wanted: float | None) -> list[dict[int, list[int]]]:
    """Choices to begin from: by the shares of least kinship, at the value wanted if one is."""
    least, most = mating.least_and_most
    shares = [least_kinship(mating.related, mating.cocks, least=least, most=most)]
    if mating.values is not None and wanted is not None:
        highest = most_value(mating.cocks, mating.values, least=least, most=most)
        top = float(highest @ mating.values)
        shares.append(highest)
        if wanted < top - _BETTER:
            shares.append(
                least_kinship(
                    mating.related, mating.cocks, least=least, most=most,
                    values=mating.values, wanted=wanted,
                )
            )  # fmt: skip
    found = [_whole(mating, share) for share in shares]
    return [*found, *_each_choice_of_cocks(mating, found[-1])]


def _each_choice_of_cocks(
    mating: Mating, start: dict[int, list[int]]
) -> list[dict[int, list[int]]]:
    """Where few cocks leave few choices, one start for each, with the hens of another."""
    everyone = np.flatnonzero(mating.cocks).tolist()
    must = {cock for cock, _ in mating.together}
    if math.comb(len(everyone), len(mating.rooms)) > _MOST_CHOICES:
        return []
    hens = [hen for mates in start.values() for hen in mates]
    hens += [hen for hen in np.flatnonzero(~mating.cocks).tolist() if hen not in set(hens)]
    return [
        _paired(mating, cocks, hens[: mating.hens])
        for cocks in combinations(everyone, len(mating.rooms))
        if set(cocks) != set(start) and must <= set(cocks)
    ]


def _whole(mating: Mating, share: Array) -> dict[int, list[int]]:
    """The birds of the largest shares, hens not paired yet: dealt out in turn."""
    mind = np.zeros(len(share)) if mating.mind is None else mating.mind
    order = np.lexsort((np.arange(len(share)), mind, -np.round(share, 9)))
    forced = {bird for pair in mating.together for bird in pair}
    ranked = sorted(order.tolist(), key=lambda bird: bird not in forced)
    cocks = [bird for bird in ranked if mating.cocks[bird]][: len(mating.rooms)]
    hens = [bird for bird in ranked if not mating.cocks[bird]][: mating.hens]
    return _paired(mating, cocks, hens)


def _paired(mating: Mating, cocks: Sequence[int], hens: Sequence[int]) -> dict[int, list[int]]:
    """Hens to cocks, least in inbreeding of the chicks: a transportation programme.

    Hens left over may stand in for one who has no cock that she may go with; a place that nobody
    may take stays empty.
    """
    sizes = mating.sizes
    spare = [bird for bird in np.flatnonzero(~mating.cocks).tolist() if bird not in set(hens)]
    must = {hen: cock for cock, hen in mating.together}
    program = Program()
    of_hen: dict[int, list[tuple[int, float]]] = {}
    of_cock: dict[int, list[tuple[int, float]]] = {}
    pair_at: dict[int, tuple[int, int]] = {}
    for extra, birds in ((0.0, hens), (_TAKE_SPARE, spare)):
        for hen in birds:
            for cock in cocks:
                if mating.barred[cock, hen] or must.get(hen, cock) != cock:
                    continue
                cost = mating.related[cock, hen] / 2 + extra
                if mating.at is not None and mating.at[cock] != mating.at[hen]:
                    cost += _MOVED
                column = program.column(f"{cock} {hen}", upper=1.0, cost=float(cost))
                pair_at[column] = (cock, hen)
                of_hen.setdefault(hen, []).append((column, 1.0))
                of_cock.setdefault(cock, []).append((column, 1.0))
    for hen, terms in of_hen.items():
        program.row(f"hen {hen}", terms, lower=1.0 if hen in must else 0.0, upper=1.0)
    alike = min(mating.rooms) >= max(sizes)
    placed: list[tuple[int, float]] = []
    for cock, size in zip(cocks, sizes, strict=True):
        empty = program.column(f"empty {cock}", upper=float(size), cost=_LEAVE_EMPTY)
        terms = [*of_cock.get(cock, []), (empty, 1.0)]
        fewest, most = (min(sizes), max(sizes)) if alike else (size, size)
        program.row(f"cock {cock}", terms, lower=float(fewest), upper=float(most))
        placed += terms
    program.row("hens", placed, lower=float(mating.hens), upper=float(mating.hens))
    solution = solve(program, gap=0.0, seconds=_SECONDS, at_once=True)
    if not solution.found:
        raise OutOfReach
    hens_of: dict[int, list[int]] = {cock: [] for cock in cocks}
    for column, (cock, hen) in pair_at.items():
        if solution.values[column] > 0.5:
            hens_of[cock].append(hen)
    return hens_of


_MOVED = 1e-5


def _exchanged(mating: Mating, hens_of: dict[int, list[int]], wanted: float | None) -> Pairs:
    best = _weighed(mating, hens_of)
    for _ in range(_ROUNDS):
        swapped = _swapped(mating, best.hens_of, wanted)
        cocks = list(swapped)
        hens = [hen for cock in cocks for hen in swapped[cock]]
        found = _weighed(mating, _paired(mating, cocks, hens))
        if not _better(mating, found, best, wanted):
            return best
        best = found
    return best


def _minded(mating: Mating, pairs: Pairs) -> float:
    return 0.0 if mating.mind is None else float(mating.mind[sorted(pairs.birds)].sum())


def _weighed(mating: Mating, hens_of: dict[int, list[int]]) -> Pairs:
    """The pairs with what they come to."""
    shares = shares_of(len(mating.cocks), hens_of)
    n = sum(map(len, hens_of.values()))
    inbred = sum(
        float(mating.related[cock, hens].sum()) / 2 for cock, hens in hens_of.items() if hens
    )
    return Pairs(
        hens_of,
        float(shares @ mating.related @ shares) / 2,
        inbred / n if n else 0.0,
        None if mating.values is None else float(shares @ mating.values),
    )


def shares_of(birds: int, hens_of: dict[int, list[int]]) -> Array:
    """What each bird gives to the next generation where all hens lay and hatch alike, (birds,)."""
    shares = np.zeros(birds)
    n = sum(map(len, hens_of.values()))
    for cock, hens in hens_of.items():
        for hen in hens:
            shares[cock] += 0.5 / n
            shares[hen] += 0.5 / n
    return shares


def _swapped(
    mating: Mating, hens_of: dict[int, list[int]], wanted: float | None
) -> dict[int, list[int]]:
    """Birds mated exchanged for birds that are not, the best exchange first, until none betters."""
    forced = {bird for pair in mating.together for bird in pair}
    hens_of = {cock: list(hens) for cock, hens in hens_of.items()}
    for _ in range(_SWAPS):
        cock_of = {hen: cock for cock, hens in hens_of.items() for hen in hens}
        taken = {*hens_of, *cock_of}
        best: tuple[float, int, int] = (-_BETTER, -1, -1)
        for sex, mates_of in (
            (True, {cock: hens for cock, hens in hens_of.items() if hens}),
            (False, {hen: [cock] for hen, cock in cock_of.items()}),
        ):
            used = np.array([bird for bird in mates_of if bird not in forced], int)
            of_sex = np.flatnonzero(mating.cocks == sex)
            free = np.array([bird for bird in of_sex if bird not in taken], int)
            if not len(used) or not len(free):
                continue
            change = _change(mating, hens_of, mates_of, used, free, wanted)
            row, column = np.unravel_index(int(change.argmin()), change.shape)
            if change[row, column] < best[0]:
                best = (float(change[row, column]), int(used[row]), int(free[column]))
        _, out, into = best
        if out < 0:
            break
        if out in hens_of:
            hens_of = {into if cock == out else cock: hens for cock, hens in hens_of.items()}
        else:
            hens = hens_of[cock_of[out]]
            hens[hens.index(out)] = into
    return hens_of


def _change(
    mating: Mating,
    hens_of: dict[int, list[int]],
    mates_of: Mapping[int, Sequence[int]],
    used: NDArray[np.intp],
    free: NDArray[np.intp],
    wanted: float | None,
) -> Array:
    """How the cost changes where a free bird (column) stands in for a used one (row)."""
    related, hens = mating.related, sum(map(len, hens_of.values()))
    shares = shares_of(len(mating.cocks), hens_of)
    share, given, own = shares[used][:, None], related @ shares, np.diag(related)
    change = share * (given[free] - given[used][:, None])
    change += share**2 / 2 * (own[used][:, None] + own[free] - 2 * related[np.ix_(used, free)])
    mates = np.concatenate([mates_of[bird] for bird in used.tolist()])
    count = np.array([len(mates_of[bird]) for bird in used.tolist()])
    first = np.concatenate(([0], np.cumsum(count)[:-1]))
    theirs = np.repeat(used, count)
    for table, cost in ((related, 0.5 / hens), (mating.barred, _TAKE_BARRED)):
        kept = table[mates, theirs].astype(float)
        instead = table[np.ix_(mates, free)] - kept[:, None]
        change += cost * np.add.reduceat(instead, first)
    if mating.mind is not None:
        change += mating.mind[free] - mating.mind[used][:, None]
    if mating.values is not None and wanted is not None:
        worth = float(shares @ mating.values)
        after = worth + share * (mating.values[free] - mating.values[used][:, None])
        scale = _SHORT_OF_VALUE / (float(np.ptp(mating.values)) or 1.0)
        change += scale * (np.maximum(0.0, wanted - after) - max(0.0, wanted - worth))
    return change

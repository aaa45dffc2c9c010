"""The birds of each group one by one, as far as the record tells them apart.

Nobody tells apart the hens of a group that have no ring. But their number, where they came from
and when they left are known, so that for each some bird can stand: it lives where such a bird
lived, and leaves when one left. Which of several left, the record does not say: they go evenly.
"""

from collections import defaultdict, deque
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import NamedTuple

from quailwright.flock.state import CLASSES, Birds, Change, Flock, Group
from quailwright.journal.entries import Sex

MOST_APART = 60
"""Birds of one group and sex that are told apart. Where there are more, each of these stands for
several: among chicks of so many hens, half a point of inbreeding at most is lost or gained."""

_SEX: dict[str, Sex] = {"chicks": "unknown", "hens": "hen", "cocks": "cock"}


class Origin(NamedTuple):
    """Where a bird came into the flock from: a hatch, else a source; both "" where not told."""

    hatch: str = ""
    source: str = ""


_NOT_TOLD = Origin()


@dataclass(slots=True)
class Stay:
    """A bird was in a group from `since` up to, not including, `until`."""

    group: str
    since: date
    until: date = date.max

    def holds(self, day: date) -> bool:
        """Whether it was there on a day."""
        return self.since <= day < self.until


@dataclass(slots=True, eq=False)
class Individual:
    """One bird. `ring` is "" where it has none, `left` the day from which it is gone."""

    sex: Sex
    origin: Origin = _NOT_TOLD
    hatched_on: date | None = None
    stays: list[Stay] = field(default_factory=list)
    ring: str = ""
    left: date | None = None

    @property
    def group(self) -> str | None:
        """The group it lives in, or lived in last."""
        return self.stays[-1].group if self.stays else None


@dataclass(slots=True)
class _Pool:
    """Birds of a group and class: how many there are, and those that stand for them, in order.

    `taken` counts how often some of them left: so each time others are the first to go.
    """

    count: int = 0
    birds: list[Individual] = field(default_factory=list)
    taken: int = 0


def evenly(some: Sequence[Individual], number: int, turn: int = 0) -> list[Individual]:
    """So many of them, spread evenly over their order; each turn begins at another place."""
    if number >= len(some):
        return list(some)
    begin = (0.5 + turn * _GOLDEN) % 1.0
    return [some[int((n + begin) * len(some) / number)] for n in range(number)]


_GOLDEN = 0.6180339887498949
"""Turns by this part of a whole fall nowhere twice and leave no gap (Knuth 1973, The art of
computer programming 3, section 6.4; from memory)."""


_Choose = Callable[[Sequence[Individual], int, int], list[Individual]]


def _first(some: Sequence[Individual], number: int, turn: int) -> list[Individual]:
    return list(some[:number])


def individuals_of(flock: Flock) -> list[Individual]:
    """All birds that were ever in a group, each once, in a steady order."""
    return _Replay(flock.groups).all


class _Replay:
    """The changes of all groups, replayed: birds moved are the same birds before and after."""

    def __init__(self, groups: dict[str, Group]) -> None:
        self.all: list[Individual] = []
        self.pools: defaultdict[tuple[str, str], _Pool] = defaultdict(_Pool)
        self.under_way: defaultdict[tuple[str, str], deque[dict[str, list[Individual]]]] = (
            defaultdict(deque)
        )
        left = {name: deque(group.changes) for name, group in groups.items()}
        ready = deque(left)
        while ready:
            name = ready.popleft()
            changes = left[name]
            while changes:
                change = changes[0]
                if change.why == "moved_in" and not self.under_way[(change.other, name)]:
                    break  # The group that they come from is played on first, and calls again.
                changes.popleft()
                self.apply(name, change)
                if change.why == "moved_out":
                    ready.append(change.other)

    def apply(self, group: str, change: Change) -> None:
        birds, day = change.birds, change.day
        match change.why:
            case "sexed":
                self.sex(group, birds.hens, birds.cocks, day)
            case "moved_out":
                self.under_way[(group, change.other)].append(
                    {
                        kind: self.take(group, kind, -getattr(birds, kind), day, all_apart=True)
                        for kind in CLASSES
                    }
                )
            case "moved_in":
                coming = self.under_way[(change.other, group)].popleft()
                for kind in CLASSES:
                    for bird in coming[kind]:
                        bird.left = None
                        bird.stays.append(Stay(group, day))
                    self.join(group, kind, getattr(birds, kind), coming[kind], day)
            case _:
                if change.why == "found":
                    birds = self.told_apart(group, birds, day)
                for kind in CLASSES:
                    number = getattr(birds, kind)
                    if number > 0:
                        self.join(group, kind, number, self.new(group, kind, number, change), day)
                    elif number < 0:
                        self.take(group, kind, -number, day)

    def new(self, group: str, kind: str, number: int, change: Change) -> list[Individual]:
        """Birds that came; those found at a count are such as the group has."""
        like = list(self.there(group, kind)) if change.why == "found" else []
        made = []
        for n in range(min(number, MOST_APART)):
            origin, hatched_on = Origin(change.hatch, change.source), change.oldest
            if like:
                origin, hatched_on = like[n % len(like)].origin, like[n % len(like)].hatched_on
            made.append(Individual(_SEX[kind], origin, hatched_on, [Stay(group, change.day)]))
        self.all += made
        return made

    def there(self, group: str, kind: str) -> Iterable[Individual]:
        """Those of the class, else all of the group."""
        return self.pools[(group, kind)].birds or [
            bird for each in CLASSES for bird in self.pools[(group, each)].birds
        ]

    def join(
        self, group: str, kind: str, number: int, coming: Sequence[Individual], day: date
    ) -> None:
        pool = self.pools[(group, kind)]
        count = pool.count + number
        if len(pool.birds) + len(coming) > MOST_APART:
            stay = round(MOST_APART * pool.count / count)
            stay = min(max(stay, MOST_APART - len(coming)), len(pool.birds))
            kept = [*evenly(pool.birds, stay), *evenly(coming, MOST_APART - stay)]
            chosen = set(map(id, kept))
            for bird in (*pool.birds, *coming):
                if id(bird) not in chosen:
                    _leave(bird, day)
            pool.birds = kept
        else:
            pool.birds = [*pool.birds, *coming]
        pool.count = count

    def take(
        self, group: str, kind: str, number: int, day: date, all_apart: bool = False
    ) -> list[Individual]:
        """Birds that leave; with `all_apart` as many as leave, up to the most told apart."""
        pool = self.pools[(group, kind)]
        wanted = min(number, pool.count, MOST_APART) if all_apart else 0
        going = self.draw(pool, number, wanted, evenly)
        for bird in going:
            _leave(bird, day)
        return going

    def draw(self, pool: _Pool, number: int, wanted: int, choose: _Choose) -> list[Individual]:
        """Takes so many birds out of a pool, of whom `wanted` are to be had if need be as twins.

        As many as can be of those told apart stay, so that they are the same birds before and
        after.
        """
        if number <= 0 or not pool.birds:
            pool.count = max(0, pool.count - max(0, number))
            return []
        pool.count = max(0, pool.count - number)
        number = len(pool.birds) - min(pool.count, len(pool.birds))
        going = choose(pool.birds, number, pool.taken)
        pool.taken += 1
        chosen = set(map(id, going))
        like = list(pool.birds)
        pool.birds = [bird for bird in pool.birds if id(bird) not in chosen]
        for n in range(wanted - len(going)):
            twin = like[n % len(like)]
            other = replace(twin, stays=[replace(stay) for stay in twin.stays])
            self.all.append(other)
            going.append(other)
        return going

    def sex(self, group: str, hens: int, cocks: int, day: date) -> None:
        """Chicks become hens and cocks, the oldest first."""
        pool = self.pools[(group, "chicks")]
        pool.birds.sort(key=lambda bird: (bird.hatched_on is None, bird.hatched_on or date.max))
        wanted = [min(number, MOST_APART) for number in (hens, cocks)]
        some = self.draw(pool, hens + cocks, sum(wanted), _first)
        female = set(map(id, evenly(some, wanted[0])))
        for kind, count in (("hens", hens), ("cocks", cocks)):
            mine = [bird for bird in some if (id(bird) in female) == (kind == "hens")]
            for bird in mine:
                bird.sex = _SEX[kind]
            self.join(group, kind, count, mine, day)

    def told_apart(self, group: str, birds: Birds, day: date) -> Birds:
        """Chicks that a count finds fewer, and hens and cocks more, were told apart by then."""
        more = max(0, birds.hens) + max(0, birds.cocks)
        if birds.chicks >= 0 or not more:
            return birds
        told = min(-birds.chicks, more)
        hens = round(told * max(0, birds.hens) / more)
        self.sex(group, hens, told - hens, day)
        return Birds(birds.chicks + told, birds.hens - hens, birds.cocks - (told - hens))


def _leave(bird: Individual, day: date) -> None:
    bird.stays[-1].until = bird.left = day

"""What a programme is built from: days, birds there, what eggs bring, and what is asked."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

import numpy as np
from numpy.typing import NDArray

from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.planning.kernels import Kernels
from quailwright.planning.problem import (
    CHOSEN_AT_W,
    Busy,
    Candidate,
    Problem,
)

Array = NDArray[np.float64]


BLOCK_AGES_W = (CHOSEN_AT_W, 26, 34, 42, 50, 58, 66, 74, 82)
"""Ages at which hens may be let go [weeks]: the first when they are told apart and chosen."""
_FOUR_IN_FIVE = 0.84
"""Standard deviations above the mean below which four fifths of a normal lie."""


@dataclass(frozen=True)
class There:
    """Birds that are there, or will hatch from eggs under way.

    Attributes:
        key: as in `forecast.Question.stay`.
        name: for a keeper.
        hatched_on: their hatching day.
        hens, cocks: on the mean; before hatching those that will hatch.
        lay: their eggs over those of the kernel (their group's own level).
    """

    key: tuple[str, date | None]
    name: str
    hatched_on: date
    hens: float
    cocks: float
    lay: float = 1.0


@dataclass(frozen=True)
class PerHen:
    """What the eggs of a source give on the mean: `each` eggs bring one hen of the age of choosing,
    one egg brings `chicks`; hens an egg differ from batch to batch by `spread` (standard
    deviation)."""

    each: float
    chicks: float
    spread: float = 0.0

    @property
    def many(self) -> float:
        """Birds of a large set that four in five have no more of, over those on the mean."""
        return 1.0 + _FOUR_IN_FIVE * self.spread * self.each

    def sd(self, eggs: float) -> float:
        """How far the hens of so many eggs may be off (standard deviation): luck, and batch."""
        share = 1.0 / self.each
        return float(np.sqrt(eggs * share * (1.0 - share) + (eggs * self.spread) ** 2))


@dataclass(frozen=True)
class Asked:
    """What a programme is built from.

    Attributes:
        of_sets: kernels by candidate.
        of_there: kernels by `There`.
        per_hen: by source.
        need: eggs asked on the mean, by week.
        turned: eggs under way by incubator, by day from tomorrow, shape (days,) each; where eggs
            hatch in the incubator, those that lie still too.
        still: eggs under way that lie in hatchers, by day from tomorrow.
        busy: when eggs lie still in an incubator.
        table: birds for the table asked of a month on the mean; None for the goal's.
        hens: hens asked of each week of the goal on the mean; None for the goal's.
        lit: what the light leaves of a grown hen's lay, by week.
    """

    problem: Problem
    candidates: Sequence[Candidate]
    of_sets: Kernels
    there: Sequence[There]
    of_there: Kernels
    per_hen: Sequence[PerHen]
    need: Array
    turned: Mapping[str, Array] = field(default_factory=dict)
    still: Array = field(default_factory=lambda: np.zeros(0))
    busy: Busy = field(default_factory=dict)
    table: float | None = None
    hens: float | None = None
    lit: Array = field(default_factory=lambda: np.zeros(0))

    @property
    def table_birds(self) -> float:
        """Birds for the table asked of a month on the mean: the goal's, until more are asked."""
        return self.problem.wanted.table_birds_a_month if self.table is None else self.table

    @property
    def breeding_hens(self) -> float:
        """Hens asked of each week of the goal on the mean: the goal's, until more are asked."""
        return self.problem.wanted.breeding_hens if self.hens is None else self.hens


def choices_w(problem: Problem) -> tuple[float, ...]:
    """Ages at which hens may be let go [weeks], the latest that is told among them."""
    latest = problem.keep_hens_until_w
    ages = {float(age) for age in BLOCK_AGES_W}
    return tuple(sorted(ages if latest is None else ages | {max(latest, min(ages))}))


def blocks(problem: Problem, ages_d: Array) -> list[tuple[int, NDArray[np.int64]]]:
    """(number, weeks) of each block of a row of ages: the weeks in which hens of it are kept."""
    starts = [age * DAYS_A_WEEK for age in choices_w(problem)]
    ends = [*starts[1:], float("inf")]
    found = []
    for number, (start, end) in enumerate(zip(starts, ends, strict=True)):
        inside = np.flatnonzero((ages_d >= start) & (ages_d < end))
        found.append((number, inside))
    return found


def least_eggs(asked: Asked, source: int) -> int:
    """The fewest eggs that one set from a source is worth: what its seller sells at least, and a
    part of what the whole goal takes, as far as half of each machine and of the brooder hold that.
    Of own eggs it is no more than half of what the hens there lay in a week."""
    problem, per_hen = asked.problem, asked.per_hen[source]
    sells = problem.sources[source].least
    laid = DAYS_A_WEEK * facts.value("planning.lay_for_sizing")
    hens = max(problem.wanted.breeding_hens, float(problem.wanted.eggs.max(initial=0.0)) / laid)
    worth = max(_WORTH_SETTING * hens * per_hen.each, problem.wanted.table_birds_a_month / 2.0)
    machines = (*problem.room.incubators, *problem.room.hatchers)
    worth = min([worth, *(machine.eggs / 2.0 for machine in machines)])
    if problem.sources[source].own:
        worth = min(worth, _laid_by_those_there(asked) / 2.0)
    floor = asked.of_sets.brooder_m2.max(initial=0.0) * per_hen.chicks * per_hen.many
    if floor > 0.0:
        worth = min(worth, problem.room.brooder_m2 / floor / 2.0)
    return max(sells, int(worth))


def _laid_by_those_there(asked: Asked) -> float:
    """Eggs of the hens there in a week, the best of those ahead."""
    eggs = np.zeros(asked.problem.weeks)
    for n, one in enumerate(asked.there):
        eggs += one.hens * one.lay * asked.of_there.hens[n] * asked.of_there.eggs[n]
    return float(eggs.max(initial=0.0))


_WORTH_SETTING = 0.2
"""Part of the hens of the whole goal for which a hatch is worth its while."""


def room_for(problem: Problem) -> float:
    """Eggs that machines hold at once, turned and lying still."""
    room = problem.room
    turning = float(sum(machine.eggs for machine in room.incubators))
    hatching = float(sum(machine.eggs for machine in room.hatchers))
    return min(turning, hatching) if room.hatchers else turning


def candidates_of(asked: Asked, day: date) -> list[int]:
    """Numbers of the candidates of a day."""
    return [n for n, one in enumerate(asked.candidates) if one.day == day]


def alive_at_choice(alive: Array, ages_d: Array) -> float:
    """Part that lives to be chosen; 1 for birds that are older now, or will not be by then."""
    chosen = ages_d >= BLOCK_AGES_W[0] * DAYS_A_WEEK
    return 1.0 if chosen[0] or not chosen.any() else float(alive[np.argmax(chosen)])


def alive_when_chosen(asked: Asked) -> list[float]:
    """Hens there that live to be chosen, by cohort."""
    kernel = asked.of_there
    return [
        one.hens * alive_at_choice(kernel.hens[n], kernel.age_d[n])
        for n, one in enumerate(asked.there)
    ]


def relative(alive: Array, ages_d: Array) -> Array:
    """Alive against those alive when they are chosen (or now, if they are older)."""
    relative: Array = alive / alive_at_choice(alive, ages_d)
    return relative


def at(by_day: Array, problem: Problem, day: date) -> float:
    """What an array by day from tomorrow holds for a day; 0 beyond it."""
    number = (day - problem.on).days - 1
    return float(by_day[number]) if 0 <= number < len(by_day) else 0.0


DAYS_A_MONTH = 30.4

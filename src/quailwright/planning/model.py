"""The programme of a plan: which eggs to set and which birds to keep, at least cost, on the mean.

Certainty comes from outside: the eggs asked of each week and the eggs set for each hen kept are
raised until trials in the outlook's own draws meet the goal as surely as asked (`plan`).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.husbandry.feeding import intake_of_g_per_day
from quailwright.planning.hands import (
    a_bird,
    jobs,
    minutes_once,
    watched_until,
    watching,
)
from quailwright.planning.kernels import Kernels
from quailwright.planning.problem import (
    CHOSEN_AT_W,
    Busy,
    Candidate,
    Machine,
    Problem,
    chosen_on,
    is_free,
)
from quailwright.planning.program import Program
from quailwright.planning.solver import Solution

Array = NDArray[np.float64]

_BLOCK_AGES_W = (CHOSEN_AT_W, 26, 34, 42, 50, 58, 66, 74, 82)
"""Ages at which hens may be let go [weeks]: the first when they are told apart and chosen."""
_WANTING = 25.0
"""What is wanting costs so many times what it costs to have it: far more than it saves, yet not so
much that a hatch is set for an egg."""


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


@dataclass(frozen=True)
class Columns:
    """Numbers of columns: by candidate, by (candidate day or there, block), by week; where eggs
    hatch in the machine they are turned in, of (whether a day's eggs go in, how many) by
    (day, machine). Numbers of the rows that ask for a week's eggs, by week."""

    is_set: list[int]
    eggs: list[int]
    hens: list[int]
    kept: list[list[int]]
    there: list[list[int]]
    wanting: list[int]
    margin: list[int]
    table_wanting: dict[tuple[int, int], int]
    hens_wanting: dict[int, int]
    days: list[date]
    of_day: dict[date, int]
    loads: dict[tuple[date, str], tuple[int, int]]
    egg_rows: dict[int, int] = field(default_factory=dict)


def build(asked: Asked) -> tuple[Program, Columns]:
    """The programme. Rows are named so that a keeper can read which one binds."""
    program = Program()
    columns = _columns(program, asked)
    _sets(program, columns, asked)
    _blocks(program, columns, asked)
    _eggs(program, columns, asked)
    _machines(program, columns, asked)
    _floors(program, columns, asked)
    _table(program, columns, asked)
    _breeding(program, columns, asked)
    _hands_and_money(program, columns, asked)
    return program, columns


def choices_w(problem: Problem) -> tuple[float, ...]:
    """Ages at which hens may be let go [weeks], the latest that is told among them."""
    latest = problem.keep_hens_until_w
    ages = {float(age) for age in _BLOCK_AGES_W}
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


def _columns(program: Program, asked: Asked) -> Columns:
    problem = asked.problem
    days = list(dict.fromkeys(one.day for one in asked.candidates))
    is_set, eggs, hens = [], [], []
    for one in asked.candidates:
        source = problem.sources[one.source]
        label = f"{one.day} {source.name}"
        minutes, of_egg = minutes_once()
        once = source.postage + minutes * problem.prices.minute
        once += problem.prices.hatch if problem.room.hatchers else 0.0
        if problem.kept and one.day not in {kept.on for kept in problem.kept}:
            once += _UPSET_KG * _money(problem)
        each = source.price + of_egg * problem.prices.minute
        is_set.append(program.column(f"set {label}", upper=1.0, cost=once, whole=True))
        eggs.append(program.column(f"eggs {label}", upper=source.most, cost=each))
        hens.append(program.column(f"hens {label}"))
    kept = [
        [program.column(f"kept {day} from {age:g} weeks") for age in choices_w(problem)]
        for day in days
    ]
    there = [
        [
            program.column(f"{one.name} from {age:g} weeks", upper=upper)
            for age in choices_w(problem)
        ]
        for one, upper in zip(asked.there, alive_when_chosen(asked), strict=True)
    ]
    of_egg, of_bird, of_hen_week = wanting_costs(problem)
    wanting = [
        program.column(
            f"eggs wanting in the week of {problem.first_day(w)}", cost=of_egg * _worth(asked, w)
        )
        for w in range(problem.weeks)
    ]
    months = _months(problem) if problem.wanted.table_birds_a_month else {}
    margin = [
        program.column(
            f"eggs above the goal wanting in the week of {problem.first_day(w)}",
            upper=max(0.0, float(asked.need[w] - problem.wanted.eggs[w])),
            cost=of_egg * _worth(asked, w) * _MARGIN,
        )
        for w in range(problem.weeks)
    ]
    birds = {
        month: program.column(f"table birds wanting in {month[0]}-{month[1]:02d}", cost=of_bird)
        for month in months
    }
    stock = {
        int(w): program.column(f"hens wanting in the week of {problem.first_day(int(w))}",
                               cost=of_hen_week)
        for w in (problem.weeks_of_goal() if problem.wanted.breeding_hens else ())
    }  # fmt: skip
    of_day = {day: number for number, day in enumerate(days)}
    loads = {
        (day, machine.name): (
            program.column(
                f"{machine.name} filled on {day}",
                upper=1.0,
                cost=_machine_cost(problem),
                whole=True,
            ),
            program.column(f"eggs into {machine.name} on {day}", upper=float(machine.eggs)),
        )
        for day in days
        for machine in (() if problem.room.hatchers else problem.room.incubators)
    }
    return Columns(
        is_set, eggs, hens, kept, there, wanting, margin, birds, stock, days, of_day, loads
    )


def _worth(asked: Asked, week: int) -> float:
    """How much an egg of a week is fought for: less where days are so short that an egg takes many
    hens, and they lay or not all together."""
    if week >= len(asked.lit):
        return 1.0
    return float(np.clip((asked.lit[week] - _DARK) / (_LIT - _DARK), _LEAST_WORTH, 1.0))


_MARGIN = 0.3
"""What is wanting of the margin above the goal counts as this part of what is wanting of it."""
_DARK, _LIT = 0.2, 0.7
"""Parts of a full lay that the light leaves: from the first on the eggs of a week are fought for
more and more, and from the second on as any others."""
_LEAST_WORTH = 0.1


def _machine_cost(problem: Problem) -> float:
    """What filling a machine costs: the power of a hatch, and beside others some more."""
    others = len(problem.room.incubators) > 1
    return problem.prices.hatch + (_A_MACHINE * set_cost(problem) if others else 0.0)


def wanting_costs(problem: Problem) -> tuple[float, float, float]:
    """What an egg, a bird for the table, and a hen for a week cost that are wanting, from what
    they usually cost to have."""
    prices = problem.prices
    usual = facts.value("planning.eggs_a_set")
    a_set = set_cost(problem)
    birds = usual * facts.value("planning.chicks_an_egg")
    feed_kg = intake_of_g_per_day(_GROWN_D, "hen") * DAYS_A_WEEK / 1000.0
    week = feed_kg * prices.feed_per_kg[2] + DAYS_A_WEEK * a_bird() * prices.minute
    laid = DAYS_A_WEEK * facts.value("planning.lay_for_sizing")
    hen_weeks = birds / 2.0 * _LAYS_W
    eggs = float(problem.wanted.eggs.sum())
    table = problem.wanted.table_birds_a_month * problem.weeks * DAYS_A_WEEK / _DAYS_A_MONTH
    costs = (
        week / laid + a_set / max(1.0, min(hen_weeks * laid, eggs)),
        week * CHOSEN_AT_W + a_set / max(1.0, min(birds, table)),
        week + a_set / hen_weeks,
    )
    of_eggs, of_birds, of_hens = (_WANTING * cost or 1.0 for cost in costs)
    return of_eggs, of_birds, of_hens


def set_cost(problem: Problem) -> float:
    """What a usual set costs from the cheapest source, work and all."""
    prices, sources = problem.prices, problem.sources
    minutes, of_egg = minutes_once()
    egg = min((source.price for source in sources), default=0.0) + of_egg * prices.minute
    once = min((source.postage for source in sources), default=0.0) + prices.hatch
    return once + minutes * prices.minute + facts.value("planning.eggs_a_set") * egg


_GROWN_D = 100.0
_LAYS_W = 26
"""Weeks that a hen is reckoned to lay, for what an egg costs."""
_A_MACHINE = 0.05
"""To fill a further machine counts as this part of what a usual set costs, beside its power."""
_UPSET_KG = 10.0
"""A set on a day that an accepted plan did not have costs as much more as so much feed [kg]."""


def _money(problem: Problem) -> float:
    """What a kilogram of feed costs, or about so where feed is told to cost nothing."""
    dearest = max((source.price for source in problem.sources), default=0.0)
    return problem.prices.feed_per_kg[2] or dearest or 1.0


def _sets(program: Program, columns: Columns, asked: Asked) -> None:
    for n, one in enumerate(asked.candidates):
        source, per_hen = asked.problem.sources[one.source], asked.per_hen[one.source]
        label = f"{one.day} {source.name}"
        eggs, is_set, hens = columns.eggs[n], columns.is_set[n], columns.hens[n]
        most = min(float(source.most), _room_for(asked.problem))
        program.upper[eggs] = most
        least = least_eggs(asked, one.source)
        program.upper[is_set] = 1.0 if most >= least else 0.0
        program.row(f"order of {label}", [(eggs, 1.0), (is_set, -most)], upper=0.0)
        program.row(f"least order of {label}", [(eggs, 1.0), (is_set, -least)], lower=0.0)
        program.row(
            f"eggs enough for the hens of {label}",
            [(eggs, 1.0), (hens, -per_hen.each)],
            lower=0.0,
        )


def least_eggs(asked: Asked, source: int) -> int:
    """The fewest eggs that one set from a source is worth: what its seller sells at least, and a
    part of what the whole goal takes, as far as half of each machine and of the brooder hold that.
    Own eggs are set as they are laid."""
    problem, per_hen = asked.problem, asked.per_hen[source]
    sells = problem.sources[source].least
    if problem.sources[source].own:
        return sells
    laid = DAYS_A_WEEK * facts.value("planning.lay_for_sizing")
    hens = max(problem.wanted.breeding_hens, float(problem.wanted.eggs.max(initial=0.0)) / laid)
    worth = max(_WORTH_SETTING * hens * per_hen.each, problem.wanted.table_birds_a_month / 2.0)
    machines = (*problem.room.incubators, *problem.room.hatchers)
    worth = min([worth, *(machine.eggs / 2.0 for machine in machines)])
    floor = asked.of_sets.brooder_m2.max(initial=0.0) * per_hen.chicks * per_hen.many
    if floor > 0.0:
        worth = min(worth, problem.room.brooder_m2 / floor / 2.0)
    return max(sells, int(worth))


_WORTH_SETTING = 0.2
"""Part of the hens of the whole goal for which a hatch is worth its while."""


def _room_for(problem: Problem) -> float:
    """Eggs that machines hold at once, turned and lying still."""
    room = problem.room
    turning = float(sum(machine.eggs for machine in room.incubators))
    hatching = float(sum(machine.eggs for machine in room.hatchers))
    return min(turning, hatching) if room.hatchers else turning


def _blocks(program: Program, columns: Columns, asked: Asked) -> None:
    """Hens kept never grow in number; those of a day come from all sources set that day."""
    for day, kept in zip(columns.days, columns.kept, strict=True):
        bought = [(columns.hens[n], -1.0) for n in candidates_of(asked, day)]
        program.row(f"hens of {day}", [(kept[0], 1.0), *bought], upper=0.0)
        _falling(program, kept, f"hens of {day}", asked.problem)
    for one, kept in zip(asked.there, columns.there, strict=True):
        _falling(program, kept, one.name, asked.problem)
        if not asked.need.any() and not asked.breeding_hens:
            for column in kept:
                program.lower[column] = program.upper[column]


def candidates_of(asked: Asked, day: date) -> list[int]:
    """Numbers of the candidates of a day."""
    return [n for n, one in enumerate(asked.candidates) if one.day == day]


def _falling(program: Program, kept: list[int], name: str, problem: Problem) -> None:
    latest = problem.keep_hens_until_w
    for number, age in list(enumerate(choices_w(problem)))[1:]:
        program.row(
            f"{name} from {age:g} weeks", [(kept[number], 1.0), (kept[number - 1], -1.0)], upper=0.0
        )
        if latest is not None and age >= latest:
            program.upper[kept[number]] = 0.0


def _alive_at_choice(alive: Array, ages_d: Array) -> float:
    """Part that lives to be chosen; 1 for birds that are older now, or will not be by then."""
    chosen = ages_d >= _BLOCK_AGES_W[0] * DAYS_A_WEEK
    return 1.0 if chosen[0] or not chosen.any() else float(alive[np.argmax(chosen)])


def alive_when_chosen(asked: Asked) -> list[float]:
    """Hens there that live to be chosen, by cohort."""
    kernel = asked.of_there
    return [
        one.hens * _alive_at_choice(kernel.hens[n], kernel.age_d[n])
        for n, one in enumerate(asked.there)
    ]


def relative(alive: Array, ages_d: Array) -> Array:
    """Alive against those alive when they are chosen (or now, if they are older)."""
    relative: Array = alive / _alive_at_choice(alive, ages_d)
    return relative


def _per_week(
    asked: Asked, columns: Columns, hens: str, cocks: str, *, many: bool = False
) -> list[list[tuple[int, float]]]:
    """Terms by week of something that each living bird takes: attributes of `Kernels` by name.

    Chicks count until they are chosen; after that kept hens, and cocks as the ratio has them.
    `many` counts the birds of sets as four hatches in five have no more, for room that cannot give.
    """
    problem = asked.problem
    terms: list[list[tuple[int, float]]] = [[] for _ in range(problem.weeks)]
    ratio = 1.0 / problem.hens_per_cock if problem.hens_per_cock else 0.0
    for n, one in enumerate(asked.candidates):
        kernel = asked.of_sets
        ages = kernel.age_d[n]
        per_hen, per_cock = getattr(kernel, hens)[n], getattr(kernel, cocks)[n]
        growing = (ages >= 0) & (ages < _BLOCK_AGES_W[0] * DAYS_A_WEEK)
        chicks = asked.per_hen[one.source].chicks / 2
        if many:
            chicks *= asked.per_hen[one.source].many
        for week in np.flatnonzero(growing):
            each = chicks * (
                kernel.hens[n, week] * per_hen[week] + kernel.cocks[n, week] * per_cock[week]
            )
            terms[week].append((columns.eggs[n], each))
    for day, kept in zip(columns.days, columns.kept, strict=True):
        n = candidates_of(asked, day)[0]
        crowd = asked.per_hen[asked.candidates[n].source].many if many else 1.0
        _kept_terms(problem, terms, kept, asked.of_sets, n, hens, cocks, ratio, crowd)
    for n, kept in enumerate(columns.there):
        kernel, one_there = asked.of_there, asked.there[n]
        _kept_terms(problem, terms, kept, kernel, n, hens, cocks, 0.0)
        ages = kernel.age_d[n]
        growing = (ages >= 0) & (ages < _BLOCK_AGES_W[0] * DAYS_A_WEEK)
        for week in np.flatnonzero(growing):
            each = one_there.hens * kernel.hens[n, week] * getattr(kernel, hens)[n, week]
            each += one_there.cocks * kernel.cocks[n, week] * getattr(kernel, cocks)[n, week]
            terms[week].append((-1, each))
        grown = ages >= _BLOCK_AGES_W[0] * DAYS_A_WEEK
        stay = min(one_there.cocks, one_there.hens * ratio) if ages[0] < 0 else one_there.cocks
        for week in np.flatnonzero(grown):
            cocks_there = stay * kernel.cocks[n, week] * getattr(kernel, cocks)[n, week]
            terms[week].append((-1, cocks_there))
    return terms


def _kept_terms(
    problem: Problem,
    terms: list[list[tuple[int, float]]],
    kept: list[int],
    kernel: Kernels,
    n: int,
    hens: str,
    cocks: str,
    ratio: float,
    crowd: float = 1.0,
) -> None:
    ages = kernel.age_d[n]
    alive = relative(kernel.hens[n], ages)
    per_hen, per_cock = getattr(kernel, hens)[n], getattr(kernel, cocks)[n]
    for number, weeks in blocks(problem, ages):
        for week in weeks:
            each = crowd * alive[week] * (per_hen[week] + ratio * per_cock[week])
            terms[week].append((kept[number], float(each)))


def _split(terms: list[tuple[int, float]]) -> tuple[list[tuple[int, float]], float]:
    """Terms of columns, and what is there whatever is decided."""
    return [t for t in terms if t[0] >= 0], sum(each for column, each in terms if column < 0)


def _eggs(program: Program, columns: Columns, asked: Asked) -> None:
    problem = asked.problem
    laid: list[list[tuple[int, float]]] = [[] for _ in range(problem.weeks)]
    for day, kept in zip(columns.days, columns.kept, strict=True):
        n = candidates_of(asked, day)[0]
        _lay_terms(problem, laid, kept, asked.of_sets, n, 1.0)
    for n, (one, kept) in enumerate(zip(asked.there, columns.there, strict=True)):
        _lay_terms(problem, laid, kept, asked.of_there, n, one.lay)
    own = _own_eggs(columns, asked)
    for week in range(problem.weeks):
        if own[week]:
            program.row(
                f"own eggs to set in the week of {problem.first_day(week)}",
                [*laid[week], *own[week]],
                lower=0.0,
            )
        if asked.need[week] > 0:
            columns.egg_rows[week] = program.row(
                f"eggs in the week of {problem.first_day(week)}",
                [
                    *laid[week],
                    *own[week],
                    (columns.wanting[week], 1.0),
                    (columns.margin[week], 1.0),
                ],
                lower=float(asked.need[week]),
            )


def _own_eggs(columns: Columns, asked: Asked) -> list[list[tuple[int, float]]]:
    """Own eggs that are set, by the week in which they are set: they are laid about then."""
    problem = asked.problem
    terms: list[list[tuple[int, float]]] = [[] for _ in range(problem.weeks)]
    for n, one in enumerate(asked.candidates):
        if problem.sources[one.source].own:
            terms[problem.week_of(one.day)].append((columns.eggs[n], -1.0))
    return terms


def _lay_terms(
    problem: Problem,
    laid: list[list[tuple[int, float]]],
    kept: list[int],
    kernel: Kernels,
    n: int,
    lay: float,
) -> None:
    ages = kernel.age_d[n]
    alive = relative(kernel.hens[n], ages)
    for number, weeks in blocks(problem, ages):
        for week in weeks:
            laid[week].append((kept[number], float(lay * alive[week] * kernel.eggs[n, week])))


def _machines(program: Program, columns: Columns, asked: Asked) -> None:
    """Eggs in machines by day. Incubators beside a hatcher are as one: eggs of any day may be
    turned together. Without one, eggs hatch where they are turned, each machine by itself."""
    problem, room = asked.problem, asked.problem.room
    if not room.hatchers:
        for machine in room.incubators:
            _machine(program, columns, asked, machine)
        for day in columns.days:
            into = [(columns.loads[day, machine.name][1], -1.0) for machine in room.incubators]
            eggs = [(columns.eggs[n], 1.0) for n in candidates_of(asked, day)]
            program.row(f"eggs of {day} in machines", [*eggs, *into], lower=0.0, upper=0.0)
        return
    turning = float(sum(machine.eggs for machine in room.incubators))
    hatching = float(sum(machine.eggs for machine in room.hatchers))
    turned = [asked.turned[name] for name in asked.turned]
    for day in columns.days:
        inside = [
            (columns.eggs[n], 1.0)
            for n, one in enumerate(asked.candidates)
            if one.day <= day < one.stops_turning
        ]
        there = sum(at(by_day, problem, day) for by_day in turned)
        program.row(f"eggs in the incubator on {day}", inside, upper=max(0.0, turning - there))
    for day in dict.fromkeys(one.stops_turning for one in asked.candidates):
        inside = [
            (columns.eggs[n], 1.0)
            for n, one in enumerate(asked.candidates)
            if one.stops_turning <= day <= one.cleared
        ]
        there = at(asked.still, problem, day)
        program.row(f"eggs in the hatcher on {day}", inside, upper=max(0.0, hatching - there))


def at(by_day: Array, problem: Problem, day: date) -> float:
    """What an array by day from tomorrow holds for a day; 0 beyond it."""
    number = (day - problem.on).days - 1
    return float(by_day[number]) if 0 <= number < len(by_day) else 0.0


def _machine(program: Program, columns: Columns, asked: Asked, machine: Machine) -> None:
    """No set into a machine while another lies still in it, unless they lie down together."""
    stop = facts.figure("incubation.turning_stop_day")
    together = timedelta(days=int((stop.high or 0.0) - (stop.low or 0.0)))
    under_way = asked.turned.get(machine.name, np.zeros(0))
    for day in columns.days:
        one = Candidate(day, 0)
        filled, eggs = columns.loads[day, machine.name]
        room = max(0.0, machine.eggs - at(under_way, asked.problem, day))
        if not is_free(asked.busy.get(machine.name, ()), one):
            program.upper[filled] = program.upper[eggs] = 0.0
        program.row(
            f"{machine.name} filled on {day}", [(eggs, 1.0), (filled, -machine.eggs)], upper=0.0
        )
        others = [other for other in columns.days if other <= day <= Candidate(other, 0).cleared]
        inside = [(columns.loads[other, machine.name][1], 1.0) for other in others]
        program.row(f"eggs in the incubator {machine.name} on {day}", inside, upper=room)
        for other in columns.days:
            if day + together < other <= one.cleared:
                program.row(
                    f"one machine: {machine.name} on {day} or {other}",
                    [(filled, 1.0), (columns.loads[other, machine.name][0], 1.0)],
                    upper=1.0,
                )


def _floors(program: Program, columns: Columns, asked: Asked) -> None:
    problem, room = asked.problem, asked.problem.room
    for name, limit in (("brooder_m2", room.brooder_m2), ("pen_m2", room.pen_m2)):
        if not np.isfinite(limit):
            continue
        label = "the brooder" if name == "brooder_m2" else "the pens"
        for week, terms in enumerate(_per_week(asked, columns, name, name, many=True)):
            chosen, fixed = _split(terms)
            if chosen:
                program.row(
                    f"floor of {label} in the week of {problem.first_day(week)}",
                    chosen,
                    upper=max(0.0, limit - fixed),
                )
    if np.isfinite(room.most_birds):
        for week, terms in enumerate(_per_week(asked, columns, "one", "one", many=True)):
            chosen, fixed = _split(terms)
            program.row(
                f"birds in all in the week of {problem.first_day(week)}",
                chosen,
                upper=max(0.0, room.most_birds - fixed),
            )


def _months(problem: Problem) -> dict[tuple[int, int], list[int]]:
    """Weeks of the goal by the month in which they begin."""
    months: dict[tuple[int, int], list[int]] = {}
    for week in range(problem.weeks):
        day = problem.first_day(week)
        if problem.wanted.first <= day <= problem.wanted.last:
            months.setdefault((day.year, day.month), []).append(week)
    return months


def _table(program: Program, columns: Columns, asked: Asked) -> None:
    """Birds beyond those kept, when they are chosen, and hens let go later, by month."""
    wanted = asked.table_birds
    if not wanted:
        return
    ratio = 1.0 / asked.problem.hens_per_cock if asked.problem.hens_per_cock else 0.0
    by_week: dict[int, list[tuple[int, float]]] = {}
    by_month: dict[tuple[int, int], list[tuple[int, float]]] = {}
    for n, one in enumerate(asked.candidates):
        grown = np.flatnonzero(asked.of_sets.age_d[n] >= _BLOCK_AGES_W[0] * DAYS_A_WEEK)
        day = chosen_on(asked.problem, one.day)
        if len(grown) and asked.problem.week_of(day) < asked.problem.weeks:
            week = int(grown[0])
            share = (asked.of_sets.hens[n, week] + asked.of_sets.cocks[n, week]) / 2
            chicks = asked.per_hen[one.source].chicks * share
            by_month.setdefault((day.year, day.month), []).append((columns.eggs[n], float(chicks)))
    for day, kept in zip(columns.days, columns.kept, strict=True):
        n = candidates_of(asked, day)[0]
        chosen = chosen_on(asked.problem, day)
        first = by_month.setdefault((chosen.year, chosen.month), [])
        first.append((kept[0], -(1.0 + ratio)))
        _going(asked.problem, by_week, kept, asked.of_sets, n)
    sure: dict[int, float] = {}
    for n, kept in enumerate(columns.there):
        ages = asked.of_there.age_d[n]
        grown = np.flatnonzero(ages >= _BLOCK_AGES_W[0] * DAYS_A_WEEK)
        if len(grown) and grown[0] > 0:
            by_week.setdefault(int(grown[0]), []).append((kept[0], -1.0))
        _going(asked.problem, by_week, kept, asked.of_there, n)
        _young_there(asked, n, sure, ratio)
    for month, weeks in _months(asked.problem).items():
        terms = [term for week in weeks for term in by_week.get(week, ())]
        terms += by_month.get(month, ())
        program.row(
            f"table birds in {month[0]}-{month[1]:02d}",
            [*terms, (columns.table_wanting[month], 1.0)],
            lower=wanted * min(1.0, len(weeks) * DAYS_A_WEEK / _DAYS_A_MONTH)
            - sum(sure.get(week, 0.0) for week in weeks),
        )


_DAYS_A_MONTH = 30.4


def _young_there(asked: Asked, n: int, sure: dict[int, float], ratio: float) -> None:
    """Birds there or under way that will be chosen: hens before any is kept, cocks beyond the
    ratio."""
    one, kernel = asked.there[n], asked.of_there
    ages = kernel.age_d[n]
    grown = np.flatnonzero(ages >= _BLOCK_AGES_W[0] * DAYS_A_WEEK)
    if not len(grown) or grown[0] == 0:
        return
    week = int(grown[0])
    hens = one.hens * float(kernel.hens[n, week])
    cocks = one.cocks * float(kernel.cocks[n, week])
    sure[week] = sure.get(week, 0.0) + hens + max(0.0, cocks - hens * ratio)


def _going(
    problem: Problem,
    by_week: dict[int, list[tuple[int, float]]],
    kept: list[int],
    kernel: Kernels,
    n: int,
) -> None:
    """Hens let go at the later ages."""
    ages = kernel.age_d[n]
    alive = relative(kernel.hens[n], ages)
    for number, weeks in blocks(problem, ages):
        if number == 0 or not len(weeks) or weeks[0] == 0:
            continue
        week = int(weeks[0])
        terms = by_week.setdefault(week, [])
        terms.append((kept[number - 1], float(alive[week])))
        terms.append((kept[number], -float(alive[week])))


def _breeding(program: Program, columns: Columns, asked: Asked) -> None:
    """Grown hens alive in each week of the goal."""
    if not asked.problem.wanted.breeding_hens:
        return
    alive: list[list[tuple[int, float]]] = [[] for _ in range(asked.problem.weeks)]
    kernels = [
        (asked.of_sets, candidates_of(asked, day)[0], kept)
        for day, kept in zip(columns.days, columns.kept, strict=True)
    ]
    kernels += [(asked.of_there, n, kept) for n, kept in enumerate(columns.there)]
    for kernel, n, kept in kernels:
        _kept_terms(asked.problem, alive, kept, kernel, n, "one", "one", 0.0)
    for week, wanting in columns.hens_wanting.items():
        program.row(
            f"hens in the week of {asked.problem.first_day(week)}",
            [*alive[week], (wanting, 1.0)],
            lower=asked.breeding_hens,
        )


def _hands_and_money(program: Program, columns: Columns, asked: Asked) -> None:
    """Feed, minutes and cash: their cost in the objective, their limits as rows."""
    prices = asked.problem.prices
    feed = _per_week(asked, columns, "hen_feed_cost", "cock_feed_cost")
    birds = _per_week(asked, columns, "one", "one")
    minute = prices.minute * DAYS_A_WEEK * a_bird()
    for terms, factor in ((feed, 1.0), (birds, minute)):
        for week_terms in terms:
            for column, each in week_terms:
                if column >= 0:
                    program.cost[column] += factor * each
    if np.isfinite(prices.minutes_by_weekday).any():
        _hands(program, columns, asked, birds)
    if np.isfinite(prices.budget_per_month):
        _budget(program, columns, asked, feed)


def _hands(
    program: Program, columns: Columns, asked: Asked, birds: list[list[tuple[int, float]]]
) -> None:
    """Care of every day fits the shortest day of a week; jobs fit the day they fall on."""
    problem = asked.problem
    limits = problem.prices.minutes_by_weekday
    tended = _days_set(program, columns, asked)
    daily = []
    for week, terms in enumerate(birds):
        chosen, fixed = _split([(column, a_bird() * each) for column, each in terms])
        first = problem.first_day(week)
        last = first + timedelta(days=DAYS_A_WEEK - 1)
        chosen += [
            (column, watching())
            for day, column in tended.items()
            if day <= last and watched_until(day) >= first
        ]
        care = program.column(f"care of every day in the week of {first}")
        program.row(f"care in the week of {first}", [*chosen, (care, -1.0)], upper=-fixed)
        program.row(
            f"minutes a day in the week of {first}",
            [(care, 1.0)],
            upper=max(min(limits), fixed),
        )
        daily.append((care, fixed))
    by_day: dict[date, list[tuple[int, float]]] = {}
    by_week: dict[int, list[tuple[int, float]]] = {}
    for set_on, column in tended.items():
        eggs = [columns.eggs[n] for n in candidates_of(asked, set_on)]
        for job in jobs():
            day = set_on + timedelta(days=job.after_d)
            terms = [(column, job.minutes), *((egg, job.per_egg) for egg in eggs)]
            by_week.setdefault(problem.week_of(day), []).extend(terms)
            if not job.waits:
                by_day.setdefault(day, []).extend(terms)
    for day, terms in sorted(by_day.items()):
        limit, week = limits[day.weekday()], problem.week_of(day)
        if problem.on < day and week < problem.weeks and np.isfinite(limit):
            care, fixed = daily[week]
            program.row(f"minutes of the day {day}", [*terms, (care, 1.0)], upper=max(limit, fixed))
    if not np.isfinite(limits).all():
        return
    for week, terms in sorted(by_week.items()):
        if 0 <= week < problem.weeks:
            care, fixed = daily[week]
            program.row(
                f"minutes of the week of {problem.first_day(week)}",
                [*terms, (care, float(DAYS_A_WEEK))],
                upper=max(sum(limits), DAYS_A_WEEK * fixed),
            )


def _days_set(program: Program, columns: Columns, asked: Asked) -> dict[date, int]:
    """A column for each day, 1 if anything is set on it, from whatever source."""
    found = {}
    for day in columns.days:
        sets = [columns.is_set[n] for n in candidates_of(asked, day)]
        found[day] = sets[0] if len(sets) == 1 else program.column(f"any set {day}", upper=1.0)
        if len(sets) > 1:
            for column in sets:
                program.row(f"a set on {day}", [(column, 1.0), (found[day], -1.0)], upper=0.0)
    return found


def _budget(
    program: Program, columns: Columns, asked: Asked, feed: list[list[tuple[int, float]]]
) -> None:
    problem, prices = asked.problem, asked.problem.prices
    spent: dict[tuple[int, int], list[tuple[int, float]]] = {}
    for week, terms in enumerate(feed):
        day = problem.first_day(week)
        spent.setdefault((day.year, day.month), []).extend(terms)
    for n, one in enumerate(asked.candidates):
        source = problem.sources[one.source]
        month = spent.setdefault((one.day.year, one.day.month), [])
        month.append((columns.eggs[n], source.price))
        month.append((columns.is_set[n], source.postage + prices.hatch))
    for month_key, terms in spent.items():
        chosen, fixed = _split(terms)
        program.row(
            f"money in {month_key[0]}-{month_key[1]:02d}",
            chosen,
            upper=max(0.0, prices.budget_per_month - fixed),
        )


def laid(program: Program, columns: Columns, asked: Asked, solution: Solution) -> Array:
    """Eggs of each week of the goal in a solution, own eggs that are set taken off, shape (weeks,);
    0 where nothing is asked."""
    values = solution.values.tolist()
    eggs = np.zeros(asked.problem.weeks)
    for week, row in columns.egg_rows.items():
        wanting = values[columns.wanting[week]] + values[columns.margin[week]]
        eggs[week] = program.row_value(row, values) - wanting
    return eggs


def feed_price(asked: Asked, columns: Columns, solution: Solution) -> float:
    """What a kilogram of feed costs in a solution: birds of each age eat their own feed."""
    together = []
    for what in ("cost", "kg"):
        terms = _per_week(asked, columns, f"hen_feed_{what}", f"cock_feed_{what}")
        flat = [term for week in terms for term in week]
        together.append(
            sum(each * (solution.values[column] if column >= 0 else 1.0) for column, each in flat)
        )
    cost, kg = together
    return float(cost / kg) if kg > 0 else asked.problem.prices.feed_per_kg[2]

"""The programme of a plan: which eggs to set and which birds to keep, at least cost, on the mean.

Certainty comes from outside: the eggs asked of each week and the eggs set for each hen kept are
raised until trials in the outlook's own draws meet the goal as surely as asked (`plan`).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.planning.kernels import Kernels
from quailwright.planning.problem import Candidate, Cull, Draft, Problem, Set
from quailwright.planning.program import Program
from quailwright.planning.solver import Solution

Array = NDArray[np.float64]

_BLOCK_AGES_W = (6, 26, 34, 42, 50, 58, 66, 74, 82)
"""Ages at which hens may be let go [weeks]: the first when they are told apart and chosen."""
WANTING = 50.0
"""What an egg wanting costs, against the feed of a hen for a week: more than anything it saves."""


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
    """Eggs to set so that so many hens can be kept with the certainty asked: `fixed` and, for each
    hen, `each`; and what one egg gives on the mean: `hens`, `cocks` at the age of choosing, and
    `chicks` hatched."""

    fixed: float
    each: float
    chicks: float


@dataclass(frozen=True)
class Asked:
    """What a programme is built from.

    Attributes:
        of_sets: kernels by candidate.
        of_there: kernels by `There`.
        per_hen: by source.
        need: eggs asked on the mean, by week.
        table: birds for the table asked of a month on the mean; None for the goal's.
        in_machines: eggs under way by day from tomorrow, being turned and lying still.
    """

    problem: Problem
    candidates: Sequence[Candidate]
    of_sets: Kernels
    there: Sequence[There]
    of_there: Kernels
    per_hen: Sequence[PerHen]
    need: Array
    turned: Array
    still: Array
    table: float | None = None

    @property
    def table_birds(self) -> float:
        """Birds for the table asked of a month on the mean: the goal's, until more are asked."""
        return self.problem.wanted.table_birds_a_month if self.table is None else self.table


@dataclass(frozen=True)
class Columns:
    """Numbers of columns: by candidate, by (candidate day or there, block), by week."""

    is_set: list[int]
    eggs: list[int]
    hens: list[int]
    kept: list[list[int]]
    there: list[list[int]]
    wanting: list[int]
    table_wanting: dict[tuple[int, int], int]
    days: list[date]
    of_day: dict[date, int]


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
        once = source.postage + problem.prices.hatch + _set_minutes(one) * problem.prices.minute
        if problem.kept and one.day not in problem.kept:
            once += _UPSET_KG * _money(problem)
        is_set.append(program.column(f"set {label}", upper=1.0, cost=once, whole=True))
        eggs.append(program.column(f"eggs {label}", upper=source.most, cost=source.price))
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
        for one, upper in zip(asked.there, _alive_when_chosen(asked), strict=True)
    ]
    penalty = WANTING * _money(problem)
    wanting = [
        program.column(f"eggs wanting in the week of {problem.first_day(w)}", cost=penalty)
        for w in range(problem.weeks)
    ]
    months = _months(problem) if problem.wanted.table_birds_a_month else {}
    birds = {
        month: program.column(
            f"table birds wanting in {month[0]}-{month[1]:02d}", cost=penalty * 10
        )
        for month in months
    }
    of_day = {day: number for number, day in enumerate(days)}
    return Columns(is_set, eggs, hens, kept, there, wanting, birds, days, of_day)


_UPSET_KG = 10.0
"""A set on a day that an accepted plan did not have costs as much more as so much feed [kg]."""


def _money(problem: Problem) -> float:
    """What a kilogram of feed costs, or about so where feed is told to cost nothing."""
    dearest = max((source.price for source in problem.sources), default=0.0)
    return problem.prices.feed_per_kg[2] or dearest or 1.0


def _set_minutes(one: Candidate) -> float:
    """Minutes that a hatch takes beyond the care of grown birds, until its chicks leave the
    brooder."""
    with_hatch = facts.value("care.minutes_day_hatch_and_brooder")
    more = with_hatch - facts.value("care.minutes_day_adults")
    days = (one.hatches - one.day).days + facts.value("brooding.time_in_brooder_d")
    return days * more / 2.0


def _sets(program: Program, columns: Columns, asked: Asked) -> None:
    for n, one in enumerate(asked.candidates):
        source, per_hen = asked.problem.sources[one.source], asked.per_hen[one.source]
        label = f"{one.day} {source.name}"
        eggs, is_set, hens = columns.eggs[n], columns.is_set[n], columns.hens[n]
        most = min(float(source.most), _room_for(asked.problem))
        program.upper[eggs] = most
        program.upper[is_set] = 1.0 if most >= source.least else 0.0
        program.row(f"order of {label}", [(eggs, 1.0), (is_set, -most)], upper=0.0)
        program.row(f"least order of {label}", [(eggs, 1.0), (is_set, -source.least)], lower=0.0)
        program.row(
            f"eggs enough for the hens of {label}",
            [(eggs, 1.0), (hens, -per_hen.each), (is_set, -per_hen.fixed)],
            lower=0.0,
        )


def _room_for(problem: Problem) -> float:
    """Eggs that machines hold at once, turned and lying still."""
    room = problem.room
    turning = float(sum(machine.eggs for machine in room.incubators))
    hatching = float(sum(machine.eggs for machine in room.hatchers))
    return min(turning, hatching) if room.hatchers else turning


def _blocks(program: Program, columns: Columns, asked: Asked) -> None:
    """Hens kept never grow in number; those of a day come from all sources set that day."""
    for day, kept in zip(columns.days, columns.kept, strict=True):
        own = [(columns.hens[n], -1.0) for n, one in enumerate(asked.candidates) if one.day == day]
        program.row(f"hens of {day}", [(kept[0], 1.0), *own], upper=0.0)
        _falling(program, kept, f"hens of {day}", asked.problem)
    for one, kept in zip(asked.there, columns.there, strict=True):
        _falling(program, kept, one.name, asked.problem)
        if not asked.need.any():
            for column in kept:
                program.lower[column] = program.upper[column]


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


def _alive_when_chosen(asked: Asked) -> list[float]:
    """Hens there that live to be chosen, by cohort."""
    kernel = asked.of_there
    return [
        one.hens * _alive_at_choice(kernel.hens[n], kernel.age_d[n])
        for n, one in enumerate(asked.there)
    ]


def _relative(alive: Array, ages_d: Array) -> Array:
    """Alive against those alive when they are chosen (or now, if they are older)."""
    relative: Array = alive / _alive_at_choice(alive, ages_d)
    return relative


def _per_week(
    asked: Asked, columns: Columns, hens: str, cocks: str
) -> list[list[tuple[int, float]]]:
    """Terms by week of something that each living bird takes: attributes of `Kernels` by name.

    Chicks count until they are chosen; after that kept hens, and cocks as the ratio has them.
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
        for week in np.flatnonzero(growing):
            each = chicks * (
                kernel.hens[n, week] * per_hen[week] + kernel.cocks[n, week] * per_cock[week]
            )
            terms[week].append((columns.eggs[n], each))
    for day, kept in zip(columns.days, columns.kept, strict=True):
        n = next(i for i, one in enumerate(asked.candidates) if one.day == day)
        _kept_terms(problem, terms, kept, asked.of_sets, n, hens, cocks, ratio)
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
) -> None:
    ages = kernel.age_d[n]
    alive = _relative(kernel.hens[n], ages)
    per_hen, per_cock = getattr(kernel, hens)[n], getattr(kernel, cocks)[n]
    for number, weeks in blocks(problem, ages):
        for week in weeks:
            each = alive[week] * (per_hen[week] + ratio * per_cock[week])
            terms[week].append((kept[number], float(each)))


def _split(terms: list[tuple[int, float]]) -> tuple[list[tuple[int, float]], float]:
    """Terms of columns, and what is there whatever is decided."""
    return [t for t in terms if t[0] >= 0], sum(each for column, each in terms if column < 0)


def _eggs(program: Program, columns: Columns, asked: Asked) -> None:
    problem = asked.problem
    laid: list[list[tuple[int, float]]] = [[] for _ in range(problem.weeks)]
    for day, kept in zip(columns.days, columns.kept, strict=True):
        n = next(i for i, one in enumerate(asked.candidates) if one.day == day)
        _lay_terms(problem, laid, kept, asked.of_sets, n, 1.0)
    for n, (one, kept) in enumerate(zip(asked.there, columns.there, strict=True)):
        _lay_terms(problem, laid, kept, asked.of_there, n, one.lay)
    for week in range(problem.weeks):
        if asked.need[week] > 0:
            program.row(
                f"eggs in the week of {problem.first_day(week)}",
                [*laid[week], (columns.wanting[week], 1.0)],
                lower=float(asked.need[week]),
            )


def _lay_terms(
    problem: Problem,
    laid: list[list[tuple[int, float]]],
    kept: list[int],
    kernel: Kernels,
    n: int,
    lay: float,
) -> None:
    ages = kernel.age_d[n]
    alive = _relative(kernel.hens[n], ages)
    for number, weeks in blocks(problem, ages):
        for week in weeks:
            laid[week].append((kept[number], float(lay * alive[week] * kernel.eggs[n, week])))


def _machines(program: Program, columns: Columns, asked: Asked) -> None:
    """Eggs by day in incubators and hatchers; in a single machine turning and hatching clash."""
    problem, room = asked.problem, asked.problem.room
    turning = float(sum(machine.eggs for machine in room.incubators))
    hatching = float(sum(machine.eggs for machine in room.hatchers))
    for day in columns.days:
        number = (day - problem.on).days - 1
        inside = [
            (columns.eggs[n], 1.0)
            for n, one in enumerate(asked.candidates)
            if one.day <= day < (one.stops_turning if room.hatchers else one.cleared)
        ]
        under_way = _at(asked.turned, number)
        program.row(f"eggs in the incubator on {day}", inside, upper=max(0.0, turning - under_way))
        if not room.hatchers:
            for n, one in enumerate(asked.candidates):
                if one.day == day:
                    _clashes(program, columns, asked, n)
    if not room.hatchers:
        return
    for day in dict.fromkeys(one.stops_turning for one in asked.candidates):
        inside = [
            (columns.eggs[n], 1.0)
            for n, one in enumerate(asked.candidates)
            if one.stops_turning <= day <= one.cleared
        ]
        under_way = _at(asked.still, (day - problem.on).days - 1)
        program.row(f"eggs in the hatcher on {day}", inside, upper=max(0.0, hatching - under_way))


def _at(by_day: Array, day: int) -> float:
    return float(by_day[day]) if 0 <= day < len(by_day) else 0.0


def _clashes(program: Program, columns: Columns, asked: Asked, n: int) -> None:
    """No set while another lies still in the only machine, unless they lie down together."""
    one = asked.candidates[n]
    stop = facts.figure("incubation.turning_stop_day")
    together = timedelta(days=int((stop.high or 0.0) - (stop.low or 0.0)))
    for m, other in enumerate(asked.candidates):
        if one.day + together < other.day <= one.cleared:
            program.row(
                f"one machine: {one.day} or {other.day}",
                [(columns.is_set[n], 1.0), (columns.is_set[m], 1.0)],
                upper=1.0,
            )


def _floors(program: Program, columns: Columns, asked: Asked) -> None:
    problem, room = asked.problem, asked.problem.room
    for name, limit in (("brooder_m2", room.brooder_m2), ("pen_m2", room.pen_m2)):
        if not np.isfinite(limit):
            continue
        label = "the brooder" if name == "brooder_m2" else "the pens"
        for week, terms in enumerate(_per_week(asked, columns, name, name)):
            chosen, fixed = _split(terms)
            if chosen:
                program.row(
                    f"floor of {label} in the week of {problem.first_day(week)}",
                    chosen,
                    upper=max(0.0, limit - fixed),
                )
    if np.isfinite(room.most_birds):
        for week, terms in enumerate(_per_week(asked, columns, "one", "one")):
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
    for n, one in enumerate(asked.candidates):
        grown = np.flatnonzero(asked.of_sets.age_d[n] >= _BLOCK_AGES_W[0] * DAYS_A_WEEK)
        if len(grown):
            week = int(grown[0])
            share = (asked.of_sets.hens[n, week] + asked.of_sets.cocks[n, week]) / 2
            chicks = asked.per_hen[one.source].chicks * share
            by_week.setdefault(week, []).append((columns.eggs[n], float(chicks)))
    for day, kept in zip(columns.days, columns.kept, strict=True):
        n = next(i for i, one in enumerate(asked.candidates) if one.day == day)
        _going(asked.problem, by_week, kept, asked.of_sets, n, 1.0 + ratio)
    sure: dict[int, float] = {}
    for n, kept in enumerate(columns.there):
        _going(asked.problem, by_week, kept, asked.of_there, n, 1.0)
        _young_there(asked, n, sure, ratio)
    for month, weeks in _months(asked.problem).items():
        terms = [term for week in weeks for term in by_week.get(week, ())]
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
    first_kept: float,
) -> None:
    ages = kernel.age_d[n]
    alive = _relative(kernel.hens[n], ages)
    for number, weeks in blocks(problem, ages):
        if not len(weeks):
            continue
        week = int(weeks[0])
        terms = by_week.setdefault(week, [])
        if number == 0:
            if ages[0] < _BLOCK_AGES_W[0] * DAYS_A_WEEK and first_kept:
                terms.append((kept[0], -first_kept))
        elif week > 0:
            terms.append((kept[number - 1], float(alive[week])))
            terms.append((kept[number], -float(alive[week])))


def _hands_and_money(program: Program, columns: Columns, asked: Asked) -> None:
    """Feed, minutes and cash: their cost in the objective, their limits as rows."""
    prices = asked.problem.prices
    feed = _per_week(asked, columns, "hen_feed_cost", "cock_feed_cost")
    birds = _per_week(asked, columns, "one", "one")
    a_bird = facts.value("care.minutes_day_adults") / facts.value("care.flock_of_minutes")
    minute = prices.minute * DAYS_A_WEEK * a_bird
    for terms, factor in ((feed, 1.0), (birds, minute)):
        for week_terms in terms:
            for column, each in week_terms:
                if column >= 0:
                    program.cost[column] += factor * each
    least = min(prices.minutes_by_weekday)
    if np.isfinite(least):
        _hands(program, columns, asked, birds, a_bird, least)
    if np.isfinite(prices.budget_per_month):
        _budget(program, columns, asked, feed)


def _hands(
    program: Program,
    columns: Columns,
    asked: Asked,
    birds: list[list[tuple[int, float]]],
    a_bird: float,
    least: float,
) -> None:
    problem = asked.problem
    with_hatch = facts.value("care.minutes_day_hatch_and_brooder")
    more = with_hatch - facts.value("care.minutes_day_adults")
    brooding = facts.value("brooding.time_in_brooder_d")
    tended = _days_set(program, columns, asked)
    for week, terms in enumerate(birds):
        chosen, fixed = _split([(column, a_bird * each) for column, each in terms])
        first = problem.first_day(week)
        last = first + timedelta(days=DAYS_A_WEEK - 1)
        for day, column in tended.items():
            one = Candidate(day, 0)
            ends = one.hatches + timedelta(days=int(brooding))
            if one.day <= last and ends >= first:
                half = one.hatches > last or one.hatches < first
                chosen.append((column, more / 2 if half else more))
        program.row(f"minutes a day in the week of {first}", chosen, upper=max(0.0, least - fixed))


def _days_set(program: Program, columns: Columns, asked: Asked) -> dict[date, int]:
    """A column for each day, 1 if anything is set on it, from whatever source."""
    found = {}
    for day in columns.days:
        sets = [columns.is_set[n] for n, one in enumerate(asked.candidates) if one.day == day]
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


def read(asked: Asked, columns: Columns, solution: Solution) -> Draft:
    """The plan of a solution, in whole eggs and birds."""
    values = solution.values
    problem = asked.problem
    ratio = 1.0 / problem.hens_per_cock if problem.hens_per_cock else 0.0
    sets: list[Set] = []
    culls: list[Cull] = []
    left: dict[date, dict[str, int]] = {}
    for n, one in enumerate(asked.candidates):
        if values[columns.is_set[n]] < 0.5:
            continue
        source, per_hen = problem.sources[one.source], asked.per_hen[one.source]
        free = left.setdefault(one.day, _places(problem))
        most = min(source.most, sum(free.values()))
        eggs = min(most, max(source.least, int(np.floor(values[columns.eggs[n]] + 1e-6))))
        hens = max(1, round(values[columns.hens[n]]))
        wanted = int(np.ceil(per_hen.fixed + per_hen.each * hens - 1e-6))
        eggs = max(1, min(most, max(eggs, min(wanted, eggs + 1))))
        cocks = int(np.ceil(hens * ratio)) if hens else 0
        sets += _into_machines(Set(one.day, source.name, eggs, "", hens, cocks), free)
    for day, kept in zip(columns.days, columns.kept, strict=True):
        n = next(i for i, one in enumerate(asked.candidates) if one.day == day)
        if any(s.on == day for s in sets):
            culls += _culls(problem, asked.of_sets, n, values[kept], f"set of {day}")
    living = _alive_when_chosen(asked)
    for n, (there, kept) in enumerate(zip(asked.there, columns.there, strict=True)):
        culls += _culls(problem, asked.of_there, n, values[kept], there.name, living[n])
    return Draft(
        tuple(sets),
        tuple(sorted(culls, key=lambda cull: cull.on)),
        solution.gap,
        np.array([values[column] for column in columns.wanting]),
    )


def _places(problem: Problem) -> dict[str, int]:
    """Eggs that each incubator holds of one day's sets, as far as hatchers have room for them."""
    hatching = sum(machine.eggs for machine in problem.room.hatchers)
    places = {}
    room = int(_room_for(problem)) if hatching else None
    for machine in sorted(problem.room.incubators, key=lambda one: -one.eggs):
        places[machine.name] = machine.eggs if room is None else min(machine.eggs, room)
        room = None if room is None else room - places[machine.name]
    return places


def _into_machines(whole: Set, free: dict[str, int]) -> list[Set]:
    """A set, parted where no machine holds it; `free` loses what it takes."""
    found = []
    eggs, hens, cocks = whole.eggs, whole.keep_hens, whole.keep_cocks
    for place in sorted(free, key=lambda name: (free[name] < eggs, -free[name])):
        part = min(eggs, free[place])
        if part <= 0:
            continue
        share = part / eggs
        part_hens, part_cocks = round(hens * share), round(cocks * share)
        found.append(Set(whole.on, whole.source, part, place, part_hens, part_cocks))
        free[place] -= part
        eggs, hens, cocks = eggs - part, hens - part_hens, cocks - part_cocks
    return found


def _culls(
    problem: Problem, kernel: Kernels, n: int, kept: Array, name: str, there: float | None = None
) -> list[Cull]:
    """When hens of a cohort go; nothing is said where none do."""
    found = []
    alive = _relative(kernel.hens[n], kernel.age_d[n])
    before = there if there is not None else float(kept[0])
    for number, weeks in blocks(problem, kernel.age_d[n]):
        if not len(weeks):
            continue
        week = int(weeks[0])
        stay = float(kept[number])
        first_of_new = number == 0 and there is None
        if stay < before - 0.5 and not first_of_new:
            birds = round(stay * float(alive[week]))
            found.append(Cull(problem.first_day(week), name, birds, 0 if birds == 0 else None))
        before = min(before, stay) if not first_of_new else stay
    return found

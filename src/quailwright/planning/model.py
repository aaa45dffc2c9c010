"""The programme of a plan: which eggs to set and which birds to keep, at least cost, on the mean.

Certainty comes from outside: the eggs asked of each week are raised above the goal until trials in
the outlook's own draws meet it as surely as asked (`plan`).
"""

import numpy as np
from numpy.typing import NDArray

from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.planning.columns import (
    Columns,
    columns_of,
    kept_terms,
    lay_terms,
    months_of,
    per_week,
)
from quailwright.planning.given import (
    BLOCK_AGES_W,
    DAYS_A_MONTH,
    Asked,
    blocks,
    candidates_of,
    choices_w,
    least_eggs,
    relative,
    room_for,
)
from quailwright.planning.hands import a_bird
from quailwright.planning.kernels import Kernels
from quailwright.planning.limits import budget, floors, hands, machines
from quailwright.planning.problem import Problem, chosen_on
from quailwright.planning.program import Program
from quailwright.planning.solver import Solution

Array = NDArray[np.float64]


def build(asked: Asked) -> tuple[Program, Columns]:
    """The programme. Rows are named so that a keeper can read which one binds."""
    program = Program()
    columns = columns_of(program, asked)
    _sets(program, columns, asked)
    _blocks(program, columns, asked)
    _eggs(program, columns, asked)
    machines(program, columns, asked)
    floors(program, columns, asked)
    _table(program, columns, asked)
    _breeding(program, columns, asked)
    _hands_and_money(program, columns, asked)
    return program, columns


def _sets(program: Program, columns: Columns, asked: Asked) -> None:
    for n, one in enumerate(asked.candidates):
        source, per_hen = asked.problem.sources[one.source], asked.per_hen[one.source]
        label = f"{one.day} {source.name}"
        eggs, is_set, hens = columns.eggs[n], columns.is_set[n], columns.hens[n]
        most = min(float(source.most), room_for(asked.problem))
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


def _falling(program: Program, kept: list[int], name: str, problem: Problem) -> None:
    latest = problem.keep_hens_until_w
    for number, age in list(enumerate(choices_w(problem)))[1:]:
        program.row(
            f"{name} from {age:g} weeks", [(kept[number], 1.0), (kept[number - 1], -1.0)], upper=0.0
        )
        if latest is not None and age >= latest:
            program.upper[kept[number]] = 0.0


def _eggs(program: Program, columns: Columns, asked: Asked) -> None:
    problem = asked.problem
    laid: list[list[tuple[int, float]]] = [[] for _ in range(problem.weeks)]
    for day, kept in zip(columns.days, columns.kept, strict=True):
        n = candidates_of(asked, day)[0]
        lay_terms(problem, laid, kept, asked.of_sets, n, 1.0)
    for n, (one, kept) in enumerate(zip(asked.there, columns.there, strict=True)):
        lay_terms(problem, laid, kept, asked.of_there, n, one.lay)
    own = _own_eggs(program, columns, asked, laid)
    for week in range(problem.weeks):
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


def _own_eggs(
    program: Program,
    columns: Columns,
    asked: Asked,
    laid: list[list[tuple[int, float]]],
) -> list[list[tuple[int, float]]]:
    """Own eggs that are set, by the week in which they are set: no more than are laid then, by the
    hens of the group that they are told of, or by all where they are of no group."""
    problem = asked.problem
    taken: list[list[tuple[int, float]]] = [[] for _ in range(problem.weeks)]
    for number, source in enumerate(problem.sources):
        if not source.own:
            continue
        hens = [n for n, one in enumerate(asked.there) if one.key[0] == source.name]
        of_group: list[list[tuple[int, float]]] = [[] for _ in range(problem.weeks)]
        for n in hens:
            kept, lay = columns.there[n], asked.there[n].lay
            lay_terms(problem, of_group, kept, asked.of_there, n, lay)
        own: dict[int, list[tuple[int, float]]] = {}
        for n, one in enumerate(asked.candidates):
            if one.source == number:
                own.setdefault(problem.week_of(one.day), []).append((columns.eggs[n], -1.0))
        for week, terms in own.items():
            label = f"eggs of {source.name} to set in the week of {problem.first_day(week)}"
            program.row(label, [*(of_group if hens else laid)[week], *terms], lower=0.0)
            taken[week] += terms
    return taken


def _table(program: Program, columns: Columns, asked: Asked) -> None:
    """Birds beyond those kept, when they are chosen, and hens let go later, by month."""
    wanted = asked.table_birds
    if not wanted:
        return
    ratio = 1.0 / asked.problem.hens_per_cock if asked.problem.hens_per_cock else 0.0
    by_week: dict[int, list[tuple[int, float]]] = {}
    by_month: dict[tuple[int, int], list[tuple[int, float]]] = {}
    for n, one in enumerate(asked.candidates):
        grown = np.flatnonzero(asked.of_sets.age_d[n] >= BLOCK_AGES_W[0] * DAYS_A_WEEK)
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
        grown = np.flatnonzero(ages >= BLOCK_AGES_W[0] * DAYS_A_WEEK)
        if len(grown) and grown[0] > 0:
            by_week.setdefault(int(grown[0]), []).append((kept[0], -1.0))
        _going(asked.problem, by_week, kept, asked.of_there, n)
        _young_there(asked, n, sure, ratio)
    for month, weeks in months_of(asked.problem).items():
        terms = [term for week in weeks for term in by_week.get(week, ())]
        terms += by_month.get(month, ())
        program.row(
            f"table birds in {month[0]}-{month[1]:02d}",
            [*terms, (columns.table_wanting[month], 1.0)],
            lower=wanted * min(1.0, len(weeks) * DAYS_A_WEEK / DAYS_A_MONTH)
            - sum(sure.get(week, 0.0) for week in weeks),
        )


def _young_there(asked: Asked, n: int, sure: dict[int, float], ratio: float) -> None:
    """Birds there or under way that will be chosen: hens before any is kept, cocks beyond the
    ratio."""
    one, kernel = asked.there[n], asked.of_there
    ages = kernel.age_d[n]
    grown = np.flatnonzero(ages >= BLOCK_AGES_W[0] * DAYS_A_WEEK)
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
        kept_terms(asked.problem, alive, kept, kernel, n, "one", "one", 0.0)
    for week, wanting in columns.hens_wanting.items():
        program.row(
            f"hens in the week of {asked.problem.first_day(week)}",
            [*alive[week], (wanting, 1.0)],
            lower=asked.breeding_hens,
        )


def _hands_and_money(program: Program, columns: Columns, asked: Asked) -> None:
    """Feed, minutes and cash: their cost in the objective, their limits as rows."""
    prices = asked.problem.prices
    feed = per_week(asked, columns, "hen_feed_cost", "cock_feed_cost")
    birds = per_week(asked, columns, "one", "one")
    minute = prices.minute * DAYS_A_WEEK * a_bird()
    for terms, factor in ((feed, 1.0), (birds, minute)):
        for week_terms in terms:
            for column, each in week_terms:
                if column >= 0:
                    program.cost[column] += factor * each
    if np.isfinite(prices.minutes_by_weekday).any():
        hands(program, columns, asked, birds)
    if np.isfinite(prices.budget_per_month):
        budget(program, columns, asked, feed)


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
        terms = per_week(asked, columns, f"hen_feed_{what}", f"cock_feed_{what}")
        flat = [term for week in terms for term in week]
        together.append(
            sum(each * (solution.values[column] if column >= 0 else 1.0) for column, each in flat)
        )
    cost, kg = together
    return float(cost / kg) if kg > 0 else asked.problem.prices.feed_per_kg[2]

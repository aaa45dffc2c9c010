"""The columns of a programme, and the terms that birds put into its rows."""

from dataclasses import dataclass, field
from datetime import date

import numpy as np
from numpy.typing import NDArray

from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.planning.given import (
    BLOCK_AGES_W,
    Asked,
    alive_when_chosen,
    blocks,
    candidates_of,
    choices_w,
    relative,
)
from quailwright.planning.hands import minutes_once
from quailwright.planning.kernels import Kernels
from quailwright.planning.problem import Problem
from quailwright.planning.program import Program
from quailwright.planning.worth import (
    MARGIN,
    UPSET_KG,
    machine_cost,
    money,
    set_bother,
    wanting_costs,
    worth_of_week,
)

Array = NDArray[np.float64]


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


def columns_of(program: Program, asked: Asked) -> Columns:
    problem = asked.problem
    days = list(dict.fromkeys(one.day for one in asked.candidates))
    is_set, eggs, hens = [], [], []
    for one in asked.candidates:
        source = problem.sources[one.source]
        label = f"{one.day} {source.name}"
        _, of_egg = minutes_once()
        once = source.postage + set_bother(problem)
        once += problem.prices.hatch if problem.room.hatchers else 0.0
        if problem.kept and one.day not in {kept.on for kept in problem.kept}:
            once += UPSET_KG * money(problem)
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
            f"eggs wanting in the week of {problem.first_day(w)}",
            cost=of_egg * worth_of_week(asked, w),
        )
        for w in range(problem.weeks)
    ]
    months = months_of(problem) if problem.wanted.table_birds_a_month else {}
    margin = [
        program.column(
            f"eggs above the goal wanting in the week of {problem.first_day(w)}",
            upper=max(0.0, float(asked.need[w] - problem.wanted.eggs[w])),
            cost=of_egg * worth_of_week(asked, w) * MARGIN,
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
                cost=machine_cost(problem),
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


def per_week(
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
        growing = (ages >= 0) & (ages < BLOCK_AGES_W[0] * DAYS_A_WEEK)
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
        kept_terms(problem, terms, kept, asked.of_sets, n, hens, cocks, ratio, crowd)
    for n, kept in enumerate(columns.there):
        kernel, one_there = asked.of_there, asked.there[n]
        kept_terms(problem, terms, kept, kernel, n, hens, cocks, 0.0)
        ages = kernel.age_d[n]
        growing = (ages >= 0) & (ages < BLOCK_AGES_W[0] * DAYS_A_WEEK)
        for week in np.flatnonzero(growing):
            each = one_there.hens * kernel.hens[n, week] * getattr(kernel, hens)[n, week]
            each += one_there.cocks * kernel.cocks[n, week] * getattr(kernel, cocks)[n, week]
            terms[week].append((-1, each))
        grown = ages >= BLOCK_AGES_W[0] * DAYS_A_WEEK
        stay = min(one_there.cocks, one_there.hens * ratio) if ages[0] < 0 else one_there.cocks
        for week in np.flatnonzero(grown):
            cocks_there = stay * kernel.cocks[n, week] * getattr(kernel, cocks)[n, week]
            terms[week].append((-1, cocks_there))
    return terms


def kept_terms(
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


def split(terms: list[tuple[int, float]]) -> tuple[list[tuple[int, float]], float]:
    """Terms of columns, and what is there whatever is decided."""
    return [t for t in terms if t[0] >= 0], sum(each for column, each in terms if column < 0)


def lay_terms(
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


def months_of(problem: Problem) -> dict[tuple[int, int], list[int]]:
    """Weeks of the goal by the month in which they begin."""
    months: dict[tuple[int, int], list[int]] = {}
    for week in range(problem.weeks):
        day = problem.first_day(week)
        if problem.wanted.first <= day <= problem.wanted.last:
            months.setdefault((day.year, day.month), []).append(week)
    return months

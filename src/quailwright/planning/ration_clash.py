"""Why no mix meets every need of a ration, and which comes nearest."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from quailwright.planning.ration_mix import (
    MOST_PLANES,
    SECONDS,
    Array,
    Choice,
    Demand,
    Mix,
    Plane,
    Question,
    demands_of,
    factors,
    least_cost,
    of_need,
    overstepped,
    program_of,
)
from quailwright.planning.solver import solve


def nearest(question: Question) -> Mix | None:
    """The mix that falls short least: the sum over needs of what is missing, over the need. Limits
    and stock are kept; None where they leave no room for a batch."""
    demands = demands_of(question)
    planes: list[Plane] = []
    shares: Array | None = None
    for _ in range(MOST_PLANES):
        program, _ = program_of(question, demands, planes, short=True)
        solution = solve(program, gap=0.0, seconds=SECONDS)
        if not solution.found:
            return None
        shares = np.clip(solution.values[: len(question.choices)], 0.0, None)
        missing = {
            demand.number
            for demand in demands
            if demand.what == "least"
            and factors(question, demand.number, "least") @ shares < _MISSING
        }
        kept = [d for d in demands if d.what != "least" or d.number not in missing]
        more = list(overstepped(question, kept, shares, 1e-6))
        if not more:
            break
        planes += more
    if shares is None:
        return None
    return Mix(shares, float(shares @ np.array([c.price for c in question.choices])))


_MISSING = -1e-9


def clash(question: Question) -> tuple[Demand, ...]:
    """Demands of which not all can be kept, though all but any one of them can: an irreducible
    infeasible set, the smallest of four (deletion filter: Chinneck and Dravnieks 1991, Locating
    minimal infeasible constraint sets in linear programs, ORSA J Computing 3:157-168). Empty where
    a mix exists."""
    question = replace(question, choices=tuple(map(_by_spread, question.choices)))
    every = demands_of(question)
    needs = [demand for demand in every if of_need(demand)]
    fixed, other = every[: -len(needs)] if needs else every, tuple(needs)
    planes: list[Plane] = []
    if least_cost(question, fixed, planes) is None:
        return _deleted(question, fixed, planes)
    for demand in needs:  # one need that no ingredient can meet is the plainest reason
        if least_cost(question, [demand], planes) is None:
            return (demand,)
    if least_cost(question, every, planes) is not None:
        return ()
    orders = (every, (*other, *fixed), (*fixed, *reversed(other)), (*reversed(other), *fixed))
    return min((_deleted(question, order, planes) for order in orders), key=len)


def _by_spread(choice: Choice) -> Choice:
    """At the price of its spread: whether there is a mix does not hang on prices, and the mix that
    spreads least is found with few planes."""
    return replace(choice, price=choice.protein_cv * choice.of("protein"))


def _deleted(
    question: Question, order: Sequence[Demand], planes: list[Plane]
) -> tuple[Demand, ...]:
    """What is left of demands that clash: each is taken out, in order, if the rest still clash."""
    kept = list(order)
    for demand in order:
        without = [other for other in kept if other != demand]
        if least_cost(question, without, planes) is None:
            kept = without
    return tuple(kept)


def clashes(question: Question) -> list[tuple[Demand, ...]]:
    """Clashes that have no need in common: the needs of each are taken out of the way before the
    next is looked for, or its limits where it has no need."""
    found: list[tuple[Demand, ...]] = []
    left = question
    numbers = list(range(len(question.needs)))
    while True:
        one = clash(left)
        if not one:
            return found
        found.append(
            tuple(
                replace(demand, number=numbers[demand.number]) if of_need(demand) else demand
                for demand in one
            )
        )
        gone = {demand.number for demand in one if of_need(demand)}
        if gone:
            numbers = [number for n, number in enumerate(numbers) if n not in gone]
            kept = tuple(need for n, need in enumerate(left.needs) if n not in gone)
            left = replace(left, needs=kept)
        else:
            free = {demand.number for demand in one}
            left = replace(
                left,
                choices=tuple(
                    replace(choice, limit=1.0, most=1.0, least=0.0, stock_kg=None)
                    if n in free
                    else choice
                    for n, choice in enumerate(left.choices)
                ),
            )

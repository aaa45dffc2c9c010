"""A few plans to pick from: how cost, certainty and work trade off."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from numpy.random import Generator

from quailwright.language import later, mark, say
from quailwright.planning.plan import Plan, Situation, make_plan, reckoned
from quailwright.planning.problem import Problem
from quailwright.planning.worth import set_cost

NAMES = (mark("as asked"), mark("surer"), mark("cheaper"), mark("fewer hatches"))

_LESS_SURE = 0.15
_MOST_SURE, _LEAST_SURE = 0.97, 0.5
_DISLIKED = 3.0
"""Where fewer hatches are wanted, one counts as so many times what a usual set costs."""


@dataclass(frozen=True)
class Choice:
    """A plan to pick, with its name (of `NAMES`) and what it aims at."""

    name: str
    aim: str
    plan: Plan


def variant(problem: Problem, name: str) -> tuple[str, Problem] | None:
    """What a choice aims at, and its problem; None where it would be as another.

    Raises:
        ValueError: no choice has that name.
    """
    sure = problem.wanted.certainty
    if name == "as asked":
        return later("{sure:.0%} sure of a week", sure=sure), problem
    if name == "surer":
        surer = round(min(_MOST_SURE, sure + (1.0 - sure) / 2.0), 2)
        return _as_sure(problem, surer) if surer > sure else None
    if name == "cheaper":
        less = round(max(_LEAST_SURE, sure - _LESS_SURE), 2)
        return _as_sure(problem, less) if less < sure else None
    if name == "fewer hatches":
        dear = problem.prices.hatch + _DISLIKED * set_cost(problem)
        prices = replace(problem.prices, hatch=dear)
        return later("as few hatches as the goal allows"), replace(problem, prices=prices)
    raise ValueError(
        say("There is no choice '{name}': {names}.", name=name, names=", ".join(NAMES))
    )


def _as_sure(problem: Problem, sure: float) -> tuple[str, Problem]:
    wanted = replace(problem.wanted, certainty=sure)
    return later("{sure:.0%} sure of a week", sure=sure), replace(problem, wanted=wanted)


def plan_of(
    situation: Situation,
    problem: Problem,
    name: str,
    rng: Generator,
    progress: Callable[[str, float], None] | None = None,
) -> Plan:
    """The plan of a choice, its cost told at the keeper's own prices.

    Raises:
        ValueError: no choice has that name, or it would be as another.
    """
    found = variant(problem, name)
    if found is None:
        raise ValueError(say("'{name}' would be as the plan asked for.", name=name))
    _, changed = found
    made = make_plan(situation, changed, rng, progress=progress)
    return reckoned(made, replace(changed, prices=problem.prices))


def choices(
    situation: Situation,
    plan: Plan,
    rng: Generator,
    progress: Callable[[str, float], None] | None = None,
) -> list[Choice]:
    """The plan and others beside it, the cheapest first; without those that are better in nothing
    than another."""
    found = []
    for name in NAMES:
        changed = variant(plan.problem, name)
        if changed is None:
            continue
        aim, problem = changed
        if name == "as asked":
            found.append(Choice(name, aim, plan))
            continue
        made = make_plan(situation, problem, rng.spawn(1)[0], progress=progress)
        found.append(
            Choice(name, aim, reckoned(made, replace(problem, prices=plan.problem.prices)))
        )
    kept = [one for one in found if one.name == "as asked" or not _beaten(one, found)]
    return sorted(kept, key=lambda one: float(one.plan.cost.mean()))


def _beaten(one: Choice, others: Sequence[Choice]) -> bool:
    return any(other is not one and _no_worse(other.plan, one.plan) for other in others)


def _no_worse(one: Plan, other: Plan) -> bool:
    """Whether a plan costs no more, is as sure, and takes no more hatches."""
    return (
        one.cost.mean() <= other.cost.mean()
        and one.chance_overall >= other.chance_overall
        and hatches(one) <= hatches(other)
    )


def hatches(plan: Plan) -> int:
    """Hatches of a plan: days on which eggs are set."""
    return len({one.on for one in plan.draft.sets})

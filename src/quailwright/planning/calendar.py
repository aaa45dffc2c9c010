"""A plan as days: what is to be done when, and how each set fills the weeks."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from quailwright.husbandry import facts
from quailwright.planning.plan import Plan
from quailwright.planning.problem import Candidate, Set, chosen_on

Doing = Literal["set", "lay down", "hatch", "to the pens", "choose", "let go"]
Phase = Literal["turned", "hatching", "brooder", "growing", "kept"]


@dataclass(frozen=True, slots=True)
class Step:
    """Something to do on a day, in words too."""

    on: date
    doing: Doing
    of: str
    words: str


@dataclass(frozen=True, slots=True)
class Bar:
    """What becomes of a set: phases with their first and last day, in order."""

    name: str
    phases: tuple[tuple[Phase, date, date], ...]


def steps(plan: Plan) -> list[Step]:
    """The days of a plan, in order."""
    found = [step for one in plan.draft.sets for step in _of_set(plan, one)]
    for cull in plan.draft.culls:
        kept = [
            f"{number} {name}"
            for number, name in ((cull.keep_hens, "hens"), (cull.keep_cocks, "cocks"))
            if number is not None
        ]
        words = f"{cull.of}: {' and '.join(kept)} stay, the others go"
        found.append(Step(cull.on, "let go", cull.of, words))
    return sorted(found, key=lambda step: step.on)


def _of_set(plan: Plan, one: Set) -> Iterator[Step]:
    days = Candidate(one.on, 0)
    name = name_of(one)
    where = f" in {one.place}" if one.place else ""
    yield Step(one.on, "set", name, f"set {one.eggs} eggs of {one.source}{where}")
    yield Step(days.stops_turning, "lay down", name, f"{name}: stop turning")
    yield Step(days.hatches, "hatch", name, f"{name}: chicks are due")
    feathered = days.hatches + timedelta(days=int(facts.value("brooding.time_in_brooder_d")))
    yield Step(feathered, "to the pens", name, f"{name}: from the brooder to the pens")
    keep = f"{one.keep_hens} hens" + (f" and {one.keep_cocks} cocks" if one.keep_cocks else "")
    chosen = chosen_on(plan.problem, one.on)
    yield Step(chosen, "choose", name, f"{name}: at most {keep} stay, the others go")


def name_of(one: Set) -> str:
    """What a planned set is called."""
    return f"{one.on} {one.source}"


def bars(plan: Plan) -> list[Bar]:
    """Each day's sets as phases from setting to the last hen, in order."""
    end = plan.problem.first_day(plan.problem.weeks) - timedelta(days=1)
    found = []
    for day in dict.fromkeys(one.on for one in plan.draft.sets):
        days = Candidate(day, 0)
        feathered = days.hatches + timedelta(days=int(facts.value("brooding.time_in_brooder_d")))
        chosen = chosen_on(plan.problem, day)
        gone = [
            cull.on
            for cull in plan.draft.culls
            if cull.of == f"set of {day}" and cull.keep_hens == 0
        ]
        cuts: tuple[tuple[Phase, date], ...] = (
            ("turned", day),
            ("hatching", days.stops_turning),
            ("brooder", days.hatches + timedelta(days=1)),
            ("growing", feathered),
            ("kept", chosen),
        )
        lasts = [first - timedelta(days=1) for _, first in cuts[1:]]
        lasts.append(min([end + timedelta(days=1), *gone]) - timedelta(days=1))
        phases = tuple(
            (phase, first, min(last, end))
            for (phase, first), last in zip(cuts, lasts, strict=True)
            if first <= min(last, end)
        )
        eggs = sum(one.eggs for one in plan.draft.sets if one.on == day)
        found.append(Bar(f"{day}, {eggs} eggs", phases))
    return found

"""A plan as days: what is to be done when, and how each set fills the weeks."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from quailwright.husbandry import facts
from quailwright.language import later
from quailwright.planning.plan import Plan
from quailwright.planning.problem import Candidate, Cull, Set, chosen_on, of_set

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


@dataclass(frozen=True, slots=True)
class Life:
    """What becomes of a day's eggs, in days.

    Attributes:
        hatches: when chicks are expected; lays: when the first of their hens lay.
        until: the day on which the last of their birds go, or on which the plan is over.
        goes: whether they go then.
    """

    on: date
    eggs: int
    hatches: date
    lays: date
    until: date
    goes: bool


def lives(plan: Plan) -> list[Life]:
    """Each day's sets from setting to the day when the last of their birds goes, in order."""
    found = []
    for day in dict.fromkeys(one.on for one in plan.draft.sets):
        hatches = Candidate(day, 0).hatches
        lays = hatches + timedelta(days=round(facts.value("laying.first_egg_age_d")))
        eggs = sum(one.eggs for one in plan.draft.sets if one.on == day)
        found.append(Life(day, eggs, hatches, lays, *_end_of(plan, day)))
    return found


def _end_of(plan: Plan, day: date) -> tuple[date, bool]:
    """The day on which the birds of a day's sets are gone or the plan is over; whether they go."""
    over = plan.problem.first_day(plan.problem.weeks)
    gone = [cull.on for cull in plan.draft.culls if cull.of == of_set(day) and cull.keep_hens == 0]
    if not any(one.keep_hens for one in plan.draft.sets if one.on == day):
        gone.append(chosen_on(plan.problem, day))
    until = min([over, *gone])
    return until, until in gone


def steps(plan: Plan) -> list[Step]:
    """The days of a plan, in order."""
    found = [step for one in plan.draft.sets for step in _of_set(plan, one)]
    found += [Step(cull.on, "let go", cull.of, _staying(cull)) for cull in plan.draft.culls]
    return sorted(found, key=lambda step: step.on)


def _staying(cull: Cull) -> str:
    if cull.keep_hens is None:
        return later(
            "{birds}: {cocks} cocks stay, the others go", birds=cull.of, cocks=cull.keep_cocks or 0
        )
    if cull.keep_cocks is None:
        return later("{birds}: {hens} hens stay, the others go", birds=cull.of, hens=cull.keep_hens)
    return later(
        "{birds}: {hens} hens and {cocks} cocks stay, the others go",
        birds=cull.of,
        hens=cull.keep_hens,
        cocks=cull.keep_cocks,
    )


def _of_set(plan: Plan, one: Set) -> Iterator[Step]:
    days = Candidate(one.on, 0)
    name = name_of(one)
    if one.place:
        words = later(
            "set {eggs} eggs of {whose} in {place}",
            eggs=one.eggs,
            whose=one.source,
            place=one.place,
        )
    else:
        words = later("set {eggs} eggs of {whose}", eggs=one.eggs, whose=one.source)
    yield Step(one.on, "set", name, words)
    yield Step(days.stops_turning, "lay down", name, later("{hatch}: stop turning", hatch=name))
    yield Step(days.hatches, "hatch", name, later("{hatch}: chicks are due", hatch=name))
    feathered = days.hatches + timedelta(days=int(facts.value("brooding.time_in_brooder_d")))
    housed = later("{hatch}: from the brooder to the pens", hatch=name)
    yield Step(feathered, "to the pens", name, housed)
    if not one.keep_hens:
        stay = later("{hatch}: all go", hatch=name)
    elif not one.keep_cocks:
        stay = later(
            "{hatch}: at most {hens} hens stay, the others go", hatch=name, hens=one.keep_hens
        )
    else:
        stay = later(
            "{hatch}: at most {hens} hens and {cocks} cocks stay, the others go",
            hatch=name,
            hens=one.keep_hens,
            cocks=one.keep_cocks,
        )
    yield Step(chosen_on(plan.problem, one.on), "choose", name, stay)


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
        cuts: tuple[tuple[Phase, date], ...] = (
            ("turned", day),
            ("hatching", days.stops_turning),
            ("brooder", days.hatches + timedelta(days=1)),
            ("growing", feathered),
            ("kept", chosen),
        )
        lasts = [first - timedelta(days=1) for _, first in cuts[1:]]
        lasts.append(_end_of(plan, day)[0] - timedelta(days=1))
        phases = tuple(
            (phase, first, min(last, end))
            for (phase, first), last in zip(cuts, lasts, strict=True)
            if first <= min(last, end)
        )
        eggs = sum(one.eggs for one in plan.draft.sets if one.on == day)
        found.append(Bar(later("{day}, {eggs} eggs", day=day, eggs=eggs), phases))
    return found

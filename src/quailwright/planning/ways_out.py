"""Why a goal is not met, and what would have to give: limits that bind, ways out with a price."""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from quailwright.flock.light import latitude_of, light_of
from quailwright.husbandry import facts
from quailwright.language import later, mark, say
from quailwright.outlook.forecast import Question
from quailwright.planning.as_read import AsRead, plain_day
from quailwright.planning.asked import lamp_cost
from quailwright.planning.given import Asked
from quailwright.planning.kernels import lit_share
from quailwright.planning.model import build
from quailwright.planning.plan import (
    Plan,
    Situation,
    asked_of,
    carried_out,
    make_plan,
)
from quailwright.planning.problem import MOST_WEEKS, EggSource, Machine, Problem, Room
from quailwright.planning.solver import solve

Array = NDArray[np.float64]

_MORE = 1.5
"""A limit that is tried wider is tried this many times as wide."""
_TRIED = 4
_GAINS = 0.05
"""A way out that does not meet the goal is told if a week is met so much more often."""
_HELPS = 0.9
"""A way out helps if it leaves no more than this part of the eggs wanting."""


@dataclass(frozen=True, slots=True)
class WayOut:
    """Something that could give, tried.

    Attributes:
        what: in words.
        status: of the plan then.
        chance: mean share of the goal's weeks met.
        cost_more: against the plan without it, on the mean; of the thing itself only a lamp's power
            is in it.
        why: what of the goal's trouble it mends, in words; '' where nothing binds.
    """

    what: str
    status: str
    chance: float
    cost_more: float
    why: str


@dataclass(frozen=True, slots=True)
class _Change:
    what: str
    problem: Problem
    why: Callable[[Plan], str]
    less_sure: bool = False


def ways_out(
    situation: Situation,
    plan: Plan,
    rng: Generator,
    progress: Callable[[str, float], None] | None = None,
) -> list[WayOut]:
    """What would mend a plan that is not met, the best first; each tried as a plan of its own."""
    changes = list(_changes(situation, plan.problem, plan))
    base = _wanting(plan.asked)
    helping = []
    for change in changes:
        left = _wanting(_asked_again(situation, change.problem, plan, rng))
        if base <= 0 or left <= _HELPS * base:
            helping.append((left, change))
    helping.sort(key=lambda pair: pair[0])
    found = []
    for number, (_, change) in enumerate(helping[:_TRIED]):
        if progress is not None:
            progress(later("trying {what}", what=change.what), number / min(_TRIED, len(helping)))
        tried = make_plan(situation, change.problem, rng.spawn(1)[0], rough=True)
        gains = tried.chance_overall - plan.chance_overall
        if tried.status == "met" or (gains >= _GAINS and not change.less_sure):
            found.append(
                WayOut(
                    change.what,
                    tried.status,
                    tried.chance_overall,
                    float(tried.cost.mean() - plan.cost.mean()),
                    change.why(plan),
                )
            )
    return sorted(found, key=lambda way: (way.status != "met", -way.chance))


def reasons(situation: Situation, plan: Plan, ways: Sequence[WayOut]) -> list[str]:
    """Why the goal is not met, in the keeper's words."""
    if plan.status == "met":
        return []
    said = list(_too_early(situation, plan))
    short = plan.chance_met < plan.problem.wanted.certainty
    if (_dark_weeks(situation, plan.problem) & short).any():
        said.append(_of_light(situation, plan))
    said += [way.why for way in ways if way.why and way.why not in said]
    if not plan.asked.candidates:
        said.append(
            later(
                "There is no day on which eggs can be set: look at absences, months without "
                "hatching, and when eggs can be had."
            )
        )
    return said or list(_least_sure(plan))


def _least_sure(plan: Plan) -> Iterator[str]:
    """The weeks that fall short, where no limit that could give was found to mend them."""
    problem = plan.problem
    least = problem.wanted.certainty
    weeks = [w for w in range(problem.weeks) if plan.chance_met[w] < least]
    if weeks:
        eggs = plan.ahead.samples["eggs"].mean(0)
        worst = min(weeks, key=lambda w: float(plan.chance_met[w]))
        yield later(
            "It falls short {spans}. In the worst week, that of {day}, {eggs:.0f} eggs come on "
            "the mean for {wanted:.0f} wanted.",
            spans=_spans(problem, weeks),
            day=plain_day(problem.first_day(worst)),
            eggs=float(eggs[worst]),
            wanted=float(problem.wanted.eggs[worst]),
        )
    elif plan.table_met is not None and plan.table_met < least:
        yield later(
            "A month has birds enough for the table with {chance:.0%} only.", chance=plan.table_met
        )


def _wanting(asked: Asked) -> float:
    """Eggs wanting on the mean when a little more than the need is asked, sets not whole."""
    program, columns = build(replace(asked, need=asked.need * 1.05))
    program.whole[:] = [False] * len(program.whole)
    solution = solve(program, gap=0.0, seconds=5.0)
    short = [*columns.wanting, *columns.margin]
    return float(solution.values[short].sum()) if solution.found else math.inf


def _asked_again(situation: Situation, problem: Problem, plan: Plan, rng: Generator) -> Asked:
    base = carried_out(situation, problem, Question(lamp_h=problem.lamp_h), 1, _DRAWS)
    asked = asked_of(situation, problem, base, rng)
    wanted = problem.wanted.eggs
    before = plan.problem.wanted.eggs
    margins = plan.asked.need[before > 0] / before[before > 0]
    margin = float(margins.mean()) if len(margins) else 1.0
    return replace(asked, need=wanted * max(1.0, margin))


_DRAWS = 300


def _changes(situation: Situation, problem: Problem, plan: Plan) -> Iterator[_Change]:
    room, prices = problem.room, problem.prices
    if _dark_weeks(situation, problem).any():
        for lamp_h in _lamps():
            if (problem.lamp_h or 0.0) < lamp_h:
                lit = replace(problem, lamp_h=lamp_h)
                lit = replace(lit, lamp_cost=lamp_cost(situation.flock, lit, prices.kwh))
                yield _Change(
                    later("a lamp that makes each day {hours:g} h long", hours=lamp_h),
                    lit,
                    lambda plan: _of_light(situation, plan),
                )
        moved = _after_the_dark(situation, problem)
        if moved is not None:
            yield _Change(
                later(
                    "the same eggs a week for as long, from {day} on",
                    day=plain_day(moved.wanted.first),
                ),
                moved,
                lambda plan: _of_light(situation, plan),
            )
    for name, row, what, full in (
        (
            "pen_m2",
            "floor of the pens",
            mark("half as much floor again in the pens"),
            mark("The pens are full {spans}."),
        ),
        (
            "brooder_m2",
            "floor of the brooder",
            mark("half as much floor again in the brooder"),
            mark("The brooder is full {spans}."),
        ),
    ):
        if math.isfinite(getattr(room, name)):
            more: Room = replace(room, **{name: getattr(room, name) * _MORE})
            yield _Change(
                later(what),
                replace(problem, room=more),
                _told_full(row, full),
            )
    bigger = replace(room, incubators=_grown(room.incubators), hatchers=_grown(room.hatchers))
    yield _Change(
        later("machines that hold half as many eggs again"),
        replace(problem, room=bigger),
        _told_full("eggs in the", mark("The incubator or hatcher is full {spans}.")),
    )
    if not room.hatchers and room.incubators:
        yield _Change(
            later("a hatcher beside the incubator"),
            replace(problem, room=replace(room, hatchers=room.incubators)),
            lambda plan: later("Eggs cannot be turned and hatch in one machine at a time."),
        )
    if math.isfinite(room.most_birds):
        yield _Change(
            later("half as many birds again"),
            replace(problem, room=replace(room, most_birds=room.most_birds * _MORE)),
            _told_full("birds in all", mark("There are as many birds as you allow {spans}.")),
        )
    if math.isfinite(prices.budget_per_month):
        wider = replace(prices, budget_per_month=prices.budget_per_month * _MORE)
        yield _Change(
            later("half as much money again a month"),
            replace(problem, prices=wider),
            _told_full("money in", mark("The money of the month is spent {spans}.")),
        )
    if math.isfinite(min(prices.minutes_by_weekday)):
        longer = tuple(minutes * _MORE for minutes in prices.minutes_by_weekday)
        yield _Change(
            later("half as many minutes again a day"),
            replace(problem, prices=replace(prices, minutes_by_weekday=longer)),
            _told_full("minutes a day", mark("The minutes of the day are used up {spans}.")),
        )
    yield from _of_goal(situation, problem, plan)


def _of_goal(situation: Situation, problem: Problem, plan: Plan) -> Iterator[_Change]:
    wanted = problem.wanted
    routes = {name: source.route for name, source in situation.flock.sources.items()}
    if problem.sources and all(routes.get(s.name) == "shipped" for s in problem.sources):
        local = replace(problem.sources[0], name=_NEAR_BY, own=False)
        sources: tuple[EggSource, ...] = (local, *problem.sources[1:])
        yield _Change(
            later("eggs that you collect near by instead of posted ones"),
            replace(problem, sources=sources),
            lambda plan: later("Posted eggs hatch badly."),
        )
    first = min((source.first for source in problem.sources), default=problem.on)
    sooner = max(problem.on + timedelta(days=1), first - _SOONER)
    if sooner < first:
        earlier = tuple(replace(one, first=min(one.first, sooner)) for one in problem.sources)
        yield _Change(
            later(
                "eggs to be had from {day} on, not only from {first}",
                day=plain_day(sooner),
                first=plain_day(first),
            ),
            replace(problem, sources=earlier),
            lambda plan: "",
        )
    sure = max(0.5, wanted.certainty - 0.2)
    if sure < wanted.certainty:
        yield _Change(
            later(
                "being {sure:.0%} sure instead of {asked:.0%}", sure=sure, asked=wanted.certainty
            ),
            replace(problem, wanted=replace(wanted, certainty=sure)),
            lambda plan: "",
            less_sure=True,
        )
    weeks = np.flatnonzero(wanted.eggs > 0)
    short = plan.draft.short_weeks > 0.02 * np.maximum(wanted.eggs, 1.0)
    if len(weeks) and short[weeks[0]]:
        begins = int(next((w for w in weeks if not short[w:].any()), weeks[-1]))
        begins = min(begins, int(weeks[0]) + _LATEST_W)
        eggs = wanted.eggs.copy()
        eggs[:begins] = 0.0
        if eggs.any():
            day = problem.first_day(begins)
            yield _Change(
                later("eggs from {day} on, not before", day=day),
                replace(problem, wanted=replace(wanted, eggs=eggs, first=day)),
                lambda plan: "",
            )


def _lamps() -> tuple[float, float]:
    """Day lengths to try [h]: where lay is full, and the usual."""
    usual = facts.value("laying.light_target_h")
    return math.ceil((facts.value("laying.light_full_h") + usual) / 2.0), usual


def _after_the_dark(situation: Situation, problem: Problem) -> Problem | None:
    """The goal moved to the first week in which days are long again, as long as it was."""
    longer = replace(problem, weeks=MOST_WEEKS)
    goal = np.flatnonzero(problem.wanted.eggs > 0)
    lit = _lit(situation, longer)
    begins = next((w for w in range(int(goal[0]), MOST_WEEKS) if lit[w] >= _BRIGHT), None)
    number = int(goal[-1] - goal[0]) + 1
    if begins is None or begins == goal[0] or begins + number > MOST_WEEKS:
        return None
    if begins - goal[0] > _LATEST_W or lit[begins : begins + number].min() < _DIM:
        return None
    eggs = np.zeros(begins + number)
    eggs[begins:] = problem.wanted.eggs[goal[0] : goal[-1] + 1]
    first, last = longer.first_day(begins), longer.first_day(begins + number)
    wanted = replace(problem.wanted, eggs=eggs, first=first, last=last - timedelta(days=1))
    sources = tuple(
        replace(source, last=max(source.last, last))
        if source.last >= problem.first_day(problem.weeks - 1)
        else source
        for source in problem.sources
    )
    return replace(problem, weeks=begins + number, wanted=wanted, sources=sources)


_BRIGHT = 0.9
_NEAR_BY = "eggs near by"
_LATEST_W = 26
_SOONER = timedelta(weeks=3)


def _grown(machines: Sequence[Machine]) -> tuple[Machine, ...]:
    return tuple(replace(one, eggs=int(one.eggs * _MORE)) for one in machines)


def _dark_weeks(situation: Situation, problem: Problem) -> NDArray[np.bool_]:
    """Weeks of the goal in which days are too short for full lay."""
    dark: NDArray[np.bool_] = (_lit(situation, problem) < _DIM) & (problem.wanted.eggs > 0)
    return dark


def _lit(situation: Situation, problem: Problem) -> Array:
    until = problem.first_day(problem.weeks)
    light = light_of(situation.flock, problem.on, until, problem.lamp_h, problem.on)
    return lit_share(situation.rates, light, problem.on, problem.weeks)


_DIM = 0.6


def _of_light(situation: Situation, plan: Plan) -> str:
    problem = plan.problem
    dark = np.flatnonzero(_dark_weeks(situation, problem))
    latitude = latitude_of(situation.flock)
    spans = _spans(problem, dark.tolist())
    if latitude is None:
        return later(
            "Without a lamp hens lay little or nothing {spans}; more hens do not mend it.",
            spans=spans,
        )
    return later(
        "Without a lamp hens lay little or nothing {spans} at {degrees:.0f} degrees; more hens do "
        "not mend it.",
        spans=spans,
        degrees=abs(latitude),
    )


def _told_full(row: str, words: str) -> Callable[[Plan], str]:
    return lambda plan: _full(plan, row, words)


def _full(plan: Plan, row: str, words: str) -> str:
    """`words` with when rows of that name are at their limit in the plan; '' where none is."""
    program, _ = build(plan.asked)
    values = plan.solution.values
    if not len(values):
        return ""
    days = []
    for number, name in enumerate(program.row_names):
        upper = program.row_upper[number]
        if name.startswith(row) and math.isfinite(upper):
            used = program.row_value(number, values.tolist())
            if used >= 0.98 * upper - 1e-6:
                days.append(_day_of(name, plan.problem))
    if not days:
        return ""
    weeks = sorted({plan.problem.week_of(day) for day in days})
    return later(words, spans=_spans(plan.problem, weeks))


def _day_of(name: str, problem: Problem) -> date:
    text = name.rsplit(" ", 1)[-1]
    day = date.fromisoformat(text if len(text) == len("2027-05-02") else f"{text}-01")
    return max(day, problem.first_day(0))


def _spans(problem: Problem, weeks: Sequence[int]) -> AsRead:
    """Weeks as spans of days: "from 3 May to 24 May and from ...", three at most."""
    runs: list[list[int]] = []
    for week in weeks:
        if runs and week <= runs[-1][-1] + 1:
            runs[-1].append(week)
        else:
            runs.append([week])
    runs = sorted(sorted(runs, key=len)[-3:])
    ends = [
        (problem.first_day(run[0]), problem.first_day(run[-1]) + timedelta(days=6)) for run in runs
    ]
    return AsRead(lambda: _spans_told(ends))


def _spans_told(ends: Sequence[tuple[date, date]]) -> str:
    told = [
        say("from {first} to {last}", first=plain_day(first), last=plain_day(last))
        for first, last in ends
    ]
    return say(" and ").join(told)


def _too_early(situation: Situation, plan: Plan) -> Iterator[str]:
    """Weeks of the goal before any bird of eggs set now lays."""
    problem = plan.problem
    weeks = np.flatnonzero(problem.wanted.eggs > 0)
    if not plan.asked.candidates or not len(weeks):
        return
    first = plan.asked.candidates[0]
    lays = first.hatches + timedelta(weeks=facts.value("laying.rise_mid_w"))
    least = problem.wanted.certainty
    if any(plan.chance_met[w] < least and problem.first_day(int(w)) < lays for w in weeks):
        yield later(
            "Eggs set on {day}, the first day that can be, bring hens that lay from about {lays}; "
            "before that nothing can be mended by setting eggs.",
            day=plain_day(first.day),
            lays=plain_day(lays),
        )

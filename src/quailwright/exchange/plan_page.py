"""An answer of the planner as a page tells it: words, and marks laid out for its chart."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

import numpy as np

from quailwright.exchange.fan_chart import FanChart, WeekTold, fan_chart, weeks_told
from quailwright.exchange.json_types import PlanShape
from quailwright.exchange.plan_shape import answer_shape
from quailwright.exchange.plan_told import (
    AS_ASKED,
    Beside,
    PlanAsked,
    PlanFrom,
    answer_to,
    beside,
    chances,
    most_and_longest,
    status_words,
    without_draws,
)
from quailwright.outlook.report import spread_of
from quailwright.planning.again import Again
from quailwright.planning.answer import Answer, Progress
from quailwright.planning.calendar import Step, steps
from quailwright.planning.plan import Plan
from quailwright.planning.problem import Cull, chosen_on
from quailwright.planning.ways_out import WayOut


@dataclass(frozen=True, slots=True)
class SetCard:
    """Eggs to set, and how many of their birds stay from which day on."""

    on: date
    eggs: int
    source: str
    place: str
    keep_hens: int
    keep_cocks: int
    choose_on: date


@dataclass(frozen=True, slots=True)
class PlanPage:
    """One plan.

    Attributes:
        status, status_words: of `plan.Status`; the same in a sentence.
        sure: how sure it is, why it falls short, and what is taken for granted, in sentences.
        weeks_words: what the chart answers.
        worst: the week of the goal that is met most seldom; None where no eggs are asked.
        cost: mean, and what it comes to four times in five, in `currency`; `parts` by kind.
        choices: other plans: name, aim, figures.
        limits: what may be asked otherwise, by the names of the questions.
    """

    name: str
    status: str
    status_words: str
    sure: list[str]
    reasons: list[str]
    granted: list[str]
    certainty: float
    on: date
    sets: list[SetCard]
    culls: list[Cull]
    steps: list[Step]
    weeks: list[WeekTold]
    chart: FanChart
    weeks_words: str
    cost: tuple[float, float, float]
    parts: list[tuple[str, float]]
    currency: str
    most: str
    figures: Beside
    ways: list[WayOut]
    choices: list[tuple[str, str, Beside]]
    again: Again | None
    limits: dict[str, str]


def plan_pages(answer: Answer) -> Iterator[tuple[str, Plan, PlanPage]]:
    """The plan asked for, and each other that there is to pick, by name."""
    plans = {answer.choice: answer.plan}
    plans |= {one.name: one.plan for one in answer.choices if one.name not in plans}
    for name, plan in plans.items():
        yield name, plan, _page(answer, name, plan)


def _page(answer: Answer, name: str, plan: Plan) -> PlanPage:
    problem, brief = plan.problem, answer.posed.brief
    is_main = name == answer.choice
    wanted = [float(eggs) or None for eggs in problem.wanted.eggs]
    chance = [None if np.isnan(one) else float(one) for one in plan.chance_met]
    days = [problem.first_day(week) for week in range(problem.weeks)]
    weeks = weeks_told(plan.ahead.samples["eggs"], days, wanted, chance)
    spread = spread_of(plan.cost)
    eggs, most = brief.goal.eggs_per_week, brief.limits.max_birds
    return PlanPage(
        name,
        plan.status,
        status_words(plan),
        list(chances(plan)),
        answer.reasons if is_main else [],
        answer.said,
        problem.wanted.certainty,
        problem.on,
        [
            SetCard(
                one.on,
                one.eggs,
                one.source,
                one.place,
                one.keep_hens,
                one.keep_cocks,
                chosen_on(problem, one.on),
            )
            for one in plan.draft.sets
        ],
        list(plan.draft.culls),
        steps(plan),
        weeks,
        fan_chart(weeks),
        _answer_of(weeks),
        (spread["mean"], spread["q10"], spread["q90"]),
        [(part.replace("_", " "), worth) for part, worth in plan.parts.items() if worth],
        problem.prices.currency,
        most_and_longest(plan),
        beside(plan),
        answer.ways if is_main else [],
        [(one.name, one.aim, beside(one.plan)) for one in answer.choices],
        answer.again if name == AS_ASKED else None,
        {
            "goal.eggs_per_week": "" if eggs is None else f"{eggs:g}",
            "limits.max_birds": "" if most is None else f"{most}",
            "limits.lamp": "" if problem.lamp_h is None else f"{problem.lamp_h:g}",
            "goal.certainty": f"{problem.wanted.certainty:g}",
        },
    )


def _answer_of(weeks: list[WeekTold]) -> str:
    """Whether the weeks reach the goal, in words."""
    asked = [week for week in weeks if week.chance is not None]
    if not asked:
        last = weeks[-1]
        return f"{last.middle:.0f} in the last week, likely {last.low:.0f} to {last.high:.0f}."
    worst = min(asked, key=lambda week: week.chance or 0.0)
    return (
        f"The weakest week begins on {worst.first_day.day} {worst.first_day:%B %Y}: "
        f"{worst.middle:.0f} eggs, likely {worst.low:.0f} to {worst.high:.0f}, and "
        f"{worst.wanted or 0:.0f} are wanted. It is met with {worst.chance or 0.0:.0%}."
    )


@dataclass(frozen=True, slots=True)
class Made:
    """All that became of a question to the planner, without its draws.

    Attributes:
        pages, answers: of the plan asked for, and of each other to pick, by name.
        shape: as `plan --json`, with nothing accepted.
    """

    pages: dict[str, PlanPage]
    answers: dict[str, Answer]
    shape: PlanShape


def made(asked: PlanAsked, stands: PlanFrom, progress: Progress) -> Made:
    """Plans, and tells it. Raises BadInput, as `plan_told.answer_to`."""
    answer = answer_to(asked, stands, progress)
    told = list(plan_pages(answer))
    return Made(
        {name: page for name, _, page in told},
        {name: without_draws(answer, plan) for name, plan, _ in told},
        answer_shape(answer, asked.seed, 0),
    )

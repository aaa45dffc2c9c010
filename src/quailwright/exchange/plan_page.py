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
    PARTS,
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
from quailwright.exchange.set_bars import SetBars, bars_words, set_bars
from quailwright.exchange.sliders import Slider, sliders
from quailwright.language import dated, say
from quailwright.outlook.report import spread_of
from quailwright.planning.again import Again
from quailwright.planning.answer import Answer, Progress
from quailwright.planning.calendar import Life, Step, lives, steps
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


@dataclass(frozen=True)
class PlanPage:
    """One plan: what was worked out of its draws, and words made when it is shown.

    Attributes:
        name: of `choices.NAMES`.
        plan: without its draws.
        reasons, granted: why it falls short, and what is taken for granted, in sentences.
        lives: what becomes of each day's eggs, day by day; none where nothing is set.
        cost: mean, and what it comes to four times in five, in `currency`; `parts` by kind.
        choices: other plans: name, aim, figures.
        limits: what may be asked otherwise, by the names of the questions; `sliders` slide it.
    """

    name: str
    plan: Plan
    reasons: list[str]
    granted: list[str]
    sets: list[SetCard]
    lives: list[Life]
    steps: list[Step]
    weeks: list[WeekTold]
    cost: tuple[float, float, float]
    parts: list[tuple[str, float]]
    figures: Beside
    ways: list[WayOut]
    choices: list[tuple[str, str, Beside]]
    again: Again | None
    limits: dict[str, str]
    sliders: list[Slider]

    @property
    def on(self) -> date:
        """The day on which it was made."""
        return self.plan.problem.on

    @property
    def culls(self) -> tuple[Cull, ...]:
        """Birds that go later."""
        return tuple(self.plan.draft.culls)

    @property
    def currency(self) -> str:
        """What costs are in; "" where nobody told."""
        return self.plan.problem.prices.currency

    @property
    def costs(self) -> list[tuple[str, float]]:
        """What it costs by kind, in words."""
        return [(say(PARTS[part]), worth) for part, worth in self.parts]

    @property
    def status_words(self) -> str:
        """Whether the goal is met, in a sentence."""
        return status_words(self.plan)

    @property
    def sure(self) -> list[str]:
        """How sure it is, in sentences."""
        return list(chances(self.plan))

    @property
    def most(self) -> str:
        """What it fills at most, and its longest day."""
        return most_and_longest(self.plan)

    @property
    def weeks_words(self) -> str:
        """Whether the weeks reach the goal: what the chart answers."""
        return _answer_of(self.weeks)

    @property
    def chart(self) -> FanChart:
        """Eggs by week."""
        return fan_chart(self.weeks)

    @property
    def bars(self) -> SetBars:
        """The sets over the plan's weeks, where there are any."""
        problem = self.plan.problem
        return set_bars(self.lives, problem.on, problem.first_day(problem.weeks))

    @property
    def bars_words(self) -> str:
        """When sets hatch, lay and go: what the bars answer."""
        return bars_words(self.lives, self.on)


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
    spread = spread_of(plan.cost)
    eggs, most = brief.goal.eggs_per_week, brief.limits.max_birds
    return PlanPage(
        name,
        without_draws(answer, plan).plan,
        answer.reasons if is_main else [],
        answer.said,
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
        lives(plan),
        steps(plan),
        weeks_told(plan.ahead.samples["eggs"], days, wanted, chance),
        (spread["mean"], spread["q10"], spread["q90"]),
        [(part, worth) for part, worth in plan.parts.items() if worth],
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
        sliders(brief, problem.lamp_h, problem.wanted.certainty, plan.peak["pen"]),
    )


def _answer_of(weeks: list[WeekTold]) -> str:
    asked = [week for week in weeks if week.chance is not None]
    if not asked:
        last = weeks[-1]
        return say(
            "{eggs:.0f} in the last week, likely {low:.0f} to {high:.0f}.",
            eggs=last.middle,
            low=last.low,
            high=last.high,
        )
    worst = min(asked, key=lambda week: week.chance or 0.0)
    day = worst.first_day
    return say(
        "The weakest week begins on {day}: {eggs:.0f} eggs, likely {low:.0f} to {high:.0f}, and "
        "{wanted:.0f} are wanted. It is met with {chance:.0%}.",
        day=dated(day, f"{day.day} {day:%B %Y}", "yMMMMd"),
        eggs=worst.middle,
        low=worst.low,
        high=worst.high,
        wanted=worst.wanted or 0,
        chance=worst.chance or 0.0,
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

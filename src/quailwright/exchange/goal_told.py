"""How the weeks ahead stand against the goal, in the few figures that a small page has room for."""

from dataclasses import dataclass
from datetime import date, datetime

from quailwright.exchange.outlook_told import ahead, believed, rests_on
from quailwright.flock.state import Flock
from quailwright.journal.entries import Goal
from quailwright.journal.store import Store
from quailwright.outlook.report import chance_of_goal, spread_of

WEEKS, DRAWS, SEED = 12, 2000, 1


@dataclass(frozen=True, slots=True)
class WeekTold:
    """A week: its first day, eggs (middle, and four times in five), and the chance of the goal."""

    first_day: date
    eggs: float
    low: float
    high: float
    chance: float | None


@dataclass(frozen=True, slots=True)
class GoalTold:
    """The goal, the weeks ahead, and what is to be said with them."""

    goal: Goal | None
    weeks: list[WeekTold]
    said: list[str]


def goal_told(store: Store, flock: Flock, now: datetime) -> GoalTold:
    """How the weeks ahead stand against the goal; `flock` is folded up to `now`.

    `weeks` is empty where there are no birds and no eggs to tell of.
    """
    known = believed(store, flock, now)
    drawn = ahead(known, WEEKS, DRAWS, SEED)
    _, said = rests_on(known, drawn, SEED)
    chances = chance_of_goal(drawn, flock) or [None] * drawn.weeks
    eggs = [spread_of(drawn.samples["eggs"][:, week]) for week in range(drawn.weeks)]
    anything = any(own.any() for own in drawn.samples.values())
    return GoalTold(
        flock.goal,
        [
            WeekTold(drawn.first_day(n), week["q50"], week["q10"], week["q90"], chances[n])
            for n, week in enumerate(eggs)
        ]
        if anything
        else [],
        said,
    )

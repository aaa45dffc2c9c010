"""What eggs should weigh on each day of weighing, for the loss that is aimed for."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from quailwright.flock.state import Hatch
from quailwright.guide.hatch.records import days_from_setting
from quailwright.guide.hatch.report import WeightLoss
from quailwright.guide.round import Step

WEIGHING = "weigh_eggs"
"""The rule of care by which eggs are weighed."""


@dataclass(frozen=True, slots=True)
class Target:
    """What eggs should weigh when a weighing falls due.

    Attributes:
        day, at: of the hatch, and when that is.
        left_pct: lowest and highest part of the weight when set [%]; both 100 at setting.
        each_g: the same for one egg in the mean [g]; None where nobody weighed them yet.
    """

    day: float
    at: datetime
    left_pct: tuple[float, float]
    each_g: tuple[float, float] | None


def weighing_targets(hatch: Hatch, loss: WeightLoss, steps: Sequence[Step]) -> list[Target]:
    """A target for each weighing among the steps, on the straight way to the corridor.

    Eggs lose weight nearly evenly, so that a day's share of the loss is its share of the days
    until turning stops: the wedge that the chart of a hatch shows.
    """
    low, high = loss.corridor_pct
    when_set_g = mean_when_set_g(hatch, loss)
    found = []
    for step in steps:
        if step.rule != WEIGHING:
            continue
        share = min(1.0, step.day / loss.stop_day) if loss.stop_day > 0 else 1.0
        left = (100.0 - high * share, 100.0 - low * share)
        each = None
        if when_set_g is not None:
            each = (when_set_g * left[0] / 100.0, when_set_g * left[1] / 100.0)
        found.append(Target(step.day, step.at, left, each))
    return found


def mean_when_set_g(hatch: Hatch, loss: WeightLoss) -> float | None:
    """What an egg weighed in the mean when set [g]; None if nobody weighed any, or in doubt.

    Where the first weighing came later, what was lost until then is reckoned, as in
    `LossPoint.loss_pct`.
    """
    if loss.doubt or not loss.points:
        return None
    first = loss.points[0]
    for at, eggs, grams in sorted(hatch.weighed):
        if abs(max(0.0, days_from_setting(hatch, at)) - first.day) < _SAME_DAY and eggs:
            return grams / eggs / (1.0 - first.loss_pct / 100.0)
    told = [(c.mean_egg_g, c.eggs) for c in hatch.clutches if c.mean_egg_g is not None]
    eggs = sum(number for _, number in told)
    return sum(mean * number for mean, number in told) / eggs if eggs else None


_SAME_DAY = 1e-6

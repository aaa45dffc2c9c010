"""The weight loss of a hatch laid out for a chart: where each mark comes on the paper."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from quailwright.guide.hatch.report import WeightLoss
from quailwright.language import figure, say

WIDTH, HEIGHT = 360, 240
_LEFT, _RIGHT, _TOP, _BOTTOM = 34, 12, 12, 30
_ROOM_ABOVE = 1.12


@dataclass(frozen=True, slots=True)
class Mark:
    """A mark on an axis or in the field: where it comes, and what it says."""

    x: float
    y: float
    says: str


@dataclass(frozen=True, slots=True)
class LossChart:
    """Weight lost (upward, %) by day (along). Shapes are lists of `x,y` as an SVG takes them.

    Attributes:
        corridor: the way to the loss that is aimed for, a wedge from setting to the stop.
        likely: where it comes out as it runs on, a wedge from the last weighing; "" if over.
        weighed: the line through the weighings.
        points: the weighings.
        days, shares: ticks of the two axes.
        today: where today lies along, or None when it is after the stop.
        rows: the weighings in figures: day, loss in %, eggs.
    """

    corridor: str
    likely: str
    weighed: str
    points: list[Mark]
    days: list[Mark]
    shares: list[Mark]
    today: float | None
    rows: list[tuple[str, str, str]]

    @property
    def weighings(self) -> str:
        """The weighings in a line."""
        return "; ".join(
            say("day {day}, {lost} %", day=day, lost=lost) for day, lost, _ in self.rows
        )


def loss_chart(loss: WeightLoss, day: float) -> LossChart:
    """The chart of a hatch's weight loss, on day `day` of it."""
    low, high = loss.corridor_pct
    q10, q90 = loss.loss_at_stop_pct["q10"], loss.loss_at_stop_pct["q90"]
    last = max([loss.stop_day, *(point.day for point in loss.points)])
    most = max([high, q90, *(point.loss_pct for point in loss.points)]) * _ROOM_ABOVE

    def along(at: float) -> float:
        return round(_LEFT + (WIDTH - _LEFT - _RIGHT) * at / last, 1)

    def up(share: float) -> float:
        return round(HEIGHT - _BOTTOM - (HEIGHT - _TOP - _BOTTOM) * max(0.0, share) / most, 1)

    def shape(corners: Sequence[tuple[float, float]]) -> str:
        return " ".join(f"{along(x)},{up(y)}" for x, y in corners)

    stop, points = loss.stop_day, loss.points
    turning = loss.advice is not None and bool(points)
    return LossChart(
        shape([(0, 0), (stop, low), (stop, high)]),
        shape([(points[-1].day, points[-1].loss_pct), (stop, q10), (stop, q90)]) if turning else "",
        shape([(point.day, point.loss_pct) for point in points]),
        [Mark(along(p.day), up(p.loss_pct), figure(p.loss_pct, ".1f")) for p in points],
        [Mark(along(at), HEIGHT - _BOTTOM, str(at)) for at in ticks(last)],
        [Mark(_LEFT, up(share), str(share)) for share in ticks(most)],
        along(day) if turning and day <= stop else None,
        [(figure(p.day, ".1f"), figure(p.loss_pct, ".1f"), figure(p.eggs)) for p in points],
    )


def ticks(most: float) -> range:
    """Round numbers from 0 up to `most` (above 0), four or five of them."""
    size = 10 ** max(0, math.floor(math.log10(most)) - 1)
    step = next(each * size for each in (1, 2, 3, 4, 5, 10, 20, 50, 100) if most / each / size < 6)
    return range(0, math.floor(most) + 1, step)

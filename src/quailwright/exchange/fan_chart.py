"""Weeks with their chance laid out for a chart: where each mark comes on the paper."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from quailwright.exchange.loss_chart import Mark
from quailwright.language import dated, figure
from quailwright.outlook.report import spread_of

WIDTH, HEIGHT = 360, 230
_LEFT, _RIGHT, _TOP, _BOTTOM = 40, 10, 14, 30
_MOST_MONTHS = 7
_ROOM_OF_A_MONTH = 28
_STEPS = (1, 2, 5)

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class WeekTold:
    """A week: its first day, the middle, four times in five, half of the time; what is wanted, and
    the chance of as much (None where nothing is asked)."""

    first_day: date
    middle: float
    low: float
    high: float
    lower: float
    upper: float
    wanted: float | None = None
    chance: float | None = None


def weeks_told(
    samples: Array,
    days: Sequence[date],
    wanted: Sequence[float | None],
    chances: Sequence[float | None],
) -> list[WeekTold]:
    """Weeks from draws, shape (draws, weeks)."""
    found = []
    for week, day in enumerate(days):
        spread = spread_of(samples[:, week])
        low, lower, middle, upper, high = (
            spread[name] for name in ("q10", "q25", "q50", "q75", "q90")
        )
        found.append(WeekTold(day, middle, low, high, lower, upper, wanted[week], chances[week]))
    return found


@dataclass(frozen=True, slots=True)
class FanChart:
    """A quantity (upward) by week (along). Shapes are lists of `x,y` as an SVG takes them.

    Attributes:
        likely: the band of four times in five; `half`: of half of the time.
        middle: the line through the middles.
        goal: the line of what is wanted, broken where nothing is; as an SVG path.
        other, other_likely: the line and the band of weeks to lay it beside; "" where there are
            none.
        months, amounts: ticks of the two axes.
    """

    likely: str
    half: str
    middle: str
    goal: str
    months: list[Mark]
    amounts: list[Mark]
    other: str = ""
    other_likely: str = ""


def fan_chart(weeks: Sequence[WeekTold], other: Sequence[WeekTold] = ()) -> FanChart:
    """The chart of one week or more; `other` are the same weeks, to lay it beside."""
    highs = (max(week.high, week.wanted or 0.0) for week in (*weeks, *other))
    most = max(1.0, *highs) * 1.06
    span = max(1, len(weeks) - 1)

    def along(week: float) -> float:
        return round(_LEFT + (WIDTH - _LEFT - _RIGHT) * week / span, 1)

    def up(amount: float) -> float:
        return round(HEIGHT - _BOTTOM - (HEIGHT - _TOP - _BOTTOM) * max(0.0, amount) / most, 1)

    def line(amounts: Sequence[float]) -> list[str]:
        return [f"{along(week)},{up(amount)}" for week, amount in enumerate(amounts)]

    def band(lows: Sequence[float], highs: Sequence[float]) -> str:
        return " ".join([*line(lows), *reversed(line(highs))])

    return FanChart(
        band([week.low for week in weeks], [week.high for week in weeks]),
        band([week.lower for week in weeks], [week.upper for week in weeks]),
        " ".join(line([week.middle for week in weeks])),
        _goal([(along(n), up(w.wanted) if w.wanted else None) for n, w in enumerate(weeks)]),
        [
            Mark(along(n), HEIGHT - _BOTTOM, says)
            for n, says in _months(weeks)
            if along(n) <= WIDTH - _ROOM_OF_A_MONTH
        ],
        [Mark(_LEFT, up(amount), figure(amount, "g")) for amount in round_amounts(most)],
        " ".join(line([week.middle for week in other])),
        band([week.low for week in other], [week.high for week in other]),
    )


def _goal(points: Sequence[tuple[float, float | None]]) -> str:
    parts, drawing = [], False
    for x, y in points:
        if y is not None:
            parts.append(f"{'L' if drawing else 'M'}{x} {y}")
        drawing = y is not None
    return "".join(parts)


def _months(weeks: Sequence[WeekTold]) -> list[tuple[int, str]]:
    """The first week of each month, of every second or third month where there are many."""
    firsts = [
        n
        for n, week in enumerate(weeks)
        if n == 0 or week.first_day.month != weeks[n - 1].first_day.month
    ]
    step = -(-len(firsts) // _MOST_MONTHS)
    room = max(1, len(weeks) // (_MOST_MONTHS + 2))
    if len(firsts) > 1 and firsts[1] - firsts[0] < room:
        firsts = firsts[1:]
    days = [(n, weeks[n].first_day) for n in firsts[::step]]
    return [(n, dated(day, f"{day:%b}", "MMM")) for n, day in days]


def round_amounts(most: float) -> list[float]:
    """Round numbers from 0 up to `most`, four to six of them."""
    size = 10.0 ** math.floor(math.log10(most / 5))
    step = next((each * size for each in _STEPS if most / (each * size) < 6), 10 * size)
    return [n * step for n in range(math.floor(most / step) + 1)]

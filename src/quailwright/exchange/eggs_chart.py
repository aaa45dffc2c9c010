"""Eggs by week laid out for a chart: where each mark comes on the paper."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from quailwright.exchange.eggs_page import EggWeek
from quailwright.exchange.loss_chart import Mark, ticks
from quailwright.language import dated, figure

WIDTH, HEIGHT = 360, 230
_LEFT, _RIGHT, _TOP, _BOTTOM = 40, 42, 22, 30
_INDENT = 18
_ROOM_ABOVE = 1.1
_MOST_DAYS = 4
"""Days named along the axis."""


@dataclass(frozen=True, slots=True)
class EggsChart:
    """Eggs (upward) by week (along).

    Attributes:
        line: through the weeks counted, broken where none was; as an SVG path.
        counted: weeks with every day counted; `partly`: with some.
        goal: how high the goal lies, or None.
        days, amounts: ticks of the two axes.
    """

    line: str
    counted: list[Mark]
    partly: list[Mark]
    goal: float | None
    days: list[Mark]
    amounts: list[Mark]


def eggs_chart(weeks: Sequence[EggWeek], goal: float | None) -> EggsChart:
    """The chart of two weeks or more."""
    most = max([1.0, goal or 0.0, *(float(week.eggs or 0) for week in weeks)]) * _ROOM_ABOVE

    def along(week: int) -> float:
        return round(
            _LEFT + _INDENT + (WIDTH - _LEFT - _INDENT - _RIGHT) * week / (len(weeks) - 1), 1
        )

    def up(eggs: float) -> float:
        return round(HEIGHT - _BOTTOM - (HEIGHT - _TOP - _BOTTOM) * eggs / most, 1)

    path, drawing = "", False
    marks: dict[bool, list[Mark]] = {True: [], False: []}
    for n, week in enumerate(weeks):
        if week.eggs is not None:
            x, y = along(n), up(week.eggs)
            path += f"{'L' if drawing else 'M'}{x} {y}"
            marks[week.whole].append(Mark(x, y, figure(week.eggs)))
        drawing = week.eggs is not None
    step = -(-len(weeks) // _MOST_DAYS)
    return EggsChart(
        path,
        marks[True],
        marks[False],
        up(goal) if goal else None,
        [
            Mark(along(n), HEIGHT - _BOTTOM, _short(weeks[n].last))
            for n in range(len(weeks) - 1, -1, -step)
        ],
        [Mark(_LEFT, up(eggs), figure(eggs)) for eggs in ticks(most)],
    )


def _short(day: date) -> str:
    return dated(day, f"{day.day} {day:%b}", "MMMd")

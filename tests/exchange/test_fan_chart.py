"""The fan of chance: more lies higher, bands lie in one another, a goal only where it is asked."""

from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import pytest

from quailwright.exchange.fan_chart import HEIGHT, WIDTH, fan_chart, weeks_told

MONDAY = date(2027, 5, 3)


def points(shape: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in (one.split(",") for one in shape.split())]


@pytest.mark.parametrize("weeks", [1, 2, 12, 52, 104])
def test_every_mark_lies_on_the_paper_and_in_order(weeks: int) -> None:
    draws = np.random.default_rng(1).poisson(np.linspace(20, 90, weeks), (500, weeks))
    days = [MONDAY + timedelta(weeks=n) for n in range(weeks)]
    told = weeks_told(draws.astype(np.float64), days, [60.0] * weeks, [0.5] * weeks)
    chart = fan_chart(told)
    assert len(points(chart.middle)) == weeks
    likely, half, middle = points(chart.likely), points(chart.half), points(chart.middle)
    for n in range(weeks):
        low, high = likely[n][1], likely[-1 - n][1]
        assert high <= half[-1 - n][1] <= middle[n][1] <= half[n][1] <= low
    for x, y in [*likely, *half, *((m.x, m.y) for m in (*chart.months, *chart.amounts))]:
        assert 0 <= x <= WIDTH
        assert 0 <= y <= HEIGHT
    assert all(mark.x <= WIDTH - 28 for mark in chart.months)  # so wide is `May` at 12 px
    along = [mark.x for mark in chart.months]
    assert all(later - earlier > 30 for earlier, later in pairwise(along))
    assert 1 <= len(along) <= 8
    assert 3 <= len(chart.amounts) <= 8


def test_the_line_of_the_goal_breaks_where_nothing_is_asked() -> None:
    wanted = [None, 50.0, 50.0, None, 70.0]
    days = [MONDAY + timedelta(weeks=n) for n in range(5)]
    told = weeks_told(np.full((3, 5), 60.0), days, wanted, [None, 1.0, 1.0, None, 0.0])
    goal = fan_chart(told).goal
    assert goal.count("M") == 2
    assert goal.count("L") == 1


def test_nothing_at_all_can_be_drawn() -> None:
    told = weeks_told(
        np.zeros((3, 2)), [MONDAY, MONDAY + timedelta(weeks=1)], [None] * 2, [None] * 2
    )
    assert fan_chart(told).goal == ""

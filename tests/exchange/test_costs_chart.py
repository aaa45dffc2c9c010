"""The charts of costs: bars are as long as what they stand for, and lie on the paper."""

from datetime import date

import pytest
from tests.makers import made

from quailwright.accounts.account import account
from quailwright.accounts.what_moves import what_moves
from quailwright.exchange.costs_chart import WIDTH, months_chart, moves_chart
from quailwright.flock.fold import fold

FLOCK = fold(
    [
        made("holding", "2026-01-01", timezone="Europe/Lisbon", currency="EUR"),
        made("place", "2026-01-01", place="pen", role="pen"),
        made("group", "2026-01-01", group="hens", place="pen", hens=10, cocks=2,
             hatched_on="2025-09-01"),
        made("feed_bought", "2026-01-01", feed="pellets", kg=40, cost=40),
        made("feed_given", "2026-01-10", feed="pellets", kg=10),
        made("feed_given", "2026-02-10", feed="pellets", kg=20),
        made("eggs_collected", "2026-02-10", group="hens", eggs=240),
        made("eggs_out", "2026-02-11", use="sold", eggs=120, income=30),
    ],
    date(2026, 3, 31),
)  # fmt: skip


def test_bars_of_months_are_as_high_as_what_was_paid() -> None:
    found = account(FLOCK, date(2026, 1, 1), date(2026, 3, 31))
    chart = months_chart(found.months)
    january, february, march = (bar.height for bar in chart.costs)
    assert february == pytest.approx(2 * january, abs=0.11)  # 20.00 and 10.00
    assert march == 0
    assert chart.income[1].height == pytest.approx(3 * january, abs=0.11)  # 30.00
    assert chart.left_out == 0
    for bar in (*chart.costs, *chart.income):
        assert bar.x >= 0
        assert bar.x + bar.width <= WIDTH


def test_of_many_years_the_last_two_are_drawn() -> None:
    found = account(FLOCK, date(2023, 4, 1), date(2026, 3, 31))
    chart = months_chart(found.months)
    assert (len(chart.costs), chart.left_out) == (24, 12)


def test_bars_of_what_moves_begin_where_the_dozen_is_now() -> None:
    moves = what_moves(account(FLOCK, date(2026, 1, 1), date(2026, 3, 31)))
    assert moves is not None
    chart = moves_chart(moves)
    assert len(chart.words) == len(chart.lower) == len(chart.higher) == len(moves.bars)
    for bar, lower, higher in zip(moves.bars, chart.lower, chart.higher, strict=True):
        for end, piece in ((bar.at_low, lower), (bar.at_high, higher)):
            begins = piece.x if end > moves.keeping.per_dozen else piece.x + piece.width
            assert begins == pytest.approx(chart.now, abs=0.11)
            assert piece.x >= 0
            assert piece.x + piece.width <= WIDTH

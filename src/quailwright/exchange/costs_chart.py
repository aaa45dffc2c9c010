"""Costs laid out for charts, by month and by what moves them: where each mark comes."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from quailwright.accounts.account import MonthOf
from quailwright.accounts.what_moves import WhatMoves
from quailwright.exchange.costs_told import moves_words
from quailwright.exchange.fan_chart import round_amounts
from quailwright.exchange.loss_chart import Mark
from quailwright.language import dated, figure

WIDTH, HEIGHT = 360, 230
_LEFT, _RIGHT, _TOP, _BOTTOM = 44, 10, 14, 30
_ROOM_ABOVE = 1.06
_MOST_MONTHS = 24
_MOST_NAMED = 7
_BAR_OF_MONTH = 0.38
_YEAR_BEGINS = 1

_MOVES_LEFT, _MOVES_RIGHT, _MOVES_TOP, _MOVES_BOTTOM = 12, 12, 8, 26
_ROW, _WORDS, _THICK = 42.0, 14.0, 16.0
_ROOM_OF_AN_AMOUNT = 40.0


@dataclass(frozen=True, slots=True)
class Piece:
    """A rectangle."""

    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class MonthsChart:
    """Money (upward) by month (along): what it cost beside what came in.

    Attributes:
        costs, income: a bar each month.
        months, amounts: ticks of the two axes.
        left_out: months before these, which have no room; the table has them all.
    """

    costs: list[Piece]
    income: list[Piece]
    months: list[Mark]
    amounts: list[Mark]
    left_out: int


def months_chart(months: Sequence[MonthOf]) -> MonthsChart:
    """The chart of one month or more."""
    shown = months[-_MOST_MONTHS:]
    costs = [max(0.0, sum(month.costs.values())) for month in shown]
    income = [max(0.0, sum(month.income.values())) for month in shown]
    most = max([1.0, *costs, *income]) * _ROOM_ABOVE
    room = (WIDTH - _LEFT - _RIGHT) / len(shown)
    bar = room * _BAR_OF_MONTH

    def up(amount: float) -> float:
        return round(HEIGHT - _BOTTOM - (HEIGHT - _TOP - _BOTTOM) * amount / most, 1)

    def pieces(amounts: Sequence[float], beside: float) -> list[Piece]:
        return [
            Piece(
                round(_LEFT + room * (n + 0.5) + beside, 1),
                up(amount),
                round(bar, 1),
                round(HEIGHT - _BOTTOM - up(amount), 1),
            )
            for n, amount in enumerate(amounts)
        ]

    step = -(-len(shown) // _MOST_NAMED)
    return MonthsChart(
        pieces(costs, -bar),
        pieces(income, 0.0),
        [
            Mark(round(_LEFT + room * (n + 0.5), 1), HEIGHT - _BOTTOM, _month(shown[n].month))
            for n in range(len(shown) - 1, -1, -step)
        ],
        [Mark(_LEFT, up(amount), figure(amount, "g")) for amount in round_amounts(most)],
        len(months) - len(shown),
    )


def _month(month: tuple[int, int]) -> str:
    first = date(*month, 1)
    return f"{first.year}" if first.month == _YEAR_BEGINS else dated(first, f"{first:%b}", "MMM")


@dataclass(frozen=True, slots=True)
class MovesChart:
    """What a dozen costs (along) if one figure (a row each) is changed by itself.

    Attributes:
        height: of the paper, `WIDTH` wide; the axis lies at `axis`.
        words: what is changed, above each bar.
        lower, higher: from the present cost to that with less and with more of it.
        now: where the present cost lies.
        amounts: ticks of the axis.
    """

    height: float
    axis: float
    words: list[Mark]
    lower: list[Piece]
    higher: list[Piece]
    now: float
    amounts: list[Mark]


def moves_chart(moves: WhatMoves) -> MovesChart:
    """The chart of one bar or more."""
    bars, now = moves.bars, moves.keeping.per_dozen
    ends = [now, *(end for bar in bars for end in (bar.at_low, bar.at_high))]
    low, high = min(ends), max(ends)
    span = high - low or 1.0
    axis = _MOVES_TOP + _ROW * len(bars)

    def along(amount: float) -> float:
        return round(_MOVES_LEFT + (WIDTH - _MOVES_LEFT - _MOVES_RIGHT) * (amount - low) / span, 1)

    def piece(row: int, end: float) -> Piece:
        left, right = sorted((along(now), along(end)))
        return Piece(left, _MOVES_TOP + _ROW * row + _WORDS + 5, round(right - left, 1), _THICK)

    shown = [now]
    shown += [one for one in (low, high) if abs(along(one) - along(now)) > _ROOM_OF_AN_AMOUNT]
    return MovesChart(
        axis + _MOVES_BOTTOM,
        axis,
        [
            Mark(_MOVES_LEFT, _MOVES_TOP + _ROW * row + _WORDS, moves_words(bar.what))
            for row, bar in enumerate(bars)
        ],
        [piece(row, bar.at_low) for row, bar in enumerate(bars)],
        [piece(row, bar.at_high) for row, bar in enumerate(bars)],
        along(now),
        [Mark(along(one), axis, figure(one + 0.0, ".2f")) for one in shown],
    )

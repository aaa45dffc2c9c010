"""The sets of a plan laid out as bars over its weeks: where each mark comes on the paper."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from quailwright.exchange.loss_chart import Mark
from quailwright.guide.wording import when
from quailwright.language import dated, say, say_many
from quailwright.planning.calendar import Life

WIDTH = 360
_LEFT, _RIGHT, _TOP, _BOTTOM = 66, 10, 6, 26
_ROW = 24
_ROOM_OF_A_MONTH = 32
_MOST_MONTHS = 7
_THICK, _THIN = 14.0, 6.0
_YEAR_BEGINS = 1

Stage = Literal["eggs", "growing", "laying"]


@dataclass(frozen=True, slots=True)
class Piece:
    """A rectangle of a bar: eggs are thick and outlined, growing birds thin, laying hens thick."""

    stage: Stage
    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class SetBars:
    """One bar a day of setting (downward) over the weeks of the plan (along).

    Attributes:
        height: of the paper, `WIDTH` wide; the axis lies at `axis`.
        pieces: of every bar.
        days: on which each bar's eggs are set, beside it.
        months: ticks of the axis.
        goings: where all birds of a bar go.
    """

    height: int
    axis: int
    pieces: list[Piece]
    days: list[Mark]
    months: list[Mark]
    goings: list[Mark]


def set_bars(lives: Sequence[Life], first: date, last: date) -> SetBars:
    """The bars of one set or more, over the days from `first` to `last`."""
    axis = _TOP + _ROW * len(lives)
    span = max(1, (last - first).days + 1)

    def along(day: date) -> float:
        inside = min(max((day - first).days, 0), span)
        return round(_LEFT + (WIDTH - _LEFT - _RIGHT) * inside / span, 1)

    pieces, days, goings = [], [], []
    for row, life in enumerate(lives):
        middle = _TOP + _ROW * row + _ROW / 2
        days.append(Mark(_LEFT - 5, middle + 4, _day(life.on)))
        for stage, begins, ends in _stages(life):
            height = _THIN if stage == "growing" else _THICK
            left, right = along(begins), along(ends)
            if right > left:
                pieces.append(
                    Piece(stage, left, middle - height / 2, round(right - left, 1), height)
                )
        if life.goes:
            goings.append(Mark(along(life.until), middle, ""))
    months = [
        Mark(along(day), axis, says)
        for day, says in _months(first, last)
        if along(day) <= WIDTH - _ROOM_OF_A_MONTH
    ]
    return SetBars(axis + _BOTTOM, axis, pieces, days, months, goings)


def _stages(life: Life) -> Iterator[tuple[Stage, date, date]]:
    """Stages with their first day and the day after their last."""
    yield "eggs", life.on, min(life.hatches, life.until)
    yield "growing", life.hatches, min(life.lays, life.until)
    yield "laying", life.lays, life.until


def _day(day: date) -> str:
    return dated(day, f"{day.day} {day:%b}", "MMMd")


def _months(first: date, last: date) -> list[tuple[date, str]]:
    """The first day of each month, of every second or third where there are many; January bears
    its year."""
    firsts = []
    day = first.replace(day=1)
    while day <= last:
        if day >= first:
            firsts.append(day)
        day = (day + timedelta(days=31)).replace(day=1)
    step = max(1, -(-len(firsts) // _MOST_MONTHS))
    shown = firsts[::step]
    return [
        (one, f"{one.year}" if one.month == _YEAR_BEGINS else dated(one, f"{one:%b}", "MMM"))
        for one in shown
    ]


def bars_words(lives: Sequence[Life], on: date) -> str:
    """What the bars answer, in words, as seen from the day `on`."""
    begins, hatches, lays = lives[0].on, lives[0].hatches, lives[0].lays
    sets = say_many(
        "One day of setting, {first}.",
        "{n} days of setting, from {first} to {last}.",
        len(lives),
        first=when(begins, on),
        last=when(lives[-1].on, on),
    )
    chicks = say(
        "The first chicks are due {hatches}; the first hens of them lay about {lays}.",
        hatches=when(hatches, on),
        lays=when(lays, on),
    )
    return f"{sets} {chicks}"

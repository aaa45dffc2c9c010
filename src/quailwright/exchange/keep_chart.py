"""Birds to choose from, laid out for a chart: what each passes on, and how surely."""

from collections.abc import Sequence
from dataclasses import dataclass

from quailwright.language import say
from quailwright.planning.keepers import Ranked

WIDTH = 360
_LEFT, _RIGHT, _TOP, _ROW, _BOTTOM = 92, 12, 10, 24, 28
_MOST = 16
_MOST_NAME = 11


@dataclass(frozen=True, slots=True)
class BirdMark:
    """A bird's row: its name, and where its range and its dot lie."""

    name: str
    y: float
    low: float
    high: float
    x: float
    kept: bool


@dataclass(frozen=True, slots=True)
class KeepChart:
    """Birds downward, what they pass on along.

    Attributes:
        title, answer: the question, and what is to be seen, in words.
        middle: where the middle of all lies.
        height: of the paper; `base`: of the axis.
    """

    title: str
    answer: str
    birds: list[BirdMark]
    middle: float
    height: float
    base: float


def keep_chart(birds: Sequence[Ranked], title: str) -> KeepChart:
    """The chart of two birds or more, the best 16 of them."""
    shown = birds[:_MOST]
    least = min(0.0, *(one.points.low for one in shown))
    most = max(0.0, *(one.points.high for one in shown))
    wide = (most - least) or 1.0

    def along(points: float) -> float:
        return round(_LEFT + (WIDTH - _LEFT - _RIGHT) * (points - least) / wide, 1)

    base = _TOP + _ROW * len(shown)
    first, last = shown[0], shown[-1]
    apart = first.points.low > last.points.mean
    names = {"first": first.member.called, "last": last.member.called}
    answer = (
        say("{first} passes on more than {last}, the last here, and likely so in truth.", **names)
        if apart
        else say(
            "{first} stands before {last}, the last here; the ranges overlap: it may be chance.",
            **names,
        )
    )
    return KeepChart(
        title,
        answer,
        [
            BirdMark(
                _short(one.member.called),
                _TOP + _ROW * n + _ROW / 2,
                along(one.points.low),
                along(one.points.high),
                along(one.points.mean),
                one.kept,
            )
            for n, one in enumerate(shown)
        ],
        along(0.0),
        base + _BOTTOM,
        base,
    )


def _short(name: str) -> str:
    return name if len(name) <= _MOST_NAME else f"{name[: _MOST_NAME - 1]}…"

"""A year of light laid out for a chart: the day, the day with its lamp, and lay without one."""

from dataclasses import dataclass
from datetime import timedelta

from quailwright.exchange.loss_chart import Mark
from quailwright.guide.light import Light
from quailwright.husbandry.daylight import HOURS_A_DAY
from quailwright.language import dated, figure

WIDTH, HEIGHT = 360, 230
_LEFT, _RIGHT, _TOP, _BOTTOM = 40, 42, 14, 30
_EVERY_D = 3
"""Days between two points of a line."""
_HOURS = (0, 6, 12, 18, 24)
_SHARES = (0.0, 0.5, 1.0)
_MOST_MONTHS = 5


@dataclass(frozen=True, slots=True)
class LightChart:
    """Hours (upward, left) and share of full lay (upward, right) by day (along).

    Attributes:
        day, lit: lines of hours; `without`: line of the share of full lay without a lamp.
        wanted: how high the hours aimed for lie.
        months, hours, shares: ticks.
    """

    day: str
    lit: str
    without: str
    wanted: float
    months: list[Mark]
    hours: list[Mark]
    shares: list[Mark]


def light_chart(found: Light) -> LightChart:
    """The chart of two days or more."""
    last = found.days - 1

    def along(day: int) -> float:
        return round(_LEFT + (WIDTH - _LEFT - _RIGHT) * day / last, 1)

    def up(share: float) -> float:
        return round(HEIGHT - _BOTTOM - (HEIGHT - _TOP - _BOTTOM) * share, 1)

    shown = [*range(0, last, _EVERY_D), last]

    def line(values: list[float]) -> str:
        return " ".join(f"{along(day)},{up(values[day])}" for day in shown)

    firsts = [
        n for n in range(found.days) if (found.on + timedelta(days=n)).day == 1 and n < last - 20
    ]
    step = max(1, -(-len(firsts) // _MOST_MONTHS))
    return LightChart(
        line((found.day_h / HOURS_A_DAY).tolist()),
        line((found.lit_h / HOURS_A_DAY).tolist()),
        line(found.without.tolist()),
        up(found.wanted_h / HOURS_A_DAY),
        [
            Mark(along(n), HEIGHT - _BOTTOM, dated(day, f"{day:%b}", "MMM"))
            for n in firsts[::step]
            for day in [found.on + timedelta(days=n)]
        ],
        [Mark(_LEFT, up(hours / HOURS_A_DAY), figure(hours)) for hours in _HOURS],
        [Mark(WIDTH - _RIGHT, up(share), figure(share, ".0%")) for share in _SHARES],
    )

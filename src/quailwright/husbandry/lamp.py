"""When a lamp must burn so that days reach the hours wanted, and by what dated steps.

Hours are counted from 0 h UTC of each day, as in `daylight.sun_halves`; they may lie below 0 or
above 24 where the place's own clock is far from it. Whoever shows them turns them into that clock.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.husbandry.daylight import HOURS_A_DAY, Halves
from quailwright.language import say

Array = NDArray[np.float64]
End = Literal["morning", "evening", "both"]
Span = tuple[float, float]
"""When a lamp goes on and off [h]; off later than on."""

ENDS: tuple[End, ...] = get_args(End)
_AGREES_H = 1 / 60
"""A minute: closer is the same."""


@dataclass(frozen=True, slots=True)
class Setting:
    """How the timer stands from a day on.

    Attributes:
        first: number of that day, 0 the first.
        lamp: when it burns [h]; none where the day is long enough by itself.
    """

    first: int
    lamp: tuple[Span, ...]


def light_h(rise_h: float, set_h: float, lamp: Sequence[Span]) -> float:
    """Hours of light of a day with its lamp: the day and night less the longest dark.

    So a gap between lamp and daylight counts as light, as birds took it in the trial.

    Args:
        rise_h, set_h: sunrise and sunset [h]; the same where the sun does not rise.
        lamp: spans in which the lamp burns [h].

    Source: equivalent light period, first to last light, of "Reproductive response to intermittent
    light regimens in Coturnix", Poult Sci 1975, 54:1918-1926. Certainty: published.
    """
    lit = [(begin, end) for begin, end in ((rise_h, set_h), *lamp) if end > begin]
    if not lit:
        return 0.0
    if any(end - begin >= HOURS_A_DAY for begin, end in lit):
        return HOURS_A_DAY
    round_clock = sorted((begin % HOURS_A_DAY, end - begin) for begin, end in lit)
    begins = [begin for begin, _ in round_clock]
    # Light from the turn before may reach past the first that begins.
    reached = max(begin + length for begin, length in round_clock) - HOURS_A_DAY
    longest = 0.0
    for begin, length in round_clock:
        longest = max(longest, begin - max(reached, begins[-1] - HOURS_A_DAY))
        reached = max(reached, begin + length)
    return HOURS_A_DAY - longest


def lit_by_day(sun: Halves, lamp: Sequence[Span], begin: int = 0, end: int | None = None) -> Array:
    """`light_h` of the days from number `begin` to before `end`, shape (days,)."""
    days = zip(sun.rise_h[begin:end].tolist(), sun.set_h[begin:end].tolist(), strict=True)
    return np.array([light_h(rise, down, lamp) for rise, down in days])


def lit_by_settings(sun: Halves, settings: Sequence[Setting]) -> Array:
    """Hours of light of each day with the timer set so, shape (days,)."""
    firsts = [*(setting.first for setting in settings), len(sun.noon_h)]
    parts = [
        lit_by_day(sun, setting.lamp, first, after)
        for setting, (first, after) in zip(settings, pairwise(firsts), strict=True)
    ]
    return np.concatenate(parts) if parts else np.empty(0)


def most_light_h() -> float:
    """The longest day that a lamp should make [h]: what the dark that birds need leaves."""
    return HOURS_A_DAY - facts.value("laying.light_dark_least_h")


def lamp_settings(
    sun: Halves, target_h: float, now_h: float, end: End, now: Sequence[Span] = ()
) -> list[Setting]:
    """How to set a timer through the days so that light reaches `target_h`, and then stays there.

    Light changes by at most ``laying.light_step_h_per_week`` from one week to the next by the
    timer's doing, and the timer makes no day longer than `most_light_h`, but on the way down from
    one. It is touched only when days drift from what is wanted: half an hour above it at most.

    Args:
        sun: of the days to plan, shape (days,).
        target_h: hours of light wanted [h].
        now_h: hours of light that the birds have on the first day as things stand [h].
        end: whether the lamp burns before sunrise, after sunset, or both.
        now: how the lamp burns now [h]; kept for as long as it does.

    Returns:
        From the first day on, each until the next; two in a row differ.

    Raises:
        ValueError: a target outside 0 to `most_light_h`.

    Source: steps and limits in ``facts/laying.csv``. Certainty: common practice, no source.
    """
    most = most_light_h()
    if not 0 <= target_h <= most:
        raise ValueError(
            say(
                "A lamp makes days of 0 to {most:g} h, as birds need their dark; {hours:g} h "
                "cannot be.",
                most=most,
                hours=target_h,
            )
        )
    step, slack = facts.value("laying.light_step_h_per_week"), facts.value("laying.lamp_slack_h")
    found: list[Setting] = []
    lamp, least, longest = tuple(now), now_h, now_h
    for first in range(0, len(sun.noon_h), int(DAYS_A_WEEK)):
        week = Halves(*(hours[first : first + int(DAYS_A_WEEK)] for hours in sun))
        goal = max(min(target_h, least + step), longest - step if lamp else 0.0)
        cap = max(min(most, least + step), goal)
        kept = lit_by_day(week, lamp)
        needless = (week.set_h - week.rise_h).min() >= goal - _AGREES_H
        fits = kept.min() >= goal - _AGREES_H and kept.max() <= min(cap, goal + slack) + _AGREES_H
        if needless:
            lamp = ()
        elif not fits:
            lamp = _lamp_of(week, goal, cap, end)
        had = lit_by_day(week, lamp)
        least, longest = float(had.min()), float(had.max())
        if not found or found[-1].lamp != lamp:
            found.append(Setting(first, lamp))
    return found


def _lamp_of(week: Halves, goal_h: float, cap_h: float, end: End) -> tuple[Span, ...]:
    """Spans that give each day of the week at least the goal, or as much as the cap allows."""
    notch = facts.value("laying.lamp_timer_notch_h")
    natural = float((week.set_h - week.rise_h).max())
    wanted = goal_h
    while wanted > natural - notch:
        lamp = _spans(week, wanted, end, notch)
        if lit_by_day(week, lamp).max() <= cap_h + _AGREES_H:
            return lamp
        wanted -= notch
    return ()


def _spans(week: Halves, wanted_h: float, end: End, notch: float) -> tuple[Span, ...]:
    """Spans for the week's own sun, on the notches of a timer."""
    rise, down = _up(week.rise_h.max(), notch), _down(week.set_h.min(), notch)
    match end:
        case "morning":
            on, off = _down(week.set_h.min() - wanted_h, notch), math.inf
        case "evening":
            on, off = math.inf, _up(week.rise_h.max() + wanted_h, notch)
        case "both":
            on = _down(float(week.noon_h.mean()) - wanted_h / 2, notch)
            off = on + _up(wanted_h, notch)
    spans = []
    if on < rise:
        spans.append((on, rise))
    if down < off < math.inf:
        spans.append((down, off))
    if len(spans) > 1 and spans[1][0] <= spans[0][1]:  # hardly a day between them
        return ((spans[0][0], max(rise, off)),)
    return tuple(spans)


def _down(hours: float, notch: float) -> float:
    return math.floor(hours / notch + _AGREES_H) * notch


def _up(hours: float, notch: float) -> float:
    return math.ceil(hours / notch - _AGREES_H) * notch


def lamp_hours(settings: Sequence[Setting], days: int) -> float:
    """Hours that the lamp burns over so many days from the first [h]."""
    firsts = [*(setting.first for setting in settings), days]
    return sum(
        (after - first) * sum(off - on for on, off in setting.lamp)
        for setting, (first, after) in zip(settings, pairwise(firsts), strict=True)
    )

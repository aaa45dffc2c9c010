"""Minutes that birds and hatches take: care of every day, and the jobs of a hatch on their days."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache

import numpy as np
from numpy.typing import NDArray

from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.planning.problem import CHOSEN_AT_W, Candidate, Problem, Set, days_of_hatch

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Job:
    """Work that a set brings on one day.

    Attributes:
        after_d: days after setting, below 0 before it.
        minutes: for a set of whatever size; `per_egg` more for each egg set.
        waits: whether it may be done on another day of its week.
    """

    after_d: int
    minutes: float
    per_egg: float
    waits: bool


@cache
def jobs() -> tuple[Job, ...]:
    """The jobs of a hatch, from the minutes of the guide's tasks (`care` table)."""
    stop, hatch, cleared = days_of_hatch()
    chicks = facts.value("planning.chicks_an_egg")
    chosen = hatch + CHOSEN_AT_W * DAYS_A_WEEK
    of_tasks = (
        (-1, "ready_machine", 1.0, True),
        (0, "set_eggs", 1.0, False),
        (stop, "candle", 1.0, False),
        (hatch - 1, "ready_brooder", 1.0, True),
        (hatch, "move_chicks", chicks, False),
        (cleared, "open_eggs", 1.0 - chicks, True),
        (cleared, "clean_machine", 1.0, True),
        (chosen, "sexing", chicks, True),
    )
    return tuple(
        Job(
            day,
            facts.value(f"care.min_{task}"),
            facts.value(f"care.min_{task}_bird") * part,
            waits,
        )
        for day, task, part, waits in of_tasks
    )


def a_bird() -> float:
    """Minutes a day for each bird."""
    return facts.value("care.minutes_day_adults") / facts.value("care.flock_of_minutes")


@cache
def watching() -> float:
    """Minutes a day that one hatch takes, from setting until its chicks leave the brooder, beyond
    the care of grown birds and beyond its jobs.

    The published total is for a hatch and a brood together, each of which is half of it, jobs of a
    usual set among them.
    """
    both = facts.value("care.minutes_day_hatch_and_brooder")
    more = (both - facts.value("care.minutes_day_adults")) / 2.0
    days = days_of_hatch()[1] + facts.value("brooding.time_in_brooder_d")
    usual = facts.value("planning.eggs_a_set")
    once = sum(job.minutes + job.per_egg * usual for job in jobs())
    return max(0.0, more - once / days)


def watched_until(day: date) -> date:
    """The last day on which a set of that day takes `watching`: its chicks leave the brooder."""
    return Candidate(day, 0).hatches + timedelta(
        days=int(facts.value("brooding.time_in_brooder_d"))
    )


def minutes_once() -> tuple[float, float]:
    """Minutes of a set from first to last, beyond the care of its birds: for any size, an egg."""
    whole = days_of_hatch()[1] + facts.value("brooding.time_in_brooder_d") + 1
    return (
        whole * watching() + sum(job.minutes for job in jobs()),
        sum(job.per_egg for job in jobs()),
    )


def minutes_by_day(problem: Problem, sets: Sequence[Set], birds: Array) -> Array:
    """Minutes of each day from tomorrow, shape (7 weeks,).

    Args:
        birds: on the mean by week, shape (weeks,).
    """
    days = DAYS_A_WEEK * problem.weeks
    minutes = np.repeat(a_bird() * birds, DAYS_A_WEEK)
    first = problem.on + timedelta(days=1)
    eggs_of_day: dict[date, int] = {}
    for one in sets:
        eggs_of_day[one.on] = eggs_of_day.get(one.on, 0) + one.eggs
    for day, eggs in eggs_of_day.items():
        begins, ends = (day - first).days, (watched_until(day) - first).days
        minutes[max(0, begins) : max(0, ends + 1)] += watching()
        for job in jobs():
            number = begins + job.after_d
            if 0 <= number < days:
                minutes[number] += job.minutes + job.per_egg * eggs
    return minutes

"""What things count in a programme beside what they cost: what is wanting, a hatch, a machine."""

import numpy as np
from numpy.typing import NDArray

from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.husbandry.feeding import intake_of_g_per_day
from quailwright.planning.given import DAYS_A_MONTH, Asked
from quailwright.planning.hands import a_bird, minutes_once
from quailwright.planning.problem import CHOSEN_AT_W, Problem

Array = NDArray[np.float64]


_WANTING = 25.0
"""What is wanting costs so many times what it costs to have it: far more than it saves, yet not so
much that a hatch is set for an egg."""


def worth_of_week(asked: Asked, week: int) -> float:
    """How much an egg of a week is fought for: less where days are so short that an egg takes many
    hens, and they lay or not all together."""
    if week >= len(asked.lit):
        return 1.0
    return float(np.clip((asked.lit[week] - _DARK) / (_LIT - _DARK), _LEAST_WORTH, 1.0))


MARGIN = 0.3
"""What is wanting of the margin above the goal counts as this part of what is wanting of it."""
_DARK, _LIT = 0.2, 0.7
"""Parts of a full lay that the light leaves: from the first on the eggs of a week are fought for
more and more, and from the second on as any others."""
_LEAST_WORTH = 0.1


def machine_cost(problem: Problem) -> float:
    """What filling a machine costs: the power of a hatch, and beside others some more."""
    others = len(problem.room.incubators) > 1
    return problem.prices.hatch + (_A_MACHINE * set_cost(problem) if others else 0.0)


def wanting_costs(problem: Problem) -> tuple[float, float, float]:
    """What an egg, a bird for the table, and a hen for a week cost that are wanting, from what
    they usually cost to have."""
    prices = problem.prices
    usual = facts.value("planning.eggs_a_set")
    a_set = set_cost(problem)
    birds = usual * facts.value("planning.chicks_an_egg")
    feed_kg = intake_of_g_per_day(_GROWN_D, "hen") * DAYS_A_WEEK / 1000.0
    week = feed_kg * prices.feed_per_kg[2] + DAYS_A_WEEK * a_bird() * prices.minute
    laid = DAYS_A_WEEK * facts.value("planning.lay_for_sizing")
    hen_weeks = birds / 2.0 * _LAYS_W
    eggs = float(problem.wanted.eggs.sum())
    table = problem.wanted.table_birds_a_month * problem.weeks * DAYS_A_WEEK / DAYS_A_MONTH
    costs = (
        week / laid + a_set / max(1.0, min(hen_weeks * laid, eggs)),
        week * CHOSEN_AT_W + a_set / max(1.0, min(birds, table)),
        week + a_set / hen_weeks,
    )
    of_eggs, of_birds, of_hens = (_WANTING * cost or 1.0 for cost in costs)
    return of_eggs, of_birds, of_hens


def set_cost(problem: Problem) -> float:
    """What a usual set costs from the cheapest source, work and all."""
    prices, sources = problem.prices, problem.sources
    minutes, of_egg = minutes_once()
    egg = min((source.price for source in sources), default=0.0) + of_egg * prices.minute
    once = min((source.postage for source in sources), default=0.0) + prices.hatch
    return once + minutes * prices.minute + facts.value("planning.eggs_a_set") * egg


_GROWN_D = 100.0
_LAYS_W = 26
"""Weeks that a hen is reckoned to lay, for what an egg costs."""


def set_bother(problem: Problem) -> float:
    """What the work of a set counts, whatever its size: at the keeper's price of a minute, or, so
    that nobody is sent to hatch two eggs, at some where none is told."""
    minutes, _ = minutes_once()
    return minutes * (problem.prices.minute or _MINUTE_KG * money(problem))


_MINUTE_KG = 0.03
"""Feed that a minute counts as where nobody told its price [kg]; it is in no cost that is told."""
_A_MACHINE = 0.05
"""To fill a further machine counts as this part of what a usual set costs, beside its power."""
UPSET_KG = 10.0
"""A set on a day that an accepted plan did not have costs as much more as so much feed [kg]."""


def money(problem: Problem) -> float:
    """What a kilogram of feed costs, or about so where feed is told to cost nothing."""
    dearest = max((source.price for source in problem.sources), default=0.0)
    return problem.prices.feed_per_kg[2] or dearest or 1.0

"""What the accepted plan reckoned that months would cost, beside what they did cost."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from quailwright.accounts.account import account
from quailwright.accounts.borne import EGGS_TO_HATCH, FEED
from quailwright.accounts.heads import Month, month_of
from quailwright.flock.state import Flock
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.outlook.forecast import Question, forecast
from quailwright.outlook.planned import planned_of
from quailwright.outlook.report import prices_of
from quailwright.planning.brief import read_brief

Array = NDArray[np.float64]

_DRAWS = 400


@dataclass(frozen=True)
class MonthMet:
    """A month, or what of it has passed since the plan was accepted.

    Attributes:
        feed_kg, feed: as reckoned when the plan was accepted, shape (draws,); `feed` in money, None
            where no price was known.
        eggs: what the hatching eggs of planned sets were to cost.
        feed_kg_came, feed_came, eggs_came: what they did.
    """

    month: Month
    feed_kg: Array
    feed: Array | None
    eggs: float
    feed_kg_came: float
    feed_came: float
    eggs_came: float

    @property
    def likely(self) -> tuple[float, float, float]:
        """Quantiles 10, 50 and 90 % of the cost reckoned (kilograms where no price was known)."""
        whole = self.feed_kg if self.feed is None else self.feed + self.eggs
        low, middle, high = np.quantile(whole, (0.1, 0.5, 0.9)).tolist()
        return low, middle, high

    @property
    def came(self) -> float:
        """What came, of the same."""
        return self.feed_kg_came if self.feed is None else self.feed_came + self.eggs_came


def costs_met(flock: Flock, then: Flock, on: date, rng: Generator) -> list[MonthMet]:
    """Months since the plan was accepted; none where none was, or it was today.

    Args:
        flock: folded up to the end of the day `on`.
        then: as it stood when the plan was accepted, planned sets and all.
    """
    if flock.plan is None:
        return []
    first = flock.plan.accepted_at.date() + timedelta(days=1)
    days = (on - first).days + 1
    if days < 1:
        return []
    weeks = -(-days // DAYS_A_WEEK)
    begun = first - timedelta(days=1)
    question = Question(planned=planned_of(then, begun, weeks))
    ahead = forecast(then, begun, rng=rng, weeks=weeks, draws=_DRAWS, question=question)
    price = _price(flock.plan.brief, then, begun)
    reckoned: dict[Month, Array] = defaultdict(lambda: np.zeros(_DRAWS))
    for n in range(days):
        week = ahead.samples["feed_kg"][:, n // DAYS_A_WEEK]
        reckoned[month_of(first + timedelta(days=n))] += week / DAYS_A_WEEK
    eggs = _eggs(then, first, on)
    came = account(flock, first, on)
    return [
        MonthMet(
            one.month,
            reckoned[one.month],
            None if price is None else reckoned[one.month] * price,
            eggs.get(one.month, 0.0),
            one.feed_kg,
            one.costs.get(FEED, 0.0),
            one.costs.get(EGGS_TO_HATCH, 0.0),
        )
        for one in came.months
    ]


def _price(brief: str, then: Flock, on: date) -> float | None:
    """The price of feed that was known then: of the brief, else of the journal."""
    read, _ = read_brief(brief.encode())
    told = read.prices.feed_per_kg if read is not None else None
    return told if told is not None else prices_of(then, on).feed_per_kg


def _eggs(then: Flock, first: date, last: date) -> Mapping[Month, float]:
    """What the eggs of planned sets were to cost, in the month of setting."""
    found: dict[Month, float] = defaultdict(float)
    for one in then.planned_sets.values():
        source = then.sources.get(one.source or "")
        if first <= one.on <= last and source is not None and source.price_per_egg:
            found[month_of(one.on)] += one.eggs * source.price_per_egg
    return found

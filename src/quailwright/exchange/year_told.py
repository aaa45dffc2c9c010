"""A year in review: what came of it by month, its hatches, and what the record taught."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from numpy.random import default_rng

from quailwright.accounts.account import Account, MonthOf, account
from quailwright.exchange.outlook_told import believed
from quailwright.flock.state import Flock, Hatch
from quailwright.guide.round import day_at
from quailwright.journal.findings import BadInput
from quailwright.journal.store import Store
from quailwright.language import say
from quailwright.outlook.report import Rate, rates_table

FEW_HATCHES, FEW_EGGS, FEW_HEN_DAYS = 5, 100, 100
"""Fewer hatches, eggs set or days of hens than these compare little. Our own judgement."""
ENOUGH_COUNTED = 0.8
"""Of the days: with fewer counted, what a hen laid is not known. Our own judgement."""
_SEED = 1


@dataclass(frozen=True, slots=True)
class YearMonth:
    """A month of the year.

    Attributes:
        first: its first day.
        eggs, deaths, hatched: counted; `hens`: kept in the mean of its days that are told.
        feed_kg, costs, income: by the account.
        days, counted: days of it that are told of, and those on which eggs were counted.
        rate: eggs for each hen and day; None without hens, or with too few days counted.
    """

    first: date
    eggs: int
    deaths: int
    hatched: int
    hens: float
    hen_days: float
    feed_kg: float
    costs: float
    income: float
    days: int
    counted: int

    @property
    def rate(self) -> float | None:
        """Eggs for each hen and day: days without a count are not days without eggs."""
        return laid_a_day(self.eggs, self.hen_days, self.counted, self.days)


def laid_a_day(eggs: int, hen_days: float, counted: int, days: int) -> float | None:
    """Eggs for each hen and day; None without hens, or where too few days were counted."""
    told = hen_days >= 1 and counted >= ENOUGH_COUNTED * days
    return eggs / hen_days if told else None


@dataclass(frozen=True, slots=True)
class Year:
    """All of it, from `first` to `last`; `whole` whether that is all of the year."""

    year: int
    first: date
    last: date
    months: list[YearMonth]
    hatches: list[Hatch]
    account: Account
    learnt: list[Rate]

    @property
    def counted(self) -> int:
        """Days on which eggs were counted."""
        return sum(month.counted for month in self.months)

    @property
    def days(self) -> int:
        """Days that are told of."""
        return sum(month.days for month in self.months)

    @property
    def rate(self) -> float | None:
        """Eggs for each hen and day, as of a month."""
        found = self.account
        return laid_a_day(found.eggs, found.hen_days, self.counted, self.days)

    @property
    def whole(self) -> bool:
        """Whether it is all of the year."""
        return (self.first, self.last) == (date(self.year, 1, 1), date(self.year, 12, 31))

    def extremes(self) -> tuple[YearMonth, YearMonth] | None:
        """The months in which a hen laid most and least; None where fewer than two can be told."""
        told = [
            month
            for month in self.months
            if month.rate is not None and month.hen_days >= FEW_HEN_DAYS and month.eggs
        ]
        if len(told) < 2:
            return None
        ordered = sorted(told, key=lambda month: (month.rate or 0.0, month.first))
        return ordered[-1], ordered[0]

    def ends(self) -> tuple[Hatch, Hatch] | None:
        """The best and the worst hatch that is over, by hatch of set; None with fewer than two."""
        over = [each for each in self.hatches if each.closed_at is not None and each.eggs_set]
        if len(over) < 2:
            return None
        ordered = sorted(over, key=lambda hatch: (hatch.hatched / hatch.eggs_set, hatch.set_at))
        return ordered[-1], ordered[0]


def year_told(store: Store, flock: Flock, asked: date | datetime, year: int) -> Year:
    """The year up to `asked`. Raises BadInput where nothing is known of it."""
    on = day_at(flock, asked)
    begins = flock.first_day
    if begins is None or not begins.year <= year <= on.year:
        raise BadInput(say("Nothing is written down of the year {year}.", year=str(year)))
    first, last = max(date(year, 1, 1), begins), min(date(year, 12, 31), on)
    found = account(flock, first, last)
    died, hatched = _died(flock, first, last), _hatched(flock, first, last)
    laid = {lot.laid for lot in flock.lots.values() if lot.counts and first <= lot.laid <= last}
    counted = Counter(day.replace(day=1) for day in laid)
    hatches = [hatch for hatch in flock.hatches.values() if first <= hatch.set_at.date() <= last]
    rates = rates_table(believed(store, flock, asked).rates, default_rng(_SEED))
    return Year(
        year,
        first,
        last,
        [_month(month, first, last, died, hatched, counted) for month in found.months],
        sorted(hatches, key=lambda hatch: hatch.set_at),
        found,
        [rate for rate in rates if rate.records],
    )


def _month(
    month: MonthOf,
    first: date,
    last: date,
    died: Counter[date],
    hatched: Counter[date],
    counted: Counter[date],
) -> YearMonth:
    begin = date(*month.month, 1)
    after = date(begin.year + begin.month // 12, begin.month % 12 + 1, 1)
    days = (min(after, date.fromordinal(last.toordinal() + 1)) - max(begin, first)).days
    return YearMonth(
        begin,
        month.eggs,
        died[begin],
        hatched[begin],
        month.hen_days / days if days else 0.0,
        month.hen_days,
        month.feed_kg,
        sum(month.costs.values()),
        sum(month.income.values()),
        days,
        counted[begin],
    )


def _died(flock: Flock, first: date, last: date) -> Counter[date]:
    """Birds that died, by the first day of the month."""
    found: Counter[date] = Counter()
    for group in flock.groups.values():
        for death in group.deaths:
            if first <= death.day <= last:
                found[death.day.replace(day=1)] += death.birds.total
    return found


def _hatched(flock: Flock, first: date, last: date) -> Counter[date]:
    found: Counter[date] = Counter()
    for hatch in flock.hatches.values():
        for at, chicks in hatch.hatchings:
            if first <= at.date() <= last:
                found[at.date().replace(day=1)] += chicks
    return found


def shares(hatches: Sequence[Hatch]) -> tuple[int, int]:
    """Eggs set and chicks of the hatches that are over."""
    over = [hatch for hatch in hatches if hatch.closed_at is not None]
    return sum(hatch.eggs_set for hatch in over), sum(hatch.hatched for hatch in over)

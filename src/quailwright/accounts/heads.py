"""Who was there to bear a cost: birds by kind and hatching day, day by day, and what they eat.

Costs of birds that are kept together are shared out by two measures: feed by head-days times what
a bird of that age and sex eats (`husbandry.feeding`), all else by head-days. docs/costs.md.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache, cached_property
from typing import Literal

from quailwright.flock.cohorts import GroupHistory, birds_on, group_history, hatched
from quailwright.flock.state import CLASSES, Flock
from quailwright.husbandry import facts
from quailwright.husbandry.feeding import intake_of_g_per_day, stage
from quailwright.journal.entries import Stage

Bearer = Literal["hens", "cocks", "table", "raising"]
BEARERS: tuple[Bearer, ...] = ("hens", "cocks", "table", "raising")
"""Grown hens; grown cocks that live with hens; grown cocks that live apart, which are kept for the
table; and birds that are not grown, with what it took to have them."""

Month = tuple[int, int]
Born = tuple[Bearer, date]
"""A kind of bird and the day it hatched."""


@dataclass(slots=True)
class Heads:
    """Birds of one kind and hatching day through some days.

    Attributes:
        days: bird-days.
        grams: feed that they eat by their age and sex [g], by the stage of feed that suits it.
        grams_alike: the same if cocks ate as hens do.
    """

    days: float
    grams: dict[Stage, float]
    grams_alike: dict[Stage, float]


def month_of(day: date) -> Month:
    """The month that a day lies in."""
    return day.year, day.month


@cache
def grown_d() -> int:
    """Age from which a bird is grown: it gets layer feed [d]."""
    return int(facts.value("feeding.grower_until_d"))


@cache
def _eats(age_d: int) -> tuple[float, float, Stage]:
    return intake_of_g_per_day(age_d, "hen"), intake_of_g_per_day(age_d, "cock"), stage(age_d)


class Record:
    """The birds of a flock through time, from the day `since` up to and with the day `last`."""

    def __init__(self, flock: Flock, last: date, since: date = date.min) -> None:
        self.flock = flock
        self.last = last
        self.since = since
        self.histories = {name: group_history(one, last) for name, one in flock.groups.items()}
        self._by_month: dict[tuple[date, date], dict[Month, dict[Born, Heads]]] = {}

    @cached_property
    def _days(self) -> dict[date, dict[Born, Heads]]:
        found: dict[date, dict[Born, Heads]] = defaultdict(dict)
        for history in self.histories.values():
            for stretch in history.stretches:
                with_hens = any(c.hens + c.chicks > 0 for c in stretch.cohorts)
                for cohort in stretch.cohorts:
                    born = hatched(cohort)
                    hens = cohort.hens + cohort.chicks / 2
                    cocks = cohort.cocks + cohort.chicks / 2
                    begin = max(stretch.first, self.since)
                    for n in range((stretch.end - begin).days):
                        day = begin + timedelta(days=n)
                        self._add(found[day], day, born, hens, cocks, with_hens)
        return dict(found)

    def by_day(self, first: date, last: date) -> dict[date, dict[Born, Heads]]:
        """Birds by day, kind and hatching day in the days from `first` to `last`."""
        return {day: there for day, there in self._days.items() if first <= day <= last}

    def heads(self, first: date, last: date) -> dict[Month, dict[Born, Heads]]:
        """The same by month."""
        known = self._by_month.get((first, last))
        if known is None:
            known = self._by_month[first, last] = together(self.by_day(first, last))
        return known

    @staticmethod
    def _add(
        into: dict[Born, Heads],
        day: date,
        born: date,
        hens: float,
        cocks: float,
        with_hens: bool,
    ) -> None:
        age = max(0, (day - born).days)
        by_hen, by_cock, suits = _eats(age)
        young = age < grown_d()
        of_hens: Bearer = "raising" if young else "hens"
        of_cocks: Bearer = "raising" if young else "cocks" if with_hens else "table"
        for bearer, birds, grams in ((of_hens, hens, by_hen), (of_cocks, cocks, by_cock)):
            if birds <= 0:
                continue
            heads = into.setdefault((bearer, born), Heads(0.0, {}, {}))
            heads.days += birds
            heads.grams[suits] = heads.grams.get(suits, 0.0) + birds * grams
            heads.grams_alike[suits] = heads.grams_alike.get(suits, 0.0) + birds * by_hen

    def eaten_kg(self, day: date, suits: Stage | None) -> float:
        """Feed that the birds of a stage (None: all) use on a day, with the usual spill [kg]."""
        heads = self._days.get(day, {})
        grams = sum(
            own for one in heads.values() for name, own in one.grams.items()
            if suits is None or name == suits
        )  # fmt: skip
        return grams / 1000.0 / (1.0 - facts.value("feeding.wastage"))

    def alive_on(self, born: date, day: date) -> tuple[float, float]:
        """Hens and cocks that hatched on a day, alive on another; chicks are half and half."""
        hens = cocks = 0.0
        for history in self.histories.values():
            for cohort in birds_on(history, [day])[0]:
                if hatched(cohort) == born:
                    hens += cohort.hens + cohort.chicks / 2
                    cocks += cohort.cocks + cohort.chicks / 2
        return hens, cocks

    def gone(self, *why: str) -> Iterator[tuple[date, str, date, str, float]]:
        """(day, why, hatching day, class, birds) of birds that left for one of these reasons."""
        for history in self.histories.values():
            yield from _gone(history, why)


def together(by_day: Mapping[date, Mapping[Born, Heads]]) -> dict[Month, dict[Born, Heads]]:
    """Birds by month from birds by day."""
    found: dict[Month, dict[Born, Heads]] = defaultdict(dict)
    for day, there in by_day.items():
        month = found[month_of(day)]
        for key, one in there.items():
            into = month.setdefault(key, Heads(0.0, {}, {}))
            into.days += one.days
            for name in one.grams:
                into.grams[name] = into.grams.get(name, 0.0) + one.grams[name]
                into.grams_alike[name] = into.grams_alike.get(name, 0.0) + one.grams_alike[name]
    return found


def _gone(
    history: GroupHistory, why: tuple[str, ...]
) -> Iterator[tuple[date, str, date, str, float]]:
    for change in history.group.changes:
        if change.why not in why:
            continue
        before = birds_on(history, [change.day - timedelta(days=1)])[0]
        after = birds_on(history, [change.day])[0]
        for name in CLASSES:
            birds = -getattr(change.birds, name)
            if birds <= 0:
                continue
            there = [c for c in before if getattr(c, name) > 0] or list(before) or list(after)
            counts = [getattr(c, name) or c.chicks + c.hens + c.cocks for c in there]
            whole = sum(counts)
            if not there or whole <= 0:
                yield change.day, change.why, change.day, name, float(birds)
                continue
            for cohort, count in zip(there, counts, strict=True):
                yield change.day, change.why, hatched(cohort), name, birds * count / whole


def shares_of_feed(
    heads: Mapping[Born, Heads], suits: Stage | None, *, alike: bool = False
) -> dict[Born, float]:
    """Parts of a feed's cost that each bears; they add to 1, or are none where no bird was there.

    A feed of a stage is eaten by birds of that stage, where there are any; else by all.
    """
    for stages in ((suits,) if suits is not None else (), ("starter", "grower", "layer")):
        grams = {
            key: sum((one.grams_alike if alike else one.grams).get(name, 0.0) for name in stages)
            for key, one in heads.items()
        }
        whole = sum(grams.values())
        if whole > 0:
            return {key: own / whole for key, own in grams.items() if own > 0}
    return {}


def shares_of_heads(heads: Mapping[Born, Heads]) -> dict[Born, float]:
    """Parts by head-days; they add to 1, or are none where no bird was there."""
    whole = sum(one.days for one in heads.values())
    return {key: one.days / whole for key, one in heads.items()} if whole > 0 else {}

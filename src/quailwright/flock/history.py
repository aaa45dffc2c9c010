"""What the record tells of birds, eggs and feed by day: who was there, who died, what was laid."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from statistics import median

from quailwright.flock.state import Flock


@dataclass(frozen=True, slots=True)
class LaidDay:
    """Eggs of a group counted on a day.

    Attributes:
        day: the day they were gathered.
        eggs: counted, cracked ones too.
        without_repeat: the largest count of the day, where several were made: what the day's eggs
            are if two people counted the same ones.
        days_since: days since the eggs before were counted (1: none was missed), 0 for the first.
    """

    day: date
    eggs: int
    without_repeat: int
    days_since: int


def laid_days(flock: Flock, since: date, until: date = date.max) -> dict[str, list[LaidDay]]:
    """Eggs counted by group and day, from `since` to `until`, in order."""
    counted: dict[str, list[LaidDay]] = {}
    last: dict[str, date] = {}
    for lot in sorted(flock.lots.values(), key=lambda lot: lot.laid):
        if not lot.counts or lot.laid > until:
            continue
        before = last.get(lot.group)
        last[lot.group] = lot.laid
        if lot.laid >= since:
            counted.setdefault(lot.group, []).append(
                LaidDay(
                    lot.laid,
                    lot.collected,
                    lot.largest_count,
                    0 if before is None else (lot.laid - before).days,
                )
            )
    return counted


def days_logged(flock: Flock) -> set[date]:
    """Days on which the keeper logged anything of the daily round."""
    days = {lot.laid for lot in flock.lots.values() if lot.counts}
    for stock in flock.feeds.values():
        days.update(day for day, _ in stock.given)
    for ticks in flock.care.values():
        days.update(ticks)
    for group in flock.groups.values():
        days.update(change.day for change in group.changes)
    return days


@dataclass(frozen=True, slots=True)
class FeedUse:
    """Feed used over some days by the record.

    Attributes:
        kg: used, spill included.
        days: the days it was used on.
        by: how it is known: "given" day by day, or "bought" (what came before the last bag).
    """

    kg: float
    days: tuple[date, ...]
    by: str


_DAILY_D = 1.5
"""Feed logged at least so often [days between] is logged day by day, and a day without is a gap."""
_FEWEST_TIMES = 4


def feed_use(flock: Flock, since: date, until: date) -> FeedUse | None:
    """Feed used in the days from `since` to `until`, or None where too little is logged."""
    given: dict[date, float] = {}
    bought: dict[date, float] = {}
    for stock in flock.feeds.values():
        for day, kg in reversed(stock.given):
            if day < since:
                break
            if day <= until:
                given[day] = given.get(day, 0.0) + kg
        for bag in reversed(stock.bought):
            if bag.day < since:
                break
            if bag.day <= until:
                bought[bag.day] = bought.get(bag.day, 0.0) + bag.kg
    times = sorted(given)
    if len(times) >= _FEWEST_TIMES:
        between = median((b - a).days for a, b in pairwise(times))
        if between <= _DAILY_D:
            return FeedUse(sum(given.values()), tuple(times), "given")
        return _used_between(given, times, "given")
    times = sorted(bought)
    return _used_between(bought, times, "bought") if len(times) >= _FEWEST_TIMES else None


def _used_between(kg: dict[date, float], times: Sequence[date], by: str) -> FeedUse:
    """What came before the last time was used by then."""
    days = (times[-1] - times[0]).days
    used = sum(kg[day] for day in times[:-1])
    return FeedUse(used, tuple(times[0] + timedelta(days=n) for n in range(days)), by)

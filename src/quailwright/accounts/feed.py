"""What feed was used when, and what it cost.

Feed costs when it is eaten, not when the bag is paid: what is used of a day is taken from the
oldest bag. So what was paid is what was used and what lies in the store, to the last cent.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

from quailwright.flock.state import FeedStock, Flock
from quailwright.journal.entries import Stage

_A_SPECK_KG = 1e-9
"""Below this a rest is arithmetic of floats, not feed."""


@dataclass(frozen=True, slots=True)
class Used:
    """Feed used on a day.

    Attributes:
        kg: with spill and what was lost.
        cost: of what has a price.
        unpriced_kg: of it, what has none.
        unbought_kg: of it, what the record never bought.
    """

    day: date
    feed: str
    stage: Stage | None
    kg: float
    cost: float
    unpriced_kg: float
    unbought_kg: float


@dataclass(frozen=True, slots=True)
class InStore:
    """What is left of a feed, and what it cost as far as that is known."""

    kg: float
    value: float


EatenKg = Callable[[date, Stage | None], float]
"""Feed that the birds of a stage (None: all) are reckoned to use on a day [kg]."""


def feed_used(flock: Flock, last: date, eaten_kg: EatenKg) -> tuple[list[Used], dict[str, InStore]]:
    """Feed used up to and with the day `last`, and what is left of each feed.

    Of a feed that is given or counted by the record, that is used; what a count finds missing was
    used on the days since the count before. Of one that is only bought, each bag until the next;
    the last as fast as those before, or where there is only one, as the birds are reckoned to eat.
    So too where giving and counting stopped, and bags were bought since. A bag that would be gone
    far faster than birds eat lies in the store beside the next.
    """
    used: list[Used] = []
    left: dict[str, InStore] = {}
    for stock in flock.feeds.values():
        by_day, surplus = _by_day(flock, stock, last, eaten_kg)
        own, left[stock.name] = _priced(stock, by_day, surplus, last)
        used += own
    return sorted(used, key=lambda one: one.day), left


def is_reckoned(flock: Flock, stock: FeedStock) -> bool:
    """Whether the use of a feed is only reckoned, from one bag and what birds eat."""
    days = {bag.day for bag in stock.bought}
    return len(days) == 1 and not stock.given and not _counts(flock, stock, date.max)


def _stage(stock: FeedStock) -> Stage | None:
    return stock.label.stage if stock.label is not None else None


_Amounts = list[tuple[date, float]]
"""Kilograms of some days."""

_SILENT_D = 14
"""So long without a word of what was used, and the keeper no longer writes it down. Judgement."""


def _by_day(
    flock: Flock, stock: FeedStock, last: date, eaten_kg: EatenKg
) -> tuple[_Amounts, _Amounts]:
    """What was used by day, and what counts found that the record never bought."""
    bags = [(bag.day, bag.kg) for bag in stock.bought if bag.day <= last]
    counts = _counts(flock, stock, last)
    told = [day for day, _ in (*stock.given, *counts) if day <= last]
    if stock.counted_on is not None and stock.counted_on <= last:
        told.append(stock.counted_on)
    if not told:
        return list(_between_bags(bags, _stage(stock), last, eaten_kg)), []
    used, surplus = _given(stock, counts, last)
    heard = max(told)
    later = [(day, kg) for day, kg in bags if day > heard]
    if later and (last - heard).days > _SILENT_D:
        left = sum(kg for day, kg in (*bags, *surplus) if day <= heard)
        left -= sum(kg for day, kg in used if day <= heard)
        if left > _A_SPECK_KG:
            later.insert(0, (heard + timedelta(days=1), left))
        used += _between_bags(later, _stage(stock), last, eaten_kg)
    return used, surplus


def _counts(flock: Flock, stock: FeedStock, last: date) -> list[tuple[date, float]]:
    """Days on which the store was weighed and differed, with what was missing [kg]."""
    return [
        (one.day, -one.amount)
        for one in flock.differences
        if one.what == "feed_kg" and one.of == stock.name and one.day <= last
    ]


def _given(
    stock: FeedStock, counts: Sequence[tuple[date, float]], last: date
) -> tuple[_Amounts, _Amounts]:
    """What was given, with what each count found missing spread over the time before it; and what
    a count found beyond all that was bought."""
    found: _Amounts = []
    surplus: _Amounts = []
    given = sorted(one for one in stock.given if one[0] <= last)
    first_bought = min((bag.day for bag in stock.bought), default=None)
    since = first_bought
    for day, missing in counts:
        span = [one for one in given if one[0] <= day]
        given = given[len(span) :]
        kg = sum(one[1] for one in span)
        used = max(0.0, kg + missing)
        if kg + missing < 0:
            surplus.append((day, -kg - missing))
        if kg > 0:
            found += [(on, own * used / kg) for on, own in span]
        elif used > 0:
            begin = min(since or day, day)
            days = max(1, (day - begin).days)
            first = day - timedelta(days=days - 1)
            found += [(first + timedelta(days=n), used / days) for n in range(days)]
        since = day
    return [*found, *given], surplus


_FASTEST = 2.0
"""A bag gone so many times as fast as birds eat was not eaten: it lies there. Our judgement."""


def _between_bags(
    bought: Sequence[tuple[date, float]], stage: Stage | None, last: date, eaten_kg: EatenKg
) -> Iterator[tuple[date, float]]:
    bags: dict[date, float] = {}
    for day, kg in bought:
        bags[day] = bags.get(day, 0.0) + kg
    days = sorted(bags)
    if not days:
        return
    left = told_kg = 0.0
    told_days = 0
    for begin, until in pairwise(days):
        left += bags[begin]
        span = [begin + timedelta(days=n) for n in range((until - begin).days)]
        eaten = [eaten_kg(day, stage) or eaten_kg(day, None) for day in span]
        is_stock = 0 < _FASTEST * sum(eaten) < left
        if not is_stock:
            eaten = [left / len(span)] * len(span)
            told_kg, told_days = told_kg + left, told_days + len(span)
        for day, kg in zip(span, eaten, strict=True):
            yield day, kg
        left -= sum(eaten)
    left += bags[days[-1]]
    for n in range((last - days[-1]).days + 1):
        day = days[-1] + timedelta(days=n)
        kg = min(left, told_kg / told_days if told_days else eaten_kg(day, stage))
        left -= kg
        if kg > 0:
            yield day, kg


def _priced(
    stock: FeedStock,
    used: Sequence[tuple[date, float]],
    surplus: Sequence[tuple[date, float]],
    last: date,
) -> tuple[list[Used], InStore]:
    """The cost of what was used, from the oldest bag first; of what a count found, by the label."""
    per_kg = stock.label.price_per_kg if stock.label is not None else None
    bought = [bag for bag in stock.bought if bag.day <= last]
    dated = [(bag.day, bag.kg, _price(bag.kg, bag.cost, per_kg)) for bag in bought if bag.kg > 0]
    dated += [(day, kg, per_kg) for day, kg in surplus]
    lots = [[kg, price] for _, kg, price in sorted(dated, key=lambda lot: lot[0])]
    found = [
        Used(bag.day, stock.name, _stage(stock), 0.0, bag.cost, 0.0, 0.0)
        for bag in bought
        if bag.kg <= 0 and bag.cost
    ]
    latest = per_kg
    for day, kg in used:
        wanted, cost, unpriced, unbought = kg, 0.0, 0.0, 0.0
        while wanted > _A_SPECK_KG and lots:
            lot_kg, price = lots[0][0] or 0.0, lots[0][1]
            taken = min(wanted, lot_kg)
            wanted -= taken
            latest = price if price is not None else latest
            if price is None:
                unpriced += taken
            else:
                cost += taken * price
            lots[0][0] = lot_kg - taken
            if lot_kg - taken <= _A_SPECK_KG:
                lots.pop(0)
        if wanted > _A_SPECK_KG:  # given, and never bought by the record
            unbought = wanted
            if latest is None:
                unpriced += wanted
            else:
                cost += wanted * latest
        found.append(Used(day, stock.name, _stage(stock), kg, cost, unpriced, unbought))
    left_kg = sum(kg or 0.0 for kg, _ in lots)
    value = sum((kg or 0.0) * price for kg, price in lots if price is not None)
    return found, InStore(left_kg, value)


def _price(kg: float, cost: float | None, per_kg: float | None) -> float | None:
    return cost / kg if cost is not None else per_kg

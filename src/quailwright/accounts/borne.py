"""Every cost of some days, and who bears it: shares of each cost that add up to the whole."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from quailwright.accounts.feed import Used
from quailwright.accounts.heads import (
    Bearer,
    Born,
    Month,
    Record,
    grown_d,
    month_of,
    shares_of_feed,
    shares_of_heads,
)
from quailwright.flock.state import Payment
from quailwright.journal.entries import Stage

FEED, EGGS_TO_HATCH, BIRDS, EQUIPMENT, TIME = "feed", "hatching_eggs", "birds", "equipment", "time"
"""Kinds of cost; what the keeper paid under another word is a kind of that name."""

_DAYS_A_YEAR = 365.25
_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Borne:
    """A part of a cost: of which month and kind, and who bears it.

    `bearer` is "nobody" where no bird was there. `born` is the hatching day of the birds, None for
    what is of no one batch.
    """

    month: Month
    bearer: Bearer | Literal["nobody"]
    born: date | None
    kind: str
    amount: float


_OURS = (FEED, EGGS_TO_HATCH, BIRDS, EQUIPMENT, TIME)


def money_of(word: str) -> str:
    """The kind of what a money entry calls by one of our own words: it is not the same thing."""
    return f"money: {word}" if word in _OURS else word


def kind_of(payment: Payment) -> str:
    """The kind of cost of what was spent, or of income."""
    if payment.entry == "eggs_received":
        return EGGS_TO_HATCH
    if payment.lasts_years is not None:
        return EQUIPMENT
    return BIRDS if payment.entry == "group" else money_of(payment.category)


def worn(payment: Payment, first: date, last: date) -> dict[Month, float]:
    """What of a thing bought for years is used up in the days from `first` to `last`, by month.

    Straight-line depreciation: as much each day, to nothing. Common practice, no source.
    """
    if payment.lasts_years is None:
        return {}
    life = payment.lasts_years * _DAYS_A_YEAR
    found: dict[Month, float] = {}
    for begin, end in _months(max(first, payment.day), last):
        from_, to = (begin - payment.day).days, (end - payment.day).days + 1
        days = max(0.0, min(float(to), life) - from_)
        if days > 0:
            found[month_of(begin)] = -payment.amount * days / life
    return found


def months_between(first: date, last: date) -> list[Month]:
    """Every month that some of the days lie in."""
    return [month_of(begin) for begin, _ in _months(first, last)]


def _months(first: date, last: date) -> Iterator[tuple[date, date]]:
    """First and last day of each month, as far as they lie between."""
    begin = first
    while begin <= last:
        following = (begin.replace(day=1) + timedelta(days=32)).replace(day=1)
        yield begin, min(last, following - _DAY)
        begin = following


def borne(
    record: Record,
    used: Sequence[Used],
    minutes: Mapping[Month, float],
    minute_price: float,
    first: date,
    last: date,
) -> list[Borne]:
    """Every cost of the days from `first` to `last`, shared out.

    Args:
        used: all feed used by the record.
        minutes: of the keeper, by month.
        minute_price: what a minute is worth; 0 leaves time out.
    """
    by_day = record.by_day(first, last)
    heads = record.heads(first, last)
    found: list[Borne] = []
    for (day, suits), cost in _feed_by_day(used, first, last).items():
        month = month_of(day)
        shares = shares_of_feed(by_day.get(day) or heads.get(month, {}), suits)
        found += _shared(month, FEED, cost, shares)
    for month, kind, cost in _paid(record.flock.payments, first, last):
        if kind == EGGS_TO_HATCH:
            found.append(Borne(month, "raising", None, kind, cost))
        else:
            found += _shared(month, kind, cost, shares_of_heads(heads.get(month, {})))
    for payment in record.flock.payments:
        if payment.entry == "group" and first <= payment.day <= last:
            born = born_of(record, payment)
            found.append(Borne(month_of(payment.day), "raising", born, BIRDS, -payment.amount))
    for month, spent in minutes.items():
        if minute_price and spent:
            shares = shares_of_heads(heads.get(month, {}))
            found += _shared(month, TIME, spent * minute_price, shares)
    return found


def feed_if_cocks_ate_as_hens(
    record: Record, used: Sequence[Used], first: date, last: date
) -> float:
    """What of the feed's cost the cocks would bear then: the most that it may be."""
    by_day = record.by_day(first, last)
    heads = record.heads(first, last)
    return sum(
        cost * part
        for (day, suits), cost in _feed_by_day(used, first, last).items()
        for key, part in shares_of_feed(
            by_day.get(day) or heads.get(month_of(day), {}), suits, alike=True
        ).items()
        if key[0] == "cocks"
    )


def _feed_by_day(
    used: Sequence[Used], first: date, last: date
) -> dict[tuple[date, Stage | None], float]:
    found: dict[tuple[date, Stage | None], float] = defaultdict(float)
    for one in used:
        if first <= one.day <= last and one.cost:
            found[one.day, one.stage] += one.cost
    return found


def _paid(
    payments: Sequence[Payment], first: date, last: date
) -> Iterator[tuple[Month, str, float]]:
    """(month, kind, cost) of what was spent beside feed and birds, and of what wears out."""
    for payment in payments:
        if payment.lasts_years is not None:
            for month, amount in worn(payment, first, last).items():
                yield month, EQUIPMENT, amount
        elif (
            payment.amount < 0
            and payment.entry not in ("feed_bought", "group")
            and first <= payment.day <= last
        ):
            yield month_of(payment.day), kind_of(payment), -payment.amount


def _shared(month: Month, kind: str, cost: float, shares: Mapping[Born, float]) -> list[Borne]:
    if not shares:
        return [Borne(month, "nobody", None, kind, cost)]
    return [
        Borne(month, bearer, born, kind, cost * part) for (bearer, born), part in shares.items()
    ]


def born_of(record: Record, payment: Payment) -> date | None:
    """The hatching day of birds bought that were not grown yet; None for grown ones."""
    group = record.flock.groups.get(payment.group)
    if group is None:
        return None
    for change in group.changes:
        if change.day == payment.day and change.why == "in":
            born = change.youngest or (payment.day if change.birds.chicks else None)
            if born is not None and (payment.day - born).days < grown_d():
                return born
    return None

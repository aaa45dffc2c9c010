"""Bookings of the feed store."""

from datetime import date

from quailwright.flock.booking.known import feed_of, pay
from quailwright.flock.state import Bought, Difference, Feeding, Flock
from quailwright.journal import entries as kinds
from quailwright.language import mark

_DECIMALS_KG = 6
"""Below a milligram a difference is arithmetic of floats, not feed."""


def feed_bought(flock: Flock, entry: kinds.FeedBought, day: date, forced: bool) -> None:
    stock = feed_of(flock, entry.feed)
    stock.bought_kg += entry.kg
    stock.bought.append(Bought(day, entry.kg, entry.cost, entry.mixed_on))
    if entry.cost is not None:
        pay(flock, day, -entry.cost, mark("feed"), entry="feed_bought")


def feed_given(flock: Flock, entry: kinds.FeedGiven, day: date, forced: bool) -> None:
    stock = feed_of(flock, entry.feed)
    stock.given_kg += entry.kg
    stock.last_given = day
    stock.given.append((day, entry.kg))
    if entry.place is not None:
        flock.care["feed_given", entry.place].append(day)
        flock.feedings.append(Feeding(day, entry.place, entry.feed, entry.kg))


def feed_counted(flock: Flock, entry: kinds.FeedCounted, day: date, forced: bool) -> None:
    stock = feed_of(flock, entry.feed)
    stock.counted_on = day
    if round(entry.kg - stock.kg, _DECIMALS_KG):
        flock.differences.append(
            Difference(day, entry.feed, "feed_kg", stock.kg, entry.kg, entry.id)
        )
        stock.found_kg += entry.kg - stock.kg

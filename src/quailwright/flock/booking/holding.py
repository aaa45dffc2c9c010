"""Bookings of the holding itself: places, instruments, sources, care, money."""

from datetime import date

import msgspec

from quailwright.flock.booking.known import contradict, feed_of, merged, pay, place_of
from quailwright.flock.state import AirSeen, Flock, Quarantined, Tick, WaterFilled
from quailwright.journal import entries as kinds
from quailwright.journal.moments import instant
from quailwright.language import later

_OF_A_PLACE = ("capacity_eggs", "floor_m2", "height_m", "floor_kind", "heater_w", "walk_order")


def holding(flock: Flock, entry: kinds.Holding, day: date, forced: bool) -> None:
    flock.holding = merged(flock.holding, entry)


def place(flock: Flock, entry: kinds.Place, day: date, forced: bool) -> None:
    place = place_of(flock, entry.place)
    place.role = entry.role
    place.closed = entry.closed
    for name in _OF_A_PLACE:
        if getattr(entry, name) is not None:
            setattr(place, name, getattr(entry, name))


def instrument(flock: Flock, entry: kinds.Instrument, day: date, forced: bool) -> None:
    place_of(flock, entry.place)
    flock.instruments[entry.instrument] = merged(flock.instruments.get(entry.instrument), entry)


def source(flock: Flock, entry: kinds.Source, day: date, forced: bool) -> None:
    flock.sources[entry.source] = merged(flock.sources.get(entry.source), entry)


def feed(flock: Flock, entry: kinds.Feed, day: date, forced: bool) -> None:
    stock = feed_of(flock, entry.feed)
    stock.label = merged(stock.label, entry)


def goal(flock: Flock, entry: kinds.Goal, day: date, forced: bool) -> None:
    flock.goal = entry


def care_rule(flock: Flock, entry: kinds.CareRule, day: date, forced: bool) -> None:
    """Adds to the keeper's earlier change of the rule; a day takes the place of an interval."""
    key = entry.rule, entry.place
    before = flock.care_rules.get(key)
    if before is not None and (entry.day is not None or entry.every_days is not None):
        before = msgspec.structs.replace(before, day=None, every_days=None)
    together = merged(before, entry)
    flock.care_rules[key] = msgspec.structs.replace(together, silenced=entry.silenced)


def care(flock: Flock, entry: kinds.Care, day: date, forced: bool) -> None:
    flock.care[entry.task, entry.place or ""].append(day)
    flock.ticks.append(Tick(day, entry.task, entry.place or "", entry.minutes))


def quarantine(flock: Flock, entry: kinds.Quarantine, day: date, forced: bool) -> None:
    """Puts a place in quarantine, or tells anew until when the one that it is in lasts."""
    place_of(flock, entry.place).quarantined_until = entry.until
    for n, apart in enumerate(flock.quarantines):
        if apart.place == entry.place and apart.since <= day <= apart.until:
            flock.quarantines[n] = apart._replace(until=entry.until)
            return
    flock.quarantines.append(Quarantined(entry.place, day, entry.until))


def outage(flock: Flock, entry: kinds.Outage, day: date, forced: bool) -> None:
    place_of(flock, entry.place)
    flock.outages.append((day, entry))


def money(flock: Flock, entry: kinds.Money, day: date, forced: bool) -> None:
    pay(flock, day, entry.amount, entry.category, entry.lasts_years)


def water_given(flock: Flock, entry: kinds.WaterGiven, day: date, forced: bool) -> None:
    place_of(flock, entry.place)
    flock.water.append(WaterFilled(day, entry.place, entry.litres))


def temperature_seen(flock: Flock, entry: kinds.TemperatureSeen, day: date, forced: bool) -> None:
    place_of(flock, entry.place)
    at = instant(entry.at, flock.zone)
    flock.air.append(AirSeen(at, entry.place, entry.lowest_c, entry.highest_c, entry.spot))


def contact(flock: Flock, entry: kinds.Contact, day: date, forced: bool) -> None:
    flock.contacts[entry.contact] = entry
    if not entry.phone:
        del flock.contacts[entry.contact]


def egg_rule(flock: Flock, entry: kinds.EggRule, day: date, forced: bool) -> None:
    if entry.checked_on > day:
        contradict(
            flock, entry, forced, "checked_on",
            later("the rule was asked for on {day}, which is still to come.", day=entry.checked_on),
            later("Give the day on which it was told."),
        )  # fmt: skip
    flock.egg_rules[entry.storage] = entry

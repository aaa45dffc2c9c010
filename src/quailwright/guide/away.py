"""While the keeper is away: when a sitter comes, what each place needs, and which steps fall in.

Amounts are for the hungriest day of the days asked for. Nothing here knows of paper.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Literal

from quailwright.flock.state import Flock, Group, Hatch
from quailwright.guide import wording
from quailwright.guide.light import place_of
from quailwright.guide.occasions import (
    elapsed,
    heat_words,
    is_brooder,
    lamp_told,
    may_lay,
    turns_until,
)
from quailwright.guide.round import steps_ahead, units_of
from quailwright.husbandry import facts
from quailwright.husbandry.daylight import sun_on
from quailwright.husbandry.feeding import Stage, intake_of_g_per_day, stage
from quailwright.husbandry.incubation import hatch_day_range
from quailwright.husbandry.survival import Sex
from quailwright.language import say

_GROWN_D = 365
_MINUTES_A_DAY = 24 * 60
_QUARTER = 15

Round = Literal["morning", "midday", "evening"]


@dataclass(frozen=True, slots=True)
class Times:
    """When a sitter comes, by the holding's clock; `midday` is None where nothing needs it."""

    morning: time
    midday: time | None
    evening: time


def times_of(flock: Flock, days: Sequence[date], with_midday: bool) -> Times:
    """When a sitter should come on these days.

    The evening's round is over before it grows dark for the birds: an hour before sunset, or before
    the lamp goes off where that is later; on the day that is soonest dark.
    """
    latest = facts.spread("away.evening_h")[1]
    dark = [hour for day in days if (hour := _dark_h(flock, day)) is not None]
    evening = facts.value("away.evening_h")
    if dark:
        evening = min(latest, min(dark) - facts.value("away.before_dark_h"))
    midday = facts.value("away.midday_h")
    return Times(
        _clock(facts.value("away.morning_h")),
        _clock(midday) if with_midday else None,
        _clock(max(evening, midday)),
    )


def _clock(hours: float) -> time:
    """A clock time, to the quarter of an hour before."""
    minutes = int(hours * 60) // _QUARTER * _QUARTER % _MINUTES_A_DAY
    return time(minutes // 60, minutes % 60)


def _dark_h(flock: Flock, day: date) -> float | None:
    """When the birds' light ends, in hours of the holding's clock; None where nothing tells."""
    place, lamp = place_of(flock), lamp_told(flock)
    ends = []
    if place is not None:
        sets = sun_on(place.latitude_deg, place.longitude_deg, day, place.zone).sunset
        if sets is not None:
            ends.append(_hours_into(day, sets))
    if lamp is not None:
        hour, minute = map(int, lamp[1].split(":"))
        off = hour + minute / 60
        # A lamp that lights the morning alone says nothing of the evening.
        if off >= facts.value("away.midday_h"):
            ends.append(off)
    return max(ends, default=None)


def _hours_into(day: date, local: datetime) -> float:
    """Hours of the clock since the midnight that begins a day."""
    return (local.date() - day).days * 24 + local.hour + local.minute / 60


@dataclass(frozen=True, slots=True)
class EggsUsual:
    """Eggs a day of late: their mean, fewest and most, by so many days that were counted."""

    mean: float
    fewest: int
    most: int
    days: int


@dataclass(frozen=True, slots=True)
class PlaceNeeds:
    """What a place with birds needs each day.

    Attributes:
        birds: chicks, hens and cocks there; `groups`: their names.
        brooder: whether it is kept warm for chicks; `heat` then in words, at chick level.
        feed_g: feed to give a day [g], with what is spilt; `stages`: of which feed.
        water_l, water_hot_l: water to fill in a day [l], with the reserve; on a hot day.
        eggs: what is usual; None where nothing lays or too little is counted.
        lays: whether there may be eggs.
        eggs_held, birds_held: the last day on which its eggs are withheld, or its birds stay apart;
            `date.max` where nobody has told the end.
    """

    place: str
    groups: tuple[str, ...]
    chicks: int
    hens: int
    cocks: int
    brooder: bool
    heat: str
    pebbles: bool
    feed_g: float
    stages: tuple[Stage, ...]
    water_l: float
    water_hot_l: float
    eggs: EggsUsual | None
    lays: bool
    eggs_held: date | None
    birds_held: date | None


def place_needs(flock: Flock, on: date, days: Sequence[date]) -> list[PlaceNeeds]:
    """What every place with birds needs on these days, in the order of the walk; `on` is today."""
    return [
        _needs(flock, place.name, groups, on, days)
        for place in flock.in_walking_order()
        if (groups := flock.groups_at(place.name))
    ]


def _needs(
    flock: Flock, name: str, groups: list[Group], on: date, days: Sequence[date]
) -> PlaceNeeds:
    place = flock.places[name]
    eaten = max(sum(eaten_g(group, day) for group in groups) for day in days)
    ages = [age for group in groups if (age := group.age_days(days[0])) is not None]
    youngest = min(ages, default=None)
    brooded = is_brooder(place, youngest)
    reserve = facts.value("away.water_reserve")
    counts = [usual for group in groups if (usual := eggs_usual(flock, group.name, on)) is not None]
    held = [
        until
        for one in flock.withholdings
        if one.group in {group.name for group in groups}
        and (until := one.eggs_until or date.max) >= days[0]
    ]
    quarantine = place.quarantined_until
    lays = any(may_lay(group, days[-1]) for group in groups)
    heat = heat_words(youngest or 0, units_of(flock)) if brooded else {}
    return PlaceNeeds(
        name,
        tuple(group.name for group in groups),
        sum(group.alive.chicks for group in groups),
        sum(group.alive.hens for group in groups),
        sum(group.alive.cocks for group in groups),
        brooded,
        heat.get("heat", ""),
        brooded and (youngest or 0) <= facts.value("brooding.pebbles_until_d"),
        eaten / (1.0 - facts.value("feeding.wastage")),
        tuple(
            dict.fromkeys(
                stage(_GROWN_D if (age := group.age_days(days[0])) is None else age)
                for group in groups
            )
        ),
        eaten / 1000 * facts.spread("feeding.water_per_feed")[1] * reserve,
        eaten / 1000 * facts.spread("away.water_per_feed_hot")[1] * reserve,
        _together(counts) if lays else None,
        lays,
        max(held, default=None),
        quarantine if quarantine is not None and quarantine >= days[0] else None,
    )


def eaten_g(group: Group, day: date) -> float:
    """Feed that a group eats on a day [g]; birds of unknown age eat as grown ones."""
    age = group.age_days(day)
    grown_or_so = _GROWN_D if age is None else age
    alive = group.alive
    counts: tuple[tuple[int, Sex], ...] = (
        (alive.chicks, "chick"), (alive.hens, "hen"), (alive.cocks, "cock"),
    )  # fmt: skip
    return sum(count * intake_of_g_per_day(grown_or_so, sex) for count, sex in counts)


def eggs_usual(flock: Flock, group: str, on: date) -> EggsUsual | None:
    """Eggs a day of a group in the days before `on`; None where too few were counted."""
    lots = (
        flock.lots.get((on - timedelta(days=n), group))
        for n in range(1, int(facts.value("away.days_of_eggs")) + 1)
    )
    counts = [lot.collected for lot in lots if lot is not None and lot.counts]
    if len(counts) < facts.value("away.fewest_counts"):
        return None
    return EggsUsual(sum(counts) / len(counts), min(counts), max(counts), len(counts))


def _together(counts: Sequence[EggsUsual]) -> EggsUsual | None:
    if not counts:
        return None
    return EggsUsual(
        sum(each.mean for each in counts),
        sum(each.fewest for each in counts),
        sum(each.most for each in counts),
        min(each.days for each in counts),
    )


def few_eggs(usual: EggsUsual) -> int:
    """So many eggs or fewer in a day are worth a call."""
    return math.floor(usual.mean * facts.value("away.few_eggs"))


def hatching(flock: Flock, on: date, last: date) -> list[Hatch]:
    """The hatches whose chicks are likely out of the shell by `last`, and not yet on `on`."""
    _, likely, late = hatch_day_range()
    return [
        hatch
        for hatch in flock.hatches_open()
        if hatch.alive > 0
        and elapsed(hatch.set_at, likely).date() <= last
        and on <= elapsed(hatch.set_at, late).date()
    ]


def hatching_g(hatch: Hatch, day: date) -> float:
    """Feed that its chicks eat on a day [g], as if every egg hatched on the likely day."""
    age = (day - elapsed(hatch.set_at, hatch_day_range()[1]).date()).days
    return hatch.alive * intake_of_g_per_day(age, "chick") if age >= 0 else 0.0


# Steps that fall into the absence.


When = Literal["before", "after", "sheet", "missed"]


@dataclass(frozen=True, slots=True)
class Falls:
    """A step that falls into the absence.

    Attributes:
        at, until: when; an instant for the steps of a hatch. `until` where it lasts.
        place, subject: where, and of which hatch or group.
        task: what is to be done.
        when: to be done before leaving, when back, or by the sitter; or to be left out.
        by: the last day before leaving, or the first when back; None otherwise.
        critical: whether birds die of its being missed.
        instead: what to do when it is left out, if anything.
    """

    at: date | datetime
    until: date | datetime | None
    place: str
    subject: str
    task: str
    when: When
    by: date | None
    critical: bool
    instead: str = ""


_CANNOT_WAIT = ("stop_turning", "ready_brooder", "move_chicks")
_WITH_THE_FEED = ("layer_feed",)
"""The rounds give feed by age: what changes it is done on its day, neither before nor after."""
_NOT_BEFORE = ("move_chicks", "set_eggs", *_WITH_THE_FEED)
_FOR_A_SITTER = (*_CANNOT_WAIT, *_WITH_THE_FEED, "heat_step")
_STAGES = ("received", "hatch", "chicks", "brooder", "grower")


def steps_falling(flock: Flock, on: date, first: date, last: date) -> list[Falls]:
    """The steps of hatches and chicks that fall into the days from `first` to `last`, in order."""
    found = list(_steps_of_rules(flock, on, first, last))
    for hatch in flock.hatches_open():
        if hatch.alive > 0:
            found += [
                each
                for each in _of_hatching(flock, hatch)
                if _day(each.at) <= last and first <= _day(each.until or each.at)
            ]
    return sorted(found, key=lambda each: (each.at.isoformat(), each.subject))


def _steps_of_rules(flock: Flock, on: date, first: date, last: date) -> Iterator[Falls]:
    for occasion, rule, step in steps_ahead(flock, on, first, last):
        if occasion.stage not in _STAGES:
            continue
        at = step.at if occasion.by_hour else step.at.date()
        waits = step.too_late is None or step.too_late.date() > last
        early_from = (step.at - timedelta(days=rule.early)).date()
        when: When = "sheet" if rule.rule in _FOR_A_SITTER else "missed"
        by: date | None = None
        if early_from < first and on < first and rule.rule not in _NOT_BEFORE:
            when, by = "before", first - timedelta(days=1)
        elif waits and rule.rule not in (*_CANNOT_WAIT, *_WITH_THE_FEED):
            when, by = "after", last + timedelta(days=1)
        yield Falls(
            at,
            None,
            occasion.place,
            occasion.subject,
            step.what,
            when,
            by,
            when == "sheet" and rule.rule in _CANNOT_WAIT,
            wording.fill(rule.instead, units_of(flock), occasion.words())
            if when == "missed"
            else "",
        )


def quiet_from(flock: Flock, on: date, first: date, last: date) -> date:
    """The first day from which an absence of as many days meets no step that birds die of."""
    away_for = last - first
    while critical := [
        each for each in steps_falling(flock, on, first, first + away_for) if each.critical
    ]:
        first = max(_day(each.until or each.at) for each in critical) + timedelta(days=1)
    return first


def _of_hatching(flock: Flock, hatch: Hatch) -> Iterator[Falls]:
    """The hatch window, the chicks' first days and their weekly steps of heat."""
    first, usual, late = hatch_day_range()
    begins, due, over = (elapsed(hatch.set_at, day) for day in (first, usual, late))
    watched = int(facts.spread("brooding.close_watch_until_d")[1])
    brooders = (
        place.name
        for place in flock.in_walking_order()
        if place.role == "brooder" and not place.closed
    )
    warm = next(brooders, hatch.place)

    def falls(where: str, at: datetime, until: datetime | None, task: str, critical: bool) -> Falls:
        return Falls(at, until, where, hatch.name, task, "sheet", None, critical)

    yield falls(
        hatch.place,
        begins,
        over,
        say(
            "Chicks hatch. Look through the window only, and leave the machine shut while eggs are "
            "pipped."
        ),
        True,
    )
    yield falls(
        warm,
        due,
        elapsed(due, watched),
        say(
            "The chicks' first days: dry ones into the warm brooder, water with pebbles, feed in "
            "reach, a look at dawn, at midday, at dusk and before bed."
        ),
        True,
    )
    for number in (1, 2, 3):
        day = facts.value(f"brooding.heat_step_{number}_d")
        heat = heat_words(int(day), units_of(flock))["heat"]
        task = say("Lower the heat to {heat} at chick level", heat=heat)
        yield falls(warm, elapsed(due, day), None, task, False)


def turning(flock: Flock, day: date) -> list[Hatch]:
    """The hatches whose eggs are still turned on a day."""
    return [
        hatch
        for hatch in flock.hatches_open()
        if hatch.alive > 0 and hatch.set_at.date() <= day <= turns_until(hatch).date()
    ]


def _day(at: date | datetime) -> date:
    return at.date() if isinstance(at, datetime) else at

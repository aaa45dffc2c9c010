"""What contradicts itself in what stands: machines, room, counts, dates."""

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from itertools import combinations

from quailwright.flock.state import Flock, Hatch
from quailwright.guide import wording
from quailwright.guide.occasions import (
    ends,
    misdated_hatchings,
    misdated_words,
    surplus_cocks,
    turns_until,
)
from quailwright.guide.room import birds_by_age, standard_of
from quailwright.guide.signs.sign import Sign
from quailwright.husbandry import facts, housing
from quailwright.journal.moments import as_date, day_text
from quailwright.language import mark, say, say_many

TOLD_FOR = timedelta(days=14)
"""How long a difference in a count, or a contradiction, is told of."""


def signs_of_record(flock: Flock, on: date) -> Iterator[Sign]:
    """Everything that contradicts itself, or is too full, on the day `on`."""
    yield from _machines_that_clash(flock, on)
    yield from _machines_too_full(flock, on)
    yield from _hatches_overdue(flock, on)
    yield from _hatchings_misdated(flock, on)
    yield from _birds_in_a_machine(flock, on)
    yield from crowded(flock, on)
    yield from _too_many_cocks(flock, on)
    yield from _counts_that_differ(flock, on)
    yield from _contradictions(flock, on)


def _machines_that_clash(flock: Flock, on: date) -> Iterator[Sign]:
    """Two hatches in one machine, of which one must lie still while the other must be turned.

    Sources stop turning within some days of each other: sets no further apart lie down together.
    """
    stop = facts.figure("incubation.turning_stop_day")
    together = timedelta(days=(stop.high or 0.0) - (stop.low or 0.0))
    open_hatches = [h for h in flock.hatches_open() if h.alive > 0 and on <= ends(h).date()]
    for one, other in combinations(open_hatches, 2):
        first, second = sorted((one, other), key=turns_until)
        begins, over = turns_until(first), min(ends(first), turns_until(second))
        if first.place == second.place and begins + together < over and on <= over.date():
            yield Sign(
                mark("two hatches clash"),
                first.place,
                begins.date(),
                say(
                    "{first} lies still and wants more humidity from {begins}, while {second} must "
                    "be turned until {end}.",
                    first=first.name,
                    begins=wording.clock(begins),
                    second=second.name,
                    end=wording.clock(turns_until(second)),
                ),
                _way_out(flock, first, begins, on),
            )


def _way_out(flock: Flock, hatch: Hatch, by: datetime, on: date) -> str:
    hatchers = (
        place.name
        for place in flock.in_walking_order()
        if place.role == "hatcher" and not place.closed and place.name != hatch.place
    )
    where = next(hatchers, None) or say("another machine")
    if on > by.date():
        return say(
            "Move {hatch} to {machine} now, or turn the other one by hand.",
            hatch=hatch.name,
            machine=where,
        )
    return say(
        "Move {hatch} to {machine} by {when}, or turn the other one by hand.",
        hatch=hatch.name,
        machine=where,
        when=wording.clock(by),
    )


def _machines_too_full(flock: Flock, on: date) -> Iterator[Sign]:
    for place in flock.places.values():
        if place.capacity_eggs is None:
            continue
        inside = [h for h in flock.hatches_open() if h.place == place.name and on <= ends(h).date()]
        eggs = sum(hatch.alive for hatch in inside)
        if eggs > place.capacity_eggs:
            yield Sign(
                mark("machine too full"),
                place.name,
                max(hatch.set_at for hatch in inside).date(),
                say_many(
                    "{n} egg in a machine for {room}.",
                    "{n} eggs in a machine for {room}.",
                    eggs,
                    room=place.capacity_eggs,
                ),
                say("Air must reach every egg: take out clears, or use a second machine."),
            )


def _hatches_overdue(flock: Flock, on: date) -> Iterator[Sign]:
    for hatch in flock.hatches_open():
        over = ends(hatch).date()
        if on > over:
            left = max(0, hatch.alive - hatch.opened.total())
            day = wording.weekday(hatch.set_at)
            yield Sign(
                mark("hatch not closed"),
                hatch.name,
                over,
                say_many(
                    "It was set on {day}; nothing more is to be awaited. What became of {n} egg is "
                    "not logged.",
                    "It was set on {day}; nothing more is to be awaited. What became of {n} eggs "
                    "is not logged.",
                    left,
                    day=day,
                )
                if left
                else say("It was set on {day}; nothing more is to be awaited.", day=day),
                say("Open and log the eggs that are left, then log hatch_closed.")
                if left
                else say("Log hatch_closed."),
            )


def _hatchings_misdated(flock: Flock, on: date) -> Iterator[Sign]:
    """Chicks logged for a day on which none can come: ages and forecasts go by it."""
    for hatch in flock.hatches.values():
        for at in misdated_hatchings(hatch):
            if on <= max(at, ends(hatch)).date() + TOLD_FOR:
                yield Sign(
                    mark("hatching misdated"),
                    hatch.name,
                    at.date(),
                    say(
                        "Chicks logged on day {day} of {hatch}; Coturnix hatch on day {first} to "
                        "{last}.",
                        **misdated_words(hatch, at),
                    ),
                    say("Mend the date: retract that entry, and log it with the right `at`."),
                )


def _birds_in_a_machine(flock: Flock, on: date) -> Iterator[Sign]:
    """Grown birds where eggs belong; chicks may dry there for a day or two."""
    drying = facts.value("brooding.close_watch_until_d")
    for place in flock.places.values():
        if place.role not in ("incubator", "hatcher"):
            continue
        for group in flock.groups_at(place.name):
            age = group.age_days(on)
            if group.alive.hens or group.alive.cocks or (age is not None and age > drying):
                yield Sign(
                    mark("birds in a machine"),
                    group.name,
                    group.placed or on,
                    say_many(
                        "{n} bird logged in {place}, where eggs belong.",
                        "{n} birds logged in {place}, where eggs belong.",
                        group.alive.total,
                        place=place.name,
                    ),
                    say("Mend the place: retract that entry, and log it with the right one."),
                )


def crowded(flock: Flock, on: date) -> Iterator[Sign]:
    """Birds with less room than the least that the sources give, or than the keeper's standard."""
    units = (flock.holding.units if flock.holding else None) or "metric"
    standard = standard_of(flock)
    for place in flock.places.values():
        groups = flock.groups_at(place.name)
        if not groups or place.floor_m2 is None:
            continue
        there = birds_by_age(flock, place, on)
        birds, floor = sum(number for _, number in there), wording.area(place.floor_m2, units)
        least = housing.least_m2(there)
        if least > place.floor_m2:
            evidence = say_many(
                "{n} bird on {floor}; at their age they need at least {needed}, and most "
                "keepers give adults far more.",
                "{n} birds on {floor}; at their age they need at least {needed}, and most "
                "keepers give adults far more.",
                birds,
                floor=floor,
                needed=wording.area(least, units),
            )
        elif (needed := housing.needed_m2(there, standard)) > place.floor_m2 and standard:
            evidence = say_many(
                "{n} bird on {floor}; by the standard that you keep to ({standard}) it needs "
                "{needed}.",
                "{n} birds on {floor}; by the standard that you keep to ({standard}) they need "
                "{needed}.",
                birds,
                floor=floor,
                standard=say(housing.STANDARDS[standard].name),
                needed=wording.area(needed, units),
            )
        else:
            continue
        yield Sign(
            mark("crowded"),
            place.name,
            max(group.placed or on for group in groups),
            evidence,
            say("Move some, or add floor; look for pecked heads and wet litter."),
        )


def _too_many_cocks(flock: Flock, on: date) -> Iterator[Sign]:
    """More cocks with the hens than is usual, from the age at which they fight."""
    usual = facts.figure("housing.hens_per_cock")
    table_age = facts.figure("care.table_age_d").low or 0.0
    for group in flock.groups_alive():
        age = group.age_days(on)
        if not group.alive.hens or (age is not None and age < table_age):
            continue
        if surplus_cocks(group):
            ratio = group.alive.hens / group.alive.cocks
            yield Sign(
                mark("many cocks"),
                group.name,
                group.sexed_on or group.since or on,
                say_many(
                    "{cocks} cocks with {n} hen ({ratio:.1f} hens a cock; usual is {low:g} to "
                    "{high:g}).",
                    "{cocks} cocks with {n} hens ({ratio:.1f} hens a cock; usual is {low:g} to "
                    "{high:g}).",
                    group.alive.hens,
                    cocks=group.alive.cocks,
                    ratio=ratio,
                    low=usual.low,
                    high=usual.high,
                ),
                say("Look for bald backs and pecked heads; part the cocks that are too many."),
            )


_NOT_ALARMING = ("feed_kg", "eggs_set")
"""Differences that `flock` shows and that are no sign: scoops are rough, and few log every egg."""


def _counts_that_differ(flock: Flock, on: date) -> Iterator[Sign]:
    for difference in flock.differences:
        if difference.what in _NOT_ALARMING or not timedelta(0) <= on - difference.day <= TOLD_FOR:
            continue
        missing = int(difference.amount) < 0
        text = _MISSING if missing else _MORE
        yield Sign(
            mark("count differs"),
            difference.of,
            difference.day,
            say(
                text,
                counted=difference.counted,
                what=say(difference.what),
                recorded=difference.recorded,
                amount=abs(int(difference.amount)),
            ),
            say("Count again; look for a hole or an open latch, and a death nobody logged.")
            if missing
            else say("Count again; look for an arrival or a hatch that nobody logged."),
        )


_MISSING = mark("{counted:g} {what} counted, {recorded:g} in the record: {amount} missing.")
_MORE = mark("{counted:g} {what} counted, {recorded:g} in the record: {amount} more.")


def _contradictions(flock: Flock, on: date) -> Iterator[Sign]:
    for finding in flock.findings:
        day = as_date(day_text(finding.at, flock.zone))
        if not timedelta(0) <= on - day <= TOLD_FOR:
            continue
        yield Sign(
            mark("kept against the record")
            if finding.forced
            else mark("record contradicts itself"),
            finding.field,
            day,
            say(finding.what),
            say(finding.mend),
        )

"""Room that runs short before birds move in, brooders outgrown, and heights that hurt heads."""

from collections.abc import Iterator
from datetime import date, timedelta

from quailwright.flock.state import Flock
from quailwright.guide import wording
from quailwright.guide.room import outgrown_soon, pens, short_of_room, standard_of
from quailwright.guide.signs.record import TOLD_FOR
from quailwright.guide.signs.sign import Sign
from quailwright.husbandry import facts, housing
from quailwright.language import mark, say, say_many


def signs_of_room(flock: Flock, on: date) -> Iterator[Sign]:
    """What is too small soon, or of a height in which birds hurt their heads, on the day `on`."""
    standard = standard_of(flock)
    yield from pens_short(flock, on, standard)
    yield from brooders_outgrown(flock, on, standard)
    yield from _heights(flock, on)


def pens_short(flock: Flock, on: date, standard: str | None) -> Iterator[Sign]:
    """Batches that move within some weeks and find too little room, by a standard or the least."""
    ahead = timedelta(days=facts.value("care.room_told_ahead_d"))
    for short in short_of_room(flock, on, standard):
        one = short.coming
        if on < one.moves_on - ahead:
            continue
        yield Sign(
            mark("pens too small soon"),
            one.name,
            min(on, max(one.moves_on - ahead, flock.first_day or on)),
            _how_many(short.birds, one.name, wording.when(one.moves_on, on), one.counted)
            + " "
            + _room(standard, short.room),
            say("Make room in time: another pen, more floor, or fewer birds kept."),
            (
                say("Half of a hatch are cocks: say now who takes those that are too many."),
                say("Before eggs are set again: fewer, or later."),
            ),
        )


def _how_many(birds: int, name: str, day: str, counted: bool) -> str:
    if counted:
        return say_many(
            "{n} bird of {name} moves to the pens about {day}.",
            "{n} birds of {name} move to the pens about {day}.",
            birds,
            name=name,
            day=day,
        )
    return say_many(
        "About {n} bird of {name} moves to the pens about {day}, by published rates of hatch.",
        "About {n} birds of {name} move to the pens about {day}, by published rates of hatch.",
        birds,
        name=name,
        day=day,
    )


def _room(standard: str | None, room: int) -> str:
    if standard is None:
        return say_many(
            "Once they are grown, the pens have room for {n} more, at the least that may be.",
            "Once they are grown, the pens have room for {n} more, at the least that may be.",
            room,
        )
    return say_many(
        "Once they are grown, the pens have room for {n} more by the standard ({standard}).",
        "Once they are grown, the pens have room for {n} more by the standard ({standard}).",
        room,
        standard=say(housing.STANDARDS[standard].name),
    )


def brooders_outgrown(flock: Flock, on: date, standard: str | None) -> Iterator[Sign]:
    """Brooders that will be too small within a week, by a standard or the least."""
    units = (flock.holding.units if flock.holding else None) or "metric"
    for soon in outgrown_soon(flock, on, standard):
        yield Sign(
            mark("brooder outgrown soon"),
            soon.place.name,
            on,
            say_many(
                "{n} bird on {floor}. From {day}, at {age} days of age, it needs {needed}.",
                "{n} birds on {floor}. From {day}, at {age} days of age, they need {needed}.",
                soon.birds,
                floor=wording.area(soon.place.floor_m2 or 0.0, units),
                day=wording.weekday(soon.day),
                age=soon.age_d,
                needed=wording.area(soon.needed_m2, units),
            ),
            say("Add floor, or part them over two brooders, by then."),
        )


def _heights(flock: Flock, on: date) -> Iterator[Sign]:
    """A pen between low and tall, for some days after birds moved in; a rule may ask for it."""
    units = (flock.holding.units if flock.holding else None) or "metric"
    standard = standard_of(flock)
    low, high = facts.figure("housing.height_low_m").high, facts.figure("housing.height_high_m").low
    for place in pens(flock, on):
        groups = flock.groups_at(place.name)
        if place.height_m is None or housing.height_class(place.height_m) != "between":
            continue
        if not groups or housing.height_asked(place.height_m, standard):
            continue
        since = max(group.placed or on for group in groups)
        if on <= since + TOLD_FOR:
            yield Sign(
                mark("height between"),
                place.name,
                since,
                say(
                    "It is {height} high. Keepers build low, up to {low}, or tall, from {high}: in "
                    "between, birds that fly up in a fright hurt their heads. Some rules ask for a "
                    "height in between all the same.",
                    height=wording.height(place.height_m, units),
                    low=wording.height(low or 0.0, units),
                    high=wording.height(high or 0.0, units),
                ),
                say("Hang something soft under the roof, and give them cover to run to."),
            )

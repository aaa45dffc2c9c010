"""How warm and cold brooders and pens were, against what birds of that age want.

In a brooder it matters where the thermometer lay: under the heat birds want warmth by age; away
from it the air may be cooler, and below a limit a chick that strays there chills. Where nobody
said, the gentler limit holds. Never a diagnosis.
"""

from collections.abc import Iterator, Sequence
from datetime import date, datetime, timedelta
from typing import NamedTuple

from quailwright.flock.state import AirSeen, Flock, Group
from quailwright.guide import wording
from quailwright.guide.signs.sign import Sign
from quailwright.guide.signs.whom import whom_to_ring
from quailwright.husbandry import brooding, facts
from quailwright.journal.moments import instant
from quailwright.language import mark, say

_HOUR = timedelta(hours=1)


def signs_of_air(flock: Flock, on: date, air: Sequence[AirSeen] = ()) -> Iterator[Sign]:
    """Places with birds that were too cold or too warm, and chicks whose warmth nobody reads.

    `air` is what sensors told of the last days.
    """
    told_for = timedelta(days=facts.value("signs.air_told_d"))
    seen = air_seen(flock, air, on - told_for)
    for place in flock.in_walking_order():
        groups = [group for group in flock.groups_at(place.name) if place.role != "egg_store"]
        if not groups or place.role in ("incubator", "hatcher"):
            continue
        here = [one for one in seen if one.place == place.name]
        ages = [group.age_days(on) for group in groups]
        known = [age for age in ages if age is not None]
        brooded = place.role == "brooder" or (
            len(known) == len(ages) and max(known) < facts.value("brooding.heat_end_age_d")
        )
        if brooded:
            yield from _too_cold_for_chicks(flock, place.name, groups, here, on)
            yield from _too_hot_for_chicks(flock, place.name, groups, here)
            yield from _not_read(flock, place.name, groups, here, on)
        else:
            yield from _pen_too_hot(flock, place.name, here)
            yield from _pen_too_cold(flock, place.name, here)


# What was seen.


def air_seen(flock: Flock, air: Sequence[AirSeen], since: date) -> list[AirSeen]:
    """Every lowest and highest from `since` on: read, told of an outage, or by a sensor."""
    found = [one for one in air if one.at.date() >= since]
    for read in reversed(flock.air):
        if read.at.date() < since:
            break
        found.append(read)
    for day, outage in reversed(flock.outages):
        if day < since:
            break
        if outage.lowest_c is not None or outage.highest_c is not None:
            # A failure told of by its day alone may have lasted into the night.
            at = instant(outage.at, flock.zone, _EVENING)
            found.append(AirSeen(at, outage.place, outage.lowest_c, outage.highest_c, None))
    return sorted(found, key=lambda one: one.at)


def that_cover(seen: Sequence[AirSeen], place: str, morning: date) -> list[AirSeen]:
    """What was seen at a place that tells of the night before a morning.

    A thermometer keeps its lowest until somebody looks: at each spot all that was read that day
    and the next reading after it tell of the night, and of an outage what was told the evening
    before does too.
    """
    late = morning + timedelta(days=facts.value("signs.deaths_told_d"))
    found: list[AirSeen] = []
    after: set[str | None] = set()
    for one in seen:
        day = one.at.date()
        if one.place != place or not morning - timedelta(days=1) <= day <= late:
            continue
        if day < morning:
            if one.at.hour >= _EVENING:
                found.append(one)
        elif day == morning or one.spot not in after:
            found.append(one)
            after.add(one.spot)
    return found


_EVENING = 18
"""Hour of the day before from which what was seen belongs to the night."""


class Limits(NamedTuple):
    """Temperatures [°C] that birds of an age bear at a spot: below `low` and above `high` harms."""

    low: float
    high: float


def limits(age_d: int, spot: str | None) -> Limits:
    """What chicks of an age bear under the heat (`heated`) or elsewhere in the brooder."""
    wants_low, wants_high = brooding.heat_range_c(age_d)
    if spot == "heated":
        return Limits(
            wants_low - facts.value("signs.air_heated_short_c"),
            wants_high + facts.value("signs.air_heated_over_c"),
        )
    low = brooding.danger_away_c(age_d)
    if spot == "room":
        # Beside a heater the room may be cooler than what strays bear: the brooder is warmer.
        low = min(low, facts.value("brooding.danger_day_21_c"))
    return Limits(
        low,
        wants_high + facts.value("signs.air_away_over_c" if spot else "signs.air_heated_over_c"),
    )


def coldest_that_harms(seen: Sequence[AirSeen], age_d: int) -> tuple[AirSeen, float, float] | None:
    """The reading furthest below what chicks of that age bear there, its lowest and the limit."""
    worst = None
    for one in seen:
        limit = limits(age_d, one.spot).low
        if one.lowest_c is not None and one.lowest_c < limit:
            short = limit - one.lowest_c
            if worst is None or short > worst[2] - worst[1]:
                worst = (one, one.lowest_c, limit)
    return worst


def hottest_that_harms(seen: Sequence[AirSeen], age_d: int) -> tuple[AirSeen, float, float] | None:
    """The reading furthest above what chicks of that age bear there, its highest and the limit."""
    worst = None
    for one in seen:
        limit = limits(age_d, one.spot).high
        if one.highest_c is not None and one.highest_c > limit:
            over = one.highest_c - limit
            if worst is None or over > worst[1] - worst[2]:
                worst = (one, one.highest_c, limit)
    return worst


# Brooders.


def _too_cold_for_chicks(
    flock: Flock, place: str, groups: Sequence[Group], here: Sequence[AirSeen], on: date
) -> Iterator[Sign]:
    units = flock.units
    found = [
        (one, worst)
        for one in here
        if (age := _youngest_then(groups, one.at.date())) is not None
        and (worst := coldest_that_harms([one], age)) is not None
        and not (one.spot == "room" and _heat_at_work(flock, place, groups, here, one))
    ]
    if not found:
        return
    one, (_, lowest, limit) = max(found, key=lambda pair: pair[1][2] - pair[1][1])
    age = _youngest_then(groups, one.at.date()) or 0
    wants = wording.heats(*brooding.heat_range_c(age), units)
    text = _COLD_UNDER if one.spot == "heated" else _COLD_ROOM if one.spot == "room" else _COLD_AWAY
    yield Sign(
        mark("brooder too cold"),
        place,
        min(each.at.date() for each, _ in found),
        say(
            text,
            lowest=wording.temperature(lowest, units),
            day=wording.weekday(one.at.date()),
            age=age,
            limit=wording.temperature(limit, units),
            wants=wants,
        ),
        say(
            "Before tonight: feel whether the heat is on, measure at chick height under it (it "
            "wants {wants}) and in the coldest corner, and shut off the cold part or warm the "
            "room, so that no chick can stray out of the heat.",
            wants=wording.heats(*brooding.heat_range_c(_youngest_then(groups, on) or 0), units),
        ),
        (
            say("Draughts at floor height, a damp floor, and a lid that lets the warmth out."),
            say("Look at dusk, before bed and at dawn: a huddle is cold, a spread flock is well."),
            say(HEATER_SAFELY),
        ),
        ring=say(
            "If chicks die although two nights were warm enough, ring {who}.",
            who=whom_to_ring(flock),
        ),
    )


def _heat_at_work(
    flock: Flock, place: str, groups: Sequence[Group], here: Sequence[AirSeen], room: AirSeen
) -> bool:
    """Whether a cold room is one that a heater makes up for: a room is not where chicks lie.

    What was read under the heat that day or since tells; where nothing was, a heater told of the
    place does, unless it failed.
    """
    day = room.at.date()
    under = [
        one for one in here if one.spot == "heated" and one.lowest_c is not None
        and one.at.date() >= day - timedelta(days=1)
    ]  # fmt: skip
    if under:
        return all(
            coldest_that_harms([one], _youngest_then(groups, one.at.date()) or 0) is None
            for one in under
        )
    failed = any(
        outage.place == place and day - timedelta(days=1) <= when for when, outage in flock.outages
    )
    told = flock.places.get(place)
    return not failed and told is not None and bool(told.heater_w)


_COLD_UNDER = mark(
    "{lowest} under the heat ({day}): at {age} days they want {wants} there, and below {limit} is "
    "too cold for all of them."
)
_COLD_AWAY = mark(
    "{lowest} away from the heat ({day}): at {age} days a chick that strays there chills below "
    "about {limit}; under the heat they want {wants}."
)
_COLD_ROOM = mark(
    "{lowest} in the room ({day}): at {age} days a chick that strays from the heat chills below "
    "about {limit}; under the heat they want {wants}."
)
HEATER_SAFELY = mark(
    "A heater put in for the night: held twice, clear of bedding and of anything that burns, on a "
    "socket with a residual-current device, and never one that burns fuel in a closed room."
)


def _too_hot_for_chicks(
    flock: Flock, place: str, groups: Sequence[Group], here: Sequence[AirSeen]
) -> Iterator[Sign]:
    """Too hot to bear; or, late in the brooding, warmer all night than the age wants."""
    units = flock.units
    late_from = facts.value("signs.air_heat_late_from_d")
    harmful, late = [], []
    for one in here:
        age = _youngest_then(groups, one.at.date())
        if age is None:
            continue
        worst = hottest_that_harms([one], age)
        if worst is not None:
            harmful.append((one, age, *worst[1:]))
        wants_high = brooding.heat_range_c(age)[1]
        if age >= late_from and one.lowest_c is not None and one.lowest_c > wants_high:
            late.append((one, age))
    if harmful:
        one, age, highest, limit = max(harmful, key=lambda each: each[2] - each[3])
        yield Sign(
            mark("brooder too hot"),
            place,
            min(each[0].at.date() for each in harmful),
            say(
                _HOT_UNDER if one.spot in ("heated", None) else _HOT_AWAY,
                highest=wording.temperature(highest, units),
                day=wording.weekday(one.at.date()),
                age=age,
                limit=wording.temperature(limit, units),
                wants=wording.heats(*brooding.heat_range_c(age), units),
            ),
            say(
                "Now: raise or turn down the heat and leave them a cool end to go to; water within "
                "reach of all. Panting and chicks pressed to the far edge say it is too hot."
            ),
            (
                say("Sun on the box, a lid without holes, a thermostat that sticks."),
                say("Measure again at noon and at night."),
            ),
            ring=say(
                "If chicks go on dying in the right warmth, ring {who}.", who=whom_to_ring(flock)
            ),
        )
    elif late:
        one, age = late[-1]
        yield Sign(
            mark("heat kept too high"),
            place,
            late[0][0].at.date(),
            say(
                "Never below {lowest} ({day}); at {age} days they want {wants}.",
                lowest=wording.temperature(one.lowest_c or 0.0, units),
                day=wording.weekday(one.at.date()),
                age=age,
                wants=wording.heats(*brooding.heat_range_c(age), units),
            ),
            say(
                "Step the heat down, a little each day: birds that are kept too warm feather "
                "late and chill when they go out."
            ),
            (say("They spread and sleep apart when it is right; a huddle means a step too far."),),
        )


_HOT_UNDER = mark(
    "{highest} in the brooder ({day}): at {age} days they want {wants} under the heat, and above "
    "{limit} is too hot."
)
_HOT_AWAY = mark(
    "{highest} away from the heat ({day}): at {age} days they want {wants} under it, and above "
    "{limit} at the cool end they have nowhere to go."
)


def _not_read(
    flock: Flock, place: str, groups: Sequence[Group], here: Sequence[AirSeen], on: date
) -> Iterator[Sign]:
    """Chicks in their first days whose brooder nobody has measured for a while."""
    age = _youngest_then(groups, on)
    watched = facts.value("brooding.close_watch_until_d")
    if age is None or age > watched:
        return
    hours = facts.value("signs.air_unread_h")
    placed = max(group.placed or on for group in groups)
    looks = [
        ticks[-1]
        for task in _LOOKED
        if (ticks := flock.care.get((task, place), flock.care.get((task, ""), [])))
    ]
    inside = (one.at.date() for one in here if one.spot != "room")
    since = max([placed, *looks, *inside])
    end = datetime.combine(on, datetime.min.time()) + timedelta(days=1)
    if end - datetime.combine(since, datetime.min.time()) - timedelta(hours=12) < hours * _HOUR:
        return
    units = flock.units
    yield Sign(
        mark("warmth not measured"),
        place,
        since,
        say(
            "Chicks of {age} days, and neither a temperature nor a look noted since {day}.",
            age=age,
            day=wording.weekday(since),
        ),
        say(
            "Put a thermometer that keeps its lowest and highest at chick height, away from the "
            "heat, and note both tomorrow at dawn; under the heat they want {wants}.",
            wants=wording.heats(*brooding.heat_range_c(age), units),
        ),
        (say("A second one under the heat tells a plate that fails from a room that is cold."),),
    )


_LOOKED = ("brooder_check", "brooder_feed_water")
"""Tasks of which a tick says that somebody saw how the chicks lie."""


def _youngest_then(groups: Sequence[Group], day: date) -> int | None:
    ages = [age for group in groups if (age := group.age_days(day)) is not None]
    return min(ages, default=None)


# Pens.


def _pen_too_hot(flock: Flock, place: str, here: Sequence[AirSeen]) -> Iterator[Sign]:
    feed_falls = facts.value("housing.heat_intake_falls_c")
    lay_kept = facts.value("housing.heat_lay_none_c")
    units = flock.units
    hot = [one for one in here if one.highest_c is not None and one.highest_c > lay_kept]
    if not hot:
        return
    one = max(hot, key=lambda each: each.highest_c or 0.0)
    yield Sign(
        mark("pen too hot"),
        place,
        hot[0].at.date(),
        say(
            "{highest} ({day}). From {feed} they eat less; above {lay} held for hours lay and "
            "fertility fall, and birds in still air can die.",
            highest=wording.temperature(one.highest_c or 0.0, units),
            day=wording.weekday(one.at.date()),
            feed=wording.temperature(feed_falls, units),
            lay=wording.temperature(lay_kept, units),
        ),
        say(
            "Cool water in the shade now, filled twice a day, and shade over the roof before the "
            "next noon; move air across the birds."
        ),
        (
            say("Drinkers and hoses that lie in the sun: the water in them is hot."),
            say("Feed in the cool hours; gather eggs more often, hatching eggs first of all."),
            say("Do not move, catch or crowd birds in the heat of the day."),
        ),
        ring=say("If birds lie down, or more than one dies, ring {who}.", who=whom_to_ring(flock)),
    )


def _pen_too_cold(flock: Flock, place: str, here: Sequence[AirSeen]) -> Iterator[Sign]:
    limit = facts.value("housing.cold_limit_c")
    units = flock.units
    cold = [one for one in here if one.lowest_c is not None and one.lowest_c < limit]
    if not cold:
        return
    one = min(cold, key=lambda each: each.lowest_c or 0.0)
    yield Sign(
        mark("pen too cold"),
        place,
        cold[0].at.date(),
        say(
            "{lowest} ({day}). Dry birds out of the wind bear {limit}, and keepers differ on how "
            "much more; wet with wind is what kills.",
            lowest=wording.temperature(one.lowest_c or 0.0, units),
            day=wording.weekday(one.at.date()),
            limit=wording.temperature(limit, units),
        ),
        say(
            "Water that is not frozen, morning and evening; deep dry bedding; the wind kept off "
            "the sides, with an opening above for the damp."
        ),
        (
            say("Feed before dusk: a full crop warms through the night."),
            say(
                "Feel the bedding: damp, and a draught at the birds' height, chill more than cold."
            ),
            say(HEATER_SAFELY),
        ),
        ring=say("If birds lie still and cold, warm them and ring {who}.", who=whom_to_ring(flock)),
    )

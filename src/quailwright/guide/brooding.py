"""What a brooder needs: heat by age in its own room, what its heater holds, and when heat can end.

The heat balance stands in `husbandry.heat_balance`. Here it is asked for these birds, this box and
this room, week by week; minima and maxima that were logged are held against what was wanted.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import NamedTuple

from quailwright.flock.state import Flock
from quailwright.husbandry import facts
from quailwright.husbandry import heat_balance as balance
from quailwright.husbandry.age import DAYS_A_WEEK, week_of_life
from quailwright.husbandry.brooding import danger_away_c, danger_c, heat_c, heat_range_c
from quailwright.husbandry.growth import mass_g
from quailwright.husbandry.heat_balance import Box, Case
from quailwright.journal.entries import Spot

LAST_WEEK = 6
"""Of life, to which heat is told: the longest of any source (``brooding.heat_end_age_d``)."""
ROOM_DAYS, NIGHT_DAYS, SEEN_DAYS = 7, 14, 14
"""So many days back the room, the nights of pens and the brooder's log are looked at."""
_CASES: tuple[Case, ...] = ("least", "usual", "most")
_FOAM_M = 0.03
ROOM_CHANGE_K = 5.0
"""Of "what would change it": a usual board of foam, and a room so much warmer or colder."""


class Air(NamedTuple):
    """Lowest and highest temperature of a day at a place, and by what it is known."""

    day: date
    place: str
    lowest_c: float | None
    highest_c: float | None
    spot: Spot | None
    by_readings: bool = False


class Span(NamedTuple):
    """A figure of the box that loses least heat, the usual one, and the one that loses most."""

    least: float
    usual: float
    most: float


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked; None or "" where it is left to the journal.

    Attributes:
        group, place: whose heat, and where.
        birds, age_d: number and age, in the stead of the group's.
        room_c: of the room, in the stead of what was seen.
        rooms_c: of the room by month to come ("2027-06"), where that is told.
        box: of the brooder; None: nothing is reckoned with watts.
        watts: of the heater.
        price: of a kilowatt-hour.
        nights_c: lowest night to come by month ("2027-05").
    """

    group: str = ""
    place: str = ""
    birds: int | None = None
    age_d: int | None = None
    room_c: float | None = None
    box: Box | None = None
    watts: float | None = None
    price: float | None = None
    nights_c: Mapping[str, float] = field(default_factory=dict)
    rooms_c: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Week:
    """A week of life from the day `first`: what is wanted at chick level, and what it takes.

    Attributes:
        week: of life, 1 for the first.
        wanted_c, low_c, high_c: reckoned with, and as far as sources differ.
        room_c: mean of the room, as told of its month, else as it is now; None: not known.
        birds_w: heat of all birds at the beginning of it [W].
        needed_w: heater, in the coldest of the room; None without box or room.
        duty: part of the time that the heater is on in the mean of the room; None without watts.
        kwh_a_day: in the mean of the room.
        enough: whether the heater holds it: "yes" even in the box that loses most, "likely" in the
            usual one, "perhaps" in the one that loses least, "no"; None where it is not known.
    """

    week: int
    first: date
    wanted_c: float
    low_c: float
    high_c: float
    room_c: float | None
    birds_w: float
    needed_w: Span | None
    duty: float | None
    kwh_a_day: Span | None
    enough: str | None


@dataclass(frozen=True, slots=True)
class PowerCut:
    """How long the box stays warm without power, in hours from the warmth that is held.

    `to_cold_h` until it is colder than any source wants, `to_danger_h` until the danger line:
    (soonest, usual, latest), infinite where the birds keep it warmer.
    """

    from_c: float
    room_c: float
    cold_c: float
    danger_c: float
    danger_low_c: float
    to_cold_h: Span
    to_danger_h: Span


class Changed(NamedTuple):
    """The watts that would be needed if one thing were otherwise."""

    what: str
    needed_w: float


@dataclass(frozen=True, slots=True)
class SeenDay:
    """What a thermometer of the brooder showed on a day, against what was wanted.

    `verdict`: "cold" (colder than any source wants under the heat), "danger" (at or below the
    danger line under the heat, or in air in which strays died), "hot" (warmer than any source
    wants), else "well".
    """

    air: Air
    age_d: int
    wanted_c: float
    low_c: float
    high_c: float
    danger_c: float
    verdict: str


@dataclass(frozen=True, slots=True)
class Nights:
    """The nights of a pen, or of a month as the keeper told it.

    Attributes:
        of: the pen, or the month ("2027-05").
        lowest_c: the coldest.
        nights: how many were seen; 0: it was told.
    """

    of: str
    lowest_c: float
    nights: int


@dataclass(frozen=True, slots=True)
class Out:
    """When heat can end and birds can go out.

    Attributes:
        room_enough_on: from that day the coldest of the room is as warm as is wanted; None: it
            never is, or the room is not known.
        feathered_on: earliest and usual day.
        heat_ends_on: indoors, earliest by keepers and latest by any source.
        out_on: earliest and latest day by keepers.
        nights: known, coldest first.
        allows: "yes", "in groups", "no", or None where no night is known.
    """

    room_enough_on: date | None
    feathered_on: tuple[date, date]
    heat_ends_on: tuple[date, date]
    out_on: tuple[date, date]
    nights: tuple[Nights, ...]
    allows: str | None


@dataclass(frozen=True, slots=True)
class Brooding:
    """All of it.

    Attributes:
        group, place: "" where none is meant.
        room_c, room_low_c: mean and coldest; `room_told` whether the keeper just told it, else it
            was seen on `room_seen` days.
        held_c: that the heater and the birds hold in the mean of the room (colder, usual, warmer).
        needed_w: now, in the coldest of the room.
        kwh: from today until heat usually ends.
        heat_days: those days.
    """

    on: date
    group: str
    place: str
    birds: int
    age_d: int
    hatched_on: date
    asked: Asked
    room_c: float | None
    room_low_c: float | None
    room_told: bool
    room_seen: int
    held_c: Span | None
    weeks: tuple[Week, ...]
    kwh: Span | None
    heat_days: int
    cut: PowerCut | None
    changes: tuple[Changed, ...]
    seen: tuple[SeenDay, ...]
    out: Out


def air_seen(flock: Flock) -> list[Air]:
    """What was read off thermometers and written down, by day."""
    return [
        Air(one.at.date(), one.place, one.lowest_c, one.highest_c, one.spot) for one in flock.air
    ]


def brooding(flock: Flock, on: date, asked: Asked, air: Sequence[Air]) -> Brooding:
    """The brooding of a group, or of chicks that are still to come.

    Args:
        flock: folded up to the day `on`.
        asked: what is asked: names in it are known ones.
        air: lowest and highest by day, of every place.

    Raises:
        ValueError: a figure that cannot be.
    """
    group = flock.groups.get(asked.group)
    age_d = asked.age_d
    if age_d is None:
        age_d = (group.age_days(on) if group is not None else None) or 0
    birds = asked.birds
    if birds is None:
        birds = group.alive.total if group is not None else 0
    known = [one for one in air if one.day <= on]
    room_c, room_low_c, room_seen = _room(asked, on, known)
    hatched_on = on - timedelta(days=age_d)
    weeks = tuple(
        _week(asked, birds, max(age_d, (week - 1) * DAYS_A_WEEK), hatched_on, room_c, room_low_c)
        for week in range(week_of_life(age_d), LAST_WEEK + 1)
    )
    heat_days = max(0, round(facts.value("brooding.heat_end_age_d")) - age_d)
    return Brooding(
        on,
        asked.group,
        asked.place,
        birds,
        age_d,
        hatched_on,
        asked,
        room_c,
        room_low_c,
        room_c is not None and not room_seen,
        room_seen,
        _held(asked, birds, age_d, room_c),
        weeks,
        _energy(asked, birds, age_d, heat_days, on, room_c),
        heat_days,
        _power_cut(asked, birds, age_d, room_low_c),
        _changes(asked, birds, age_d, room_low_c),
        _seen(asked.place, on, hatched_on, known),
        _out(flock, asked, hatched_on, on, room_low_c, known),
    )


def birds_w(birds: int, age_d: int) -> Span:
    """Heat of so many birds [W]: low, middle and high, the low one of the box that loses most."""
    low, middle, high = balance.bird_heat_w(age_d, mass_g(age_d, "chick"))
    return Span(birds * high, birds * middle, birds * low)


def _kg(birds: int, age_d: int) -> float:
    return birds * mass_g(age_d, "chick") / 1000.0


def _needed(box: Box, birds: int, age_d: int, room_c: float) -> Span:
    """Watts that hold what is wanted at this age."""
    heat, kg = birds_w(birds, age_d), _kg(birds, age_d)
    return Span(
        *(
            float(
                balance.watts_needed(
                    balance.losses(box, kg, case), heat_c(age_d), room_c, getattr(heat, case)
                )
            )
            for case in _CASES
        )
    )


def _held(asked: Asked, birds: int, age_d: int, room_c: float | None) -> Span | None:
    if asked.box is None or asked.watts is None or room_c is None:
        return None
    heat, kg = birds_w(birds, age_d), _kg(birds, age_d)
    least, usual, most = (
        balance.air_held_c(
            balance.losses(asked.box, kg, case), asked.watts + getattr(heat, case), room_c
        )
        for case in _CASES
    )
    return Span(most, usual, least)


def _room(asked: Asked, on: date, air: Sequence[Air]) -> tuple[float | None, float | None, int]:
    """Mean and coldest of the room, and on how many days it was seen."""
    told = asked.room_c if asked.room_c is not None else _room_on(asked, on, None)
    if told is not None:
        return told, told, 0
    since = on - timedelta(days=ROOM_DAYS)
    seen = [
        one for one in air if one.place == asked.place and one.spot == "room" and one.day > since
    ]
    lows = [one.lowest_c for one in seen if one.lowest_c is not None]
    both = lows + [one.highest_c for one in seen if one.highest_c is not None]
    if not both:
        return None, None, 0
    return sum(both) / len(both), min(both), len({one.day for one in seen})


def _room_on(asked: Asked, day: date, otherwise: float | None) -> float | None:
    """The room on a day to come: as told of its month, else as it is now."""
    return asked.rooms_c.get(f"{day:%Y-%m}", otherwise)


def _week(
    asked: Asked,
    birds: int,
    age_d: int,
    hatched_on: date,
    room_c: float | None,
    room_low_c: float | None,
) -> Week:
    low, high = heat_range_c(age_d)
    first = hatched_on + timedelta(days=age_d)
    room_c, room_low_c = _room_on(asked, first, room_c), _room_on(asked, first, room_low_c)
    needed = kwh = duty = enough = None
    if asked.box is not None and room_c is not None and room_low_c is not None:
        needed = _needed(asked.box, birds, age_d, room_low_c)
        mean = _needed(asked.box, birds, age_d, room_c)
        kwh = _capped(mean, asked.watts, balance.HOURS_A_DAY)
        if asked.watts is not None:
            duty = min(1.0, mean.usual / asked.watts)
            enough = _enough(needed, asked.watts)
    return Week(
        week_of_life(age_d),
        first,
        heat_c(age_d),
        low,
        high,
        room_c,
        birds_w(birds, age_d).usual,
        needed,
        duty,
        kwh,
        enough,
    )


def _enough(needed: Span, watts: float) -> str:
    if watts >= needed.most:
        return "yes"
    if watts >= needed.usual:
        return "likely"
    return "perhaps" if watts >= needed.least else "no"


def _capped(watts: Span, most: float | None, hours: float) -> Span:
    """Energy of so many hours [kWh]: no heater gives more than it has."""
    capped = [min(each, most) if most is not None else each for each in watts]
    return Span(*(balance.kilowatt_hours(each, hours) for each in capped))


def _energy(
    asked: Asked, birds: int, age_d: int, days: int, on: date, room_c: float | None
) -> Span | None:
    if asked.box is None or room_c is None:
        return None
    by_day = []
    for age in range(age_d, age_d + days):
        room = _room_on(asked, on + timedelta(days=age - age_d), room_c)
        needed = _needed(asked.box, birds, age, room_c if room is None else room)
        by_day.append(_capped(needed, asked.watts, balance.HOURS_A_DAY))
    return Span(*(sum(day[case] for day in by_day) for case in range(len(_CASES))))


def _power_cut(asked: Asked, birds: int, age_d: int, room_c: float | None) -> PowerCut | None:
    if asked.box is None or room_c is None:
        return None
    held = _held(asked, birds, age_d, room_c)
    from_c = heat_c(age_d) if held is None else min(heat_c(age_d), held.usual)
    cold_c, (line_c, line_low_c) = heat_range_c(age_d)[0], danger_c(age_d)
    heat, kg = birds_w(birds, age_d), _kg(birds, age_d)

    def hours(to_c: float, case: Case, box: Box) -> float:
        capacity = balance.heat_capacity_j_k(box, kg, case)
        lost = balance.losses(box, kg, case)
        return balance.hours_to_cool(lost, capacity, getattr(heat, case), from_c, to_c, room_c)

    cold = [hours(cold_c, case, asked.box) for case in _CASES]
    danger = [hours(line_c, case, asked.box) for case in _CASES]
    return PowerCut(
        from_c, room_c, cold_c, line_c, line_low_c, Span(*cold[::-1]), Span(*danger[::-1])
    )


def _changes(asked: Asked, birds: int, age_d: int, room_c: float | None) -> tuple[Changed, ...]:
    """The watts needed in the usual case, each with one thing otherwise."""
    box = asked.box
    if box is None or room_c is None:
        return ()
    others: list[tuple[str, Box, float]] = []
    if box.wall not in ("eps", "xps"):
        others.append(("foam", replace(box, wall="eps", thickness_m=_FOAM_M), room_c))
    others.append(("thicker", balance.thicker(box, box.thickness_m), room_c))
    others += [
        (f"lid {lid}", replace(box, lid=lid), room_c) for lid in balance.LIDS if lid != box.lid
    ]
    others.append(("room warmer", box, room_c + ROOM_CHANGE_K))
    others.append(("room colder", box, room_c - ROOM_CHANGE_K))
    return tuple(
        Changed(what, _needed(other, birds, age_d, room).usual) for what, other, room in others
    )


def _seen(place: str, on: date, hatched_on: date, air: Sequence[Air]) -> tuple[SeenDay, ...]:
    since = max(hatched_on, on - timedelta(days=SEEN_DAYS - 1))
    found = [one for one in air if one.place == place and since <= one.day and one.spot != "room"]
    return tuple(
        _against(one, (one.day - hatched_on).days)
        for one in sorted(found, key=lambda one: (one.day, one.spot or "", one.by_readings))
    )


def _against(air: Air, age_d: int) -> SeenDay:
    low_c, high_c = heat_range_c(age_d)
    line_c = danger_c(age_d)[0] if air.spot == "heated" else danger_away_c(age_d)
    verdict = "well"
    if air.highest_c is not None and air.highest_c > high_c and air.spot != "away":
        verdict = "hot"
    if air.lowest_c is not None and air.lowest_c < low_c and air.spot == "heated":
        verdict = "cold"
    if air.lowest_c is not None and air.lowest_c <= line_c:
        verdict = "danger"
    return SeenDay(air, age_d, heat_c(age_d), low_c, high_c, line_c, verdict)


def _out(
    flock: Flock,
    asked: Asked,
    hatched_on: date,
    on: date,
    room_low_c: float | None,
    air: Sequence[Air],
) -> Out:
    def day(key: str, end: int) -> date:
        return hatched_on + timedelta(days=round(facts.spread(key)[end]))

    enough = None
    if room_low_c is not None:
        for age in range(round(facts.spread("brooding.heat_end_age_d")[1]) + 1):
            then = hatched_on + timedelta(days=age)
            room = _room_on(asked, then, room_low_c)
            if enough is None and room is not None and heat_c(age) <= room:
                enough = then
    out_on = (day("brooding.out_from_d", 0), day("brooding.out_from_d", 1))
    nights = _nights(flock, asked, out_on, on, air)
    allows = None
    if nights:
        coldest = nights[0].lowest_c
        low, high = facts.spread("brooding.night_out_c")
        allows = "yes" if coldest >= high else "in groups" if coldest >= low else "no"
    return Out(
        enough,
        (day("brooding.feathered_d", 0), day("brooding.feathered_d", 1)),
        (day("brooding.heat_off_indoors_d", 0), day("brooding.heat_end_age_d", 1)),
        out_on,
        nights,
        allows,
    )


def _nights(
    flock: Flock, asked: Asked, out_on: tuple[date, date], on: date, air: Sequence[Air]
) -> tuple[Nights, ...]:
    """What was told of the months in which they may go out; else what was seen in pens of late."""
    months = {f"{day:%Y-%m}" for day in out_on}
    told = [Nights(month, lowest, 0) for month, lowest in asked.nights_c.items() if month in months]
    if told:
        return tuple(sorted(told, key=lambda one: one.lowest_c))
    since = on - timedelta(days=NIGHT_DAYS)
    by_pen: dict[str, list[Air]] = {}
    for one in air:
        place = flock.places.get(one.place)
        if place is not None and place.role == "pen" and one.day > since:
            by_pen.setdefault(one.place, []).append(one)
    seen = [
        Nights(pen, lowest, len({one.day for one in found}))
        for pen, found in by_pen.items()
        if math.isfinite(
            lowest := min(
                (one.lowest_c for one in found if one.lowest_c is not None), default=math.inf
            )
        )
    ]
    return tuple(sorted(seen, key=lambda one: one.lowest_c))

"""The light of a flock: its day, its lamp, and how to set the timer to the hours wanted."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, tzinfo

import numpy as np
from numpy.typing import NDArray

from quailwright.flock.light import latitude_of, longitude_of, share_of_full_lay
from quailwright.flock.state import Flock
from quailwright.guide.occasions import clock_change, lamp_told
from quailwright.husbandry import facts
from quailwright.husbandry.daylight import (
    HOURS_A_DAY,
    Halves,
    Sun,
    noon_shift_days,
    sun_halves,
    sun_on,
)
from quailwright.husbandry.lamp import (
    End,
    Setting,
    Span,
    lamp_hours,
    lamp_settings,
    lit_by_day,
    lit_by_settings,
    most_light_h,
)
from quailwright.husbandry.laying import hen_day_rate
from quailwright.journal.findings import BadInput
from quailwright.journal.moments import zone
from quailwright.language import mark, say

Array = NDArray[np.float64]

USUAL_DAYS = 366
MOST_DAYS = 2 * 366
_BEFORE = 120
"""Days before the first from which the answer to light is followed."""
_HALF = 0.5
_W_IN_KW = 1000.0


@dataclass(frozen=True, slots=True)
class Ask:
    """What is asked of the light, None for what the holding tells.

    Attributes:
        hours: of light wanted [h].
        until: the last day.
        end: the end of the day at which the lamp burns.
        watts: of the lamp [W]; `price`: of a kilowatt hour, in the holding's currency.
    """

    hours: float | None = None
    until: date | None = None
    end: End | None = None
    watts: float | None = None
    price: float | None = None


@dataclass(frozen=True, slots=True)
class Place:
    """Where the flock lives, and by what clock. `by_zone`: by its time zone's city only."""

    latitude_deg: float
    longitude_deg: float
    zone: tzinfo
    zone_name: str
    by_zone: bool


@dataclass(frozen=True, slots=True)
class Step:
    """The timer from a day on, in the place's own clock of that day.

    Attributes:
        on: the day.
        lamp: pairs of on and off (`05:30`); none: no lamp.
        day_h, lit_h: from sunrise to sunset, and with the lamp, on that day [h].
        clock_h: by how much clocks went forward in the night before [h], 0 for most.
    """

    on: date
    lamp: tuple[tuple[str, str], ...]
    day_h: float
    lit_h: float
    clock_h: float


@dataclass(frozen=True, slots=True)
class Turn:
    """A day on which lay stops or starts again: in the middle of flocks, and in the first and last.

    `some_never`: in some flocks it does not.
    """

    early: date
    middle: date
    late: date
    some_never: bool


@dataclass(frozen=True, slots=True)
class Light:
    """All of it. Arrays have shape (days,), from `on`.

    Attributes:
        sun: of the day `on`.
        told: when the lamp goes on and off, as written down, or None.
        now_h: light that the birds have on that day as things stand [h].
        wanted_h: hours aimed for [h]; `wanted_told`: by the keeper; `lowered` from more than the
            dark that birds need leaves.
        rests: the hens rest in winter by the keeper's choice, and no hours were asked for.
        steps: how to set the timer, by date.
        day_h, lit_h: from sunrise to sunset, and with the lamp as set by the steps [h].
        without, without_low, without_high: share of full lay without a lamp; `with_lamp`: with it.
        stops, starts: when lay stops and starts again without a lamp, None where it does not.
        young: groups too young for long days, with the day from which they may have them.
        hens: grown enough to lay; `eggs`: that the lamp brings of these until the last day, or that
            resting costs.
        burns_h: hours that the lamp burns; `kwh` and `cost` where watts and a price are told.
        clock_changes: days on which clocks change, with hours forward.
    """

    on: date
    last: date
    place: Place
    sun: Sun
    told: tuple[str, str] | None
    now_h: float
    wanted_h: float
    wanted_told: bool
    lowered: bool
    end: End
    rests: bool
    steps: tuple[Step, ...]
    day_h: Array
    lit_h: Array
    without: Array
    without_low: Array
    without_high: Array
    with_lamp: Array
    stops: Turn | None
    starts: Turn | None
    young: tuple[tuple[str, date], ...]
    hens: int
    eggs: float
    burns_h: float
    kwh: float | None
    cost: float | None
    clock_changes: tuple[tuple[date, float], ...]

    @property
    def days(self) -> int:
        """How many days are looked at."""
        return len(self.day_h)


def place_of(flock: Flock) -> Place | None:
    """Where the flock lives, or None where nobody has told."""
    latitude, longitude = latitude_of(flock), longitude_of(flock)
    holding = flock.holding
    if latitude is None:
        return None
    by_zone = holding is None or holding.latitude is None or holding.longitude is None
    name = flock.zone or "UTC"
    return Place(latitude, longitude or 0.0, zone(name), name, by_zone)


def light(flock: Flock, on: date, ask: Ask) -> Light:
    """The light of a flock from the day `on`, which its entries are folded up to.

    Raises BadInput: nobody told where the flock lives, or what is asked cannot be.
    """
    place = place_of(flock)
    if place is None:
        raise BadInput(
            say(
                "Where the flock lives is not known, and the sun goes by it: log holding with "
                "latitude, longitude and timezone."
            )
        )
    _check_power(ask)
    last = _last(on, ask.until)
    days = (last - on).days + 1
    wanted, told_h, lowered = _wanted(flock, ask)
    holding = flock.holding
    rests = ask.hours is None and holding is not None and holding.rests_in_winter is True
    told = None if rests else lamp_told(flock)
    end = ask.end or _end_of(told)
    sun = _sun(place, on, days)
    now = () if told is None else _as_span(told, place, on)
    now_h = float(lit_by_day(sun, now, 0, 1)[0])
    young, begin = _too_young(flock, on)
    settings = (
        [Setting(0, ())]
        if rests
        else _settings(sun, wanted, now_h, end, now, min((begin - on).days, days))
    )
    lit = np.minimum(HOURS_A_DAY, lit_by_settings(sun, settings))
    day_h = np.minimum(HOURS_A_DAY, sun.set_h - sun.rise_h)
    before = np.minimum(HOURS_A_DAY, _past(place, on, now))
    bare = share_of_full_lay(np.concatenate([before, day_h]))[:, _BEFORE:]
    with_lamp = share_of_full_lay(np.concatenate([before, lit]))[:, _BEFORE:]
    stops, starts = _turns(bare >= _HALF, on)
    hens, eggs = _eggs(flock, on, (1.0 if rests else with_lamp.mean(0)) - bare.mean(0))
    burns = lamp_hours(settings, days)
    kwh = None if ask.watts is None else burns * ask.watts / _W_IN_KW
    return Light(
        on,
        last,
        place,
        sun_on(place.latitude_deg, place.longitude_deg, on, place.zone),
        told,
        now_h,
        wanted,
        told_h,
        lowered,
        end,
        rests,
        tuple(_steps(place, on, settings, day_h, lit)),
        day_h,
        lit,
        bare.mean(0),
        bare.min(0),
        bare.max(0),
        with_lamp.mean(0),
        stops,
        starts,
        young,
        hens,
        eggs,
        burns,
        kwh,
        None if kwh is None or ask.price is None else kwh * ask.price,
        tuple(_clock_changes(place, on, days)),
    )


def _last(on: date, until: date | None) -> date:
    last = on + timedelta(days=USUAL_DAYS - 1) if until is None else until
    if not on < last <= on + timedelta(days=MOST_DAYS):
        raise BadInput(
            say(
                "The last day is {last}: choose one after {first}, at most two years on.",
                last=last.isoformat(),
                first=on.isoformat(),
            )
        )
    return last


def _check_power(ask: Ask) -> None:
    for amount, sentence in (
        (ask.watts, mark("A lamp of {amount:g} watts cannot be: write 0 or more.")),
        (ask.price, mark("A price of {amount:g} cannot be: write 0 or more.")),
    ):
        if amount is not None and not 0 <= amount < float("inf"):
            raise BadInput(say(sentence, amount=amount))


def _wanted(flock: Flock, ask: Ask) -> tuple[float, bool, bool]:
    """Hours wanted [h], whether the keeper told them, and whether they had to be lowered."""
    most = most_light_h()
    if ask.hours is not None:
        if not 0 < ask.hours <= most:
            raise BadInput(
                say(
                    "{hours:g} h of light cannot be aimed for: ask for more than 0 and at most "
                    "{most:g}, as birds need {dark:g} h of dark.",
                    hours=ask.hours,
                    most=most,
                    dark=HOURS_A_DAY - most,
                )
            )
        return ask.hours, True, False
    holding = flock.holding
    told = holding.light_target_h if holding is not None else None
    wanted = facts.value("laying.light_target_h") if told is None else told
    return min(wanted, most), told is not None, wanted > most


def _end_of(told: tuple[str, str] | None) -> End:
    """The end of the day that the lamp lengthens so far; the morning where nobody told."""
    if told is not None and _hours(told[0]) >= HOURS_A_DAY / 2:
        return "evening"
    return "morning"


def _hours(clock: str) -> float:
    hours, minutes = clock.split(":")
    return int(hours) + int(minutes) / 60


def _sun(place: Place, first: date, days: int) -> Halves:
    """The sun of the days as the place's calendar has them, hours from 0 h UTC of each."""
    shift = noon_shift_days(place.longitude_deg, first, place.zone)
    sun = sun_halves(place.latitude_deg, place.longitude_deg, first + timedelta(days=shift), days)
    return Halves(*(hours + shift * HOURS_A_DAY for hours in sun))


def _offset_h(place: Place, on: date) -> float:
    """How far the clock is ahead of UTC at noon of a day [h]."""
    offset = datetime.combine(on, time(12), tzinfo=place.zone).utcoffset() or timedelta(0)
    return offset / timedelta(hours=1)


def _as_span(told: tuple[str, str], place: Place, on: date) -> tuple[Span, ...]:
    """The lamp's times on a day, in hours from 0 h UTC of it."""
    begin, end = (_hours(clock) - _offset_h(place, on) for clock in told)
    return ((begin, end if end > begin else end + HOURS_A_DAY),)


def _as_clock(hours: float, offset_h: float) -> str:
    minutes = round((hours + offset_h) % HOURS_A_DAY * 60) % (24 * 60)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def _past(place: Place, on: date, lamp: Sequence[Span]) -> Array:
    """Light of the days before, with the lamp as it is now [h]."""
    return lit_by_day(_sun(place, on - timedelta(days=_BEFORE), _BEFORE), lamp)


def _settings(
    sun: Halves, wanted: float, now_h: float, end: End, now: tuple[Span, ...], wait: int
) -> list[Setting]:
    """Settings of the timer, none before `wait` days are over."""
    if wait <= 0:
        return lamp_settings(sun, wanted, begin_h(now_h), end, now)
    later = Halves(*(hours[wait:] for hours in sun))
    natural = float(later.set_h[0] - later.rise_h[0]) if len(later.noon_h) else 0.0
    after = lamp_settings(later, wanted, begin_h(min(natural, HOURS_A_DAY)), end)
    moved = [Setting(one.first + wait, one.lamp) for one in after]
    return [Setting(0, ()), *(one for one in moved if one.lamp or one.first > wait)]


def begin_h(now_h: float) -> float:
    """Light from which steps are counted [h].

    Where the sun hardly rises birds could not eat by so little: a step then leads to
    ``laying.light_least_h`` at once, which brings no hen into lay.
    """
    least, step = facts.value("laying.light_least_h"), facts.value("laying.light_step_h_per_week")
    return least - step if now_h < least - 2 * step else now_h


def _too_young(flock: Flock, on: date) -> tuple[tuple[tuple[str, date], ...], date]:
    """Groups too young for long days, with when they may; and when the first birds may."""
    start = timedelta(days=facts.value("laying.light_start_age_d"))
    waiting, any_grown = [], False
    for group in flock.groups_alive():
        if group.youngest is not None and group.youngest + start > on:
            waiting.append((group.name, group.youngest + start))
        else:
            any_grown = True
    begin = on if any_grown or not waiting else min(day for _, day in waiting)
    return tuple(waiting), begin


def _steps(
    place: Place, on: date, settings: Sequence[Setting], day_h: Array, lit_h: Array
) -> list[Step]:
    """The settings in the place's clock, told again where clocks change under a lamp."""
    changes = dict(_clock_changes(place, on, len(day_h)))
    found = []
    firsts = [one.first for one in settings]
    for one, after in zip(settings, [*firsts[1:], len(day_h)], strict=True):
        days = [on + timedelta(days=n) for n in range(one.first, after)]
        for n, day in enumerate(days):
            if n == 0 or (one.lamp and day in changes):
                offset = _offset_h(place, day)
                lamp = tuple(
                    (_as_clock(begin, offset), _as_clock(end, offset)) for begin, end in one.lamp
                )
                at = one.first + n
                found.append(
                    Step(day, lamp, float(day_h[at]), float(lit_h[at]), changes.get(day, 0.0))
                )
    return found


def _clock_changes(place: Place, on: date, days: int) -> list[tuple[date, float]]:
    """Days after the first on whose night clocks change, with hours forward."""
    ahead = (on + timedelta(days=n) for n in range(1, days))
    moved = ((day, clock_change(place.zone_name, day)) for day in ahead)
    return [(day, by / timedelta(hours=1)) for day, by in moved if by]


def _turns(laying: NDArray[np.bool_], on: date) -> tuple[Turn | None, Turn | None]:
    """When lay stops, and when it starts, each the first time; None where in no flock it does.

    Args:
        laying: whether half of the lay is there, shape (flocks, days).
    """
    now = bool(laying[:, 0].mean() >= _HALF)
    first, second = [], []
    for flock in laying:
        changed = np.flatnonzero(flock != now)
        if len(changed):
            first.append(int(changed[0]))
            back = np.flatnonzero(flock[changed[0] :] == now)
            second += [first[-1] + int(back[0])] if len(back) else []
    one, other = (_turn(days, len(laying), on) for days in (first, second))
    return (one, other) if now else (other, one)


def _turn(days: list[int], flocks: int, on: date) -> Turn | None:
    if not days:
        return None
    found = [on + timedelta(days=n) for n in sorted(days)]
    return Turn(found[0], found[len(found) // 2], found[-1], len(days) < flocks)


def _eggs(flock: Flock, on: date, more: Array) -> tuple[int, float]:
    """Hens there that are grown, and eggs more that they lay by so much more of full lay a day."""
    earliest, _ = facts.spread("laying.first_egg_age_d")
    usual = facts.value("laying.curve_ordinary_peak")
    hens, eggs = 0, 0.0
    for group in flock.groups_alive():
        age = group.age_days(on)
        if not group.alive.hens or (age is not None and age + len(more) < earliest):
            continue
        hens += group.alive.hens
        rates = (
            np.full(len(more), usual)
            if age is None
            else np.array([hen_day_rate(age + n) for n in range(len(more))])
        )
        eggs += group.alive.hens * float((rates * more).sum())
    return hens, eggs


def lamp_light_h(flock: Flock, first: date, days: int) -> tuple[Array, Array] | None:
    """Day length and light with the lamp as told, on each of so many days [h]; None if not known.

    A timer keeps its clock: on summer time too.
    """
    place, told = place_of(flock), lamp_told(flock)
    if place is None or told is None:
        return None
    sun = _sun(place, first, days)
    lit = [
        float(lit_by_day(sun, _as_span(told, place, first + timedelta(days=n)), n, n + 1)[0])
        for n in range(days)
    ]
    return np.minimum(HOURS_A_DAY, sun.set_h - sun.rise_h), np.array(lit)

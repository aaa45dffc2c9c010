"""The outlook: what stands, what is believed, and the weeks ahead with their chance."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from quailwright.flock.light import Light, light_of
from quailwright.flock.state import Flock
from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.husbandry.feeding import Stage
from quailwright.husbandry.fertility import fertility_factor
from quailwright.journal.moments import zone
from quailwright.language import mark, say, say_many
from quailwright.outlook.hatching import (
    NOTHING_PLANNED,
    BirdsKey,
    Coming,
    HatchTime,
    Planned,
    PlannedSet,
    Stay,
    coming,
    coming_of_set,
)
from quailwright.outlook.lay import WEEKS_REMEMBERED
from quailwright.outlook.rates import Rates, draw_rates, learn_rates
from quailwright.outlook.simulate import (
    Flight,
    Going,
    Leaving,
    flights_of,
    flights_to_come,
    simulate,
)

Array = NDArray[np.float64]

DRAWS = 4000
WEEKS = 26
MOST_WEEKS = 520
_LIGHT_BEFORE = timedelta(weeks=WEEKS_REMEMBERED + 26)


@dataclass(frozen=True)
class HatchOutlook:
    """One hatch under way or planned.

    Attributes:
        hatch: its name.
        chicks_samples: chicks in all, those hatched already too, shape (draws,).
        first_at: first chick [s since 1970], shape (draws,), NaN where none comes.
        hens_at_8_weeks: shape (draws,).
    """

    hatch: str
    chicks_samples: Array
    first_at: Array
    hens_at_8_weeks: Array


@dataclass(frozen=True)
class Question:
    """What would change from tomorrow on. Left as it is, nothing changes.

    Attributes:
        lamp_h: hours that a lamp makes of each day.
        fewer_cocks, fewer_hens: birds that go, the oldest first.
        no_hatches: as if nothing more hatched from the eggs under way.
        sets: eggs to be set.
        stay: birds that are to go, by (group, hatching day) of those there, or (name, None) of a
            hatch under way.
        planned: what the keeper has planned (`planned.planned_of`): part of how things stand, to
            which the rest is asked.
    """

    lamp_h: float | None = None
    fewer_cocks: int = 0
    fewer_hens: int = 0
    no_hatches: bool = False
    sets: tuple[PlannedSet, ...] = ()
    stay: Mapping[BirdsKey, tuple[Stay, ...]] = field(default_factory=dict)
    planned: Planned = NOTHING_PLANNED

    @property
    def planned_sets(self) -> tuple[PlannedSet, ...]:
        """Planned sets that are counted: none when nothing more is to hatch."""
        return () if self.no_hatches else self.planned.sets

    @property
    def words(self) -> str:
        """What would change, in words."""
        said = [
            say("a lamp to {hours:g} h", hours=self.lamp_h) if self.lamp_h is not None else "",
            say_many("{n} cock fewer", "{n} cocks fewer", self.fewer_cocks)
            if self.fewer_cocks
            else "",
            say_many("{n} hen fewer", "{n} hens fewer", self.fewer_hens) if self.fewer_hens else "",
            say("nothing more hatching") if self.no_hatches else "",
            *(
                say("{eggs} eggs of {whose} set on {day}", eggs=p.eggs, whose=p.source, day=p.on)
                for p in self.sets
            ),
        ]
        return ", ".join(part for part in said if part)


@dataclass(frozen=True)
class Outlook:
    """The weeks ahead.

    Attributes:
        as_of: the day after which the first week begins.
        draws, weeks: how many of each.
        samples: `simulate.QUANTITIES` by draw and week, each of shape (draws, weeks).
        hatches: hatches under way or planned.
        rates: what it stands on.
        eggs_by_group: mean eggs by group, shape (weeks,) each.
        left: birds that went as planned, by draw and week, shape (draws, weeks).
        flights: the birds that were followed, as they began.
        asked: what was asked.
        feed_by_stage: feed [kg] by the stage of the birds that use it, (draws, weeks) each.
    """

    as_of: date
    draws: int
    weeks: int
    samples: Mapping[str, Array]
    hatches: Sequence[HatchOutlook]
    rates: Rates
    eggs_by_group: Mapping[str, Array]
    left: Array
    flights: Sequence[Flight]
    asked: Question
    feed_by_stage: Mapping[Stage, Array]

    def first_day(self, week: int) -> date:
        """The day on which a week (0 the first) begins."""
        return self.as_of + timedelta(days=1 + 7 * week)


def forecast(
    flock: Flock,
    on: date,
    *,
    rng: Generator,
    weeks: int = WEEKS,
    draws: int = DRAWS,
    question: Question | None = None,
    times: Mapping[str, HatchTime] | None = None,
    rates: Rates | None = None,
    progress: Callable[[int], None] | None = None,
) -> Outlook:
    """What is likely in the weeks after the day `on`, if nothing is bought, sold or culled.

    Args:
        flock: folded up to the end of that day.
        rng: the same generator gives the same outlook.
        weeks: 1 to `MOST_WEEKS`.
        draws: 1 or more.
        question: what would change.
        times: when hatches under way will hatch, where more is known than the days they are set.
        rates: as `learn` gave them for this flock and day, to ask several questions of one belief.
        progress: called after each week with its number.

    Raises:
        ValueError: weeks or draws out of range, or a question that cannot be.
    """
    if not 1 <= weeks <= MOST_WEEKS or draws < 1:
        raise ValueError(
            say("An outlook has 1 to {most} weeks and 1 draw or more.", most=MOST_WEEKS)
        )
    asked = question or Question()
    now = evening(flock, on)
    known = rates or learn(flock, on)
    # Streams of their own, so that two questions of one seed differ by what they ask, not by luck.
    of_rates, of_hatches, of_birds, of_weeks = rng.spawn(4)
    drawn = draw_rates(known, draws, of_rates)
    light = known.light
    if asked.lamp_h is not None or (light.first + timedelta(days=light.hours.shape[1])) <= (
        on + timedelta(weeks=weeks)
    ):
        until = on + timedelta(weeks=weeks + 1)
        light = light_of(flock, light.first, until, asked.lamp_h, on + timedelta(days=1))
    chicks = coming(flock, drawn, now, times or {}, of_hatches)
    chicks = [_without(one) for one in chicks] if asked.no_hatches else chicks
    flights = _leave(flights_of(drawn, on, of_birds), asked)
    stands = len(chicks) + len(asked.planned_sets)
    for planned in (*asked.planned_sets, *asked.sets):
        mated = _fertility(flock, known, planned, on, asked)
        chicks.append(coming_of_set(flock, planned, drawn, mated, of_hatches))
    to_come = flights_to_come(chicks, on, of_birds)
    to_come[stands:] = [replace(flight, if_asked=True) for flight in to_come[stands:]]
    flights = [_watched(flock, flight) for flight in flights]
    followed = _with_leaving([*flights, *to_come], asked, on)
    goings = _goings(followed, asked, on)
    ahead = simulate(followed, drawn, light, on, weeks, of_weeks, progress, goings)
    hatches = [
        HatchOutlook(
            one.hatch,
            (one.further + _out_already(flock, one)).astype(float),
            one.first_at,
            ahead.hens_at_8_weeks.get(one.hatch, np.zeros(draws)).astype(float),
        )
        for one in chicks
    ]
    return Outlook(
        on,
        draws,
        weeks,
        ahead.weeks,
        hatches,
        known,
        ahead.eggs_by_group,
        ahead.left,
        followed,
        asked,
        ahead.feed_by_stage,
    )


def evening(flock: Flock, on: date) -> datetime:
    """The last moment of a day at the holding."""
    return datetime.combine(on, time(23, 59, 59), zone(flock.zone or "UTC"))


def learn(flock: Flock, on: date, whole_day: bool = True) -> Rates:
    """What is believed of every rate on the day `on`; `whole_day` says that its eggs are all in."""
    return learn_rates(flock, on, evening(flock, on), light_ahead(flock, on), whole_day)


def light_ahead(flock: Flock, on: date) -> Light:
    """The light of the weeks that are learnt from, and of a year ahead."""
    return light_of(flock, on - _LIGHT_BEFORE, on + timedelta(weeks=2 * WEEKS))


def _without(one: Coming) -> Coming:
    none = np.zeros_like(one.further)
    first_at = one.first_at if one.waiting else np.full(len(none), np.nan)
    return replace(one, further=none, first_at=first_at)


def _out_already(flock: Flock, one: Coming) -> int:
    hatch = flock.hatches.get(one.hatch)
    return hatch.hatched if hatch is not None else 0


def _watched(flock: Flock, flight: Flight) -> Flight:
    """Birds of a hatch that is still open, housed already, count among its hens at 8 weeks."""
    group = flock.groups.get(flight.group)
    for hatch in flock.hatches_open():
        if group is None or hatch.name not in group.hatches or not hatch.hatchings:
            continue
        if abs(flight.hatched_on - hatch.hatchings[0][0].date()) <= timedelta(days=DAYS_A_WEEK):
            return replace(flight, watched=hatch.name)
    return flight


def _fertility(flock: Flock, rates: Rates, planned: PlannedSet, on: date, asked: Question) -> float:
    """How fertile the eggs of an own group are with the birds that stay, against now.

    Cocks of every group in the place of the hens count as theirs. What is asked of cocks is taken
    from these as far as there are.
    """
    history = rates.histories.get(planned.source)
    source = flock.sources.get(planned.source)
    if history is not None and history.cohorts:
        cohorts = list(history.cohorts)
        cocks = sum(group.alive.cocks for group in flock.groups_at(history.group.place))
    elif source is not None and source.route == "own":
        cohorts = [cohort for own in rates.histories.values() for cohort in own.cohorts]
        cocks = sum(group.alive.cocks for group in flock.groups_alive())
    else:
        return 1.0
    hens = sum(cohort.hens for cohort in cohorts)
    ages = [cohort.age_d(on) for cohort in cohorts if cohort.hens + cohort.cocks > 0]
    known = [age for age in ages if age is not None]
    age = sum(known) / len(known) if known else facts.value("incubation.fertility_cock_full_d")
    ahead = age + (planned.on - on).days

    def factor(of_hens: float, of_cocks: float, of_age: float) -> float:
        ratio = of_hens / of_cocks if of_cocks > 0 else np.inf
        return float(fertility_factor(ratio, of_age, of_age))

    now = factor(hens, cocks, age)
    then = factor(max(0.0, hens - asked.fewer_hens), max(0.0, cocks - asked.fewer_cocks), ahead)
    if cocks <= 0:
        return 0.0
    return min(1.0, then / now) if now > 0.0 else 1.0


def _goings(flights: Sequence[Flight], asked: Question, on: date) -> list[Going]:
    """Which flights the planned culls are of, and when."""
    rows: dict[BirdsKey, list[int]] = {}
    for row, flight in enumerate(flights):
        rows.setdefault(_key(flight), []).append(row)
    found = []
    for cull in asked.planned.culls:
        of = tuple(row for key in cull.birds for row in rows.get(key, ()))
        if of:
            found.append(Going(_week_of(cull.stay, on), of, cull.stay.hens, cull.stay.cocks))
    return found


def _key(flight: Flight) -> BirdsKey:
    return (flight.hatch, None) if flight.hatch else (flight.group, flight.hatched_on)


def _week_of(stay: Stay, on: date) -> int:
    return max(0, ((stay.on - on).days - 1) // DAYS_A_WEEK)


def _with_leaving(flights: list[Flight], asked: Question, on: date) -> list[Flight]:
    """Flights with the weeks in which their birds are to go."""
    stays = dict(asked.stay) | {(planned.name, None): planned.stay for planned in asked.sets}
    found = []
    for flight in flights:
        leaves = tuple(
            Leaving(_week_of(stay, on), stay.hens, stay.cocks)
            for stay in stays.get(_key(flight), ())
        )
        found.append(replace(flight, leaves=leaves) if leaves else flight)
    return found


def _leave(flights: list[Flight], asked: Question) -> list[Flight]:
    """Without the birds that go, the oldest first."""
    texts = (
        mark("{left} hens cannot go: there are {have}."),
        mark("{left} cocks cannot go: there are {have}."),
    )
    left = [asked.fewer_hens, asked.fewer_cocks]
    for n, text in enumerate(texts):
        have = sum(flight.told[n] for flight in flights)
        if left[n] > have:
            raise ValueError(say(text, left=left[n], have=have))
    found = {}
    for flight in sorted(flights, key=lambda one: one.hatched_on):
        gone = [min(left[n], flight.told[n]) for n in range(2)]
        left = [left[n] - gone[n] for n in range(2)]
        found[id(flight)] = replace(
            flight,
            hens=np.maximum(0, flight.hens - gone[0]),
            cocks=np.maximum(0, flight.cocks - gone[1]),
        )
    return [found[id(flight)] for flight in flights]

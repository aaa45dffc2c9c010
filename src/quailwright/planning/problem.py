"""What the planner is asked, in figures: goal by week, sources, room, hands and money."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import cache

import numpy as np
from numpy.typing import NDArray

from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.language import later

Array = NDArray[np.float64]

MOST_WEEKS = 104
CHOSEN_AT_W = 6
"""Age at which birds are told apart and those that stay are chosen [weeks]."""


@dataclass(frozen=True, slots=True)
class Span:
    """Days from `first` to `last`, both counted."""

    first: date
    last: date

    def holds(self, day: date) -> bool:
        """Whether the day lies in it."""
        return self.first <= day <= self.last

    def meets(self, first: date, last: date) -> bool:
        """Whether any day from `first` to `last` lies in it."""
        return self.first <= last and first <= self.last


@dataclass(frozen=True, slots=True)
class EggSource:
    """Where hatching eggs can be had.

    Attributes:
        name: of the source, or of an own group.
        own: whether an own group lays them.
        price: of one egg; postage: of one order.
        least, most: eggs that one order may hold.
        first, last: days on which eggs can be set.
    """

    name: str
    own: bool
    price: float
    postage: float
    least: int
    most: int
    first: date
    last: date


@dataclass(frozen=True, slots=True)
class Machine:
    """An incubator or hatcher and the eggs it holds."""

    name: str
    eggs: int


@dataclass(frozen=True)
class Room:
    """Places.

    Attributes:
        incubators: where eggs are turned; `hatchers`: where they lie to hatch. With none, they
            hatch where they were turned, and no other eggs may be turned there meanwhile.
        brooder_m2, pen_m2: floors; infinite where nobody told one.
        most_birds: in all, infinite where there is no limit.
    """

    incubators: tuple[Machine, ...]
    hatchers: tuple[Machine, ...]
    brooder_m2: float
    pen_m2: float
    most_birds: float


@dataclass(frozen=True)
class Prices:
    """Money and time.

    Attributes:
        feed_per_kg: by stage (starter, grower, layer).
        minute: what the keeper's minute is worth.
        hatch: power and bedding of one hatch and its brood.
        budget_per_month: the most cash a month, infinite where there is no limit.
        minutes_by_weekday: the most minutes on each weekday, Monday first.
        currency: its code, '' if not told.
        kwh: of power.
    """

    feed_per_kg: tuple[float, float, float]
    minute: float
    hatch: float
    budget_per_month: float
    minutes_by_weekday: tuple[float, ...]
    currency: str
    kwh: float = 0.0


@dataclass(frozen=True)
class Wanted:
    """The goal.

    Attributes:
        eggs: wanted in each week ahead, 0 where nothing is asked, shape (weeks,).
        table_birds_a_month: from `first` to `last`.
        certainty: chance that a week of the goal is met, 0.5 to 0.99.
        breeding_hens: hens kept, with their cocks, in each week from `first` to `last`.
    """

    eggs: Array
    table_birds_a_month: float
    first: date
    last: date
    certainty: float
    breeding_hens: float = 0.0


@dataclass(frozen=True)
class Set:
    """Eggs to set, as planned."""

    on: date
    source: str
    eggs: int
    place: str
    keep_hens: int
    keep_cocks: int


@dataclass(frozen=True)
class Cull:
    """Birds to take out: of a group, or of the hatch of a set, down to so many that stay."""

    on: date
    of: str
    keep_hens: int | None
    keep_cocks: int | None


def of_set(day: date) -> str:
    """What the birds of a day's sets are called: `Cull.of`, to know them by and to be read."""
    return later("set of {day}", day=day)


def aged(group: str, hatched_on: date) -> str:
    """What birds of one age are called where a group has several."""
    return later("{group} (hatched {day})", group=group, day=hatched_on)


@dataclass(frozen=True)
class Problem:
    """All of it.

    Attributes:
        on: the day of planning; weeks begin on the day after.
        lamp_h: hours that a lamp makes of each day from tomorrow on; None for as things are.
        lamp_cost: what the lamp's power costs in all, above things as they are.
        absences: when no step of a hatch may need hands; no_hatching: when nothing may hatch.
        hens_per_cock: of the birds kept; 0 to keep no cock of those to come.
        keep_hens_until_w: age at which hens go at the latest [weeks]; None to let the plan choose.
        kept, kept_culls: sets and culls of a plan accepted before that are to come; sets on other
            days would upset it.
    """

    on: date
    weeks: int
    wanted: Wanted
    sources: tuple[EggSource, ...]
    room: Room
    prices: Prices
    lamp_h: float | None = None
    absences: tuple[Span, ...] = ()
    no_hatching: tuple[Span, ...] = ()
    hens_per_cock: float = 4.0
    keep_hens_until_w: float | None = None
    kept: tuple[Set, ...] = ()
    kept_culls: tuple[Cull, ...] = ()
    lamp_cost: float = 0.0

    def week_of(self, day: date) -> int:
        """The number of the week that a day lies in, 0 the first."""
        return ((day - self.on).days - 1) // DAYS_A_WEEK

    def first_day(self, week: int) -> date:
        """The day on which a week begins."""
        return self.on + timedelta(days=1 + DAYS_A_WEEK * week)

    def weeks_of_goal(self) -> NDArray[np.int64]:
        """Weeks that lie whole from the first to the last day of the goal."""
        wanted = self.wanted
        return np.array(
            [
                week
                for week in range(self.weeks)
                if wanted.first <= self.first_day(week)
                and self.first_day(week + 1) <= wanted.last + timedelta(days=1)
            ],
            dtype=np.int64,
        )


@dataclass(frozen=True, slots=True)
class Candidate:
    """Eggs that could be set: on a day, from a source (its number in `Problem.sources`)."""

    day: date
    source: int

    @property
    def stops_turning(self) -> date:
        """The day the eggs are laid down."""
        return self.day + timedelta(days=days_of_hatch()[0])

    @property
    def hatches(self) -> date:
        """The day chicks are expected."""
        return self.day + timedelta(days=days_of_hatch()[1])

    @property
    def cleared(self) -> date:
        """The last day the machine is needed."""
        return self.day + timedelta(days=days_of_hatch()[2])


@cache
def days_of_hatch() -> tuple[int, int, int]:
    """Days from setting to laying down, to the chicks, and to the last day in the machine."""
    return (
        int(facts.value("incubation.turning_stop_day")),
        round(facts.value("incubation.hatch_duration_h") / 24.0),
        int(np.ceil(facts.value("incubation.hatch_day_last"))),
    )


def chosen_on(problem: Problem, set_on: date) -> date:
    """The day on which the birds of a set are told apart and chosen: at six weeks, or when the
    keeper is back."""
    day = Candidate(set_on, 0).hatches + timedelta(weeks=CHOSEN_AT_W)
    for span in sorted(problem.absences, key=lambda one: one.first):
        if span.holds(day):
            day = span.last + timedelta(days=1)
    return day


@dataclass(frozen=True)
class Draft:
    """A plan before it is tried: sets, and when birds go.

    Attributes:
        sets: in order of date.
        culls: of grown birds, in order of date.
        gap: how far its cost may lie above the least, as a share.
        short_weeks: eggs wanting on the mean, by week, shape (weeks,).
        laid: eggs in the programme, on the mean, by week, shape (weeks,).
    """

    sets: tuple[Set, ...]
    culls: tuple[Cull, ...]
    gap: float
    short_weeks: Array
    laid: Array = field(default_factory=lambda: np.zeros(0))


Busy = Mapping[str, Sequence[Span]]
"""When eggs under way lie still in a machine, by its name."""


def candidates(
    problem: Problem,
    busy: Busy | None = None,
    near: Collection[tuple[date, int]] = (),
) -> list[Candidate]:
    """Days and sources on which eggs could be set, in order: of each week the first day that fits,
    days of an accepted plan, and days around those that are `near`.

    A day fits when no step that needs hands (setting, laying down, hatch, the chicks' first days)
    falls into an absence, nothing hatches when it must not, the source has eggs, and a machine is
    not taken by eggs that lie still to hatch.

    Args:
        busy: when machines in which eggs are turned and hatch hold eggs that lie still.
        near: days and sources that were found good already.
    """
    found = set()
    for number, source in enumerate(problem.sources):
        for days in _days_tried(problem):
            fitting = (day for day in days if _fits(problem, source, day, busy or {}))
            day = next(fitting, None)
            if day is not None:
                found.add((day, number))
        around = {
            day + timedelta(days=n)
            for day, of_source in near
            if of_source == number
            for n in range(-_AROUND_D, _AROUND_D + 1)
        }
        for day in {*around, *(one.on for one in problem.kept)}:
            if _fits(problem, source, day, busy or {}):
                found.add((day, number))
    return [Candidate(day, number) for day, number in sorted(found)]


_EVERY_WEEK_FOR = 26
_AROUND_D = 4
"""Days before and after a day found good that are tried too: no day of a week is left out."""


def _days_tried(problem: Problem) -> Iterator[list[date]]:
    """The days of every week of the first half year, then of every second: the far end will be
    planned again."""
    for week in range(problem.weeks):
        if week < _EVERY_WEEK_FOR or week % 2 == 0:
            yield [problem.first_day(week) + timedelta(days=n) for n in range(DAYS_A_WEEK)]


def _fits(problem: Problem, source: EggSource, day: date, busy: Busy) -> bool:
    one = Candidate(day, 0)
    if not (source.first <= day <= source.last and problem.on < day):
        return False
    hatching = (one.hatches - timedelta(days=1), one.cleared)
    if any(span.meets(*hatching) for span in problem.no_hatching):
        return False
    if any(needs_hands(day, span) for span in problem.absences):
        return False
    machines = problem.room.incubators
    return not machines or any(is_free(busy.get(machine.name, ()), one) for machine in machines)


def needs_hands(set_on: date, span: Span) -> bool:
    """Whether a step of eggs set on that day needs hands on a day of the span: setting, laying
    down, the hatch, the chicks' first days."""
    one = Candidate(set_on, 0)
    watched = one.hatches + timedelta(days=int(facts.value("brooding.close_watch_until_d")) + 1)
    hatching = one.hatches - timedelta(days=1)
    needed = ((set_on, set_on), (one.stops_turning, one.stops_turning), (hatching, watched))
    return any(span.meets(*when) for when in needed)


def is_free(busy: Sequence[Span], one: Candidate) -> bool:
    """Whether a machine is not taken by eggs lying still while these would be in it."""
    return not any(span.meets(one.day, one.cleared) for span in busy)

"""What the planner is asked, in figures: goal by week, sources, room, hands and money."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK

Array = NDArray[np.float64]

MOST_WEEKS = 104


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
    """

    feed_per_kg: tuple[float, float, float]
    minute: float
    hatch: float
    budget_per_month: float
    minutes_by_weekday: tuple[float, ...]
    currency: str


@dataclass(frozen=True)
class Wanted:
    """The goal.

    Attributes:
        eggs: wanted in each week ahead, 0 where nothing is asked, shape (weeks,).
        table_birds_a_month: from `first` to `last`.
        certainty: chance that a week of the goal is met, 0.5 to 0.99.
    """

    eggs: Array
    table_birds_a_month: float
    first: date
    last: date
    certainty: float


@dataclass(frozen=True)
class Problem:
    """All of it.

    Attributes:
        on: the day of planning; weeks begin on the day after.
        lamp_h: hours that a lamp makes of each day from tomorrow on; None for as things are.
        absences: when no step of a hatch may need hands; no_hatching: when nothing may hatch.
        hens_per_cock: of the birds kept.
        keep_hens_until_w: age at which hens go at the latest [weeks]; None to let the plan choose.
        kept: sets of a plan accepted before, that a change of dates would upset.
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
    kept: tuple[date, ...] = ()

    def week_of(self, day: date) -> int:
        """The number of the week that a day lies in, 0 the first."""
        return ((day - self.on).days - 1) // DAYS_A_WEEK

    def first_day(self, week: int) -> date:
        """The day on which a week begins."""
        return self.on + timedelta(days=1 + DAYS_A_WEEK * week)


@dataclass(frozen=True, slots=True)
class Candidate:
    """Eggs that could be set: on a day, from a source (its number in `Problem.sources`)."""

    day: date
    source: int

    @property
    def stops_turning(self) -> date:
        """The day the eggs are laid down."""
        return self.day + timedelta(days=int(facts.value("incubation.turning_stop_day")))

    @property
    def hatches(self) -> date:
        """The day chicks are expected."""
        hours = facts.value("incubation.hatch_duration_h")
        return self.day + timedelta(days=round(hours / 24.0))

    @property
    def cleared(self) -> date:
        """The last day the machine is needed."""
        return self.day + timedelta(days=int(np.ceil(facts.value("incubation.hatch_day_last"))))


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


@dataclass(frozen=True)
class Draft:
    """A plan before it is tried: sets, and when birds go.

    Attributes:
        sets: in order of date.
        culls: of grown birds, in order of date.
        gap: how far its cost may lie above the least, as a share.
        short_weeks: eggs wanting on the mean, by week, shape (weeks,).
        parts: cost by kind.
    """

    sets: tuple[Set, ...]
    culls: tuple[Cull, ...]
    gap: float
    short_weeks: Array
    parts: dict[str, float] = field(default_factory=dict)


def candidates(problem: Problem, busy: Sequence[Span] = ()) -> list[Candidate]:
    """Days and sources on which eggs could be set: one day of each week, its first that fits.

    A day fits when no step that needs hands (setting, laying down, hatch, the chicks' first days)
    falls into an absence, nothing hatches when it must not, and the source has eggs.

    Args:
        busy: when the only machine holds eggs that lie still to hatch, or is needed whole.
    """
    found = []
    for number, source in enumerate(problem.sources):
        for week in _weeks_tried(problem):
            days = (problem.first_day(week) + timedelta(days=n) for n in range(DAYS_A_WEEK))
            fitting = (day for day in days if _fits(problem, source, day, busy))
            day = next(fitting, None)
            if day is not None:
                found.append(Candidate(day, number))
    return sorted(found, key=lambda one: (one.day, one.source))


_EVERY_WEEK_FOR = 26


def _weeks_tried(problem: Problem) -> list[int]:
    """Every week of the first half year, then every second: the far end will be planned again."""
    return [w for w in range(problem.weeks) if w < _EVERY_WEEK_FOR or w % 2 == 0]


def _fits(problem: Problem, source: EggSource, day: date, busy: Sequence[Span]) -> bool:
    one = Candidate(day, 0)
    if not source.first <= day <= source.last:
        return False
    hatching = (one.hatches - timedelta(days=1), one.cleared)
    if any(span.meets(*hatching) for span in problem.no_hatching):
        return False
    watched = one.hatches + timedelta(days=int(facts.value("brooding.close_watch_until_d")) + 1)
    needed = ((day, day), (one.stops_turning, one.stops_turning), (hatching[0], watched))
    if any(span.meets(*when) for span in problem.absences for when in needed):
        return False
    return not any(span.meets(day, one.cleared) for span in busy)

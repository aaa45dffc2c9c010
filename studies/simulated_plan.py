"""A dated plan carried out on a true flock that it knows nothing of, bird by bird.

Shares no code with `quailwright.outlook` and `quailwright.planning`. Lay, deaths, hatching, light
and appetite are those of `simulated_nature`; from `quailwright.husbandry.facts` come only published
figures, by name. Days are whole numbers: today is 0, the first week ahead is days 1 to 7.

Eggs hatch by what is published of their route (`HATCH_OF_SET`): for each flock and source a share
of its own, half of whose spread the sources of one flock have in common (assumed).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy.special import ndtr  # type: ignore[import-untyped]
from scipy.stats import beta  # type: ignore[import-untyped]
from studies.simulated_nature import (
    NEVER,
    Bools,
    Floats,
    Ints,
    Light,
    Nature,
    appetite,
    chance_of_lay,
    cold_factor,
    daylight_h,
    death_days,
    draw_nature,
    hatch_out,
    light_of,
    shape_of_lay,
    sudden_drops,
    wander,
)

from quailwright.husbandry import facts

WEEK = 7
BEFORE = 60
"""Days of light and of the level of lay before today: hens answer to what was."""
SET_HOUR = 12
EVENING_H = 20
FIRST_LAY_D = 36

HATCH_OF_SET = {
    "collected": ("incubation.hatch_of_set_beta_a", "incubation.hatch_of_set_beta_b"),
    "own": ("incubation.hatch_of_set_beta_a", "incubation.hatch_of_set_beta_b"),
    "shipped": (
        "incubation.hatch_of_set_shipped_beta_a",
        "incubation.hatch_of_set_shipped_beta_b",
    ),
}
"""Published spread of hatch of set by route: eggs near by as eggs of any route, 0.38 to 0.88;
posted eggs by what keepers tell, 0.20 to 0.75."""
SHARED = 0.5
"""Part of the spread of hatching that the sources of one flock have in common."""


@dataclass(frozen=True)
class Setting:
    """Eggs to set on a day, and how many of their birds stay from `chosen_on` on."""

    day: int
    source: str
    eggs: int
    place: str = ""
    keep_hens: int | None = None
    keep_cocks: int | None = None
    chosen_on: int = NEVER


@dataclass(frozen=True)
class Going:
    """From a day on no more than so many birds stay of those set on a day, or of a group."""

    day: int
    of: int | str
    keep_hens: int | None
    keep_cocks: int | None


@dataclass(frozen=True)
class Held:
    """A group that is there, grown; `hatched` is a day before today."""

    group: str
    hatched: int
    hens: int
    cocks: int


@dataclass(frozen=True)
class Course:
    """All that is done from tomorrow on, where, and with what light.

    Attributes:
        hens_a_cock: cocks that are kept of birds nobody said a number of.
    """

    on: date
    weeks: int
    latitude: float
    lamp_h: float | None
    settings: Sequence[Setting] = ()
    goings: Sequence[Going] = ()
    held: Sequence[Held] = ()


@dataclass(frozen=True)
class Truth:
    """One true flock: its rates, and the share of eggs set that hatches, by source."""

    nature: Nature
    hatch_of_set: Mapping[str, float]


def draw_truth(rng: Generator, routes: Mapping[str, str]) -> Truth:
    """Rates of one flock, from the published spread between flocks."""
    nature = draw_nature(rng)
    together = rng.standard_normal()
    hatch = {}
    for source, route in routes.items():
        a, b = (facts.value(key) for key in HATCH_OF_SET[route])
        place = SHARED**0.5 * together + (1.0 - SHARED) ** 0.5 * rng.standard_normal()
        hatch[source] = float(beta.ppf(ndtr(place), a, b))
    return Truth(nature, hatch)


@dataclass
class Brood:
    """Birds of one hatching or group. Arrays hold one item a bird; a bird is there on the evenings
    from the day it came to the one before its end. `setting` is the place of its setting in the
    course, None for birds that are there."""

    key: int | str
    setting: int | None
    hatched: int
    came: Ints
    hen: Bools
    died: Ints
    left: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.int64))

    def __post_init__(self) -> None:
        if self.left.size != self.came.size:
            self.left = np.full(self.came.size, NEVER, dtype=np.int64)

    @property
    def end(self) -> Ints:
        """The day on which each bird is there no more."""
        return np.minimum(self.died, self.left)

    def here(self, day: int) -> Bools:
        """Which birds are there on the evening of a day."""
        there: Bools = (self.came <= day) & (day < self.end)
        return there


@dataclass(frozen=True)
class Life:
    """What came of a plan on one flock.

    Attributes:
        eggs, left, feed_kg: laid, gone as planned, eaten and spilt on each day from tomorrow on.
        hens, cocks, chicks: living on each evening; chicks are under six weeks old.
        brooder_m2, pen_m2: floor that they need by the published figures, on each evening.
        brooding: whether any birds are in the brooder.
        chicks_hatched: by setting.
        died: birds that died, all in all.
        broods: the birds, and `eggs_of` of each, laid by day.
    """

    eggs: Ints
    left: Ints
    feed_kg: Floats
    hens: Ints
    cocks: Ints
    chicks: Ints
    brooder_m2: Floats
    pen_m2: Floats
    brooding: Bools
    chicks_hatched: Ints
    died: int
    broods: Sequence[Brood]
    eggs_of: Sequence[Ints]

    def by_week(self, name: str) -> NDArray[np.generic]:
        """A daily series by week, shape (weeks, 7)."""
        series: NDArray[np.generic] = getattr(self, name).reshape(-1, WEEK)
        return series


def live(rng: Generator, truth: Truth, course: Course) -> Life:
    """One future of a true flock under a plan."""
    nature, last = truth.nature, WEEK * course.weeks
    of_birds, of_lay, of_feed = rng.spawn(3)
    broods, hatched = _broods(of_birds, truth, course)
    _attacks(of_birds, nature, broods, last)
    left = _go(of_birds, broods, course, last)
    days = np.arange(1, last + 1)
    eggs_of, lay = _lay(of_lay, nature, broods, course)
    eggs = np.sum([np.zeros(last, dtype=np.int64), *eggs_of], axis=0)
    feed = _eat(of_feed, nature, broods, lay, course, days)
    hens, cocks, chicks = (np.zeros(last, dtype=np.int64) for _ in range(3))
    brooder, pen = np.zeros(last), np.zeros(last)
    for brood in broods:
        age = days - brood.hatched
        of_hens, of_cocks = (_present(brood, which, last) for which in (brood.hen, ~brood.hen))
        young = age < _CHOSEN_D
        hens += np.where(young, 0, of_hens)
        cocks += np.where(young, 0, of_cocks)
        chicks += np.where(young, of_hens + of_cocks, 0)
        need = floor_m2(age) * (of_hens + of_cocks)
        small = age < facts.value("brooding.time_in_brooder_d")
        brooder += np.where(small, need, 0.0)
        pen += np.where(small, 0.0, need)
    died = sum(int((b.died[b.died <= b.left] <= last).sum()) for b in broods)
    return Life(
        eggs,
        left,
        feed,
        hens,
        cocks,
        chicks,
        brooder,
        pen,
        brooder > 0,
        hatched,
        died,
        broods,
        eggs_of,
    )


_CHOSEN_D = 42


def floor_m2(age: Ints) -> Floats:
    """Floor that a bird needs at an age in days, by the figures that plans go by too."""
    steps = ("brooding.floor_week_1", "brooding.floor_week_2_3", "brooding.floor_week_4_6")
    figures = np.array([facts.value(key) for key in (*steps, "housing.floor_m2_adult")])
    return figures[np.searchsorted([7, 21, 42], age, side="right")]


def _broods(rng: Generator, truth: Truth, course: Course) -> tuple[list[Brood], Ints]:
    broods, hatched = [], []
    nature = truth.nature
    for group in course.held:
        hen = np.arange(group.hens + group.cocks) < group.hens
        came = np.zeros(hen.size, dtype=np.int64)
        died = death_days(rng, nature, group.hatched, came, hen)
        broods.append(Brood(group.group, None, group.hatched, came, hen, died))
    for number, setting in enumerate(course.settings):
        own = rng.spawn(1)[0]
        share = truth.hatch_of_set[setting.source]
        # The batch scatters twice, as fertility and as hatch of fertile, that are taken as alike.
        half = share**0.5
        out = hatch_out(own, nature, setting.eggs, half, half / nature.hatch_of_fertile)
        hatched.append(out.chicks)
        if not out.chicks:
            continue
        hours = SET_HOUR + out.hours + (24 - EVENING_H)
        came = setting.day + np.floor(hours / 24.0).astype(np.int64)
        hen = own.random(came.size) < 1.0 - facts.value("survival.cocks_at_hatch")
        first = int(came.min())
        died = death_days(own, nature, first, came, hen)
        broods.append(Brood(setting.day, number, first, came, hen, died))
    return broods, np.array(hatched, dtype=np.int64)


def _attacks(rng: Generator, nature: Nature, broods: Sequence[Brood], last: int) -> None:
    """Rarely, something gets at a group and kills a share of it within three nights."""
    for _ in range(int(rng.poisson(nature.attacks_year * last / 365.0))):
        day, share = int(rng.integers(1, last + 1)), rng.uniform(0.1, 0.6)
        there = [b for b in broods if b.here(day).any() and day - b.hatched > _CHOSEN_D]
        if there:
            brood = there[int(rng.integers(len(there)))]
            killed = brood.here(day) & (rng.random(brood.hen.size) < share)
            nights = day + 1 + rng.integers(0, 3, brood.hen.size)
            brood.died[killed] = np.minimum(brood.died, nights)[killed]


def _go(rng: Generator, broods: Sequence[Brood], course: Course, last: int) -> Ints:
    """Birds go as planned: which of them, the plan does not say. How many went on each day.

    Those of each setting are chosen by themselves; later steps are of all that were set on a day.
    """
    steps = [
        (one.chosen_on, [b for b in broods if b.setting == n], one.keep_hens, one.keep_cocks)
        for n, one in enumerate(course.settings)
    ]
    steps += [
        (one.day, [b for b in broods if b.key == one.of], one.keep_hens, one.keep_cocks)
        for one in course.goings
    ]
    left = np.zeros(last, dtype=np.int64)
    for day, own, hens, cocks in sorted(steps, key=lambda step: step[0]):
        for hen, stay in ((True, hens), (False, cocks)):
            if stay is None or day > last:
                continue
            birds = [
                (brood, bird)
                for brood in own
                for bird in np.flatnonzero(brood.here(day) & (brood.hen == hen))
            ]
            for place in rng.permutation(len(birds))[stay:]:
                brood, bird = birds[place]
                brood.left[bird] = day
            left[day - 1] += max(0, len(birds) - stay)
    return left


def _present(brood: Brood, which: Bools, last: int) -> Ints:
    """How many of these birds are there on each evening from tomorrow on."""
    came = np.bincount(np.clip(brood.came[which], 0, last + 1), minlength=last + 2)
    gone = np.bincount(np.clip(brood.end[which], 0, last + 1), minlength=last + 2)
    number: Ints = np.cumsum(came - gone)[1 : last + 1]
    return number


def light_for(nature: Nature, course: Course) -> tuple[Floats, Light]:
    """Hours of light from `BEFORE` days before today on, and what hens make of them. A lamp burned
    before today where it burns after."""
    days = np.arange(-BEFORE, WEEK * course.weeks + 1)
    hours = daylight_h(course.latitude, course.on, days)
    lit: Floats = np.maximum(hours, course.lamp_h or 0.0)
    return lit, light_of(nature, lit)


def _lay(
    rng: Generator, nature: Nature, broods: Sequence[Brood], course: Course
) -> tuple[list[Ints], list[Floats]]:
    """Each brood's eggs on each day from tomorrow on, and its lay a hen a day."""
    last = WEEK * course.weeks
    size = BEFORE + last + 1
    _, light = light_for(nature, course)
    shape = shape_of_lay(nature)
    whole = wander(rng, size, nature.drift, nature.drift_days)
    whole *= sudden_drops(rng, size, nature.drops_year)
    laid, rates = [], []
    for brood in broods:
        own = rng.spawn(1)[0]
        rate, total = np.zeros(last), np.zeros(last, dtype=np.int64)
        rates.append(rate)
        laid.append(total)
        level = whole * wander(own, size, 0.7 * nature.drift, nature.drift_days)
        level *= sudden_drops(own, size, 0.4 * nature.drops_year)
        born = brood.hatched + BEFORE
        first = max(BEFORE + 1, born + FIRST_LAY_D)
        # Those that go before they can lay need no days of their own.
        hens = np.flatnonzero(brood.hen & (brood.end > brood.hatched + FIRST_LAY_D))
        if not hens.size or first >= size:
            continue
        until = min(size, int(brood.end[hens].max()) + BEFORE)
        if until <= first:
            continue
        chance = chance_of_lay(own, nature, light, shape, level[:until], hens.size, born, first)
        days = np.arange(first, until) - BEFORE
        there = (days >= brood.came[hens, None]) & (days < brood.end[hens, None])
        eggs = ((own.random(chance.shape, dtype=np.float32) < chance) & there).sum(axis=0)
        at = slice(first - BEFORE - 1, until - BEFORE - 1)
        total[at] = eggs
        rate[at] = eggs / np.maximum(1, there.sum(axis=0))
    return laid, rates


def _eat(
    rng: Generator,
    nature: Nature,
    broods: Sequence[Brood],
    lay: Sequence[Floats],
    course: Course,
    days: Ints,
) -> Floats:
    """Feed used on each day [kg], spill included; a hen that does not lay eats less."""
    last = days.size
    grams = np.zeros(last)
    for brood, rate in zip(broods, lay, strict=True):
        age = days - brood.hatched
        of_hens, of_cocks = (_present(brood, which, last) for which in (brood.hen, ~brood.hen))
        a_hen = np.where(age > 60, 0.82 + 0.18 * rate, 1.0)
        a_cock = np.where(age > 60, nature.cock_share, 1.0)
        grams += nature.hen_intake_g * appetite(age) * (of_hens * a_hen + of_cocks * a_cock)
    hours = light_for(nature, course)[0][BEFORE + 1 :]
    used: Floats = grams * cold_factor(nature, hours) / (1.0 - nature.spill) / 1000.0
    used *= np.exp(rng.normal(0.0, 0.04, last))
    return used


# --- what breaks a limit by its dates alone ------------------------------------------------------


@dataclass(frozen=True)
class Limits:
    """What a plan must keep to, as a keeper means it; spans are pairs of days, both counted."""

    incubators: Mapping[str, int]
    hatchers_eggs: int
    absences: Sequence[tuple[date, date]] = ()
    no_hatching: Sequence[tuple[date, date]] = ()


TURNED_D = 14
"""Eggs are turned, in the incubator, for 14 to 15 days (New South Wales DPI; Romao 2009)."""
HATCH_D = (16, 18)
"""Chicks come from the end of day 16 to day 18: 390 to 441 h (Selcuk J; S Afr J Anim Sci 2005)."""
WATCHED_D = 4
"""Chicks are watched closely for so many days (New South Wales DPI and keepers: 3 to 4)."""


def broken(course: Course, limits: Limits) -> list[str]:
    """Every limit that the dates and sizes of a plan break, in words; empty when none is."""
    return [
        *_machines_broken(course, limits),
        *_dates_broken(course, limits),
    ]


def _machines_broken(course: Course, limits: Limits) -> list[str]:
    """More eggs than machines hold on a day, or eggs turned in a machine in which others hatch."""
    said = []
    apart = limits.hatchers_eggs > 0
    places = {one.place for one in course.settings}
    for place in sorted(places):
        room = limits.incubators.get(place)
        if room is None:
            said.append(f"machine: {place or 'a place without a name'} is no incubator")
            continue
        own = [one for one in course.settings if one.place == place]
        stays = TURNED_D if apart else HATCH_D[1] + 1
        eggs = _by_day([(one.day, one.day + stays, one.eggs) for one in own])
        if eggs.max(initial=0) > room:
            said.append(f"machine: {eggs.max()} eggs in {place}, which holds {room}")
        if apart:
            continue
        # A day is no matter: eggs are turned for 14 to 15 days.
        said += [
            f"machine: eggs of {_day(course, other.day)} are turned in {place} while those of "
            f"{_day(course, one.day)} hatch"
            for one in own
            for other in own
            if one.day + 1 < other.day <= one.day + HATCH_D[1]
        ]
    if apart:
        lying = [(o.day + TURNED_D, o.day + HATCH_D[1] + 1, o.eggs) for o in course.settings]
        most = int(_by_day(lying).max(initial=0))
        if most > limits.hatchers_eggs:
            said.append(f"machine: {most} eggs in hatchers, which hold {limits.hatchers_eggs}")
    return said


def _by_day(stays: Sequence[tuple[int, int, int]]) -> Ints:
    """Eggs by day of stays (first day, day after the last, eggs)."""
    last = max((end for _, end, _ in stays), default=0)
    eggs = np.zeros(last + 1, dtype=np.int64)
    for first, end, number in stays:
        eggs[first:end] += number
    return eggs


def _dates_broken(course: Course, limits: Limits) -> list[str]:
    said = []
    for one in course.settings:
        hatch = one.day + HATCH_D[0], one.day + HATCH_D[1]
        steps = {
            "setting": (one.day, one.day),
            "laying down": (one.day + TURNED_D, one.day + TURNED_D),
            "hatching": hatch,
            "the chicks' first days": (hatch[0], one.day + 17 + WATCHED_D),
            "choosing": (one.chosen_on, one.chosen_on),
        }
        for name, (first, last) in steps.items():
            if any(_meets(course, first, last, span) for span in limits.absences):
                said.append(f"absence: {name} of {_day(course, one.day)}")
        if any(_meets(course, *hatch, span) for span in limits.no_hatching):
            said.append(f"forbidden month: hatching of {_day(course, one.day)}")
    said += [
        f"absence: birds let go on {_day(course, going.day)}"
        for going in course.goings
        if any(_meets(course, going.day, going.day, span) for span in limits.absences)
    ]
    return said


def _day(course: Course, day: int) -> date:
    return course.on + timedelta(days=day)


def _meets(course: Course, first: int, last: int, span: tuple[date, date]) -> bool:
    if first >= NEVER:
        return False
    return _day(course, first) <= span[1] and span[0] <= _day(course, last)

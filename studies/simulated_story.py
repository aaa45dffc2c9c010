"""The life of one simulated flock: who comes, hatches, is sexed, moved, taken out, and dies.

Days are whole numbers, today is 0; a bird is there on the evenings from the day it came to the one
before it died or left. Nothing is bought, taken out or set after today; chicks go on to hatch, to
be housed and to be sexed.
"""

from dataclasses import dataclass, field
from datetime import date

import numpy as np
from numpy.random import Generator
from studies.simulated_nature import (
    LAST_DAY,
    NEVER,
    Bools,
    Floats,
    Ints,
    Nature,
    Outcome,
    Site,
    appetite,
    chance_of_lay,
    cold_factor,
    daylight_h,
    death_days,
    hatch_out,
    light_of,
    shape_of_lay,
    sudden_drops,
    wander,
)

EVENING_H = 20
"""Chicks out of the shell later than this are seen the next morning."""


@dataclass
class Batch:
    """Birds of one hatching that came together. Arrays hold one item a bird."""

    group: str
    place: str
    came: Ints
    hatched: int
    hen: Bools
    died: Ints
    left: Ints
    sexed_on: int
    housed_on: int
    hatch: str | None = None
    source: str | None = None
    pen: str | None = None
    penned_on: int = NEVER
    joins: str | None = None
    joins_on: int = NEVER

    @property
    def end(self) -> Ints:
        """The day on which each bird is there no more."""
        return np.minimum(self.died, self.left)

    def group_on(self, day: int) -> str:
        """The group that birds belong to during the day: a move counts from its evening on."""
        return self.joins if self.joins is not None and day > self.joins_on else self.group

    def here(self, day: int) -> Bools:
        """Which birds are there on the evening of a day."""
        there: Bools = (self.came <= day) & (day < self.end)
        return there


@dataclass
class Hatching:
    """One setting and what the keeper does with it."""

    name: str
    place: str
    set_on: int
    set_hour: int
    route: str
    source: str | None
    laid_by: str | None
    outcome: Outcome
    housed_on: int
    batch: Batch | None = None
    closed_on: int | None = None

    @property
    def seen_on(self) -> Ints:
        """The day on which each chick is first seen."""
        hours = self.set_hour + self.outcome.hours + (24 - EVENING_H)
        return self.set_on + np.floor(hours / 24.0).astype(np.int64)


@dataclass
class HatchingSource:
    """Whose eggs are set, other than the keeper's own. `worn` is the road's factor on hatch."""

    name: str
    route: str
    fertility: float
    worn: float


@dataclass
class Exit:
    """The birds of a group that left on a day go to this use."""

    day: int
    group: str
    use: str


@dataclass
class Counts:
    """Birds of a group by day, (days,), as the place in the series of days."""

    hens: Ints
    cocks: Ints
    chicks: Ints


@dataclass
class Story:
    """What truly happens; `days` runs from some weeks before the first entry to the last week."""

    site: Site
    nature: Nature
    history_days: int
    days: Ints
    daylight_h: Floats
    batches: list[Batch] = field(default_factory=list)
    hatchings: list[Hatching] = field(default_factory=list)
    sources: list[HatchingSource] = field(default_factory=list)
    exits: list[Exit] = field(default_factory=list)
    counts: dict[str, Counts] = field(default_factory=dict)
    laid: dict[str, Ints] = field(default_factory=dict)
    feed_kg: Floats = field(default_factory=lambda: np.zeros(0))
    chick_feed_kg: Floats = field(default_factory=lambda: np.zeros(0))

    def place_of(self, day: int) -> int:
        """The place of a day in the series."""
        return day - int(self.days[0])

    @property
    def today(self) -> int:
        """The place of today."""
        return self.place_of(0)


def tell(
    rng: Generator, today: date, site: Site, nature: Nature, history_days: int, sexing_day: int
) -> Story:
    """A flock of `history_days` of record, lived up to the last week."""
    days = np.arange(-history_days - 30, LAST_DAY + 1)
    lamp = site.lamp_h or 0.0
    hours = np.maximum(daylight_h(site.latitude, today, days), lamp)
    story = Story(site, nature, history_days, days, hours)
    teller = _Teller(rng, story, sexing_day)
    teller.pens()
    teller.earlier_hatches()
    teller.hatches_under_way()
    _attacks(rng, story)
    _count(story)
    _lay(rng, story)
    _eat(rng, story)
    return story


PENS = (0.36, 0.25, 0.16, 0.11, 0.07, 0.05)
ONE_HEN = 0.12
BATCH_EGGS = (6, 60)


class _Teller:
    """Decides what the keeper does. Holds the generator and the names given so far."""

    def __init__(self, rng: Generator, story: Story, sexing_day: int) -> None:
        self.rng, self.story, self.sexing_day = rng, story, sexing_day
        self.ends: dict[str, tuple[int, str]] = {}
        self.homes: dict[str, str] = {}
        self.groups = 0
        self.pens_with_hatched = rng.uniform(0.2, 0.9)
        for number in range(int(rng.integers(1, 4))):
            shipped = rng.random() < 0.5
            story.sources.append(
                HatchingSource(
                    f"{'post' if shipped else 'farm'}-{number + 1}",
                    "shipped" if shipped else "collected",
                    float(rng.beta(8.0, 2.0)),
                    # No trial of the post was found: a factor below 1 is assumed.
                    float(rng.uniform(0.6, 1.0)) if shipped else 1.0,
                )
            )

    def name(self) -> str:
        self.groups += 1
        return f"group-{self.groups}"

    def pens(self) -> None:
        """Fills each pen, and again when its birds are old."""
        rng, history = self.rng, self.story.history_days
        for number in range(1, 1 + int(rng.choice(len(PENS), p=PENS)) + 1):
            place = f"pen-{number}"
            day = -history
            if number > 1 and rng.random() > 0.6:
                day = -int(rng.integers(0, history + 1))
            kind = str(rng.choice(("grown", "pullets", "chicks"), p=(0.62, 0.15, 0.23)))
            while day <= 0:
                ended = self._occupy(place, day, kind)
                day = ended + int(rng.integers(0, 40))
                if number == 1 and ended <= 0:
                    day = min(day, 0)
                hatched = rng.random() < self.pens_with_hatched
                others = str(rng.choice(("grown", "pullets", "chicks"), p=(0.2, 0.5, 0.3)))
                kind = "hatched" if hatched else others

    def _occupy(self, place: str, day: int, kind: str) -> int:
        """Puts birds into a pen on a day; gives the day on which the pen is empty again."""
        rng = self.rng
        if kind == "hatched":
            grown = int(rng.integers(42, 57))
            batch = self._hatch(day - 18 - grown, place)
            if batch is None:
                kind = "pullets"
        if kind != "hatched":
            batch = self._bought(place, day, kind)
        assert batch is not None
        lasts = int(490 * np.exp(rng.normal(0.0, 0.3)))
        end = max(batch.hatched + lasts, day + int(rng.integers(60, 200)))
        self._end(batch.group, place, end, str(rng.choice(("processed", "sold", "given"))))
        return end

    def _end(self, group: str, place: str, end: int, use: str) -> None:
        self.ends[group], self.homes[group] = (end, use), place
        if end <= 0:
            self._take_out(group, end, use, cocks_kept=None)

    def _bought(self, place: str, day: int, kind: str) -> Batch:
        rng = self.rng
        ages = {"grown": (56, 420), "pullets": (35, 60), "chicks": (1, 30)}
        age = int(rng.integers(*ages[kind]))
        hens, cocks = self._pen_birds(kind)
        total = hens + cocks
        hen = np.arange(total) < hens
        if kind == "chicks":
            hen = rng.random(total) < 0.5
        hatched = day - age
        came = np.full(total, day, dtype=np.int64)
        batch = Batch(
            group=self.name(),
            place=place,
            came=came,
            hatched=hatched,
            hen=hen,
            died=death_days(rng, self.story.nature, hatched, came, hen),
            left=np.full(total, NEVER, dtype=np.int64),
            sexed_on=self._sexed(hatched, day + 2) if kind == "chicks" else day,
            housed_on=day,
            source=f"breeder-{int(rng.integers(1, 4))}" if rng.random() < 0.4 else None,
        )
        self.story.batches.append(batch)
        if kind == "chicks":
            self._thin(batch, batch.sexed_on + int(rng.integers(5, 30)))
        return batch

    def _pen_birds(self, kind: str) -> tuple[int, int]:
        """Hens and cocks bought for a pen of 1 to 60 birds, some with one hen."""
        rng = self.rng
        if rng.random() < ONE_HEN and kind != "chicks":
            return 1, int(rng.random() < 0.4)
        total = int(np.exp(rng.uniform(np.log(2.0), np.log(61.0))))
        cocks = 0 if rng.random() < 0.25 else round(total / (1.0 + rng.uniform(2.0, 6.0)))
        return max(1, total - cocks), cocks

    def _sexed(self, hatched: int, earliest: int) -> int:
        jitter = int(np.clip(np.rint(self.rng.normal(0.0, 1.2)), -2, 2))
        return max(hatched + self.sexing_day + jitter, earliest)

    def _take_out(self, group: str, day: int, use: str, cocks_kept: int | None) -> None:
        """Takes out all birds of a group, or its cocks except some."""
        if day > 0:
            return
        taken = 0
        for batch in self.story.batches:
            if batch.group_on(day) != group:
                continue
            going = batch.here(day)
            if cocks_kept is not None:
                going &= ~batch.hen
                spared = np.flatnonzero(going)[:cocks_kept]
                going[spared] = False
            batch.left[going] = day
            taken += int(going.sum())
        if taken:
            self.story.exits.append(Exit(day, group, use))

    def _thin(self, batch: Batch, day: int) -> None:
        """Takes out surplus cocks of a sexed batch."""
        hens = int((batch.hen & batch.here(day)).sum())
        kept = int(np.ceil(hens / self.rng.uniform(3.0, 6.0)))
        use = "processed" if self.rng.random() < 0.75 else "given"
        self._take_out(batch.group, day, use, cocks_kept=kept)

    def _set(self, set_on: int) -> Hatching:
        """Sets eggs, the keeper's own if there is a pen with a cock."""
        rng, story = self.rng, self.story
        laying = [
            batch
            for batch in story.batches
            if set_on - batch.hatched > 70
            and (batch.here(set_on) & batch.hen).any()
            and (batch.here(set_on) & ~batch.hen).any()
        ]
        low, high = BATCH_EGGS
        eggs = int(np.exp(rng.uniform(np.log(low), np.log(high + 1))))
        source, laid_by = None, None
        if laying and rng.random() < 0.6:
            chosen = laying[int(rng.integers(len(laying)))]
            hens = int((chosen.here(set_on) & chosen.hen).sum())
            route, laid_by = "own", chosen.group_on(set_on)
            eggs = max(3, min(eggs, 5 * hens))
            fertility, worn = story.nature.fertility, 1.0
        else:
            other = story.sources[int(rng.integers(len(story.sources)))]
            route, source = other.route, other.name
            fertility, worn = other.fertility, other.worn
        outcome = hatch_out(rng, story.nature, eggs, fertility, worn)
        hatching = Hatching(
            name=f"hatch-{len(story.hatchings) + 1}",
            place="incubator",
            set_on=set_on,
            set_hour=int(rng.integers(8, 22)),
            route=route,
            source=source,
            laid_by=laid_by,
            outcome=outcome,
            housed_on=set_on + 19,
        )
        if outcome.chicks:
            hatching.housed_on = int(hatching.seen_on.max()) + 1
        story.hatchings.append(hatching)
        return hatching

    def _brood(self, hatching: Hatching) -> Batch | None:
        """The chicks of a hatch, if any."""
        rng = self.rng
        if not hatching.outcome.chicks:
            return None
        came = hatching.seen_on
        hatched = int(came.min())
        hen = rng.random(came.size) < 0.5
        died = death_days(rng, self.story.nature, hatched, came, hen)
        batch = Batch(
            group=self.name(),
            place="brooder",
            came=came,
            hatched=hatched,
            hen=hen,
            died=np.maximum(died, hatching.housed_on),
            left=np.full(came.size, NEVER, dtype=np.int64),
            sexed_on=self._sexed(hatched, hatching.housed_on + 1),
            housed_on=hatching.housed_on,
            hatch=hatching.name,
        )
        hatching.batch = batch
        self.story.batches.append(batch)
        return batch

    def _hatch(self, set_on: int, pen: str) -> Batch | None:
        """A hatch to fill a pen, if the record reaches back so far and chicks come of it."""
        if set_on < -self.story.history_days:
            return None
        batch = self._brood(self._set(set_on))
        if batch is not None:
            self._grow_into(batch, pen)
        return batch

    def _grow_into(self, batch: Batch, pen: str) -> None:
        """Thins the cocks and moves the batch to a pen once it is sexed."""
        moved = max(batch.sexed_on, batch.hatched + int(self.rng.integers(35, 57)))
        self._thin(batch, moved)
        if moved <= 0:
            batch.pen, batch.penned_on = pen, moved

    def earlier_hatches(self) -> None:
        """Hatches beside those that filled pens: for the table, for sale, or to add hens."""
        rng, history = self.rng, self.story.history_days
        if history < 25:
            return
        for _ in range(int(rng.poisson(rng.uniform(0.0, 4.0) * history / 365.0))):
            batch = self._brood(self._set(-int(rng.integers(22, history + 1))))
            if batch is None:
                continue
            fate = str(rng.choice(("table", "sold", "joins", "stays"), p=(0.35, 0.25, 0.3, 0.1)))
            if fate == "sold":
                day = batch.housed_on + int(rng.integers(1, 30))
                self._take_out(batch.group, day, "sold", cocks_kept=None)
            elif fate == "joins":
                self._join(batch, batch.sexed_on + int(rng.integers(0, 22)))
            elif fate == "stays":
                self._grow_into(batch, f"run-{self.groups}")
            else:
                day = max(batch.sexed_on, batch.hatched + int(rng.integers(42, 70)))
                self._take_out(batch.group, day, "processed", cocks_kept=None)

    def _join(self, batch: Batch, day: int) -> None:
        """Puts the young hens into an older group that stands that day; the cocks go."""
        hosts = [
            group
            for group, (end, _) in self.ends.items()
            if end > day + 1 and self._stands(group, day)
        ]
        self._take_out(batch.group, day, "processed", cocks_kept=0)
        if not hosts or day > 0:
            return
        batch.joins, batch.joins_on = hosts[int(self.rng.integers(len(hosts)))], day
        batch.pen = self.homes[batch.joins]
        end, _ = self.ends[batch.joins]
        if end <= 0:
            batch.left[batch.here(end)] = end

    def _stands(self, group: str, day: int) -> bool:
        """Whether the group lives in its pen on that day, with grown birds."""
        return any(
            batch.group == group
            and bool(batch.here(day).any())
            and batch.sexed_on < day
            and (batch.hatch is None or batch.penned_on < day)
            for batch in self.story.batches
        )

    def hatches_under_way(self) -> None:
        """Up to two hatches that were set in the last weeks."""
        for _ in range(int(self.rng.choice(3, p=(0.4, 0.4, 0.2)))):
            self._brood(self._set(-int(self.rng.integers(0, 21))))


def _attacks(rng: Generator, story: Story) -> None:
    """Rarely, something gets at a group and kills a share of it within three nights."""
    span = LAST_DAY + story.history_days
    for _ in range(int(rng.poisson(story.nature.attacks_year * span / 365.0))):
        day = int(rng.integers(-story.history_days, LAST_DAY))
        groups = sorted({b.group_on(day) for b in story.batches if b.here(day).any()})
        if not groups:
            continue
        group, share = groups[int(rng.integers(len(groups)))], rng.uniform(0.1, 0.6)
        for batch in story.batches:
            if batch.group_on(day) != group or day <= batch.housed_on:
                continue
            killed = batch.here(day) & (rng.random(batch.hen.size) < share)
            nights = day + 1 + rng.integers(0, 3, batch.hen.size)
            batch.died[killed] = np.minimum(batch.died, nights)[killed]


def present(story: Story, batch: Batch, which: Bools) -> Ints:
    """How many of these birds are there on each evening."""
    size = story.days.size
    came = np.bincount(np.clip(batch.came[which] - story.days[0], 0, size), minlength=size + 1)
    gone = np.bincount(np.clip(batch.end[which] - story.days[0], 0, size), minlength=size + 1)
    number: Ints = np.cumsum(came - gone)[:size]
    return number


def _count(story: Story) -> None:
    size = story.days.size

    def of(group: str) -> Counts:
        zeros = (np.zeros(size, dtype=np.int64) for _ in range(3))
        return story.counts.setdefault(group, Counts(*zeros))

    for batch in story.batches:
        sexed = story.days >= batch.sexed_on
        before = story.days < batch.joins_on
        hens, cocks = present(story, batch, batch.hen), present(story, batch, ~batch.hen)
        first = of(batch.group)
        first.chicks += (hens + cocks) * ~sexed * before
        first.hens += hens * sexed * before
        first.cocks += cocks * sexed * before
        if batch.joins is not None:
            then = of(batch.joins)
            then.hens += hens * ~before
            then.cocks += cocks * ~before


def _lay(rng: Generator, story: Story) -> None:
    nature, size = story.nature, story.days.size
    light = light_of(nature, story.daylight_h)
    shape = shape_of_lay(nature)
    whole = wander(rng, size, nature.drift, nature.drift_days)
    whole *= sudden_drops(rng, size, nature.drops_year)
    level = {
        group: whole
        * wander(rng, size, 0.7 * nature.drift, nature.drift_days)
        * sudden_drops(rng, size, 0.4 * nature.drops_year)
        for group in story.counts
    }
    for group in story.counts:
        story.laid[group] = np.zeros(size, dtype=np.int64)
    for batch in story.batches:
        hens = np.flatnonzero(batch.hen)
        hatched = batch.hatched - int(story.days[0])
        first = max(int(batch.came.min()) - int(story.days[0]), hatched + 36)
        if not hens.size or first >= size:
            continue
        joined = story.days >= batch.joins_on
        of_group = level[batch.group]
        if batch.joins is not None:
            of_group = np.where(joined, level[batch.joins], of_group)
        until = min(size, int(batch.end[hens].max()) - int(story.days[0]))
        if until <= first:
            continue
        chance = chance_of_lay(
            rng, nature, light, shape, of_group[:until], hens.size, hatched, first
        )
        days = story.days[first:until]
        there = (days >= batch.came[hens, None]) & (days < batch.end[hens, None])
        eggs = ((rng.random(chance.shape, dtype=np.float32) < chance) & there).sum(axis=0)
        story.laid[batch.group][first:until] += eggs * ~joined[first:until]
        if batch.joins is not None:
            story.laid[batch.joins][first:until] += eggs * joined[first:until]


def _eat(rng: Generator, story: Story) -> None:
    """Feed used each day, spill included; a hen that does not lay eats less."""
    nature, size = story.nature, story.days.size
    grams, chicks_g = np.zeros(size), np.zeros(size)
    lay_of = {}
    for group, counts in story.counts.items():
        lay_of[group] = np.clip(story.laid[group] / np.maximum(1, counts.hens), 0.0, 1.0)
    for batch in story.batches:
        lays = lay_of[batch.group]
        if batch.joins is not None:
            lays = np.where(story.days >= batch.joins_on, lay_of[batch.joins], lays)
        age = story.days - batch.hatched
        share = appetite(age)
        eaten = (
            nature.hen_intake_g
            * share
            * (
                present(story, batch, batch.hen) * np.where(age > 60, 0.82 + 0.18 * lays, 1.0)
                + present(story, batch, ~batch.hen) * np.where(age > 60, nature.cock_share, 1.0)
            )
        )
        grams += eaten
        chicks_g += eaten * (age < 42)
    factor = cold_factor(nature, story.daylight_h) / (1.0 - nature.spill) / 1000.0
    factor *= np.exp(rng.normal(0.0, 0.04, size))
    story.feed_kg = grams * factor
    story.chick_feed_kg = chicks_g * factor

"""The record of a simulated flock, entry by entry in the order in which its keeper writes.

Habits are judgements of this study: three keepers in ten write each day; the others miss days in
runs, and then either tell the eggs of all those days as one number or lose them. Two in three weigh
feed (each day by pen, each week by pen, or each day for all pens); one in four writes water.
"""

from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

import numpy as np
from numpy.random import Generator
from studies.signs_world import Effects, Life, Setting

from quailwright.journal import entries as kinds
from quailwright.journal.entries import Entry

BROODER, CHICKS, FEED = "Brooder", "Chicks", "Layer feed"


@dataclass(frozen=True)
class Habits:
    """How one keeper writes. Shares are between 0 and 1.

    `sums`: the eggs of days missed are told with the next ones. `feed` is "pen daily", "pen
    weekly", "all daily" or "none". `air` says for which pens highs and lows are told.
    """

    missed: float
    gap_d: float
    sums: bool
    zeros: bool
    feed: str
    feed_noise: float
    water: bool
    air: str
    deaths_told: float
    head_count_every: int
    tells_lamp: bool
    rests: bool


def draw_habits(rng: Generator, kind: str) -> Habits:
    """The habits of one keeper."""
    careful = bool(rng.random() < 0.3)
    missed, gap_d = float(rng.uniform(0.02, 0.35)), float(rng.uniform(1.0, 3.0))
    drawn = Habits(
        missed=0.0 if careful else missed,
        gap_d=gap_d,
        sums=bool(rng.random() < 0.4),
        zeros=bool(rng.random() < 0.7),
        feed=str(
            rng.choice(("pen daily", "pen weekly", "all daily", "none"), p=(0.3, 0.2, 0.2, 0.3))
        ),
        feed_noise=float(rng.uniform(0.03, 0.12)),
        water=bool(rng.random() < 0.25),
        air=str(rng.choice(("all", "first", "none"), p=(0.2, 0.2, 0.6))),
        deaths_told=1.0 if careful or rng.random() < 0.6 else float(rng.uniform(0.7, 1.0)),
        head_count_every=int(rng.choice((0, 30, 60, 90))),
        tells_lamp=bool(rng.random() < 0.7),
        rests=kind == "resting",
    )
    return replace(drawn, tells_lamp=False) if kind in ("autumn", "resting") else drawn


def written_days(rng: Generator, habits: Habits, days: int) -> np.ndarray:
    """The days on which the keeper writes: gaps come in runs of `gap_d` days."""
    written = np.ones(days, dtype=np.bool_)
    draws = rng.random(days)
    ends = 1.0 / habits.gap_d
    begins = habits.missed * ends / max(1.0 - habits.missed, 0.05)
    missing = False
    for day in range(1, days):
        missing = bool(draws[day] > ends) if missing else bool(draws[day] < begins)
        written[day] = not missing
    return written


def keep(
    rng: Generator, setting: Setting, effects: Effects, life: Life, habits: Habits
) -> list[list[Entry]]:  # fmt: skip
    """Entries by the day on which they are written, and of which they tell."""
    return _Diary(rng, setting, effects, life, habits).write()


class _Diary:
    def __init__(
        self, rng: Generator, setting: Setting, effects: Effects, life: Life, habits: Habits
    ) -> None:  # fmt: skip
        self.rng, self.setting, self.effects = rng, setting, effects
        self.life, self.habits = life, habits
        self.days: list[list[Entry]] = [[] for _ in range(setting.days)]
        self.written = written_days(rng, habits, setting.days)
        # Dead birds, and chicks by the heat, are told whatever else is missed.
        self.present = np.ones(setting.days, dtype=np.bool_)
        # Who slips has written.
        for _, _, day in effects.slips:
            self.written[day] = True
        if effects.silent is not None:
            self.written[slice(*effects.silent)] = False
            self.present[slice(*effects.silent)] = False
        self.untold = np.zeros(len(setting.pens), dtype=np.int64)
        self.since = np.zeros(len(setting.pens), dtype=np.int64)
        self.recorded = np.array([pen.hens for pen in setting.pens])
        self.counted_at: list[tuple[int, int]] = []
        self.number = 0

    def _on(self, day: int) -> date:
        return self.setting.first + timedelta(days=day)

    def _add(self, kind: type[Entry], day: int, **fields: Any) -> None:
        self.number += 1
        made = f"00000000-0000-4000-8000-{self.number:012x}"
        self.days[day].append(kind(id=made, at=self._on(day).isoformat(), **fields))

    def write(self) -> list[list[Entry]]:
        """Everything, day by day."""
        self._setup()
        rng, shape = self.rng, (len(self.setting.pens), self.setting.days)
        errors = rng.normal(0.0, self.habits.feed_noise, shape)
        spills = rng.normal(0.0, 0.05, shape)
        told = rng.random(shape) < self.habits.deaths_told
        for day in range(self.setting.days):
            for place in range(shape[0]):
                self._birds(day, place, bool(told[place, day]))
                if self.written[day]:
                    self._eggs(day, place)
                else:
                    self.untold[place] += self.life.gathered[place, day]
            if self.written[day]:
                self._feed(day, errors)
                self._water(day, spills)
                self._air(day)
            self._chicks(day)
        return self.days

    def _setup(self) -> None:
        setting, habits = self.setting, self.habits
        lamp = {}
        if setting.lamp and habits.tells_lamp:
            lamp = {"light_target_h": 16.0, "lamp_on": "04:30", "lamp_off": "20:30"}
        self._add(
            kinds.Holding,
            0,
            latitude=setting.latitude,
            rests_in_winter=True if habits.rests else None,
            **lamp,
        )
        self._add(kinds.Feed, 0, feed=FEED, stage="layer")
        self._add(kinds.FeedBought, 0, feed=FEED, kg=2000.0)
        for order, pen in enumerate(setting.pens):
            self._add(
                kinds.Place, 0, place=pen.name, role="pen", walk_order=order,
                floor_m2=round(0.1 * (pen.hens + pen.cocks), 1),
            )  # fmt: skip
            self._add(
                kinds.Group, 0, group=pen.group, place=pen.name, hens=pen.hens, cocks=pen.cocks,
                hatched_on=self._on(pen.hatched),
            )  # fmt: skip

    def _birds(self, day: int, place: int, told: bool) -> None:
        pen, effects = self.setting.pens[place], self.effects
        died = int(self.life.died[place, day])
        if died and (told or day >= self.setting.onset) and self.present[day]:
            self._gone(kinds.BirdsDied, day, place, died)
        taken = self._really_gone(day, place)
        if taken and effects.told == "predator":
            self._gone(kinds.BirdsDied, day, place, taken, found="predator")
        elif taken and effects.told == "lost":
            self._gone(kinds.BirdsOut, day, place, taken, use="lost")
        elif taken:
            self.counted_at.append((min(day + 3, self.setting.days - 1), place))
        left, came = int(effects.left[place, day]), int(effects.came[place, day])
        if left:
            here = int(self.recorded[place])
            self._gone(kinds.BirdsOut, day, place, min(left, here), use="sold")
        if came:
            self.recorded[place] += came
            self._add(
                kinds.Group, day, group=pen.group, place=pen.name, hens=came,
                hatched_on=self._on(pen.hatched),
            )  # fmt: skip
        every = self.habits.head_count_every
        due = every and day % every == every - 1 and self.present[day]
        if (due or (day, place) in self.counted_at) and self.recorded[place] >= 0:
            hens = int(self.life.hens[place, day])
            self.recorded[place] = hens
            self._add(kinds.BirdsCounted, day, group=pen.group, hens=hens)

    def _really_gone(self, day: int, place: int) -> int:
        wanted = int(self.effects.taken[place, day])
        before = int(self.life.hens[place, day - 1]) if day else self.setting.pens[place].hens
        left = before - int(self.life.died[place, day]) - int(self.life.hens[place, day])
        return min(wanted, max(0, left))

    def _gone(self, kind: type[Entry], day: int, place: int, hens: int, **fields: Any) -> None:
        hens = min(hens, int(self.recorded[place]))
        if hens:
            self.recorded[place] -= hens
            self._add(kind, day, group=self.setting.pens[place].group, hens=hens, **fields)

    def _eggs(self, day: int, place: int) -> None:
        found = int(self.life.gathered[place, day])
        carried, self.untold[place] = int(self.untold[place]), 0
        if self.habits.sums:
            found += carried
        counts = {place: [found]}
        for kind, where, when in self.effects.slips:
            if day == when and place == where:
                counts = self._slip(kind, place, found)
        for pen, eggs in counts.items():
            for each in eggs:
                if each or (self.habits.zeros and self.recorded[pen]):
                    self._add(
                        kinds.EggsCollected, day, group=self.setting.pens[pen].group, eggs=each
                    )

    def _slip(self, kind: str, place: int, found: int) -> dict[int, list[int]]:
        if kind == "double":
            return {place: [found, found]}
        if kind == "swapped":
            return {(place + 1) % len(self.setting.pens): [found]}
        digits = str(found)
        at = int(self.rng.integers(len(digits)))
        way = int(self.rng.integers(3))
        if way == 0:
            wrong = digits[:at] + digits[at] + digits[at:]
        elif way == 1 and len(digits) > 1:
            wrong = digits[:at] + digits[at + 1 :]
        else:
            wrong = digits
        if int(wrong) == found:
            other = (int(digits[at]) + int(self.rng.integers(1, 10))) % 10
            wrong = digits[:at] + str(other) + digits[at + 1 :]
        return {place: [int(wrong)]}

    def _feed(self, day: int, errors: np.ndarray) -> None:
        """What is filled in: what was eaten, and a feeder filled a little more or less."""
        how, fed = self.habits.feed, self.life.fed_g
        if how == "none":
            return
        grams = []
        for place in range(fed.shape[0]):
            usual = float(fed[place, : max(day, 1)].mean())
            level = float(errors[place, day] - (errors[place, day - 1] if day else 0.0))
            if how == "pen weekly":
                if day - self.since[place] < 7:
                    continue
                eaten = float(fed[place, self.since[place] + 1 : day + 1].sum())
                self.since[place] = day
            else:
                eaten = float(fed[place, day])
            grams.append((place, max(0.0, eaten + usual * level)))
        if how == "all daily":
            whole = sum(each for _, each in grams)
            self._add(kinds.FeedGiven, day, feed=FEED, kg=round(whole / 1000.0, 2))
            return
        for place, each in grams:
            name = self.setting.pens[place].name
            self._add(kinds.FeedGiven, day, feed=FEED, kg=round(each / 1000.0, 2), place=name)

    def _water(self, day: int, spills: np.ndarray) -> None:
        if not self.habits.water:
            return
        for place, pen in enumerate(self.setting.pens):
            litres = float(self.life.drunk_l[place, day]) * (1.0 + float(spills[place, day]))
            self._add(kinds.WaterGiven, day, place=pen.name, litres=round(max(0.0, litres), 2))

    def _air(self, day: int) -> None:
        told = {"all": self.setting.pens, "first": self.setting.pens[:1], "none": ()}
        for pen in told[self.habits.air]:
            self._add(
                kinds.TemperatureSeen, day, place=pen.name,
                lowest_c=round(float(self.life.lows[day])),
                highest_c=round(float(self.life.highs[day])),
            )  # fmt: skip

    def _chicks(self, day: int) -> None:
        setting, life = self.setting, self.life
        if not setting.chicks or day < setting.chicks_hatched:
            return
        if day == setting.chicks_hatched:
            self._add(kinds.Place, day, place=BROODER, role="brooder")
            self._add(
                kinds.Group, day, group=CHICKS, place=BROODER, chicks=setting.chicks,
                hatched_on=self._on(day),
            )  # fmt: skip
        died = int(life.chicks_died[day])
        together = self.effects.chilled is not None and day == self.effects.chilled[0]
        heap = bool(together and self.rng.random() < 0.6)
        if died:
            self._add(kinds.BirdsDied, day, group=CHICKS, chicks=died, together=heap)
        if self.habits.air != "none" and day - setting.chicks_hatched < 21:
            self._add(
                kinds.TemperatureSeen, day, place=BROODER, spot="away",
                lowest_c=round(float(life.chicks_low_c[day])),
            )  # fmt: skip

"""Home flocks lived day by day: what hens of each pen lay, eat and drink, and which die.

Written apart from the program. Rates of hens come from `simulated_nature` (published spread); light
works as published (Stein & Bacon 1976; Poult Sci 1975, 54:1918). What has no source beside it is a
judgement of this study. All chance is drawn in fixed shapes before anything happens: what is
injected (`Effects`) changes nothing before its day.
"""

from dataclasses import dataclass, field
from datetime import date

import numpy as np
from numpy.random import Generator
from studies.simulated_nature import (
    Bools,
    Floats,
    Ints,
    Light,
    Nature,
    chance_of_lay,
    cold_factor,
    dark_spells,
    daylight_h,
    draw_nature,
    hazard,
    of_batch,
    shape_of_lay,
    wander,
)

LAMP_H = 16.0
MIDDLE_H, SPREAD_H = 11.5, 0.4
"""Light at which half of the hens lay [h]: none at 10, intermediate at 11.5, full at 13."""
RESTART_MORE_H = 0.3
OLD_D, YOUNG_D = 140, 89
STOPS_OLD_D, STOPS_YOUNG_D = 6.0, 15.0
"""Days to stop after 14L -> 8L: 6 from 140 days of age on, 15 up to 89 (Stein & Bacon 1976)."""
RESTARTS_D = 12.0
"""Days to lay after 8L -> 14L: 5 in old hens, 15 to 20 in young ones (the same)."""
HOT_C = 26.0
LESS_FEED_A_DEGREE = 0.018
"""Feed fell 14.75 % from 24 to 32 C; it falls from 27 C on."""
MORE_WATER_A_DEGREE = 0.06
"""Two to 2.5 times the feed, three to four times in heat (judgement between the sources)."""
LITRES_A_HEN = 0.055
"""What a hen of 165 g drinks a day at the least (Penkov et al. 2010): spill goes by it."""


@dataclass(frozen=True)
class Pen:
    """Hens and cocks of one pen on the first day, and when they hatched (a day, below 0)."""

    name: str
    hens: int
    cocks: int
    hatched: int

    @property
    def group(self) -> str:
        """The name of its birds."""
        return f"{self.name} birds"


@dataclass(frozen=True)
class Manner:
    """How the flock's days scatter, by judgement.

    `swing` is the deviation of the log odds of lay from day to day, `lasts` how much of it stays
    for the next day, `alike` the share that all pens have in common. `regular` is the share of
    hens that lay as a clock does (clutches): their eggs scatter less than chance. `late` is the
    share of eggs laid after the round, found the next day, and `late_varies` its spread.
    """

    swing: float
    lasts: float
    alike: float
    regular: float
    late: float
    late_varies: float
    feed_swing: float
    water_swing: float
    water_per_feed: float
    water_spill: float
    mean_high_c: float
    season_c: float


@dataclass(frozen=True)
class Setting:
    """One flock's circumstances. Day 0 is `first`; the days from `onset` to `days` are watched."""

    kind: str
    first: date
    onset: int
    days: int
    latitude: float
    lamp: bool
    pens: tuple[Pen, ...]
    nature: Nature
    manner: Manner
    chicks: int = 0
    chicks_hatched: int = 0


@dataclass
class Effects:
    """What is injected: factors and counts by pen and day, and where and what it is.

    `came` and `left` are hens that arrive and leave by the keeper's will; `taken` those that
    something takes; `hazard` adds to that of death. `places` are the pens where it is, the first
    one first; `cold_c` is the lowest by the chicks that night.
    """

    lay: Floats
    feed: Floats
    drink: Floats
    hazard: Floats
    taken: Ints
    came: Ints
    left: Ints
    lamp_works: Bools
    hotter_c: Floats
    places: tuple[int, ...] = ()
    chilled: tuple[int, float, float] | None = None
    silent: tuple[int, int] | None = None
    slips: list[tuple[str, int, int]] = field(default_factory=list)
    told: str = ""

    @classmethod
    def none(cls, pens: int, days: int) -> "Effects":
        """Nothing is injected."""
        whole = np.zeros((pens, days), dtype=np.int64)
        return cls(
            lay=np.ones((pens, days)),
            feed=np.ones((pens, days)),
            drink=np.ones((pens, days)),
            hazard=np.zeros((pens, days)),
            taken=whole.copy(),
            came=whole.copy(),
            left=whole.copy(),
            lamp_works=np.ones(days, dtype=np.bool_),
            hotter_c=np.zeros(days),
        )


@dataclass(frozen=True)
class Life:
    """What happened, by pen and day: (pens, days).

    `hens` are those of the evening; `laid` on the day, `gathered` found on the round of the day;
    `fed_g` leaves the feeder (spill too), `drunk_l` the drinker. `highs`, `lows` are those of the
    day [C]. Of chicks: alive in the evening, dead that morning, lowest away from the heat.
    """

    hens: Ints
    died: Ints
    laid: Ints
    gathered: Ints
    fed_g: Floats
    drunk_l: Floats
    highs: Floats
    lows: Floats
    chicks: Ints
    chicks_died: Ints
    chicks_low_c: Floats


def draw_manner(rng: Generator, latitude: float) -> Manner:
    """How the days of one flock scatter."""
    far = abs(latitude) / 50.0
    return Manner(
        swing=rng.uniform(0.05, 0.35),
        lasts=rng.uniform(0.2, 0.8),
        alike=rng.uniform(0.2, 0.8),
        regular=rng.uniform(0.0, 0.8),
        late=rng.uniform(0.0, 0.3),
        late_varies=rng.uniform(0.2, 1.0),
        feed_swing=rng.uniform(0.02, 0.06),
        water_swing=rng.uniform(0.04, 0.10),
        water_per_feed=rng.uniform(2.0, 2.5),
        water_spill=rng.uniform(0.05, 0.25),
        mean_high_c=24.0 - 7.0 * far + rng.normal(0.0, 1.5),
        season_c=8.0 * far,
    )


def draw_pens(rng: Generator, number: int, age: tuple[int, int]) -> tuple[Pen, ...]:
    """Pens of 4 to 40 hens, most with some cocks; half of the flocks are of one hatch."""
    together = rng.random() < 0.5
    ages = rng.integers(age[0], age[1], number)
    sizes = np.exp(rng.uniform(np.log(4.0), np.log(40.5), number)).astype(int)
    with_cocks = rng.random(number) < 0.6
    return tuple(
        Pen(
            f"Pen {'ABCDEF'[place]}",
            int(hens),
            max(1, int(hens) // 4) if cocks else 0,
            -int(ages[0] if together else ages[place]),
        )
        for place, (hens, cocks) in enumerate(zip(sizes, with_cocks, strict=True))
    )


def wobble(rng: Generator, shape: tuple[int, int], spread: float, lasts: float) -> Floats:
    """A series of each row that swings by `spread` and keeps `lasts` of it for the next day."""
    steps = rng.normal(0.0, spread, shape)
    series = np.empty(shape)
    series[:, 0] = steps[:, 0]
    for day in range(1, shape[1]):
        series[:, day] = lasts * series[:, day - 1] + np.sqrt(1.0 - lasts**2) * steps[:, day]
    return series


def answer_to_light(hours: Floats, ages: Ints, needs: Floats, slow: Floats) -> Bools:
    """Which hens (hens, days) are out of lay for want of light.

    `ages` are those of the hens by day, `needs` the light that each needs, `slow` how much slower
    than the mean hen each stops and starts.
    """
    days = np.arange(hours.size)
    out = np.zeros((needs.size, hours.size), dtype=np.bool_)
    kinds = np.round(needs, 1)
    for kind in np.unique(kinds):
        rows = np.flatnonzero(kinds == kind)
        for dark, bright in dark_spells(hours, float(kind), float(kind) + RESTART_MORE_H):
            at = min(max(dark, 0), hours.size - 1)
            grown = np.clip((ages[rows, at] - YOUNG_D) / (OLD_D - YOUNG_D), 0.0, 1.0)
            stops = (STOPS_YOUNG_D + (STOPS_OLD_D - STOPS_YOUNG_D) * grown) * slow[rows]
            starts = RESTARTS_D * slow[rows]
            out[rows] |= (days >= dark + stops[:, None]) & (days < bright + starts[:, None])
    return out


def live(rng: Generator, setting: Setting, effects: Effects) -> Life:
    """The flock's days, with what is injected."""
    days, number = setting.days, len(setting.pens)
    manner, nature = setting.manner, setting.nature
    at = np.arange(days)
    natural = daylight_h(setting.latitude, setting.first, at)
    lit = np.maximum(natural, LAMP_H) if setting.lamp else natural
    hours = np.where(effects.lamp_works, lit, natural)
    season = -np.cos(2.0 * np.pi * (setting.first.timetuple().tm_yday + at - 20) / 365.25)
    season = season if setting.latitude >= 0.0 else -season
    weather = wobble(rng, (1, days), 3.0, 0.7)[0]
    highs = np.minimum(manner.mean_high_c + manner.season_c * season + weather, 31.0)
    highs = highs + effects.hotter_c
    lows = highs - 9.0
    shared = wobble(rng, (1, days), manner.swing, manner.lasts)
    own = wobble(rng, (number, days), manner.swing, manner.lasts)
    swing = np.sqrt(manner.alike) * shared + np.sqrt(1.0 - manner.alike) * own
    level = wander(rng, days, nature.drift, nature.drift_days)
    shape = shape_of_lay(nature)
    eats = wobble(rng, (number, days), manner.feed_swing, 0.5)
    drinks = wobble(rng, (number, days), manner.water_swing, 0.4)
    late = np.clip(
        manner.late * np.exp(rng.normal(0.0, manner.late_varies, (number, days))), 0.0, 0.6
    )
    hot = np.maximum(0.0, highs - HOT_C)
    counts = {name: np.zeros((number, days), dtype=np.int64) for name in _COUNTS}
    fed, drunk = np.zeros((number, days)), np.zeros((number, days))
    for place, pen in enumerate(setting.pens):
        there, died, chance = _birds(rng, setting, effects, place, shape, level, hours)
        odds = np.log(chance / (1.0 - chance)) + swing[place]
        chance = np.where(chance > 1e-6, 1.0 / (1.0 + np.exp(-odds)), 0.0) * effects.lay[place]
        laid = _eggs(rng, chance, manner.regular) & there
        missed = (rng.random(laid.shape) < late[place]) & laid
        counts["hens"][place] = there.sum(axis=0)
        counts["died"][place] = died
        counts["laid"][place] = laid.sum(axis=0)
        missed_by_day = missed.sum(axis=0)
        counts["gathered"][place] = counts["laid"][place] - missed_by_day
        counts["gathered"][place][1:] += missed_by_day[:-1]
        # A hen out of lay eats about three quarters of what a laying one eats.
        laying = (there * (0.75 + 0.25 * np.minimum(1.0, chance / 0.85))).sum(axis=0)
        mouths = laying + pen.cocks * nature.cock_share
        eaten = mouths * nature.hen_intake_g * cold_factor(nature, natural)
        eaten = eaten * (1.0 - LESS_FEED_A_DEGREE * hot) * np.exp(eats[place])
        fed[place] = eaten * effects.feed[place] * (1.0 + nature.spill)
        water = eaten * manner.water_per_feed / 1000.0 * (1.0 + MORE_WATER_A_DEGREE * hot)
        drunk[place] = water * np.exp(drinks[place]) * effects.drink[place]
        drunk[place] += LITRES_A_HEN * pen.hens * manner.water_spill
    chicks, chicks_died, cold = _chicks(rng, setting, effects)
    return Life(
        **counts, fed_g=fed, drunk_l=drunk, highs=highs, lows=lows,
        chicks=chicks, chicks_died=chicks_died, chicks_low_c=cold,
    )  # fmt: skip


_COUNTS = ("hens", "died", "laid", "gathered")


def _birds(
    rng: Generator, setting: Setting, effects: Effects, place: int,
    shape: Floats, level: Floats, hours: Floats,
) -> tuple[Bools, Ints, Floats]:  # fmt: skip
    """Which hens are there (hens, days), how many died by day, and each one's chance of an egg."""
    pen, days, nature = setting.pens[place], setting.days, setting.nature
    at = np.arange(days)
    first = chance_of_lay(
        rng, nature, Light(np.zeros(1)), shape, level, pen.hens, pen.hatched, 0
    )  # fmt: skip
    more = int(effects.came[place].sum())
    chance = first
    if more:
        # Hens that come are of the age of those that are there.
        chance = np.concatenate([first, first[np.arange(more) % pen.hens]])
    hens = chance.shape[0]
    begins = np.zeros(hens, dtype=np.int64)
    begins[pen.hens :] = np.repeat(at, effects.came[place])
    draws = rng.random((4, pen.hens))
    borne, order, needs, slow = (np.resize(row, hens) for row in draws)
    ages = np.broadcast_to(at - pen.hatched, (hens, days))
    usual = hazard(nature, 0.0, 0.0, 1.0)[np.clip(at - pen.hatched, 42, None)]
    hazards = np.cumsum(usual + effects.hazard[place])
    dies = np.searchsorted(hazards, -np.log1p(-borne))
    dies = np.where(dies >= begins, dies, days)
    there = (at >= begins[:, None]) & (at < dies[:, None])
    died = np.bincount(dies[dies < days], minlength=days)[:days]
    for day in np.flatnonzero(effects.taken[place] + effects.left[place]):
        here = np.flatnonzero(there[:, day])
        go = here[np.argsort(order[here])][
            : int(effects.taken[place, day] + effects.left[place, day])
        ]
        there[go, day:] = False
        # One that is gone does not die later.
        later = dies[go][dies[go] < days]
        died -= np.bincount(later, minlength=days)[:days]
        dies[go] = days
    dark = answer_to_light(
        hours,
        ages,
        MIDDLE_H + SPREAD_H * np.sqrt(12.0) * (needs - 0.5),
        np.exp(0.5 * (slow - 0.5)),
    )
    chance = np.where(dark, nature.winter_lay * chance, chance)
    return there, died, np.clip(chance, 1e-9, 0.985)


def _eggs(rng: Generator, chance: Floats, regular: float) -> Bools:
    """Which hens lay on which day: some by chance each day, some as clutches run."""
    hens, days = chance.shape
    draws = rng.random((hens, days))
    clock = rng.random((hens, 1)) < regular
    start = rng.random((hens, 1))
    run = np.floor(np.cumsum(chance, axis=1) + start)
    by_clock: Bools = np.diff(run, axis=1, prepend=0.0) > 0
    laid: Bools = np.where(clock, by_clock, draws < chance)
    return laid


def _chicks(rng: Generator, setting: Setting, effects: Effects) -> tuple[Ints, Ints, Floats]:
    """Chicks alive by day, dead by day, and the lowest away from the heat [C]."""
    days, nature = setting.days, setting.nature
    at = np.arange(days)
    low = wobble(rng, (1, days), 1.5, 0.6)[0] + rng.uniform(19.0, 24.0)
    week_1, week_2 = of_batch(rng, nature.died_week_1), of_batch(rng, nature.died_week_2)
    draws = rng.random(max(setting.chicks, 1))
    order = rng.permutation(max(setting.chicks, 1))
    if not setting.chicks:
        none = np.zeros(days, dtype=np.int64)
        return none, none.copy(), low
    age = at - setting.chicks_hatched
    daily = np.where(age >= 0, hazard(nature, week_1, week_2, 1.0)[np.maximum(age, 0)], 0.0)
    dies = np.searchsorted(np.cumsum(daily), -np.log1p(-draws))
    if effects.chilled is not None:
        night, lowest, share = effects.chilled
        low[night] = lowest
        alive = np.flatnonzero(dies > night)
        gone = alive[np.argsort(order[alive])][: max(1, round(share * alive.size))]
        dies[gone] = np.minimum(dies[gone], night + (order[gone] % 4 == 0))
    died = np.bincount(dies[dies < days], minlength=days)[:days]
    alive_by_day = np.where(age >= 0, setting.chicks - np.cumsum(died), 0)
    return alive_by_day, died, low


def draw_world(
    rng: Generator, kind: str, first: date, onset: int, days: int, latitude: float, lamp: bool,
    pens: tuple[Pen, ...], chicks: int = 0, chicks_hatched: int = 0,
) -> Setting:  # fmt: skip
    """A setting with its nature drawn. Sudden drops and attacks are injected, not natural."""
    return Setting(
        kind, first, onset, days, latitude, lamp, pens, draw_nature(rng),
        draw_manner(rng, latitude), chicks, chicks_hatched,
    )  # fmt: skip

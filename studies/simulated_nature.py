"""What is true of one simulated flock and its place: light, lay, deaths, hatching and feed.

Written apart from `quailwright.husbandry` and `quailwright.outlook`, from the published figures,
and where those allow it in other functional forms: it is there to check forecasts from outside.
Days are whole numbers, today is 0. Ages are days. Figures without a source beside them are
assumptions of this study.
"""

from dataclasses import dataclass, field
from datetime import date

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

WEEKS_AHEAD = 26
LAST_DAY = 7 * WEEKS_AHEAD
NEVER = 1_000_000
OLDEST = 2400

ICC = 0.02
"""Likeness of the eggs of one batch, beyond the flock's own rate: four strains in batches of about
30 eggs scattered little more than chance."""

WEIGHT_OF_BATCH = 1.0 / ICC - 1.0


@dataclass(frozen=True)
class Site:
    """Where the flock lives, and what its journal says of that."""

    latitude: float
    lamp_h: float | None
    tells_latitude: bool
    tells_lamp: bool
    zone: str

    @property
    def light(self) -> str:
        """The kind of light, for the breakdown of scores."""
        if self.lamp_h is not None:
            return "lamp, told" if self.tells_lamp else "lamp, not told"
        if not self.tells_latitude:
            return "no lamp, latitude not told"
        return "no lamp, below 30 degrees" if abs(self.latitude) < 30.0 else "no lamp, 30 or more"


NORTHERN = ("Europe/Lisbon", "Europe/Berlin", "America/Chicago", "Asia/Tokyo")
SOUTHERN = ("Australia/Sydney", "America/Santiago", "Africa/Johannesburg")


def draw_site(rng: Generator) -> Site:
    """Half have a lamp and say so; of the others, three in ten have one and say nothing."""
    away = rng.uniform(30.0, 58.0) if rng.random() < 0.75 else rng.uniform(0.0, 30.0)
    south = rng.random() < 0.35
    tells_lamp = bool(rng.random() < 0.5)
    lamp = tells_lamp or rng.random() < 0.3
    zones = SOUTHERN if south else NORTHERN
    return Site(
        latitude=round(-away if south else away, 1),
        lamp_h=float(np.round(2.0 * rng.uniform(14.0, 16.5)) / 2.0) if lamp else None,
        tells_latitude=bool(rng.random() < 0.8),
        tells_lamp=tells_lamp,
        zone=str(rng.choice(zones)) if rng.random() < 0.7 else "",
    )


@dataclass(frozen=True)
class Nature:
    """The true rates of one flock."""

    fertility: float
    hatch_of_fertile: float
    machine_hours: float
    chick_spread_hours: float
    died_week_1: float
    died_week_2: float
    hen_deaths_week: float
    ageing_days: float
    first_egg_day: float
    rise_days: float
    peak_lay: float
    peak_day: float
    short_of_peak: float
    left_at_60_weeks: float
    decline: str
    decline_from_day: float
    hens_differ: float
    barren: float
    pauses_year: float
    light_needed_h: float
    light_restart_h: float
    stop_days: float
    restart_days: float
    winter_lay: float
    drift: float
    drift_days: float
    drops_year: float
    attacks_year: float
    hen_intake_g: float
    cock_share: float
    spill: float
    season_of_intake: float
    cracked: float


PEAK_LAY = (0.70, 0.985)
"""Bounds of a usual hen's lay at her best. Groups peak lower, for barren and pausing hens: at 77 to
93 % in nine of ten flocks. Print has 88 to 98 % at the best (Narinc et al. 2013) and 60 % over a
year on litter (Maiduguri 2022)."""

LEFT_AT_60_WEEKS = (0.50, 0.97)
"""Of the peak's lay at 60 weeks. Between 0.70 and 0.87 in ordinary and good care; near 0.9 in an
uncrowded trial (Aichi); the second year brought half the eggs of the first in old stock (Woodard &
Abplanalp)."""


def draw_nature(rng: Generator) -> Nature:
    """Rates of one flock, from the published spread between flocks."""
    heavy = rng.random() < 0.25
    light_needed_h = rng.uniform(11.2, 11.8)
    return Nature(
        fertility=rng.beta(8.0, 2.0),
        hatch_of_fertile=rng.beta(9.0, 3.5),
        # 408 h at 37.5 C; hatches of 2400 eggs ran from 405 to 441 h (S Afr J Anim Sci 2005).
        machine_hours=rng.normal(410.0, 8.0),
        chick_spread_hours=rng.uniform(6.0, 10.0),
        died_week_1=rng.beta(3.0, 37.0),
        died_week_2=rng.beta(2.0, 98.0),
        # Median 0.4 %, nine in ten between 0.1 and 1.5 %.
        hen_deaths_week=min(0.05, 0.004 * np.exp(rng.normal(0.0, np.log(15.0) / (2 * 1.645)))),
        ageing_days=rng.uniform(400.0, 1000.0),
        # 42.8 d at 14 h of light (Stein & Bacon 1976); 48 to 54 d in heavy and in slow lines.
        first_egg_day=rng.normal(50.0, 2.5) if heavy else rng.normal(44.0, 2.5),
        rise_days=rng.uniform(3.0, 10.0),
        peak_lay=PEAK_LAY[0] + (PEAK_LAY[1] - PEAK_LAY[0]) * rng.beta(4.0, 2.0),
        # Best week in week 11 (Rahimzadeh 2016) up to week 19 (Maiduguri 2022).
        peak_day=7.0 * rng.uniform(11.0, 19.0),
        short_of_peak=rng.uniform(0.02, 0.12),
        left_at_60_weeks=LEFT_AT_60_WEEKS[0]
        + (LEFT_AT_60_WEEKS[1] - LEFT_AT_60_WEEKS[0]) * rng.beta(4.0, 2.2),
        decline=str(rng.choice(("steady", "straight", "late"))),
        decline_from_day=7.0 * rng.uniform(26.0, 40.0),
        hens_differ=rng.uniform(0.3, 0.9),
        barren=rng.uniform(0.0, 0.05),
        pauses_year=rng.uniform(0.0, 1.2),
        light_needed_h=light_needed_h,
        light_restart_h=light_needed_h + rng.uniform(0.0, 0.6),
        stop_days=rng.uniform(7.0, 12.0),
        restart_days=rng.uniform(8.0, 18.0),
        winter_lay=rng.uniform(0.0, 0.06) if rng.random() < 0.3 else 0.0,
        drift=rng.uniform(0.0, 0.10),
        drift_days=rng.uniform(40.0, 180.0),
        drops_year=rng.uniform(0.0, 1.0),
        attacks_year=0.08,
        hen_intake_g=rng.uniform(20.0, 28.0),
        cock_share=rng.uniform(0.65, 0.9),
        spill=rng.uniform(0.05, 0.20),
        season_of_intake=rng.uniform(0.0, 0.06),
        cracked=rng.uniform(0.0, 0.04),
    )


def of_batch(rng: Generator, rate: float) -> float:
    """The rate of one batch, scattered round the flock's by `ICC`."""
    sure = min(max(rate, 1e-4), 1.0 - 1e-4)
    return float(rng.beta(sure * WEIGHT_OF_BATCH, (1.0 - sure) * WEIGHT_OF_BATCH))


# --- light ---------------------------------------------------------------------------------------


def daylight_h(latitude: float, today: date, days: Ints) -> Floats:
    """Hours from sunrise to sunset on each day: Spencer's series for the sun's declination
    (1971, Fourier series representation of the position of the sun; from memory), with the sun's
    upper edge and refraction at 0.833 degrees."""
    turn = 2.0 * np.pi * ((today.timetuple().tm_yday - 1 + days) % 365.2422) / 365.2422
    declination = (
        0.006918
        - 0.399912 * np.cos(turn)
        + 0.070257 * np.sin(turn)
        - 0.006758 * np.cos(2 * turn)
        + 0.000907 * np.sin(2 * turn)
        - 0.002697 * np.cos(3 * turn)
        + 0.00148 * np.sin(3 * turn)
    )
    phi = np.radians(latitude)
    cosine = (np.sin(np.radians(-0.833)) - np.sin(phi) * np.sin(declination)) / (
        np.cos(phi) * np.cos(declination)
    )
    hours: Floats = np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))) * 2.0 / 15.0
    return hours


def dark_spells(hours: Floats, needed_h: float, restart_h: float) -> list[tuple[int, int]]:
    """Spells of too little light as (first, end) places in `hours`: they begin below `needed_h`
    and end when `restart_h` is reached. A spell that the series opens with began long before."""
    low, high = hours < needed_h, hours >= restart_h
    spells: list[tuple[int, int]] = []
    place = 0
    while place < hours.size:
        ahead = np.flatnonzero(low[place:])
        if not ahead.size:
            break
        first = place + int(ahead[0])
        after = np.flatnonzero(high[first:])
        place = first + int(after[0]) if after.size else hours.size + 100
        spells.append((first if first else -100, place))
    return spells


# --- lay -----------------------------------------------------------------------------------------


def shape_of_lay(nature: Nature) -> Floats:
    """Lay of a hen that lays at her best at the peak, by her age in days: she nears the peak from
    below, and then declines in one of three ways."""
    age = np.arange(OLDEST, dtype=np.float64)
    peak, left = nature.peak_day, nature.left_at_60_weeks
    before = 1.0 - nature.short_of_peak * np.clip((peak - age) / (peak - 50.0), 0.0, 1.0)
    if nature.decline == "steady":
        after = left ** (np.maximum(0.0, age - peak) / (420.0 - peak))
    else:
        since = peak if nature.decline == "straight" else max(peak, nature.decline_from_day)
        after = 1.0 - (1.0 - left) * np.maximum(0.0, age - since) / (420.0 - since)
    shape: Floats = before * np.maximum(0.03, after)
    return shape


def wander(rng: Generator, size: int, drift: float, drift_days: float) -> Floats:
    """A slow wandering of the level of lay, as a factor a day."""
    weeks = size // 7 + 2
    kept = np.exp(-7.0 / drift_days)
    steps = rng.normal(0.0, drift, weeks)
    levels = np.empty(weeks)
    level = steps[0]
    for week in range(weeks):
        level = kept * level + np.sqrt(1.0 - kept**2) * steps[week]
        levels[week] = level
    factor: Floats = np.exp(np.interp(np.arange(size) / 7.0, np.arange(weeks), levels))
    return factor


def sudden_drops(rng: Generator, size: int, a_year: float) -> Floats:
    """A factor a day: drops by 15 to 80 % within days. Three in four recover within weeks."""
    factor = np.ones(size)
    days = np.arange(size)
    for start in rng.integers(0, size, rng.poisson(a_year * size / 365.0)):
        depth = rng.uniform(0.15, 0.8)
        falls, stays, mends = rng.uniform(1, 4), rng.uniform(0, 10), rng.uniform(7, 42)
        lasting = 0.0 if rng.random() < 0.75 else rng.uniform(0.3, 1.0) * min(depth, 0.5)
        knots = np.cumsum([start, falls, stays, mends])
        factor *= np.interp(days, knots, [1.0, 1.0 - depth, 1.0 - depth, 1.0 - lasting])
    return factor


@dataclass
class Light:
    """Spells of too little light for some of the hens each, as places in the series of days."""

    lags_h: Floats
    spells: list[list[tuple[int, int]]] = field(default_factory=list)


def light_of(nature: Nature, hours: Floats) -> Light:
    """Spells for hens that need less or more light than most: so the response is partial between
    11 and 12 h (Poult Sci 1975, 54:1918)."""
    light = Light(np.array([-0.5, -0.25, 0.0, 0.25, 0.5]))
    for lag in light.lags_h:
        needed, restart = nature.light_needed_h + lag, nature.light_restart_h + lag
        light.spells.append(dark_spells(hours, needed, restart))
    return light


def chance_of_lay(
    rng: Generator, nature: Nature, light: Light, shape: Floats, level: Floats,
    hens: int, hatched: int, first: int,
) -> Floats:  # fmt: skip
    """Each hen's chance of an egg, (hens, days), for hens hatched at place `hatched` of the series
    of days (may lie before it), from place `first` to its end."""
    places = np.arange(first, level.size)
    ages = np.clip(places - hatched, 0, OLDEST - 1)
    odds = np.log(nature.peak_lay / (1.0 - nature.peak_lay)) + rng.normal(
        0.0, nature.hens_differ, hens
    )
    best = np.where(rng.random(hens) < nature.barren, 0.0, 1.0 / (1.0 + np.exp(-odds)))
    keeps_up = np.exp(rng.normal(0.0, 0.35, hens))
    begins = np.clip(rng.normal(nature.first_egg_day, 4.0, hens), 36.0, 75.0)
    rising = 1.0 - np.exp(-np.maximum(0.0, ages - begins[:, None] + 1.0) / nature.rise_days)
    rising[ages < begins[:, None]] = 0.0
    chance: Floats = np.exp(keeps_up[:, None] * np.log(shape[ages])) * rising
    chance *= best[:, None] * level[places]
    np.minimum(chance, 0.985, out=chance)

    kind = rng.integers(0, light.lags_h.size, hens)
    stop = np.clip(rng.normal(nature.stop_days, 2.5, hens), 2.0, 16.0)
    restart = np.clip(rng.normal(nature.restart_days, 3.0, hens), 5.0, 23.0)
    for which, spells in enumerate(light.spells):
        rows = np.flatnonzero(kind == which)
        for dark, bright in spells:
            if bright + 25 < first or not rows.size:
                continue
            idle = (places >= dark + stop[rows, None]) & (places < bright + restart[rows, None])
            chance[rows] = np.where(idle, chance[rows] * nature.winter_lay, chance[rows])

    pauses = rng.poisson(nature.pauses_year * places.size / 365.0, hens)
    for hen in np.flatnonzero(pauses):
        for start in rng.integers(0, places.size, pauses[hen]):
            if ages[start] > 180:
                chance[hen, start : start + int(rng.integers(7, 36))] = 0.0
    return chance


# --- deaths --------------------------------------------------------------------------------------


def hazard(nature: Nature, week_1: float, week_2: float, factor: float) -> Floats:
    """The hazard of death on each day of age, for a batch of chicks with these deaths in its first
    two weeks; `factor` is that of the sex as a grown bird."""
    age = np.arange(OLDEST, dtype=np.float64)
    grown = -np.log1p(-nature.hen_deaths_week) / 7.0 * factor
    daily: Floats = grown * np.exp(np.maximum(0.0, age - 365.0) / nature.ageing_days)
    daily[:42] = 0.003 / 7.0
    early = np.exp(-np.arange(7) / 2.5)
    daily[:7] = -np.log1p(-min(week_1, 0.95)) * early / early.sum()
    daily[7:14] = -np.log1p(-min(week_2, 0.95)) / 7.0
    return daily


COCKS_DIE = 0.6


def death_days(rng: Generator, nature: Nature, hatched: int, came: Ints, hen: Bools) -> Ints:
    """The day on which each bird of a batch is found dead, after the day on which it came.

    Birds differ in frailty, so that a flock's rate is no bird's own.
    """
    week_1, week_2 = of_batch(rng, nature.died_week_1), of_batch(rng, nature.died_week_2)
    frailty = rng.gamma(4.0, 0.25, hen.size)
    died = np.full(hen.size, NEVER, dtype=np.int64)
    for sex, factor in ((True, 1.0), (False, COCKS_DIE)):
        birds = np.flatnonzero(hen == sex)
        borne = np.concatenate([[0.0], np.cumsum(hazard(nature, week_1, week_2, factor))])
        age = np.clip(came[birds] - hatched, 0, OLDEST - 1)
        until = borne[age] + rng.exponential(1.0, birds.size) / frailty[birds]
        died[birds] = hatched + np.searchsorted(borne, until)
    return died


# --- feed ----------------------------------------------------------------------------------------


def appetite(age: Ints) -> Floats:
    """Intake as a share of a grown bird's: an S-curve that eats 450 g in 42 days where a laying
    hen eats 24 g a day. Print has 407 to 513 g (Moura; Lima; Assiut trials)."""
    share: Floats = 1.0 / (1.0 + np.exp(-(np.maximum(age, 0) - 24.0) / 11.0))
    return share


def cold_factor(nature: Nature, hours: Floats) -> Floats:
    """More is eaten in the short days."""
    factor: Floats = 1.0 + nature.season_of_intake * np.clip((12.0 - hours) / 4.0, -1.0, 1.0)
    return factor


# --- hatching ------------------------------------------------------------------------------------

EMBRYO_DEATHS = (0.34, 0.25, 0.41)
"""Early, middle and late: 10.25, 7.57 and 12.30 % of eggs in one trial."""


@dataclass(frozen=True)
class Outcome:
    """What becomes of the eggs of one setting. `hours` are those of each chick after setting."""

    eggs: int
    infertile: int
    early: int
    middle: int
    late: int
    hours: Floats

    @property
    def chicks(self) -> int:
        """Chicks that hatch."""
        return self.hours.size


def hatch_out(
    rng: Generator, nature: Nature, eggs: int, fertility: float, worn: float
) -> Outcome:  # fmt: skip
    """The outcome of a setting; `worn` is the factor of the road on hatch of fertile."""
    fertile = int(rng.binomial(eggs, of_batch(rng, fertility)))
    chicks = int(rng.binomial(fertile, of_batch(rng, worn * nature.hatch_of_fertile)))
    early, middle, late = (int(n) for n in rng.multinomial(fertile - chicks, EMBRYO_DEATHS))
    middle_of_hatch = nature.machine_hours + rng.normal(0.0, 3.0)
    hours = np.clip(rng.normal(middle_of_hatch, nature.chick_spread_hours, chicks), 370.0, 470.0)
    return Outcome(eggs, eggs - fertile, early, middle, late, np.sort(hours))

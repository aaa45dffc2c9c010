"""The weeks ahead bird by bird on simpy, a general simulation library: a second way to one answer.

Every bird is a process that wakes once a week, may die and may lay; a process of its own brings the
week's luck that birds share. Birds, rates and ages are those of `outlook.simulate`; how they are
followed is written anew here.
"""

from collections.abc import Generator, Sequence
from dataclasses import dataclass
from datetime import date
from math import exp, sqrt
from random import Random

import numpy as np
import simpy
from numpy.random import Generator as Drawing

from quailwright.flock.cohorts import classes_of
from quailwright.flock.light import Light, lay_share
from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.outlook.lay import Walk, by_row, curves
from quailwright.outlook.learning import expit
from quailwright.outlook.rates import RateDraws, cock_shift
from quailwright.outlook.simulate import Flight


@dataclass(frozen=True)
class Believed:
    """One draw of every rate.

    Attributes:
        dies: chance of a bird of each flight to die in a usual week, by age class.
        level: of each flight before the first week [log odds].
        usual: the holding's usual level [log odds].
        walk: how levels move.
        share: of full lay that age and light leave, by flight and week.
        attacks_a_week: chance that a flight loses many birds at once in a week.
    """

    dies: dict[str, list[float]]
    level: list[float]
    usual: float
    walk: Walk
    share: list[list[float]]
    attacks_a_week: float


@dataclass
class Tally:
    """What happened to all birds of one draw: eggs and deaths of all weeks, hens at the end."""

    eggs: int = 0
    deaths: int = 0
    hens: int = 0


def believed(
    flights: Sequence[Flight], draws: RateDraws, light: Light, on: date, weeks: int, rng: Drawing
) -> list[Believed]:
    """The rates of each draw for birds that are there and whose groups have no record yet."""
    odds = {
        name: np.array([drawn.log_odds((flight.group,), rng) for flight in flights])
        for name, drawn in draws.deaths.items()
    }
    odds["hen"] = odds.pop("adult")
    odds["cock"] = odds["hen"] + cock_shift()
    dies = {name: expit(own) for name, own in odds.items()}
    belief = draws.rates.lay
    levels = np.array([belief.new_level(draws.rows, rng) for _ in flights])
    middles = (on - light.first).days + _MIDDLE_D + DAYS_A_WEEK * np.arange(weeks)
    shares = np.array(
        [
            by_row(lay_share(light, curves(), middles, np.full(weeks, born)), belief.hens)
            for born in [(flight.hatched_on - light.first).days for flight in flights]
        ]
    )
    return [
        Believed(
            {name: own[:, draw].tolist() for name, own in dies.items()},
            levels[:, draw].tolist(),
            float(belief.hens.usual[row]),
            Walk.of(int(belief.hens.restless[row])),
            shares[:, :, row].tolist(),
            draws.rates.attacks_a_week,
        )
        for draw, row in enumerate(draws.rows)
    ]


def live(
    flights: Sequence[Flight], draw: int, rates: Believed, on: date, weeks: int, chance: Random
) -> Tally:
    """Lets the birds of one draw live for so many weeks."""
    environment = simpy.Environment()
    farm = _Farm(flights, rates, on, weeks, chance)
    environment.process(_luck(environment, farm))
    for row, flight in enumerate(flights):
        for _ in range(int(flight.hens[draw])):
            environment.process(_hen(environment, farm, row))
        for _ in range(int(flight.cocks[draw])):
            environment.process(_cock(environment, farm, row))
    environment.run(until=weeks)
    return farm.tally


Life = Generator[simpy.Event, None, None]


def _luck(environment: simpy.Environment, farm: "_Farm") -> Life:
    while True:
        farm.begin(int(environment.now))
        yield environment.timeout(1)


def _hen(environment: simpy.Environment, farm: "_Farm", row: int) -> Life:
    farm.tally.hens += 1
    random = farm.chance.random
    while True:
        dies = random() < farm.hens_die[row]
        days = farm.chance.randrange(DAYS_A_WEEK) if dies else DAYS_A_WEEK
        rate = farm.lay[row]
        if rate:
            farm.tally.eggs += sum(random() < rate for _ in range(days))
        if dies:
            farm.tally.deaths += 1
            farm.tally.hens -= 1
            return
        yield environment.timeout(1)


def _cock(environment: simpy.Environment, farm: "_Farm", row: int) -> Life:
    while True:
        if farm.chance.random() < farm.cocks_die[row]:
            farm.tally.deaths += 1
            return
        yield environment.timeout(1)


class _Farm:
    """What birds share in a week: chances to die and to lay, by flight."""

    def __init__(
        self,
        flights: Sequence[Flight],
        rates: Believed,
        on: date,
        weeks: int,
        chance: Random,
    ) -> None:
        self.tally, self.chance = Tally(), chance
        self.hens_die: list[float] = []
        self.cocks_die: list[float] = []
        self.lay: list[float] = []
        self._rates = rates
        self._level = list(rates.level)
        self._mends = [False] * len(flights)
        self._now_d = [(on - flight.hatched_on).days for flight in flights]
        self._first_egg_d, _ = facts.spread("laying.first_egg_age_d")
        self._deaths_sd = facts.value("forecast.deaths_week_log_sd")
        self._attack_part = facts.figure("forecast.attack_part")
        self._doubt = chance.gauss(0, 1)
        self._doubt_now = facts.value("forecast.level_doubt_now")
        self._doubt_later = facts.value("forecast.level_doubt_later")
        self._doubt_w = facts.value("forecast.level_doubt_w")
        self._shared = facts.value("laying.week_shared")
        self._spread = facts.value("laying.level_logit_group_sd")
        usual = 1.0 / (1.0 + exp(-facts.value("laying.level_logit_mean")))
        self._noise = sqrt(rates.walk.icc / (usual * (1.0 - usual)))

    def begin(self, week: int) -> None:
        """Brings the luck of a week: deaths that pens share or that come at once, and lay."""
        shock = exp(self._deaths_sd * self.chance.gauss(0, 1) - self._deaths_sd**2 / 2)
        common = self.chance.gauss(0, 1)
        whole = min(1.0, week / self._doubt_w)
        doubt = self._doubt * (self._doubt_now + (self._doubt_later - self._doubt_now) * whole)
        ages = [now + DAYS_A_WEEK * week for now in self._now_d]
        self.hens_die = [self._dies(row, age, "hens", shock) for row, age in enumerate(ages)]
        self.cocks_die = [self._dies(row, age, "cocks", shock) for row, age in enumerate(ages)]
        for row in range(len(ages)):
            if self.chance.random() < self._rates.attacks_a_week:
                self._attack(row)
        self.lay = [self._lays(row, age, week, common, doubt) for row, age in enumerate(ages)]

    def _attack(self, row: int) -> None:
        part = self.chance.uniform(self._attack_part.low or 0.0, self._attack_part.high or 1.0)
        for die in (self.hens_die, self.cocks_die):
            die[row] = 1.0 - (1.0 - die[row]) * (1.0 - part)

    def _dies(self, row: int, age_d: int, sex: str, shock: float) -> float:
        """Chance of a bird of that age to die in the week, day by day as it grows older."""
        first, last = classes_of(age_d, sex), classes_of(age_d + DAYS_A_WEEK - 1, sex)
        if first == last:
            return self._dies_as(first[0], row, shock)
        lives = 1.0
        for day in range(DAYS_A_WEEK):
            (name,) = classes_of(age_d + day, sex)
            lives *= (1.0 - self._dies_as(name, row, shock)) ** (1.0 / DAYS_A_WEEK)
        return 1.0 - lives

    def _dies_as(self, name: str, row: int, shock: float) -> float:
        usual = self._rates.dies[name][row]
        return min(1.0, usual * shock) if name in ("hen", "cock") else usual

    def _lays(self, row: int, age_d: int, week: int, common: float, doubt: float) -> float:
        self._move(row, common)
        if age_d + _MIDDLE_D < self._first_egg_d:
            return 0.0
        odds = self._level[row] + self._noise * self.chance.gauss(0, 1) + doubt
        return self._rates.share[row][week] / (1.0 + exp(-odds))

    def _move(self, row: int, common: float) -> None:
        """A week's move of a flight's level: a step, a drop, or a drop that mends."""
        walk, usual, chance = self._rates.walk, self._rates.usual, self.chance
        step = sqrt(self._shared) * common + sqrt(1.0 - self._shared) * chance.gauss(0, 1)
        event = chance.random()
        if self._mends[row]:
            self._level[row] += walk.step * step
            if event < walk.recovers:
                self._level[row] = usual + self._spread * chance.gauss(0, 1)
                self._mends[row] = False
            return
        self._level[row] = usual + walk.keeps * (self._level[row] - usual) + walk.step * step
        if event < walk.drops:
            self._level[row] -= chance.expovariate(1.0 / walk.drop_depth)
            self._mends[row] = chance.random() >= walk.lasts


_MIDDLE_D = DAYS_A_WEEK // 2 + 1
"""A week's age and light are those of its fourth day."""

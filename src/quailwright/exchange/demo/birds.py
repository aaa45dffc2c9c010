"""What a group of birds does in a day, by the published rates."""

from dataclasses import dataclass
from datetime import date
from typing import Literal

from numpy.random import Generator

from quailwright.husbandry import facts, feeding, growth, laying, survival
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.husbandry.survival import Sex

BirdClass = Literal["chicks", "hens", "cocks"]
CLASSES: tuple[BirdClass, ...] = ("chicks", "hens", "cocks")

_SURVIVAL_SEX: dict[BirdClass, survival.Sex] = {"chicks": "chick", "hens": "hen", "cocks": "cock"}
_GRAMS_A_KG = 1000.0


@dataclass(slots=True)
class Group:
    """Birds that live together: counts by class, as the record has them and as they are."""

    name: str
    place: str
    hatched_on: date
    chicks: int = 0
    hens: int = 0
    cocks: int = 0

    @property
    def total(self) -> int:
        """All its birds."""
        return self.chicks + self.hens + self.cocks

    def age_d(self, day: date) -> int:
        """Age of its oldest birds in days."""
        return (day - self.hatched_on).days

    def take(self, of: BirdClass, birds: int) -> None:
        """Takes birds of a class out of the group."""
        setattr(self, of, getattr(self, of) - birds)


def die_today(group: Group, day: date, rng: Generator) -> dict[BirdClass, int]:
    """How many of each class die on this day."""
    dead: dict[BirdClass, int] = {}
    for of in CLASSES:
        alive = getattr(group, of)
        if alive:
            weekly = survival.weekly_death_rate(group.age_d(day), _SURVIVAL_SEX[of])
            daily = 1.0 - (1.0 - weekly) ** (1.0 / DAYS_A_WEEK)
            dead[of] = int(rng.binomial(alive, daily))
    return dead


def lay_today(group: Group, day: date, weather: float, rng: Generator) -> int:
    """Eggs of a day; `weather` is the share of the usual lay that heat or cold leaves."""
    rate = laying.hen_day_rate(group.age_d(day)) * weather
    return int(rng.binomial(group.hens, rate))


def eat_today_kg(group: Group, day: date, outside_c: float) -> float:
    """Feed that a group empties in a day [kg], spill included; heat takes it down."""
    age_d = group.age_d(day)
    each_g = feeding.intake_g_per_day(age_d)
    cock_g = min(each_g, facts.value("feeding.intake_adult_cock_g_d"))
    eaten_g = (group.chicks + group.hens) * each_g + group.cocks * cock_g
    spilt = 1.0 + facts.value("feeding.wastage")
    return eaten_g * spilt * _intake_in(outside_c) / _GRAMS_A_KG


def _intake_in(outside_c: float) -> float:
    too_hot_c = max(0.0, outside_c - facts.value("housing.heat_intake_falls_c"))
    return 1.0 + too_hot_c * facts.value("feeding.heat_intake_per_c")


def weights_g(group: Group, day: date, sex: Sex, birds: int, rng: Generator) -> list[float]:
    """Weights of some birds of a group [g]."""
    mean = growth.mass_g(group.age_d(day), sex)
    drawn = rng.normal(mean, mean * facts.value("growth.between_bird_cv"), birds)
    return [round(float(weight), 1) for weight in drawn]

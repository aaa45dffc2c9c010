"""What one hen, one egg set, one bird brings week by week, on the mean of what is believed."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from quailwright.flock.cohorts import AGE_CLASSES
from quailwright.flock.light import Light, lay_share
from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.husbandry.feeding import STAGES, intake_of_g_per_day, stage
from quailwright.husbandry.housing import floor_to_plan_m2
from quailwright.outlook.lay import by_row, curves
from quailwright.outlook.learning import expit
from quailwright.outlook.rates import Rates, cock_shift

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Kernels:
    """By hatching day (first axis) and week (second): weeks begin on the day after `on`.

    Attributes:
        age_d: age in the middle of the week [d]; below 0 before hatching.
        hens, cocks: of one that hatched, alive at the week's end.
        eggs: of one living hen in the week.
        hen_feed_kg, cock_feed_kg: of one living bird in the week, spill included.
        hen_feed_cost, cock_feed_cost: the same in money.
        one: 1 for a living bird.
        brooder_m2, pen_m2: floor of one living bird: in the brooder, then in a pen.
    """

    age_d: Array
    hens: Array
    cocks: Array
    eggs: Array
    hen_feed_kg: Array
    cock_feed_kg: Array
    hen_feed_cost: Array
    cock_feed_cost: Array
    one: Array
    brooder_m2: Array
    pen_m2: Array


def kernels(
    rates: Rates,
    light: Light,
    on: date,
    hatched: Sequence[date],
    weeks: int,
    feed_per_kg: Sequence[float],
    standard: str | None = None,
) -> Kernels:
    """Kernels of birds that hatch, or hatched, on these days.

    Args:
        light: reaching to the last week.
        hatched: hatching days, in the past or ahead.
        feed_per_kg: price by stage, as `STAGES`.
        standard: of room, by which floor is reckoned; None for quailwright's own default.
    """
    born = np.array([(day - on).days for day in hatched], dtype=np.int64)
    middle = DAYS_A_WEEK * np.arange(weeks) + DAYS_A_WEEK // 2 + 1
    ages = (middle[None, :] - born[:, None]).astype(float)
    eggs = _eggs(rates, light, on, born, middle, ages)
    hens = _alive(rates, ages, 0.0)
    cocks = _alive(rates, ages, cock_shift())
    used = float(np.exp(rates.feed[0] + rates.feed[1] ** 2 / 2)) * DAYS_A_WEEK / 1000.0
    by_age = {age: _by_age(age, standard) for age in np.unique(ages[ages >= 0]).tolist()}
    table = np.array([by_age.get(age, (0.0,) * 5) for age in ages.ravel().tolist()])
    table = table.reshape(-1, 5)
    hen_g, cock_g, which, brooder, pen = (column.reshape(ages.shape) for column in table.T)
    price = np.array(feed_per_kg)[which.astype(np.int64)]
    return Kernels(
        ages,
        hens,
        cocks,
        eggs,
        hen_g * used,
        cock_g * used,
        hen_g * used * price,
        cock_g * used * price,
        np.ones_like(ages),
        brooder,
        pen,
    )


def _by_age(age_d: float, standard: str | None) -> tuple[float, float, float, float, float]:
    floor = floor_to_plan_m2(age_d, standard)
    in_brooder = age_d < facts.value("brooding.time_in_brooder_d")
    return (
        intake_of_g_per_day(age_d, "hen"),
        intake_of_g_per_day(age_d, "cock"),
        float(STAGES.index(stage(age_d))),
        floor if in_brooder else 0.0,
        0.0 if in_brooder else floor,
    )


def _eggs(
    rates: Rates,
    light: Light,
    on: date,
    born: NDArray[np.int64],
    middle: NDArray[np.int64],
    ages: Array,
) -> Array:
    offset = (on - light.first).days
    days = np.tile(middle + offset, len(born))
    share = lay_share(light, curves(), days, np.repeat(born + offset, len(middle)))
    table = rates.lay.hens
    spread = facts.value("laying.level_logit_group_sd")
    # The mean of a logistic of a normal (MacKay 1992, Neural Computation 4:720-736).
    plateau = expit(table.usual / np.sqrt(1.0 + np.pi * spread**2 / 8.0))
    mean = by_row(share, table) @ (rates.lay.chances * plateau)
    earliest, _ = facts.spread("laying.first_egg_age_d")
    eggs: Array = np.where(ages >= earliest, DAYS_A_WEEK * mean.reshape(ages.shape), 0.0)
    return eggs


def lit_share(rates: Rates, light: Light, on: date, weeks: int) -> Array:
    """What the light leaves of a grown hen's lay, on the mean of what is believed, by week from the
    day after `on`, shape (weeks,)."""
    table = rates.lay.hens
    by_light = np.bincount(table.light, rates.lay.chances, len(light.names))
    share = by_light @ light.old
    first = (on - light.first).days + 1
    lit: Array = share[first : first + DAYS_A_WEEK * weeks].reshape(weeks, DAYS_A_WEEK).mean(1)
    return lit


def _alive(rates: Rates, ages: Array, shift: float) -> Array:
    """Share of birds alive at the end of each week of those that hatched, or that are there now."""
    weekly = {}
    for name in (*AGE_CLASSES[:4], "adult"):
        learnt = rates.deaths[name]
        sd = float(np.sqrt(learnt.spread[0, 0]))
        weekly[name] = float(
            expit(np.array(learnt.mode[0] + sd**2 / 2 + (shift if name == "adult" else 0.0)))
        )
    grower = facts.value("survival.grower_until_d")
    ends = (7.0, 14.0, 21.0, grower, np.inf)
    chance = np.zeros_like(ages)
    low = 0.0
    for name, high in zip(weekly, ends, strict=True):
        chance[(ages >= low) & (ages < high)] = weekly[name]
        low = high
    return np.asarray(np.cumprod(1.0 - chance, axis=1), dtype=np.float64)

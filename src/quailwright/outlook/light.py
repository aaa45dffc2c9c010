"""The light that the hens had and will have, as far as the record tells: with a lamp, or without.

Nobody logs a lamp day by day. Both are kept as possible, and the lay of short days tells.
"""

from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from quailwright.flock.state import Flock
from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.husbandry.photoperiod import (
    fall,
    lay_of_young_and_old,
    lit_hours,
    maturing_speed,
    natural_hours,
    rise,
)

Array = NDArray[np.float64]
Days = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Light:
    """What the light may have been and will be, by day.

    Attributes:
        first: the first day.
        names: of the possibilities, "lamp", "no lamp" or "full light" (where nobody said where
            the flock lives).
        chances: of each before the record, adding to 1.
        hours: light a day [h], shape (possibilities, days).
        young, old: share of full lay that hens reach by it, same shape: young and grown ones.
        matured: days that full light would count for by the end of each day, same shape.
    """

    first: date
    names: tuple[str, ...]
    chances: tuple[float, ...]
    hours: Array
    young: Array
    old: Array
    matured: Array


def light_of(
    flock: Flock,
    first: date,
    until: date,
    lamp_h: float | None = None,
    from_day: date | None = None,
) -> Light:
    """The possibilities of light from `first` to `until`.

    Args:
        flock: its holding tells the latitude and the hours aimed for.
        lamp_h: hours that a lamp makes of each day from `from_day` on, whatever was before.

    Raises:
        ValueError: a lamp of less than 0 or more than 24 h.
    """
    days = (until - first).days + 1
    holding = flock.holding
    latitude = holding.latitude if holding is not None else None
    target = holding.light_target_h if holding is not None else None
    usual = facts.value("laying.light_target_h") if target is None else target
    names: tuple[str, ...]
    chances: tuple[float, ...]
    if latitude is None:
        names, chances = ("full light",), (1.0,)
        hours = np.full((1, days), max(usual, facts.value("laying.light_full_h")))
    else:
        natural = natural_hours(latitude, first, days)
        told = "lamp_used_if_not_told" if target is None else "lamp_used_if_told"
        lamp = facts.value(f"laying.{told}")
        names, chances = ("lamp", "no lamp"), (lamp, 1.0 - lamp)
        hours = np.array([lit_hours(natural, usual), natural])
    if lamp_h is not None and from_day is not None:
        begin = max(0, (from_day - first).days)
        natural = hours[-1, begin:] if latitude is not None else np.zeros(max(0, days - begin))
        hours[:, begin:] = lit_hours(natural, lamp_h)
    answered = [lay_of_young_and_old(row) for row in hours]
    return Light(
        first,
        names,
        chances,
        hours,
        np.array([young for young, _ in answered]),
        np.array([old for _, old in answered]),
        np.cumsum(maturing_speed(hours), axis=1),
    )


@dataclass(frozen=True, slots=True)
class Curves:
    """The possibilities of the flock's own lay curve.

    Attributes:
        rise_mid_w: ages at which half of the hens lay [weeks], shape (rises,).
        decline_per_w: losses for each week past the plateau, shape (declines,).
    """

    rise_mid_w: Array
    decline_per_w: Array


def lay_share(light: Light, curves: Curves, on: Days, hatched: Days) -> Array:
    """Share of their plateau that hens lay, by day, for every possibility.

    Args:
        on, hatched: numbers of days since `light.first` (hatched may lie before), shape (n,).

    Returns:
        Shape (n, lights, declines, rises), from ``laying.rate_floor`` to 1.
    """
    age_d = np.maximum(0, on - hatched)
    last = light.hours.shape[1] - 1
    day = np.clip(on, 0, last)
    starts = hatched + int(facts.value("laying.maturing_from_d"))
    begun = np.clip(starts - 1, 0, last)
    counted = np.where(
        on >= starts,
        light.matured[:, day] - np.where(starts > 0, light.matured[:, begun], 0.0),
        0.0,
    )
    before_record = np.maximum(0, -starts)
    matured_d = np.minimum(age_d, starts - hatched) + counted + before_record
    grown = age_d >= facts.value("laying.light_old_hen_age_d")
    answer = np.where(grown, light.old[:, day], light.young[:, day])
    risen = rise(matured_d[:, :, None] / DAYS_A_WEEK, curves.rise_mid_w)
    fallen = fall(age_d[:, None] / DAYS_A_WEEK, curves.decline_per_w)
    share = np.einsum("ln,lnr,nd->nldr", answer, risen, fallen)
    floor: Array = np.maximum(facts.value("laying.rate_floor"), share)
    return floor

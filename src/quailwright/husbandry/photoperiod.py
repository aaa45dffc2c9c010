"""How day length brings hens into lay and out of it: by day, on arrays."""

from datetime import date

import numpy as np
from numpy.typing import NDArray

from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.husbandry.daylight import HOURS_A_DAY, day_lengths_h
from quailwright.language import say

Array = NDArray[np.float64]


def natural_hours(latitude_deg: float, first: date, days: int, longitude_deg: float = 0.0) -> Array:
    """Day length on each of `days` days from `first` [h], shape (days,).

    Raises:
        ValueError: a latitude or longitude outside its range.

    Source: as `daylight.day_lengths_h`.
    """
    return day_lengths_h(latitude_deg, longitude_deg, first, days)


def response(hours: Array, none_h: float | None = None, full_h: float | None = None) -> Array:
    """How far days of this length bring hens into lay in the end, 0 none to 1 full; any shape.

    Args:
        hours: light a day, lamp included [h], 0 to 24.
        none_h, full_h: where the response begins and is full [h]; the published ends if None.

    Source: as `laying.light_response`. Certainty: published ends, inferred between.
    """
    none_h = facts.value("laying.light_none_h") if none_h is None else none_h
    full_h = facts.value("laying.light_full_h") if full_h is None else full_h
    return np.clip((hours - none_h) / (full_h - none_h), 0.0, 1.0)


def lay_by_light(wanted: Array, days_to_lay: float, days_to_stop: float) -> Array:
    """Share of the full lay that grown hens reach on each day, as the light of the days acts.

    The answer to a change of light passes through two equal stages that each forget with half the
    mean time, so that it begins slowly and half of it is there after about that time. Hens begin
    in step with the first day.

    Args:
        wanted: `response` to the light of each day, shape (days,).
        days_to_lay: mean time to come into lay once the light suffices [d], above 0.
        days_to_stop: mean time to stop once it does not [d], above 0.

    Returns:
        Shape (days,), 0 to 1.

    Source: times by age from Stein and Bacon 1976, Poult Sci, in ``facts/laying.csv``
    (published); the form of the answer is inferred.
    """
    follow = {
        rising: 1.0 - float(np.exp(-2.0 / days))
        for rising, days in ((True, days_to_lay), (False, days_to_stop))
    }
    reached = np.empty_like(wanted)
    first = second = float(wanted[0]) if len(wanted) else 0.0
    for day, want in enumerate(wanted):
        first += (float(want) - first) * follow[float(want) > first]
        second += (first - second) * follow[first > second]
        reached[day] = second
    return reached


def lay_of_young_and_old(wanted: Array) -> tuple[Array, Array]:
    """`lay_by_light` of young hens and of those past ``laying.light_old_hen_age_d``.

    Args:
        wanted: `response` to the light of each day, shape (days,).
    """
    young, old = (
        lay_by_light(
            wanted,
            facts.value(f"laying.days_to_lay_after_light_{age}"),
            facts.value(f"laying.days_to_stop_after_dark_{age}"),
        )
        for age in ("young", "old")
    )
    return young, old


def maturing_speed(hours: Array) -> Array:
    """Days of development toward the first egg that a day of this length is worth; any shape.

    1 in full light. In short days birds mature too, but slowly: at the speed that puts the first
    egg of Stein and Bacon's birds, kept at 8 h, where they saw it. A straight line between by
    `response`.

    Args:
        hours: light a day [h], 0 to 24.

    Source: Stein and Bacon 1976, Poult Sci: first egg at 42.8 days in 14 h, 112.7 in 8 h
    (published); that days before ``laying.maturing_from_d`` count alike is inferred.
    """
    start = facts.value("laying.maturing_from_d")
    full = facts.value("laying.first_egg_age_d") - start
    slow = full / (facts.value("laying.first_egg_age_8h_d") - start)
    return slow + (1.0 - slow) * response(hours)


def first_egg_age_d(hours: float, full_light_age_d: float | None = None) -> float:
    """Mean age at first egg of birds kept at one day length from hatch [d].

    Args:
        hours: light a day [h], 0 to 24.
        full_light_age_d: their age at first egg in full light [d], the published mean if None.

    Source: as `maturing_speed`.
    """
    start = facts.value("laying.maturing_from_d")
    full = facts.value("laying.first_egg_age_d") if full_light_age_d is None else full_light_age_d
    return start + (full - start) / float(maturing_speed(np.array(hours)))


def rise(matured_w: Array, mid_w: Array | float) -> Array:
    """Share of hens in lay by age, 0 to 1; nothing before the earliest first egg published.

    Args:
        matured_w: age as full light would count it [weeks], any shape.
        mid_w: age at which half lay [weeks], broadcast against it.

    Source: as `laying.hen_day_rate`. Certainty: inferred.
    """
    earliest_d, _ = facts.spread("laying.first_egg_age_d")
    share = 1.0 / (1.0 + np.exp((mid_w - matured_w) / facts.value("laying.rise_spread_w")))
    return np.where(matured_w * DAYS_A_WEEK < earliest_d, 0.0, share)


def fall(age_w: Array, decline_per_w: Array | float) -> Array:
    """Share of the plateau that hens of this age still lay, 0 to 1.

    Args:
        age_w: age [weeks], any shape.
        decline_per_w: loss for each week past ``laying.decline_from_w``, broadcast against it.

    Source: as `laying.hen_day_rate`. Certainty: inferred.
    """
    past = np.maximum(0.0, age_w - facts.value("laying.decline_from_w"))
    return np.exp(-decline_per_w * past)


def lit_hours(natural: Array, lamp_h: float | None) -> Array:
    """Light of each day with a lamp that lengthens it to `lamp_h` hours; None for no lamp [h]."""
    if lamp_h is None:
        return natural
    if not 0 <= lamp_h <= HOURS_A_DAY:
        raise ValueError(say("A day has 24 hours; a lamp to {hours:g} h cannot be.", hours=lamp_h))
    return np.maximum(natural, lamp_h)

"""The light that the hens had and will have, as far as the record tells: with a lamp, or without.

Nobody logs a lamp day by day. Both are kept as possible, and the lay of short days tells.
"""

import re
from dataclasses import dataclass
from datetime import date
from functools import cache
from importlib import resources

import numpy as np
from numpy.typing import NDArray

from quailwright.flock.state import Flock
from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.husbandry.daylight import day_length_h
from quailwright.husbandry.photoperiod import (
    fall,
    lay_of_young_and_old,
    lit_hours,
    maturing_speed,
    natural_hours,
    response,
    rise,
)

Array = NDArray[np.float64]
Days = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Light:
    """What the light may have been and will be, by day.

    Attributes:
        first: the first day.
        names: of the possibilities; "lamp" is the first.
        chances: of each before the record, adding to 1.
        hours: light a day [h], shape (possibilities, days).
        young, old: share of full lay that hens reach by it, same shape: young and grown ones. Grown
            ones answer fast in one trial and slowly in keepers' accounts: half of them each way.
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
    target = holding.light_target_h if holding is not None else None
    usual = facts.value("laying.light_target_h") if target is None else target
    natural, chance_of_lamp = _natural(flock, first, days)
    fades = _FADES if len(natural) == 1 else (0,)
    rests = holding is not None and holding.rests_in_winter is True
    if rests or (target is not None and target <= facts.value("laying.light_none_h")):
        chance_of_lamp, usual = _NO_LAMP, facts.value("laying.light_target_h")
    elif target is not None:
        chance_of_lamp = facts.value("laying.lamp_used_if_told")
    full = max(usual, facts.value("laying.light_full_h"))
    lit = np.max([lit_hours(row, usual) for row in natural], axis=0)
    rows = [lit if len(natural) == 1 else np.full(days, full)]
    rows += [row for row in natural for _ in (*fades, None)]
    fading = [f"no lamp {fade:+d}" for fade in fades] + ["no lamp, slowly"]
    names = ("lamp", *(name for _ in natural for name in fading))
    without = (1.0 - chance_of_lamp) / (len(rows) - 1)
    chances = (chance_of_lamp, *([without] * (len(rows) - 1)))
    hours = np.array(rows)
    if lamp_h is not None and from_day is not None:
        begin = max(0, (from_day - first).days)
        ahead = natural[:, begin:]
        hours[0, begin:] = lit_hours(ahead.min(0), lamp_h)
        hours[1:, begin:] = lit_hours(np.repeat(ahead, len(fading), axis=0), lamp_h)
    ends = [(None, None), *([*(_ends(fade) for fade in fades), (None, None)] * len(natural))]
    wanted = [_wanted(row, *end) for row, end in zip(hours, ends, strict=True)]
    answered = [lay_of_young_and_old(row) for row in wanted]
    return Light(
        first,
        names,
        chances,
        hours,
        _cut_off(np.array([young for young, _ in answered])),
        _cut_off(np.array([(young + old) / 2 for young, old in answered])),
        np.cumsum(maturing_speed(hours), axis=1),
    )


_FADES = (-2, -1, 0, 1, 2)
"""Steps about the middle: flocks differ in how short a day must be to stop them."""


_NO_LAMP = 0.02
"""Chance of a lamp where hens rest in winter, or the hours told would bring none into lay."""


def share_of_full_lay(hours: Array) -> Array:
    """Share of full lay that grown hens reach by the light of these days, as flocks may differ.

    Args:
        hours: light of each day [h], shape (days,); hens begin in step with the first.

    Returns:
        Shape (flocks, days), 0 to 1: those that stop at shorter and at longer days than the
        middle, and the one of the published trial.
    """
    rows = []
    for none_h, full_h in (*(_ends(fade) for fade in _FADES), (None, None)):
        young, old = lay_of_young_and_old(_wanted(hours, none_h, full_h))
        rows.append((young + old) / 2)
    return _cut_off(np.array(rows))


def _cut_off(share: Array) -> Array:
    """Without the long tail of the answer to light: the last hens stop too."""
    tail = facts.value("laying.light_tail")
    return np.clip((share - tail) / (1.0 - tail), 0.0, 1.0)


def _wanted(hours: Array, none_h: float | None, full_h: float | None) -> Array:
    """`response` by day; days that lengthen must be longer to bring hens back into lay."""
    falling = response(hours, none_h, full_h)
    if none_h is None or full_h is None:
        return falling
    more = facts.value("laying.light_restart_more_h")
    rising = response(hours, none_h + more, full_h + more)
    return np.where(np.gradient(hours) > 0, rising, falling) if len(hours) > 1 else falling


def _ends(step: int) -> tuple[float, float]:
    """Day lengths at which lay has faded, and is full [h]."""
    middle = facts.value("laying.light_fades_h") + step * facts.value("laying.light_fades_step_h")
    half = facts.value("laying.light_fades_width_h") / 2
    return middle - half, middle + half


def _natural(flock: Flock, first: date, days: int) -> tuple[Array, float]:
    """Day lengths [h], a row for each place it may be, and the chance of a lamp (or long days)."""
    latitude = latitude_of(flock)
    if latitude is not None:
        hours = natural_hours(latitude, first, days, longitude_of(flock) or 0.0)
        return hours[None], facts.value("laying.lamp_used_if_not_told")
    usual = facts.value("forecast.untold_latitude_deg")
    both = np.array([natural_hours(side * usual, first, days) for side in (1.0, -1.0)])
    return both, facts.value("forecast.untold_full_light")


def latitude_of(flock: Flock) -> float | None:
    """Where the flock lives [deg]: as told, else that of its time zone's city, else None."""
    if flock.holding is not None and flock.holding.latitude is not None:
        return flock.holding.latitude
    city = _city_of_zone(flock.zone)
    return None if city is None else city[0]


def in_dark_months(flock: Flock, on: date) -> bool:
    """Whether the day is too short for full lay, and no lamp is told that lengthens it."""
    latitude, holding = latitude_of(flock), flock.holding
    full = facts.value("laying.light_full_h")
    target = holding.light_target_h if holding is not None else None
    rests = holding is not None and holding.rests_in_winter
    if latitude is None or (target is not None and target >= full and not rests):
        return False
    return day_length_h(latitude, on) < full


def longitude_of(flock: Flock) -> float | None:
    """Where the flock lives [deg]: as told, else that of its time zone's city, else None."""
    if flock.holding is not None and flock.holding.longitude is not None:
        return flock.holding.longitude
    city = _city_of_zone(flock.zone)
    return None if city is None else city[1]


@cache
def _city_of_zone(name: str) -> tuple[float, float] | None:
    """Latitude and longitude in the time zone database's own table (ISO 6709)."""
    table = resources.files("tzdata").joinpath("zoneinfo", "zone.tab").read_text(encoding="utf-8")
    for line in table.splitlines():
        cells = line.split("\t")
        if len(cells) > 2 and cells[2] == name:
            place = re.match(r"([+-])(\d{2})(\d{2})(?:\d{2})?([+-])(\d{3})(\d{2})", cells[1])
            if place is not None:
                latitude = int(place[2]) + int(place[3]) / 60
                longitude = int(place[5]) + int(place[6]) / 60
                return (
                    latitude if place[1] == "+" else -latitude,
                    longitude if place[4] == "+" else -longitude,
                )
    return None


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
        Shape (n, lights, declines, rises), 0 to 1.
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
    share: Array = np.einsum("ln,lnr,nd->nldr", answer, risen, fallen)
    return share

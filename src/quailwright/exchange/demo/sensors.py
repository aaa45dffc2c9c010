"""What the sensors of the demo showed: in machines while eggs are in, in the brooder with chicks.

Temperatures and humidities are the published ones that the story's eggs and chicks were drawn by,
with invented noise, and with what happened: turning by hand, a fuse that went, a door left ajar, a
heater that was weak for an evening, a sensor that said nothing for a night.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from quailwright.exchange.demo import scenario
from quailwright.exchange.demo.hatch import Hatch
from quailwright.exchange.demo.scenario import Mishap
from quailwright.exchange.demo.world import World
from quailwright.husbandry import brooding, facts
from quailwright.husbandry.egg_water import loss_pct
from quailwright.journal.moments import zone
from quailwright.journal.readings import to_ms

if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

_MINUTE_MS, _SECOND_MS, _DAY_MIN = 60_000, 1000, 1440
_MOVED = time(20)
"""When a sensor is laid into a machine or taken out, as the keepers move the eggs."""
_MIDNIGHT = time(0)
"""When the heat of the brooder is lowered, and from when it is warmed for the chicks of the day."""


@dataclass(frozen=True, slots=True, eq=False)
class Shown:
    """What one sensor showed, in order of time: milliseconds since 1970, °C and %, as shown."""

    place: str
    instrument: str
    at_ms: list[int]
    temperature_c: list[float]
    humidity_pct: list[float]


class _Stay(NamedTuple):
    """From when until when eggs or chicks are at a place, and the air they are given (°C, %)."""

    start: datetime
    end: datetime
    air: "Callable[[Floats], tuple[Floats, Floats]]"
    """By minutes since the start."""


def shown(world: World, until: datetime, rng: "Generator") -> list[Shown]:
    """The readings of all sensors up to `until`, of a story that was told to its end."""
    stays = {
        scenario.INCUBATOR: list(_in_incubator(world)),
        scenario.HATCHER: list(_in_hatcher(world)),
        scenario.BROODER: list(_in_brooder(world)),
    }
    return [
        _shown(world, place, stays[place], until, one)
        for place, one in zip(stays, rng.spawn(len(stays)), strict=True)
    ]


def _moment(day: date, clock: time) -> datetime:
    """In UTC: two times of one zone are subtracted as shown, whatever its clocks did between."""
    return datetime.combine(day, clock, tzinfo=zone(scenario.ZONE)).astimezone(UTC)


def _since(world: World) -> date:
    return world.on - timedelta(days=scenario.SENSORS_FROM)


# Who is where, and what air they are given.


def _in_incubator(world: World) -> Iterator[_Stay]:
    turned = timedelta(days=int(facts.value("incubation.turning_stop_day")))
    for hatch in world.hatches:
        if hatch.set_on >= _since(world):
            clock = time.fromisoformat(hatch.setting.time)
            end = _moment(hatch.set_on + turned, _MOVED)
            yield _Stay(_moment(hatch.set_on, clock), end, _machine_air(_dries_by(hatch)))


def _in_hatcher(world: World) -> Iterator[_Stay]:
    turned, opened = (
        timedelta(days=int(facts.value(f"incubation.{key}")))
        for key in ("turning_stop_day", "open_unhatched_day")
    )
    for hatch in world.hatches:
        if hatch.set_on >= _since(world) and not hatch.turned:
            start, end = (_moment(hatch.set_on + days, _MOVED) for days in (turned, opened))
            yield _Stay(start, end, _machine_air(facts.value("incubation.humidity_hatcher")))


def _machine_air(humidity_pct: float) -> "Callable[[Floats], tuple[Floats, Floats]]":
    warm = facts.value("incubation.temperature")

    def air(minutes: "Floats") -> "tuple[Floats, Floats]":
        cool = scenario.EGGS_COOL_C * np.exp(-minutes / scenario.EGGS_WARM_MIN)
        return warm - cool, np.full_like(minutes, humidity_pct)

    return air


def _dries_by(hatch: Hatch) -> float:
    """The true humidity in which shells of the usual kind lose what these eggs lose."""
    stop = facts.value("incubation.turning_stop_day")
    warm = facts.value("incubation.temperature")
    dry, damp = (loss_pct(hatch.mean_egg_g, warm, pct, 0.0, stop) for pct in (0.0, 100.0))
    return 100.0 * (dry - hatch.loss_pct_per_day * stop) / (dry - damp)


def _in_brooder(world: World) -> Iterator[_Stay]:
    out = timedelta(days=int(facts.value("care.move_out_age_d")))
    for hatch in world.hatches:
        brood = world.groups.get(hatch.brood)
        if brood is None or brood.hatched_on < _since(world):
            continue
        start = _moment(brood.hatched_on + timedelta(days=1), _MIDNIGHT)
        yield _Stay(start, _moment(brood.hatched_on + out, _MIDNIGHT), _brooder_air)


def _brooder_air(minutes: "Floats") -> "tuple[Floats, Floats]":
    """Midway between what the sources give for the age; chicks are a day old when they come."""
    ages = (minutes // _DAY_MIN).astype(int) + 1
    by_age = np.array(
        [np.mean(brooding.heat_range_c(age)) for age in range(ages.max(initial=0) + 1)]
    )
    return by_age[ages], np.full_like(minutes, scenario.BROODER_HUMIDITY_PCT)


# What is shown of it.


def _shown(
    world: World, place: str, stays: Sequence[_Stay], until: datetime, rng: "Generator"
) -> Shown:
    """All stays at a place as one record: where they overlap, their air is the mean of both."""
    first = _moment(_since(world), time(0))
    minutes = np.arange(0.0, _minutes(until.astimezone(UTC) - first), scenario.READ_EVERY_MIN)
    warm, damp, there = (np.zeros_like(minutes) for _ in range(3))
    for stay in stays:
        begins, ends = _minutes(stay.start - first), _minutes(stay.end - first)
        during = slice(*np.searchsorted(minutes, (begins, ends)).tolist())
        celsius, percent = stay.air(minutes[during] - begins)
        warm[during] += celsius
        damp[during] += percent
        there[during] += 1
    lived = there > 0
    minutes = minutes[lived]
    warm = warm[lived] / there[lived] + _noise(len(minutes), scenario.WARMTH_SPREAD_C[place], rng)
    damp = damp[lived] / there[lived] + _noise(len(minutes), scenario.DAMP_SPREAD_PCT, rng)
    if place == scenario.INCUBATOR:
        cooled = _turned(first, minutes)
        warm -= cooled
        damp -= cooled * scenario.DRIER_PCT_PER_C
    heard = np.ones(len(minutes), dtype=bool)
    for mishap in scenario.MISHAPS:
        if mishap.place != place:
            continue
        day = world.on - timedelta(days=mishap.days_before)
        after = minutes - _minutes(_moment(day, time.fromisoformat(mishap.time)) - first)
        cooled = _cooled(after, mishap)
        warm -= cooled
        damp -= cooled * mishap.drier_pct_per_c
        if mishap.silent:
            heard &= (after < 0) | (after >= mishap.minutes)
    late_s = rng.integers(0, scenario.LATE_S, len(minutes))
    at_ms = to_ms(first) + (minutes * _MINUTE_MS).astype(np.int64) + late_s * _SECOND_MS
    off = scenario.SENSORS[place]
    warm += off.temperature_offset_c
    damp += off.humidity_offset_pct
    return Shown(
        place,
        off.name,
        at_ms[heard].tolist(),
        np.round(warm[heard], 1).tolist(),
        np.round(damp[heard]).tolist(),
    )


def _minutes(span: timedelta) -> float:
    return span / timedelta(minutes=1)


def _noise(steps: int, spread: float, rng: "Generator") -> "Floats":
    """Noise that wanders: what was a little warm five minutes ago is so still."""
    wander = np.ones(scenario.WANDERS_STEPS) / scenario.WANDERS_STEPS**0.5
    return spread * np.convolve(rng.standard_normal(steps), wander)[:steps]


def _turned(first: datetime, minutes: "Floats") -> "Floats":
    """How much the open door cools the machine at each turning by hand, °C."""
    here = zone(scenario.ZONE)
    start = first.timestamp()
    moments = (datetime.fromtimestamp(start + 60 * each, here) for each in minutes.tolist())
    clock = np.array([each.hour * 60 + each.minute for each in moments], dtype=np.float64)
    cooled = np.zeros_like(minutes)
    for hour in scenario.TURNED_AT:
        after = (clock - 60 * hour) % _DAY_MIN
        cooled += scenario.TURNING_COOLS_C * np.exp(-after / scenario.TURNING_WARMS_MIN)
    return cooled


def _cooled(after: "Floats", mishap: Mishap) -> "Floats":
    """How much cooler it is by minutes since a mishap began: down to the depth told, and back."""
    falls = 1.0 - np.exp(-np.clip(after, 0.0, mishap.minutes) / mishap.minutes)
    rises = np.exp(-np.maximum(after - mishap.minutes, 0.0) / scenario.WARMS_AGAIN_MIN)
    deepest = 1.0 - np.exp(-1.0)
    return np.asarray(mishap.cooler_c / deepest * falls * rises)

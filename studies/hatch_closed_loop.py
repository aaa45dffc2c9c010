"""A keeper who follows the advice on humidity, against one who sets a fixed figure.

Each simulated hatch has shells, eggs, a hygrometer and a room that the tool does not know. The
shells' conductance is drawn from the range that the reference allows and differs from egg to egg;
the hygrometer is off by up to 15 points either way; the room is too damp or too dry for some
settings; eggs are weighed on a 1 g scale on days 0, 5 and 10 only (or with one of them missing),
and clear eggs are taken out on day 7. The eggs' own physics is that of `husbandry.egg_water`, so
this tells how well the tool learns and steers, not whether the physics is right: for that see the
published experiments in the tests. Run: `python studies/hatch_closed_loop.py [HATCHES]`.
"""

import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np
from numpy.random import Generator, default_rng

from quailwright.guide.hatch.air import Air, Span
from quailwright.guide.hatch.weight import Weighing, WeightRecord, advise, learn, outlook
from quailwright.guide.hatch.window import TimeRecord, window
from quailwright.husbandry.egg_water import loss_pct
from quailwright.husbandry.incubation import hatch_hours

SEED = 20261125
STOP_DAY = 14
CORRIDOR = (10.0, 13.0)
CANDLED_ON = 7
WEIGHED_ON = (0, 5, 10)


@dataclass
class World:
    """What nature knows of one hatch and the tool does not."""

    rng: Generator
    eggs: int
    mean_g: float
    shell_factor: float
    offset: float
    driest: float
    dampest: float

    def true_humidity(self, shown: float) -> float:
        """The humidity that comes about when the keeper makes the instrument show `shown`."""
        kept = float(np.clip(shown - self.offset, self.driest, self.dampest))
        return float(np.clip(kept + self.rng.normal(0.0, 2.0), 5.0, 95.0))

    def reachable(self) -> bool:
        """Whether any steady setting in this room lands in the corridor."""
        driest, dampest = (
            self.shell_factor * loss_pct(self.mean_g, 37.5, humidity, 0, STOP_DAY)
            for humidity in (self.driest, self.dampest)
        )
        return dampest <= CORRIDOR[1] and driest >= CORRIDOR[0]


Room = tuple[tuple[float, float], tuple[float, float]]
"""Between which true humidities the driest and the dampest that it allows lie, %."""

LIMITED: Room = ((20.0, 45.0), (55.0, 80.0))
ORDINARY: Room = ((25.0, 25.0), (70.0, 70.0))


def draw(rng: Generator, room: Room) -> World:
    """A hatch, a room and an instrument."""
    return World(
        rng,
        int(rng.integers(18, 60)),
        rng.uniform(9.0, 13.0),
        float(np.exp(rng.uniform(np.log(0.8), np.log(1.6)))),
        rng.uniform(-15.0, 15.0),
        rng.uniform(*room[0]),
        rng.uniform(*room[1]),
    )


Policy = Callable[[WeightRecord, int, float | None], float]


def follow_advice(record: WeightRecord, day: int, setting: float | None) -> float:
    """Sets what the tool says whenever eggs were weighed."""
    if setting is not None and record.weighings[-1].day != day:
        return setting
    if not record.air.spans:
        record = replace(record, air=Air([Span(0.0, 0.01, 37.5, 50.0)]))
    return advise(
        record, learn(record, [], None, any_shell=True), day, STOP_DAY, CORRIDOR
    ).shown_pct


def fixed(shown: float) -> Policy:
    """Always the same reading on the instrument."""
    return lambda _record, _day, _setting: shown


def live_through(world: World, policy: Policy, weighed_on: tuple[int, ...]) -> tuple[float, bool]:
    """The mean loss [%] by the stop of turning, and whether the 80 % interval of it held."""
    rng = world.rng
    mass = rng.normal(world.mean_g, 0.08 * world.mean_g, world.eggs)
    shells = world.shell_factor * np.exp(rng.normal(0.0, 0.15, world.eggs))
    left = mass.copy()
    alive = np.ones(world.eggs, dtype=bool)
    spans: list[Span] = []
    weighings: list[Weighing] = []
    setting: float | None = None

    def record() -> WeightRecord:
        return WeightRecord(
            "h", "m", frozenset({"s"}), world.eggs, list(weighings), Air(list(spans))
        )

    for day in range(STOP_DAY):
        if day in weighed_on:
            grams = round(float(left[alive].sum() + rng.normal(0.0, 0.5)))
            weighings.append(Weighing(float(day), int(alive.sum()), grams))
        if day == CANDLED_ON:
            alive &= rng.random(world.eggs) > 0.15
        setting = policy(record(), day, setting)
        humidity = world.true_humidity(setting)
        spans.append(Span(day, day + 1, 37.5, humidity + world.offset))
        a_day = loss_pct(world.mean_g, 37.5, humidity, day, day + 1) / 100.0
        left -= mass * a_day * shells * (mass / world.mean_g) ** -0.22
    lost = float(100.0 * np.mean(1.0 - left[alive] / mass[alive]))
    known = record()
    told = outlook(known, learn(known, [], None), STOP_DAY, STOP_DAY, 50.0).quantiles()
    return lost, told["q10"] <= lost <= told["q90"]


def time_covered(rng: Generator) -> bool:
    """Whether a chick's time falls in the 80 % window, with an unchecked thermometer."""
    true_c = rng.uniform(36.8, 38.4)
    shown_c = true_c + rng.normal(0.0, 0.3)
    mean = hatch_hours(true_c) + rng.normal(0.0, 7.0)
    chick = mean + rng.normal(0.0, 8.0)
    air = Air([Span(0.0, 14.0, shown_c, None)])
    set_at = datetime(2027, 5, 2, 20, tzinfo=UTC)
    known = TimeRecord("m", set_at, True, air, 2.0, [], False)
    told = window(known, [], 14.0).quantiles()
    hours = [(told[q] - set_at).total_seconds() / 3600 for q in ("q10", "q90")]
    return hours[0] <= chick <= hours[1]


POLICIES: dict[str, tuple[Policy, bool]] = {
    "advice": (follow_advice, False),
    "advice, one weighing missing": (follow_advice, True),
    "fixed 45 %": (fixed(45.0), False),
    "fixed 50 %": (fixed(50.0), False),
    "fixed 55 %": (fixed(55.0), False),
}


def table(hatches: int, room: Room) -> None:
    """Prints how often each policy lands in the corridor, in rooms of one kind."""
    print(f"{'':30} {'landed':>8} {'of those reachable':>19} {'80 % interval held':>19}")
    for name, (policy, missing) in POLICIES.items():
        rng = default_rng(SEED)
        landed, reached, held = [], [], []
        for _ in range(hatches):
            world = draw(rng, room)
            left_out = rng.choice((5, 10)) if missing else None
            days = tuple(day for day in WEIGHED_ON if day != left_out)
            lost, covered = live_through(world, policy, days)
            landed.append(CORRIDOR[0] <= lost <= CORRIDOR[1])
            reached.append(world.reachable())
            held.append(covered)
        inside = np.array(landed)
        shares = inside.mean(), inside[np.array(reached)].mean(), np.mean(held)
        print(f"{name:30} {shares[0]:8.1%} {shares[1]:19.1%} {shares[2]:19.1%}", flush=True)


def main(hatches: int) -> None:
    """Prints the tables."""
    print(f"{hatches} hatches each; corridor {CORRIDOR[0]:g} to {CORRIDOR[1]:g} %")
    print("\nA room and machine that can be held from 25 to 70 % true humidity:")
    table(hatches, ORDINARY)
    print("\nRooms too damp below 20 to 45 %, or too dry above 55 to 80 %, for some settings:")
    table(hatches, LIMITED)
    rng = default_rng(SEED)
    held = np.mean([time_covered(rng) for _ in range(hatches)])
    print(f"\nA chick's time in the 80 % window: {held:.1%}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000)

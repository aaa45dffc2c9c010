"""What a planner would believe that knew the true rates of a flock: for comparison alone.

Not part of the simulator. It puts the truth into the program's own words, so far as they reach:
its curves are others, and what they cannot say is taken at its nearest.
"""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from unittest.mock import patch

import numpy as np
from studies.simulated_nature import Floats, Nature
from studies.simulated_plan import Course, Truth

from quailwright.flock.light import Light
from quailwright.flock.state import Clutch, Flock
from quailwright.husbandry import facts
from quailwright.outlook.lay import Hens, LayBelief, curves, levels, usual_levels
from quailwright.outlook.learning import Learnt, Prior, Seen, learn
from quailwright.outlook.rates import Rates, hatch_shift

MANY = 1e5
"""Eggs of a record that leaves no doubt."""
SURE = 1e-3
LAY_AT_PEAK = 0.97
"""A hen's lay in full swing against her best: she nears her peak from below."""

_UNDOUBTED = {
    "forecast.level_doubt_now": 0.05,
    "forecast.level_doubt_later": 0.05,
    "laying.level_logit_group_sd": 0.05,
    "forecast.feed_drift_sd": 0.0,
}


DROPS_AS_MANY = 1.4
"""Drops of lay of a brood for each of the holding's own: its own come on top."""
DROPS_LAST = 0.15
"""Part of the drops that do not mend, those that mend in part counted as such."""


@contextmanager
def undoubted(nature: Nature) -> Iterator[None]:
    """Figures that say how little is known are taken out; those of luck are the true ones."""
    value = facts.value
    instead = _UNDOUBTED | {
        "laying.drop_per_w": DROPS_AS_MANY * nature.drops_year / 52.0,
        "laying.drop_lasts": DROPS_LAST,
    }
    with patch.object(facts, "value", lambda key: instead.get(key, value(key))):
        yield


def known(
    rates: Rates, flock: Flock, truth: Truth, course: Course, machines: Sequence[str]
) -> Rates:
    """The beliefs `rates`, with all that is true of a flock put in their place."""
    nature = truth.nature
    hatch = _hatch(flock, truth.hatch_of_set, course, machines)
    fertility = learn(
        [Seen((source,), MANY * share**0.5, MANY) for source, share in truth.hatch_of_set.items()],
        Prior(0.0, 1.0, (0.5, 0.5), 0.0),
    )
    return replace(
        rates,
        hatch=hatch,
        fertility=fertility,
        deaths=_deaths(nature),
        lay=_lay(rates, nature, course),
        feed=(_feed(nature), 0.01),
        attacks_a_week=nature.attacks_year / 52.0 / 4.0,
    )


def _hatch(
    flock: Flock, shares: Mapping[str, float], course: Course, machines: Sequence[str]
) -> Learnt:
    records = []
    for source, share in shares.items():
        own = source in flock.groups
        clutch = Clutch(
            1, None if own else source, source if own else None, "", None, None, None, None
        )
        shift = hatch_shift(flock, [clutch], course.on)
        records += [Seen((source, name), MANY * share, MANY, shift) for name in (*machines, "")]
    return learn(records, Prior(0.0, 1.5, (0.4, 0.4, 0.2), 0.0))


def _deaths(nature: Nature) -> dict[str, Learnt]:
    weekly = {
        "week_1": nature.died_week_1,
        "week_2": nature.died_week_2,
        "week_3": 0.003,
        "grower": 0.003,
        "adult": nature.hen_deaths_week,
    }
    return {
        name: learn((), Prior(_odds(share), SURE, (1.0 - 1e-6, 1e-6), 1e-9))
        for name, share in weekly.items()
    }


def _odds(share: float) -> float:
    return float(np.log(share / (1.0 - share)))


def plateau(nature: Nature) -> float:
    """Eggs a hen a day at the peak, barren hens and pauses among them."""
    z = np.linspace(-2.5, 2.5, 101)
    weight = np.exp(-(z**2) / 2)
    best = 1.0 / (1.0 + np.exp(-_odds(nature.peak_lay) - nature.hens_differ * z))
    mean = float((best * weight).sum() / weight.sum())
    paused = 1.0 - nature.pauses_year * 21.0 / 365.0 * 0.6
    return min(0.97, mean * (1.0 - nature.barren) * paused * LAY_AT_PEAK)


def _lay(rates: Rates, nature: Nature, course: Course) -> LayBelief:
    """A table of possibilities with one usual level: the true one, between the others' nearest."""
    table = rates.lay.hens
    usual = _odds(plateau(nature))
    half_w = (nature.first_egg_day + 3.0 + 0.7 * nature.rise_days) / 7.0
    decline = -np.log(nature.left_at_60_weeks) / (60.0 - facts.value("laying.decline_from_w"))
    parts = {
        "rise": _between(half_w, curves().rise_mid_w),
        "decline": _between(np.log(decline), np.log(curves().decline_per_w)),
        "light": _light(rates.light, nature, course),
    }
    chances = np.where(table.usual == usual_levels()[2], 1.0, 0.0) * (table.restless == 0)
    for name, weights in parts.items():
        chances = chances * weights[getattr(table, name)]
    hens = Hens(
        np.full_like(table.usual, usual),
        table.restless,
        table.rise,
        table.decline,
        table.light,
        table.before,
    )
    cell = int(np.argmin(np.abs(levels() - usual)))
    cumulated = np.zeros_like(rates.lay.cumulated)
    cumulated[..., cell:] = 1.0
    return replace(rates.lay, hens=hens, chances=chances / chances.sum(), cumulated=cumulated)


def _between(value: float, grid: Floats) -> Floats:
    """Weights of a grid's points so that their mean is the value, or its nearest end."""
    place = float(np.interp(value, grid, np.arange(grid.size)))
    weights: Floats = np.maximum(0.0, 1.0 - np.abs(np.arange(grid.size) - place))
    return weights


def _light(light: Light, nature: Nature, course: Course) -> Floats:
    """A lamp where one burns; else day lengths that stop hens, the two nearest to the true one."""
    weights = np.zeros(len(light.names))
    if course.lamp_h:
        weights[light.names.index("lamp")] = 1.0
        return weights
    steps = [n for n, name in enumerate(light.names) if name.startswith("no lamp ")]
    middle, step = facts.value("laying.light_fades_h"), facts.value("laying.light_fades_step_h")
    ends = np.array([middle + step * int(light.names[n].removeprefix("no lamp ")) for n in steps])
    weights[steps] = _between(nature.light_needed_h, ends)
    return weights


def _feed(nature: Nature) -> float:
    """Logarithm of feed used over what the program's table has hens eat, of hens in full lay."""
    eaten = nature.hen_intake_g * (0.82 + 0.18 * 0.85)
    return float(np.log(eaten / (1.0 - nature.spill) / facts.value("feeding.intake_adult_g_d")))

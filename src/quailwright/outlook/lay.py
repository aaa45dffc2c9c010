"""How well each group lays: a level that drifts, drops and comes back, followed week by week.

A hen's chance of an egg on a day is the plateau of her group, times what age and light leave of it
(`light.lay_share`). The plateau's log odds wander about the holding's usual value. What the
holding's hens are like (usual value, decline with age, age at first lay, how restless they are, and
whether a lamp burns) is held as a table of possibilities, each with a filter of its own on a grid
of levels; the possibilities are weighed by how well they foretold every week of every group.

Source: hidden Markov model on a grid (Kitagawa 1987, J Am Stat Assoc 82:1032-1041, Non-Gaussian
state-space modeling of nonstationary time series).
"""

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from quailwright.flock.cohorts import Cohort, GroupHistory, birds_on, hatched
from quailwright.flock.history import LaidDay
from quailwright.flock.light import Curves, Light, lay_share
from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.outlook.learning import expit

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

WEEKS_REMEMBERED = 104
"""Weeks of eggs that are learnt from: hens and keepers change."""
_HOLDINGS = (-1.466, -0.6, 0.0, 0.6, 1.466)
"""Standard deviations from the published mean at which the holding's usual value may lie: middles
of five parts of a normal that are equally likely, widened to the normal's own variance."""
_THIRDS = (-1.225, 0.0, 1.225)
"""The same for three parts."""
_RESTLESS = (0.3, 0.4, 0.3)
"""Chances of a calm, a middling and a restless flock and record before any is seen."""


@cache
def edges() -> Array:
    """Edges of the grid of levels [log odds]: fine where flocks lay well, coarse below."""
    return np.concatenate((np.arange(-5.0, -0.25, 0.375), np.arange(-0.25, 4.3, 0.125)))


@cache
def levels() -> Array:
    """Middles of the grid's cells [log odds]."""
    grid: Array = (edges()[1:] + edges()[:-1]) / 2
    return grid


@dataclass(frozen=True)
class Hens:
    """The table of possibilities of what a holding's hens are like; one row each.

    Attributes:
        usual: the holding's usual plateau [log odds], shape (rows,).
        restless: which of three, shape (rows,), as the next three.
        rise, decline, light: which of the curves and lights.
        before: log chance of each row before records.
    """

    usual: Array
    restless: Whole
    rise: Whole
    decline: Whole
    light: Whole
    before: Array


@cache
def curves() -> Curves:
    """Three ages at first lay and three declines, each as likely as the others."""
    mid, mid_sd = facts.value("laying.rise_mid_w"), facts.value("laying.rise_mid_sd_w")
    decline, log_sd = facts.value("laying.decline_per_w"), facts.value("laying.decline_log_sd")
    return Curves(
        np.array([mid + z * mid_sd for z in _THIRDS]),
        np.array([decline * math.exp(z * log_sd) for z in _THIRDS]),
    )


@cache
def usual_levels() -> Array:
    """Five usual plateaus of a holding, each as likely as the others [log odds]."""
    mean = facts.value("laying.level_logit_mean")
    sd = facts.value("laying.level_logit_holding_sd")
    return np.array([mean + z * sd for z in _HOLDINGS])


def three(key: str) -> Array:
    """The low, middle and high figure of a fact."""
    figure = facts.figure(key)
    return np.array([figure.low, figure.value, figure.high], dtype=float)


def hens(light: Light) -> Hens:
    """Every possibility: usual plateau, restlessness, light, decline and rise."""
    shape = (len(_HOLDINGS), 3, len(light.names), 3, 3)
    usual, restless, lit, decline, rise = (index.ravel() for index in np.indices(shape))
    chances = np.log(_RESTLESS)[restless] + np.log(light.chances)[lit]
    return Hens(usual_levels()[usual], restless, rise, decline, lit, chances)


@cache
def kernels() -> Array:
    """Chances to go from state to state in a week, shape (usual x restless, states, states).

    States are the levels as they are, then the same levels while a drop lasts that will mend.
    """
    return np.array(
        [
            [
                _from_level(level, usual, Walk.of(which), dropped)
                for dropped in (False, True)
                for level in levels()
            ]
            for usual in usual_levels()
            for which in range(3)
        ]
    )


def _from_level(level: float, usual: float, walk: "Walk", dropped: bool) -> Array:
    if dropped:
        spread = facts.value("laying.level_logit_group_sd")
        back = walk.recovers * _cells(usual, spread)
        stays = (1.0 - walk.recovers) * _cells(level, walk.step)
        return np.concatenate((back, stays))
    ahead = usual + walk.keeps * (level - usual)
    calm = _cells(ahead, walk.step)
    below = np.clip(ahead - edges(), 0.0, None)
    fallen = -np.diff(1.0 - np.exp(-below / walk.drop_depth))
    fallen = fallen / fallen.sum() if fallen.sum() > 0 else calm
    lasting = (1.0 - walk.drops) * calm + walk.drops * walk.lasts * fallen
    return np.concatenate((lasting, walk.drops * (1.0 - walk.lasts) * fallen))


def _cells(mean: float, sd: float) -> Array:
    """Chance of each cell of the grid under a normal; what lies beyond counts to the end cells."""
    scale = sd * math.sqrt(2.0)
    inner = [0.5 + 0.5 * math.erf((edge - mean) / scale) for edge in edges()[1:-1].tolist()]
    return np.diff(np.array([0.0, *inner, 1.0]))


@dataclass(frozen=True, slots=True)
class Walk:
    """How a group's level moves in a week.

    Attributes:
        spread: about the holding's usual value, in the long run [log odds].
        step: spread of a week's move [log odds].
        keeps: part of the distance from the usual value that is left after a week.
        drops: chance that it drops.
        drop_depth: mean depth of a drop [log odds].
        lasts: part of the drops that do not mend.
        recovers: chance that one of the others mends: back to about the usual.
        icc: likeness of hens within a week beyond chance.
    """

    spread: float
    step: float
    keeps: float
    drops: float
    drop_depth: float
    lasts: float
    recovers: float
    icc: float

    @staticmethod
    def of(which: int) -> "Walk":
        """The calm (0), middling (1) or restless (2) one."""
        spread = float(three("laying.level_walk_sd")[which])
        step = float(three("laying.restless_sd_w")[which])
        return Walk(
            spread,
            step,
            math.sqrt(1.0 - (step / spread) ** 2),
            facts.value("laying.drop_per_w"),
            facts.value("laying.drop_logit"),
            facts.value("laying.drop_lasts"),
            facts.value("laying.drop_recovers_per_w"),
            float(three("laying.week_icc")[which]),
        )


@dataclass(frozen=True)
class Weeks:
    """Eggs of one group by week, the last week ending on the day of the forecast.

    Attributes:
        eggs: laid on the days that were counted, shape (weeks,).
        hen_days: of hens on those days, the same shape; 0 where nothing was counted.
        share: `light.lay_share` by week, shape (weeks, lights, declines, rises).
        hens_lived: hen-days of the hens that were there, counted or not, shape (weeks,).
        there: whether it had hens.
        left_out: counts of more eggs than the hens on record can lay.
        silent: chance that a week without a count says nothing of the eggs, where the keeper, who
            counted them before, logged other things; 0 for other weeks; shape (weeks,).
    """

    eggs: Array
    hen_days: Array
    share: Array
    hens_lived: Array
    there: NDArray[np.bool_]
    left_out: int
    silent: Array

    def after(self, before: "Weeks", week: int) -> "Weeks":
        """These weeks, with those of the group that its hens came from before `week`."""

        def joined(name: str) -> Any:
            return np.concatenate((getattr(before, name)[:week], getattr(self, name)[week:]))

        return Weeks(
            joined("eggs"),
            joined("hen_days"),
            joined("share"),
            joined("hens_lived"),
            joined("there"),
            self.left_out,
            joined("silent"),
        )


def weeks_of(
    history: GroupHistory,
    laid: Sequence[LaidDay],
    light: Light,
    on: date,
    number: int,
    logged: Collection[date] = (),
) -> Weeks:
    """The eggs of a group in `number` weeks that end on `on`, lumps and gaps made out.

    Args:
        logged: days on which the keeper logged anything.
    """
    first = on - timedelta(days=number * DAYS_A_WEEK - 1)
    days = [first + timedelta(days=n) for n in range(number * DAYS_A_WEEK)]
    birds = birds_on(history, days)
    middles = range(DAYS_A_WEEK // 2, len(days), DAYS_A_WEEK)
    share, there = _shares([birds[n] for n in middles], [days[n] for n in middles], light)
    for week, any_hens in enumerate(there):
        if not any_hens:
            ahead = slice(week * DAYS_A_WEEK, (week + 1) * DAYS_A_WEEK)
            some = next((n for n in range(ahead.start, ahead.stop) if _hens(birds[n]) > 0), None)
            if some is not None:
                own, here = _shares([birds[some]], [days[some]], light)
                share[week], there[week] = own[0], here[0]
    eggs, hen_days = np.zeros(number), np.zeros(number)
    usual = float(expit(np.array(facts.value("laying.level_logit_mean"))))
    reader, left_out = _Reader(usual), 0
    middle = share[:, 0, 1, 1]
    for count in laid:
        at = (count.day - first).days
        if not 0 <= at < len(days) or not there[at // DAYS_A_WEEK]:
            continue
        read = reader.read(count, _hens(birds[at]), float(middle[at // DAYS_A_WEEK]))
        if read is None:
            left_out += 1
        else:
            eggs[at // DAYS_A_WEEK] += read[0]
            hen_days[at // DAYS_A_WEEK] += read[1]
    lived = np.array([_hens(cohorts) for cohorts in birds]).reshape(number, DAYS_A_WEEK).sum(1)
    active = np.array([day in logged for day in days]).reshape(number, DAYS_A_WEEK).any(1)
    silent = _silent(hen_days > 0, active & (lived > 0))
    return Weeks(np.minimum(eggs, hen_days), hen_days, share, lived, there, left_out, silent)


def _silent(counted: NDArray[np.bool_], active: NDArray[np.bool_]) -> Array:
    """See `Weeks.silent`."""
    first = facts.value("forecast.week_not_logged")
    again = facts.value("forecast.week_not_logged_again")
    chances = np.zeros(len(counted))
    weeks_counted, before = 0, False
    for week, (was_counted, was_active) in enumerate(zip(counted, active, strict=True)):
        weeks_counted += was_counted
        if was_counted or not was_active or weeks_counted < _COUNTS_EGGS:
            before = before and not was_counted
            continue
        chances[week] = again if before else first
        before = True
    return chances


_COUNTS_EGGS = 3
"""Weeks counted from which on a keeper is one who counts a group's eggs."""


def _hens(cohorts: Sequence[Cohort]) -> float:
    return sum(c.hens + c.chicks / 2 for c in cohorts)


def _shares(
    birds: Sequence[Sequence[Cohort]], days: Sequence[date], light: Light
) -> tuple[Array, NDArray[np.bool_]]:
    """`lay_share` of mixed groups on some days, by their hens; and whether they had any."""
    flat = [
        (n, day, cohort, cohort.hens + cohort.chicks / 2)
        for n, (cohorts, day) in enumerate(zip(birds, days, strict=True))
        for cohort in cohorts
        if cohort.hens + cohort.chicks > 0
    ]
    possibilities = (len(light.names), *(len(c) for c in (curves().decline_per_w, _THIRDS)))
    total = np.zeros((len(days), *possibilities))
    hens = np.zeros(len(days))
    if flat:
        on = np.array([(day - light.first).days for _, day, _, _ in flat], dtype=np.int64)
        born = np.array([(hatched(c) - light.first).days for _, _, c, _ in flat], dtype=np.int64)
        weight = np.array([number for _, _, _, number in flat])
        where = [n for n, _, _, _ in flat]
        own = lay_share(light, curves(), on, born)
        np.add.at(total, where, own * weight[:, None, None, None])
        np.add.at(hens, where, weight)
    there = hens > 0
    total[there] /= hens[there][:, None, None, None]
    return total, there


class _Reader:
    """Tells what a count stands for: one day, all days since the last count, or the same twice.

    It goes by which of them is likeliest at the lay of late, and by what this keeper did before.
    """

    def __init__(self, usual: float) -> None:
        self._usual = usual
        self._level = usual
        self._seen = 0.0
        self._habit = [1.0, 1.0]

    def read(self, count: LaidDay, hens: float, share: float) -> tuple[float, float] | None:
        """(eggs, hen-days) of a count, or None where it can be neither."""
        if hens <= 0:
            return None
        expected = max(1e-3, min(0.98, self._level * share))
        days = count.days_since
        ways = [(float(count.eggs), 1, 1.0)]
        if days > 1:
            odds = self._habit[1] / sum(self._habit)
            ways = [(float(count.eggs), 1, 1.0 - odds), (float(count.eggs), days, odds)]
        if count.without_repeat < count.eggs and days <= 1:
            ways.append((float(count.without_repeat), 1, _COUNTED_TWICE))
        scored = [
            (math.log(chance) + _fit(eggs, hens * covers, expected), eggs, covers)
            for eggs, covers, chance in ways
        ]
        _, eggs, covers = max(scored)
        if eggs > hens * covers * _BEYOND + 1:
            return None
        if days > 1:
            self._habit[covers > 1] += 1.0
        if share > _TELLING:
            self._seen = min(self._seen + covers, _LEVEL_DAYS)
            gain = covers / (self._seen + _LEVEL_PRIOR_DAYS)
            level = min(1.0, eggs / (hens * covers * share))
            self._level += min(1.0, gain) * (level - self._level)
        return eggs, hens * covers


_COUNTED_TWICE = 0.1
"""Part of the days with several counts on which the same eggs are taken to be counted twice."""
_BEYOND = 1.15
"""More eggs than so many times the hens are no day's lay."""
_TELLING = 0.3
"""Share of full lay from which a day tells of the level."""
_LEVEL_DAYS, _LEVEL_PRIOR_DAYS = 21.0, 2.0
"""Days over which the level of late is taken, and what the published level is worth in days."""


def _fit(eggs: float, hen_days: float, expected: float) -> float:
    """Log density of a count, wider than chance as days differ."""
    mean = hen_days * expected
    variance = mean * (1 - expected) * 1.5 + (0.15 * mean) ** 2 + 0.25
    return -((eggs - mean) ** 2) / (2 * variance) - math.log(variance) / 2


@dataclass(frozen=True)
class LayBelief:
    """What is believed of every group's level on the day of the forecast.

    Attributes:
        hens: the possibilities.
        chances: of each after all records, shape (rows,), adding to 1.
        cumulated: of each group, for each row, chances of its levels added up, shape (groups,
            rows, levels).
        groups: names, in that order.
        hen_days: counted in each group.
        left_out: counts left out in each group.
    """

    hens: Hens
    chances: Array
    cumulated: NDArray[np.float32]
    groups: tuple[str, ...]
    hen_days: tuple[float, ...]
    left_out: tuple[int, ...]

    def rows(self, rng: Generator, number: int) -> Whole:
        """Draws of the possibility."""
        drawn: Whole = np.searchsorted(np.cumsum(self.chances), _even(rng, number)).clip(
            0, len(self.chances) - 1
        )
        return drawn

    def level(self, group: str, rows: Whole, rng: Generator) -> Array:
        """Draws of a group's level [log odds], given the rows drawn."""
        return self.state(group, rows, rng)[0]

    def state(self, group: str, rows: Whole, rng: Generator) -> tuple[Array, NDArray[np.bool_]]:
        """Draws of a group's level [log odds], and whether it is in a drop that will mend."""
        chances = self.cumulated[self.groups.index(group)]
        state = (rng.random(len(rows))[:, None] > chances[rows]).sum(1)
        state = np.minimum(state, 2 * len(levels()) - 1)
        cell = state % len(levels())
        level: Array = edges()[cell] + np.diff(edges())[cell] * rng.random(len(rows))
        return level, state >= len(levels())

    def new_level(self, rows: Whole, rng: Generator) -> Array:
        """Draws of the level of a group that has not laid yet [log odds]."""
        spread = facts.value("laying.level_logit_group_sd")
        drawn: Array = self.hens.usual[rows] + spread * rng.standard_normal(len(rows))
        return drawn


def _even(rng: Generator, number: int) -> Array:
    """Numbers of 0 to 1 in random order, one in each of as many equal parts."""
    return rng.permutation((rng.random(number) + np.arange(number)) / number)


def by_row(share: Array, table: Hens) -> Array:
    """`light.lay_share` of shape (..., lights, declines, rises) by row, shape (..., rows)."""
    rows: Array = share[..., table.light, table.decline, table.rise]
    return rows


def learn_lay(weeks: dict[str, Weeks], light: Light) -> LayBelief:
    """Follows every group's level through its weeks, and weighs the possibilities.

    Possibilities that the record has ruled out are left behind on the way.
    """
    table = hens(light)
    start = _starts(table)
    state = np.repeat(start[None], len(weeks), axis=0)
    evidence = table.before.copy()
    moves = kernels().astype(np.float32)
    kept: Whole = np.arange(len(evidence))
    number = max((len(own.eggs) for own in weeks.values()), default=0)
    every = list(weeks.values())
    for week in range(number):
        present = np.flatnonzero([own.there[week] for own in every])
        if not len(present):
            continue
        moved = _move(state[np.ix_(present, kept)], kept, moves, len(evidence) // len(moves))
        for place, group in enumerate(present):
            told = _told(every[group], week, table, kept)
            if told is None:
                continue
            both = moved[place].reshape(len(kept), 2, -1) * told[:, None, :]
            total = both.sum((1, 2))
            evidence[kept] += np.log(total)
            moved[place] = both.reshape(len(kept), -1) / total[:, None]
        state[np.ix_(present, kept)] = moved
        if week % _PRUNED_EVERY == 0:
            still = evidence[kept] > evidence[kept].max() - _RULED_OUT
            evidence[kept[~still]] = -np.inf
            kept = kept[still]
    chances = np.exp(evidence - evidence.max())
    return LayBelief(
        table,
        chances / chances.sum(),
        np.cumsum(state, axis=-1, dtype=np.float32),
        tuple(weeks),
        tuple(float(own.hen_days.sum()) for own in every),
        tuple(own.left_out for own in every),
    )


_PRUNED_EVERY = 4
_RULED_OUT = 40.0
"""Log odds against the likeliest below which a possibility is followed no further."""


def _told(own: Weeks, week: int, table: Hens, kept: Whole) -> NDArray[np.float32] | None:
    """Chance of what a week shows of a group, by row kept and level; None where it shows nothing.

    It depends on the row only by its light, decline, rise and restlessness.
    """
    lay = expit(levels())
    rate = np.maximum(own.share[week][..., None] * lay, facts.value("laying.rate_floor"))
    if own.hen_days[week] > 0:
        told = _likelihood(own.eggs[week], own.hen_days[week], rate)
    elif own.silent[week] > 0:
        says = own.silent[week]
        none = says + (1.0 - says) * np.exp(-own.hens_lived[week] * rate)
        told = np.repeat(none[None], 3, axis=0)
    else:
        return None
    rows = (
        table.restless[kept],
        table.light[kept],
        table.decline[kept],
        table.rise[kept],
    )
    found: NDArray[np.float32] = told[rows].astype(np.float32)
    return found


def _starts(table: Hens) -> NDArray[np.float32]:
    spread = facts.value("laying.level_logit_group_sd")
    own = {usual: _cells(usual, spread) for usual in set(table.usual.tolist())}
    begun = np.array([own[usual] for usual in table.usual.tolist()], dtype=np.float32)
    return np.concatenate((begun, np.zeros_like(begun)), axis=1)


def _move(
    state: NDArray[np.float32], kept: Whole, moves: NDArray[np.float32], a_block: int
) -> NDArray[np.float32]:
    """A week's moves: rows of one usual value and restlessness lie together and share a kernel."""
    moved = np.empty_like(state)
    ends = np.searchsorted(kept, a_block * np.arange(len(moves) + 1))
    for block, (first, end) in enumerate(pairwise(ends.tolist())):
        if end > first:
            moved[:, first:end] = state[:, first:end] @ moves[block]
    return moved


def _likelihood(eggs: float, hen_days: float, rate: Array) -> Array:
    """Chance of a week's eggs, up to what all share, for three kinds of restlessness.

    Binomial, flattened by the likeness of hens within a week; a part of weeks tells nothing.

    Args:
        rate: eggs a hen a day, shape (lights, declines, rises, levels).

    Returns:
        Shape (3, lights, declines, rises, levels).
    """
    p = np.clip(rate, 1e-6, 0.999)
    worth = 1.0 / (1.0 + hen_days * three("laying.week_icc"))[:, None, None, None, None]
    seen = min(max(eggs / hen_days, 1e-4), 1.0 - 1e-4)
    best = eggs * math.log(seen) + (hen_days - eggs) * math.log1p(-seen)
    log = eggs * np.log(p) + (hen_days - eggs) * np.log1p(-p) - best
    spread = 2.0 * math.pi * seen * (1.0 - seen) / hen_days
    odd = facts.value("laying.record_odd") * np.sqrt(spread / worth)
    told: Array = np.sqrt(worth) * (np.exp(log[None] * worth) + odd)
    return told

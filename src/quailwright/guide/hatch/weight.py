"""Weight loss of a hatch: what the shells and the hygrometer must be like, and what to set now.

Two things are unknown: how much faster or slower than usual this flock's shells let water through
(the shell factor), and how far the hygrometer is off. Weighings, the humidity shown and earlier
hatches of the same source and machine are weighed against each other on a grid of both, by Bayes'
rule. Humidity shown h, offset b, shell factor f: the eggs lose f x (inside - (h - b) of the air).
At a steady humidity only the two together can be learnt, and that is enough to advise on the
instrument's own scale; what cannot be told apart stays wide.

Weighings are compared as logarithms, so the unknown mean mass at setting is one more Gaussian term.
Eggs taken out between weighings change the mean of those left by sampling, which the covariance
carries (simple random samples, each within the one before).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from quailwright.guide.hatch.air import Air, VapourDays
from quailwright.guide.hatch.case import Estimate
from quailwright.husbandry import facts
from quailwright.husbandry.egg_water import conductance_mg_day_torr
from quailwright.husbandry.proportion import QUANTILES

Grid = NDArray[np.float64]

_SHELL = np.linspace(np.log(0.4), np.log(2.6), 76)[:, None]
"""Logarithm of the shell factor, down the grid."""
_OFFSET = np.linspace(-50.0, 50.0, 101)[None, :]
"""Points that the hygrometer shows too much, along the grid."""
_NORMAL_NODES = 15
_MG_PER_G = 1000.0
_MOST_LOST_PCT = 60.0
"""No egg can lose more: it keeps logarithms finite at the far ends of the grid."""
_FAINTEST = 1e-300


@dataclass(frozen=True, slots=True)
class Weighing:
    """Eggs weighed together on a day of the hatch.

    `mean_sd_g` is how far the mean egg may be off beyond the scale: of a mean that was only told.
    """

    day: float
    eggs: int
    total_g: float
    mean_sd_g: float = 0.0


@dataclass(frozen=True)
class WeightRecord:
    """What one hatch tells of weight loss.

    Attributes:
        hatch, machine, sources: names, to learn from earlier hatches by.
        eggs_set: eggs set.
        weighings: in order of time; a mean egg weight given at setting counts as one on day 0.
        air: the air as logged.
        altitude: `altitude_factor` for eggs that were not laid there, else near 1.
    """

    hatch: str
    machine: str
    sources: frozenset[str]
    eggs_set: int
    weighings: Sequence[Weighing]
    air: Air
    altitude: float = 1.0

    @cached_property
    def egg_mass_g(self) -> float:
        """Mean mass of an egg when set, as nearly as the record tells, for the conductance."""
        usual = facts.value("egg_water.egg_mass_prior_g")
        if not self.weighings:
            return usual
        first = self.weighings[0]
        drying = self.air.vapour_days(0.0, first.day).difference(0.0)
        lost = _pct_per_torr_day(usual, self.altitude) * drying
        return first.total_g / first.eggs / (1.0 - min(lost, _MOST_LOST_PCT) / 100.0)

    @cached_property
    def pct_per_torr_day(self) -> float:
        """Weight lost for each torr x day by eggs of shell factor 1, % of the mass when set."""
        return _pct_per_torr_day(self.egg_mass_g, self.altitude)

    def loss_pct(self, days: VapourDays) -> Grid:
        """Loss over the grid of shell factor and offset, % of the mass when set."""
        drying = np.maximum(days.inside - days.shown + _OFFSET / 100.0 * days.air, 0.0)
        lost: Grid = np.exp(_SHELL) * self.pct_per_torr_day * drying
        return np.minimum(lost, _MOST_LOST_PCT)

    @cached_property
    def hygrometer(self) -> tuple[str, str] | None:
        """The machine and its hygrometer, by which hatches share an offset; None without one."""
        return (self.machine, self.air.hygrometer) if self.air.has_humidity else None

    @cached_property
    def log_likelihood(self) -> Grid:
        """How well each point of the grid explains the weighings (a constant left out)."""
        if not self.weighings:
            return np.zeros((_SHELL.shape[0], _OFFSET.shape[1]))
        residuals = _residuals(self)
        inverse = np.linalg.inv(residuals.covariance)
        r = residuals.of_grid
        fit: Grid = -0.5 * np.einsum("iab,ij,jab->ab", r, inverse, r, optimize=True)
        return fit


def _pct_per_torr_day(egg_mass_g: float, altitude: float) -> float:
    return 100.0 * conductance_mg_day_torr(egg_mass_g) * altitude / (egg_mass_g * _MG_PER_G)


@dataclass(frozen=True, slots=True)
class Belief:
    """Weights over shell factor and hygrometer offset; they sum to 1."""

    weights: Grid

    def shell_factor(self) -> Estimate:
        """Mean and spread of the shell factor."""
        return _estimate(np.exp(_SHELL), self.weights)

    def offset_pct(self) -> Estimate:
        """Mean and spread of what the hygrometer shows too much, points."""
        return _estimate(_OFFSET, self.weights)

    def tied(self) -> float:
        """How far the two cannot be told apart: their correlation, -1 to 1."""
        shell, offset = np.broadcast_to(_SHELL, self.weights.shape), _OFFSET
        ms, mo = np.sum(self.weights * shell), np.sum(self.weights * offset)
        covariance = np.sum(self.weights * (shell - ms) * (offset - mo))
        spread = np.sqrt(
            np.sum(self.weights * (shell - ms) ** 2) * np.sum(self.weights * (offset - mo) ** 2)
        )
        return float(covariance / spread) if spread > 0 else 0.0


def _estimate(values: Grid, weights: Grid) -> Estimate:
    spread = np.broadcast_to(values, weights.shape)
    mean = float(np.sum(weights * spread))
    return Estimate(mean, float(np.sqrt(np.sum(weights * (spread - mean) ** 2))))


def prior(known_offset: float | None, has_humidity: bool, any_shell: bool = False) -> Belief:
    """Before any weighing: published shells, and a hygrometer that is unchecked or checked.

    `known_offset` is what a salt test found it to show too much, or None. With `any_shell` every
    shell factor of the published range is held as likely as any other: advice must be good for all
    of them, while a forecast starts from the published equation.
    """
    if any_shell:
        allowed = facts.figure("egg_water.shell_factor")
        low, high = np.log(allowed.low or 1.0), np.log(allowed.high or 1.0)
        beyond = np.maximum(0.0, np.maximum(low - _SHELL, _SHELL - high))
        log_shell = -0.5 * (beyond / facts.value("egg_water.shell_factor_sd_between")) ** 2
    else:
        down = facts.value("egg_water.shell_factor_sd_down")
        up = facts.value("egg_water.shell_factor_sd_up")
        log_shell = -0.5 * (_SHELL / np.where(_SHELL < 0, down, up)) ** 2
    if not has_humidity:
        centre, sd = 0.0, facts.value("egg_water.humidity_unknown_sd_pct")
    elif known_offset is None:
        centre, sd = 0.0, facts.value("egg_water.hygrometer_sd_pct")
    else:
        centre, sd = known_offset, facts.value("egg_water.hygrometer_checked_sd_pct")
    return Belief(_normalised(log_shell - 0.5 * ((_OFFSET - centre) / sd) ** 2))


def _normalised(log_weights: Grid) -> Grid:
    weights = np.exp(log_weights - np.max(log_weights))
    total: Grid = weights / np.sum(weights)
    return total


@dataclass(frozen=True, slots=True)
class _Residuals:
    """Weighings against what each point of the grid expects, and the covariance of the noise."""

    of_grid: Grid
    covariance: Grid
    days: Grid


def _residuals(record: WeightRecord) -> _Residuals:
    """Logarithms of the mean masses, less what the grid expects."""
    weighings = record.weighings
    days = np.array([w.day for w in weighings])
    eggs = np.array([w.eggs for w in weighings], dtype=float)
    means = np.array([w.total_g / w.eggs for w in weighings])
    expected = np.stack([_log_left(record, w.day) for w in weighings])
    mass_prior = facts.value("egg_water.egg_mass_prior_g")
    of_grid = np.log(means)[:, None, None] - np.log(mass_prior) - expected
    unknown_mass = facts.value("egg_water.egg_mass_prior_sd_g") / mass_prior
    sampling = facts.value("egg_water.egg_mass_cv") ** 2
    together = np.maximum(eggs[:, None], eggs[None, :])
    left_out = np.maximum(0.0, 1.0 / together - 1.0 / max(record.eggs_set, float(eggs.max())))
    told = np.array([w.mean_sd_g for w in weighings])
    scale = (facts.value("egg_water.scale_noise_g") / (means * eggs)) ** 2 + (told / means) ** 2
    covariance = (
        unknown_mass**2
        + sampling * left_out
        + np.diag(scale)
        + _wander(days[:, None], days[None, :])
    )
    return _Residuals(of_grid, covariance, days)


def _wander(day: Grid, other: Grid) -> Grid:
    """Covariance of the loss that no steady humidity explains, as a share of the mass."""
    a_day = facts.value("egg_water.loss_noise_pct") / 100.0
    shared: Grid = a_day**2 * np.minimum(day, other)
    return shared


def _log_left(record: WeightRecord, day: float) -> Grid:
    """Logarithm of the share of the mass that is left on a day, over the grid."""
    return np.log1p(-record.loss_pct(record.air.vapour_days(0.0, day)) / 100.0)


def learn(
    record: WeightRecord,
    earlier: Sequence[WeightRecord],
    known_offset: float | None,
    any_shell: bool = False,
) -> Belief:
    """What is believed of this hatch's shells and hygrometer; `any_shell` as in `prior`.

    Earlier hatches of the same source tell of the source's mean shell factor, about which its
    hatches spread; those in the same machine tell of its hygrometer. What only they share with each
    other (another source, another machine) is unknown and summed out over them together.
    """
    before = prior(known_offset, record.air.has_humidity, any_shell).weights
    log_weights = np.log(np.maximum(before, _FAINTEST))
    telling = [other for other in earlier if other.weighings and _shares(other, record)]
    for alike in _alike(telling):
        log_weights = log_weights + _told_by(alike, record)
    if any(other.sources & record.sources for other in telling):
        of_this_hatch = _between_hatches().T @ _normalised(log_weights)
        log_weights = np.log(np.maximum(of_this_hatch, _FAINTEST))
    return Belief(_normalised(log_weights + record.log_likelihood))


def _shares(other: WeightRecord, record: WeightRecord) -> bool:
    """Whether another hatch shares shells or hygrometer with this one."""
    same_hygrometer = other.hygrometer is not None and other.hygrometer == record.hygrometer
    return bool(other.sources & record.sources) or same_hygrometer


def _alike(records: Sequence[WeightRecord]) -> list[list[WeightRecord]]:
    """Hatches parted by source and by machine with its hygrometer."""
    groups: dict[tuple[object, ...], list[WeightRecord]] = {}
    for record in records:
        # Air that nobody logged was another one each time.
        unlogged = record.hatch if record.hygrometer is None else ""
        key = record.sources, record.machine, record.hygrometer, unlogged
        groups.setdefault(key, []).append(record)
    return list(groups.values())


def _told_by(alike: Sequence[WeightRecord], record: WeightRecord) -> Grid:
    """What hatches of one source in one machine say of this one's grid, as a logarithm."""
    spread = _between_hatches()
    told: Grid = np.zeros_like(alike[0].log_likelihood)
    for other in alike:
        fit = other.log_likelihood
        likelihood = spread @ np.exp(fit - np.max(fit))
        told = told + np.log(np.maximum(likelihood, _FAINTEST))
    apart = prior(alike[0].air.humidity_offset_pct, alike[0].air.has_humidity).weights
    if not alike[0].sources & record.sources:
        told = _summed_out(told, apart, axis=0)
    if alike[0].hygrometer is None or alike[0].hygrometer != record.hygrometer:
        told = _summed_out(told, apart, axis=1)
    return told


def _summed_out(logs: Grid, weights: Grid, axis: int) -> Grid:
    """A likelihood averaged over what is not shared, by its prior; a logarithm both ways."""
    shares = np.sum(weights, axis=1 - axis, keepdims=True)
    highest = np.max(logs)
    mean = np.sum(shares * np.exp(logs - highest), axis=axis, keepdims=True)
    spread: Grid = np.broadcast_to(np.log(np.maximum(mean, _FAINTEST)) + highest, logs.shape)
    return spread


@cache
def _between_hatches() -> Grid:
    """From a source's mean shell factor (down) to that of one of its hatches: rows sum to 1."""
    spread = facts.value("egg_water.shell_factor_sd_between")
    kernel = np.exp(-0.5 * ((_SHELL - _SHELL.T) / spread) ** 2)
    rows: Grid = kernel / np.sum(kernel, axis=1, keepdims=True)
    return rows


# What will be lost, and what to set.


@dataclass(frozen=True, slots=True)
class Outlook:
    """The loss by the stop of turning, with the noise that is left.

    `centre` is the loss [%] for each point of the grid that is believed at all, `sd` the spread
    about it.
    """

    centre: Grid
    sd: float
    weights: Grid

    def quantiles(self) -> dict[str, float]:
        """Mean and quantiles, % of the mass when set."""
        nodes, shares = _normal_nodes()
        values = self.centre[..., None] + self.sd * nodes
        weights = self.weights[..., None] * shares
        return quantiles(values.ravel(), weights.ravel())

    def chance(self, low: float, high: float) -> float:
        """Chance that the loss lands between `low` and `high`."""
        return _chance(self.centre, self.sd, self.weights, low, high)

    def miss(self, low: float, high: float) -> float:
        """By how many points of loss `low` to `high` is expected to be missed."""
        below, above = (low - self.centre) / self.sd, (self.centre - high) / self.sd
        missed = sum(z * _normal_cdf(z) + _normal_density(z) for z in (below, above))
        return float(self.sd * np.sum(self.weights * missed))


@dataclass(frozen=True, slots=True)
class _Course:
    """How the loss by a day depends on what the hygrometer shows from now on.

    For each believed point of the grid: `lost` until now [%], loss `a_torr` day [%], `offset` of
    the hygrometer, `known` (what the weighings say of the share left, beyond the humidity, as a
    logarithm), and the `variance` of that logarithm that remains.
    """

    lost: Grid
    a_torr: Grid
    offset: Grid
    known: Grid
    weights: Grid
    variance: float
    ahead: VapourDays

    def at(self, shown: float) -> Outlook:
        """The loss if the hygrometer shows `shown` from now on."""
        air = self.ahead.air
        drying = np.maximum(self.ahead.inside - (shown - self.offset) / 100.0 * air, 0.0)
        lost = np.minimum(self.lost + self.a_torr * drying, _MOST_LOST_PCT)
        left = (1.0 - lost / 100.0) * np.exp(self.known)
        mean_left = float(np.sum(self.weights * left))
        sd = 100.0 * mean_left * float(np.sqrt(max(self.variance, 0.0)))
        return Outlook(100.0 * (1.0 - left), max(_LEAST_SD, sd), self.weights)


_LEAST_SD = 1e-3
_BELIEVED = 1e-6
"""Points of the grid with less of the weight than this of the likeliest are left out."""


def _course(record: WeightRecord, belief: Belief, now: float, until: float) -> _Course:
    now = min(now, until)
    believed = belief.weights > _BELIEVED * np.max(belief.weights)
    weights = belief.weights[believed]
    lost = record.loss_pct(record.air.vapour_days(0.0, now))[believed]
    known = np.zeros_like(lost)
    variance = float(_wander(np.array(until), np.array(until)))
    if record.weighings:
        seen = _residuals(record)
        shared = _wander(seen.days, np.array(until))
        gain = np.linalg.solve(seen.covariance, shared)
        known = gain @ seen.of_grid[:, believed]
        variance -= float(shared @ gain)
    shell, offset = (np.broadcast_to(each, believed.shape)[believed] for each in (_SHELL, _OFFSET))
    return _Course(
        lost,
        np.exp(shell) * record.pct_per_torr_day,
        offset,
        known,
        weights / np.sum(weights),
        variance,
        record.air.vapour_days_at(now, until, 0.0),
    )


def outlook(
    record: WeightRecord, belief: Belief, now: float, stop: float, shown_from_now: float
) -> Outlook:
    """The loss by the stop of turning if the hygrometer shows `shown_from_now` from now on."""
    return _course(record, belief, now, stop).at(shown_from_now)


@dataclass(frozen=True, slots=True)
class Advice:
    """What to set from now until turning stops, or until eggs are weighed again.

    Attributes:
        shown_pct: humidity to read on the machine's own hygrometer.
        true_pct: the true humidity that this most likely is.
        chance: chance that the loss lands in the corridor if it then stays so.
        chance_if_weighed: the same if the setting is mended once at the next weighing.
        chance_as_now: the same as `chance` if nothing is changed.
        leave_it: whether leaving it is as good.
        weigh_on: the day of the next weighing before turning stops, or None.
    """

    shown_pct: float
    true_pct: float
    chance: float
    chance_if_weighed: float
    chance_as_now: float
    leave_it: bool
    weigh_on: float | None


_LOWEST_SETTING, _HIGHEST_SETTING = 15.0, 85.0
_NOT_WORTH_CHANGING = 0.02
_AS_GOOD = 0.005
_A_POINT_MISSED = 1e-3
"""Chance given for coming a point nearer: it only decides where the chances are alike."""
_HARDLY = 0.05
"""A chance so small that coming near to the corridor is what is left to do."""
_CANNOT_BE_SET_PCT = 2.0
"""Points of humidity that nobody can set a machine by."""
_NEARER_PCT = 0.1
"""Points of loss by which coming nearer is worth a change."""


def advise(
    record: WeightRecord,
    belief: Belief,
    now: float,
    stop: float,
    corridor: tuple[float, float],
    told: Belief | None = None,
) -> Advice:
    """The setting to keep from now on; `belief` should hold any shell as likely (`prior`).

    While eggs are still to be weighed, it is the setting that leaves the most room to mend: water
    once lost does not come back, and a room cannot be made as damp or as dry as one likes. Among
    settings as good, the one that would land by itself, or nearest; of those, one that an ordinary
    room allows. After the last weighing, only that counts. Chances and the true humidity are told
    by the belief `told`, if it is given.
    """
    told = belief if told is None else told
    offset = belief.offset_pct().mean
    as_now = record.air.recent_humidity_pct(now)
    lowest = max(1, round(_LOWEST_SETTING + offset))
    settings = range(lowest, min(99, round(_HIGHEST_SETTING + offset)) + 1)
    by_itself = _course(record, belief, now, stop)
    mended = _mended(record, belief, now, stop)

    def missed(shown: float) -> float:
        return by_itself.at(shown).miss(*corridor)

    def worth(shown: float) -> float:
        return by_itself.at(shown).chance(*corridor) - _A_POINT_MISSED * missed(shown)

    chances = {shown: mended(shown, corridor) for shown in settings}
    best_chance = max(chances.values())
    good = {shown: worth(shown) for shown in settings if chances[shown] >= best_chance - _AS_GOOD}
    enough = max(good.values()) - _NOT_WORTH_CHANGING
    best = min(
        (shown for shown in good if good[shown] >= enough),
        key=lambda shown: (_beyond_an_ordinary_room(shown - offset), -good[shown]),
    )
    leave_it = abs(best - as_now) <= _CANNOT_BE_SET_PCT or (
        mended(as_now, corridor) >= best_chance - _AS_GOOD
        and worth(as_now) >= max(good.values()) - _NOT_WORTH_CHANGING
        and (best_chance > _HARDLY or missed(as_now) <= missed(best) + _NEARER_PCT)
    )
    shown = as_now if leave_it else best
    as_told = _course(record, told, now, stop)
    chance = as_told.at(shown).chance(*corridor)
    return Advice(
        shown,
        min(100.0, max(0.0, shown - told.offset_pct().mean)),
        chance,
        max(chance, _mended(record, told, now, stop)(shown, corridor)),
        as_told.at(as_now).chance(*corridor),
        leave_it,
        _weighed_again(now, stop),
    )


def _beyond_an_ordinary_room(true_pct: float) -> float:
    """By how many points a humidity is drier or damper than most keepers can hold it."""
    driest = facts.value("egg_water.room_driest_pct")
    dampest = facts.value("egg_water.room_dampest_pct")
    return max(driest - true_pct, true_pct - dampest, 0.0)


def next_weighing(now: float) -> float | None:
    """The next day on which eggs are to be weighed before turning stops, by the rules of care."""
    days = [facts.value(f"incubation.weighing_day_{n}") for n in (2, 3)]
    return min((day for day in days if day > now), default=None)


def _weighed_again(now: float, stop: float) -> float | None:
    again = next_weighing(now)
    return again if again is not None and again < stop else None


def _mended(
    record: WeightRecord, belief: Belief, now: float, stop: float
) -> Callable[[float, tuple[float, float]], float]:
    """The chance to land in a corridor if the hygrometer shows so much until the next weighing, and
    the setting is then mended as far as an ordinary room and machine allow. After the last
    weighing, the chance without."""
    again = _weighed_again(now, stop)
    if again is None:
        course = _course(record, belief, now, stop)
        return lambda shown, corridor: course.at(shown).chance(*corridor)
    until_then = _course(record, belief, now, again)
    ahead = record.air.vapour_days_at(again, stop, 0.0)
    driest, dampest = (
        facts.value(f"egg_water.room_{extreme}_pct") / 100.0 for extreme in ("driest", "dampest")
    )
    most = until_then.a_torr * max(0.0, ahead.inside - driest * ahead.air)
    least = until_then.a_torr * max(0.0, ahead.inside - dampest * ahead.air)
    spread = facts.value("egg_water.mended_sd_pct")

    def chance(shown: float, corridor: tuple[float, float]) -> float:
        lost = until_then.at(shown).centre
        lands = np.clip(sum(corridor) / 2.0, lost + least, lost + most)
        return _chance(lands, spread, until_then.weights, *corridor)

    return chance


def _chance(centre: Grid, sd: float, weights: Grid, low: float, high: float) -> float:
    inside = _normal_cdf((high - centre) / sd) - _normal_cdf((low - centre) / sd)
    return float(np.sum(weights * inside))


def quantiles(values: Grid, weights: Grid) -> dict[str, float]:
    """Mean and the contract's quantiles of weighted values."""
    order = np.argsort(values)
    ordered, cumulative = values[order], np.cumsum(weights[order])
    cumulative /= cumulative[-1]
    found = {"mean": float(np.average(values, weights=weights))}
    for name, share in QUANTILES.items():
        position = min(int(np.searchsorted(cumulative, share)), len(ordered) - 1)
        found[name] = float(ordered[position])
    return found


def conductance_quantiles(record: WeightRecord, belief: Belief) -> dict[str, float]:
    """Quantiles of the shells' conductance at sea level, mg a day for each torr."""
    conductance = np.exp(_SHELL) * conductance_mg_day_torr(record.egg_mass_g)
    spread = np.broadcast_to(conductance, belief.weights.shape)
    return quantiles(spread.ravel(), belief.weights.ravel())


def _normal_nodes() -> tuple[Grid, Grid]:
    """Points of the standard normal and their shares, at the middle of equal slices."""
    shares = np.full(_NORMAL_NODES, 1.0 / _NORMAL_NODES)
    points = (np.arange(_NORMAL_NODES) + 0.5) / _NORMAL_NODES
    return np.array([NormalDist().inv_cdf(float(p)) for p in points]), shares


def _normal_cdf(z: Grid) -> Grid:
    """The standard normal distribution function (Abramowitz and Stegun 1964, 26.2.17)."""
    t = 1.0 / (1.0 + 0.2316419 * np.abs(z))
    tail = t * (
        0.319381530 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429)))
    )
    upper = tail * _normal_density(z)
    below: Grid = np.where(z >= 0, 1.0 - upper, upper)
    return below


def _normal_density(z: Grid) -> Grid:
    density: Grid = np.exp(-0.5 * z * z) / np.sqrt(2.0 * np.pi)
    return density

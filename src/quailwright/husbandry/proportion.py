"""Shares of small counts: how sure they are, and what a keeper's hatches together say of one."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from quailwright.language import say

Grid = NDArray[np.float64]

COVERAGE = 0.95
"""Of every interval here; the names `low95` and `high95` say so."""
QUANTILES = {
    "q05": 0.05,
    "q10": 0.10,
    "q25": 0.25,
    "q50": 0.50,
    "q75": 0.75,
    "q90": 0.90,
    "q95": 0.95,
}
"""By which a spread of any kind is told, with their names in JSON."""


@dataclass(frozen=True, slots=True)
class Interval:
    """A share with its 95 % interval.

    Attributes:
        value: the share, 0 to 1.
        low95, high95: ends of the interval, 0 to 1.
        n: out of how many.
    """

    value: float
    low95: float
    high95: float
    n: int


def interval(count: int, n: int) -> Interval:
    """The share `count` of `n` with its Wilson score interval, the one used by default.

    It keeps close to 95 % on average from about 5 up, never leaves 0 to 1, and is narrower than
    the exact one. It holds for eggs that fare independently; eggs of one hatch are a little alike
    (``incubation.batch_icc``), for which see `pool`.

    Args:
        count: 0 to n.
        n: 1 or more.

    Raises:
        ValueError: counts out of range.

    Source: Wilson 1927, J Am Stat Assoc 22:209-212; recommended for small n by Brown, Cai and
    DasGupta 2001, Statistical Science 16:101-133. Certainty: published.
    """
    _check(count, n)
    z = NormalDist().inv_cdf(0.5 + COVERAGE / 2)
    share = count / n
    centre = (share + z * z / (2 * n)) / (1 + z * z / n)
    half = z / (1 + z * z / n) * math.sqrt(share * (1 - share) / n + z * z / (4 * n * n))
    low = 0.0 if count == 0 else centre - half
    high = 1.0 if count == n else centre + half
    return Interval(share, low, high, n)


def exact_interval(count: int, n: int) -> Interval:
    """The share `count` of `n` with the Clopper-Pearson interval, which never covers too little.

    Wider than needed on average; for a claim that must not be too bold.

    Args:
        count: 0 to n.
        n: 1 or more.

    Raises:
        ValueError: counts out of range.

    Source: Clopper and Pearson 1934, Biometrika 26:404-413. Certainty: published.
    """
    _check(count, n)
    tail = (1 - COVERAGE) / 2
    low = 0.0 if count == 0 else _root(lambda p: _at_least(count, n, p), tail)
    high = 1.0 if count == n else 1 - _root(lambda q: _at_least(n - count, n, q), tail)
    return Interval(count / n, low, high, n)


def between(low_count: int, high_count: int, n: int, value: float) -> Interval:
    """The interval of a share whose count is only known to lie between two numbers.

    Lower end of the interval of the lower count, upper end of that of the higher: it covers at
    least 95 % whatever the true count.

    Args:
        low_count, high_count: 0 to n.
        n: 1 or more.
        value: the best guess of the share.

    Raises:
        ValueError: counts out of range.
    """
    low, high = interval(low_count, n), interval(high_count, n)
    return Interval(value, low.low95, high.high95, n)


def _check(count: int, n: int) -> None:
    if n < 1 or not 0 <= count <= n:
        raise ValueError(say("{count} of {n} is no share.", count=count, n=n))


def _at_least(count: int, n: int, p: float) -> float:
    """Chance of `count` or more of `n`, each with chance p (0 < p < 1)."""
    logs = (
        math.lgamma(n + 1)
        - math.lgamma(k + 1)
        - math.lgamma(n - k + 1)
        + k * math.log(p)
        + (n - k) * math.log1p(-p)
        for k in range(count, n + 1)
    )
    return math.fsum(math.exp(log) for log in logs)


def _root(rising: Callable[[float], float], target: float) -> float:
    """Where a function that rises on 0 to 1 meets the target."""
    low, high = 0.0, 1.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if rising(middle) < target else (low, middle)
    return (low + high) / 2


# Hatches pooled: beta-binomial counts, sources within a holding, holdings as published.


@dataclass(frozen=True, slots=True)
class Record:
    """One hatch of one source: `count` of `n`."""

    source: str
    count: int
    n: int


@dataclass(frozen=True, slots=True)
class Pooled:
    """What is believed of one share after all records.

    Attributes:
        mean, low95, high95: of the source's usual share, 0 to 1.
        a, b: of the Beta distribution with the same mean and variance.
        likeness: how alike eggs of one hatch are (intra-class correlation), learned.
        prior_mean: the published share.
        weight_prior, weight_others, weight_own: parts of the evidence that are the published
            figure, the holding's other sources, and this source's own hatches; they add to 1.
        hatches, eggs: of this source.
    """

    mean: float
    low95: float
    high95: float
    a: float
    b: float
    likeness: float
    prior_mean: float
    weight_prior: float
    weight_others: float
    weight_own: float
    hatches: int
    eggs: int

    def next_hatch(self) -> tuple[float, float]:
        """(a, b) of the Beta distribution of the true share of one further hatch."""
        variance = _beta_variance(self.a, self.b)
        spread = self.mean * (1 - self.mean) - variance
        return _beta(self.mean, variance + self.likeness * spread)


@dataclass(frozen=True, slots=True)
class Pool:
    """Every source's usual share, a source not tried yet, and each record's own share shrunk.

    Attributes:
        sources: by source.
        new_source: what to expect of a source of which there is no record.
        hatches: in the order of the records, each hatch's own share: the further a small hatch is
            from its source's usual share, the more of it is taken for luck.
    """

    sources: dict[str, Pooled]
    new_source: Pooled
    hatches: tuple[float, ...]


_SHARES = (np.arange(400) + 0.5) / 400
_HOLDING_MEANS = (np.arange(80) + 0.5) / 80
_COMMON = np.array([0.1, 0.3, 0.5, 0.7, 0.9])
"""Part of the published spread that a holding's sources have in common: not known, all alike."""
_LIKENESS_FACTORS = np.array([0.25, 0.5, 1.0, 2.0, 4.0])
_LIKENESS_CHANCES = np.array([1, 4, 6, 4, 1]) / 16
"""The published likeness is itself unsure: each factor of it has this chance before records."""


def pool(records: Sequence[Record], prior: tuple[float, float], likeness: float) -> Pool:
    """Partial pooling of a share over a keeper's hatches and sources.

    Each hatch has a true share, spread about its source's by `likeness` (beta-binomial); each
    source's is spread about the holding's; the holding's has the published mean, and both spreads
    together make the published one. How much of it is common to the holding, and the likeness, are
    learned with the rest, by sums over a grid, so that a source with few eggs stays near the
    holding's other sources, and a holding with few near the published figure.

    Args:
        records: one a hatch; n of 0 is passed over.
        prior: (a, b) of the published Beta distribution, such as
            ``incubation.hatch_of_set_beta_a`` and ``_b``, both above 0.
        likeness: intra-class correlation before records, such as ``incubation.batch_icc``, above
            0 and below 0.25.

    Raises:
        ValueError: a record or the prior out of range.

    Source: beta-binomial hierarchical model, Gelman et al. 2013, Bayesian Data Analysis, section
    5.3. Certainty: published (method).
    """
    if min(prior) <= 0 or not 0 < likeness < 1 / _LIKENESS_FACTORS.max():
        raise ValueError(
            say("The prior's two numbers are above 0, the likeness between 0 and 0.25.")
        )
    for record in records:
        if not 0 <= record.count <= record.n:
            raise ValueError(say("{count} of {n} is no share.", count=record.count, n=record.n))
    used = [record for record in records if record.n]
    alike = _LIKENESS_FACTORS * likeness
    strengths = 1 / alike - 1
    names = list(dict.fromkeys(record.source for record in used))
    by_share = {
        name: sum(
            (_log_chance(r, strengths) for r in used if r.source == name),
            np.zeros((len(alike), len(_SHARES))),
        )
        for name in names
    }
    holding, within = _spreads(prior)
    before = np.log(_LIKENESS_CHANCES)[:, None, None] + np.log(holding)[None]
    told = {name: _log_sum(by_share[name], within) for name in names}
    everything = before + sum(told.values(), np.zeros_like(before))
    flat = np.zeros((len(alike), len(_SHARES)))
    nothing, _ = _belief(before, flat, within)
    new, new_alike = _belief(everything, flat, within)
    beliefs = {name: _belief(everything - told[name], by_share[name], within) for name in names}
    sources = {}
    for name in names:
        without, _ = _belief(everything - told[name], flat, within)
        own = [record for record in used if record.source == name]
        belief, likenesses = beliefs[name]
        sources[name] = _pooled((nothing, without, belief), float(likenesses @ alike), prior, own)
    new_source = _pooled((nothing, new, new), float(new_alike @ alike), prior, [])
    return Pool(
        sources,
        new_source,
        tuple(
            _own_share(record, sources[record.source]) if record.n else new_source.mean
            for record in records
        ),
    )


def _log_chance(record: Record, strengths: Grid) -> Grid:
    """Log chance of a record by likeness and usual share, up to a constant of the record."""
    a = strengths[:, None, None] * _SHARES[None, :, None]
    b = strengths[:, None, None] - a
    chance: Grid = (
        np.log(a + np.arange(record.count)).sum(-1)
        + np.log(b + np.arange(record.n - record.count)).sum(-1)
        - np.log(strengths[:, None, None] + np.arange(record.n)).sum(-1)
    )
    return chance


def _spreads(prior: tuple[float, float]) -> tuple[Grid, Grid]:
    """Chance of (common part, holding's mean), and of a source's share given those."""
    strength = sum(prior)
    mean = prior[0] / strength
    between_holdings = (strength + 1) / _COMMON - 1
    within_holding = (1 - _COMMON / (strength + 1)) * (strength + 1) / (1 - _COMMON) - 1
    holding = _beta_grid(_HOLDING_MEANS, np.full(1, mean), between_holdings)[:, 0]
    within = _beta_grid(_SHARES, _HOLDING_MEANS, within_holding)
    return holding / len(_COMMON), within


def _beta_grid(x: Grid, means: Grid, strengths: Grid) -> Grid:
    """Beta densities on a grid: shape (strengths, means, x), each adding to 1."""
    a = strengths[:, None, None] * means[None, :, None]
    b = strengths[:, None, None] - a
    logs = (a - 1) * np.log(x) + (b - 1) * np.log1p(-x)
    density = np.exp(logs - logs.max(-1, keepdims=True))
    grid: Grid = np.maximum(density / density.sum(-1, keepdims=True), np.finfo(float).tiny)
    return grid


def _log_sum(by_share: Grid, within: Grid) -> Grid:
    """Log chance of a source's records by likeness, common part and holding's mean."""
    top = by_share.max()
    total: Grid = np.log(np.einsum("ls,cms->lcm", np.exp(by_share - top), within)) + top
    return total


def _belief(around: Grid, by_share: Grid, within: Grid) -> tuple[Grid, Grid]:
    """Chances of a source's share, and of the likeness, both adding to 1."""
    outer = np.exp(around - around.max())
    inner = np.exp(by_share - by_share.max())
    joint = np.einsum("lcm,cms->ls", outer, within) * inner
    joint /= joint.sum()
    return joint.sum(0), joint.sum(1)


def _pooled(
    beliefs: tuple[Grid, Grid, Grid],
    likeness: float,
    prior: tuple[float, float],
    own: Sequence[Record],
) -> Pooled:
    """Beliefs of a source: with nothing but the prior, with the other sources, with all."""
    parameters = [_beta(*_moments(belief)) for belief in beliefs]
    published, others, everything = (a + b for a, b in parameters)
    gains = (published, max(0.0, others - published), max(0.0, everything - others))
    cumulated = np.concatenate(([0.0], np.cumsum(beliefs[2])))
    edges = np.linspace(0.0, 1.0, len(cumulated))
    tail = (1 - COVERAGE) / 2
    low, high = np.interp([tail, 1 - tail], cumulated, edges)
    a, b = parameters[2]
    return Pooled(
        mean=a / (a + b),
        low95=float(low),
        high95=float(high),
        a=a,
        b=b,
        likeness=likeness,
        prior_mean=prior[0] / sum(prior),
        weight_prior=gains[0] / sum(gains),
        weight_others=gains[1] / sum(gains),
        weight_own=gains[2] / sum(gains),
        hatches=len(own),
        eggs=sum(record.n for record in own),
    )


def _own_share(record: Record, source: Pooled) -> float:
    strength = 1 / source.likeness - 1
    return (source.mean * strength + record.count) / (strength + record.n)


def _moments(belief: Grid) -> tuple[float, float]:
    mean = float(belief @ _SHARES)
    return mean, float(belief @ (_SHARES - mean) ** 2)


def _beta(mean: float, variance: float) -> tuple[float, float]:
    strength = mean * (1 - mean) / variance - 1
    return mean * strength, (1 - mean) * strength


def _beta_variance(a: float, b: float) -> float:
    return a * b / ((a + b) ** 2 * (a + b + 1))

"""The breeder's equation: how far the next generation moves, and how surely."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from quailwright.husbandry.inheritance.effective_size import census, rise
from quailwright.language import say

_REACH = 9.0
_STEPS = 3601
"""Standard deviations either way, and steps, of the integrals over the normal curve."""


@dataclass(frozen=True, slots=True)
class Best:
    """The greatest of some independent standard normal values.

    Attributes:
        mean: expected mean of the greatest, the selection intensity [standard deviations].
        mean_variance: variance of that mean from one group of candidates to the next.
        variance: variance of one of the greatest, taken at random.
    """

    mean: float
    mean_variance: float
    variance: float


@lru_cache(4096)
def best(kept: int, of: int) -> Best:
    """The `kept` greatest of `of` values, exactly, for a group of any size.

    Given that the best value not kept stands at x, the kept are independent values above x; and
    x is an order statistic, whose distribution is known.

    Args:
        kept: 1 to `of`.
        of: candidates.

    Raises:
        ValueError: fewer than 1, or more than all, are kept.

    Source: David and Nagaraja 2003, Order statistics, 3rd edition, sections 2.1 and 2.5 (from
    memory).
    """
    if not 1 <= kept <= of:
        raise ValueError(say("Birds kept are one at least, and not more than there are."))
    if kept == of:
        return Best(0.0, 1 / of, 1.0)
    from scipy.special import betaln, log_ndtr, ndtr  # type: ignore[import-untyped]

    x = np.linspace(-_REACH, _REACH, _STEPS)
    density = np.exp(-x * x / 2) / math.sqrt(2 * math.pi)
    mean = density / ndtr(-x)
    variance = np.maximum(0.0, 1 + x * mean - mean * mean)
    chance = density * np.exp(
        (of - kept - 1) * log_ndtr(x) + kept * log_ndtr(-x) - betaln(kept + 1, of - kept)
    )
    chance /= chance.sum()
    first = float(chance @ mean)
    between = float(chance @ (mean * mean)) - first * first
    within = float(chance @ variance)
    return Best(first, between + within / kept, between + within)


def intensity(kept: int, of: int) -> float:
    """Selection intensity i: by how many standard deviations the best of a finite group exceed it.

    Args:
        kept: 1 to `of`.
        of: candidates.

    Returns:
        i; 0 where all are kept. For a few dozen birds it is lower than `intensity_of_many`.

    Raises:
        ValueError: fewer than 1, or more than all, are kept.
    """
    return best(kept, of).mean


def intensity_of_many(share: float) -> float:
    """Selection intensity where the share kept, above 0 and below 1, is of very many birds."""
    from scipy.special import ndtri

    line = float(ndtri(1 - share))
    return math.exp(-line * line / 2) / math.sqrt(2 * math.pi) / share


def response(intensity_cocks: float, intensity_hens: float, accuracy: float, sd_a: float) -> float:
    """The breeder's equation R = i r sd_A: gain of one generation, in the unit of `sd_a`.

    Args:
        intensity_cocks, intensity_hens: i of each sex; each gives half of the genes.
        accuracy: correlation r of what is chosen by with the true breeding value, 0 to 1; for a
            bird's own record it is the root of heritability, and then R = h2 S.
        sd_a: standard deviation of breeding values.

    Source: Falconer and Mackay 1996, Introduction to quantitative genetics, 4th edition,
    chapter 11 (from memory).
    """
    return (intensity_cocks + intensity_hens) / 2 * accuracy * sd_a


def correlated_response(
    gain: float, genetic_correlation: float, sd_a: float, sd_a_other: float
) -> float:
    """What another trait moves when one moves by `gain` through the birds' own breeding values.

    CR = R r_G sd_A(other) / sd_A. Source: as `response`, chapter 19 (from memory).
    """
    return gain * genetic_correlation * sd_a_other / sd_a


def generation_interval(father_d: float, mother_d: float) -> float:
    """Mean age of parents when the chicks that replace them hatch, of both sexes alike [d]."""
    return (father_d + mother_d) / 2


@dataclass(frozen=True, slots=True)
class Scheme:
    """A flock in which the best by their own record are kept, generation after generation.

    Attributes:
        heritability: h2, above 0 and below 1.
        heritability_sd: how unsure it is.
        sd: standard deviation of the trait among birds of one hatch and sex, in its unit.
        cocks, of_cocks, hens, of_hens: kept, and to choose from, each generation.
    """

    heritability: float
    heritability_sd: float
    sd: float
    cocks: int
    of_cocks: int
    hens: int
    of_hens: int

    def __post_init__(self) -> None:
        """Raises ValueError for counts or a heritability that cannot be."""
        if not 0 < self.heritability < 1:
            raise ValueError(say("Heritability is above 0 and below 1."))
        best(self.cocks, self.of_cocks)
        best(self.hens, self.of_hens)

    @property
    def effective_size(self) -> float:
        """By the numbers of parents alone."""
        return float(census(self.cocks, self.hens))


@dataclass(frozen=True, slots=True)
class Gain:
    """A generation after the start: how far the mean has moved, and how surely.

    Attributes:
        generation: 1 of the first chicks.
        mean: expected gain, in the trait's unit.
        drift_sd: spread by the chance of few parents.
        sd: spread in all, that of a heritability not known for sure too.
        inbreeding: expected of these chicks by the number of parents alone; their choice among
            kin adds to it (`simulated`).
    """

    generation: int
    mean: float
    drift_sd: float
    sd: float
    inbreeding: float


def expected_gains(scheme: Scheme, generations: int) -> list[Gain]:
    """Gain by generation, with the chance of a flock of this size.

    Selection uses up part of the differences between families (Bulmer 1971, The effect of
    selection on genetic variability, Am Nat 105:201-211); few parents drift (Hill 1974,
    Variability of response to selection in genetic experiments, Biometrics 30:363-366; both from
    memory). Candidates are taken as unrelated within a generation; brothers are alike, which makes
    the true intensity a little lower. Held against `simulated` in the tests.

    Args:
        scheme: who is kept of how many.
        generations: 1 or more.
    """
    low = max(0.01, scheme.heritability - scheme.heritability_sd)
    high = min(0.99, scheme.heritability + scheme.heritability_sd)
    slack = [
        (above[0] - below[0]) / 2
        for above, below in zip(
            _moved(replace(scheme, heritability=high), generations),
            _moved(replace(scheme, heritability=low), generations),
            strict=True,
        )
    ]
    return [
        Gain(n, mean, math.sqrt(drift), math.sqrt(drift + unsure * unsure), inbred)
        for n, ((mean, drift, inbred), unsure) in enumerate(
            zip(_moved(scheme, generations), slack, strict=True), start=1
        )
    ]


def _moved(scheme: Scheme, generations: int) -> Iterator[tuple[float, float, float]]:
    """By generation: mean gain, variance by drift, inbreeding."""
    base = scheme.heritability * scheme.sd**2
    noise = (1 - scheme.heritability) * scheme.sd**2
    between, mean, drift, inbred = base, 0.0, 0.0, 0.0
    sexes = (
        (scheme.cocks, best(scheme.cocks, scheme.of_cocks)),
        (scheme.hens, best(scheme.hens, scheme.of_hens)),
    )
    for _ in range(generations):
        told = between / (between + noise)
        left = 0.0
        for kept, chosen in sexes:
            mean += chosen.mean * math.sqrt(told * between) / 2
            drift += between * ((1 - told) / kept + told * chosen.mean_variance) / 4
            left += between * (1 - told * (1 - chosen.variance)) * (1 - 1 / kept) / 4
        yield mean, drift, inbred
        between = left + base * (1 - inbred) / 2
        inbred += (1 - inbred) * float(rise(scheme.effective_size))

"""What each bird passes on by the record: breeding values by the animal model."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array, kron  # type: ignore[import-untyped]

from quailwright.flock.pedigree import Lines
from quailwright.flock.performance import Measure, Performance, performance
from quailwright.flock.state import Flock
from quailwright.husbandry import facts, growth
from quailwright.husbandry.inheritance.blup import Estimates, Records, blup
from quailwright.husbandry.inheritance.kinship import inbreeding, inverse, relationships
from quailwright.husbandry.inheritance.reml import Variances, reml
from quailwright.husbandry.selection.traits import (
    TRAITS,
    TraitName,
    egg_weight_noise,
    eggs_noise,
    genetic_correlations,
    trait,
)

Array = NDArray[np.float64]
Goal = Mapping[TraitName, float]
"""How much each trait counts, 0 or more, a usual spread between birds of each taken as alike."""


@dataclass(frozen=True, slots=True)
class Basis:
    """What a trait's values stand on.

    Attributes:
        mean: of the flock's records, else the usual one; `mean_own` says which.
        sd: standard deviation between birds of a hatch and sex; `sd_own`: by their own records.
        heritability, heritability_sd: used, and how unsure; `heritability_own`: learned here.
        own, pens: birds with a record of their own; groups with a mean.
        alone: birds whose hatch and sex has fewer than `selection.least_contemporaries` records.
    """

    name: TraitName
    mean: float
    mean_own: bool
    sd: float
    sd_own: bool
    heritability: float
    heritability_sd: float
    heritability_own: bool
    own: int
    pens: int
    alone: int

    @property
    def sd_a(self) -> float:
        """Standard deviation of breeding values."""
        return math.sqrt(self.heritability) * self.sd


@dataclass(frozen=True)
class Merits:
    """Breeding values of all birds of a pedigree.

    Attributes:
        lines: the birds.
        bases: by trait, in the order of `TRAITS`.
        performance: the records.
        values: (3, n), each trait's in its own unit, above the founders' mean.
        genes: covariance of the traits' breeding values, (3, 3).
    """

    lines: Lines
    bases: Mapping[TraitName, Basis]
    performance: Performance
    values: Array
    genes: Array
    estimates: Estimates | None

    @cached_property
    def inbreeding(self) -> Array:
        """Of each bird, (n,)."""
        return inbreeding(self.lines.pedigree)

    def towards(self, goal: Goal) -> Array:
        """What a unit of each trait counts for, (3,): the goal by usual spreads."""
        return np.array([goal.get(name, 0.0) / self.bases[name].sd for name in TRAITS])

    def index(self, goal: Goal) -> Array:
        """What each bird passes on towards the goal, in usual spreads, (n,)."""
        found: Array = self.towards(goal) @ self.values
        return found

    def errors(self, of_birds: Array, of_traits: Array) -> Array:
        """Covariance of the errors of some sums over birds, of a sum over traits.

        Args:
            of_birds: (k, n).
            of_traits: (3,).

        Returns:
            (k, k), in the square of the unit of the sum over traits.
        """
        if self.estimates is not None:
            return self.estimates.error_covariance(np.kron(of_traits, of_birds).astype(np.float64))
        used = np.flatnonzero(np.abs(of_birds).sum(0))
        related = relationships(self.lines.pedigree, used)
        found: Array = of_birds[:, used] @ related @ of_birds[:, used].T
        return found * float(of_traits @ self.genes @ of_traits)

    def error_blocks(self, places: list[int], base: Array) -> tuple[Array, Array]:
        """Covariances of the errors of each bird's traits, and of the same above a base.

        Args:
            places: k birds.
            base: (n,), a sum over birds that each is set against.

        Returns:
            Two arrays (k, 3, 3): of the values, and of the values less that of the base.
        """
        n, traits = len(self.lines.members), len(TRAITS)
        at = np.array(places, np.intp)
        if self.estimates is None:
            used = np.union1d(at, np.flatnonzero(base))
            related = relationships(self.lines.pedigree, used)
            some, mine = base[used], np.searchsorted(used, at)
            own = np.diag(related)[mine]
            against = own - 2 * (related @ some)[mine] + some @ related @ some
            return own[:, None, None] * self.genes, against[:, None, None] * self.genes
        blocks = self.estimates.error_blocks(at[:, None] + n * np.arange(traits))
        sums = np.kron(np.eye(traits), base).astype(np.float64)
        cross = self.estimates.errors_with(sums).reshape(traits, traits, n)
        with_base = cross[:, :, at].transpose(2, 0, 1)
        return blocks, blocks - with_base - with_base.transpose(0, 2, 1) + cross @ base

    def accuracy(self, places: list[int], of_traits: Array, blocks: Array) -> Array:
        """How surely the value of each of some birds is known, 0 to 1, (k,).

        Args:
            places: k birds.
            of_traits: (3,), what a unit of each trait counts for.
            blocks: (k, 3, 3), the errors of their values as `error_blocks` has them first.
        """
        before = (1 + self.inbreeding[places]) * float(of_traits @ self.genes @ of_traits)
        errors = blocks @ of_traits @ of_traits
        found: Array = np.sqrt(np.clip(1 - errors / before, 0.0, 1.0))
        return found


def merits(flock: Flock, lines: Lines, on: date) -> Merits:
    """What every bird passes on, by all records up to the day `on`.

    The three traits stand in one set of equations: a record of one tells of the others through
    their genetic correlations; beside genes they are taken as apart. Birds of one hatch and sex
    are compared with each other, pens with pens.
    """
    done = performance(flock, lines, on)
    bases = {name: _basis(name, done, lines) for name in TRAITS}
    sd_a = np.array([bases[name].sd_a for name in TRAITS])
    genes = genetic_correlations() * np.outer(sd_a, sd_a)
    n = len(lines.members)
    if not done.measures:
        return Merits(lines, bases, done, np.zeros((len(TRAITS), n)), genes, None)
    records = _records(done.measures, bases, n)
    precision = csr_array(kron(csr_array(np.linalg.inv(genes)), inverse(lines.pedigree)))
    found = blup(records, precision)
    return Merits(lines, bases, done, found.values.reshape(len(TRAITS), n), genes, found)


def _basis(name: TraitName, done: Performance, lines: Lines) -> Basis:
    usual, measures = trait(name), done.of(name)
    own = [one for one in measures if one.own]
    mean = _mean(name, measures, done.weight_age_d)
    sd = usual.spread * mean
    sd_own = len(own) >= facts.value("selection.records_for_spread")
    if sd_own:
        sd = max(_within(own, name, mean), sd / 2)
    heritability, error = usual.heritability, usual.heritability_sd
    learned = _learned(name, own, mean, sd, lines)
    if learned is not None:
        heritability, error = learned.heritability, learned.heritability_sd
        sd = math.sqrt(learned.additive + learned.residual)
    together: dict[tuple[str, ...], int] = {}
    for one in own:
        together[one.like] = together.get(one.like, 0) + 1
    few = facts.value("selection.least_contemporaries")
    return Basis(
        name, mean, bool(measures), sd, sd_own, heritability, error, learned is not None,
        len(own), len(measures) - len(own), sum(n for n in together.values() if n < few),
    )  # fmt: skip


def _mean(name: TraitName, measures: list[Measure], weight_age_d: float) -> float:
    """Of the records; of none, or so few eggs that they tell of a rest, what is usual."""
    if name == "weight":
        usual = growth.mass_g(weight_age_d, "chick")
    elif name == "eggs":
        usual = facts.value("laying.year_mean_rate") * facts.value("selection.eggs_over_d")
    else:
        usual = facts.value("laying.egg_mass_g")
    if not measures:
        return usual
    return max(_LEAST_OF_USUAL * usual, float(np.mean([one.value for one in measures])))


_LEAST_OF_USUAL = 0.2


def _sampling(one: Measure, mean: float) -> float:
    """Variance by counting for a time only."""
    if one.trait == "eggs":
        over_d = facts.value("selection.eggs_over_d")
        rate = min(max(mean / over_d, 0.05), 0.95)
        return eggs_noise(rate, one.amount)
    if one.trait == "egg_weight":
        return egg_weight_noise(mean, one.amount)
    return 0.0


def _within(own: list[Measure], name: TraitName, mean: float) -> float:
    """Standard deviation between birds of one hatch and sex, without what counting adds."""
    squares, free = 0.0, 0
    for like in {one.like for one in own}:
        values = np.array([one.value for one in own if one.like == like])
        squares += float(((values - values.mean()) ** 2).sum())
        free += len(values) - 1
    noise = float(np.mean([_sampling(one, mean) for one in own]))
    whole = _counted_whole(name, mean)
    return math.sqrt(max(0.0, squares / free - noise + whole)) if free > 0 else 0.0


def _counted_whole(name: TraitName, mean: float) -> float:
    """The part of `sd` squared that counting for the whole of 90 days has in it."""
    if name != "eggs":
        return 0.0
    over_d = facts.value("selection.eggs_over_d")
    return eggs_noise(min(max(mean / over_d, 0.05), 0.95), over_d)


def _noise(one: Measure, sd: float, heritability: float, mean: float) -> float:
    """Variance of a record about the breeding values in it."""
    whole = _counted_whole(one.trait, mean)
    floor = 0.05 * sd * sd
    lasting = max((1 - heritability) * sd * sd - whole, floor)
    sampling = _sampling(one, mean)
    if one.own:
        return lasting + sampling
    pen = trait(one.trait).pen_spread * mean
    if one.trait == "eggs":
        sampling /= one.counted
    return pen * pen + lasting / one.counted + sampling


def _learned(
    name: TraitName, own: list[Measure], mean: float, sd: float, lines: Lines
) -> Variances | None:
    """Heritability by the flock's own records; None where they are too few or too unsure."""
    least = facts.value("selection.records_to_learn")
    if len(own) - len({one.like for one in own}) < least / 2 or len(own) < least:
        return None
    usual = trait(name)
    places = np.array([one.birds[0] for one in own])
    whole = (1 - usual.heritability) * sd * sd
    noise = np.array([_noise(one, sd, usual.heritability, mean) / whole for one in own])
    shares = csr_array(np.eye(len(own)))
    seen = np.array([one.value for one in own])
    found = reml(Records(seen, _fixed(own), shares, noise), relationships(lines.pedigree, places))
    usable = found.heritability_sd <= _SURE and 0.02 < found.heritability < 0.95
    return found if usable else None


_SURE = 0.2
"""A learned heritability with a greater standard error tells less than the published ones."""


def _fixed(measures: list[Measure]) -> Array:
    """A column for each trait's hatch and sex, or pens."""
    kinds = {key: n for n, key in enumerate(dict.fromkeys((m.trait, *m.like) for m in measures))}
    found = np.zeros((len(measures), len(kinds)))
    for n, one in enumerate(measures):
        found[n, kinds[one.trait, *one.like]] = 1
    return found


def _records(measures: tuple[Measure, ...], bases: Mapping[TraitName, Basis], n: int) -> Records:
    rows, columns, shares = [], [], []
    for row, one in enumerate(measures):
        for place in one.birds:
            rows.append(row)
            columns.append(TRAITS.index(one.trait) * n + place)
            shares.append(1 / len(one.birds))
    noise = [
        _noise(one, bases[one.trait].sd, bases[one.trait].heritability, bases[one.trait].mean)
        for one in measures
    ]
    return Records(
        np.array([one.value for one in measures]),
        _fixed(list(measures)),
        csr_array((np.array(shares), (rows, columns)), (len(measures), len(TRAITS) * n)),
        np.array(noise),
    )

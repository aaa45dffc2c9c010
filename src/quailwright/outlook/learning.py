"""Shares learnt from counts: what is published, the holding, and each source, machine or group.

A share (eggs that hatch, birds that die in a week) has log odds that add up: the holding's usual
value, and what each label of a record (its source, its machine) adds to it. Before records all of
these spread as published between flocks. The sum is what a further hatch or week will show.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

Array = NDArray[np.float64]

_NEWTON_STEPS = 40
_TAIL = 7
"""Degrees of freedom of the draws' proposal: tails heavier than what is drawn from."""
_WORTH = 0.1
"""Least share of weighted draws that must count as different for the weights to be trusted."""


@dataclass(frozen=True, slots=True)
class Prior:
    """What is published of a share before any record, on log odds.

    Attributes:
        mean, sd: of the log odds, between flocks.
        parts: how the variance is shared out: the holding first, then one part for each label;
            they add to 1.
        likeness: how alike the eggs or birds of one count are beyond chance (intra-class
            correlation), 0 to 1.
    """

    mean: float
    sd: float
    parts: tuple[float, ...]
    likeness: float


@dataclass(frozen=True, slots=True)
class Seen:
    """One count: `count` of `n`, with its labels ('' where it has none) and a known shift.

    `shift` is what is known to move its log odds (cocks die less than hens).
    """

    labels: tuple[str, ...]
    count: float
    n: float
    shift: float = 0.0


@lru_cache(4096)
def log_odds_of_beta(a: float, b: float) -> tuple[float, float]:
    """Mean and standard deviation of the log odds of a share that spreads as Beta(a, b).

    Args:
        a, b: both above 0.
    """
    x = (np.arange(20_000) + 0.5) / 20_000
    odds = np.log(x) - np.log1p(-x)
    density = np.exp((a - 1) * np.log(x) + (b - 1) * np.log1p(-x))
    density /= density.sum()
    mean = float(density @ odds)
    return mean, float(np.sqrt(density @ (odds - mean) ** 2))


def expit(log_odds: Array) -> Array:
    """Shares of log odds."""
    share: Array = 1.0 / (1.0 + np.exp(-log_odds))
    return share


@dataclass(frozen=True)
class Learnt:
    """What is believed of a share after the records: the effects' mode and spread.

    Attributes:
        prior: before the records.
        labels: each effect after the holding's: (which label, its name).
        mode: of the effects, shape (effects,).
        spread: their covariance near the mode, shape (effects, effects).
        seen: the records.
    """

    prior: Prior
    labels: tuple[tuple[int, str], ...]
    mode: Array
    spread: Array
    seen: tuple[Seen, ...]
    index: Mapping[tuple[int, str], int] = field(repr=False)

    def draws(self, rng: Generator, number: int) -> "Drawn":
        """So many draws of all effects together.

        From the normal about the mode with heavier tails, weighed by the records and drawn again
        (importance resampling; Rubin 1988), unless the weights say that it fits too badly.
        """
        root = np.linalg.cholesky(self.spread)
        normal = rng.standard_normal((number, len(self.mode)))
        scale = np.sqrt(_TAIL / rng.chisquare(_TAIL, number))
        drawn = self.mode + (normal * scale[:, None]) @ root.T
        log_proposal = (
            -(_TAIL + len(self.mode)) / 2 * np.log1p((normal**2).sum(1) * scale**2 / _TAIL)
        )
        log_weight = self._log_posterior(drawn) - log_proposal
        weight = np.exp(log_weight - log_weight.max())
        weight /= weight.sum()
        if 1.0 / (weight**2).sum() < _WORTH * number:
            return Drawn(self, self.mode + normal @ root.T)
        picks = (rng.random() + np.arange(number)) / number
        chosen = np.searchsorted(np.cumsum(weight), picks, side="right")
        return Drawn(self, drawn[rng.permutation(np.minimum(chosen, number - 1))])

    def _log_posterior(self, effects: Array) -> Array:
        before = (effects - _prior_means(self)) ** 2 / (2 * _variances(self.prior, self.labels))
        log: Array = -before.sum(1)
        if self.seen:
            design, count, n, shift = _arrays(self.seen, self.prior, self.index)
            odds = effects @ design.T + shift
            log += (count * odds - n * np.logaddexp(0.0, odds)).sum(1)
        return log

    def weights(self, labels: tuple[str, ...]) -> tuple[float, float, float]:
        """How much of what is believed comes from what is published, other records, own ones.

        Own records are those that share a label with these; where no label is given, all are.
        Parts of the precision of the log odds; they add to 1.
        """
        others = [s for s in self.seen if any(labels) and not _shares_a_label(s.labels, labels)]
        row = _row(labels, self.index, len(self.mode))
        published = 1.0 / float(row**2 @ _variances(self.prior, self.labels))
        without = learn(others, self.prior, self.labels)
        middle = max(published, 1.0 / float(row @ without.spread @ row))
        everything = max(middle, 1.0 / float(row @ self.spread @ row))
        return (
            published / everything,
            (middle - published) / everything,
            (everything - middle) / everything,
        )


@dataclass(frozen=True)
class Drawn:
    """Draws of the effects, shape (draws, effects), and of labels without a record, as asked."""

    learnt: Learnt
    effects: Array
    unseen: dict[tuple[int, str], Array] = field(default_factory=dict)

    def log_odds(self, labels: tuple[str, ...], rng: Generator, shift: float = 0.0) -> Array:
        """Log odds for something with these labels, shape (draws,).

        A label of which there is no record has an effect drawn from what is published, the same
        one whenever it is asked for.
        """
        index = self.learnt.index
        odds = self.effects @ _row(labels, index, self.effects.shape[1]) + shift
        prior = self.learnt.prior
        for which, label in enumerate(labels):
            if label and (which, label) not in index:
                own = self.unseen.get((which, label))
                if own is None:
                    sd = prior.sd * prior.parts[which + 1] ** 0.5
                    own = self.unseen[which, label] = sd * rng.standard_normal(len(odds))
                odds = odds + own
        return odds


def learn(
    seen: Sequence[Seen],
    prior: Prior,
    labels: Sequence[tuple[int, str]] = (),
) -> Learnt:
    """What the records say of a share.

    Args:
        seen: the records; n of 0 is passed over.
        prior: what is published; one part for the holding and one for each label of a record.
        labels: effects to keep beside those of the records.

    Returns:
        The mode of all effects and the curvature there (Laplace's approximation), found by
        Newton's method. A count of n alike by `likeness` is worth n / (1 + (n - 1) likeness)
        independent ones.

    Raises:
        ValueError: a count below 0 or above its n.

    Source: generalised linear mixed models, Breslow and Clayton 1993, J Am Stat Assoc 88:9-25.
    """
    for record in seen:
        if not 0 <= record.count <= record.n:
            raise ValueError(f"{record.count:g} of {record.n:g} is no share.")
    used = tuple(record for record in seen if record.n > 0)
    found = dict.fromkeys(
        (which, label) for record in used for which, label in enumerate(record.labels) if label
    )
    found |= dict.fromkeys(labels)
    names = tuple(found)
    index = {name: 1 + position for position, name in enumerate(names)}
    variances = _variances(prior, names)
    means = np.zeros(1 + len(names))
    means[0] = prior.mean
    effects, precision = means.copy(), np.diag(1.0 / variances)
    if used:
        design, count, n, shift = _arrays(used, prior, index)
        for _ in range(_NEWTON_STEPS):
            share = expit(design @ effects + shift)
            slope = design.T @ (count - n * share) - (effects - means) / variances
            precision = (design.T * (n * share * (1 - share))) @ design + np.diag(1.0 / variances)
            step = np.linalg.solve(precision, slope)
            effects = effects + np.clip(step, -2.0, 2.0)
            if np.abs(step).max() < 1e-9:
                break
    spread = np.asarray(np.linalg.inv(precision), dtype=np.float64)
    return Learnt(prior, names, effects, spread, used, index)


def _variances(prior: Prior, labels: Sequence[tuple[int, str]]) -> Array:
    parts = [prior.parts[0], *(prior.parts[which + 1] for which, _ in labels)]
    return prior.sd**2 * np.array(parts)


def _prior_means(learnt: Learnt) -> Array:
    means = np.zeros(len(learnt.mode))
    means[0] = learnt.prior.mean
    return means


def _row(labels: tuple[str, ...], index: Mapping[tuple[int, str], int], width: int) -> Array:
    row = np.zeros(width)
    row[0] = 1.0
    for which, label in enumerate(labels):
        if (which, label) in index:
            row[index[which, label]] = 1.0
    return row


def _arrays(
    seen: Sequence[Seen], prior: Prior, index: Mapping[tuple[int, str], int]
) -> tuple[Array, Array, Array, Array]:
    """Design (records, effects), and count, n (as if independent) and shift of each record."""
    width = 1 + len(index)
    design = np.array([_row(record.labels, index, width) for record in seen])
    n = np.array([record.n for record in seen])
    worth = 1.0 / (1.0 + np.maximum(0.0, n - 1.0) * prior.likeness)
    count = np.array([record.count for record in seen])
    shift = np.array([record.shift for record in seen])
    return design, count * worth, n * worth, shift


def _shares_a_label(one: tuple[str, ...], other: tuple[str, ...]) -> bool:
    return any(a and a == b for a, b in zip(one, other, strict=False))

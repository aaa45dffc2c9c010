"""Shares learnt from counts, against integrals done here and scipy's closed forms."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.random import default_rng
from numpy.typing import NDArray
from scipy import stats  # type: ignore[import-untyped]
from scipy.special import digamma, expit, polygamma  # type: ignore[import-untyped]
from tests.outlook.flocks import ON

from quailwright.flock.fold import fold
from quailwright.flock.state import Clutch
from quailwright.husbandry import facts
from quailwright.outlook.forecast import learn as learn_flock
from quailwright.outlook.hatching import shares_of_batch
from quailwright.outlook.learning import Drawn, Learnt, Prior, Seen, learn, log_odds_of_beta
from quailwright.outlook.rates import draw_rates

Array = NDArray[np.float64]

DRAWS = 20_000
GRID = np.linspace(-9.0, 9.0, 4001)
PLAIN = Prior(0.6, 0.8, (1.0,), 0.0)
BY_SOURCE = Prior(0.6, 0.8, (0.6, 0.4), 0.0)


def drawn_shares(learnt: Learnt, labels: tuple[str, ...] = ()) -> Array:
    rng = default_rng(1)
    return np.asarray(expit(learnt.draws(rng, DRAWS).log_odds(labels, rng)))


def weighed(share: Array, weight: Array) -> tuple[float, float, float]:
    """Mean, 5 % and 95 % quantile of shares with those weights."""
    weight = weight / weight.sum()
    below = np.cumsum(weight)
    low, high = (share[np.searchsorted(below, q)] for q in (0.05, 0.95))
    return float(share @ weight), float(low), float(high)


def seen_in(shares: Array) -> tuple[float, float, float]:
    low, high = np.quantile(shares, (0.05, 0.95))
    return float(shares.mean()), float(low), float(high)


@pytest.mark.parametrize(("count", "n"), [(0, 20), (17, 48), (300, 400), (20, 20)])
def test_posterior_of_one_share_is_the_integral(count: int, n: int) -> None:
    exact = stats.norm.pdf(GRID, PLAIN.mean, PLAIN.sd) * stats.binom.pmf(count, n, expit(GRID))
    learnt = learn([Seen((), count, n)], PLAIN)
    assert seen_in(drawn_shares(learnt)) == pytest.approx(weighed(expit(GRID), exact), abs=0.008)


# Two sources share a holding: the integral is over both their log odds, which the holding ties.
def test_posterior_of_two_sources_is_the_integral() -> None:
    counts = {"creek": (44, 48), "hill": (9, 30)}
    grid = np.linspace(-4.0, 6.0, 401)
    creek, hill = np.meshgrid(grid, grid, indexing="ij")
    tied = BY_SOURCE.sd**2 * (np.eye(2) * BY_SOURCE.parts[1] + BY_SOURCE.parts[0])
    exact = stats.multivariate_normal.pdf(np.stack([creek, hill], -1), [BY_SOURCE.mean] * 2, tied)
    exact = exact * stats.binom.pmf(*counts["creek"], expit(creek))
    exact = exact * stats.binom.pmf(*counts["hill"], expit(hill))
    learnt = learn([Seen((name,), *seen) for name, seen in counts.items()], BY_SOURCE)
    for name, axis in (("creek", 1), ("hill", 0)):
        wanted = weighed(expit(grid), exact.sum(axis))
        assert seen_in(drawn_shares(learnt, (name,))) == pytest.approx(wanted, abs=0.012), name


# Eggs alike within a batch: the beta-binomial of scipy with the same intra-class correlation.
@pytest.mark.parametrize("count", [8, 17, 30, 38])
def test_a_batch_of_like_eggs_counts_as_in_a_beta_binomial(count: int) -> None:
    likeness, n = 0.02, 40
    strength = 1 / likeness - 1
    share = expit(GRID)
    exact = stats.norm.pdf(GRID, PLAIN.mean, PLAIN.sd) * stats.betabinom.pmf(
        count, n, share * strength, (1 - share) * strength
    )
    learnt = learn([Seen((), count, n)], replace(PLAIN, likeness=likeness))
    assert seen_in(drawn_shares(learnt)) == pytest.approx(weighed(share, exact), abs=0.015)


def test_without_records_the_prior_stands() -> None:
    learnt = learn([], BY_SOURCE)
    rng = default_rng(1)
    odds = learnt.draws(rng, DRAWS).log_odds(("new",), rng)
    assert float(odds.mean()) == pytest.approx(BY_SOURCE.mean, abs=0.02)
    assert float(odds.std()) == pytest.approx(BY_SOURCE.sd, rel=0.03)
    assert learnt.weights(("new",)) == pytest.approx((1.0, 0.0, 0.0))


# The published Beta and its log odds: mean digamma(a) - digamma(b), variance the trigammas' sum.
@pytest.mark.parametrize(("a", "b"), [(5.9, 3.2), (8.0, 2.0), (3.0, 37.0), (2.0, 98.0)])
def test_log_odds_of_a_beta_have_its_closed_form(a: float, b: float) -> None:
    mean, sd = log_odds_of_beta(a, b)
    assert mean == pytest.approx(digamma(a) - digamma(b), abs=0.01)
    assert sd == pytest.approx(np.sqrt(polygamma(1, a) + polygamma(1, b)), rel=0.01)


def test_more_records_narrow_it() -> None:
    widths = []
    for hatches in (0, 1, 3, 9, 27):
        learnt = learn([Seen(("creek",), 30, 40)] * hatches, BY_SOURCE)
        _, low, high = seen_in(drawn_shares(learnt, ("creek",)))
        widths.append(high - low)
    assert widths == sorted(widths, reverse=True)
    assert widths[-1] < widths[0] / 5


def test_a_source_without_records_lies_nearer_the_holding_than_the_published() -> None:
    others = [Seen((name,), 36, 40) for name in ("creek", "hill", "moor") for _ in range(4)]
    learnt = learn(others, BY_SOURCE)
    mean = float(np.mean(learnt.draws(default_rng(1), DRAWS).log_odds(("new",), default_rng(2))))
    holding = np.log(36 / 4)
    assert holding - mean < mean - BY_SOURCE.mean
    assert seen_in(drawn_shares(learnt, ("new",)))[1] < seen_in(drawn_shares(learnt, ("hill",)))[1]


def test_one_source_moves_another_less_than_itself() -> None:
    learnt = learn([Seen(("creek",), 38, 40)] * 3, BY_SOURCE)
    own, other = (seen_in(drawn_shares(learnt, (name,)))[0] for name in ("creek", "hill"))
    assert own > other > float(expit(BY_SOURCE.mean))


def test_what_is_known_to_shift_a_count_is_no_merit_of_its_source() -> None:
    posted = learn([Seen(("creek",), 20, 40, shift=-0.6)], BY_SOURCE)
    carried = learn([Seen(("creek",), 20, 40)], BY_SOURCE)
    assert drawn_shares(posted, ("creek",)).mean() > drawn_shares(carried, ("creek",)).mean()


@pytest.mark.parametrize("labels", [("creek",), ("hill",), ("new",), ("",)])
def test_weights_are_parts_of_one(labels: tuple[str, ...]) -> None:
    learnt = learn([Seen(("creek",), 30, 40)] * 3 + [Seen(("hill",), 10, 40)], BY_SOURCE)
    weights = learnt.weights(labels)
    assert sum(weights) == pytest.approx(1.0)
    assert min(weights) >= 0
    published, others, own = weights
    if labels == ("creek",):
        assert own > others > 0
    if labels == ("new",):
        assert own == pytest.approx(0.0)
        assert others > 0
    if labels == ("",):
        assert (others, own > 0, published < 1) == (0.0, True, True)


@pytest.mark.parametrize(("count", "n"), [(-1, 10), (11, 10), (1, 0)])
def test_a_count_that_is_no_share_is_refused(count: float, n: float) -> None:
    with pytest.raises(ValueError, match="is no share"):
        learn([Seen((), count, n)], PLAIN)


def test_a_count_of_nothing_tells_nothing() -> None:
    assert learn([Seen((), 0, 0)], PLAIN).mode == pytest.approx([PLAIN.mean])


# Chicks of further batches at one known share: scipy's beta-binomial.
def test_chicks_of_a_batch_are_beta_binomial() -> None:
    eggs, share = 30, 0.6
    believed = learn_flock(fold([]), ON)
    draws = draw_rates(believed, DRAWS, default_rng(1))
    sure = replace(
        draws,
        hatch=certain(float(np.log(share / (1 - share))), 2),
        fertility=certain(9.0, 1),
    )
    rng = default_rng(2)
    clutch = Clutch(eggs, "creek", None, "", None, None, None, None)
    fertile, of_fertile = shares_of_batch(sure, [clutch], "machine", 0.0, rng)
    chicks = rng.binomial(eggs, fertile * of_fertile)
    strength = 1 / facts.value("incubation.batch_icc") - 1
    chances = stats.betabinom.pmf(
        np.arange(eggs + 1), eggs, share * strength, (1 - share) * strength
    )
    likely = chances * DRAWS > 20
    seen = np.bincount(chicks, minlength=eggs + 1)
    assert stats.chisquare(
        [*seen[likely], seen[~likely].sum()],
        [*(chances[likely] * DRAWS), DRAWS * (1 - chances[likely].sum())],
    ).pvalue > 1e-3  # fmt: skip


def certain(log_odds: float, labels: int) -> Drawn:
    """Draws that all have this value."""
    learnt = learn([], Prior(log_odds, 1e-9, (1.0, *([0.0] * labels)), 0.0))
    return Drawn(learnt, np.full((DRAWS, 1), log_odds))

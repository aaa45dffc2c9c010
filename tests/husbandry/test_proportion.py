"""Intervals against published limits and scipy; pooling against the model summed another way."""

import itertools
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats  # type: ignore[import-untyped]
from scipy.special import roots_jacobi  # type: ignore[import-untyped]

from quailwright.husbandry import facts
from quailwright.husbandry.proportion import (
    Pool,
    Pooled,
    Record,
    between,
    exact_interval,
    interval,
    pool,
)

PRIOR = (
    facts.value("incubation.hatch_of_set_beta_a"),
    facts.value("incubation.hatch_of_set_beta_b"),
)
LIKENESS = facts.value("incubation.batch_icc")


# Newcombe 1998, Statistics in Medicine 17:857-872, table I: methods 3 (score) and 5 (exact), from
# memory; tolerance is half the last printed digit.
@pytest.mark.parametrize(
    ("count", "n", "score", "exact"),
    [
        (81, 263, (0.2553, 0.3662), (0.2527, 0.3676)),
        (15, 148, (0.0624, 0.1605), (0.0578, 0.1617)),
        (0, 20, (0.0000, 0.1611), (0.0000, 0.1684)),
        (1, 29, (0.0061, 0.1718), (0.0009, 0.1776)),
    ],
)
def test_intervals_newcombe_1998(
    count: int, n: int, score: tuple[float, float], exact: tuple[float, float]
) -> None:
    wilson, clopper_pearson = interval(count, n), exact_interval(count, n)
    assert (wilson.low95, wilson.high95) == pytest.approx(score, abs=5e-5)
    assert (clopper_pearson.low95, clopper_pearson.high95) == pytest.approx(exact, abs=5e-5)


def test_none_of_seven_brown_cai_dasgupta_2001() -> None:
    # Brown, Cai and DasGupta 2001, Statistical Science 16:101-133, table A.1: upper limit 0.410
    # for 0 of 7 (their modified interval has the exact limit there), read in a copy.
    assert exact_interval(0, 7).high95 == pytest.approx(0.410, abs=5e-4)


def test_keepers_example_17_of_48() -> None:
    # The example of the keepers' notes: 17 of 48 is 35 %, about 23 to 50 %.
    found = interval(17, 48)
    assert [round(100 * x) for x in (found.value, found.low95, found.high95)] == [35, 23, 50]


@given(n=st.integers(1, 400), data=st.data())
def test_intervals_agree_with_scipy(n: int, data: st.DataObject) -> None:
    count = data.draw(st.integers(0, n))
    for ours, method in ((interval(count, n), "wilson"), (exact_interval(count, n), "exact")):
        theirs = stats.binomtest(count, n).proportion_ci(0.95, method=method)
        assert (ours.low95, ours.high95) == pytest.approx((theirs.low, theirs.high), abs=1e-7)
        assert 0 <= ours.low95 <= ours.value <= ours.high95 <= 1


@pytest.mark.parametrize(("count", "n"), [(1, 0), (-1, 5), (6, 5)])
def test_impossible_counts_are_refused(count: int, n: int) -> None:
    with pytest.raises(ValueError, match="no share"):
        interval(count, n)
    with pytest.raises(ValueError, match="no share"):
        exact_interval(count, n)
    with pytest.raises(ValueError, match="no share"):
        pool([Record("creek", count, n)], PRIOR, LIKENESS)


def test_count_between_two_covers_both() -> None:
    found = between(4, 9, 20, 0.3)
    assert (found.value, found.n) == (0.3, 20)
    assert (found.low95, found.high95) == (interval(4, 20).low95, interval(9, 20).high95)


# The same model, summed by scipy: outer sums over likeness and common part, integrals over the
# holding's mean and the source's share.
_COMMON = (0.1, 0.3, 0.5, 0.7, 0.9)
_LIKENESS = ((0.25, 1 / 16), (0.5, 4 / 16), (1.0, 6 / 16), (2.0, 4 / 16), (4.0, 1 / 16))


def _moments_by_quadrature(of: str, records: list[Record]) -> tuple[float, float]:
    strength = sum(PRIOR)
    mean = PRIOR[0] / strength
    total = [0.0, 0.0, 0.0]
    for (factor, chance), common in itertools.product(_LIKENESS, _COMMON):
        alike = 1 / (factor * LIKENESS) - 1
        # Total variance mean (1 - mean) / (strength + 1), `common` of it between holdings.
        between_strength = (strength + 1) / common - 1
        inside = mean * (1 - mean) * (1 - common) / (strength + 1)
        left = mean * (1 - mean) * (1 - common / (strength + 1))
        within_strength = left / inside - 1

        def told(share: float, name: str, alike: float = alike) -> float:
            return math.prod(
                float(stats.betabinom.pmf(r.count, r.n, share * alike, (1 - share) * alike))
                for r in records
                if r.source == name
            )

        def by_mean(power: int, holding: float, within: float = within_strength) -> float:
            a, b = holding * within, (1 - holding) * within
            product = 1.0
            for name in {r.source for r in records} | {of}:
                nodes, weights = _jacobi(a, b)
                raised = power if name == of else 0
                product *= sum(
                    w * x**raised * told(x, name) for x, w in zip(nodes, weights, strict=True)
                )
            return product

        a, b = mean * between_strength, (1 - mean) * between_strength
        nodes, weights = _jacobi(a, b)
        for power in range(3):
            total[power] += chance * sum(
                w * by_mean(power, x) for x, w in zip(nodes, weights, strict=True)
            )
    first, second = total[1] / total[0], total[2] / total[0]
    return first, math.sqrt(second - first**2)


def _jacobi(a: float, b: float, points: int = 16) -> tuple[list[float], list[float]]:
    """Gauss-Jacobi nodes and weights of the mean under Beta(a, b)."""
    nodes, weights = roots_jacobi(points, b - 1, a - 1)
    return list((nodes + 1) / 2), list(weights / weights.sum())


@pytest.mark.parametrize(
    ("of", "records"),
    [
        ("creek", [Record("creek", 10, 24)]),
        ("creek", [Record("creek", 2, 6), Record("hill", 20, 24), Record("hill", 15, 20)]),
        ("nobody", [Record("creek", 5, 24), Record("hill", 8, 24)]),
    ],
)
def test_pooling_agrees_with_quadrature(of: str, records: list[Record]) -> None:
    found = pool(records, PRIOR, LIKENESS)
    pooled = found.sources.get(of, found.new_source)
    mean, sd = _moments_by_quadrature(of, records)
    assert pooled.mean == pytest.approx(mean, abs=2e-3)
    assert _sd(pooled) == pytest.approx(sd, abs=2e-3)


def _sd(pooled: Pooled) -> float:
    return math.sqrt(pooled.a * pooled.b / ((pooled.a + pooled.b) ** 2 * (pooled.a + pooled.b + 1)))


def test_one_source_with_independent_eggs_is_the_textbook_posterior() -> None:
    # With likeness near 0 a hatch is binomial; the Beta prior of one source is then nearly that of
    # the holding and source together (same mean and variance), whose posterior is Beta(a+k, b+n-k):
    # Gelman et al. 2013, Bayesian Data Analysis, section 2.4.
    found = pool([Record("creek", 30, 50)], PRIOR, 1e-5).sources["creek"]
    a, b = PRIOR[0] + 30, PRIOR[1] + 20
    assert found.mean == pytest.approx(a / (a + b), abs=0.005)
    low, high = stats.beta.ppf([0.025, 0.975], a, b)
    assert (found.low95, found.high95) == pytest.approx((low, high), abs=0.01)


def test_no_records_give_the_published_figure() -> None:
    found = pool([], PRIOR, LIKENESS).new_source
    assert (found.a, found.b) == pytest.approx(PRIOR, rel=0.01)
    low, high = stats.beta.ppf([0.025, 0.975], *PRIOR)
    assert (found.low95, found.high95) == pytest.approx((low, high), abs=0.01)
    assert (found.weight_prior, found.weight_own) == (1, 0)


def _pool_of_two() -> Pool:
    many = [Record("creek", 10, 30)] * 8
    return pool([*many, Record("hill", 6, 6)], PRIOR, LIKENESS)


def test_small_hatch_of_a_new_source_is_drawn_to_the_holding() -> None:
    found = _pool_of_two()
    alone = pool([Record("hill", 6, 6)], PRIOR, LIKENESS)
    hill = found.sources["hill"]
    assert found.sources["creek"].mean < hill.mean < alone.sources["hill"].mean < 1
    assert found.new_source.mean < hill.mean
    assert found.sources["creek"].weight_own > 0.8 > hill.weight_own
    assert found.hatches[-1] < 1
    assert found.sources["creek"].hatches == 8


def test_next_hatch_is_less_sure_than_the_usual_one() -> None:
    creek = _pool_of_two().sources["creek"]
    a, b = creek.next_hatch()
    assert a / (a + b) == pytest.approx(creek.mean)
    assert a + b < creek.a + creek.b


def test_a_hatch_of_no_eggs_moves_nothing() -> None:
    with_none = pool([Record("creek", 3, 9), Record("hill", 0, 0)], PRIOR, LIKENESS)
    without = pool([Record("creek", 3, 9)], PRIOR, LIKENESS)
    assert with_none.sources == without.sources
    assert with_none.hatches == (*without.hatches, without.new_source.mean)


@pytest.mark.parametrize(("prior", "likeness"), [((0, 1), 0.02), (PRIOR, 0.0), (PRIOR, 0.25)])
def test_impossible_priors_are_refused(prior: tuple[float, float], likeness: float) -> None:
    with pytest.raises(ValueError, match="prior"):
        pool([], prior, likeness)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(st.sampled_from(["creek", "hill", "own"]), st.integers(0, 60), st.integers(0, 60))
    )
)
def test_pooled_figures_stay_in_bounds(hatches: list[tuple[str, int, int]]) -> None:
    records = [Record(source, count, count + lost) for source, count, lost in hatches]
    found = pool(records, PRIOR, LIKENESS)
    for pooled in (*found.sources.values(), found.new_source):
        assert 0 < pooled.low95 < pooled.mean < pooled.high95 < 1
        weights = (pooled.weight_prior, pooled.weight_others, pooled.weight_own)
        assert all(0 <= weight <= 1 for weight in weights)
        assert sum(weights) == pytest.approx(1)
    assert all(0 < share < 1 for share in found.hatches)

"""The breeder's equation against published tables and experiments, and against chance itself."""

import math

import numpy as np
import pytest
from scipy.sparse import csr_array  # type: ignore[import-untyped]

from quailwright.husbandry import facts
from quailwright.husbandry.inheritance.blup import Records, blup, reliability
from quailwright.husbandry.selection.index import best_index, own_and_family
from quailwright.husbandry.selection.response import (
    Scheme,
    best,
    correlated_response,
    expected_gains,
    generation_interval,
    intensity,
    intensity_of_many,
    response,
)
from quailwright.husbandry.selection.simulated import simulated
from quailwright.husbandry.selection.traits import (
    accuracy_of_days,
    genetic_correlations,
    phenotypic_correlations,
    trait,
)


@pytest.mark.parametrize(
    ("kept", "of", "published"),
    [
        # Harter 1961, Biometrika 48:151-165, expected normal order statistics, and their means
        # (Falconer and Mackay 1996, appendix table B); from memory.
        (1, 2, 0.5642), (1, 3, 0.8463), (1, 5, 1.1630), (1, 10, 1.5388), (2, 10, 1.2701),
        (3, 10, 1.0654), (1, 20, 1.8675),
    ],
)  # fmt: skip
def test_intensity_of_few_birds_harter_1961(kept: int, of: int, published: float) -> None:
    assert intensity(kept, of) == pytest.approx(published, abs=6e-5)


def test_intensity_of_many_birds_and_of_few_agree_and_few_have_less() -> None:
    # Large-sample values, as in any table of the truncated normal curve.
    for share, printed in {0.01: 2.665, 0.05: 2.063, 0.1: 1.755, 0.2: 1.400, 0.5: 0.798}.items():
        assert intensity_of_many(share) == pytest.approx(printed, abs=6e-4)
        of_many = intensity(round(share * 2000), 2000)
        assert printed - 0.02 < of_many < printed
        assert intensity(max(1, round(share * 20)), 20) < printed
    # Burrows 1972, Expected selection differentials for directional selection, Biometrics
    # 28:1091-1100 (from memory): i - (N - n) / (2 n (N + 1) i).
    assert intensity(5, 20) == pytest.approx(1.2711 - 15 / (2 * 5 * 21 * 1.2711), abs=2e-3)


def test_the_variance_of_the_best_by_drawing_them() -> None:
    drawn = np.sort(np.random.default_rng(5).normal(size=(40_000, 12)), 1)[:, -3:]
    of_three = best(3, 12)
    assert of_three.mean == pytest.approx(drawn.mean(), abs=0.01)
    assert of_three.mean_variance == pytest.approx(drawn.mean(1).var(), rel=0.03)
    assert of_three.variance == pytest.approx(drawn.var(), rel=0.03)
    assert best(7, 7).mean == 0.0
    with pytest.raises(ValueError, match="not more than there are"):
        best(4, 3)


def test_response_with_a_control_line_2019() -> None:
    """Selection for weight in quail, 60 sires, 240 dams, 2019, 7(4):228-233: h2 printed 0.43."""
    differential_g, response_g, drift_g = 22.41, 13.23, 3.54
    assert pytest.approx(response_g, abs=0.005) == 154.79 - 141.56
    realised = (response_g - drift_g) / differential_g
    assert f"{realised:.2f}" == "0.43"
    # R = i r sd_A with r = h is h2 S.
    sd = 20.0
    i = differential_g / sd
    gain = response(i, i, math.sqrt(realised), math.sqrt(realised) * sd)
    assert gain == pytest.approx(9.69, abs=0.005)
    assert realised == pytest.approx(facts.value("selection.weight_heritability"), abs=0.05)


def test_three_generations_mehrgardi_2013() -> None:
    """25 males and 50 females of 600: 186.2 to 214.5 g, h2 0.334: what spread does it imply?"""
    i = (intensity(25, 300) + intensity(50, 300)) / 2
    assert i == pytest.approx(1.669, abs=0.01)  # 1.840 and 1.499 of a large flock
    differentials_g = (214.5 - 186.2) / 0.334
    assert differentials_g == pytest.approx(84.7, abs=0.05)
    sd_g = differentials_g / 3 / i
    assert sd_g == pytest.approx(16.9, abs=0.1)
    assert sd_g / 186.2 == pytest.approx(trait("weight").spread, abs=0.002)  # 9 %
    scheme = Scheme(0.334, 0.0, sd_g, 25, 300, 50, 300)
    # Selection uses up part of the differences, which a realised heritability has in it already.
    assert 0.85 * 28.3 < expected_gains(scheme, 3)[2].mean < 28.3


def test_eleven_generations_darden_and_marks_1988() -> None:
    """+48.9 % in 11 generations at h2 0.36: the share kept that this implies is a usual one."""
    per_generation = 0.489 / 11
    i = per_generation / (0.36 * trait("weight").spread)
    kept = next(n for n in range(1, 100) if intensity(n, 100) < i)
    assert 10 <= kept <= 40


def test_gain_slows_in_the_long_run_marks_1996() -> None:
    """88 to 253 g in 80 generations, realised h2 from 0.29 down to 0.07."""
    per_generation = (253 / 88) ** (1 / 80) - 1
    first = 0.29 * intensity_of_many(0.2) * trait("weight").spread
    assert per_generation < first / 2
    assert facts.spread("selection.weight_heritability")[0] == 0.07
    steady = expected_gains(Scheme(0.29, 0.0, 1.0, 25, 300, 50, 300), 10)
    steps = np.diff([0.0, *(one.mean for one in steady)])
    assert steps[-1] < steps[1] < steps[0]


def test_eggs_el_attrouny() -> None:
    """+7.24 eggs of 90 days in 4 generations; +7.7 in 5: within what is expected of hens chosen."""
    usual = trait("eggs")
    sd = usual.spread * 70  # some 70 eggs in 90 days
    scheme = Scheme(usual.heritability, usual.heritability_sd, sd, 50, 50, 50, 150)
    for generations, published in ((4, 7.24), (5, 7.7)):
        gain = expected_gains(scheme, generations)[-1]
        assert abs(gain.mean - published) < 2 * gain.sd


def test_expected_gain_and_its_spread_hold_against_simulated_flocks() -> None:
    scheme = Scheme(0.4, 0.0, 20.0, 4, 25, 12, 25)
    drawn = simulated(scheme, 4, 1500, np.random.default_rng(1))
    for n, gain in enumerate(expected_gains(scheme, 4)):
        assert drawn.gain[:, n].mean() == pytest.approx(gain.mean, rel=0.03)
        # A simulated mean is of 50 chicks, and their parents are drawn: some more spread.
        of_chicks = 0.4 * 20.0**2 / 50
        assert drawn.gain[:, n].std() == pytest.approx(
            math.sqrt(gain.drift_sd**2 + of_chicks), rel=0.1
        )


def test_choice_among_kin_brings_more_inbreeding_than_numbers_alone() -> None:
    scheme = Scheme(0.4, 0.0, 20.0, 4, 25, 12, 25)
    chosen = simulated(scheme, 5, 400, np.random.default_rng(2)).inbreeding.mean(0)
    random = simulated(scheme, 5, 400, np.random.default_rng(2), chosen=False).inbreeding.mean(0)
    by_size = [gain.inbreeding for gain in expected_gains(scheme, 5)]
    assert scheme.effective_size == 12.0
    assert random == pytest.approx(by_size, abs=0.008)
    assert chosen[-1] > random[-1] + 0.005


def test_an_unsure_heritability_widens_the_spread() -> None:
    sure, unsure = (
        expected_gains(Scheme(0.4, sd, 20.0, 12, 20, 24, 40), 3)[-1] for sd in (0.0, 0.1)
    )
    assert unsure.mean == sure.mean
    assert unsure.sd > sure.sd == sure.drift_sd
    drawn = simulated(
        Scheme(0.4, 0.1, 20.0, 12, 20, 24, 40), 3, 300, np.random.default_rng(3)
    ).gain[:, 2]
    assert drawn.std() == pytest.approx(unsure.sd, rel=0.15)


def test_one_record_makes_the_index_the_breeders_equation() -> None:
    index = best_index(np.array([[400.0]]), np.array([[160.0]]), np.array([[160.0]]), np.ones(1))
    assert index.weights[0] == pytest.approx(0.4)
    assert index.accuracy == pytest.approx(math.sqrt(0.4))
    assert index.gains[0] == pytest.approx(response(1, 1, math.sqrt(0.4), math.sqrt(160)))


def test_an_index_of_own_record_and_sibs_is_what_the_animal_model_gives() -> None:
    """With the mean known, b1 x + b2 mean of sibs is the predicted value, and as sure."""
    h2, sibs = 0.3, 5
    records, with_traits = own_and_family(h2, sibs, 0.5)
    index = best_index(records, with_traits, np.array([[h2]]), np.ones(1))
    related = np.full((6, 6), 0.5) + 0.5 * np.eye(6)
    seen = np.array([1.2, 0.3, -0.4, 0.8, 0.1, 0.5])
    found = blup(
        Records(seen, np.empty((6, 0)), csr_array(np.eye(6)), np.full(6, 1 - h2)),
        csr_array(np.linalg.inv(related * h2)),
    )
    assert found.values[0] == pytest.approx(index.weights @ [seen[0], seen[1:].mean()])
    told = reliability(found.error_covariance(np.eye(6)[:1])[0], np.array([h2]))[0]
    assert math.sqrt(told) == pytest.approx(index.accuracy)


def test_a_goal_of_two_traits_gains_most_in_what_is_wanted_and_inherited() -> None:
    heritabilities = np.array([0.4, 0.25, 0.45])
    sd_a = np.sqrt(heritabilities)
    genes = genetic_correlations() * np.outer(sd_a, sd_a)
    # By weight alone, egg weight rises with it by the correlated response.
    index = best_index(np.eye(1), genes[:1], genes, np.array([1.0, 0.0, 0.0]))
    expected = correlated_response(index.gains[0], genetic_correlations()[0, 2], *sd_a[[0, 2]])
    assert index.gains[2] == pytest.approx(expected)
    assert index.gains[0] == pytest.approx(0.4)
    for goal in np.eye(3):
        bent = best_index(phenotypic_correlations(), genes, genes, goal)
        # No other weights do better for that goal.
        for nudge in np.eye(3) * 0.1:
            tried = bent.weights + nudge
            gain = tried @ genes @ goal / math.sqrt(tried @ phenotypic_correlations() @ tried)
            assert gain <= bent.gains @ goal + 1e-12
    with pytest.raises(ValueError, match="wants one trait"):
        best_index(np.eye(3), genes, genes, np.zeros(3))


def test_days_alone_tell_little_and_more_days_more() -> None:
    five, ninety = accuracy_of_days(0.8, 5), accuracy_of_days(0.8, 90)
    assert 0.25 < five < 0.45
    assert ninety == pytest.approx(math.sqrt(trait("eggs").heritability), abs=1e-9)
    assert generation_interval(120, 100) == 110

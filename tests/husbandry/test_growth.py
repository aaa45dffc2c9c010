"""Growth against published curves and weights."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quailwright.husbandry import facts
from quailwright.husbandry.growth import gompertz_g, inflection, mass_g


def test_inflection_guler_2022_brown_line() -> None:
    # Guler, Arslan, Sari and Cetin 2022, Eurasian J Vet Sci 38(3):173-179: A 234.89, b 3.630,
    # k 0.072; printed 17.91 d and 86.41 g. Tolerance: the last printed digit.
    assert inflection(234.89, 3.630, 0.072) == pytest.approx((17.91, 86.41), abs=0.005)


def test_inflection_guler_2022_yellow_line() -> None:
    # A 236.58, b 3.516, k 0.069; printed 18.15 d and 87.03 g. k is rounded to three decimals,
    # which moves the age by 0.13 d.
    age_d, mass = inflection(236.58, 3.516, 0.069)
    assert age_d == pytest.approx(18.15, abs=0.13)
    assert mass == pytest.approx(87.03, abs=0.005)


def test_inflection_narinc_2010() -> None:
    # Narinc, Karaman, Firat and Aksoy 2010, J Anim Vet Adv 9(14):1961-1966: 81.70 g at 14.95 d,
    # 499 birds; so A is 222.08 g, and with k 0.072 b is exp(0.072 * 14.95).
    asymptote_g = facts.rows("growth.asymptote_mixed")[2].value
    assert asymptote_g is not None
    b = math.exp(0.072 * 14.95)
    assert inflection(asymptote_g, b, 0.072) == pytest.approx((14.95, 81.70), abs=0.005)
    assert gompertz_g(14.95, asymptote_g, b, 0.072) == pytest.approx(81.70, abs=0.005)


def test_hatch_weight_and_steepest_gain_indian_j_anim_sci() -> None:
    # Modified Gompertz, 64 birds: hatch 8.71 g, A 242.10 g, greatest gain 6.00 g/d.
    k = 6.00 * math.e / 242.10
    b = math.log(242.10 / 8.71)
    assert gompertz_g(0, 242.10, b, k) == pytest.approx(8.71, abs=0.005)
    steepest_d, _ = inflection(242.10, b, k)
    gain = gompertz_g(steepest_d + 0.5, 242.10, b, k) - gompertz_g(steepest_d - 0.5, 242.10, b, k)
    assert gain == pytest.approx(6.00, abs=0.005)


# Ashok and Prabakaran, meat type, base generation, means at 0 to 42 d; the curve is a fit to them
# with a root mean square error of 2.4 g. Tolerance: twice that.
@pytest.mark.parametrize(
    ("age_d", "printed_g"),
    [(7, 38.53), (14, 82.72), (21, 120.13), (28, 148.34), (35, 173.15), (42, 191.15)],
)
def test_growth_ashok_prabakaran(age_d: float, printed_g: float) -> None:
    fit = [facts.rows(f"growth.{name}_mixed")[-1] for name in ("asymptote", "b", "k")]
    asymptote_g, b, k = (row.value for row in fit)
    assert {row.source for row in fit} == {fit[0].source}
    assert asymptote_g is not None
    assert b is not None
    assert k is not None
    assert gompertz_g(age_d, asymptote_g, b, k) == pytest.approx(printed_g, abs=4.8)


def test_default_weights_at_four_weeks_lie_among_published_ones() -> None:
    # TNV_VRI 2019: 141.56 g, egg type, sexes together, 6,242 birds. Braz J Poult Sci 2017 19(3):
    # hens 231.81 g, meat type. The dual bird stands at the first, the meat bird between.
    dual = (mass_g(28, "hen") + mass_g(28, "cock")) / 2
    meat = (mass_g(28, "hen", "meat") + mass_g(28, "cock", "meat")) / 2
    assert dual == pytest.approx(141.56, rel=0.05)
    assert 141.56 < meat < 231.81


def test_hens_outweigh_cocks_at_five_weeks_braz_j_poult_sci_2017() -> None:
    # Braz J Poult Sci 2017 19(3): ratio 1.124 at 35 d; 1.02 to 1.10 at four weeks elsewhere.
    for line in ("egg", "dual", "meat"):
        ratio = mass_g(35, "hen", line) / mass_g(35, "cock", line)
        assert 1.02 <= ratio <= 1.16


@given(
    age_d=st.floats(min_value=0, max_value=400),
    more_d=st.floats(min_value=0, max_value=400),
    asymptote_g=st.floats(min_value=50, max_value=500),
    b=st.floats(min_value=1.5, max_value=5),
    k=st.floats(min_value=0.02, max_value=0.15),
)
def test_weight_rises_to_its_asymptote(
    age_d: float, more_d: float, asymptote_g: float, b: float, k: float
) -> None:
    now = gompertz_g(age_d, asymptote_g, b, k)
    later = gompertz_g(age_d + more_d, asymptote_g, b, k)
    assert 0 < now <= later <= asymptote_g


@pytest.mark.parametrize("curve", [(0, 3, 0.07), (200, -1, 0.07), (200, 3, 0)])
def test_impossible_curve_is_refused(curve: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match="above 0"):
        gompertz_g(10, *curve)
    with pytest.raises(ValueError, match="above 0"):
        inflection(*curve)


def test_impossible_age_is_refused() -> None:
    with pytest.raises(ValueError, match="days old"):
        mass_g(-1, "hen")

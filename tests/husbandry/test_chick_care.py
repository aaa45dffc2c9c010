"""Hatch, heat, room, deaths and feed by age."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import nbinom  # type: ignore[import-untyped]

from quailwright.husbandry import facts, survival
from quailwright.husbandry.brooding import heat_c, heat_range_c
from quailwright.husbandry.feeding import intake_g_per_day, stage
from quailwright.husbandry.housing import floor_m2_per_bird
from quailwright.husbandry.incubation import hatch_day_range, storage_loss_points
from quailwright.husbandry.survival import weekly_death_rate

AGES = st.floats(min_value=0, max_value=800)


def test_hatch_days_hold_the_published_curves() -> None:
    first, likely, last = hatch_day_range()
    # Selcuk J Agric Food Sci: hatching seen from 390 h; SAJAS 2005 35(2):135: curve 405 to 441 h.
    assert (first * 24, last * 24) == pytest.approx((390, 441))
    assert 405 <= likely * 24 <= 441
    # Keepers, common practice: most hatch on day 17 to 18.
    assert 17 <= likely <= 18


# Low-temperature storage study 2016, 4 °C: 84.5 / 79.5 / 74.0 / 69.0 % at 0 / 3 / 5 / 7 days.
@pytest.mark.parametrize(("days", "hatch_pct"), [(3, 79.5), (5, 74.0), (7, 69.0)])
def test_storage_loss_at_4_c_low_temperature_study_2016(days: float, hatch_pct: float) -> None:
    # Tolerance 2 points: 200 eggs a group have a standard error of 3.
    assert storage_loss_points(days, 4) == pytest.approx(84.5 - hatch_pct, abs=2)


def test_storage_loss_in_a_cool_store_is_nil_for_a_week_tubitak_7584() -> None:
    # Turk J Vet Anim Sci (id 7584): no effect of 1, 3, 5 and 7 days.
    assert storage_loss_points(7, 14) == 0


def test_storage_loss_in_the_warm_int_j_poult_sci_2008() -> None:
    # Int J Poult Sci 2008 7:350-354, 25 to 29 °C: 72.3 % fresh, sharp fall after 9, none beyond 11.
    assert storage_loss_points(6, 27) < 72.3 / 4
    assert storage_loss_points(12, 27) >= 72.3


@given(
    days=st.floats(min_value=0, max_value=60),
    more=st.floats(min_value=0, max_value=10),
    temperature_c=st.floats(min_value=4, max_value=29),
)
def test_storage_loss_never_falls_with_days(days: float, more: float, temperature_c: float) -> None:
    loss = storage_loss_points(days, temperature_c)
    assert 0 <= loss <= storage_loss_points(days + more, temperature_c) + 1e-9 <= 100 + 1e-6


@pytest.mark.parametrize(("days", "temperature_c"), [(-1, 14), (3, 2), (3, 35), (float("nan"), 14)])
def test_storage_loss_refuses_what_has_no_figures(days: float, temperature_c: float) -> None:
    with pytest.raises(ValueError, match=r"stored"):
        storage_loss_points(days, temperature_c)


# Mississippi State University Extension, Quail brooding temperatures, upper (winter) column in °F.
@pytest.mark.parametrize(
    ("age_d", "fahrenheit"), [(1, 95), (8, 90), (15, 85), (22, 80), (29, 75), (36, 70), (60, 70)]
)
def test_heat_follows_the_winter_steps_msu(age_d: float, fahrenheit: float) -> None:
    # 5 °F is taken as 2.8 °C, so five steps may drift by 0.1 and rounding to a tenth by 0.05.
    assert heat_c(age_d) == pytest.approx((fahrenheit - 32) / 1.8, abs=0.15)


# NSW DPI, Raising Japanese quail: 35 °C, then 3.5 °C less a week, heat for 3 to 4 weeks.
@pytest.mark.parametrize(("age_d", "celsius"), [(3, 35), (10, 31.5), (17, 28), (24, 24.5)])
def test_heat_range_holds_the_steps_nsw_dpi(age_d: float, celsius: float) -> None:
    low, high = heat_range_c(age_d)
    assert low <= celsius <= high


# MSU Extension, low and high column in °F.
@pytest.mark.parametrize(
    ("age_d", "low_f", "high_f"),
    [(3, 90, 95), (10, 85, 90), (17, 80, 85), (24, 75, 80), (31, 70, 75)],
)
def test_heat_range_is_that_of_msu(age_d: float, low_f: float, high_f: float) -> None:
    assert heat_range_c(age_d) == pytest.approx(((low_f - 32) / 1.8, (high_f - 32) / 1.8), abs=0.1)


@given(age_d=AGES, later_d=AGES)
def test_heat_never_rises_with_age_and_stays_in_its_range(age_d: float, later_d: float) -> None:
    younger, older = sorted((age_d, later_d))
    assert heat_c(younger) >= heat_c(older) >= facts.value("brooding.heat_floor")
    low, high = heat_range_c(age_d)
    assert low <= heat_c(age_d) <= high


def test_floor_area_follows_the_keeping_advice() -> None:
    # Backyard default between the trials: 100 cm² in week 1, 150 in weeks 2 and 3, 250 to week 6.
    assert [floor_m2_per_bird(age_d).value for age_d in (0, 7, 20.9, 21, 41)] == [
        0.010, 0.015, 0.015, 0.025, 0.025,
    ]  # fmt: skip
    # A square foot (0.0929 m²) is the welfare target for an adult.
    assert floor_m2_per_bird(42).value == pytest.approx(0.0929, rel=0.1)
    assert floor_m2_per_bird(42).key == "housing.floor_m2_adult"


@given(age_d=AGES, later_d=AGES)
def test_floor_area_never_shrinks_with_age(age_d: float, later_d: float) -> None:
    younger, older = (floor_m2_per_bird(age).value for age in sorted((age_d, later_d)))
    assert younger is not None
    assert older is not None
    assert younger <= older


def test_chick_deaths_compound_to_ten_percent_int_j_biol_sci_2015() -> None:
    # Int Res J Biol Sci 4(7):29-33, 2015: 7.25, 2.06 and 0.93 % in weeks 1 to 3.
    alive = 1.0
    for age_d in (0, 7, 14):
        alive *= 1 - weekly_death_rate(age_d, "chick")
    assert 1 - alive == pytest.approx(0.100, abs=0.0005)
    assert facts.value("survival.chick_3_weeks") == pytest.approx(1 - alive, abs=0.0005)


def test_hen_deaths_lie_between_aichi_and_woodard() -> None:
    # Aichi, 36 to 60 weeks, 80 cm²: 96.7 % survived. Woodard and Abplanalp 1971: half in 54 weeks.
    aichi = 1 - 0.967 ** (1 / 24)
    woodard = 1 - 0.5 ** (1 / 54)
    assert aichi < weekly_death_rate(200, "hen") < woodard


def test_cocks_outlive_hens_woodard_1971() -> None:
    # Last deaths: hens on day 1192 to 1382, cocks on day 1657 to 2023.
    hen, cock = weekly_death_rate(200, "hen"), weekly_death_rate(200, "cock")
    assert cock < weekly_death_rate(200, "chick") < hen


@given(age_d=AGES, sex=st.sampled_from(["chick", "hen", "cock"]))
def test_death_rate_is_a_small_share(age_d: float, sex: str) -> None:
    assert 0 < weekly_death_rate(age_d, sex) < 0.1  # type: ignore[arg-type]


def test_feed_to_six_weeks_agrees_with_published_totals() -> None:
    # To 40 d 407 g (Lima et al.); to 42 d 452 g (Moura et al., egg type) and 513 to 534 g (Assiut).
    eaten = sum(intake_g_per_day(age_d) for age_d in range(42))
    assert 452 <= eaten <= 534
    light = sum(intake_g_per_day(age_d, "egg") for age_d in range(40))
    assert light == pytest.approx(407, rel=0.10)


def test_feed_of_meat_birds_indian_j_anim_res_1579() -> None:
    # Indian J Anim Res BF-1579, meat type: 21.3 to 28.2 g/d in week 5, 29.8 to 36.4 in week 6.
    assert 21.3 <= intake_g_per_day(30, "meat") <= 28.2
    assert 29.8 <= intake_g_per_day(37, "meat") <= 36.4


def test_feed_of_hens_maiduguri_2022_and_genchev() -> None:
    # 23.24 g/d in cages over 52 weeks; heavy hens 42 to 45.2 g/d.
    assert intake_g_per_day(200) == pytest.approx(23.24)
    assert 42 <= intake_g_per_day(200, "meat") <= 45.2


@given(age_d=AGES, later_d=AGES, line=st.sampled_from(["egg", "dual", "meat"]))
def test_feed_never_falls_with_age(age_d: float, later_d: float, line: str) -> None:
    younger, older = sorted((age_d, later_d))
    assert intake_g_per_day(younger, line) <= intake_g_per_day(older, line)  # type: ignore[arg-type]


def test_layer_feed_waits_for_six_weeks() -> None:
    # Trials feed 0 to 3 and 3 to 6 weeks apart; first eggs from day 38 (Stein and Bacon 1976).
    assert [stage(age_d) for age_d in (0, 20.9, 21, 41.9, 42, 400)] == [
        "starter", "starter", "grower", "grower", "layer", "layer",
    ]  # fmt: skip


@pytest.mark.parametrize("age_d", [-1.0, float("nan"), float("inf")])
def test_impossible_age_is_refused_with_a_sentence(age_d: float) -> None:
    with pytest.raises(ValueError, match="days old"):
        heat_c(age_d)
    with pytest.raises(ValueError, match="days old"):
        floor_m2_per_bird(age_d)
    with pytest.raises(ValueError, match="days old"):
        weekly_death_rate(age_d, "hen")
    with pytest.raises(ValueError, match="days old"):
        intake_g_per_day(age_d)
    with pytest.raises(ValueError, match="days old"):
        stage(age_d)


@pytest.mark.parametrize(
    ("deaths", "expected", "shape"),
    [(1, 2.6, 3.0), (4, 0.37, 3.0), (9, 2.61, 3.0), (2, 0.03, 1.03), (40, 20.0, 5.0), (3, 1e-6, 1)],
)
def test_chance_of_as_many_deaths_is_the_negative_binomials_tail(
    deaths: int, expected: float, shape: float
) -> None:
    """SciPy's negative binomial counts failures before `shape` successes of chance a/(a + mu)."""
    tail = nbinom.sf(deaths - 1, shape, shape / (shape + expected))
    chance = survival.chance_of_as_many(deaths, expected, shape)
    assert chance == pytest.approx(tail, rel=1e-9)


def test_chance_of_as_many_deaths_at_its_ends() -> None:
    assert survival.chance_of_as_many(0, 0.0, 1.0) == 1.0
    assert survival.chance_of_as_many(1, 0.0, 1.0) == 0.0
    for wrong in ((-1, 1.0, 1.0), (1, -1.0, 1.0), (1, 1.0, 0.0), (1, math.nan, 1.0)):
        with pytest.raises(ValueError, match="0 or more"):
            survival.chance_of_as_many(*wrong)


def test_losses_of_flocks_spread_as_the_published_prior() -> None:
    """Weeks 1 and 2 by their Beta priors; adults 0.1 to 1.5 % a week, the middle 90 %."""
    assert (survival.spread_of_losses(3), survival.spread_of_losses(10)) == (3.0, 2.0)
    log_sd = math.log(0.015 / 0.001) / (2 * 1.645)
    assert survival.spread_of_losses(200) == pytest.approx(1 / math.expm1(log_sd**2), rel=0.01)
    assert survival.mean_over_median(200) == pytest.approx(math.exp(log_sd**2 / 2), rel=0.01)
    assert survival.mean_over_median(3) == 1.0

"""Feed of hens, cocks and birds not sexed, against published trials."""

import math
from statistics import fmean, stdev

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quailwright.husbandry import facts
from quailwright.husbandry.feeding import Line, intake_g_per_day, intake_of_g_per_day

LINES: list[Line] = ["egg", "dual", "meat"]


def test_grown_cocks_eat_what_nsw_dpi_gives_for_birds_out_of_lay() -> None:
    # New South Wales DPI, Raising Japanese quail (Primefact 602), from memory: 14 to 18 g a day.
    assert 14 <= intake_of_g_per_day(200, "cock") <= 18


def test_growing_cocks_eat_a_little_less_than_hens_isrn_269810() -> None:
    # ISRN trial of grasshopper meal (aip 269810), day 7 to 42: cocks 13.3 to 13.5, hens 14.9 to
    # 15.0 g a day, a ratio of 0.89 to 0.91. Tolerance 0.05, as the weekly split is constructed.
    cocks = fmean(intake_of_g_per_day(age_d, "cock") for age_d in range(7, 42))
    hens = fmean(intake_of_g_per_day(age_d, "hen") for age_d in range(7, 42))
    assert cocks / hens == pytest.approx(0.90, abs=0.05)


def test_sexes_together_eat_gonzalez_redondo() -> None:
    # Gonzalez-Redondo et al., SJAR 13970: adults, sexes together, 20.0 g a day. Tolerance 10 %.
    assert intake_of_g_per_day(200, "chick") == pytest.approx(20.0, rel=0.10)


@given(age_d=st.floats(min_value=0, max_value=800), line=st.sampled_from(LINES))
def test_cocks_never_eat_more_than_hens_and_both_as_one_while_small(
    age_d: float, line: Line
) -> None:
    cock, chick, hen = (intake_of_g_per_day(age_d, sex, line) for sex in ("cock", "chick", "hen"))
    assert 0 < cock <= chick <= hen == intake_g_per_day(age_d, line)
    if age_d < 28:
        assert cock == hen


# Laying hens, light and standard, feed eaten in g a day: Maiduguri 2022 (cages, litter), Cumpa,
# Pinto et al. 2002, Costa et al., Allen and Young 1980 (semi-purified and usual diet), Rev Bras
# Zootec (207 days and on), Umigi et al., Pinheiro et al., Cienc Anim Bras 72583, ESPOCH 2020.
FLOCKS_G_D = (23.24, 21.51, 23.5, 26.85, 28.35, 18.5, 22, 24.31, 26.29, 21.43, 26.84, 25.1)


def test_spread_between_flocks_is_that_of_twelve_published_ones() -> None:
    # Tolerance 21 %, the standard error of a standard deviation of twelve.
    seen = stdev(math.log(flock) for flock in FLOCKS_G_D)
    assert facts.value("feeding.intake_flock_cv") == pytest.approx(seen, rel=0.21)


def test_impossible_age_is_refused() -> None:
    with pytest.raises(ValueError, match="days old"):
        intake_of_g_per_day(-1, "cock")

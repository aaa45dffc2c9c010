"""What is expected of deaths before any record, against published flocks."""

import math
from statistics import NormalDist

import pytest
from scipy import stats  # type: ignore[import-untyped]

from quailwright.husbandry import facts

TAIL_DEVIATES = NormalDist().inv_cdf(0.95)


def chick_week(week: int) -> "stats.rv_frozen":
    a, b = (facts.value(f"survival.chick_week_{week}_beta_{letter}") for letter in "ab")
    return stats.beta(a, b)


# Effect of season on mortality, Int Res J Biol Sci 4(7):29-33, 2015, two years of one farm: 7.25,
# 2.06 and 0.93 % in weeks 1 to 3; by season 6.69 to 8.99, 1.62 to 3.12 and 0.84 to 1.75 %.
@pytest.mark.parametrize(
    ("week", "printed_pct"),
    [(1, (6.69, 7.25, 8.99)), (2, (1.62, 2.06, 3.12)), (3, (0.84, 0.93, 1.75))],
)
def test_middle_ninety_percent_of_chick_deaths_holds_int_res_j_biol_sci_2015(
    week: int, printed_pct: tuple[float, ...]
) -> None:
    low, high = chick_week(week).ppf([0.05, 0.95])
    assert low < min(printed_pct) / 100
    assert max(printed_pct) / 100 < high


def test_expected_chick_deaths_compound_to_a_tenth_in_three_weeks() -> None:
    # The same, compounded: 10.0 %; a Turkish rearing page: about 10 % of 150 chicks by 3 weeks.
    # Tolerance half a point: the prior of week 1 has a mean of 7.5, not 7.25 %.
    alive = math.prod(1 - float(chick_week(week).mean()) for week in (1, 2, 3))
    assert 1 - alive == pytest.approx(0.10, abs=0.005)


def middle_ninety(key: str) -> tuple[float, float]:
    spread = math.exp(TAIL_DEVIATES * facts.value(f"{key}_log_sd"))
    return facts.value(key) / spread, facts.value(key) * spread


# Deaths of grown hens in a week. Aichi, NARO Kanto results 19_03_39, 96.7 % alive after 24 weeks;
# Int Res J Biol Sci 2015, 0.53 % (unit read as per week); Woodard and Abplanalp 1971, half dead by
# 54 weeks.
@pytest.mark.parametrize("rate", [1 - 0.967 ** (1 / 24), 0.0053, 1 - 0.5 ** (1 / 54)])
def test_middle_ninety_percent_of_adult_deaths_holds_three_flocks(rate: float) -> None:
    low, high = middle_ninety("survival.adult_week_hen")
    assert low < rate < high


def test_middle_ninety_percent_of_adult_deaths_is_the_range_of_its_row() -> None:
    # Flock biology notes: median 0.4 %, 90 % interval 0.1 to 1.5 % a week, cocks 0.6 of it. The
    # interval is not quite even about the median on a logarithmic scale: tolerance 5 %.
    assert middle_ninety("survival.adult_week_hen") == pytest.approx((0.001, 0.015), rel=0.05)
    cock = facts.value("survival.adult_week_cock") / facts.value("survival.adult_week_hen")
    assert cock == pytest.approx(0.6)


# Weeks 4 and 5: Int Res J Biol Sci 2015, 0.70 % (unit read as per week). Ito and Tsudzuki 1994,
# laboratory wild type: 8.4 % from hatch to 5 weeks, less than the farm's first three weeks alone.
def test_middle_ninety_percent_of_grower_deaths_holds_int_res_j_biol_sci_2015() -> None:
    low, high = middle_ninety("survival.grower_week")
    assert low < 0.0070 < high

"""Heat and cold against published trials."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from quailwright.husbandry.heat import feed_factor, lay_factor

AIR = st.floats(min_value=-30, max_value=60)


# UNESP, Performance and egg quality of Japanese quails submitted to cyclic heat stress, 480 birds:
# no fewer eggs at 24, 27, 30 and 33 °C than at 21 °C. Scielo S0101-20612023000100507, 192 birds:
# none fewer at 32 °C for 12 h a day.
@pytest.mark.parametrize("air_c", [21, 24, 27, 30, 32, 33])
def test_no_eggs_are_lost_up_to_33_c_unesp(air_c: float) -> None:
    assert lay_factor(air_c) == 1


# UNESP: fewer eggs at 36 °C cyclic. Arch Anim Breed 2004, 47:93: fewer at 35 °C than at 18 to 24.
@pytest.mark.parametrize("air_c", [35, 36])
def test_eggs_are_lost_at_35_c_constant_and_36_c_cyclic(air_c: float) -> None:
    assert 0 < lay_factor(air_c) < 1


def test_less_is_eaten_at_32_c_between_two_trials_that_disagree() -> None:
    # Scielo S0101-20612023000100507: 14.75 % less at 32 °C (12 h a day) than at 24 °C.
    # Santos et al. 2019, Poult Sci 98:2830: no difference from 23 to 35 °C.
    assert 1 - 0.1475 < feed_factor(32.0) / feed_factor(24.0) < 1


def test_more_is_eaten_at_17_than_at_23_c_santos_2019() -> None:
    # Santos et al. 2019, Poult Sci 98:2830.
    assert feed_factor(17.0) > feed_factor(23.0) == 1


@given(air_c=AIR, warmer_c=AIR)
def test_warmth_never_brings_more_eggs_or_appetite(air_c: float, warmer_c: float) -> None:
    air = np.sort([air_c, warmer_c])
    for factors in (lay_factor(air), feed_factor(air)):
        assert factors.shape == (2,)
        assert factors[0] >= factors[1] >= 0
    assert lay_factor(air).max() <= 1


@pytest.mark.parametrize("air_c", [math.nan, math.inf])
def test_air_that_cannot_be_is_refused(air_c: float) -> None:
    with pytest.raises(ValueError, match="number of °C"):
        lay_factor(air_c)
    with pytest.raises(ValueError, match="number of °C"):
        feed_factor(air_c)

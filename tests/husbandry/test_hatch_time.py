"""Time to hatch against published trials of temperature, cooling and storage."""

import pytest

from quailwright.husbandry.incubation import (
    development_rate_per_h,
    hatch_hours,
    outage_delay_h,
    storage_delay_h,
)


# Romao et al. 2009, Arch Vet Sci 14(3): eggs at 35 °C hatched 156.3 h after those at 40 °C.
def test_delay_between_35_and_40_romao_2009() -> None:
    assert hatch_hours(35) - hatch_hours(40) == pytest.approx(156.3, abs=1.0)


def test_warmer_hatches_sooner_romao_2009() -> None:
    hours = [hatch_hours(celsius) for celsius in (35, 36, 37, 38, 39, 40)]
    assert hours == sorted(hours, reverse=True)


# hours = 5508 / (T - 24), reckoned by hand; 408 h at 37.5 °C is the default between the curves.
@pytest.mark.parametrize(
    ("celsius", "hours"),
    [(35, 501), (36, 459), (37, 424), (37.5, 408), (38, 393), (38.5, 380), (39, 367), (40, 344)],
)
def test_hours_by_temperature(celsius: float, hours: float) -> None:
    assert hatch_hours(celsius) == pytest.approx(hours, abs=0.6)


# Selcuk J Agric Food Sci: 390 to 416 h. SAJAS 2005, 35(2):135: eggs stored 4 or 14 days, 405 to
# 441 h. Ainsworth et al. 2010: 16.5 d to the last stage at 37.5 to 38 °C (from memory).
def test_mean_lies_in_the_published_hatch_curves() -> None:
    assert 390 < hatch_hours(37.5) < 416
    assert 405 < hatch_hours(37.5, 4) < hatch_hours(37.5, 14) < 441
    assert hatch_hours(38.0) == pytest.approx(16.5 * 24, abs=8)


# Wentworth, Cigan and Schaaf 2009, Poultry Science: 24 h at 13 °C on day 6, 24 h late.
def test_cooling_wentworth_2009() -> None:
    assert outage_delay_h(24, 13) == pytest.approx(24, abs=1)


def test_outage_costs_no_more_than_its_length_and_less_when_mild() -> None:
    delays = [outage_delay_h(10, celsius) for celsius in (5, 20, 24, 30, 35, 37.5)]
    assert delays == sorted(delays, reverse=True)
    assert delays[0] == 10
    assert delays[-1] == 0
    assert outage_delay_h(10, 40) == 0
    assert outage_delay_h(10) == outage_delay_h(10, 20)


# Gonzalez-Redondo 2023, game quail: the longer the storage, the longer the incubation.
def test_storage_lengthens_incubation_progressively() -> None:
    delays = [storage_delay_h(days) for days in (0, 7, 14, 21, 28, 35)]
    assert delays == sorted(set(delays))
    assert delays[0] == 0


def test_nothing_develops_in_the_cold_and_heat_does_not_speed_further() -> None:
    assert development_rate_per_h(20) == 0
    assert development_rate_per_h(43) == development_rate_per_h(40)
    with pytest.raises(ValueError, match="do not develop at 20 °C"):
        hatch_hours(20)

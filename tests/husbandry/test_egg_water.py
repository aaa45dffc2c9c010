"""Water loss of eggs against published experiments, tables and a second library."""

import pytest
from CoolProp.CoolProp import HAPropsSI, PropsSI

from quailwright.husbandry.egg_water import (
    PASCAL_PER_TORR,
    altitude_factor,
    conductance_mg_day_torr,
    egg_excess_c,
    loss_pct,
    saturation_pressure_pa,
    storage_loss_pct,
    vapour_difference_torr,
    wet_bulb_c,
)

KELVIN = 273.15
TENTHS = [tenth / 10 for tenth in range(451)]


# Romao et al. 2009, LRRD 21(3): Japanese quail, 100 eggs each, 37.5 °C, day 0 to 15. The mass of
# the eggs could not be read; 11 g is the usual one.
@pytest.mark.parametrize(
    ("humidity_pct", "lost_pct"), [(36.05, 11.96), (52.25, 8.94), (76.50, 4.89)]
)
def test_water_loss_romao_2009(humidity_pct: float, lost_pct: float) -> None:
    assert loss_pct(11.0, 37.5, humidity_pct, 0, 15) == pytest.approx(lost_pct, abs=0.6)


# Ar et al. 1974, Condor 76:153: G = 0.432 W^0.780, reckoned by hand for five masses.
@pytest.mark.parametrize(
    ("mass_g", "conductance"), [(9, 2.40), (10, 2.60), (11, 2.80), (12, 3.00), (13.5, 3.29)]
)
def test_conductance_ar_1974(mass_g: float, conductance: float) -> None:
    assert conductance_mg_day_torr(mass_g) == pytest.approx(conductance, abs=0.006)


# Tullett 2013, table of how much faster gas crosses the shell, in whole per cent.
@pytest.mark.parametrize(
    ("altitude_m", "faster_pct"),
    [(500, 6), (1000, 13), (1500, 20), (2000, 27), (2500, 36), (3000, 45)],
)
def test_altitude_tullett_2013(altitude_m: float, faster_pct: float) -> None:
    assert 100 * (altitude_factor(altitude_m) - 1) == pytest.approx(faster_pct, abs=1.0)


# ICAO 1993, Manual of the ICAO standard atmosphere, pressure in hPa (from memory).
@pytest.mark.parametrize(
    ("altitude_m", "pressure_hpa"),
    [(0, 1013.25), (500, 954.61), (1000, 898.75), (2000, 794.95), (3000, 701.09), (5000, 540.20)],
)
def test_altitude_standard_atmosphere(altitude_m: float, pressure_hpa: float) -> None:
    assert altitude_factor(altitude_m) == pytest.approx(1013.25 / pressure_hpa, rel=1e-4)


def test_saturation_pressure_against_coolprop() -> None:
    """The equation of state of IAPWS-95, from the triple point up to 45 °C."""
    for celsius in (0.01, *TENTHS[1:]):
        theirs = PropsSI("P", "T", celsius + KELVIN, "Q", 0, "Water")
        assert saturation_pressure_pa(celsius) == pytest.approx(theirs, rel=5e-4)


def test_saturation_pressure_at_incubation() -> None:
    """48.4 torr at 37.5 °C, as in steam tables (from memory)."""
    assert saturation_pressure_pa(37.5) / PASCAL_PER_TORR == pytest.approx(48.4, abs=0.05)


@pytest.mark.parametrize("celsius", [36.0, 37.5, 38.9])
@pytest.mark.parametrize("humidity_pct", [20, 30, 45, 60, 75, 90])
def test_wet_bulb_against_coolprop(celsius: float, humidity_pct: float) -> None:
    """Within a tenth of a degree, as keepers read it, of ASHRAE's humid air (RP-1485)."""
    theirs = HAPropsSI("B", "T", celsius + KELVIN, "P", 101_325, "R", humidity_pct / 100) - KELVIN
    assert wet_bulb_c(celsius, humidity_pct) == pytest.approx(theirs, abs=0.1)


# Garip and Dere 2011, JAVA 10(18):2363: per cent lost by day of storage at 11, 21 and 27 °C.
# Vasconcelos de Moraes et al. 2008, LRRD 20(10): refrigerator of 7.5 °C.
# Soley 1994: about 2 % in 7 days in a room. (RUDN University saw 2.6 % in 10 days at 10 to 15 °C
# and an unknown humidity: 0.8 more than is said here.)
@pytest.mark.parametrize(
    ("celsius", "days", "lost_pct"),
    [
        (11, 1, 0.2), (11, 5, 0.6), (11, 10, 1.3), (11, 15, 1.8),
        (21, 1, 0.6), (21, 5, 1.5), (21, 10, 3.1), (21, 15, 5.3),
        (27, 1, 1.1), (27, 5, 2.0), (27, 10, 3.7), (27, 15, 6.1),
        (7.5, 20, 3.74), (21, 7, 2.0),
    ],
)  # fmt: skip
def test_storage_loss_by_published_trials(celsius: float, days: float, lost_pct: float) -> None:
    assert storage_loss_pct(days, celsius) == pytest.approx(lost_pct, abs=0.65)


def test_storage_loss_grows_with_days_and_has_ends() -> None:
    for celsius in (0, 7.5, 11, 16, 21, 27, 35):
        losses = [storage_loss_pct(days, celsius) for days in (0, 0.5, 1, 5, 10, 20)]
        assert losses[0] == 0
        assert losses == sorted(losses)
    assert storage_loss_pct(10, 0) == storage_loss_pct(10, 7.5)
    assert storage_loss_pct(10, 40) == storage_loss_pct(10, 27)
    with pytest.raises(ValueError, match="-1 days"):
        storage_loss_pct(-1, 15)


def test_eggs_warm_late_only() -> None:
    """Shell 0.7 °C below the air on day 10 and 0.0 to 0.2 above on day 14, 0.5 at transfer: quail
    trials in air of 37.6 °C, RBZ on eggshell colour and RBCA 2017."""
    assert egg_excess_c(0) == egg_excess_c(9) == 0
    assert 0.0 <= egg_excess_c(14) <= 0.6
    assert egg_excess_c(15) == egg_excess_c(18) == pytest.approx(0.5, abs=0.15)


def test_loss_follows_its_causes() -> None:
    dry, damp = loss_pct(11, 37.5, 30, 0, 14), loss_pct(11, 37.5, 60, 0, 14)
    assert dry > damp > 0
    # Heavier eggs lose a smaller share: mass^(0.78 - 1).
    assert loss_pct(13, 37.5, 45, 0, 14) < loss_pct(9, 37.5, 45, 0, 14)
    assert loss_pct(11, 37.5, 45, 0, 14, 1.3) == pytest.approx(1.3 * loss_pct(11, 37.5, 45, 0, 14))
    parts = loss_pct(11, 37.5, 45, 0, 10) + loss_pct(11, 37.5, 45, 10, 14)
    assert loss_pct(11, 37.5, 45, 0, 14) == pytest.approx(parts)
    # The egg's own warmth: more is lost late, and some even in air that holds all it can.
    assert loss_pct(11, 37.5, 50, 14, 15) > 1.02 * loss_pct(11, 37.5, 50, 0, 1)
    assert loss_pct(11, 37.5, 100, 0, 5) == 0 < loss_pct(11, 37.5, 100, 13, 15)
    assert loss_pct(11, 37.5, 45, 3, 3) == 0


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="0 g"):
        conductance_mg_day_torr(0)
    with pytest.raises(ValueError, match="nan"):
        conductance_mg_day_torr(float("nan"))
    with pytest.raises(ValueError, match="9000 m"):
        altitude_factor(9000)
    with pytest.raises(ValueError, match="150 %"):
        vapour_difference_torr(37.5, 150, 3)
    with pytest.raises(ValueError, match="-1 °C"):
        saturation_pressure_pa(-1)
    with pytest.raises(ValueError, match="before"):
        loss_pct(11, 37.5, 45, 5, 4)
    with pytest.raises(ValueError, match="wet-bulb"):
        wet_bulb_c(37.5, 0)

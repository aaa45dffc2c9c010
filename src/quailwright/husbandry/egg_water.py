"""Water that an egg loses through its shell, as physics.

An egg loses water vapour in proportion to the conductance of its shell and to the difference of
vapour pressure between its inside (saturated at its own temperature) and the air. Pressures are in
pascal inside; the conductance keeps the literature's unit, mg a day for each torr.
"""

from functools import lru_cache
from itertools import pairwise
from math import exp, log

from quailwright.husbandry import facts
from quailwright.language import say

PASCAL_PER_TORR = 101_325.0 / 760.0
"""Exact by definition of the torr."""
_MG_PER_G = 1000.0


@lru_cache(4096)
def saturation_pressure_pa(temperature_c: float) -> float:
    """Saturation pressure of water vapour over liquid water.

    ln p = a / T + b + c T + d T^2 + e T^3 + f ln T, with T in kelvin and p in pascal.

    Args:
        temperature_c: temperature [°C], 0 to 200.

    Returns:
        Pressure [Pa].

    Raises:
        ValueError: outside the range.

    Source: ASHRAE Handbook - Fundamentals 2017, chapter 1, equation 6 (Hyland and Wexler 1983).
    Certainty: published.
    """
    if not 0 <= temperature_c <= 200:
        raise ValueError(
            say("There are no figures for water vapour at {celsius:g} °C.", celsius=temperature_c)
        )
    kelvin = temperature_c + _ZERO_CELSIUS_K
    a, b, c, d, e, f = (facts.value(f"egg_water.vapour_{letter}") for letter in "abcdef")
    powers = a / kelvin + b + kelvin * (c + kelvin * (d + kelvin * e))
    return exp(powers + f * log(kelvin))


_ZERO_CELSIUS_K = 273.15


def wet_bulb_c(air_c: float, humidity_pct: float) -> float:
    """What a wet-bulb thermometer shows at sea level, in air that moves past it.

    Args:
        air_c: air temperature [°C], 1 to 60.
        humidity_pct: true relative humidity [%], 1 to 100.

    Returns:
        Wet-bulb temperature [°C].

    Raises:
        ValueError: outside the ranges.

    Source: the psychrometric equation e = e_w(T_w) - A p (T - T_w) of World Meteorological
    Organization 2008, Guide to meteorological instruments (WMO-No. 8), annex 4.B.
    Certainty: from memory.
    """
    if not (1 <= air_c <= 60 and 1 <= humidity_pct <= 100):
        raise ValueError(
            say(
                "There are no wet-bulb figures for {celsius:g} °C, {percent:g} %.",
                celsius=air_c,
                percent=humidity_pct,
            )
        )
    vapour = saturation_pressure_pa(air_c) * humidity_pct / 100.0
    coefficient = facts.value("egg_water.psychrometer_per_k") * 760.0 * PASCAL_PER_TORR
    low, high = 0.0, air_c
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        if saturation_pressure_pa(middle) - coefficient * (air_c - middle) < vapour:
            low = middle
        else:
            high = middle
    return (low + high) / 2


_HALVINGS = 20


def conductance_mg_day_torr(egg_mass_g: float, shell_factor: float = 1.0) -> float:
    """Vapour conductance of a shell from the mass of the fresh egg, G = a W^b.

    The equation is over all species; within quail the mass explains little of the differences
    between eggs, and flocks differ by the `shell_factor` (about 0.8 to 1.6), which is to be learnt
    from weighings. So this is where to start from, not a measurement.

    Args:
        egg_mass_g: mass of the fresh egg [g], above 0.
        shell_factor: the flock's conductance over that of the equation.

    Returns:
        Conductance [mg/day/torr] at sea level.

    Raises:
        ValueError: mass of 0 or less.

    Source: Ar, Paganelli, Reeves, Greene and Rahn 1974, The avian egg: water vapor conductance,
    shell thickness, and functional pore area, Condor 76:153-158. Certainty: from memory in part.
    """
    if not egg_mass_g > 0:
        raise ValueError(say("An egg cannot weigh {grams:g} g.", grams=egg_mass_g))
    scale = facts.value("egg_water.conductance_scale")
    exponent = facts.value("egg_water.conductance_exponent")
    return float(shell_factor * scale * egg_mass_g**exponent)


def altitude_factor(altitude_m: float) -> float:
    """How much faster vapour crosses the shell than at sea level: P0 / P, standard atmosphere.

    It holds for eggs laid low and brought up (shipped). Hens that live high lay less porous shells
    that cancel most of it (Rahn 1977): do not apply it to home-laid eggs.

    Args:
        altitude_m: height above sea level [m], -500 to 5000.

    Returns:
        Factor, 1 at sea level.

    Raises:
        ValueError: outside the range.

    Source: International Civil Aviation Organization 1993, Manual of the ICAO standard atmosphere;
    that diffusion goes with the inverse of pressure, Paganelli, Ar, Rahn and Wangensteen 1975,
    Diffusion in the gas phase. Certainty: from memory.
    """
    if not -500 <= altitude_m <= 5000:
        raise ValueError(
            say("There are no figures for {metres:g} m above the sea.", metres=altitude_m)
        )
    lapse = facts.value("egg_water.lapse_rate_k_m")
    sea_level_k = facts.value("egg_water.sea_level_temperature_k")
    exponent = facts.value("egg_water.pressure_exponent")
    return float((1.0 - lapse * altitude_m / sea_level_k) ** -exponent)


def egg_excess_c(day: float) -> float:
    """How much warmer the egg is than the air around it, by day of incubation.

    Nothing while the embryo is small, then rising in a straight line as it gives off heat.

    Args:
        day: days from setting, 0 or more.

    Returns:
        Difference [K].

    Source: between shell temperatures printed for quail eggs and the offset that Romao et al. 2009
    (LRRD 21(3)) imply. Certainty: inferred.
    """
    begins = facts.value("egg_water.excess_begins_d")
    full = facts.value("egg_water.excess_full_d")
    share = min(1.0, max(0.0, (day - begins) / (full - begins)))
    return facts.value("egg_water.excess_full_c") * share


def vapour_difference_torr(air_c: float, humidity_pct: float, day: float) -> float:
    """Vapour pressure inside the egg less that of the air.

    Args:
        air_c: air temperature at the eggs [°C].
        humidity_pct: true relative humidity of that air [%], 0 to 100.
        day: days from setting, for the egg's own warmth.

    Returns:
        Difference [torr]; never below 0 (an egg does not gain water).

    Raises:
        ValueError: humidity outside 0 to 100.

    Source: as `saturation_pressure_pa` and `egg_excess_c`.
    """
    if not 0 <= humidity_pct <= 100:
        raise ValueError(
            say("A relative humidity of {percent:g} % cannot be.", percent=humidity_pct)
        )
    inside = saturation_pressure_pa(round(air_c + egg_excess_c(day), 2))
    outside = saturation_pressure_pa(round(air_c, 2)) * humidity_pct / 100.0
    return max(0.0, (inside - outside) / PASCAL_PER_TORR)


def loss_pct(
    egg_mass_g: float,
    air_c: float,
    humidity_pct: float,
    day_from: float,
    day_to: float,
    shell_factor: float = 1.0,
    altitude: float = 1.0,
) -> float:
    """Weight that an egg loses between two days in steady air, in per cent of its mass when set.

    Args:
        egg_mass_g: mass when set [g].
        air_c: air temperature at the eggs [°C].
        humidity_pct: true relative humidity [%], 0 to 100.
        day_from, day_to: days from setting.
        shell_factor: the flock's conductance over that of the equation.
        altitude: `altitude_factor` for eggs that were not laid there, else 1.

    Returns:
        Loss [% of the mass when set].

    Raises:
        ValueError: impossible mass, humidity or span.

    Source: as its parts; check, Romao et al. 2009, LRRD 21(3).
    """
    if day_to < day_from:
        raise ValueError(say("Day {last:g} is before day {first:g}.", last=day_to, first=day_from))
    conductance = conductance_mg_day_torr(egg_mass_g, shell_factor) * altitude
    steps = max(1, round((day_to - day_from) * _STEPS_A_DAY))
    width = (day_to - day_from) / steps
    difference = sum(
        vapour_difference_torr(air_c, humidity_pct, day_from + (step + 0.5) * width)
        for step in range(steps)
    )
    return 100.0 * conductance * difference * width / (egg_mass_g * _MG_PER_G)


_STEPS_A_DAY = 4


def storage_loss_pct(days: float, temperature_c: float) -> float:
    """Weight that eggs lose in storage before setting, by measured rates (the physics fails there).

    The temperature stands for the kind of store too: a refrigerator is colder and drier than a
    cellar, and its eggs lose more.

    Args:
        days: days stored, 0 or more.
        temperature_c: mean temperature of the store [°C].

    Returns:
        Loss [% of the fresh mass]: a first-day part, then so much a day by temperature.

    Raises:
        ValueError: days below 0.

    Source: Garip and Dere 2011, JAVA 10(18):2363 (11, 21 and 27 °C); Moraes et al. 2008,
    LRRD 20(10) (7.5 °C). Certainty: published rates, the straight line between them inferred.
    """
    if not days >= 0:
        raise ValueError(say("Eggs cannot be stored {days:g} days.", days=days))
    if days == 0:
        return 0.0
    bands = [
        (
            facts.value(f"egg_water.store_{store}_c"),
            facts.value(f"storage.weight_loss_{store}_pct_d"),
        )
        for store in ("fridge", "cool", "room", "warm")
    ]
    rate = bands[0][1]
    for (low_c, low), (high_c, high) in pairwise(bands):
        if temperature_c > low_c:
            share = min(1.0, (temperature_c - low_c) / (high_c - low_c))
            rate = low + share * (high - low)
    first_day = facts.value("egg_water.store_first_day_pct")
    return min(days, 1.0) * first_day + rate * days

"""When a set hatches, and what storing the eggs costs."""

from itertools import pairwise

from quailwright.husbandry import facts
from quailwright.language import say

HOURS_A_DAY = 24.0


def hatch_day_range() -> tuple[float, float, float]:
    """First, likely and last day of the hatch, in days from the moment of setting.

    Holds for Coturnix eggs stored up to about two weeks in forced air near 37.5 °C; a cool
    machine, old or chilled eggs hatch later (``incubation.hatch_day_late``), a hot one sooner
    (``incubation.hatch_day_earliest``).

    Returns:
        (first, likely, last) [d].

    Source: light-in-incubation study, Selcuk J Agric Food Sci (first, 390 h); SAJAS 2005,
    35(2):135-142 (last, 441 h); likely 408 h between them. Certainty: published, likely inferred.
    """
    return (
        facts.value("incubation.hatch_day_first"),
        facts.value("incubation.hatch_duration_h") / HOURS_A_DAY,
        facts.value("incubation.hatch_day_last"),
    )


def storage_loss_points(days: float, temperature_c: float) -> float:
    """Hatch lost to storing eggs before setting, in percentage points off that of fresh eggs.

    Four bands, straight lines between them: 4 °C; a cool store of 12 to 16 °C; a room of 20 to
    24 °C; and 25 °C or more. The trials disagree, above all on refrigerators (a small trial at
    7.5 °C lost almost nothing in 20 days), so this is a rough guide to be replaced by the flock's
    own record. Cap it at the hatch of fresh eggs.

    Args:
        days: days from lay to setting, 0 or more.
        temperature_c: mean temperature of the store [°C], 4 to 29.

    Returns:
        Percentage points, 0 to 100.

    Raises:
        ValueError: days below 0, or a temperature for which there are no figures.

    Source: working defaults drawn from the storage trials listed in ``facts/storage.csv``.
    Certainty: inferred, except 4 °C (published).
    """
    if not days >= 0:
        raise ValueError(say("Eggs cannot be stored {days:g} days.", days=days))
    bands = (
        (facts.value("storage.cold_c"), _cold_loss(days)),
        (facts.value("storage.cool_low_c"), _cool_loss(days)),
        (facts.value("storage.cool_high_c"), _cool_loss(days)),
        (facts.value("storage.room_low_c"), _room_loss(days)),
        (facts.value("storage.room_high_c"), _room_loss(days)),
        (facts.value("storage.warm_low_c"), _warm_loss(days)),
        (facts.value("storage.warm_high_c"), _warm_loss(days)),
    )
    coldest, warmest = bands[0][0], bands[-1][0]
    if not coldest <= temperature_c <= warmest:
        raise ValueError(
            say(
                "There are figures for eggs stored from {coldest:g} to {warmest:g} °C, "
                "not for {celsius:g} °C.",
                coldest=coldest,
                warmest=warmest,
                celsius=temperature_c,
            )
        )
    for (low_c, low_loss), (high_c, high_loss) in pairwise(bands):
        if temperature_c <= high_c:
            share = (temperature_c - low_c) / (high_c - low_c)
            return min(100.0, low_loss + share * (high_loss - low_loss))
    return min(100.0, bands[-1][1])


def _cold_loss(days: float) -> float:
    return facts.value("storage.cold_points_d") * days


def _cool_loss(days: float) -> float:
    free_d = facts.value("storage.cool_free_d")
    slow_until_d = facts.value("storage.cool_slow_until_d")
    slow = max(0.0, min(days, slow_until_d) - free_d)
    late = max(0.0, days - slow_until_d)
    return (
        facts.value("storage.cool_slow_points_d") * slow
        + facts.value("storage.cool_late_points_d") * late
    )


def _room_loss(days: float) -> float:
    return facts.value("storage.room_points_d") * days


def _warm_loss(days: float) -> float:
    gentle_until_d = facts.value("storage.warm_gentle_until_d")
    if days <= gentle_until_d:
        return _room_loss(days)
    at_bend = _room_loss(gentle_until_d)
    fall_d = facts.value("storage.warm_none_left_d") - gentle_until_d
    return min(100.0, at_bend + (100.0 - at_bend) * (days - gentle_until_d) / fall_d)


def development_rate_per_h(temperature_c: float) -> float:
    """Share of the way from setting to hatching that embryos go in an hour at this temperature.

    (T - T0) / K between the temperature at which development stops and that of heat injury; none
    below. Above the upper end the line is not followed further: such heat kills, it does not speed.

    Args:
        temperature_c: temperature of the eggs [°C].

    Returns:
        Share an hour, 0 or more.

    Source: fitted to the delay between 35 and 40 °C of Romao et al. 2009, Arch Vet Sci 14(3).
    Certainty: inferred; best from 35 to 40 °C.
    """
    zero_c = facts.value("incubation.rate_zero_c")
    highest_c = facts.value("incubation.temperature_harm_high")
    warmth = min(temperature_c, highest_c) - zero_c
    return max(0.0, warmth) / facts.value("incubation.rate_degree_hours")


def hatch_hours(temperature_c: float, storage_days: float = 0.0) -> float:
    """Mean time from setting to hatching in steady warmth.

    Args:
        temperature_c: temperature of the eggs [°C], above that at which development stops.
        storage_days: mean days from lay to setting.

    Returns:
        Hours.

    Raises:
        ValueError: no development at that temperature.

    Source: as `development_rate_per_h` and `storage_delay_h`.
    """
    rate = development_rate_per_h(temperature_c)
    if rate <= 0:
        raise ValueError(say("Eggs do not develop at {celsius:g} °C.", celsius=temperature_c))
    return 1.0 / rate + storage_delay_h(storage_days)


def storage_delay_h(storage_days: float) -> float:
    """Hours by which stored eggs hatch later than fresh ones.

    Args:
        storage_days: mean days from lay to setting, 0 or more.

    Returns:
        Hours.

    Source: a figure for chickens. Certainty: from memory.
    """
    free_d = facts.value("incubation.hatch_delay_storage_free_d")
    return facts.value("incubation.hatch_delay_per_storage_day_h") * max(0.0, storage_days - free_d)


def outage_delay_h(hours: float, lowest_c: float | None = None) -> float:
    """Hours by which an outage delays the hatch: development not done while the eggs were cool.

    The eggs are taken to be at the lowest temperature all the while; small eggs cool in about
    20 minutes, so this is right for outages of hours and too much for minutes.

    Args:
        hours: length of the outage, 0 or more.
        lowest_c: lowest temperature of the eggs [°C]; a room's where it is not known.

    Returns:
        Hours.

    Source: as `development_rate_per_h`; check, Wentworth, Cigan and Schaaf 2009, Poultry Science
    (24 h at 13 °C on day 6, 24 h late). Certainty: inferred.
    """
    cool_c = facts.value("incubation.outage_room_c") if lowest_c is None else lowest_c
    usual = development_rate_per_h(facts.value("incubation.temperature"))
    return hours * (1.0 - min(1.0, development_rate_per_h(cool_c) / usual))

"""The air of a hatch: gaps stay gaps, an outage is no usual temperature, the hatcher no setter."""

import pytest

from quailwright.guide.hatch.air import Air, Span
from quailwright.husbandry.egg_water import PASCAL_PER_TORR, saturation_pressure_pa


def daily(*temperatures: float | None, humidity: float | None = 45.0) -> list[Span]:
    """A span for each day; None leaves a gap."""
    return [
        Span(day, day + 1, celsius, humidity)
        for day, celsius in enumerate(temperatures)
        if celsius is not None
    ]


def test_nothing_logged_is_the_usual_setting_and_a_middling_humidity() -> None:
    air = Air()
    assert air.at(3.0) == (37.5, 50.0)
    assert not air.has_humidity
    assert air.recent_c(3.0) == 37.5
    assert air.recent_humidity_pct(3.0) == 50.0
    assert air.gaps(14.0) == []
    assert air.temperature_between(0.0, 14.0).mean_c is None
    assert air.humidity_between(14.0, 18.0) is None


def test_a_span_holds_from_its_beginning_to_before_its_end() -> None:
    air = Air([Span(0.0, 1.0, 37.0, 40.0), Span(2.0, 3.0, 38.0, 50.0)])
    assert air.at(0.0) == (37.0, 40.0)
    assert air.at(0.999) == (37.0, 40.0)
    assert air.at(1.0) == (37.5, 45.0)
    assert air.at(2.0) == (38.0, 50.0)
    assert air.at(-1.0) == air.at(3.0) == (37.5, 45.0)


def test_the_thermometers_offset_is_taken_off_once() -> None:
    air = Air(daily(38.0, 38.0), temperature_offset_c=0.5)
    assert air.at(0.5)[0] == air.at(9.0)[0] == air.usual_c == air.recent_c(2.0) == 37.5
    assert air.temperature_between(0.0, 2.0).mean_c == 37.5


def test_an_outage_is_no_usual_temperature() -> None:
    air = Air(daily(37.6, 37.4, 15.0, 37.5, 37.5))
    assert air.usual_c == pytest.approx(37.5)
    assert air.at(2.5)[0] == 15.0


def test_a_swing_from_day_to_night_is_met_by_its_mean() -> None:
    """Sixteen hours at 37.0 and eight at 38.5 are 37.5 on the average, not 37."""
    spans = [
        Span(day + first, day + last, celsius, None)
        for day in range(10)
        for first, last, celsius in ((0.0, 2 / 3, 37.0), (2 / 3, 1.0, 38.5))
    ]
    air = Air(spans)
    assert air.usual_c == pytest.approx(37.5)
    assert air.temperature_between(0.0, 10.0).swing_c == pytest.approx(1.5)


def test_a_drifting_machine_goes_on_as_of_late() -> None:
    air = Air(daily(*(37.5 - 0.1 * day for day in range(10))))
    assert air.recent_c(10.0) == pytest.approx(36.7)
    assert air.usual_c == pytest.approx(37.05)


def test_the_place_where_they_hatch_says_nothing_of_the_setter() -> None:
    spans = [Span(0.0, 3.0, 37.5, 45.0), Span(14.0, 18.0, 37.0, 72.0)]
    air = Air(spans, moved_on=14.0)
    assert air.at(8.0) == (37.5, 45.0)
    assert air.humidity_between(14.0, 18.0) == 72.0


def test_gaps_are_told_from_the_first_reading_on() -> None:
    air = Air([Span(2.0, 3.0, 37.5, None), Span(4.5, 5.0, 37.5, None), Span(5.0, 6.0, None, 40.0)])
    assert air.gaps(8.0) == [(3.0, 4.5), (5.0, 8.0)]
    assert air.gaps(4.0) == [(3.0, 4.0)]
    assert air.gaps(2.5) == []


def test_hours_hot_and_cold_and_the_share_that_was_logged() -> None:
    """Harm from 39 °C up and 36 °C down: Romao et al. 2009, Arch Vet Sci 14(3), half hatched."""
    air = Air([Span(0.0, 0.5, 39.5, None), Span(0.5, 1.0, 35.0, None), Span(1.0, 2.0, 37.5, None)])
    warmth = air.temperature_between(0.0, 4.0)
    assert (warmth.hours_hot, warmth.hours_cold, warmth.share) == (12.0, 12.0, 0.5)
    assert warmth.mean_c == pytest.approx((39.5 + 35.0 + 2 * 37.5) / 4)


def test_vapour_days_sum_what_the_air_drew() -> None:
    """48.4 torr in the egg, and the hygrometer's share of as much in the air, for five days."""
    days = Air(daily(*[37.5] * 14, humidity=45.0)).vapour_days(0.0, 5.0)
    torr = saturation_pressure_pa(37.5) / PASCAL_PER_TORR
    assert days.inside == pytest.approx(5 * torr)
    assert days.air == pytest.approx(5 * torr)
    assert days.shown == pytest.approx(0.45 * 5 * torr)
    # Ten points too little shown: the air is damper, and dries less.
    assert days.difference(-10.0) == pytest.approx((1 - 0.55) * 5 * torr)


def test_a_frozen_machine_is_no_fault() -> None:
    days = Air(daily(-12.0, -12.0)).vapour_days(0.0, 2.0)
    assert 0 < days.inside < 10

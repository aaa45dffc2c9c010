"""What readings say of a place, held against figures that can be reckoned by hand or by NumPy."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import ArrayLike, NDArray
from tests.makers import made

from quailwright.flock.climate import Band, Climate, climate, corrected, machine_band, series
from quailwright.journal.entries import Instrument
from quailwright.journal.readings import Readings, to_ms

NOON = datetime(2027, 5, 2, 12, tzinfo=UTC)
LISBON = ZoneInfo("Europe/Lisbon")
BAND = Band(37, 38, 36, 39)
HOUR = timedelta(hours=1)


def shown(
    hours: ArrayLike, celsius: ArrayLike, percent: ArrayLike | None = None, instrument: str = ""
) -> Readings:
    """Readings at hours after noon."""
    at = np.array([to_ms(NOON)]) + np.round(np.asarray(hours) * 3_600_000).astype(np.int64)
    warm = np.asarray(celsius, dtype=float)
    damp = np.full(len(at), np.nan) if percent is None else np.asarray(percent, dtype=float)
    return Readings("inc", instrument, at, warm, damp)


def summed(readings: Readings, hours: float, band: Band | None = BAND) -> Climate:
    return climate(readings, NOON, NOON + timedelta(hours=hours), LISBON, band)


def test_a_mean_weighs_by_time_and_not_by_the_number_of_readings() -> None:
    # One hour at 30 read each minute, then five hours at 40 read each half hour.
    hours = np.concatenate((np.arange(60) / 60, 1 + np.arange(11) / 2))
    told = summed(shown(hours, np.where(hours < 1, 30.0, 40.0)), 6.0001)
    assert told.temperature is not None
    exact = np.trapezoid(np.where(hours < 1, 30.0, 40.0), hours) / 6
    assert told.temperature.mean == pytest.approx(exact)
    assert told.temperature.hours_covered == pytest.approx(6)


def test_hours_outside_are_cut_where_the_line_crosses() -> None:
    # Up from 35 to 41 in 6 h and down again: 2 h below 37, 3 h above 38 each way, and beyond
    # 36 and 39 one and two hours each way.
    hours = np.arange(13.0)
    values = 41 - np.abs(hours - 6)
    told = summed(shown(hours, values), 12.0001).temperature
    assert told is not None
    assert told.hours_below == pytest.approx(4)
    assert told.hours_above == pytest.approx(6)
    assert told.hours_far == pytest.approx(2 + 4)
    assert (told.lowest, told.highest) == (35, 41)


def test_at_the_edge_of_the_band_is_inside() -> None:
    told = summed(shown(np.arange(5.0), [37, 37, 38, 38, 38]), 5).temperature
    assert told is not None
    assert (told.hours_below, told.hours_above, told.hours_far) == (0, 0, 0)


def test_a_gap_is_neither_cold_nor_warm() -> None:
    hours = np.concatenate((np.arange(0, 4, 0.25), np.arange(10, 14, 0.25)))
    told = summed(shown(hours, np.where(hours < 5, 37.5, 20.0)), 14)
    assert [(gap.start, gap.hours) for gap in told.gaps] == [(NOON + 3.75 * HOUR, 6.25)]
    assert told.temperature is not None
    assert told.hours_covered == pytest.approx(14 - 6.25)
    assert told.temperature.mean == pytest.approx((37.5 + 20) / 2)
    assert told.temperature.hours_below == pytest.approx(3.75)


def test_nothing_read_before_or_after_is_a_gap_too() -> None:
    told = summed(shown(np.arange(5, 10, 0.5), 37 + np.arange(10) / 10), 24)
    assert [gap.hours for gap in told.gaps] == [5, pytest.approx(14.5)]
    empty = summed(shown([], []), 24)
    assert [gap.hours for gap in empty.gaps] == [24]
    assert (empty.temperature, empty.humidity, empty.days) == (None, None, ())


def test_two_readings_a_day_by_hand_have_no_gap_between() -> None:
    told = summed(shown(np.array([0, 8, 24, 32, 48]), [37.4, 37.6, 37.5, 37.3, 37.5]), 48.0001)
    assert told.gaps == ()


def test_days_are_the_holdings_through_a_clock_change() -> None:
    # 28 March 2027 has 23 hours in Lisbon (last Sunday of March, Directive 2000/84/EC).
    start = datetime(2027, 3, 27, tzinfo=LISBON)
    end = datetime(2027, 3, 30, tzinfo=LISBON)
    at = np.arange(to_ms(start), to_ms(end), 600_000, dtype=np.int64)
    warm = 37.5 + np.sin(np.arange(len(at)))
    told = climate(Readings("inc", "", at, warm, np.full(len(at), np.nan)), start, end, LISBON)
    assert [(day.on, day.readings) for day in told.days] == [
        (date(2027, 3, 27), 144), (date(2027, 3, 28), 138), (date(2027, 3, 29), 144)
    ]  # fmt: skip
    assert told.days[1].hours_covered == pytest.approx(23)
    assert told.days[1].humidity_pct is None


# Faults of the sensor.


def lively(count: int) -> NDArray[np.float64]:
    """A sensor that moves at each reading."""
    values: NDArray[np.float64] = 37.5 + 0.2 * np.sin(np.arange(count) * 1.7)
    return values


def test_a_spike_is_told_and_left_out() -> None:
    values = lively(200)
    values[100] = 85.0
    told = summed(shown(np.arange(200) / 6, values), 34)
    (finding,) = told.findings
    assert (
        "One reading stood far off those before and after: 85 °C at 2027-05-03 05:40"
        in finding.what
    )
    assert told.temperature is not None
    assert told.temperature.left_out == 1
    assert told.temperature.highest == pytest.approx(37.7, abs=0.01)
    assert told.temperature.hours_covered == pytest.approx(199 / 6)


def test_a_machine_that_was_opened_is_no_spike() -> None:
    values = lively(200)
    values[100:104] = [31.0, 29.0, 33.0, 36.0]
    assert summed(shown(np.arange(200) / 6, values), 34).findings == ()


def test_a_stuck_sensor_is_told_and_left_out() -> None:
    values = lively(1000)
    values[300:400] = 30.0
    told = summed(shown(np.arange(1000) / 6, values), 167)
    (finding,) = told.findings
    assert finding.what.startswith("30 °C to the last digit for 16 h, 2027-05-04 15:00 to ")
    assert told.temperature is not None
    assert told.temperature.left_out == 99
    assert told.temperature.mean == pytest.approx(37.5, abs=0.1)
    kept = climate(
        shown(np.arange(1000) / 6, values),
        NOON,
        NOON + timedelta(hours=167),
        LISBON,
        keep_faults=True,
    )
    assert kept.temperature is not None
    assert kept.temperature.mean == pytest.approx(36.75, abs=0.1)


def test_a_coarse_display_that_rests_is_not_stuck() -> None:
    # Whole points that change every two hours or so: eight hours at one is nothing unusual.
    points = np.repeat([45.0, 46, 45, 44, 45, 46], [12, 10, 14, 48, 12, 12])
    told = summed(shown(np.arange(len(points)) / 6, lively(len(points)), points), 18)
    assert told.findings == ()


def test_a_machine_that_never_moves_counts_but_is_told() -> None:
    told = summed(shown(np.arange(0, 18 * 24, 0.5), np.full(18 * 48, 38.2)), 18 * 24)
    assert told.temperature is not None
    assert told.temperature.mean == pytest.approx(38.2)
    assert told.temperature.hours_above == pytest.approx(18 * 24 - 0.5)
    assert "a steady machine, or a stuck sensor" in told.findings[0].mend


# Series for reckoning, offsets.


@given(st.lists(st.floats(20, 45), min_size=30, max_size=60), st.integers(5, 90))
def test_means_of_steps_add_up_to_the_whole(values: list[float], step_min: int) -> None:
    readings = shown(np.arange(len(values)) / 4, values)
    end = NOON + timedelta(minutes=step_min * 200)
    hourly = series([readings], NOON, end, timedelta(minutes=step_min), keep_faults=True)
    covered = hourly.temperature_covered * step_min / 60
    total = np.nansum(hourly.temperature_c * covered)
    assert covered.sum() == pytest.approx((len(values) - 1) / 4)
    assert total == pytest.approx(np.trapezoid(values, np.arange(len(values)) / 4))


def test_a_series_follows_a_line_and_is_empty_in_a_gap() -> None:
    hours = np.concatenate((np.arange(0, 4.01, 0.25), np.arange(10, 12.01, 0.25)))
    found = series([shown(hours, 30 + hours, 40 + hours)], NOON, NOON + 12 * HOUR)
    expected = 30.5 + np.arange(12)
    expected[4:10] = np.nan
    np.testing.assert_allclose(found.temperature_c, expected)
    np.testing.assert_allclose(found.humidity_pct, expected + 10)
    np.testing.assert_array_equal(found.start_ms, to_ms(NOON) + np.arange(12) * 3_600_000)
    np.testing.assert_allclose(found.temperature_covered, ~np.isnan(expected))


def test_several_instruments_are_averaged_after_their_offsets() -> None:
    dial = made("instrument", instrument="dial", place="inc", temperature_offset_c=0.5,
                humidity_offset_pct=-10)  # fmt: skip
    assert isinstance(dial, Instrument)
    hours = np.arange(0, 4.01, 0.25)
    moving = np.sin(hours)
    both = [
        shown(hours, 38 + moving, 40 + moving, "dial"),
        shown(hours, 37.9 + moving, 52 + moving, "probe"),
    ]
    found = series(both, NOON, NOON + 4 * HOUR, 4 * HOUR, {"dial": dial})
    mean = np.trapezoid(moving, hours) / 4
    np.testing.assert_allclose(found.temperature_c, [37.7 + mean])
    np.testing.assert_allclose(found.humidity_pct, [51 + mean])
    np.testing.assert_allclose(corrected(both[0], dial).temperature_c, 37.5 + moving)
    assert corrected(both[1], None) is both[1]


def test_no_readings_make_an_empty_series() -> None:
    found = series([], NOON, NOON + 3 * HOUR)
    assert np.isnan(found.temperature_c).all()
    assert len(found.temperature_c) == 3


def test_the_band_of_a_machine_holds_the_published_best() -> None:
    # Romao et al. 2009, Arch Vet Sci 14(3): best at 37 and 38 °C, half lost at 36 and from 39.
    assert machine_band() == Band(37, 38, 36, 39)

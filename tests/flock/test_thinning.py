"""Thinned readings say the same as all: of invented logs, and of any readings at all."""

from dataclasses import replace
from datetime import UTC, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.flock.logs import BEGIN, DAYS, KINDS, log

from quailwright.flock.climate import climate, machine_band, series
from quailwright.flock.sensor_faults import faults
from quailwright.flock.thinning import thinned
from quailwright.husbandry import facts
from quailwright.journal.readings import Readings

END = BEGIN + timedelta(days=DAYS)
HOUR_MS = 3_600_000


def left(readings: Readings) -> Readings:
    """What is kept of readings."""
    kept = thinned(readings.at_ms, readings.temperature_c, readings.humidity_pct).kept
    return replace(
        readings,
        at_ms=readings.at_ms[kept],
        temperature_c=readings.temperature_c[kept],
        humidity_pct=readings.humidity_pct[kept],
    )


@pytest.mark.parametrize("every_s", [10, 60])
@pytest.mark.parametrize("kind", KINDS)
def test_a_log_says_the_same_when_it_is_thinned(kind: str, every_s: int) -> None:
    """The tolerances are those that docs/readings.md states."""
    readings = log(kind, every_s)
    thin = left(readings)
    before, after = (climate(one, BEGIN, END, UTC, machine_band()) for one in (readings, thin))
    warm, then = before.temperature, after.temperature
    assert warm is not None
    assert then is not None
    # A coarse display that jumps to and fro between two steps is kept in most of its jumps.
    most = 55 if kind == "coarse" else 30
    assert len(thin.at_ms) < most * DAYS * 24
    assert (then.lowest, then.highest) == (warm.lowest, warm.highest)
    assert then.mean == pytest.approx(warm.mean, abs=0.005)
    for hours, told in (
        (warm.hours_below, then.hours_below),
        (warm.hours_above, then.hours_above),
        (warm.hours_far, then.hours_far),
    ):
        assert told == pytest.approx(hours, abs=0.06, rel=0.01)
    assert then.hours_covered == pytest.approx(warm.hours_covered, abs=1e-6)
    assert after.gaps == before.gaps
    assert [one.what for one in after.findings] == [one.what for one in before.findings]
    for day, same in zip(before.days, after.days, strict=True):
        assert (same.temperature_low_c, same.temperature_high_c, same.humidity_low_pct) == (
            day.temperature_low_c, day.temperature_high_c, day.humidity_low_pct
        )  # fmt: skip
    steps = [series([one], BEGIN, END, timedelta(hours=3)) for one in (readings, thin)]
    np.testing.assert_allclose(steps[1].temperature_c, steps[0].temperature_c, atol=0.02)
    np.testing.assert_allclose(steps[1].humidity_pct, steps[0].humidity_pct, atol=0.3)


def test_the_lowest_and_highest_of_each_hour_stay_at_their_instants() -> None:
    readings = log("doors", 10)
    thin = left(readings)
    for hour in np.unique(readings.at_ms // HOUR_MS):
        whole, kept = (one.at_ms // HOUR_MS == hour for one in (readings, thin))
        for name in ("temperature_c", "humidity_pct"):
            values, those = getattr(readings, name)[whole], getattr(thin, name)[kept]
            for end in (np.argmin, np.argmax):
                assert readings.at_ms[whole][end(values)] == thin.at_ms[kept][end(those)]


def test_readings_every_second_with_noise_take_no_more_room_than_others() -> None:
    chance = np.random.default_rng(3)
    at = np.arange(86_400) * 1000
    warm = np.round(18 + 5 * np.sin(2 * np.pi * at / 86.4e6) + chance.normal(0, 0.05, len(at)), 2)
    damp = np.round(60 - 15 * np.sin(2 * np.pi * at / 86.4e6) + chance.normal(0, 0.3, len(at)), 1)
    assert thinned(at, warm, damp).kept.sum() < 24 * 25


@pytest.mark.parametrize("jump", [1.0, 40.0])
def test_a_broken_sensor_takes_twice_the_room_at_most(jump: float) -> None:
    at = np.arange(2 * 3_600) * 1000
    chance = np.random.default_rng(5)
    nothing = np.full(len(at), np.nan)
    most = 2 * facts.value("sensors.thin_most_rows")
    for warm in (jump * (at // 1000 % 2), chance.uniform(0, jump, len(at))):
        found = thinned(at, warm.astype(float), nothing)
        assert np.bincount(at[found.kept] // HOUR_MS).max() <= most


@st.composite
def any_readings(draw: st.DrawFn) -> Readings:
    """Some hours of readings at uneven steps, coarse or fine, with holes in either quantity."""
    many = draw(st.integers(1, 400))
    chance = np.random.default_rng(draw(st.integers(0, 2**32)))
    steps = chance.choice(
        [1_000, 10_000, 60_000, 600_000, 2_400_000], many,
        p=draw(st.sampled_from([(1, 0, 0, 0, 0), (0, 0.9, 0.1, 0, 0), (0.2, 0.2, 0.4, 0.1, 0.1)])),
    )  # fmt: skip
    at = np.cumsum(steps).astype(np.int64)
    wander = np.cumsum(chance.normal(0, draw(st.sampled_from([0.0, 0.02, 0.5])), many))
    jumps = np.where(chance.random(many) < draw(st.sampled_from([0, 0.05])), 9.0, 0.0)
    grain = draw(st.sampled_from([0.01, 0.5]))
    warm = np.round((37 + wander + jumps) / grain) * grain
    damp = np.round(45 + np.cumsum(chance.normal(0, 0.4, many)))
    for values in (warm, damp):
        values[chance.random(many) < draw(st.sampled_from([0, 0.5, 1]))] = np.nan
    return Readings("box", "", at, warm, damp)


@settings(max_examples=80)
@given(any_readings())
def test_properties_of_what_is_kept(readings: Readings) -> None:
    found = thinned(readings.at_ms, readings.temperature_c, readings.humidity_pct)
    thin = left(readings)
    for name, those, off in (
        ("temperature_c", thin.temperature_c, found.temperature_off_c),
        ("humidity_pct", thin.humidity_pct, found.humidity_off_pct),
    ):
        values, limit = getattr(readings, name), facts.value(f"sensors.spike_{name}")
        read, known = ~np.isnan(values), ~np.isnan(those)
        if not read.any():
            continue
        at, kept_at = readings.at_ms[read], thin.at_ms[known]
        assert (at[0], at[-1]) == (kept_at[0], kept_at[-1])
        # Every one left out is as far off the line as was told, at most.
        line = np.interp(at, kept_at, those[known])
        stretch = np.searchsorted(readings.at_ms[found.begins], at, side="right") - 1
        assert (np.abs(values[read] - line) <= off[stretch] + 1e-9).all()
        # Where some were left out the next one kept is near enough that no gap is seen.
        steps = np.diff(kept_at)
        apart = np.diff(np.searchsorted(at, kept_at)) > 1
        assert (steps[apart] < facts.value("sensors.gap_shortest_h") * HOUR_MS).all()
        # What was no spike is none now, but where a sensor jumps so much that room is short.
        was = faults(at, values[read], limit).spikes
        now = faults(kept_at, those[known], limit).spikes
        rows = np.bincount(thin.at_ms // HOUR_MS)
        short = rows[kept_at // HOUR_MS] >= 2 * facts.value("sensors.thin_most_rows")
        assert set(kept_at[now & ~short]) <= set(at[was])

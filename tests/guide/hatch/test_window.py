"""When the chicks come: thermal time, outages, gaps, storage, and the habit of a machine."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from numpy.random import default_rng

from quailwright.guide.hatch.air import Air, Span
from quailwright.guide.hatch.window import (
    HeatLoss,
    TimeRecord,
    Window,
    expected_hours,
    machine_habit,
    mean_spread_h,
    window,
)
from quailwright.husbandry.incubation import hatch_hours
from quailwright.husbandry.proportion import QUANTILES

SET_AT = datetime(2027, 5, 2, 20, tzinfo=UTC)
HOUR = timedelta(hours=1)


def record(
    air: Air | None = None,
    machine: str = "box",
    set_at: datetime = SET_AT,
    hour_known: bool = True,
    storage_days: float | None = None,
    outages: tuple[HeatLoss, ...] = (),
    checked: bool = False,
    hatched_hours: float | None = None,
    chicks: int = 0,
) -> TimeRecord:
    return TimeRecord(
        machine, set_at, hour_known, air or Air(), storage_days, list(outages), checked,
        hatched_hours, chicks,
    )  # fmt: skip


def steady(celsius: float, days: float = 18.0, without: tuple[float, float] | None = None) -> Air:
    """A temperature in steps of three hours, but for a stretch without readings."""
    steps = [step / 8 for step in range(round(days * 8))]
    return Air(
        [
            Span(day, day + 1 / 8, celsius, None)
            for day in steps
            if without is None or not without[0] <= day < without[1]
        ]
    )


# Thermal time.


@pytest.mark.parametrize("celsius", [36.5, 37.0, 37.5, 38.0, 38.5])
def test_a_steady_machine_takes_as_long_as_the_rate_says(celsius: float) -> None:
    assert expected_hours(record(steady(celsius)), 18.0) == pytest.approx(hatch_hours(celsius))


def test_delay_between_35_and_40_romao_2009_by_the_log() -> None:
    """Romao et al. 2009, Arch Vet Sci 14(3): 156.3 h."""
    slow, fast = (expected_hours(record(steady(c, 22.0)), 22.0) for c in (35.0, 40.0))
    assert slow - fast == pytest.approx(156.3, abs=1.0)


def test_cooling_wentworth_2009_by_the_log_and_by_the_entry() -> None:
    """Wentworth, Cigan and Schaaf 2009, Poultry Science: 24 h at 13 °C on day 6, 24 h late."""
    cooled = Air(
        [Span(d / 8, (d + 1) / 8, 13.0 if 6 <= d / 8 < 7 else 37.5, None) for d in range(144)]
    )
    entry = HeatLoss(6.0, 24.0, 13.0)
    by_log = expected_hours(record(cooled), 18.0)
    by_entry = expected_hours(record(outages=(entry,)), 18.0)
    assert by_log - hatch_hours(37.5) == pytest.approx(24.0, abs=1.5)
    assert by_entry - hatch_hours(37.5) == pytest.approx(24.0, abs=1.5)
    # An entry for what the log shows counts once; asked on day 8, the rest is not taken for cold.
    assert expected_hours(record(cooled, outages=(entry,)), 18.0) == by_log
    assert expected_hours(record(cooled, outages=(entry,)), 8.0) == pytest.approx(by_log, abs=0.5)


def test_a_swing_from_day_to_night_hatches_as_its_mean() -> None:
    spans = [Span(d / 8, (d + 1) / 8, 38.25 if d % 8 < 4 else 36.75, None) for d in range(18 * 8)]
    assert expected_hours(record(Air(spans)), 18.0) == pytest.approx(hatch_hours(37.5), abs=1.5)
    assert expected_hours(record(Air(spans[: 5 * 8])), 5.0) == pytest.approx(408, abs=1.5)


def test_a_drift_down_comes_later_than_its_beginning_says() -> None:
    spans = [Span(d / 8, (d + 1) / 8, 37.5 - 0.1 * d / 8, None) for d in range(10 * 8)]
    hours = expected_hours(record(Air(spans)), 10.0)
    assert hatch_hours(37.0) < hours < hatch_hours(36.5)


def test_storage_comes_later_and_wider() -> None:
    """Gonzalez-Redondo 2023, game quail: storage lengthens incubation and widens the spread."""
    fresh, old = record(storage_days=1.0), record(storage_days=14.0)
    assert expected_hours(old, 0.0) > expected_hours(fresh, 0.0)
    assert window(old, [], 0.0).mean_sd_h > window(fresh, [], 0.0).mean_sd_h


# What is not known widens.


def test_most_of_the_published_hatch_curves_lies_in_the_window_of_a_checked_machine() -> None:
    """390 to 441 h: Selcuk J Agric Food Sci; SAJAS 2005, 35(2):135 (stored 4 or 14 days)."""
    for storage, first, last in ((1.0, 385, 430), (9.0, 390, 441)):
        told = window(record(steady(37.5), storage_days=storage, checked=True), [], 18.0)
        hours = {name: (at - SET_AT) / HOUR for name, at in told.quantiles().items()}
        assert first < hours["q05"] < hours["q95"] < last
        assert hours["q95"] - hours["q05"] > 30


def test_a_gap_comes_later_and_wider_unless_the_outage_in_it_was_entered() -> None:
    whole, gappy = record(steady(37.5)), record(steady(37.5, without=(8.0, 9.0)))
    known = record(steady(37.5, without=(8.0, 9.0)), outages=(HeatLoss(8.1, 10.0, 20.0),))
    assert expected_hours(gappy, 12.0) > expected_hours(whole, 12.0)
    assert mean_spread_h(gappy, 12.0) > mean_spread_h(whole, 12.0) + 0.5
    assert expected_hours(known, 12.0) - hatch_hours(37.5) == pytest.approx(10.0, abs=0.2)
    assert mean_spread_h(known, 12.0) < mean_spread_h(gappy, 12.0)


def test_the_more_was_logged_the_narrower() -> None:
    spreads = [
        mean_spread_h(record(steady(37.5, without=(days, 17.0))), 17.0) for days in (4, 8, 12, 16)
    ]
    assert spreads == sorted(spreads, reverse=True)
    assert mean_spread_h(record(), 17.0) > mean_spread_h(record(steady(37.5)), 17.0)
    # Without any log it is as wide on day 0 as at the end: nothing was learnt between.
    assert mean_spread_h(record(), 0.0) == mean_spread_h(record(), 17.0)


def test_a_day_without_its_hour_only_widens() -> None:
    exact, vague = record(steady(37.5)), record(steady(37.5), hour_known=False)
    assert expected_hours(vague, 5.0) == expected_hours(exact, 5.0)
    assert mean_spread_h(vague, 5.0) > mean_spread_h(exact, 5.0)


# The machine.


def early(hours: float, count: int = 4, machine: str = "box") -> list[TimeRecord]:
    """Hatches that came so many hours before the log said."""
    return [
        record(steady(37.5), machine, hatched_hours=hatch_hours(37.5) - hours, chicks=15)
        for _ in range(count)
    ]


def test_a_machine_that_is_always_early_is_learnt_and_only_that_machine() -> None:
    habit = machine_habit(early(20.0), "box")
    assert -20.0 < habit.mean < -12.0
    assert habit.sd < 5.0
    usual = window(record(steady(37.5)), [], 5.0)
    learnt = window(record(steady(37.5)), early(20.0), 5.0)
    assert (learnt.mean_at - usual.mean_at) / HOUR == pytest.approx(habit.mean, abs=0.02)
    assert learnt.mean_sd_h < usual.mean_sd_h
    assert window(record(steady(37.5)), early(20.0, machine="other"), 5.0) == usual


def test_a_habit_grows_with_hatches_and_a_checked_thermometer_has_less_of_it() -> None:
    means = [machine_habit(early(20.0, count), "box").mean for count in (0, 1, 2, 4, 8)]
    assert means[0] == 0
    assert means == sorted(means, reverse=True)
    assert abs(machine_habit(early(20.0), "box", checked=True).mean) < abs(means[3])


@pytest.mark.parametrize("mistyped_day", [8.0, 12.0, 45.0])
def test_a_mistyped_hatching_date_teaches_no_habit(mistyped_day: float) -> None:
    """Romao et al. 2009: 40 °C against 35 °C is 156 h; nothing makes chicks a week early."""
    mistyped = record(steady(37.5), hatched_hours=24 * mistyped_day, chicks=15)
    assert machine_habit([*early(10.0), mistyped], "box") == machine_habit(early(10.0), "box")


def test_a_machine_a_degree_off_is_still_a_habit() -> None:
    """5508 degree-hours above 24 °C (fitted to Romao et al. 2009): 1 °C too hot is 28 h early."""
    assert machine_habit(early(28.0), "box").mean < -18.0


def test_hatches_without_chicks_teach_nothing() -> None:
    empty = [record(steady(37.5)) for _ in range(5)]
    assert machine_habit(empty, "box") == machine_habit([], "box")


# Quantiles and clocks.


def test_quantiles_are_in_order_and_whole_minutes() -> None:
    told = window(record(), [], 0.0)
    for times in (told.quantiles(), told.first_of(12)):
        assert list(times) == ["mean", *QUANTILES]
        in_order = [times[name] for name in QUANTILES]
        assert in_order == sorted(in_order)
        assert all(at.second == at.microsecond == 0 for at in in_order)


def test_the_first_of_many_comes_sooner_and_the_last_later() -> None:
    """Blom 1958: the smallest of n normals lies near the share 0.625 / (n + 0.25)."""
    told = Window(SET_AT + 408 * HOUR, 5.0, 9.0)
    firsts = [told.first_of(count)["q50"] for count in (1, 4, 16, 64)]
    lasts = [told.last_of(count) for count in (1, 4, 16, 64)]
    assert firsts == sorted(firsts, reverse=True)
    assert lasts == sorted(lasts)
    assert firsts[0] == lasts[0] == told.mean_at
    assert told.first_of(0)["q50"] == firsts[0]
    # Expected smallest of 10 standard normals is -1.539 (Harter 1961); chicks spread by 8 h.
    assert (told.first_of(10)["q50"] - told.mean_at) / HOUR == pytest.approx(-1.539 * 8, abs=0.2)


def test_clocks_that_change_move_the_hands_and_not_the_chicks() -> None:
    """Lisbon goes to summer time on 28 March 2027: one hour, none by the embryo."""
    lisbon = ZoneInfo("Europe/Lisbon")
    before = datetime(2027, 3, 20, 20, tzinfo=lisbon)
    told = window(record(set_at=before), [], 0.0)
    assert told.mean_at.astimezone(UTC) - before.astimezone(UTC) == 408 * HOUR
    assert told.mean_at.hour == (before.hour + 408 + 1) % 24
    spread = told.last_of(20).astimezone(UTC) - told.mean_at.astimezone(UTC)
    assert told.mean_at.astimezone(UTC) - told.first_of(20)["q50"].astimezone(UTC) == pytest.approx(
        spread, abs=timedelta(minutes=1)
    )


def test_four_of_five_chicks_come_in_the_80_percent_window() -> None:
    """Simulated: an unchecked thermometer, a hatch of its own mean, chicks about it; drawn apart
    from the window's code, with the spreads that `facts` name."""
    rng = default_rng(20270502)
    inside = 0
    for _ in range(600):
        true_c = rng.uniform(36.8, 38.4)
        shown = steady(true_c + rng.normal(0.0, 0.3), 14.0)
        chick_h = 5508 / (true_c - 24) + rng.normal(0.0, 7.0) + rng.normal(0.0, 8.0)
        told = window(record(shown, storage_days=2.0), [], 14.0).quantiles()
        inside += told["q10"] <= SET_AT + chick_h * HOUR <= told["q90"]
    assert 0.75 <= inside / 600 <= 0.85

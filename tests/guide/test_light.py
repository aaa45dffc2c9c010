"""The lamp: its steps in the place's own clock, its sign, and when its timer is to be looked at."""

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from astral import Observer
from astral.sun import sunrise, sunset
from tests.guide.rounds import asked, day, round_on, rules_asked, signs_of, standing_on
from tests.makers import made

from quailwright.flock.light import light_of
from quailwright.guide.light import Ask, Light, light
from quailwright.guide.rules import printed_rules
from quailwright.journal.entries import Entry
from quailwright.journal.findings import BadInput

DARK = date(2026, 11, 26)
PLACES = {
    "north": (52.2, 0.1, "Europe/London"),
    "south": (-36.8, 174.8, "Pacific/Auckland"),
    "half an hour": (-31.55, 159.08, "Australia/Lord_Howe"),
    "at midnight": (-33.45, -70.67, "America/Santiago"),
    "equator": (1.3, 103.8, "Asia/Singapore"),
    "far north": (69.6, 18.9, "Europe/Oslo"),
}


def home(where: str = "north", at: str = "2026-08-01", **told: Any) -> Entry:
    latitude, longitude, zone = PLACES[where]
    return made("holding", at, latitude=latitude, longitude=longitude, timezone=zone, **told)


def hens(number: int = 20, hatched_on: str = "2026-03-01") -> list[Entry]:
    return [
        made("place", "2026-08-01", place="pen", role="pen"),
        made("group", "2026-08-01", group="layers", place="pen", hens=number,
             hatched_on=hatched_on),
    ]  # fmt: skip


def found_on(journal: list[Entry], on: date = DARK, **ask: Any) -> Light:
    return light(standing_on(journal, on), on, Ask(**ask))


# With astral's own sunset: the lamp goes on the hours wanted before it, rounded to a quarter.
@pytest.mark.parametrize("where", ["north", "south", "half an hour", "at midnight"])
def test_lamp_times_reach_the_hours_by_astral_in_the_clock_of_the_place(where: str) -> None:
    latitude, longitude, _ = PLACES[where]
    on = DARK if latitude > 0 else date(2026, 5, 26)
    found = found_on([home(where, "2026-01-01"), *hens(hatched_on="2025-09-01")], on, hours=14)
    zone = found.place.zone
    observer = Observer(latitude, longitude)
    weeks = 8 * 7
    steps = [one for one in found.steps if one.on >= on + timedelta(days=weeks)]
    assert any(one.lamp for one in steps)
    for one in steps:
        up = sunrise(observer, one.on, tzinfo=zone)
        down = sunset(observer, one.on, tzinfo=zone)
        midnight = datetime.combine(one.on, datetime.min.time(), tzinfo=zone)
        begin = min(
            [up, *(midnight + clock(first) for first, _ in one.lamp)],
            key=lambda moment: moment.astimezone(UTC),
        )
        hours = (down - begin) / timedelta(hours=1)
        assert 14 - 0.05 <= hours <= 14.5 + 0.05 or not one.lamp, one


def clock(text: str) -> timedelta:
    hours, minutes = text.split(":")
    return timedelta(hours=int(hours), minutes=int(minutes))


def test_from_the_lamp_as_it_is_an_hour_a_week() -> None:
    journal = [home(lamp_on="05:30", lamp_off="08:00", light_target_h=14), *hens()]
    found = found_on(journal)
    # Sunset 15:54 at 52.2 N on 26 November: 05:30 to 15:54 is 10.4 h.
    assert found.now_h == pytest.approx(10.4, abs=0.05)
    assert [one.lamp[0][0] for one in found.steps[:4]] == ["04:30", "03:30", "02:30", "01:45"]
    assert found.steps[0].lit_h == pytest.approx(11.4, abs=0.05)


@pytest.mark.parametrize(
    ("where", "changes"),
    [
        # IANA time zone database: the last Sundays of March and October in London; the first
        # Sundays of April and October on Lord Howe, by half an hour; Singapore has none.
        ("north", [(date(2027, 3, 28), 1.0), (date(2027, 10, 31), -1.0)]),
        ("half an hour", [(date(2027, 4, 4), -0.5), (date(2027, 10, 3), 0.5)]),
        ("at midnight", [(date(2027, 4, 4), -1.0), (date(2027, 9, 5), 1.0)]),
        ("equator", []),
    ],
)
def test_clock_changes_are_told_and_the_lamp_keeps_to_the_sun(
    where: str, changes: list[tuple[date, float]]
) -> None:
    found = found_on([home(where), *hens()], hours=14)
    assert list(found.clock_changes) == changes
    for on, hours in changes:
        at = next((n for n, one in enumerate(found.steps) if one.on == on), None)
        if at is None:
            continue  # no lamp burns then
        before, after = found.steps[at - 1], found.steps[at]
        assert after.clock_h == hours
        moved = clock(after.lamp[0][0]) - clock(before.lamp[0][0])
        assert moved % timedelta(days=1) == timedelta(hours=hours) % timedelta(days=1)
        assert abs(after.lit_h - before.lit_h) < 0.5


# Stein and Bacon 1976: hens stop 6 days (grown) to 15 days (young) after days fall to 8 h.
# Keepers: lay comes back of itself about the equinox, at some 12 h (common practice, no source).
def test_without_a_lamp_lay_stops_in_autumn_and_comes_back_about_the_equinox() -> None:
    found = found_on([home(), *hens()], date(2026, 8, 1))
    assert found.stops is not None
    assert found.starts is not None
    assert date(2026, 9, 20) < found.stops.early <= found.stops.middle <= found.stops.late
    assert found.stops.late < date(2026, 12, 10)
    assert date(2027, 2, 20) < found.starts.early
    assert date(2027, 3, 5) < found.starts.middle < date(2027, 4, 10)
    assert found.eggs > 0


def test_in_the_dark_months_it_starts_before_it_stops_again() -> None:
    found = found_on([home(), *hens()])
    assert found.starts is not None
    assert found.stops is not None
    assert found.starts.late < date(2027, 5, 1)
    assert date(2027, 9, 1) < found.stops.middle


def test_at_the_equator_no_lamp_is_needed_to_lay() -> None:
    found = found_on([home("equator"), *hens()], hours=11)
    assert all(not one.lamp for one in found.steps)
    assert found.burns_h == 0


def test_where_the_sun_does_not_rise_the_lamp_is_the_day() -> None:
    found = found_on([home("far north"), *hens()], date(2026, 12, 20), hours=14)
    assert found.sun.sunrise is None
    assert found.sun.day_h == 0
    assert found.lit_h.max() > 13.5
    # Birds could not eat by an hour of light: Stein and Bacon 1976 kept theirs at 8 h, out of lay.
    assert found.lit_h[0] == pytest.approx(8.0, abs=0.01)
    assert found.lit_h[7] == pytest.approx(9.0, abs=0.01)


def test_a_resting_flock_has_no_steps_and_its_cost_in_eggs() -> None:
    found = found_on([home(rests_in_winter=True, light_target_h=14), *hens()])
    assert found.rests
    assert [one.lamp for one in found.steps] == [()]
    assert found.eggs > 0
    assert not found_on([home(rests_in_winter=True), *hens()], hours=14).rests


def test_the_outlook_counts_a_resting_flock_as_unlit() -> None:
    until = DARK + timedelta(days=60)
    told = standing_on([home(light_target_h=14), *hens()], DARK)
    rests = standing_on([home(light_target_h=14, rests_in_winter=True), *hens()], DARK)
    assert light_of(told, DARK, until).chances[0] > 0.9
    assert light_of(rests, DARK, until).chances[0] < 0.05


def test_birds_too_young_wait_for_long_days() -> None:
    found = found_on([home(), *hens(hatched_on="2026-11-20")], hours=14)
    start = date(2026, 11, 20) + timedelta(days=35)
    assert found.young == (("layers", start),)
    assert next(one.on for one in found.steps if one.lamp) >= start


def test_power_is_counted_where_watts_are_told() -> None:
    found = found_on([home(), *hens()], hours=14, watts=8.0, price=0.3)
    assert found.kwh == pytest.approx(found.burns_h * 8 / 1000)
    assert found.cost == pytest.approx(found.burns_h * 8 / 1000 * 0.3)
    assert found_on([home(), *hens()]).kwh is None


def test_more_than_sixteen_hours_are_lowered_or_refused() -> None:
    found = found_on([home(light_target_h=20), *hens()])
    assert found.lowered
    assert found.wanted_h == 16
    assert np.maximum(found.lit_h, found.day_h).max() <= max(16.05, found.day_h.max())


@pytest.mark.parametrize(
    ("ask", "sentence"),
    [
        ({"hours": 17.0}, "at most 16"),
        ({"hours": 0.0}, "more than 0"),
        ({"hours": float("nan")}, "cannot be aimed for"),
        ({"until": DARK}, "choose one after"),
        ({"until": date(2030, 1, 1)}, "at most two years"),
        ({"watts": -1.0}, "watts cannot be"),
        ({"price": float("nan")}, "price of nan cannot be"),
        ({"hours": 14.0, "watts": -1.0}, "watts cannot be"),
    ],
)
def test_what_cannot_be_is_refused(ask: dict[str, Any], sentence: str) -> None:
    with pytest.raises(BadInput, match=sentence):
        found_on([home(), *hens()], **ask)


def test_an_unknown_place_is_refused_with_what_to_log() -> None:
    with pytest.raises(BadInput, match="latitude, longitude and timezone"):
        found_on([made("holding", "2026-08-01", name="Home"), *hens()])


# The sign.


def short(**told: Any) -> list[Any]:
    said: dict[str, Any] = {"lamp_on": "05:30", "lamp_off": "08:00", "light_target_h": 14, **told}
    holding = home(**said)
    return signs_of(round_on([holding, *hens()], DARK), "lamp times fall short")


def test_lamp_times_that_fall_short_are_told_with_figures() -> None:
    [sign] = short()
    assert "05:30 to 08:00 the day is 10.4 h long (8.3 h without it)" in sign.evidence
    assert "you aim for 14 h" in sign.evidence
    assert DARK - timedelta(days=60) <= sign.since < DARK
    assert "timer's clock" in sign.check


@pytest.mark.parametrize(
    "told",
    [
        {"lamp_on": "01:30"},
        {"light_target_h": 10},
        {"rests_in_winter": True},
        {"lamp_on": "08:00"},  # no lamp
        {"at": "2026-11-22"},  # told within the week: a step on the way
        {"lamp_on": "15:00", "lamp_off": "21:45"},
    ],
)
def test_no_sign_where_the_lamp_does_or_no_lamp_is_meant(told: dict[str, Any]) -> None:
    assert short(**told) == []


def test_without_a_target_full_light_is_the_measure() -> None:
    holding = home(lamp_on="05:30", lamp_off="08:00")
    [sign] = signs_of(round_on([holding, *hens()], DARK), "lamp times fall short")
    assert "full lay needs 13 h" in sign.evidence


def test_no_sign_in_summer_or_without_hens() -> None:
    holding = home(lamp_on="05:30", lamp_off="08:00", light_target_h=14)
    june = date(2027, 6, 1)
    assert signs_of(round_on([holding, *hens()], june), "lamp times fall short") == []
    assert signs_of(round_on([holding], DARK), "lamp times fall short") == []


# The timer.

LAMP: dict[str, Any] = {"lamp_on": "02:00", "lamp_off": "08:00", "light_target_h": 14}


def failed(on: date) -> Entry:
    return made("outage", on.isoformat(), place="pen", minutes=90)


def test_after_an_outage_the_timer_is_asked_for_until_it_is_ticked() -> None:
    journal = [home(**LAMP), *hens(), failed(DARK)]
    [task] = asked(round_on(journal, DARK), "timer_after_outage")
    assert "on 02:00, off 08:00" in task.task
    assert asked(round_on(journal, DARK + timedelta(days=3)), "timer_after_outage")
    assert not asked(round_on(journal, DARK + timedelta(days=8)), "timer_after_outage")
    ticked = [*journal, made("care", DARK.isoformat(), **_fields(task.tick))]
    for n in range(6):
        rules = rules_asked(round_on(ticked, DARK + timedelta(days=n)))
        assert not rules & {"timer_after_outage", "timer_check"}


def _fields(tick: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in tick.items() if name != "kind"}


@pytest.mark.parametrize(("where", "changed"), [
    ("north", date(2027, 3, 28)), ("half an hour", date(2027, 4, 4)),
    ("at midnight", date(2027, 9, 5)),
])  # fmt: skip
def test_at_a_clock_change_the_timer_is_asked_for(where: str, changed: date) -> None:
    journal = [home(where, **LAMP), *hens()]
    before, after = (round_on(journal, changed + timedelta(days=n)) for n in (-1, 0))
    assert not asked(before, "timer_after_outage")
    assert asked(after, "timer_after_outage")


def test_the_timer_is_looked_at_once_a_week_and_not_oftener() -> None:
    journal = [home(**LAMP), *hens()]
    days = [n for n in range(28) if asked(round_on(journal, DARK + timedelta(n)), "timer_check")]
    assert len(days) == 4
    assert all(b - a == 7 for a, b in pairwise(days))
    assert printed_rules()["timer_check"].minutes <= 0.5


def test_where_no_lamp_is_kept_no_timer_is_asked_for() -> None:
    no_lamp: list[dict[str, Any]] = [
        {},
        {**LAMP, "rests_in_winter": True},
        {"lamp_on": "08:00", "lamp_off": "08:00"},
    ]
    for told in no_lamp:
        journal = [home(**told), *hens(), failed(DARK)]
        for n in range(8):
            rules = rules_asked(round_on(journal, DARK + timedelta(days=n)))
            assert not rules & {"timer_after_outage", "timer_check"}


def test_hours_aimed_for_without_times_are_enough_to_doubt_a_timer() -> None:
    journal = [home(light_target_h=14), *hens(), failed(DARK)]
    [task] = asked(round_on(journal, DARK), "timer_after_outage")
    assert "on and off as you set it" in task.task
    assert not asked(round_on(journal, day(40)), "timer_check")

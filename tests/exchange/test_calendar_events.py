"""What becomes an event: of hatches, plans, birds, feed and lamp, and by what it is known again."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import pytest
from tests.calendar_client import CalendarApp
from tests.makers import made, uid

from quailwright.exchange.calendar_events import (
    EVENING_BEFORE,
    KINDS,
    TITLES,
    Event,
    Reckoned,
    calendar_events,
    in_kinds,
    told_in,
)
from quailwright.exchange.calendar_ics import Wrapping, calendar
from quailwright.exchange.calendar_origins import origins
from quailwright.exchange.calendar_revised import revised
from quailwright.flock.fold import fold
from quailwright.guide.rules import printed_rules
from quailwright.journal.entries import Entry, as_dict, kind_of
from quailwright.journal.moments import zone

HOME = (
    made("holding", "2027-01-01", name="Home", timezone="Europe/Lisbon"),
    made("place", "2027-01-01", place="box", role="incubator", capacity_eggs=60),
    made("place", "2027-01-01", place="pen", role="pen", floor_m2=4),
)
IN_LISBON = zone("Europe/Lisbon")


def reckoned(entries: Sequence[Entry], now: datetime, **known: Any) -> Reckoned:
    """What events are made of, without readings or feed."""
    given: dict[str, Any] = {"hatches": {}, "feed": None, "round_minutes": 0.0, **known}
    return Reckoned(fold(entries, now), now, uid(1), entries, **given)


def events(entries: Sequence[Entry], now: datetime, **known: Any) -> list[Event]:
    """The events as of then."""
    return calendar_events(reckoned(entries, now, **known))


def one(found: Sequence[Event], summary: str) -> Event:
    """The one event with that summary."""
    (event,) = (event for event in found if event.summary == summary)
    return event


def instead_of(entry: Entry, number: int, said_on: str, **fields: Any) -> Entry:
    """A correction of an entry."""
    right = {**as_dict(entry), "kind": kind_of(entry), "id": uid(number), **fields}
    return made("retract", said_on, entry=entry.id, why="wrong", instead=right)


@pytest.mark.parametrize(
    ("set_at", "wall"),
    [("2027-03-20T20:00+00:00", "21:00"), ("2027-10-25T20:00+01:00", "19:00")],
    ids=["clocks go forward", "clocks go back"],
)
def test_a_step_across_the_change_of_clocks_falls_so_many_times_24_h_after_setting(
    set_at: str, wall: str
) -> None:
    began = datetime.fromisoformat(set_at)
    hatch = made("eggs_set", set_at, hatch="h", eggs=20, place="box", source="friend")
    found = told_in("en", reckoned([*HOME, hatch], began + timedelta(days=1)))
    stop = one(found, "Stop turning: h")
    assert isinstance(stop.start, datetime)
    assert f"{stop.start:%H:%M}" == wall
    # As a phone reads it, by the zone in the file (vobject, dateutil).
    components, _ = revised(found, {}, began, "en", "Europe/Lisbon")
    phone = CalendarApp()
    phone.take(calendar(components, Wrapping(uid(1), "Quail", "Europe/Lisbon")).decode())
    assert phone.of("Stop turning: h").start == (began + timedelta(days=14)).astimezone(UTC)
    assert phone.of("Candle the eggs: h").start == (began + timedelta(days=7)).astimezone(UTC)


def test_an_hour_that_nobody_told_makes_days_of_the_steps() -> None:
    hatch = made("eggs_set", "2027-05-02", hatch="h", eggs=20, place="box", source="friend")
    found = events([*HOME, hatch], datetime(2027, 5, 3, 9, tzinfo=UTC))
    stop = one(found, "Stop turning: h")
    assert (stop.start, stop.end) == (date(2027, 5, 16), date(2027, 5, 17))
    assert stop.alarm == EVENING_BEFORE
    assert "hours may be off" in stop.description


def test_a_hatch_given_another_name_and_hour_keeps_its_events() -> None:
    first = made("eggs_set", "2027-05-02T20:00+01:00", hatch="h", eggs=20, place="box", source="a")
    now = datetime(2027, 5, 3, 9, tzinfo=UTC)
    before = one(events([*HOME, first], now), "Stop turning: h")
    other = instead_of(first, 9001, "2027-05-03", hatch="may", at="2027-05-02T19:00+01:00")
    again = made("eggs_set", "2027-05-03T08:00+01:00", hatch="h", eggs=9, place="box", source="a")
    found = events([*HOME, first, other, again], now)
    after = one(found, "Stop turning: may")
    assert after.uid == before.uid
    assert after.start != before.start
    assert one(found, "Stop turning: h").uid != before.uid
    assert len({event.uid for event in found}) == len(found)


def test_corrections_of_corrections_lead_to_the_first() -> None:
    first = made("eggs_set", "2027-05-02", hatch="a", eggs=20, place="box", source="x")
    second = instead_of(first, 9002, "2027-05-02", hatch="b")
    right = {**as_dict(first), "kind": "eggs_set", "id": uid(9003), "hatch": "c"}
    third = made("retract", "2027-05-03", entry=uid(9002), why="again", instead=right)
    assert origins([first, second, third])[("eggs_set", "c")] == first.id
    assert origins([third, second, first])[("eggs_set", "c")] == first.id


def test_alarms_ring_an_hour_before_and_never_at_night() -> None:
    late = made("eggs_set", "2027-05-02T03:00+01:00", hatch="h", eggs=20, place="box", source="a")
    stop = one(events([*HOME, late], datetime(2027, 5, 3, tzinfo=UTC)), "Stop turning: h")
    assert stop.alarm is not None
    assert isinstance(stop.start, datetime)
    assert stop.start - stop.alarm == datetime(2027, 5, 15, 20, tzinfo=IN_LISBON)
    evening = made("eggs_set", "2027-05-02T22:00+01:00", hatch="h", eggs=9, place="box", source="a")
    stop = one(events([*HOME, evening], datetime(2027, 5, 3, tzinfo=UTC)), "Stop turning: h")
    assert stop.alarm == timedelta(hours=2)


def test_what_is_held_stands_on_its_last_day_the_longer_of_two() -> None:
    entries = [
        *HOME,
        made("group", "2027-01-01", group="hens", place="pen", hens=9, hatched_on="2026-09-01"),
        made("treated", "2027-05-01", group="hens", product="powder",
             eggs_withheld_until="2027-05-09", meat_withheld_until="2027-05-20"),
        made("treated", "2027-05-02", group="hens", product="drops",
             eggs_withheld_until="2027-05-12", meat_withheld_until="2027-05-12"),
        made("quarantine", "2027-05-02", place="pen", until="2027-05-30"),
    ]  # fmt: skip
    for day in (3, 12):  # still there on the last day itself
        found = in_kinds(events(entries, datetime(2027, 5, day, 9, tzinfo=UTC)), ["held"], None)
        assert {event.summary: event.start for event in found} == {
            "Last day: eggs are held back: hens": date(2027, 5, 12),
            "Last day: meat is held back: hens": date(2027, 5, 20),
            "Last day of quarantine: pen": date(2027, 5, 30),
        }
        assert all(event.alarm is None for event in found)


def test_the_lamp_has_its_next_day_only_and_the_days_on_which_clocks_change() -> None:
    entries = [
        made("holding", "2027-01-01", timezone="Europe/London", latitude=52.2, longitude=0.1,
             lamp_on="05:30", lamp_off="08:00", light_target_h=14),
        made("place", "2027-01-01", place="pen", role="pen"),
        made("group", "2027-01-01", group="hens", place="pen", hens=9, hatched_on="2026-09-01"),
    ]  # fmt: skip
    found = in_kinds(events(entries, datetime(2027, 9, 1, 9, tzinfo=UTC)), ["light"], None)
    assert [event.summary for event in found].count("Set the lamp's timer") == 1
    changes = [event.start for event in found if event.summary.startswith("Clocks change")]
    # Summer time in the United Kingdom: last Sundays of March and October (Summer Time Act 1972).
    assert changes == [date(2027, 10, 31), date(2028, 3, 26)]
    on_the_day = events(entries, datetime(2027, 10, 31, 9, tzinfo=UTC))
    assert changes[0] in [event.start for event in on_the_day]


def test_a_planned_set_that_was_set_is_done_and_not_called_off() -> None:
    entries = [
        *HOME,
        made("plan_accepted", "2027-05-01", brief="", certainty=0.8),
        made("set_planned", "2027-05-01", hatch="h", on="2027-05-10", eggs=20, place="box",
             source="a"),
    ]  # fmt: skip
    now = datetime(2027, 5, 10, 21, tzinfo=UTC)
    ahead = one(events(entries, now), "Set eggs: h")
    was_set = made(
        "eggs_set", "2027-05-10T20:00+01:00", hatch="h", eggs=20, place="box", source="a"
    )
    found = events([*entries, was_set], now)
    assert one(found, "Done: Set eggs: h").uid == ahead.uid
    assert one(found, "Stop turning: h").kind == "hatch"


def test_bigger_jobs_are_one_event_each_however_many_pens() -> None:
    pens = [
        entry
        for name in ("north", "south", "west")
        for entry in (
            made("place", "2027-01-01", place=name, role="pen"),
            made("group", "2027-01-01", group=f"{name} hens", place=name, hens=5),
        )
    ]
    found = in_kinds(events([*HOME, *pens], datetime(2027, 2, 1, 9, tzinfo=UTC)), ["care"], None)
    assert [event.summary for event in found] == [
        "Weigh a few birds: north, south, west",
        "Wash the cages: north, south, west",
    ]
    assert "Wed 3 Mar: south" in found[1].description


def test_the_round_is_one_event_for_each_time_that_somebody_wants() -> None:
    times = (time(6, 15), time(7, 30))
    found = events(HOME, datetime(2027, 5, 3, 9, tzinfo=UTC), round_minutes=16.2, rounds=times)
    rounds = in_kinds(found, ["round"], time(7, 30))
    assert [event.summary for event in rounds] == ["Round of the birds"]
    assert len({event.uid for event in found}) == 2
    assert in_kinds(found, KINDS, None) == []


def test_chicks_in_a_brooder_get_their_steps_of_heat_and_a_pen() -> None:
    entries = [
        *HOME,
        made("place", "2027-05-01", place="warm", role="brooder"),
        made("group", "2027-05-01", group="chicks", place="warm", chicks=20,
             hatched_on="2027-05-01"),
    ]  # fmt: skip
    found = in_kinds(events(entries, datetime(2027, 5, 3, 9, tzinfo=UTC)), ["chicks"], None)
    titles = [event.summary for event in found]
    assert sum(title.startswith("Lower the heat to ") for title in titles) == 3
    assert "Move them to a pen: chicks" in titles
    assert all(not isinstance(event.start, datetime) for event in found)
    moved = [*entries, made("birds_moved", "2027-05-20", group="chicks", place="pen", chicks=20)]
    later = events(moved, datetime(2027, 5, 21, 9, tzinfo=UTC))
    assert "Move them to a pen: chicks" not in [event.summary for event in later]


def test_every_printed_step_has_a_title_or_tells_its_heat() -> None:
    once = {rule.rule for rule in printed_rules().values() if rule.every is None}
    assert once - set(TITLES) == {"close_hatch", "heat_step"}
    assert set(TITLES) <= set(printed_rules())


def test_a_keepers_own_words_stand_for_a_printed_title() -> None:
    hatch = made("eggs_set", "2027-05-02T20:00+01:00", hatch="h", eggs=9, place="box", source="a")
    own = made("care_rule", "2027-05-02", rule="stop_turning", task="Lay them down, Mira")
    found = events([*HOME, hatch, own], datetime(2027, 5, 3, 9, tzinfo=UTC))
    assert one(found, "Lay them down, Mira: h").kind == "hatch"


def test_a_flock_without_entries_has_no_events() -> None:
    nothing = fold([], datetime(2027, 5, 3, tzinfo=UTC))
    now = datetime(2027, 5, 3, tzinfo=UTC)
    assert calendar_events(Reckoned(nothing, now, "", [], {}, None, 0.0, (time(7),))) == []

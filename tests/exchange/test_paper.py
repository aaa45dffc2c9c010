"""Sheets to print: boxes on the days on which something is due, cards with what is there."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from tests.makers import made

from quailwright.exchange.paper import Sheet, place_cards, round_sheet
from quailwright.flock.fold import fold
from quailwright.guide.occasions import elapsed, hatch_day
from quailwright.guide.round import todays_round
from quailwright.journal.findings import BadInput

ON = date(2027, 5, 3)
FLOCK = fold(
    [
        made("holding", "2027-01-01", name="Home", timezone="Europe/Lisbon"),
        made("place", "2027-01-01", place="pen", role="pen", walk_order=2),
        made("place", "2027-01-01", place="box", role="incubator", capacity_eggs=60, walk_order=1),
        made("place", "2027-01-01", place="old shed", role="pen", closed=True),
        made("group", "2027-01-01", group="hens", place="pen", hens=10, cocks=2,
             hatched_on="2026-10-01"),
        made("eggs_set", "2027-04-28T20:00+01:00", hatch="may", eggs=24, place="box",
             source="friend"),
        made("care_rule", "2027-01-01", rule="third day", stage="pen", task="Rake the sand",
             why="ours", minutes=1, every_days=3),
        made("care", "2027-05-01", task="third day", place="pen"),
    ],
    datetime(2027, 5, 3, 7, tzinfo=UTC),
)  # fmt: skip


def sheet(days: int, first: date = ON) -> Sheet:
    """The sheet of that flock."""
    return round_sheet(FLOCK, ON, first, days, lambda day: todays_round(FLOCK, day))


def test_a_day_has_every_task_of_its_round() -> None:
    todays = todays_round(FLOCK, ON)
    printed = [row.task for place in sheet(1).places for row in place.rows]
    printed += [step.task for step in sheet(1).steps]
    assert sorted(printed) == sorted(task.task for place in todays.places for task in place.tasks)
    assert [place.place for place in sheet(1).places][:2] == ["box", "pen"]
    assert sheet(1).places[1].blanks == ["eggs", "dead"]


def test_what_is_due_every_third_day_has_a_box_every_third_day() -> None:
    # Done on 1 May: due on 4, 7 May and so on.
    rows = [row for place in sheet(7).places for row in place.rows if row.task == "Rake the sand"]
    assert [row.boxes for row in rows] == [[0, 1, 0, 0, 1, 0, 0]]


def test_daily_tasks_have_a_box_each_day_as_many_as_times() -> None:
    rows = {row.task: row.boxes for place in sheet(7).places for row in place.rows}
    assert rows["Feed and fresh water"] == [1] * 7
    turns = next(boxes for task, boxes in rows.items() if task.startswith("Turn the eggs"))
    assert turns == [3] * 7


def test_steps_of_a_hatch_stand_once_with_their_own_day() -> None:
    steps = [step for step in sheet(7).steps if step.subject == "may"]
    assert len({(step.task, step.due) for step in steps}) == len(steps)
    assert all(step.due.date() <= ON + timedelta(days=6) for step in steps)  # type: ignore[union-attr]


def test_eggs_to_be_weighed_on_two_days_of_a_sheet_stand_on_both() -> None:
    # Set on 28 April at 20:00: days 5, 10 and 14 are 3, 8 and 12 May.
    due = [step.due for step in sheet(14).steps if step.task.startswith("Weigh the eggs")]
    assert [f"{day:%d %b}" for day in due] == ["03 May", "08 May", "12 May"]


def test_a_day_of_a_hatch_is_24_hours_over_a_change_of_clocks() -> None:
    # Clocks go back in Lisbon on 25 October 2026: 14 days after 20:30 it is 19:30.
    zone = ZoneInfo("Europe/Lisbon")
    hatch = replace(FLOCK.hatches["may"], set_at=datetime(2026, 10, 17, 20, 30, tzinfo=zone))
    assert hatch_day(hatch, elapsed(hatch.set_at, 14)) == 14
    assert hatch_day(hatch, datetime(2026, 10, 31, 19, 29, tzinfo=zone)) == 13


def test_a_caution_stands_once_on_a_sheet() -> None:
    said = [row.caution for place in sheet(7).places for row in place.rows if row.caution]
    assert said
    assert len(said) == len(set(said))


@pytest.mark.parametrize("first", [ON - timedelta(days=1), ON + timedelta(days=400)])
def test_days_that_nothing_is_known_of_are_refused(first: date) -> None:
    with pytest.raises(BadInput, match="next 60 days"):
        sheet(1, first)


def test_cards_hold_what_is_there_by_the_walk() -> None:
    cards = place_cards(FLOCK, ON)
    assert [card.place.place for card in cards] == ["box", "pen"]
    assert [(each.hatch, each.eggs) for each in cards[0].hatches] == [("may", 24)]
    # 14 times 24 hours from setting: incubation.turning_stop_day.
    assert cards[0].hatches[0].stop_turning.isoformat() == "2027-05-12T20:00:00+01:00"
    assert cards[1].groups[0].hatched_on == date(2026, 10, 1)

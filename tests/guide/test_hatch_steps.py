"""The dated steps of a hatch: at the right instant, done, early, late, missed."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from tests.guide.rounds import asked, day, hatch, home, missed_rules, round_on
from tests.makers import made

from quailwright.flock.fold import fold
from quailwright.guide.round import Step, day_of_hatch, hatch_steps
from quailwright.journal.entries import Entry


def steps(journal: list[Entry], on: date, name: str = "may") -> dict[str, list[Step]]:
    flock = fold(journal, on)
    found: dict[str, list[Step]] = {}
    for step in hatch_steps(flock, flock.hatches[name], on):
        found.setdefault(step.rule, []).append(step)
    return found


# Days from setting. Weighings, stop of turning on day 14 and candling at it: common practice, no
# source; first candling on day 7 and the unhatched opened on day 20: see husbandry/facts.
STEP_DAYS = {
    "weigh_eggs": [0, 5, 10, 14],
    "candle_first": [7],
    "candle_second": [14],
    "stop_turning": [14],
    "open_eggs": [20],
    "close_hatch": [21],
}

# Set at 20:00 on day 0, some days before the clocks change; the local time of day 14 after it.
# Changes of 2027: Lisbon 28 March and 31 October, New York 14 March, Auckland 4 April and
# 26 September; Kolkata has none (IANA time zone database).
CHANGES = [
    ("Europe/Lisbon", "2027-03-20T20:00+00:00", "2027-04-03T21:00:00+01:00"),
    ("Europe/Lisbon", "2027-10-20T20:00+01:00", "2027-11-03T19:00:00+00:00"),
    ("America/New_York", "2027-03-06T20:00-05:00", "2027-03-20T21:00:00-04:00"),
    ("Pacific/Auckland", "2027-03-27T20:00+13:00", "2027-04-10T19:00:00+12:00"),
    ("Pacific/Auckland", "2027-09-18T20:00+12:00", "2027-10-02T21:00:00+13:00"),
    ("Asia/Kolkata", "2027-03-20T20:00+05:30", "2027-04-03T20:00:00+05:30"),
]


@pytest.mark.parametrize(("zone", "set_at", "day_14"), CHANGES)
def test_steps_keep_elapsed_time_when_the_clocks_change(
    zone: str, set_at: str, day_14: str
) -> None:
    moment = datetime.fromisoformat(set_at)
    found = steps([home(zone), hatch(at=set_at)], moment.date() + timedelta(days=1))
    for rule, days in STEP_DAYS.items():
        wanted = [moment.astimezone(UTC) + timedelta(hours=24 * number) for number in days]
        assert [step.at.astimezone(UTC) for step in found[rule]] == wanted
    [stop] = found["stop_turning"]
    assert stop.at.isoformat() == day_14


@pytest.mark.parametrize(("zone", "set_at", "day_14"), CHANGES)
def test_round_asks_on_the_day_that_the_step_falls_due_there(
    zone: str, set_at: str, day_14: str
) -> None:
    journal = [home(zone), hatch(at=set_at)]
    due = datetime.fromisoformat(day_14)
    assert asked(round_on(journal, due.date() - timedelta(days=1)), "stop_turning") == []
    [task] = asked(round_on(journal, due.date()), "stop_turning")
    assert isinstance(task.due, datetime)
    assert task.due.isoformat() == day_14
    assert task.count == "day 14, the 15th day"


def test_step_moves_to_the_next_date_when_the_clocks_go_forward_near_midnight() -> None:
    # 23:30 in Lisbon before 28 March 2027 is half past midnight of the next day after it.
    journal = [home(), hatch(at="2027-03-20T23:30+00:00")]
    assert asked(round_on(journal, date(2027, 4, 3)), "stop_turning") == []
    assert asked(round_on(journal, date(2027, 4, 4)), "stop_turning")


@pytest.mark.parametrize(
    ("number", "both"),
    [
        (0, "day 0, the 1st day"),
        (1, "day 1, the 2nd day"),
        (2, "day 2, the 3rd day"),
        (10, "day 10, the 11th day"),
        (14, "day 14, the 15th day"),
        (20, "day 20, the 21st day"),
        (21, "day 21, the 22nd day"),
    ],
)
def test_both_counts_of_a_hatchs_day(number: int, both: str) -> None:
    set_hatch = fold([home(), hatch()], day(1)).hatches["may"]
    assert day_of_hatch(set_hatch, set_hatch.set_at + timedelta(days=number)) == both
    last_second = set_hatch.set_at + timedelta(days=number + 1, seconds=-1)
    assert day_of_hatch(set_hatch, last_second) == both


# common practice, no source: 99.5 °F (37.5 °C) in the machine, 95 °F (35 °C) in the brooder.
@pytest.mark.parametrize(
    ("units", "machine", "brooder"), [("metric", "37.5 °C", "35 °C"), ("us", "99.5 °F", "95 °F")]
)
def test_temperatures_in_the_keepers_units_common_practice(
    units: str, machine: str, brooder: str
) -> None:
    journal = [home(units=units), hatch()]
    [check] = asked(round_on(journal, day(3)), "machine_check")
    assert machine in check.why
    [ready] = asked(round_on(journal, day(16)), "ready_brooder")
    assert f"Warm the brooder to {brooder}" in ready.task


def test_a_hatch_set_with_a_date_only_counts_from_noon() -> None:
    [stop] = steps([home(), hatch(at="2027-05-02")], day(1))["stop_turning"]
    assert stop.at.isoformat() == "2027-05-16T12:00:00+01:00"


def test_a_holding_without_time_zone_keeps_the_offset_of_the_entry() -> None:
    [stop] = steps([hatch(at="2027-05-02T20:00+05:30")], day(1))["stop_turning"]
    assert stop.at.isoformat() == "2027-05-16T20:00:00+05:30"


DONE_BY: list[tuple[str, int, str, dict[str, Any]]] = [
    ("weigh_eggs", 5, "eggs_weighed", {"eggs": 24, "total_g": 280.0}),
    ("candle_first", 7, "eggs_candled", {"clear": 2, "dead": 1}),
    ("candle_second", 14, "eggs_candled", {"clear": 0, "dead": 0}),
    ("stop_turning", 14, "turning_stopped", {}),
    ("open_eggs", 20, "eggs_opened", {"early": 3}),
    ("close_hatch", 21, "hatch_closed", {}),
]


@pytest.mark.parametrize(("rule", "number", "kind", "fields"), DONE_BY)
def test_the_entry_that_a_step_asks_for_does_it(
    rule: str, number: int, kind: str, fields: dict[str, Any]
) -> None:
    journal = [home(), hatch()]
    assert asked(round_on(journal, day(number)), rule)
    done = [*journal, made(kind, f"{day(number)}T21:00+01:00", hatch="may", **fields)]
    assert asked(round_on(done, day(number)), rule) == []
    assert [step.done for step in steps(done, day(number))[rule] if step.day == number] == [True]


@pytest.mark.parametrize(("rule", "number"), [("weigh_eggs", 5), ("ready_brooder", 16)])
@pytest.mark.parametrize("place", ["incubator", None])
@pytest.mark.parametrize("by_text", [False, True])
def test_a_care_tick_does_a_step_by_its_rule_or_its_text_here_or_at_large(
    rule: str, number: int, place: str | None, by_text: bool
) -> None:
    journal = [home(), hatch()]
    [task] = asked(round_on(journal, day(number)), rule)
    where = {} if place is None else {"place": place}
    tick = made("care", day(number), task=task.task if by_text else rule, **where)
    assert asked(round_on([*journal, tick], day(number)), rule) == []
    elsewhere = made("care", day(number), task=rule, place="another machine")
    assert asked(round_on([*journal, elsewhere], day(number)), rule)


@pytest.mark.parametrize(("candled", "done"), [(4, False), (5, True), (7, True), (11, True)])
def test_candling_some_days_early_or_late_counts(candled: int, done: bool) -> None:
    journal = [home(), hatch(), made("eggs_candled", day(candled), hatch="may", clear=1, dead=0)]
    [step] = steps(journal, day(11))["candle_first"]
    assert step.done is done


def test_a_weighing_counts_for_one_step_only() -> None:
    weighed = made("eggs_weighed", day(5), hatch="may", eggs=24, total_g=280.0)
    found = steps([home(), hatch(), weighed], day(12))["weigh_eggs"]
    assert [step.done for step in found] == [False, True, False, False]


def test_what_can_no_longer_be_done_is_not_told_of_late_in_a_hatch() -> None:
    """Weighings are on days 0, 5, 10 and 14 (common practice, no source)."""
    journal = [home(), hatch()]
    assert "weigh_eggs" in missed_rules(round_on(journal, day(13)))
    for number in range(15, 30):
        assert "weigh_eggs" not in missed_rules(round_on(journal, day(number)))
    for number in range(16, 19):
        [candle] = [m for m in round_on(journal, day(number)).missed if m.rule == "candle_first"]
        assert candle.instead.startswith("Do not candle now")
    assert "stop_turning" in missed_rules(round_on(journal, day(18)))
    out = [*journal, made("chicks_hatched", day(17), hatch="may", chicks=9)]
    assert not {"stop_turning", "weigh_eggs", "candle_first"} & missed_rules(round_on(out, day(18)))


def test_a_step_is_overdue_by_the_day_then_too_late_then_forgotten() -> None:
    journal = [home(), hatch()]
    for number, overdue in ((7, 0), (8, 1), (11, 4)):
        [task] = asked(round_on(journal, day(number)), "candle_first")
        assert task.overdue_days == overdue
        assert "candle_first" not in missed_rules(round_on(journal, day(number)))
    for number in (12, 18):
        the_round = round_on(journal, day(number))
        assert asked(the_round, "candle_first") == []
        [missed] = [m for m in the_round.missed if m.rule == "candle_first"]
        assert missed.subject == "may"
        if number == 12:
            assert missed.instead == "Candle when turning stops; both are seen then."
    assert "candle_first" not in missed_rules(round_on(journal, day(19)))


def test_a_step_done_late_is_not_told_of_as_missed() -> None:
    late = made("eggs_candled", day(12), hatch="may", clear=1, dead=0)
    assert "candle_first" not in missed_rules(round_on([home(), hatch(), late], day(12)))


def test_coming_steps_are_told_a_week_ahead_in_order_of_time() -> None:
    coming = round_on([home(), hatch()], day(8)).coming
    assert [(task.rule, task.count) for task in coming] == [
        ("weigh_eggs", "day 10, the 11th day"),
        ("weigh_eggs", "day 14, the 15th day"),
        ("candle_second", "day 14, the 15th day"),
        ("stop_turning", "day 14, the 15th day"),
    ]


def test_a_closed_hatch_asks_for_nothing_but_a_clean_machine() -> None:
    closed = [home(), hatch(), made("hatch_closed", day(6), hatch="may")]
    for number in (6, 7, 14, 20):
        assert asked(round_on(closed, day(number)), "machine_check") == []
        found = {task.rule for p in round_on(closed, day(number)).places for task in p.tasks}
        assert found <= {"clean_machine"}
    assert asked(round_on(closed, day(21)), "clean_machine")


def test_cleaning_after_an_earlier_hatch_is_not_cleaning_after_this_one() -> None:
    first, second = hatch("may"), hatch("june", at=f"{day(24)}T20:00+01:00")
    journal = [
        home(),
        first,
        made("hatch_closed", day(21), hatch="may"),
        made("care", day(22), task="clean_machine", place="incubator"),
        second,
        made("hatch_closed", day(45), hatch="june"),
    ]
    [task] = asked(round_on(journal, day(45)), "clean_machine")
    assert task.subject == "june"


def test_chicks_out_of_the_shell_are_to_be_housed_a_day_later_common_practice() -> None:
    # common practice, no source: to the brooder about 24 h after hatching
    out = made("chicks_hatched", "2027-05-19T06:00+01:00", hatch="may", chicks=18)
    journal = [home(), hatch(), out]
    [task] = asked(round_on(journal, day(18)), "move_chicks")
    assert isinstance(task.due, datetime)
    assert task.due.isoformat() == "2027-05-20T06:00:00+01:00"
    housed = made("group", day(18), group="young", place="brooder", hatch="may")
    assert asked(round_on([*journal, housed], day(18)), "move_chicks") == []


# common practice, no source: posted eggs rest about 48 h before setting; 24 h when carried.
@pytest.mark.parametrize(("route", "hours"), [("shipped", 48), ("collected", 24)])
def test_received_eggs_rest_before_setting_common_practice(route: str, hours: int) -> None:
    came = datetime.fromisoformat("2027-05-02T09:00+01:00")
    journal = [
        home(),
        made("source", day(0), source="friend", route=route),
        made("eggs_received", came, source="friend", eggs=30, broken=2),
    ]
    due = came + timedelta(hours=hours)
    [task] = asked(round_on(journal, due.date()), "set_eggs")
    assert task.due == due
    assert asked(round_on(journal, due.date() - timedelta(days=1)), "set_eggs") == []
    set_now = hatch(at=f"{due.date()}T20:00+01:00", eggs=28)
    assert asked(round_on([*journal, set_now], due.date()), "set_eggs") == []


@pytest.mark.parametrize("tick_day", [7, 10, 12])
def test_a_heat_step_ticked_late_is_done_and_the_next_still_comes(tick_day: int) -> None:
    journal = [
        home(),
        made("group", day(0), group="chicks", place="brooder", chicks=20, hatched_on=str(day(0))),
        made("care", day(tick_day), task="heat_step", place="brooder"),
    ]
    the_round = round_on(journal, day(12))
    assert asked(the_round, "heat_step") == []
    [task] = asked(round_on(journal, day(14)), "heat_step")
    assert task.overdue_days == 0


def test_a_heat_step_ticked_on_any_day_on_which_it_is_asked_is_done() -> None:
    journal = [
        home(),
        made("group", day(0), group="chicks", place="brooder", chicks=20, hatched_on=str(day(0))),
    ]
    asked_on = [n for n in range(40) if asked(round_on(journal, day(n)), "heat_step")]
    assert {7, 14, 21} <= set(asked_on)
    for number in asked_on:
        ticked = [*journal, made("care", day(number), task="heat_step", place="brooder")]
        assert asked(round_on(ticked, day(number)), "heat_step") == []


def test_a_heat_step_ticked_by_its_text_stays_done_when_the_heat_has_changed() -> None:
    journal = [
        home(),
        made("group", day(0), group="chicks", place="brooder", chicks=20, hatched_on=str(day(0))),
    ]
    [task] = asked(round_on(journal, day(8)), "heat_step")
    ticked = [*journal, made("care", day(8), task=task.task, place="brooder")]
    assert "heat_step" not in missed_rules(round_on(ticked, day(15)))
    assert len(asked(round_on(ticked, day(15)), "heat_step")) == 1

"""Care that comes again and again: ticked, unticked, done by other entries, after a gap."""

from datetime import date, timedelta
from typing import Any

import pytest
from tests.guide.rounds import (
    adults,
    asked,
    chicks,
    day,
    hatch,
    home,
    missed_rules,
    round_on,
    rules_asked,
    tasks_of,
)
from tests.makers import made

from quailwright.journal.entries import Entry


def days_asked(journal: list[Entry], rule: str, days: int, first: int = 0) -> list[int]:
    """On which days the round asks for it, when nothing more is logged."""
    return [n for n in range(first, first + days) if asked(round_on(journal, day(n)), rule)]


def days_for_a_keeper_who_ticks(journal: list[Entry], rule: str, days: int) -> list[int]:
    """The same for one who ticks it whenever it is asked."""
    kept, found = list(journal), []
    for number in range(days):
        if asked(round_on(kept, day(number)), rule):
            found.append(number)
            kept.append(made("care", day(number), task=rule, place="pen"))
    return found


PEN = [home(), *adults()]


@pytest.mark.parametrize("rule", ["feed_water", "drinker_clean", "look_count", "collect_eggs"])
def test_daily_care_is_asked_every_day_and_never_overdue(rule: str) -> None:
    for number in range(10):
        [task] = asked(round_on(PEN, day(number)), rule)
        assert (task.due, task.overdue_days) == (day(number), 0)


# Common practice, no source: trays once or twice a week, cages washed about every two months.
@pytest.mark.parametrize(
    ("rule", "days", "times"),
    [("trays", 28, (4, 8)), ("wash", 183, (3, 3)), ("mesh_check", 28, (4, 4))],
)
def test_rare_care_comes_as_often_as_keepers_say_common_practice(
    rule: str, days: int, times: tuple[int, int]
) -> None:
    ticked = days_for_a_keeper_who_ticks(PEN, rule, days + 1)
    assert times[0] <= len(ticked) <= times[1]
    episodes = [n for n in days_asked(PEN, rule, days + 1) if n and n - 1 not in _days(PEN, rule)]
    assert times[0] - 1 <= len(episodes) <= times[1]


_asked_of: dict[str, set[int]] = {}


def _days(journal: list[Entry], rule: str) -> set[int]:
    if rule not in _asked_of:
        _asked_of[rule] = set(days_asked(journal, rule, 184))
    return _asked_of[rule]


def test_a_keeper_who_never_ticks_is_never_told_that_recurring_care_is_far_overdue() -> None:
    for number in range(0, 200, 3):
        for task in tasks_of(round_on(PEN, day(number))):
            if not task.once:
                assert task.overdue_days <= 7


def test_a_ticked_task_becomes_overdue_day_by_day() -> None:
    journal = [*PEN, made("care", day(1), task="mesh_check", place="pen")]
    assert asked(round_on(journal, day(7)), "mesh_check") == []
    assert [
        task.overdue_days
        for number in (8, 9, 12)
        for task in asked(round_on(journal, day(number)), "mesh_check")
    ] == [0, 1, 4]


@pytest.mark.parametrize("gap", [40, 150, 400, 2000])
def test_a_long_gap_in_the_record_makes_nothing_absurdly_overdue(gap: int) -> None:
    ticks = [
        made("care", day(n), task=rule, place="pen")
        for n in range(10)
        for rule in ("feed_water", "drinker_clean", "trays", "mesh_check", "collect_eggs")
    ]
    for task in tasks_of(round_on([*PEN, *ticks], day(gap))):
        if not task.once:
            assert task.overdue_days <= 7


DONE_BY: list[tuple[str, str, dict[str, Any]]] = [
    ("feed_water", "feed_given", {"feed": "pellets", "kg": 1, "place": "pen"}),
    ("look_count", "birds_counted", {"group": "pen birds", "hens": 32, "cocks": 8}),
    ("collect_eggs", "eggs_collected", {"group": "pen birds", "eggs": 20}),
]


@pytest.mark.parametrize(("rule", "kind", "fields"), DONE_BY)
def test_the_entry_that_says_it_anyway_does_the_task(
    rule: str, kind: str, fields: dict[str, Any]
) -> None:
    bought = made("feed_bought", day(0), feed="pellets", kg=20)
    journal = [*PEN, bought, made(kind, day(3), **fields)]
    assert asked(round_on(journal, day(3)), rule) == []
    assert len(asked(round_on(journal, day(4)), rule)) == 1


def test_monthly_weighing_and_weekly_stock_count_start_again_from_when_they_were_done() -> None:
    journal = [
        *PEN,
        made("feed_bought", day(0), feed="pellets", kg=20),
        made("birds_weighed", day(5), group="pen birds", weights_g=[250.0, 260.0]),
        made("feed_counted", day(5), feed="pellets", kg=15),
    ]
    assert "weigh_sample" not in rules_asked(round_on(journal, day(34)))
    assert "weigh_sample" in rules_asked(round_on(journal, day(35)))
    assert "feed_stock" not in rules_asked(round_on(journal, day(11)))
    assert "feed_stock" in rules_asked(round_on(journal, day(12)))


@pytest.mark.parametrize("place", ["incubator", None])
def test_times_a_day_count_down_with_each_tick_here_or_at_large(place: str | None) -> None:
    where = {} if place is None else {"place": place}
    journal = [home(), hatch()]
    [whole] = asked(round_on(journal, day(3)), "turn_eggs")
    assert whole.times_left == 3
    for left in (2, 1):
        journal.append(made("care", day(3), task="turn_eggs", **where))
        [task] = asked(round_on(journal, day(3)), "turn_eggs")
        assert task.times_left == left
        assert task.minutes == pytest.approx(whole.minutes * left / 3, abs=0.1)
    journal.append(made("care", day(3), task="turn_eggs", **where))
    assert asked(round_on(journal, day(3)), "turn_eggs") == []
    [tomorrow] = asked(round_on(journal, day(4)), "turn_eggs")
    assert tomorrow.times_left == 3


def test_a_tick_at_large_counts_in_every_pen_one_in_a_pen_only_there() -> None:
    journal = [home(), *adults("east"), *adults("west")]
    there = [*journal, made("care", day(2), task="drinker_clean", place="east")]
    assert [t.place for t in asked(round_on(there, day(2)), "drinker_clean")] == ["west"]
    all_over = [*journal, made("care", day(2), task="drinker_clean")]
    assert asked(round_on(all_over, day(2)), "drinker_clean") == []


def test_eggs_are_turned_until_the_stop_and_the_machine_read_until_the_end() -> None:
    journal = [home(), hatch()]
    assert days_asked(journal, "turn_eggs", 25) == list(range(1, 14))
    assert days_asked(journal, "machine_check", 25) == list(range(1, 22))
    assert days_asked(journal, "hatch_watch", 25) == list(range(16, 21))
    stopped = [*journal, made("turning_stopped", day(12), hatch="may")]
    assert days_asked(stopped, "turn_eggs", 25) == list(range(1, 12))


def test_brooder_care_turns_into_pen_care_when_the_birds_move_out() -> None:
    journal = [home(), *chicks()]
    moved = [*journal, made("birds_moved", day(30), group="chicks", place="pen")]
    assert {"brooder_check", "brooder_feed_water"} <= rules_asked(round_on(journal, day(5)))
    assert not {"feed_water", "trays"} & rules_asked(round_on(journal, day(5)))
    after = rules_asked(round_on(moved, day(31)))
    assert {"feed_water", "drinker_clean", "look_count"} <= after
    assert not {"brooder_check", "brooder_feed_water", "move_out"} & after
    assert "move_out" in rules_asked(round_on(journal, day(30)))


def test_a_brooder_is_looked_at_as_long_as_birds_are_in_it() -> None:
    # Common practice, no source: heat until feathered, 28 to 42 days; longer in winter.
    journal = [home(), *chicks()]
    assert days_asked(journal, "brooder_check", 60) == list(range(60))
    moved = [*journal, made("birds_moved", day(45), group="chicks", place="pen")]
    assert days_asked(moved, "brooder_check", 60) == list(range(45))


def test_pebbles_are_a_caution_for_the_first_week_only() -> None:
    # New South Wales DPI, Raising Japanese quail (Primefact 602): pebbles removed at 1 week.
    journal = [home(), *chicks()]
    cautions = {
        number: asked(round_on(journal, day(number)), "brooder_feed_water")[0].caution
        for number in (0, 7, 8, 30)
    }
    assert [number for number, text in cautions.items() if "pebbles" in text] == [0, 7]
    assert all("No layer feed" in text for text in cautions.values())


def test_hens_too_young_to_lay_have_no_eggs_to_collect() -> None:
    # Earliest first egg of any source, 5 weeks: see husbandry/facts/laying.csv
    young = [home(), *adults(age=20)]
    assert "collect_eggs" not in rules_asked(round_on(young, day(1)))
    assert "collect_eggs" in rules_asked(round_on(young, day(30)))


def test_walk_goes_by_walk_order_then_by_name_with_the_holding_last() -> None:
    journal = [
        home(),
        made("feed_bought", day(-7), feed="pellets", kg=20),
        *(entry for name in ("b", "a", "d", "c") for entry in adults(name)),
        made("place", day(0), place="d", role="pen", walk_order=1),
        made("place", day(0), place="c", role="pen", walk_order=-5),
    ]
    number = next(n for n in range(10) if "feed_stock" in rules_asked(round_on(journal, day(n))))
    the_round = round_on(journal, day(number))
    assert [place.place for place in the_round.places] == ["c", "d", "a", "b", ""]
    assert [task.rule for task in the_round.places[-1].tasks] == ["feed_stock"]


def test_steps_come_first_at_a_place_and_bigger_jobs_last() -> None:
    journal = [home(), *adults(hens=10, cocks=8, age=38)]
    for number in range(70):
        for place in round_on(journal, day(number)).places:
            order = [(task.apart, not task.once) for task in place.tasks]
            assert order == sorted(order)


def test_old_cocks_are_not_asked_about_for_ever() -> None:
    journal = [home(), *adults(hens=0, cocks=8, age=38)]
    assert days_asked(journal, "surplus_cocks", 400) == list(range(29))
    assert "surplus_cocks" in missed_rules(round_on(journal, day(30)))


@pytest.mark.parametrize("zone", ["Europe/Lisbon", "Pacific/Auckland", "America/Los_Angeles"])
def test_recurring_care_runs_on_through_a_change_of_the_clocks(zone: str) -> None:
    # Lisbon changes on 28 March 2027, Los Angeles on 14 March, Auckland on 4 April
    first = date(2027, 3, 1)
    birds = made("group", first, group="hens", place="pen", hens=10, hatched_on="2026-01-01")
    journal = [home(zone), birds]
    for number in range(60):
        [task] = asked(round_on(journal, first + timedelta(days=number)), "feed_water")
        assert task.due == first + timedelta(days=number)

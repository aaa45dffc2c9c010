"""What a plan puts on the round: eggs to get, a machine to ready, eggs to set, birds to let go."""

from datetime import timedelta
from typing import Any

import pytest
from tests.guide.rounds import (
    adults,
    asked,
    day,
    hatch,
    home,
    missed_rules,
    round_on,
    rules_asked,
    tasks_of,
)
from tests.makers import made, uid

from quailwright.husbandry import facts
from quailwright.journal.checks import build_entry
from quailwright.journal.entries import Entry

ON = day(30)
BOX = made("place", "2027-01-01", place="box", role="incubator", capacity_eggs=60)
OF_PLAN = {"order_eggs", "ask_for_eggs", "fetch_eggs", "keep_eggs", "ready_machine_planned",
           "set_planned_eggs", "let_go"}  # fmt: skip


def plan(route: str = "shipped", **more: Any) -> list[Entry]:
    return [
        home(),
        BOX,
        made("source", "2027-01-01", source="creek", route=route),
        planned(**more),
    ]


def planned(**more: Any) -> Entry:
    fields = {"hatch": "june", "on": str(ON), "eggs": 48, "place": "box", "source": "creek", **more}
    return made("set_planned", day(0), **fields)


def days_asked(entries: list[Entry], rule: str) -> list[int]:
    """Days before (negative) and after the planned day on which the round asks for it."""
    return [
        n for n in range(-30, 15) if asked(round_on(entries, ON + timedelta(days=n)), rule)
    ]  # fmt: skip


# Common practice, no source: posted eggs ordered two weeks ahead, eggs that are fetched asked for
# a week ahead, a machine run empty for a day. Eggs keep a week (Shim, National University of
# Singapore: set within 7 days).
@pytest.mark.parametrize(
    ("route", "rule", "first"),
    [
        ("shipped", "order_eggs", -14),
        ("collected", "ask_for_eggs", -7),
        ("collected", "fetch_eggs", -1),
        ("own", "keep_eggs", -7),
        ("own", "ready_machine_planned", -1),
        ("own", "set_planned_eggs", 0),
    ],
)
def test_each_step_comes_up_in_time(route: str, rule: str, first: int) -> None:
    days = days_asked(plan(route), rule)
    assert days == list(range(first, days[-1] + 1))
    assert days[-1] == (1 if rule == "ready_machine_planned" else 7)


@pytest.mark.parametrize("route", ["shipped", "collected", "own"])
def test_a_set_asks_only_for_what_its_route_needs(route: str) -> None:
    seen = {t.rule for n in range(20, 31) for t in tasks_of(round_on(plan(route), day(n)))}
    wanted = {"shipped": {"order_eggs"}, "collected": {"ask_for_eggs", "fetch_eggs"},
              "own": {"keep_eggs"}}[route]  # fmt: skip
    assert seen & OF_PLAN == wanted | {"ready_machine_planned", "set_planned_eggs"}


def test_the_setting_says_what_whose_and_where_and_how_late_it_is() -> None:
    [task] = asked(round_on(plan(), ON + timedelta(days=2)), "set_planned_eggs")
    assert task.task.startswith("Set 48 eggs of creek in box")
    assert "the plan calls the hatch june" in task.task
    assert (task.place, task.subject, task.due, task.overdue_days) == ("box", "june", ON, 2)
    # 5 minutes, and 0.1 an egg, as for any eggs set.
    usual = facts.value("care.min_set_eggs") + 48 * facts.value("care.min_set_eggs_bird")
    assert task.minutes == pytest.approx(usual, abs=0.05)


def test_its_tick_is_an_entry_that_does_it() -> None:
    [task] = asked(round_on(plan(), ON), "set_planned_eggs")
    entry, findings = build_entry({"id": uid(77), "at": str(ON), **task.tick})
    assert findings == []
    assert entry is not None
    assert not rules_asked(round_on([*plan(), entry], ON)) & OF_PLAN


def test_set_under_another_name_it_is_asked_for_no_more() -> None:
    other = made("eggs_set", day(31), hatch="x", eggs=40, place="box", source="creek")
    assert not rules_asked(round_on([*plan(), other], day(31))) & OF_PLAN


def test_eggs_that_are_here_are_not_ordered_and_are_set_on_the_planned_day() -> None:
    came = made("eggs_received", day(26), source="creek", eggs=50)
    the_round = round_on([*plan(), came], day(28))
    # Without a plan they would be set as soon as they have rested.
    assert "set_eggs" in rules_asked(round_on([*plan()[:3], came], day(28)))
    assert not rules_asked(the_round) & {"order_eggs", "set_eggs", "ready_machine"}
    assert "candle_on_arrival" in rules_asked(the_round)
    assert "set_planned_eggs" in rules_asked(round_on([*plan(), came], ON))


def test_eggs_that_come_long_before_a_planned_set_are_not_for_it() -> None:
    came = made("eggs_received", day(2), source="creek", eggs=50)
    assert "set_eggs" in rules_asked(round_on([*plan(), came], day(4)))


def test_too_few_eggs_here_leave_the_rest_to_order_first_set_first() -> None:
    came = made("eggs_received", day(27), source="creek", eggs=58)
    later = planned(hatch="july", on=str(day(33)), eggs=20)
    [task] = asked(round_on([*plan(), later, came], day(28)), "order_eggs")
    assert task.subject == "july"
    assert task.task.startswith("Order 10 hatching eggs of creek")


def test_an_order_is_ticked_by_its_text_so_that_another_stays() -> None:
    later = planned(hatch="july", on=str(day(32)), eggs=20)
    entries = [*plan(), later]
    first, second = asked(round_on(entries, day(20)), "order_eggs")
    assert first.tick == {"kind": "care", "task": first.task}
    ordered = made("care", day(20), task=first.task)
    assert asked(round_on([*entries, ordered], day(21)), "order_eggs")[0].subject == second.subject
    assert len(asked(round_on([*entries, ordered], day(21)), "order_eggs")) == 1


def test_a_machine_with_eggs_in_it_is_not_run_empty() -> None:
    assert "ready_machine_planned" in rules_asked(round_on(plan(), day(29)))
    running = hatch("may", f"{day(20)}T20:00+01:00", "box")
    assert "ready_machine_planned" not in rules_asked(round_on([*plan(), running], day(29)))


def test_lapsed_it_is_told_as_too_late_for_a_week_and_then_forgotten() -> None:
    late = round_on(plan(), ON + timedelta(days=8))
    assert not rules_asked(late) & OF_PLAN
    [missed] = [one for one in late.missed if one.rule == "set_planned_eggs"]
    assert "plan again" in missed.instead
    later = round_on(plan(), ON + timedelta(days=16))
    assert not missed_rules(later) & OF_PLAN


def test_the_next_days_are_announced() -> None:
    coming = {task.rule: task for task in round_on(plan(), day(24)).coming}
    assert coming["set_planned_eggs"].due == ON


def test_a_source_that_nobody_described_is_ordered_from_in_good_time() -> None:
    assert "order_eggs" in rules_asked(round_on(plan(source="unknown"), day(16)))


def test_a_keeper_can_silence_or_change_a_rule_of_the_plan() -> None:
    silent = made("care_rule", day(0), rule="order_eggs", silenced=True)
    assert "order_eggs" not in rules_asked(round_on([*plan(), silent], day(20)))
    sooner = made("care_rule", day(0), rule="order_eggs", day=-21)
    assert "order_eggs" in rules_asked(round_on([*plan(), sooner], day(9)))


# Birds to let go.


def birds(**keep: Any) -> list[Entry]:
    return [home(), *adults(hens=20, cocks=5),
            made("cull_planned", day(0), on=str(day(10)), group="pen birds", **keep)]  # fmt: skip


@pytest.mark.parametrize(
    ("keep", "said"),
    [
        ({"keep_hens": 12, "keep_cocks": 3},
         "Keep 12 hens and 3 cocks of pen birds; let the others go (20 hens, 5 cocks now)"),
        ({"keep_hens": 1},
         "Keep 1 hen of pen birds; let the other hens go (20 hens, 5 cocks now)"),
        ({"keep_cocks": 0},
         "Keep no cocks of pen birds; let the other cocks go (20 hens, 5 cocks now)"),
    ],
)  # fmt: skip
def test_a_cull_says_how_many_stay(keep: dict[str, int], said: str) -> None:
    entries = birds(**keep)
    assert not asked(round_on(entries, day(9)), "let_go")
    [task] = asked(round_on(entries, day(12)), "let_go")
    assert task.task == said
    assert (task.place, task.overdue_days) == ("pen", 2)
    assert task.tick == {"kind": "birds_out", "group": "pen birds"}


def test_a_cull_leaves_the_round_when_it_is_done_or_given_up() -> None:
    entries = birds(keep_hens=12)
    gone = made("birds_out", day(11), group="pen birds", use="sold", hens=8)
    assert not asked(round_on([*entries, gone], day(11)), "let_go")
    assert asked(round_on(entries, day(38)), "let_go")
    assert not asked(round_on(entries, day(39)), "let_go")
    assert "let_go" in missed_rules(round_on(entries, day(39)))
    assert "let_go" not in missed_rules(round_on(entries, day(60)))


def test_nobody_is_told_how_to_kill() -> None:
    [task] = asked(round_on(birds(keep_hens=12), day(12)), "let_go")
    assert "trained person or a vet" in task.caution
    assert not any(word in f"{task.task} {task.why}".lower() for word in ("kill", "slaughter"))

"""A keeper's own changes to the rules of care."""

from typing import Any

import pytest
from tests.guide.rounds import adults, asked, chicks, day, hatch, home, round_on, rules_asked
from tests.makers import made

from quailwright.flock.fold import fold
from quailwright.guide.rules import all_rules, printed_rules, problems
from quailwright.journal.entries import CareRule, Entry

PENS = [home(), *adults("east"), *adults("west")]


def change(number: int = 0, **fields: Any) -> Entry:
    return made("care_rule", day(number), **fields)


def says(**fields: Any) -> list[str]:
    entry = change(**fields)
    assert isinstance(entry, CareRule)
    return [finding.sentence for finding in problems(entry)]


def test_minutes_changed_are_for_the_place_whatever_lives_there() -> None:
    for hens in (4, 32):
        journal = [home(), *adults(hens=hens, cocks=0), change(rule="feed_water", minutes=7)]
        [task] = asked(round_on(journal, day(1)), "feed_water")
        assert task.minutes == 7


def test_text_why_and_caution_changed_and_the_printed_text_stays_readable() -> None:
    mine = change(rule="feed_water", task="Feed the lot", why="They shout", caution="Mind the step")
    [task] = asked(round_on([home(), *adults(), mine], day(1)), "feed_water")
    assert (task.task, task.why, task.caution) == ("Feed the lot", "They shout", "Mind the step")
    assert task.printed == printed_rules()["feed_water"].task


def test_a_printed_rule_left_alone_says_nothing_of_a_change() -> None:
    [task] = asked(round_on([home(), *adults()], day(1)), "feed_water")
    assert task.printed == ""


def test_interval_changed() -> None:
    journal = [home(), *adults(), change(rule="mesh_check", every_days=3),
               made("care", day(1), task="mesh_check", place="pen")]  # fmt: skip
    assert asked(round_on(journal, day(3)), "mesh_check") == []
    assert asked(round_on(journal, day(4)), "mesh_check")


@pytest.mark.parametrize(("every_days", "times"), [(0.5, 2), (0.25, 4), (1, 1)])
def test_parts_of_a_day_are_so_many_times_a_day(every_days: float, times: int) -> None:
    journal = [home(), *adults(), change(rule="collect_eggs", every_days=every_days)]
    for left in range(times, 0, -1):
        [task] = asked(round_on(journal, day(2)), "collect_eggs")
        assert task.times_left == left
        journal.append(made("care", day(2), task="collect_eggs", place="pen"))
    assert asked(round_on(journal, day(2)), "collect_eggs") == []


def test_turning_once_a_day_when_the_keeper_says_so() -> None:
    journal = [home(), hatch(), change(rule="turn_eggs", every_days=1)]
    [task] = asked(round_on(journal, day(3)), "turn_eggs")
    assert task.times_left == 1


def test_the_day_of_a_step_changed() -> None:
    journal = [home(), hatch(), change(rule="stop_turning", day=15)]
    assert asked(round_on(journal, day(14)), "stop_turning") == []
    [task] = asked(round_on(journal, day(15)), "stop_turning")
    assert task.count == "day 15, the 16th day"


def test_a_step_made_recurring_comes_again_and_again() -> None:
    journal = [home(), *adults(age=20), change(rule="weigh_growers", every_days=7)]
    weighed = made("birds_weighed", day(2), group="pen birds", weights_g=[120.0])
    assert asked(round_on([*journal, weighed], day(8)), "weigh_growers") == []
    assert asked(round_on([*journal, weighed], day(9)), "weigh_growers")


def test_silenced_everywhere_and_brought_back() -> None:
    silenced = [*PENS, change(rule="feed_water", silenced=True)]
    assert "feed_water" not in rules_asked(round_on(silenced, day(1)))
    back = [*silenced, change(2, rule="feed_water", silenced=False)]
    assert len(asked(round_on(back, day(2)), "feed_water")) == 2


def test_silenced_at_one_place_only() -> None:
    journal = [*PENS, change(rule="feed_water", silenced=True, place="east")]
    assert [task.place for task in asked(round_on(journal, day(1)), "feed_water")] == ["west"]


def test_silenced_everywhere_but_wanted_at_one_place() -> None:
    journal = [
        *PENS,
        change(rule="feed_water", silenced=True),
        change(rule="feed_water", place="east", minutes=3),
    ]
    [task] = asked(round_on(journal, day(1)), "feed_water")
    assert (task.place, task.minutes) == ("east", 3)
    assert task.task == printed_rules()["feed_water"].task


def test_a_change_at_a_place_goes_over_one_everywhere() -> None:
    journal = [
        *PENS,
        change(rule="feed_water", minutes=5),
        change(rule="feed_water", place="east", minutes=9),
    ]
    found = {task.place: task.minutes for task in asked(round_on(journal, day(1)), "feed_water")}
    assert found == {"east": 9, "west": 5}


@pytest.mark.parametrize(
    ("stage", "beginning", "place"),
    [
        ("pen", adults(), "pen"),
        ("grower", adults(), "pen"),
        ("brooder", chicks(), "brooder"),
        ("machine", [hatch()], "incubator"),
        ("hatch", [hatch()], "incubator"),
        ("holding", adults(), ""),
        ("chicks", [hatch(), made("chicks_hatched", day(1), hatch="may", chicks=3)], "incubator"),
        ("received", [made("eggs_received", day(0), source="friend", eggs=12)], ""),
    ],
)
@pytest.mark.parametrize("rhythm", [{"every_days": 4}, {"day": 4}])
def test_a_rule_of_ones_own_comes_up_at_every_stage(
    stage: str, beginning: list[Entry], place: str, rhythm: dict[str, Any]
) -> None:
    own = change(rule="own", stage=stage, task="Oil the hinges", minutes=2, **rhythm)
    journal = [home(), *beginning, own]
    seen = [n for n in range(9) if "own" in rules_asked(round_on(journal, day(n)))]
    assert seen
    [task] = asked(round_on(journal, day(seen[0])), "own")
    assert (task.task, task.place, task.minutes) == ("Oil the hinges", place, 2)
    assert task.once is ("day" in rhythm)
    counted_from_before = "day" in rhythm and stage in ("grower", "holding")
    assert seen[0] == 0 if counted_from_before else 3 <= seen[0] <= 5
    tick = made("care", day(seen[0]), task="own", **({"place": place} if place else {}))
    assert "own" not in rules_asked(round_on([*journal, tick], day(seen[0])))


def test_a_rule_of_ones_own_for_the_day_before_setting_is_no_rest_of_posted_eggs() -> None:
    own = change(rule="own", stage="hatch", task="Say hello", day=-1)
    [task] = asked(round_on([home(), hatch(), own], day(0)), "own")
    assert str(task.due)[:10] == "2027-05-01"


@pytest.mark.parametrize(
    "task", ["Wash {now}", "Look {c:nothing.known}", "{", "{}", "{heat}", "100 % {n:}"]
)
def test_braces_in_a_keepers_own_words_stay_as_they_are(task: str) -> None:
    mine = change(rule="trays", task=task, every_days=1)
    [found] = asked(round_on([home(), *adults(), mine], day(1)), "trays")
    assert found.task == task or (task == "{heat}" and "°C" in found.task)


def test_a_change_counts_from_its_day_on() -> None:
    journal = [home(), *adults(), change(5, rule="feed_water", minutes=7)]
    [before] = asked(round_on(journal, day(4)), "feed_water")
    [after] = asked(round_on(journal, day(5)), "feed_water")
    assert before.minutes != 7
    assert after.minutes == 7


def test_rules_looked_up_show_what_is_silenced_and_where_they_differ() -> None:
    journal = [
        *PENS,
        change(rule="collect_eggs", silenced=True),
        change(rule="wash", every_days=20, place="east"),
        change(rule="own", stage="pen", task="Oil", every_days=9, place="west"),
    ]
    shown = all_rules(fold(journal).care_rules)
    assert {s.rule.rule for s in shown} == {*printed_rules(), "own"}
    assert [s.rule.rule for s in shown if s.silenced] == ["collect_eggs"]
    [wash] = [s for s in shown if s.place == "east"]
    assert wash.rule.every == 20
    assert wash.rule.original == printed_rules()["wash"]
    assert [s.rule.task for s in shown if s.place == "west"] == ["Oil"]


def test_nonsense_is_said_in_a_sentence() -> None:
    [unknown] = says(rule="wsh", every_days=45)
    assert "there is no printed rule 'wsh'" in unknown
    assert "needs stage, task" in unknown
    assert "Did you mean wash?" in unknown
    [no_rhythm] = says(rule="oil", stage="pen", task="Oil the hinges")
    assert "needs every_days or day" in no_rhythm
    [both] = says(rule="wash", every_days=4, day=4)
    assert "not both" in both
    [blank] = says(rule="wash", task=" ")
    assert "silenced=true" in blank


def test_changes_that_make_sense_pass() -> None:
    assert says(rule="wash", every_days=45) == []
    assert says(rule="anything", silenced=True) == []
    assert says(rule="oil", stage="pen", task="Oil the hinges", every_days=90) == []

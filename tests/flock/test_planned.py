"""What is planned: replaced, dropped, fulfilled under this or another name, and lapsed."""

from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.flock.journals import DAYS, journals
from tests.makers import made

from quailwright.flock.fold import fold
from quailwright.flock.planned import (
    PROGRESS,
    count_meant,
    cull_progress,
    culls_in,
    set_progress,
    sets_in,
)
from quailwright.flock.standing import standing
from quailwright.flock.state import Birds, Flock
from quailwright.husbandry import facts
from quailwright.journal.entries import Entry

PLANNED = "2027-04-01"
BRIEF = "[goal]\neggs_per_week = 60\n"
MATCHES = int(facts.value("planning.set_matches_d"))
LAPSES = int(facts.value("planning.set_lapses_d"))
CULL_LAPSES = int(facts.value("planning.cull_lapses_d"))


def accepted(at: str = PLANNED, certainty: float = 0.8) -> Entry:
    return made("plan_accepted", at, brief=BRIEF, certainty=certainty)


def planned(hatch: str, on: str, at: str = PLANNED, **more: Any) -> Entry:
    whose = {} if "group" in more else {"source": "creek"}
    fields = {"eggs": 40, "place": "box", **whose, **more}
    return made("set_planned", at, hatch=hatch, on=on, **fields)


def cull(on: str, at: str = PLANNED, **more: Any) -> Entry:
    return made("cull_planned", at, on=on, **more)


def eggs_set(hatch: str, at: str, **more: Any) -> Entry:
    whose = {} if "group" in more else {"source": "creek"}
    return made("eggs_set", at, hatch=hatch, **{"eggs": 38, "place": "box", **whose, **more})


def set_as(flock: Flock) -> dict[str, str | None]:
    return {name: one.set_as for name, one in flock.planned_sets.items()}


def progress(entries: list[Entry], on: str) -> dict[str, str]:
    """How far each planned set has come by a day."""
    day = date.fromisoformat(on)
    flock = fold(entries, day)
    return {name: set_progress(one, day) for name, one in flock.planned_sets.items()}


# An accepted plan.


def test_a_plan_is_what_was_accepted_last() -> None:
    flock = fold([accepted(), accepted("2027-05-01", 0.9)])
    assert flock.plan is not None
    assert (flock.plan.brief, flock.plan.certainty) == (BRIEF, 0.9)
    assert flock.plan.accepted_at.date() == date(2027, 5, 1)
    assert fold([]).plan is None


def test_accepting_drops_what_was_planned_before_and_keeps_what_comes_with_it() -> None:
    before = [planned("old", "2027-05-01"), cull("2027-07-01", hatch="old", keep_hens=5)]
    moment = "2027-04-10T08:00Z"
    new = [
        cull("2027-07-09", moment, hatch="new", keep_hens=9),
        planned("new", "2027-05-08", moment),
        accepted(moment),
    ]
    flock = fold([*before, *new])
    assert list(flock.planned_sets) == ["new"]
    assert [one.hatch for one in flock.planned_culls.values()] == ["new"]
    then = fold([*before, *new], date(2027, 4, 9))
    assert list(then.planned_sets) == ["old"]


def test_what_is_planned_by_hand_after_a_plan_is_added_to_it() -> None:
    flock = fold([accepted(), planned("a", "2027-05-01"), planned("b", "2027-06-01", "2027-04-20")])
    assert set(flock.planned_sets) == {"a", "b"}


# Sets.


def test_a_later_set_of_the_same_hatch_replaces_the_earlier() -> None:
    flock = fold([planned("a", "2027-05-01"), planned("a", "2027-05-20", "2027-04-09", eggs=20)])
    [one] = flock.planned_sets.values()
    assert (one.on, one.eggs, one.since) == (date(2027, 5, 20), 20, date(2027, 4, 9))


def test_a_set_is_ahead_then_due_then_lapsed() -> None:
    entries = [planned("a", "2027-05-03")]
    day = date(2027, 5, 3)
    assert progress(entries, "2027-05-02") == {"a": "ahead"}
    assert progress(entries, "2027-05-03") == {"a": "due"}
    assert progress(entries, str(day + timedelta(days=LAPSES))) == {"a": "due"}
    assert progress(entries, str(day + timedelta(days=LAPSES + 1))) == {"a": "lapsed"}


def test_a_set_is_done_by_its_name_whenever_and_of_whatever_eggs() -> None:
    late = eggs_set("a", "2027-05-20", source="hill")
    assert progress([planned("a", "2027-05-03"), late], "2027-05-19") == {"a": "lapsed"}
    assert progress([planned("a", "2027-05-03"), late], "2027-05-20") == {"a": "done"}


@pytest.mark.parametrize("days", [-MATCHES, 0, MATCHES])
def test_a_set_is_done_by_eggs_of_its_source_about_its_day(days: int) -> None:
    at = str(date(2027, 5, 3) + timedelta(days=days))
    assert set_as(fold([planned("a", "2027-05-03"), eggs_set("other", at)])) == {"a": "other"}


@pytest.mark.parametrize(
    ("at", "more"),
    [
        (str(date(2027, 5, 3) + timedelta(days=MATCHES + 1)), {}),
        (str(date(2027, 5, 3) - timedelta(days=MATCHES + 1)), {}),
        ("2027-05-03", {"source": "hill"}),
        ("2027-05-03", {"group": "layers"}),
    ],
)
def test_eggs_of_another_source_or_time_are_another_set(at: str, more: dict[str, str]) -> None:
    layers = made("group", PLANNED, group="layers", place="pen", hens=9)
    flock = fold([layers, planned("a", "2027-05-03"), eggs_set("other", at, **more)])
    assert set_as(flock) == {"a": None}


def test_own_eggs_may_be_told_by_source_or_by_group() -> None:
    layers = made("group", PLANNED, group="layers", place="pen", hens=9)
    own = made("source", PLANNED, source="home", route="own")
    by_source = [layers, own, planned("a", "2027-05-03", source="home")]
    assert set_as(fold([*by_source, eggs_set("x", "2027-05-03", group="layers")])) == {"a": "x"}
    by_group = [layers, own, planned("a", "2027-05-03", group="layers")]
    assert set_as(fold([*by_group, eggs_set("x", "2027-05-03", source="home")])) == {"a": "x"}


def test_the_nearest_set_not_done_is_taken() -> None:
    plan = [planned("a", "2027-05-01"), planned("b", "2027-05-04")]
    one = [*plan, eggs_set("x", "2027-05-03")]
    assert set_as(fold(one)) == {"a": None, "b": "x"}
    assert set_as(fold([*one, eggs_set("y", "2027-05-04")])) == {"a": "y", "b": "x"}


def test_a_set_of_its_own_name_takes_its_place_back() -> None:
    plan = [planned("a", "2027-05-01"), planned("b", "2027-05-04")]
    flock = fold([*plan, eggs_set("x", "2027-05-03"), eggs_set("b", "2027-05-04")])
    assert set_as(flock) == {"a": "x", "b": "b"}


def test_a_source_that_is_no_longer_own_does_no_harm() -> None:
    entries = [
        made("group", PLANNED, group="layers", place="pen", hens=9),
        made("source", PLANNED, source="home", route="own"),
        planned("a", "2027-05-03", source="home"),
        eggs_set("x", "2027-05-03", group="layers"),
        made("source", "2027-05-04", source="home", route="shipped"),
        eggs_set("a", "2027-05-05", source="home"),
    ]
    assert set_as(fold(entries)) == {"a": "a"}


def test_two_sources_in_one_hatch_do_both_of_their_sets() -> None:
    plan = [planned("a", "2027-05-01"), planned("b", "2027-05-01", source="hill"),
            planned("c", "2027-05-02")]  # fmt: skip
    both = [eggs_set("may", "2027-05-01"), eggs_set("may", "2027-05-01", source="hill"),
            eggs_set("may", "2027-05-01", eggs=3)]  # fmt: skip
    assert set_as(fold([*plan, *both])) == {"a": "may", "b": "may", "c": None}


def test_eggs_set_before_it_was_planned_are_not_for_it() -> None:
    entries = [eggs_set("x", "2027-05-02T08:00Z"), planned("a", "2027-05-03", "2027-05-02T09:00Z")]
    assert set_as(fold(entries)) == {"a": None}
    # A date alone: some time that day, and the name says that it was for it.
    named = [eggs_set("a", "2027-05-02"), planned("a", "2027-05-03", "2027-05-02T09:00Z")]
    assert set_as(fold(named)) == {"a": "a"}
    assert fold(named).findings == []


def test_a_set_taken_back_is_to_be_done_again() -> None:
    done = eggs_set("x", "2027-05-03")
    back = made("retract", "2027-05-04", entry=done.id, why="wrong day")
    assert set_as(fold([planned("a", "2027-05-03"), done, back])) == {"a": None}


def test_three_sets_one_under_another_name_one_lapsed_one_taken_back() -> None:
    moment = "2027-04-01T20:00Z"
    third = planned("c", "2027-06-10", moment)
    entries = [
        accepted(moment),
        planned("a", "2027-05-03", moment),
        planned("b", "2027-05-20", moment),
        third,
        cull("2027-07-25", moment, hatch="c", keep_hens=5),
        eggs_set("early-may", "2027-05-04T19:00Z"),
        made("retract", "2027-05-30", entry=third.id, why="no time"),
    ]
    assert progress(entries, "2027-05-04") == {"a": "done", "b": "ahead", "c": "ahead"}
    assert progress(entries, "2027-05-31") == {"a": "done", "b": "lapsed"}
    flock = fold(entries)
    assert flock.findings == []
    assert set_as(flock) == {"a": "early-may", "b": None}
    day = date(2027, 5, 31)
    assert [one.hatch for one in sets_in(flock, day, "lapsed")] == ["b"]
    assert sets_in(flock, day, "ahead", "due") == []
    # Nothing will hatch for the cull of a set taken back.
    assert [one.hatch for one in culls_in(flock, day, "lapsed")] == ["c"]


# Culls.

LAYERS = made("group", PLANNED, group="layers", place="pen", hens=20, cocks=5,
              hatched_on="2026-12-01")  # fmt: skip


def cull_progress_on(entries: list[Entry], on: str) -> str:
    day = date.fromisoformat(on)
    flock = fold(entries, day)
    [one] = flock.planned_culls.values()
    return cull_progress(flock, one, day)


def gone(at: str, **birds: int) -> Entry:
    return made("birds_out", at, group="layers", use="sold", **birds)


def test_a_cull_is_due_until_no_more_than_that_are_left() -> None:
    entries = [LAYERS, cull("2027-05-01", group="layers", keep_hens=12, keep_cocks=3)]
    assert cull_progress_on(entries, "2027-04-30") == "ahead"
    assert cull_progress_on(entries, "2027-05-01") == "due"
    some = [*entries, gone("2027-05-02", hens=8)]
    assert cull_progress_on(some, "2027-05-02") == "due"
    enough = [*some, gone("2027-05-04", cocks=2)]
    assert cull_progress_on(enough, "2027-05-03") == "due"
    assert cull_progress_on(enough, "2027-05-04") == "done"


def test_birds_that_join_later_do_not_make_it_due_again() -> None:
    entries = [LAYERS, cull("2027-05-01", group="layers", keep_hens=12), gone("2027-05-02", hens=8)]
    more = made("group", "2027-05-10", group="layers", place="pen", hens=15)
    assert cull_progress_on([*entries, more], "2027-05-12") == "done"


def test_a_cull_done_early_is_done_on_its_day() -> None:
    entries = [LAYERS, cull("2027-05-01", group="layers", keep_hens=12), gone("2027-04-20", hens=8)]
    assert cull_progress_on(entries, "2027-04-25") == "ahead"
    assert cull_progress_on(entries, "2027-05-01") == "done"


def test_a_cull_not_done_for_long_has_lapsed() -> None:
    entries = [LAYERS, cull("2027-05-01", group="layers", keep_hens=12)]
    last = date(2027, 5, 1) + timedelta(days=CULL_LAPSES)
    assert cull_progress_on(entries, str(last)) == "due"
    assert cull_progress_on(entries, str(last + timedelta(days=1))) == "lapsed"


def test_a_later_cull_of_the_same_birds_and_day_replaces_the_earlier() -> None:
    first = cull("2027-05-01", group="layers", keep_hens=12)
    again = cull("2027-05-01", "2027-04-02", group="layers", keep_hens=10)
    other_day = cull("2027-06-01", "2027-04-02", group="layers", keep_hens=4)
    flock = fold([LAYERS, first, again, other_day])
    assert [one.keep_hens for one in culls_in(flock, date(2027, 4, 3), *PROGRESS)] == [10, 4]


def test_of_a_group_of_mixed_age_only_those_of_the_day_are_meant() -> None:
    young = made("group", PLANNED, group="layers", place="pen", hens=10, hatched_on="2027-02-01")
    of_old = cull("2027-05-01", group="layers", hatched_on="2026-12-01", keep_hens=6)
    entries = [LAYERS, young, of_old]
    day = date(2027, 5, 1)
    flock = fold(entries)
    [one] = flock.planned_culls.values()
    assert count_meant(flock, one, day) == Birds(0, 20, 5)
    assert cull_progress(flock, one, day) == "due"


# A hatch: planned, under way, out of the shell, in a group, moved into another.

SET = eggs_set("may", "2027-05-03T20:00Z")
OUT = made("chicks_hatched", "2027-05-20T20:00Z", hatch="may", chicks=24)
HOUSED = made("group", "2027-05-21T20:00Z", group="young", place="brooder", hatch="may")
SEXED = made("birds_sexed", "2027-06-12", group="young", hens=13, cocks=11)
MOVED = made("birds_moved", "2027-06-20", group="young", place="pen", to_group="layers")
OF_MAY = [LAYERS, planned("may", "2027-05-03"), cull("2027-07-02", hatch="may", keep_hens=8,
                                                     keep_cocks=2)]  # fmt: skip


@pytest.mark.parametrize(
    ("life", "on", "meant"),
    [
        ([], "2027-05-02", Birds()),
        ([SET], "2027-05-10", Birds()),
        ([SET, OUT], "2027-05-20", Birds(24)),
        ([SET, OUT, HOUSED], "2027-05-22", Birds(24)),
        ([SET, OUT, HOUSED, SEXED], "2027-06-13", Birds(0, 13, 11)),
        ([SET, OUT, HOUSED, SEXED, MOVED], "2027-06-21", Birds(0, 13, 11)),
    ],
)
def test_birds_of_a_hatch_are_found_all_their_life(
    life: list[Entry], on: str, meant: Birds
) -> None:
    day = date.fromisoformat(on)
    flock = fold([*OF_MAY, *life], day)
    [one] = flock.planned_culls.values()
    assert count_meant(flock, one, day) == meant
    assert cull_progress(flock, one, day) == "ahead"
    closed = made("hatch_closed", "2027-05-23", hatch="may")
    grown = [*OF_MAY, *life, *([closed] if life else [])]
    assert cull_progress_on(grown, "2027-07-02") == ("due" if len(life) > 1 else "done" if life
                                                     else "lapsed")  # fmt: skip


def test_a_hatch_set_under_another_name_is_followed_too() -> None:
    life = [
        eggs_set("spring", "2027-05-04"),
        made("chicks_hatched", "2027-05-21", hatch="spring", chicks=24),
        made("group", "2027-05-22", group="young", place="brooder", hatch="spring"),
        SEXED,
    ]
    day = date(2027, 7, 3)
    flock = fold([*OF_MAY, *life], day)
    [one] = flock.planned_culls.values()
    assert count_meant(flock, one, day) == Birds(0, 13, 11)
    assert cull_progress(flock, one, day) == "due"


def test_a_chick_not_sexed_may_be_either() -> None:
    few = made("group", PLANNED, group="young", place="brooder", chicks=9)
    entries = [few, cull("2027-05-01", group="young", keep_hens=8)]
    assert cull_progress_on(entries, "2027-05-01") == "due"
    one_less = made("birds_died", "2027-05-02", group="young", chicks=1)
    assert cull_progress_on([*entries, one_less], "2027-05-02") == "done"


# For every journal.


@given(journals(), st.sampled_from([*DAYS, *(DAYS[-1] + timedelta(days=n) for n in (5, 40, 120))]))
def test_every_plan_has_come_so_far_and_no_eggs_do_two_sets_of_one_source(
    journal: list[Entry], on: date
) -> None:
    flock = fold(journal, on)
    stands = standing(flock, on)
    assert {one.hatch for one in stands.planned_sets} == set(flock.planned_sets)
    for one in stands.planned_sets:
        assert (one.progress == "done") == (one.set_as is not None)
        assert one.set_as is None or one.set_as in flock.hatches
        assert (one.progress == "ahead") <= (on < one.on)
    done = [(one.set_as, one.group or one.source) for one in stands.planned_sets if one.set_as
            and one.set_as != one.hatch]  # fmt: skip
    assert len(done) == len(set(done))
    assert len(stands.planned_culls) == len(flock.planned_culls)
    for meant in stands.planned_culls:
        assert min(meant.hens, meant.cocks, meant.chicks) >= 0

"""A plan taken on is in the journal whole: what the fold makes of it is what was planned."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from itertools import count

import numpy as np
import pytest
from tests.makers import made
from tests.outlook.flocks import NOWHERE, hens
from tests.planning.test_model import ON
from tests.planning.test_plan import from_week

from quailwright.flock.fold import fold
from quailwright.flock.planned import culls_in, sets_in
from quailwright.flock.state import Flock
from quailwright.journal.entries import CullPlanned, Entry, SetPlanned
from quailwright.outlook.forecast import Question, forecast, learn
from quailwright.outlook.planned import planned_of
from quailwright.planning.accept import accepted_ahead, entries_of
from quailwright.planning.again import Change, changes
from quailwright.planning.brief import Brief
from quailwright.planning.plan import Plan, Situation, make_plan, question_of
from quailwright.planning.problem import Problem, Set

BRIEF = "[goal]\neggs_per_week = 40\n"
AT = f"{ON}T18:00:00+00:00"
UNDER_WAY = made("eggs_set", "2027-02-20", hatch="A", eggs=60, place="box", source="creek")
YOUNG_AND_OLD = (
    hens(20, hatched_on="2025-03-01"),
    hens(10, at="2027-02-01", hatched_on="2026-12-01"),
)


def taken_on(what: Problem, before: Sequence[Entry] = ()) -> tuple[Plan, list[Entry], Flock]:
    """A plan, its entries, and the flock of the day after with them."""
    entries = [NOWHERE, *before]
    flock = fold(entries, ON)
    situation = Situation(flock, learn(flock, ON), {})
    plan = make_plan(situation, what, np.random.default_rng(1))
    numbers = count(1)
    found = entries_of(
        plan, Brief(), BRIEF, flock, AT, lambda: f"{next(numbers):08x}-0000-4000-8000-00000000beef"
    )
    return plan, found, fold([*entries, *found], ON + timedelta(days=1))


@pytest.mark.parametrize(
    ("what", "before"),
    [
        (from_week(14, 40.0, 20, hatcher=60), ()),
        (from_week(14, 40.0, 60, hatcher=60, sources=2, most=30), ()),
        (from_week(0, 40.0, 30), (hens(40),)),
        (from_week(14, 30.0, 20), (UNDER_WAY,)),
        (from_week(0, 40.0, 10, last=ON), YOUNG_AND_OLD),
    ],
    ids=["sets", "two sources", "birds there", "under way", "two ages"],
)
def test_what_is_planned_is_what_the_fold_makes_of_it(
    what: Problem, before: Sequence[Entry]
) -> None:
    """Property: the outlook of the journal with the acceptance is that of the plan."""
    plan, entries, flock = taken_on(what, before)
    assert flock.plan is not None
    assert flock.plan.brief == BRIEF
    now = fold([NOWHERE, *before], ON)
    rates = learn(now, ON)
    weeks = what.weeks

    def eggs(question: Question, of: Flock) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        rng = np.random.default_rng(5)
        ahead = forecast(of, ON, rng=rng, weeks=weeks, draws=1500, question=question, rates=rates)
        mean: np.ndarray[tuple[int], np.dtype[np.float64]] = ahead.samples["eggs"].mean(0)
        return mean

    meant = eggs(question_of(plan.problem, plan.asked, plan.draft), now)
    told = eggs(Question(planned=planned_of(flock, ON, weeks)), flock)
    np.testing.assert_allclose(told, meant, atol=0.06 * max(1.0, float(meant.max())))
    _is_read_back(plan, entries, flock)


def _is_read_back(plan: Plan, entries: list[Entry], flock: Flock) -> None:
    """Every set has a name of its own and a day of choosing; sets and culls are as they were."""
    sets = [entry for entry in entries if isinstance(entry, SetPlanned)]
    culls = [entry for entry in entries if isinstance(entry, CullPlanned)]
    assert len({one.hatch for one in sets}) == len(plan.draft.sets) == len(sets)
    for one in sets:
        first = min(cull.on for cull in culls if cull.hatch == one.hatch)
        assert 55 <= (first - one.on).days <= 63
    assert len(sets_in(flock, ON + timedelta(days=1), "ahead", "due")) == len(sets)
    read_sets, read_culls = accepted_ahead(flock, ON)
    assert sorted(read_sets, key=str) == sorted(plan.draft.sets, key=str)
    assert [(one.on, one.of, one.keep_hens) for one in read_culls] == [
        (one.on, one.of, one.keep_hens) for one in plan.draft.culls
    ]


def test_a_later_acceptance_drops_the_earlier_one() -> None:
    _, entries, _ = taken_on(from_week(14, 40.0, 20, hatcher=60))
    later = made("plan_accepted", f"{ON}T19:00:00+00:00", brief=BRIEF, certainty=0.8)
    flock = fold([NOWHERE, *entries, later], ON + timedelta(days=1))
    assert accepted_ahead(flock, ON) == ((), ())
    assert not culls_in(flock, ON + timedelta(days=1), "ahead", "due")


def test_nothing_accepted_nothing_kept() -> None:
    assert accepted_ahead(fold([NOWHERE], ON), ON) == ((), ())


# What changed.


def planned(day: date, eggs: int = 40, source: str = "creek") -> Entry:
    return made(
        "set_planned", AT, hatch=f"{day} {source}", on=day, eggs=eggs, place="box", source=source
    )


def compared(before: Sequence[Entry], after: Sequence[Set]) -> list[str]:
    flock = fold([NOWHERE, made("plan_accepted", AT, brief=BRIEF, certainty=0.8), *before],
                 ON + timedelta(days=1))  # fmt: skip
    plan, _, _ = taken_on(from_week(12, 5.0, 13))
    found = changes(flock, replace(plan, draft=replace(plan.draft, sets=tuple(after))))
    assert all(isinstance(one, Change) for one in found)
    return [one.words for one in found if one.words]


def a_set(day: date, eggs: int = 40, source: str = "creek") -> Set:
    return Set(day, source, eggs, "box", 8, 2)


MAY, JUNE, JULY = date(2027, 5, 3), date(2027, 6, 7), date(2027, 7, 5)


def test_changes_are_told_set_by_set() -> None:
    said = compared(
        [planned(MAY), planned(JUNE), planned(JULY)],
        [a_set(MAY), a_set(JUNE + timedelta(days=3), 52), a_set(date(2027, 9, 6), 30)],
    )
    assert said == [
        "40 eggs of creek on 2027-06-07: now on 2027-06-10, 52 eggs",
        "no more: 40 eggs of creek on 2027-07-05",
        "new: 30 eggs of creek on 2027-09-06",
    ]


def test_no_change_is_told_where_there_is_none() -> None:
    assert compared([planned(MAY), planned(JUNE)], [a_set(MAY), a_set(JUNE)]) == []


def test_another_source_on_the_same_day_is_told() -> None:
    assert compared([planned(MAY)], [a_set(MAY, source="mill")]) == [
        "40 eggs of creek on 2027-05-03: now from mill"
    ]

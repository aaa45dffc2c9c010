"""What holds of the round for any journal that the fold accepts, plausible or not."""

from collections.abc import Callable
from datetime import date, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.flock.journals import FIRST, HATCHES, PLACES, journals
from tests.guide.rounds import tasks_of
from tests.makers import made, uid

from quailwright.flock.fold import fold
from quailwright.guide.round import Round, Task, hatch_steps, todays_round
from quailwright.guide.rules import printed_rules, stages
from quailwright.journal.entries import Entry

DAYS = [FIRST + timedelta(days=n) for n in (*range(-1, 30), 45, 60, 250, 800)]
WORDS = st.sampled_from(["Do it", "Do {heat}", "{c:no.such}", "{", "Count the {surplus} birds"])


@st.composite
def changes(draw: Callable[[st.SearchStrategy[Any]], Any]) -> list[Entry]:
    """Changes to rules, sense and nonsense; ticks of printed rules."""
    rules = st.sampled_from([*printed_rules(), "own"])
    found = []
    for number in range(draw(st.integers(0, 4))):
        fields = draw(
            st.fixed_dictionaries(
                {"rule": rules},
                optional={
                    "silenced": st.booleans(),
                    "place": st.sampled_from(PLACES),
                    "stage": st.sampled_from(list(stages())),
                    "task": WORDS,
                    "why": WORDS,
                    "minutes": st.integers(0, 90),
                    "every_days": st.sampled_from([0.25, 0.5, 1, 1.4, 2, 7, 3650]),
                    "day": st.sampled_from([-60, -1, 0, 0.5, 14, 3650]),
                },
            )
        )
        found.append(made("care_rule", FIRST, id=uid(5000 + number), **fields))
    for number in range(draw(st.integers(0, 4))):
        fields = {"task": draw(rules), "place": draw(st.none() | st.sampled_from(PLACES))}
        told = {name: value for name, value in fields.items() if value is not None}
        found.append(made("care", draw(st.sampled_from(DAYS[:12])), id=uid(6000 + number), **told))
    return found


@st.composite
def living(draw: Callable[[st.SearchStrategy[Any]], Any]) -> tuple[list[Entry], date]:
    """A journal and a day on which to walk the round."""
    return [*draw(journals()), *draw(changes())], draw(st.sampled_from(DAYS))


def walked(journal: list[Entry], on: date) -> Round:
    return todays_round(fold(journal, on), on)


@given(living())
def test_a_round_can_be_walked_on_any_journal_and_always_the_same(
    case: tuple[list[Entry], date],
) -> None:
    journal, on = case
    the_round = walked(journal, on)
    assert walked(journal, on) == the_round
    assert walked(journal[::-1], on) == the_round


@given(living())
def test_minutes_are_the_sum_of_the_tasks_and_nothing_is_due_after_today(
    case: tuple[list[Entry], date],
) -> None:
    journal, on = case
    the_round = walked(journal, on)
    tasks = tasks_of(the_round)
    assert the_round.minutes == pytest.approx(sum(t.minutes for t in tasks if not t.apart))
    assert the_round.minutes_apart == pytest.approx(sum(t.minutes for t in tasks if t.apart))
    for task in tasks:
        assert _day(task) <= on
        assert task.overdue_days >= 0
        assert task.times_left >= 1
        assert task.task
    for task in the_round.coming:
        assert on < _day(task) <= on + timedelta(days=7)
    for place in the_round.places:
        assert place.tasks
        assert {task.place for task in place.tasks} == {place.place}


def _day(task: Task) -> date:
    return task.due.date() if isinstance(task.due, datetime) else task.due


def _what(task: Task) -> tuple[str, str, str]:
    return (task.rule, task.place, task.subject)


@given(living(), st.data())
def test_ticking_a_task_takes_one_time_of_it_off_the_round(
    case: tuple[list[Entry], date], data: st.DataObject
) -> None:
    journal, on = case
    before = walked(journal, on)
    ticked = [task for task in tasks_of(before) if task.tick.get("kind") == "care"]
    if not ticked:
        return
    task = data.draw(st.sampled_from(ticked))
    after = walked([*journal, made(at=on, id=uid(7000), **task.tick)], on)
    left = [t.times_left for t in tasks_of(after) if _what(t) == _what(task)]
    was = [t.times_left for t in tasks_of(before) if _what(t) == _what(task)]
    assert sum(left) < sum(was)
    if task.times_left > 1 and len(was) == 1:
        assert left == [task.times_left - 1]


@given(living())
def test_every_step_of_every_hatch_has_its_instant(case: tuple[list[Entry], date]) -> None:
    journal, on = case
    flock = fold(journal, on)
    for name in HATCHES:
        if name in flock.hatches:
            steps = hatch_steps(flock, flock.hatches[name], on)
            assert [step.at for step in steps] == sorted(step.at for step in steps)
            assert all(step.at.tzinfo is not None for step in steps)

"""The minutes of the round over two months, against what keepers report."""

from typing import Any

import pytest
from tests.guide.rounds import adults, chicks, day, hatch, home, round_on, tasks_of
from tests.makers import made

from quailwright.guide.round import Task
from quailwright.journal.entries import Entry

DAYS = 61
BIRDS = 40
STEPS: dict[str, dict[str, Any]] = {
    "eggs_weighed": {"eggs": 40, "total_g": 480.0},
    "eggs_candled": {"clear": 4, "dead": 0},
    "chicks_hatched": {"chicks": 6},
    "birds_weighed": {"weights_g": [250.0]},
}


def in_pens(pens: int) -> list[Entry]:
    each = BIRDS // pens
    flocks = [adults(f"pen {n}", hens=each - each // 5, cocks=each // 5) for n in range(pens)]
    return [home(), *(entry for flock in flocks for entry in flock)]


def done(task: Task, number: int) -> list[Entry]:
    """The entries of a keeper who does the task on that day, as often as it is asked."""
    fields = STEPS.get(task.tick["kind"], {}) | task.tick
    return [made(at=day(number), **fields) for _ in range(task.times_left)]


def minutes_a_day(journal: list[Entry], days: int, ticks_all: bool) -> float:
    """Mean minutes of the round for a keeper who does every step, and may tick all the rest."""
    kept = list(journal)
    total = 0.0
    for number in range(days):
        the_round = round_on(kept, day(number))
        total += the_round.minutes
        for task in tasks_of(the_round):
            if (task.once or ticks_all) and task.tick["kind"] in {
                "care",
                "turning_stopped",
                *STEPS,
            }:
                kept += done(task, number)
    return total / days


# Common practice, no source: about 5 minutes a day for the adults of a flock of about 40, the wash
# (every two months, 1 to 2 hours) apart.
@pytest.mark.parametrize("pens", [1, 4])
@pytest.mark.parametrize("ticks_all", [False, True])
def test_forty_adults_take_about_five_minutes_a_day_common_practice(
    pens: int, ticks_all: bool
) -> None:
    assert 4.0 <= minutes_a_day(in_pens(pens), DAYS, ticks_all) <= 6.0


# Common practice, no source: the wash takes 1 to 2 hours, with drying.
def test_wash_stands_apart_and_takes_one_to_two_hours_common_practice() -> None:
    [wash] = [t for t in tasks_of(round_on(in_pens(1), day(DAYS))) if t.rule == "wash"]
    assert wash.apart
    assert 60 <= wash.minutes <= 120


# Common practice, no source: about 15 minutes a day while incubating and brooding.
@pytest.mark.parametrize("pens", [1, 4])
@pytest.mark.parametrize("ticks_all", [False, True])
def test_with_a_hatch_and_a_brooder_about_fifteen_common_practice(
    pens: int, ticks_all: bool
) -> None:
    journal = [*in_pens(pens), hatch(eggs=48), *chicks(30)]
    assert 12.0 <= minutes_a_day(journal, 17, ticks_all) <= 18.0

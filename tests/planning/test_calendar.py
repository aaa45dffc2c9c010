"""A plan as days and bars."""

from dataclasses import replace
from datetime import date, timedelta

from tests.planning.test_model import ON
from tests.planning.test_plan import at_certainty

from quailwright.planning.calendar import bars, lives, steps
from quailwright.planning.plan import Plan
from quailwright.planning.problem import Cull, Set, Span

SET_ON = ON + timedelta(days=15)


def with_sets(*sets: Set, culls: tuple[Cull, ...] = (), **more: tuple[Span, ...]) -> Plan:
    plan = at_certainty(0.6)
    problem = replace(plan.problem, **more)  # type: ignore[arg-type]
    return replace(plan, problem=problem, draft=replace(plan.draft, sets=sets, culls=culls))


def days_of(plan: Plan) -> dict[str, date]:
    return {step.doing: step.on for step in steps(plan)}


def test_steps_of_a_set_fall_on_their_days() -> None:
    """Laid down on day 14, hatched on day 17, feathered at four weeks (`incubation`, `brooding`),
    chosen at six weeks (common practice, no source)."""
    found = days_of(with_sets(Set(SET_ON, "creek", 40, "box", 15, 4)))
    after = {doing: (day - SET_ON).days for doing, day in found.items()}
    assert after == {"set": 0, "lay down": 14, "hatch": 17, "to the pens": 45, "choose": 59}


def test_birds_are_chosen_when_the_keeper_is_back() -> None:
    away = Span(SET_ON + timedelta(days=57), SET_ON + timedelta(days=62))
    found = days_of(with_sets(Set(SET_ON, "creek", 40, "box", 15, 4), absences=(away,)))
    assert found["choose"] == away.last + timedelta(days=1)


def test_bars_run_from_setting_to_the_last_hen() -> None:
    gone = Cull(SET_ON + timedelta(days=100), f"set of {SET_ON}", 0, 0)
    plan = with_sets(Set(SET_ON, "creek", 40, "box", 15, 4), culls=(gone,))
    (bar,) = bars(plan)
    assert [phase for phase, _, _ in bar.phases] == [
        "turned", "hatching", "brooder", "growing", "kept",
    ]  # fmt: skip
    assert bar.phases[0][1] == SET_ON
    assert bar.phases[-1][2] == gone.on - timedelta(days=1)
    for before, after in zip(bar.phases, bar.phases[1:], strict=False):
        assert after[1] == before[2] + timedelta(days=1)


def test_a_set_for_the_table_alone_ends_when_its_birds_are_chosen() -> None:
    plan = with_sets(Set(SET_ON, "creek", 40, "box", 0, 0))
    (bar,) = bars(plan)
    assert bar.phases[-1][0] == "growing"
    (choose,) = (step for step in steps(plan) if step.doing == "choose")
    assert choose.words.endswith("all go")


def test_sets_of_one_day_are_one_bar() -> None:
    sets = (Set(SET_ON, "creek", 40, "box", 15, 4), Set(SET_ON, "mill", 20, "box", 7, 2))
    (bar,) = bars(with_sets(*sets))
    assert bar.name == f"{SET_ON}, 60 eggs"


def test_a_life_runs_from_setting_to_the_day_when_all_go() -> None:
    """Hatched on day 17 (`incubation`); hens lay at 42.8 days on the mean (Stein and Bacon 1976,
    Effect of photoperiod upon age and maintenance of sexual development in female Coturnix)."""
    gone = Cull(SET_ON + timedelta(days=100), f"set of {SET_ON}", 0, 0)
    plan = with_sets(Set(SET_ON, "creek", 40, "box", 15, 4), culls=(gone,))
    (life,) = lives(plan)
    assert (life.hatches - SET_ON).days == 17
    assert (life.lays - life.hatches).days == 43
    assert (life.until, life.goes, life.eggs) == (gone.on, True, 40)
    (stays,) = lives(with_sets(Set(SET_ON, "creek", 40, "box", 15, 4)))
    over = plan.problem.first_day(plan.problem.weeks)
    assert (stays.until, stays.goes) == (over, False)

"""The programme of a plan against every choice counted out, and against its own limits by hand."""

import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise, product
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import optimize, sparse  # type: ignore[import-untyped]
from tests.outlook.flocks import NOWHERE, hens

from quailwright.flock.fold import fold
from quailwright.outlook.forecast import learn
from quailwright.planning.columns import Columns
from quailwright.planning.drafts import read
from quailwright.planning.given import Asked, PerHen, There
from quailwright.planning.hands import a_bird, jobs, minutes_by_day
from quailwright.planning.kernels import Kernels, kernels
from quailwright.planning.model import build
from quailwright.planning.problem import (
    Busy,
    Candidate,
    EggSource,
    Machine,
    Prices,
    Problem,
    Room,
    Set,
    Span,
    Wanted,
    candidates,
)
from quailwright.planning.program import Program
from quailwright.planning.solver import Solution, solve
from quailwright.planning.worth import set_bother, wanting_costs

Array = NDArray[np.float64]

ON = date(2027, 3, 1)
INF = math.inf
CHOSEN_D = 42
"""Age at which those that stay are chosen (six weeks; common practice, no source)."""
EGGS_FOR_HEN = PerHen(4.0, 0.65)


def problem(
    eggs: Sequence[float],
    *,
    table: float = 0.0,
    certainty: float = 0.8,
    sources: int = 1,
    price: float = 0.5,
    postage: float = 8.0,
    least: int = 6,
    most: int = 60,
    first: date | None = None,
    last: date | None = None,
    machine: int = 60,
    hatcher: int = 0,
    brooder_m2: float = INF,
    pen_m2: float = INF,
    most_birds: float = INF,
    feed: tuple[float, float, float] = (1.2, 1.1, 1.0),
    minute: float = 0.0,
    hatch: float = 2.0,
    budget: float = INF,
    minutes: float = INF,
    **more: Any,
) -> Problem:
    """A problem with eggs asked by week, all invented; a second source asks more, its post less."""
    wanted = np.array(eggs, dtype=float)
    weeks = len(wanted)
    asked = np.flatnonzero(wanted).tolist()
    ends = ON + timedelta(weeks=weeks)
    days = first or ON + timedelta(days=1), last or ends
    return Problem(
        ON,
        weeks,
        Wanted(
            wanted,
            table,
            ON + timedelta(days=1 + 7 * (asked[0] if asked else 0)),
            ends,
            certainty,
        ),
        (
            EggSource("creek", False, price, postage, least, most, *days),
            EggSource("mill", False, 1.6 * price, 0.4 * postage, least, most, *days),
        )[:sources],
        Room(
            (Machine("box", machine),) if machine else (),
            (Machine("drawer", hatcher),) if hatcher else (),
            brooder_m2,
            pen_m2,
            most_birds,
        ),
        Prices(feed, minute, hatch, budget, (minutes,) * 7, "EUR"),
        **more,
    )


def asked_of(
    what: Problem,
    there: Sequence[There] = (),
    *,
    per_hen: PerHen = EGGS_FOR_HEN,
    busy: Busy | None = None,
    near: Collection[tuple[date, int]] = (),
    turned: Array | None = None,
    still: Array | None = None,
) -> Asked:
    """What a programme is built from, at a place where days are long all year."""
    flock = fold([NOWHERE], ON)
    rates = learn(flock, ON)
    days = candidates(what, busy, near)
    feed = what.prices.feed_per_kg

    def of(hatched: Sequence[date]) -> Kernels:
        return kernels(rates, rates.light, ON, hatched, what.weeks, feed)

    none = np.zeros(7 * what.weeks)
    return Asked(
        what,
        days,
        of([one.hatches for one in days]),
        there,
        of([one.hatched_on for one in there]),
        [per_hen] * len(what.sources),
        what.wanted.eggs,
        {"box": none if turned is None else turned},
        none if still is None else still,
        busy or {},
    )


def hens_there(number: float, age_w: int = 20, lay: float = 1.0, name: str = "hens") -> There:
    """Hens of that age tomorrow; below 0 weeks chicks to come, with as many brothers."""
    hatched_on = ON + timedelta(days=1) - timedelta(weeks=age_w)
    key = (name, hatched_on) if age_w >= 0 else (name, None)
    return There(key, name, hatched_on, number, number if age_w < 0 else 0.0, lay)


def solved(asked: Asked) -> tuple[Program, Columns, Solution]:
    """The programme, solved to the end."""
    program, columns = build(asked)
    found = solve(program, gap=0.0, seconds=20.0)
    assert found.ended == "optimal"
    return program, columns, found


def values(columns: Sequence[int], found: Solution) -> Array:
    return found.values[list(columns)]


# The least cost, by counting out every choice of days.


def counted_out(program: Program) -> float:
    """The least cost over every choice of days that sets fall on and of machines that they go into,
    the rest by linear programmes."""
    whole = [n for n, one in enumerate(program.whole) if one]
    shape = (len(program.row_names), len(program.cost))
    matrix = sparse.csr_array((program.values, program.columns, program.starts), shape=shape)
    below, above = np.array(program.row_upper), np.array(program.row_lower)
    limits = sparse.vstack([matrix[np.isfinite(below)], -matrix[np.isfinite(above)]])
    right = np.concatenate([below[np.isfinite(below)], -above[np.isfinite(above)]])
    costs = []
    for choice in product((0.0, 1.0), repeat=len(whole)):
        lower, upper = np.array(program.lower), np.array(program.upper)
        lower[whole] = choice
        if (lower > upper).any():
            continue
        upper[whole] = choice
        bounds = np.column_stack([lower, upper])
        tried = optimize.linprog(program.cost, limits, right, bounds=bounds)
        if tried.status == 0:
            costs.append(float(tried.fun))
    return min(costs)


FOUR_WEEKS: dict[str, Any] = {"last": ON + timedelta(days=28)}
GOAL = [0.0] * 10 + [15.0, 25.0, 35.0, 45.0, 45.0, 45.0]


@pytest.mark.parametrize(
    "limits",
    [
        {},
        {"machine": 24},
        {"machine": 24, "hatcher": 30},
        {"machine": 40, "hatcher": 20, "most": 16},
        {"least": 40},
        {"postage": 0.0, "hatch": 0.0},
        {"table": 6.0},
        {"brooder_m2": 0.4, "hatcher": 60},
        {"pen_m2": 0.5},
        {"most_birds": 20.0},
        {"budget": 25.0, "hatcher": 60},
        {"minutes": 16.0, "minute": 0.2},
        {"keep_hens_until_w": 26.0},
    ],
    ids=str,
)
def test_the_cost_is_the_least_of_every_choice_of_days(limits: dict[str, Any]) -> None:
    asked = asked_of(problem(GOAL, **FOUR_WEEKS, **limits), [hens_there(4, age_w=45)])
    assert len(asked.candidates) == 4
    program, _, found = solved(asked)
    assert found.cost == pytest.approx(counted_out(program), rel=1e-6)


def test_the_cost_is_the_least_with_two_sources() -> None:
    last = ON + timedelta(days=21)
    asked = asked_of(problem(GOAL, sources=2, machine=40, last=last))
    assert len(asked.candidates) == 6
    program, _, found = solved(asked)
    assert found.cost == pytest.approx(counted_out(program), rel=1e-6)


def by_hand(asked: Asked) -> float:
    """The least cost of a plan with one machine, one source and no other limit, written anew.

    For each choice of days on which no two sets overlap in the machine: eggs e and hens kept h of
    each set, hens k of each set kept in each of the spans between the ages at which hens may go,
    and eggs wanting w. Least of  sum(e (price + feed until chosen) + k feed) + penalty w.
    """
    what, kernel, per_hen = asked.problem, asked.of_sets, asked.per_hen[0]
    (source,) = what.sources
    number, weeks = len(asked.candidates), what.weeks
    ages_w = (6, 26, 34, 42, 50, 58, 66, 74, 82, 10_000)
    spans = len(ages_w) - 1
    columns = number * (2 + spans) + weeks

    def column(n: int, which: int) -> int:
        return n * (2 + spans) + which

    penalty = wanting_costs(what)[0]
    cost = np.zeros(columns)
    cost[-weeks:] = penalty
    rows, right = [], []
    lay = np.zeros((weeks, columns))
    lay[:, -weeks:] = np.eye(weeks)
    for n in range(number):
        young = (kernel.age_d[n] >= 0) & (kernel.age_d[n] < CHOSEN_D)
        for sex, feed in (
            (kernel.hens, kernel.hen_feed_cost),
            (kernel.cocks, kernel.cock_feed_cost),
        ):
            cost[column(n, 0)] += per_hen.chicks / 2 * float(sex[n, young] @ feed[n, young])
        cost[column(n, 0)] += source.price
        kept = np.zeros(columns)
        kept[[column(n, 1), column(n, 0)]] = per_hen.each, -1.0
        rows.append(kept)
        right.append(0.0)
        at_choice = kernel.hens[n, np.argmax(kernel.age_d[n] >= CHOSEN_D)]
        for span in range(spans):
            low, high = 7 * ages_w[span], 7 * ages_w[span + 1]
            inside = (kernel.age_d[n] >= low) & (kernel.age_d[n] < high)
            left = kernel.hens[n, inside] / at_choice
            fed = kernel.hen_feed_cost[n] + kernel.cock_feed_cost[n] / what.hens_per_cock
            cost[column(n, 2 + span)] = float(left @ fed[inside])
            lay[inside, column(n, 2 + span)] = left * kernel.eggs[n, inside]
            fewer = np.zeros(columns)
            fewer[[column(n, 2 + span), column(n, 1 + span)]] = 1.0, -1.0
            rows.append(fewer)
            right.append(0.0)
    best = INF
    for choice in product((0, 1), repeat=number):
        chosen = [one for one, picked in zip(asked.candidates, choice, strict=True) if picked]
        if any(b.day <= a.cleared for a in chosen for b in chosen if b.day > a.day):
            continue
        bounds = [(0.0, INF)] * columns
        for n, picked in enumerate(choice):
            most = min(source.most, what.room.incubators[0].eggs)
            bounds[column(n, 0)] = (source.least, most) if picked else (0.0, 0.0)
            if not picked:
                for which in range(1, 2 + spans):
                    bounds[column(n, which)] = (0.0, 0.0)
        held = [
            limit if limit == 0.0 or picked else 0.0
            for limit, picked in zip(right, np.repeat(choice, 1 + spans), strict=True)
        ]
        tried = optimize.linprog(
            cost,
            np.vstack([*rows, -lay]),
            np.concatenate([held, -np.asarray(asked.need)]),
            bounds=bounds,
        )
        if tried.status == 0:
            once = source.postage + what.prices.hatch + set_bother(what)
            best = min(best, float(tried.fun) + sum(choice) * once)
    return best


@pytest.mark.parametrize(
    "limits",
    [{}, {"machine": 30}, {"least": 35, "most": 50}, {"price": 6.0}, {"postage": 90.0}],
    ids=str,
)
def test_the_cost_is_that_of_a_programme_written_anew(limits: dict[str, Any]) -> None:
    days: dict[str, Any] = {"first": ON + timedelta(days=3), "last": ON + timedelta(days=27)}
    asked = asked_of(problem(GOAL, **days, **limits))
    assert len(asked.candidates) == 4
    assert solved(asked)[2].cost == pytest.approx(by_hand(asked), rel=1e-6)


# Machines.


def in_machines(asked: Asked, columns: Columns, found: Solution) -> Iterator[tuple[float, float]]:
    """Eggs turned and eggs lying still on each day, by hand: laid down on day 14, a hatch is over
    after 441 h (`incubation.turning_stop_day`, `incubation.hatch_day_last`)."""
    eggs = values(columns.eggs, found)
    for number in range(7 * asked.problem.weeks):
        day = ON + timedelta(days=1 + number)
        turned, still = float(asked.turned["box"][number]), float(asked.still[number])
        for one, some in zip(asked.candidates, eggs.tolist(), strict=True):
            age_d = (day - one.day).days
            turned += some if 0 <= age_d < 14 else 0.0
            still += some if 14 <= age_d <= 18 else 0.0
        yield turned, still


MUCH = [0.0] * 14 + [150.0] * 4


@pytest.mark.parametrize("under_way", [0.0, 12.0])
def test_incubator_and_hatcher_hold_what_they_can_on_every_day(under_way: float) -> None:
    turned, still = np.zeros(7 * len(MUCH)), np.zeros(7 * len(MUCH))
    turned[:9] = still[9:14] = under_way
    asked = asked_of(problem(MUCH, machine=50, hatcher=20), turned=turned, still=still)
    _, columns, found = solved(asked)
    days = list(in_machines(asked, columns, found))
    assert max(turned for turned, _ in days) == pytest.approx(50.0, abs=10.0)
    assert max(turned for turned, _ in days) <= 50.0 + 1e-6
    assert max(still for _, still in days) == pytest.approx(20.0)


def test_one_machine_holds_what_it_can_with_eggs_under_way() -> None:
    turned = np.zeros(7 * len(MUCH))
    turned[:17] = 45.0
    asked = asked_of(problem(MUCH, machine=60), turned=turned)
    _, columns, found = solved(asked)
    for turning, still in in_machines(asked, columns, found):
        assert turning + still <= 60.0 + 1e-6


def test_in_one_machine_no_eggs_are_turned_while_others_lie_still() -> None:
    """The machine is at another humidity, and still, from day 14 on (common practice)."""
    asked = asked_of(problem(MUCH, sources=2))
    _, columns, found = solved(asked)
    is_set = values(columns.is_set, found).round().tolist()
    days = sorted({one.day for one, s in zip(asked.candidates, is_set, strict=True) if s})
    assert len(days) >= 2
    for before, after in pairwise(days):
        assert (after - before).days <= 1 or (after - before).days > 18
    for turning, still in in_machines(asked, columns, found):
        assert turning == 0.0 or still == 0.0


def test_a_hatcher_lets_sets_follow_each_week() -> None:
    alone, with_hatcher = (
        solved(asked_of(problem(MUCH, hatcher=eggs)))[2].cost for eggs in (0, 60)
    )
    assert with_hatcher < alone


def test_eggs_under_way_keep_the_only_machine() -> None:
    busy = Span(ON + timedelta(days=4), ON + timedelta(days=9))
    days = [one.day for one in candidates(problem(GOAL), {"box": [busy]})]
    assert min(days) > busy.last
    assert min(days) <= busy.last + timedelta(days=7)


def two_boxes(what: Problem, *eggs: int) -> Problem:
    """The problem with machines of these sizes and no hatcher."""
    boxes = tuple(Machine(f"box {n}", size) for n, size in enumerate(eggs))
    return replace(what, room=replace(what.room, incubators=boxes, hatchers=()))


SLOWLY = problem([0.0] * 14 + [150.0] * 4, brooder_m2=0.2)
"""The brooder takes some of the chicks at a time, so that sets follow one another."""


def test_each_machine_hatches_by_itself() -> None:
    """While eggs lie still in one, others are turned in the other: never both in one."""
    asked = asked_of(two_boxes(SLOWLY, 30, 30))
    _, columns, found = solved(asked)
    sets = read(asked, columns, found).sets
    assert {one.place for one in sets} == {"box 0", "box 1"}
    for name in ("box 0", "box 1"):
        days = sorted({one.on for one in sets if one.place == name})
        for before, after in pairwise(days):
            assert (after - before).days <= 1 or (after - before).days > 18
        for day in (ON + timedelta(days=n) for n in range(7 * len(MUCH))):
            inside = (one for one in sets if one.place == name)
            assert sum(o.eggs for o in inside if 0 <= (day - o.on).days <= 18) <= 30
    days = sorted({one.on for one in sets})
    apart = [(after - before).days for before, after in pairwise(days)]
    assert any(1 < days <= 18 for days in apart)


def test_two_machines_are_worth_more_than_one_as_large() -> None:
    one, two = (solved(asked_of(two_boxes(SLOWLY, *size)))[2] for size in ((60,), (30, 30)))
    assert two.cost < one.cost


def test_eggs_under_way_keep_only_their_own_machine() -> None:
    busy = {"box 0": [Span(ON + timedelta(days=2), ON + timedelta(days=20))]}
    what = two_boxes(problem(MUCH, last=ON + timedelta(days=8)), 60, 20)
    asked = asked_of(what, busy=busy)
    assert asked.candidates
    _, columns, found = solved(asked)
    sets = read(asked, columns, found).sets
    assert {one.place for one in sets} == {"box 1"}


@pytest.mark.parametrize("sizes", [(20, 30), (25, 25)])
def test_the_cost_with_two_machines_is_the_least_of_every_choice(sizes: tuple[int, int]) -> None:
    asked = asked_of(two_boxes(problem(GOAL, last=ON + timedelta(days=21)), *sizes))
    program, _, found = solved(asked)
    assert found.cost == pytest.approx(counted_out(program), rel=1e-6)


def test_the_hatcher_is_shared_out_over_the_sets_that_lie_in_it_together() -> None:
    """Property: whole eggs in machines, read one set after another, fit on every day."""
    what = problem(MUCH, sources=2, machine=50, hatcher=20)
    near = {(ON + timedelta(days=n), n % 2) for n in range(5, 40, 5)}
    asked = asked_of(what, near=near)
    program, columns = build(asked)
    found = solve(program, gap=0.05, seconds=20.0, nodes=5)
    sets = read(asked, columns, found).sets
    assert sets
    for number in range(80):
        day = ON + timedelta(days=number)
        assert sum(o.eggs for o in sets if 0 <= (day - o.on).days < 14) <= 50
        assert sum(o.eggs for o in sets if 14 <= (day - o.on).days <= 18) <= 20


# Own eggs, and hens kept for breeding.


def own_source(what: Problem) -> Problem:
    (creek, *_) = what.sources
    return replace(what, sources=(replace(creek, name="hens", own=True, price=0.0, postage=0.0),))


def test_no_more_own_eggs_are_set_than_are_laid_that_week() -> None:
    asked = asked_of(own_source(problem([0.0] * 12 + [200.0] * 6, most=1000)), [hens_there(3)])
    _, columns, found = solved(asked)
    laid = float((3 * asked.of_there.hens[0] * asked.of_there.eggs[0]).max())
    eggs = values(columns.eggs, found)
    assert eggs.max() > 0.5 * laid
    for week in range(18):
        of_week = [
            some
            for one, some in zip(asked.candidates, eggs.tolist(), strict=True)
            if asked.problem.week_of(one.day) == week
        ]
        assert sum(of_week) <= laid + 1e-6


def test_no_egg_is_set_of_a_group_that_has_gone() -> None:
    """The old hens go at the age told; after that there are none of their eggs to set."""
    what = own_source(problem([0.0] * 20 + [40.0] * 20, most=1000, keep_hens_until_w=60.0))
    asked = asked_of(what, [hens_there(12, age_w=54), hens_there(6, 20, name="others")])
    _, columns, found = solved(asked)
    gone = ON + timedelta(weeks=6)
    late = [
        eggs
        for one, eggs in zip(asked.candidates, values(columns.eggs, found), strict=True)
        if one.day > gone + timedelta(days=7)
    ]
    assert late
    assert max(late) == pytest.approx(0.0, abs=1e-6)


def test_own_eggs_that_are_set_are_not_eaten() -> None:
    """Ten hens lay some 60 eggs a week; where all of them are wanted none is left to set."""
    goal = [40.0] * 3 + [0.0] * 9 + [150.0] * 6
    asked = asked_of(own_source(problem(goal, most=1000)), [hens_there(8)])
    _, columns, found = solved(asked)
    wanting = values(columns.wanting, found)
    eggs = values(columns.eggs, found)
    early = sum(s for o, s in zip(asked.candidates, eggs, strict=True) if (o.day - ON).days <= 7)
    laid = float(8 * asked.of_there.hens[0, 0] * asked.of_there.eggs[0, 0])
    assert early - wanting[0] <= max(0.0, laid - 40.0) + 1e-6


def test_hens_for_breeding_are_there_in_every_week_of_the_goal() -> None:
    what = problem([0.0] * 30, hatcher=60)
    first, last = ON + timedelta(weeks=12), ON + timedelta(weeks=30)
    wanted = replace(what.wanted, breeding_hens=10.0, first=first, last=last)
    asked = asked_of(replace(what, wanted=wanted))
    _, columns, found = solved(asked)
    assert read(asked, columns, found).sets
    _, kept, _ = birds_by_week(asked, columns, found)
    weeks = asked.problem.weeks_of_goal()
    assert kept.sum(0)[weeks].min() >= 10.0 - 0.2
    assert len(columns.hens_wanting) == len(weeks) == 18


def test_no_machine_no_set() -> None:
    asked = asked_of(problem(GOAL, machine=0))
    _, columns, found = solved(asked)
    assert not values(columns.is_set, found).any()


@pytest.mark.parametrize("machines", [(60,), (35, 25)])
@pytest.mark.parametrize("each", [4.0, 4.7])
def test_no_set_is_larger_than_the_machine_it_goes_into(
    machines: tuple[int, ...], each: float
) -> None:
    what = problem(MUCH, most=1000)
    rooms = tuple(Machine(f"box {n}", eggs) for n, eggs in enumerate(machines))
    room = replace(what.room, incubators=rooms)
    asked = asked_of(replace(what, room=room), per_hen=PerHen(each, 0.65))
    _, columns, found = solved(asked)
    draft = read(asked, columns, found)
    assert draft.sets
    holds = {machine.name: machine.eggs for machine in rooms}
    by_place: dict[tuple[date, str], int] = {}
    for one in draft.sets:
        by_place[one.on, one.place] = by_place.get((one.on, one.place), 0) + one.eggs
    assert all(eggs <= holds[place] for (_, place), eggs in by_place.items())


def test_sets_of_two_sources_on_one_day_fit_the_machine_together() -> None:
    """Property: whole eggs are no more than the machine holds, whoever sells them."""
    for machine in range(31, 42):
        asked = asked_of(problem(MUCH, sources=2, most=20, machine=machine))
        _, columns, found = solved(asked)
        draft = read(asked, columns, found)
        for day in {one.on for one in draft.sets}:
            assert sum(one.eggs for one in draft.sets if one.on == day) <= machine


# Days and orders.


def test_nothing_needs_hands_in_an_absence() -> None:
    """Setting, laying down on day 14, and the days from hatching until chicks need less watching
    (`incubation.turning_stop_day`, `incubation.hatch_duration_h`, `brooding.close_watch_until_d`).
    """
    away = (
        Span(ON + timedelta(days=20), ON + timedelta(days=33)),
        Span(ON + timedelta(days=60), ON + timedelta(days=60)),
    )
    days = [one.day for one in candidates(problem([0.0] * 26, absences=away))]
    free = [one.day for one in candidates(problem([0.0] * 26))]
    steps = (0, 14, 16, 17, 18, 19, 20, 21)
    assert days
    assert len(days) < len(free)
    for day in days:
        for step in steps:
            assert not any(span.holds(day + timedelta(days=step)) for span in away)
    for week in range(26):
        first = ON + timedelta(days=1 + 7 * week)
        tried = [first + timedelta(days=n) for n in range(7)]
        clear = [
            day
            for day in tried
            if not any(
                span.meets(day + timedelta(days=step), day + timedelta(days=step))
                for span in away
                for step in range(30)
            )
        ]
        assert not clear or any(day in days for day in tried)


def test_nothing_hatches_when_it_must_not() -> None:
    august = Span(date(2027, 8, 1), date(2027, 8, 31))
    days = [one.day for one in candidates(problem([0.0] * 40, no_hatching=(august,)))]
    for day in days:
        for age_d in (16, 17, 18):
            assert not august.holds(day + timedelta(days=age_d))
    assert any(day < date(2027, 7, 15) and day > date(2027, 7, 1) for day in days)
    assert any(date(2027, 8, 14) < day < date(2027, 8, 31) for day in days)


def test_eggs_come_no_earlier_and_no_later_than_they_can() -> None:
    first, last = ON + timedelta(days=10), ON + timedelta(days=40)
    days = [one.day for one in candidates(problem([0.0] * 26, first=first, last=last))]
    assert days[0] == first
    assert all(first <= day <= last for day in days)
    assert days == sorted(days)


def test_no_eggs_to_be_had_no_day() -> None:
    nobody = replace(problem(GOAL), sources=())
    assert candidates(nobody) == []
    _, columns, found = solved(asked_of(nobody))
    assert values(columns.wanting, found) == pytest.approx(GOAL)


def test_days_of_setting_laying_down_and_hatching() -> None:
    """Eggs lie still from day 14 and hatch on day 17 (`incubation` table)."""
    one = Candidate(date(2027, 3, 2), 0)
    assert one.stops_turning == date(2027, 3, 16)
    assert one.hatches == date(2027, 3, 19)
    assert one.cleared == date(2027, 3, 21)


@pytest.mark.parametrize(("least", "most"), [(1, 1000), (30, 32), (50, 1000)])
def test_an_order_holds_what_the_seller_sells(least: int, most: int) -> None:
    goal = [0.0] * 12 + [20.0] * 3 + [60.0] * 3
    asked = asked_of(problem(goal, least=least, most=most, hatcher=60))
    _, columns, found = solved(asked)
    orders = [eggs for eggs in values(columns.eggs, found).tolist() if eggs > 1e-6]
    assert orders
    assert min(orders) >= least - 1e-6
    assert max(orders) <= min(most, 60) + 1e-6
    sets = read(asked, columns, found).sets
    assert len(sets) == len(orders)
    assert all(least <= one.eggs <= min(most, 60) for one in sets)


def test_an_order_that_no_machine_can_hold_is_not_made() -> None:
    _, columns, found = solved(asked_of(problem(GOAL, least=61, most=200)))
    assert not values(columns.is_set, found).any()


# Birds.


def test_hens_never_grow_in_number() -> None:
    goal = [10.0] * 4 + [0.0] * 8 + [60.0] * 10 + [20.0] * 30 + [50.0] * 8
    asked = asked_of(problem(goal, sources=2), [hens_there(9, 30), hens_there(8, -1, name="A")])
    _, columns, found = solved(asked)
    for kept in (*columns.kept, *columns.there):
        assert (np.diff(values(kept, found)) <= 1e-6).all()
    for day, kept in zip(columns.days, columns.kept, strict=True):
        own = [columns.hens[n] for n, one in enumerate(asked.candidates) if one.day == day]
        assert found.values[kept[0]] <= values(own, found).sum() + 1e-6
    for there, kept in zip(asked.there, columns.there, strict=True):
        assert found.values[kept[0]] <= there.hens + 1e-6


def test_hens_kept_come_of_eggs_enough() -> None:
    asked = asked_of(problem(GOAL))
    _, columns, found = solved(asked)
    eggs, kept = values(columns.eggs, found), values(columns.hens, found)
    some = eggs > 0
    assert some.any()
    assert (kept[~some] == 0).all()
    assert (eggs[some] >= EGGS_FOR_HEN.each * kept[some] - 1e-6).all()


def test_hens_that_are_there_lay_before_any_are_bought() -> None:
    asked = asked_of(problem([30.0] * 16), [hens_there(12)])
    _, columns, found = solved(asked)
    assert not values(columns.is_set, found).any()
    assert values(columns.wanting, found) == pytest.approx(np.zeros(16))


def test_hens_to_come_of_eggs_under_way_lay_before_any_are_bought() -> None:
    asked = asked_of(problem([0.0] * 12 + [30.0] * 6), [hens_there(12, -1, name="A")])
    _, columns, found = solved(asked)
    assert not values(columns.is_set, found).any()
    assert values(columns.wanting, found) == pytest.approx(np.zeros(18))


def test_hens_beyond_need_go() -> None:
    asked = asked_of(problem([20.0] * 8), [hens_there(30)])
    _, columns, found = solved(asked)
    kept = found.values[columns.there[0][0]]
    least = float((20.0 / (asked.of_there.hens[0] * asked.of_there.eggs[0])).max())
    assert kept == pytest.approx(least, rel=0.01)
    draft = read(asked, columns, found)
    (first,) = (cull for cull in draft.culls if cull.on == ON + timedelta(days=1))
    assert first.keep_hens is not None
    assert first.keep_hens in (math.floor(least), math.ceil(least * 1.01))
    assert not draft.sets


def test_hens_are_kept_through_weeks_that_ask_for_nothing() -> None:
    """Hens that go do not come back: those of the end are there in the middle."""
    goal = [20.0] * 2 + [0.0] * 4 + [20.0] * 2
    asked = asked_of(problem(goal, last=ON), [hens_there(30, 24)])
    _, columns, found = solved(asked)
    assert values(columns.wanting, found) == pytest.approx(np.zeros(8))


@pytest.mark.parametrize("age_w", [-2, 1, 4, 20])
def test_birds_lay_what_those_that_live_lay(age_w: int) -> None:
    """Of ten that hatch or are there so many live on: deaths before six weeks count too."""
    weeks = 14
    asked = asked_of(problem([0.0] * 10 + [500.0] * 4, last=ON), [hens_there(10, age_w, name="A")])
    _, columns, found = solved(asked)
    eggs = asked.need - values(columns.wanting, found)
    expected = 10 * asked.of_there.hens[0] * asked.of_there.eggs[0]
    assert asked.of_there.hens[0, weeks - 1] < 0.97
    assert eggs[10:] == pytest.approx(expected[10:], rel=1e-3)


@pytest.mark.parametrize("latest_w", [26.0, 30.0, 42.0, 45.0])
def test_no_hen_is_kept_past_the_age_told(latest_w: float) -> None:
    asked = asked_of(
        problem([30.0] * 26, last=ON, keep_hens_until_w=latest_w), [hens_there(12, 24)]
    )
    _, columns, found = solved(asked)
    laid = asked.need - values(columns.wanting, found)
    past = asked.of_there.age_d[0] >= 7 * latest_w
    assert laid[~past] == pytest.approx(np.full(int((~past).sum()), 30.0), abs=0.5)
    assert laid[past] == pytest.approx(np.zeros(int(past.sum())))


def test_a_set_is_made_for_whole_hens() -> None:
    """A third of a hen is enough on the mean; nobody keeps a third of a hen."""
    asked = asked_of(problem([0.0] * 12 + [2.0] * 6, last=ON + timedelta(days=14)))
    _, columns, found = solved(asked)
    sets = read(asked, columns, found).sets
    assert sets
    assert all(one.keep_hens >= 1 for one in sets)


def test_an_order_larger_than_needed_keeps_no_more_hens_than_needed() -> None:
    asked = asked_of(problem([0.0] * 12 + [11.0] * 6, least=60))
    _, columns, found = solved(asked)
    needed = max(found.values[kept[0]] for kept in columns.kept)
    (one,) = read(asked, columns, found).sets
    assert (one.eggs, one.keep_hens) == (60, round(needed))


@pytest.mark.parametrize("hatch", [2.0, 0.0])
def test_the_day_of_an_accepted_plan_is_kept_where_another_gains_little(hatch: float) -> None:
    goal = [0.0] * 16 + [20.0] * 6
    free = problem(goal, hatch=hatch, feed=(0.1, 0.1, 0.1))
    asked = asked_of(free)
    _, columns, found = solved(asked)
    best = [one.on for one in read(asked, columns, found).sets]
    accepted = tuple(day - timedelta(days=7) for day in best)
    kept = tuple(Set(day, "creek", 30, "box", 5, 0) for day in accepted)
    again = asked_of(replace(free, kept=kept))
    _, columns, found = solved(again)
    assert tuple(one.on for one in read(again, columns, found).sets) == accepted


def test_cocks_are_kept_as_the_ratio_asks() -> None:
    asked = asked_of(problem(GOAL, hens_per_cock=3.0))
    _, columns, found = solved(asked)
    for one in read(asked, columns, found).sets:
        assert one.keep_cocks == math.ceil(one.keep_hens / 3)


def test_no_cock_is_kept_where_none_is_wanted() -> None:
    asked = asked_of(problem(GOAL, hens_per_cock=0.0))
    _, columns, found = solved(asked)
    assert all(one.keep_cocks == 0 for one in read(asked, columns, found).sets)


# Floors, hands and money, by hand.


def birds_by_week(asked: Asked, columns: Columns, found: Solution) -> tuple[Array, Array, Array]:
    """(young, hens kept, cocks kept with them) by candidate and week; each day's hens stand at its
    first candidate."""
    kernel = asked.of_sets
    shape = kernel.age_d.shape
    young, kept, cocks = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    ratio = 1.0 / asked.problem.hens_per_cock
    for n, one in enumerate(asked.candidates):
        eggs = found.values[columns.eggs[n]]
        growing = (kernel.age_d[n] >= 0) & (kernel.age_d[n] < CHOSEN_D)
        lives = (kernel.hens[n] + kernel.cocks[n]) / 2
        young[n] = growing * eggs * asked.per_hen[one.source].chicks * lives
        if one.day in [other.day for other in asked.candidates[:n]]:
            continue
        grown = kernel.age_d[n] >= CHOSEN_D
        starts = np.array([6, 26, 34, 42, 50, 58, 66, 74, 82]) * 7.0
        block = np.maximum(0, np.searchsorted(starts, kernel.age_d[n], side="right") - 1)
        chosen = kernel.hens[n, np.argmax(grown)]
        of_block = values(columns.kept[columns.of_day[one.day]], found)[block]
        kept[n] = grown * of_block * kernel.hens[n] / chosen
        cocks[n] = kept[n] * ratio
    return young, kept, cocks


@pytest.mark.parametrize("brooder_m2", [0.25, 0.6])
def test_chicks_fit_the_brooder(brooder_m2: float) -> None:
    goal = [0.0] * 14 + [100.0] * 6
    asked = asked_of(problem(goal, brooder_m2=brooder_m2, hatcher=60))
    _, columns, found = solved(asked)
    young, _, _ = birds_by_week(asked, columns, found)
    floor = (young * asked.of_sets.brooder_m2).sum(0)
    assert floor.max() == pytest.approx(brooder_m2)


@pytest.mark.parametrize("pen_m2", [0.5, 1.2])
def test_birds_fit_the_pens(pen_m2: float) -> None:
    goal = [0.0] * 14 + [100.0] * 6
    asked = asked_of(problem(goal, pen_m2=pen_m2, hatcher=60))
    _, columns, found = solved(asked)
    birds = np.sum(birds_by_week(asked, columns, found), axis=0)
    floor = (birds * asked.of_sets.pen_m2).sum(0)
    assert floor.max() == pytest.approx(pen_m2)


def test_birds_that_are_there_take_their_floor_first() -> None:
    goal = [0.0] * 14 + [100.0] * 6
    grown = float(asked_of(problem(goal), [hens_there(8)]).of_there.pen_m2.max())
    free, taken = (
        solved(asked_of(problem(goal, pen_m2=1.2, hatcher=60), there))[2]
        for there in ([], [replace(hens_there(0), cocks=0.4 / grown)])
    )
    smaller = solved(asked_of(problem(goal, pen_m2=0.8, hatcher=60)))[2]
    assert free.cost < taken.cost
    assert taken.cost == pytest.approx(smaller.cost, rel=0.05)


def test_birds_in_all_stay_below_the_most() -> None:
    asked = asked_of(problem([0.0] * 14 + [100.0] * 6, most_birds=25.0, hatcher=60))
    _, columns, found = solved(asked)
    young, kept, cocks = birds_by_week(asked, columns, found)
    assert (young + kept + cocks).sum(0).max() == pytest.approx(25.0)


def test_money_of_a_month_is_enough() -> None:
    asked = asked_of(problem([0.0] * 12 + [100.0] * 6, budget=22.0))
    what, kernel = asked.problem, asked.of_sets
    _, columns, found = solved(asked)
    young, kept, cocks = birds_by_week(asked, columns, found)
    feed = young * (kernel.hens * kernel.hen_feed_cost + kernel.cocks * kernel.cock_feed_cost)
    feed /= np.where(kernel.age_d >= 0, kernel.hens + kernel.cocks, 1.0)
    feed += kept * kernel.hen_feed_cost + cocks * kernel.cock_feed_cost
    spent: dict[tuple[int, int], float] = {}
    for week in range(what.weeks):
        day = what.first_day(week)
        month = (day.year, day.month)
        spent[month] = spent.get(month, 0.0) + float(feed[:, week].sum())
    for n, one in enumerate(asked.candidates):
        source, month = what.sources[one.source], (one.day.year, one.day.month)
        spent[month] = spent.get(month, 0.0) + source.price * found.values[columns.eggs[n]]
        once = source.postage + what.prices.hatch
        spent[month] += once * found.values[columns.is_set[n]].round()
    assert max(spent.values()) == pytest.approx(22.0, rel=1e-3)


def test_minutes_of_a_day_are_enough() -> None:
    """5 minutes a day for some 40 grown birds, 15 with a hatch and a brooder (`care` table,
    common practice, no source)."""
    free, bound = (
        asked_of(problem([0.0] * 14 + [150.0] * 6, minutes=limit)) for limit in (INF, 13.0)
    )
    _, columns, found = solved(bound)
    assert found.cost > solved(free)[2].cost
    birds = np.sum(birds_by_week(bound, columns, found), axis=0).sum(0)
    assert (birds * a_bird()).max() <= 13.0
    sets = read(bound, columns, found).sets
    minutes = minutes_by_day(bound.problem, sets, birds)
    for number, of_day in enumerate(minutes.tolist()):
        day = ON + timedelta(days=1 + number)
        waiting = sum(
            job.minutes + job.per_egg * one.eggs
            for one in sets
            for job in jobs()
            if job.waits and one.on + timedelta(days=job.after_d) == day
        )
        assert of_day - waiting <= 13.0 + 0.5  # eggs and birds are whole in the sets


def test_eggs_are_set_on_a_day_that_has_time_for_it() -> None:
    """Saturday has an hour, other days ten minutes: setting 60 eggs takes about eleven (`care`)."""
    what = problem([0.0] * 14 + [60.0] * 6, hatcher=60)
    limits = (10.0, 10.0, 10.0, 10.0, 10.0, 60.0, 10.0)
    what = replace(what, prices=replace(what.prices, minutes_by_weekday=limits))
    near = {(ON + timedelta(days=n), 0) for n in (14, 21, 28)}
    asked = asked_of(what, near=near)
    assert {one.day.weekday() for one in asked.candidates} == set(range(7))
    _, columns, found = solved(asked)
    sets = read(asked, columns, found).sets
    assert sets
    for one in sets:
        if one.eggs > 30:
            assert one.on.weekday() == 5


def test_two_hatches_do_not_fit_where_one_takes_all_the_time() -> None:
    """The week's bigger jobs fit the week's minutes together."""
    day = ON + timedelta(days=8)
    goal = [0.0] * 14 + [60.0] * 4
    costs = []
    for limit in (5.0, 30.0):
        asked = asked_of(problem(goal, minutes=limit, first=day, last=day))
        costs.append(values(solved(asked)[1].is_set, solved(asked)[2]).sum())
    assert costs == [0.0, 1.0]


def test_two_sources_set_on_one_day_are_one_hatch_to_tend() -> None:
    """A day's eggs go into one machine and one brooder: tending them takes its minutes once."""
    day = ON + timedelta(days=8)
    goal = [0.0] * 14 + [60.0] * 4
    asked = asked_of(problem(goal, most=20, sources=2, minutes=16.0, first=day, last=day))
    assert len(asked.candidates) == 2
    _, columns, found = solved(asked)
    assert values(columns.is_set, found).sum() == pytest.approx(2.0)


# Birds for the table.


def going(asked: Asked, columns: Columns, found: Solution) -> dict[tuple[int, int], float]:
    """Birds of sets that go for the table by month: those not kept at six weeks, then hens."""
    kernel = asked.of_sets
    birds: dict[tuple[int, int], float] = {}
    _, kept, cocks = birds_by_week(asked, columns, found)
    for n, one in enumerate(asked.candidates):
        grown = np.flatnonzero(kernel.age_d[n] >= CHOSEN_D)
        if not len(grown):
            continue
        week = int(grown[0])
        lives = (kernel.hens[n, week] + kernel.cocks[n, week]) / 2
        grow = found.values[columns.eggs[n]] * asked.per_hen[one.source].chicks * lives
        day = asked.problem.first_day(week)
        month = (day.year, day.month)
        here = grow - kept[n, week] - cocks[n, week]
        birds[month] = birds.get(month, 0.0) + float(here)
    return birds


def test_birds_for_the_table_are_those_not_kept() -> None:
    goal = [0.0] * 12 + [20.0] * 14
    asked = asked_of(problem(goal, table=5.0))
    _, columns, found = solved(asked)
    birds = going(asked, columns, found)
    wanting = {month: found.values[column] for month, column in columns.table_wanting.items()}
    whole = [month for month in wanting if (2027, 5) < month < (2027, 8)]
    assert whole
    for month in whole:
        assert birds.get(month, 0.0) + wanting[month] >= 5.0 * 28 / 31 - 1e-6
        assert wanting[month] == pytest.approx(0.0, abs=1e-6)


def test_birds_for_the_table_come_first_from_eggs_under_way() -> None:
    """Half of the chicks are cocks: of 40 chicks some 20 cocks are not kept."""
    what = problem([0.0] * 5 + [1.0] * 5, table=4.0)
    under_way = hens_there(20, -1, name="A")
    wanted = replace(what.wanted, first=ON + timedelta(weeks=5), last=ON + timedelta(weeks=9))
    asked = asked_of(replace(what, wanted=wanted, sources=()), [under_way])
    week = int(np.argmax(asked.of_there.age_d[0] >= CHOSEN_D))
    day = asked.problem.first_day(week)
    _, columns, found = solved(asked)
    assert found.values[columns.table_wanting[day.year, day.month]] == pytest.approx(0.0, abs=1e-6)


def test_no_month_is_asked_for_birds_before_the_goal_begins() -> None:
    _, columns, _ = solved(asked_of(problem([0.0] * 12 + [20.0] * 6, table=5.0)))
    assert min(columns.table_wanting) == (2027, 5)


# What the programme says of its limits.


def test_a_row_that_binds_is_told_in_words() -> None:
    asked = asked_of(problem([0.0] * 14 + [100.0] * 6, brooder_m2=0.25, hatcher=60))
    program, _, found = solved(asked)
    binding = [
        name
        for row, name in enumerate(program.row_names)
        if name.startswith("floor of the brooder")
        and program.row_value(row, found.values.tolist()) >= program.row_upper[row] - 1e-6
    ]
    assert binding
    assert all("in the week of 2027-" in name for name in binding)


@pytest.mark.parametrize("times", [0.01, 150.0])
def test_another_currency_changes_no_choice(times: float) -> None:
    """Property: prices times a number give the same plan at that cost times the number."""

    def costs(factor: float, feed: float) -> Mapping[str, float]:
        asked = asked_of(
            problem(
                GOAL,
                **FOUR_WEEKS,
                price=0.5 * factor,
                postage=8.0 * factor,
                hatch=2.0 * factor,
                feed=(feed * factor,) * 3,
            )
        )
        _, columns, found = solved(asked)
        return {"cost": found.cost / factor, "sets": values(columns.is_set, found).sum()}

    assert costs(times, 1.0) == pytest.approx(costs(1.0, 1.0))
    assert costs(times, 0.0)["sets"] == costs(1.0, 0.0)["sets"]


def test_the_flock_of_these_tests_is_one_that_the_journal_can_tell() -> None:
    """What `hens_there` stands for: the same hens from a journal have the same age."""
    flock = fold([NOWHERE, hens(12, at="2027-02-01", hatched_on="2026-10-13")], ON)
    rates = learn(flock, ON)
    (cohort,) = rates.histories["hens"].cohorts
    assert cohort.hatched_on == hens_there(12).hatched_on


@pytest.mark.parametrize(
    ("standard", "m2"),
    # reference/flock_biology.md section 6: 0.1 m² a bird, never below 0.025; 2 square feet and more
    # on solid floor (common practice, no source); 80 cm² in cages is below the least.
    [(None, 0.1), ("default", 0.1), ("solid", 0.2), ("trade", 0.025), ("swiss", 0.045)],
)
def test_floor_of_a_grown_bird_follows_the_chosen_standard(standard: str | None, m2: float) -> None:
    rates = learn(fold([NOWHERE], ON), ON)
    hatched = [ON - timedelta(days=200)]
    found = kernels(rates, rates.light, ON, hatched, 2, [1.0, 1.0, 1.0], standard)
    assert found.pen_m2.ravel().tolist() == pytest.approx([m2, m2])
    assert found.brooder_m2.sum() == 0

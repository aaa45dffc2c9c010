"""The solver finds what another one finds, says how it ended, and prints nothing.

The other one is `scipy.optimize.milp`, given the same matrix. It has HiGHS inside too, of another
version and with another interface; small cases are counted out as well.
"""

import math
import signal
import subprocess
import sys
import threading
import time
from itertools import product
from typing import Any

import numpy as np
import pytest
from scipy import optimize, sparse  # type: ignore[import-untyped]
from tests.planning.test_model import asked_of, problem

from quailwright.planning.model import build
from quailwright.planning.program import Program
from quailwright.planning.solver import solve


def by_scipy(program: Program, **options: Any) -> Any:
    """The same matrix, handed to scipy."""
    shape = (len(program.row_names), len(program.cost))
    matrix = sparse.csr_array((program.values, program.columns, program.starts), shape=shape)
    return optimize.milp(
        program.cost,
        integrality=np.array(program.whole, dtype=int),
        bounds=optimize.Bounds(program.lower, program.upper),
        constraints=optimize.LinearConstraint(matrix, program.row_lower, program.row_upper),
        options=options,
    )


def knapsack(number: int, seed: int, rows: int = 1) -> Program:
    """Whole numbers of things, each with a worth and weights that are limited."""
    rng = np.random.default_rng(seed)
    program = Program()
    things = [
        program.column(f"thing {n}", upper=2.0, cost=-float(rng.integers(20, 60)), whole=True)
        for n in range(number)
    ]
    for row in range(rows):
        weights = rng.integers(15, 60, number).astype(float)
        program.row(
            f"weight {row}", list(zip(things, weights.tolist(), strict=True)), upper=weights.sum()
        )
    return program


def mixed(seed: int) -> Program:
    """Whole and broken numbers, rows bounded on either side, columns below zero."""
    rng = np.random.default_rng(seed)
    program = Program()
    columns = [
        program.column(
            f"column {n}", lower=-3.0, upper=5.0, cost=float(rng.normal()), whole=bool(n % 2)
        )
        for n in range(8)
    ]
    for n in range(5):
        factors = rng.integers(-4, 5, 8).astype(float).tolist()
        terms = list(zip(columns, factors, strict=True))
        program.row(f"row {n}", terms, lower=-4.5 if n % 2 else -math.inf, upper=6.5)
    return program


def feasible(program: Program, values: Any) -> bool:
    """Whether every bound of columns and rows holds, and whole columns are whole."""
    rows = [program.row_value(row, values) for row in range(len(program.row_names))]
    near = 1e-6
    return bool(
        (values >= np.array(program.lower) - near).all()
        and (values <= np.array(program.upper) + near).all()
        and (np.array(rows) >= np.array(program.row_lower) - near).all()
        and (np.array(rows) <= np.array(program.row_upper) + near).all()
        and np.allclose(values[program.whole], np.round(values[program.whole]), atol=1e-5)
    )


@pytest.mark.parametrize("seed", range(4))
def test_the_optimum_is_that_of_scipy(seed: int) -> None:
    for program in (knapsack(12, seed, 2), mixed(seed)):
        found, other = solve(program, gap=0.0, seconds=20.0), by_scipy(program)
        assert other.status == 0
        assert found.ended == "optimal"
        assert found.cost == pytest.approx(other.fun, abs=1e-6)
        assert found.cost == pytest.approx(np.dot(program.cost, found.values), abs=1e-6)
        assert feasible(program, found.values)


def test_the_optimum_is_that_of_every_choice_counted_out() -> None:
    program = knapsack(6, 3)
    weights = np.array(program.values)
    best = min(
        float(np.dot(program.cost, choice))
        for choice in product((0, 1, 2), repeat=6)
        if weights @ np.array(choice) <= program.row_upper[0]
    )
    assert solve(program, gap=0.0, seconds=20.0).cost == pytest.approx(best)


def test_the_optimum_of_a_plan_is_that_of_scipy() -> None:
    """Seven months ahead, two sources."""
    asked = asked_of(problem([0.0] * 14 + [60.0] * 16, sources=2, brooder_m2=1.5, budget=60.0))
    program, _ = build(asked)
    found, other = solve(program, gap=1e-6, seconds=30.0), by_scipy(program, mip_rel_gap=1e-6)
    assert other.status == 0
    assert found.ended == "optimal"
    assert found.cost == pytest.approx(other.fun, rel=1e-5)
    assert feasible(program, found.values)
    assert found.gap <= 1e-6


def test_the_gap_tells_how_far_the_cost_may_be_off() -> None:
    program = knapsack(30, 5, 6)
    best = -by_scipy(program).fun
    rough = solve(program, gap=0.2, seconds=20.0)
    assert rough.ended == "optimal"
    assert 0.0 <= rough.gap <= 0.2
    assert best <= -rough.cost * (1.0 + rough.gap) + 1e-6


@pytest.mark.parametrize("whole", [False, True])
def test_what_cannot_be_is_infeasible(whole: bool) -> None:
    program = Program()
    hens = program.column("hens", upper=5.0, whole=whole)
    program.row("eggs", [(hens, 6.0)], lower=31.0)
    found = solve(program, gap=0.0, seconds=5.0)
    assert (found.ended, found.found, len(found.values)) == ("infeasible", False, 0)


def test_what_only_whole_numbers_forbid_is_infeasible() -> None:
    program = Program()
    hens = program.column("hens", upper=5.0, whole=True)
    program.row("eggs", [(hens, 2.0)], lower=3.0, upper=3.0)
    assert solve(program, gap=0.0, seconds=5.0).ended == "infeasible"


@pytest.mark.parametrize("whole", [False, True])
def test_what_has_no_end_has_no_values(whole: bool) -> None:
    """No limit holds the gain back: there is no plan to show."""
    program = Program()
    program.column("gain", cost=-1.0, whole=whole)
    found = solve(program, gap=0.0, seconds=5.0)
    assert not found.found


def test_time_that_runs_out_gives_the_best_so_far() -> None:
    """A programme that no solver ends in a moment (Cornuejols and Dawande 1999, A class of hard
    small 0-1 programs, INFORMS Journal on Computing 11:205-210)."""
    program = market_split(5, 40)
    found = solve(program, gap=0.0, seconds=0.7)
    assert found.ended == "best so far"
    assert feasible(program, found.values)
    assert found.cost == pytest.approx(np.dot(program.cost, found.values))
    assert found.gap > 0.0


def market_split(rows: int, columns: int) -> Program:
    rng = np.random.default_rng(1)
    program = Program()
    picks = [program.column(f"pick {n}", upper=1.0, whole=True) for n in range(columns)]
    for row in range(rows):
        factors = rng.integers(0, 100, columns)
        over = program.column(f"over {row}", cost=1.0)
        under = program.column(f"under {row}", cost=1.0)
        terms = [(pick, float(f)) for pick, f in zip(picks, factors.tolist(), strict=True)]
        half = float(factors.sum() // 2)
        program.row(f"row {row}", [*terms, (over, -1.0), (under, 1.0)], lower=half, upper=half)
    return program


def test_no_time_at_all_gives_none_or_the_best_so_far() -> None:
    found = solve(market_split(5, 40), gap=0.0, seconds=0.0)
    assert found.ended in ("none found", "best so far")
    assert found.found == (found.ended == "best so far")


def test_a_start_is_no_worse_than_none() -> None:
    program = market_split(4, 30)
    first = solve(program, gap=0.0, seconds=0.3)
    again = solve(program, gap=0.0, seconds=0.3, start=dict(enumerate(first.values.tolist())))
    assert again.cost <= first.cost + 1e-6


def test_a_start_of_another_programme_does_no_harm() -> None:
    program = knapsack(12, 1)
    found = solve(program, gap=0.0, seconds=10.0, start={0: 1.0, 1: 1.0, 2: 1.0})
    assert found.cost == pytest.approx(by_scipy(program).fun)


def test_better_solutions_are_told_as_they_come() -> None:
    told: list[tuple[float, float]] = []
    found = solve(market_split(4, 30), gap=0.0, seconds=0.7, progress=lambda *now: told.append(now))
    costs = [cost for cost, _ in told]
    assert costs == sorted(costs, reverse=True)
    assert costs[-1] == pytest.approx(found.cost)


def test_nothing_is_printed(capfd: pytest.CaptureFixture[str]) -> None:
    solve(knapsack(12, 1, 3), gap=0.0, seconds=10.0, progress=lambda *_: None)
    solve(market_split(4, 30), gap=0.0, seconds=0.2)
    assert capfd.readouterr() == ("", "")


def test_what_was_printed_before_and_after_is_not_lost(capfd: pytest.CaptureFixture[str]) -> None:
    print("before", end=" ")
    solve(knapsack(6, 1), gap=0.0, seconds=10.0)
    print("after")
    assert capfd.readouterr().out == "before after\n"


def test_it_solves_without_a_standard_output() -> None:
    """A program with no console, or with its output closed, has none."""
    code = (
        "from quailwright.planning.program import Program\n"
        "from quailwright.planning.solver import solve\n"
        "p = Program()\n"
        "p.column('hens', lower=2.0, cost=1.5)\n"
        "raise SystemExit(0 if solve(p, gap=0.0, seconds=5.0).cost == 3.0 else 3)\n"
    )
    command = 'exec "$0" -c "$1" >&-'
    ended = subprocess.run(
        ["sh", "-c", command, sys.executable, code], capture_output=True, text=True, timeout=60
    )
    assert (ended.returncode, ended.stderr) == (0, "")


def test_the_same_programme_gives_the_same_values() -> None:
    program, _ = build(asked_of(problem([0.0] * 14 + [60.0] * 12)))
    first, again = (solve(program, gap=0.03, seconds=20.0) for _ in range(2))
    np.testing.assert_array_equal(first.values, again.values)


def test_ctrl_c_ends_with_the_best_so_far() -> None:
    """A hard programme: without the signal it would run to the end of its time."""
    before = signal.getsignal(signal.SIGINT)
    signal.signal(signal.SIGINT, signal.default_int_handler)
    timer, began = threading.Timer(0.3, signal.raise_signal, (signal.SIGINT,)), 0.0

    def once_there_is_one(cost: float, gap: float) -> None:
        nonlocal began
        if began == 0.0:
            began = time.monotonic()
            timer.start()

    try:
        found = solve(market_split(6, 60), gap=0.0, seconds=90.0, progress=once_there_is_one)
    finally:
        timer.cancel()
        signal.signal(signal.SIGINT, before)
    assert 0.0 < time.monotonic() - began < 60.0
    assert found.ended == "stopped"
    assert found.found


def test_nodes_end_it_the_same_way_every_time() -> None:
    first, again = (solve(market_split(5, 40), gap=0.0, seconds=60.0, nodes=20) for _ in range(2))
    assert first.ended == "best so far"
    np.testing.assert_array_equal(first.values, again.values)
    assert first.bound <= first.cost


def diet(
    cost: list[float], holds: list[list[float]], least: list[float], most: float | None = None
) -> Program:
    """The cheapest amounts that hold the least of each nutrient; `most` of all together."""
    program = Program()
    amounts = [program.column(f"feed {n}", cost=each) for n, each in enumerate(cost)]
    for n, (row, at_least) in enumerate(zip(holds, least, strict=True)):
        program.row(f"nutrient {n}", zip(amounts, row, strict=True), lower=at_least)
    if most is not None:
        program.row("together", [(each, 1.0) for each in amounts], upper=most)
    return program


@pytest.mark.parametrize(
    ("program", "amounts", "total"),
    [
        # Burke, University of Washington, Mathematics 407: a pig's diet; only the problem is
        # printed, the optimum is another solver's.
        (
            diet([35, 30, 25], [[90, 20, 40], [30, 80, 60], [10, 20, 50]], [200, 180, 150]),
            [0.975610, 0, 2.804878], 104.268293,
        ),
        # Hillier and Lieberman, Introduction to Operations Research: pig feed; printed 1.14 kg,
        # 2.43 kg and 241.71 (from memory).
        (
            diet([84, 72, 60], [[90, 20, 40], [30, 80, 60], [10, 20, 60]], [200, 180, 150]),
            [1.142857, 0, 2.428571], 241.714286,
        ),
        # Render and Stair, Quantitative Analysis for Management: a stable's feed; printed 1.33, 0,
        # 3.33 and 0.687 (from memory).
        (
            diet(
                [0.09, 0.14, 0.17],
                [[2, 3, 1], [0.5, 1, 0.5], [3, 5, 6], [1, 1.5, 2], [0.5, 0.5, 1.5]],
                [6, 2, 9, 8, 5], most=6,
            ),
            [1.333333, 0, 3.333333], 0.686667,
        ),
        # Jacques, Mathematics for Economics and Business, chapter 8: fish meal or meat scraps;
        # calcium has a most. Only the problem is printed, the optimum is another solver's.
        (
            diet(
                [0.65, 0.52], [[0.67, 0.37], [0.16, 0.09], [-0.08, -0.08]], [1.6, 0.3, -0.3]
            ),
            [2.388060, 0], 1.552239,
        ),
    ],
)  # fmt: skip
def test_least_cost_diets_of_textbooks(
    program: Program, amounts: list[float], total: float
) -> None:
    found = solve(program, gap=0.0, seconds=20)
    assert found.ended == "optimal"
    assert found.values == pytest.approx(amounts, abs=1e-6)
    assert found.cost == pytest.approx(total, abs=1e-6)


def test_a_printed_diet_that_is_not_the_cheapest_is_beaten() -> None:
    """Sacks of soya and oats, as an exercise's printed answer has them: 18/11 and 28/11, "52"."""
    found = solve(diet([21, 7], [[70, 21], [9, 7], [7, 1]], [168, 27, 14]), gap=0.0, seconds=20)
    printed = 21 * 18 / 11 + 7 * 28 / 11
    assert found.cost == pytest.approx(51.279070, abs=1e-6)
    assert found.values == pytest.approx([2.023256, 1.255814], abs=1e-6)
    assert found.cost < printed - 0.8

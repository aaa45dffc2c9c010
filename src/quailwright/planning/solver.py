"""The one place that calls the solver (HiGHS: Huangfu and Hall 2018, Parallelizing the dual revised
simplex method, Mathematical Programming Computation 10:119-142)."""

import os
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import highspy
import numpy as np
from numpy.typing import NDArray

from quailwright.planning.program import Program

Array = NDArray[np.float64]
Ended = Literal["optimal", "best so far", "stopped", "infeasible", "none found"]


@dataclass(frozen=True)
class Solution:
    """What the solver found.

    Attributes:
        ended: "optimal" within the gap asked for, "best so far" when its nodes or time ran out,
            "stopped" when somebody stopped it (Ctrl-C), "infeasible", or "none found".
        values: of the columns, shape (columns,); empty where there are none.
        cost: of those values.
        gap: how far the cost may be above the least possible, as a share of it.
        bound: no solution costs less.
        row_prices: what one more of each row's binding bound costs, shape (rows,), and
        column_prices: what one more of each column costs beyond what it brings, shape (columns,);
            both empty where a column must be whole.
    """

    ended: Ended
    values: Array
    cost: float
    gap: float
    bound: float = 0.0
    row_prices: Array = field(default_factory=lambda: np.zeros(0))
    column_prices: Array = field(default_factory=lambda: np.zeros(0))

    @property
    def found(self) -> bool:
        """Whether there are values."""
        return len(self.values) > 0


def solve(
    program: Program,
    *,
    gap: float,
    seconds: float,
    nodes: int | None = None,
    start: Mapping[int, float] | None = None,
    progress: Callable[[float, float], None] | None = None,
    curved: Array | None = None,
    at_once: bool = False,
) -> Solution:
    """Solves a programme.

    Args:
        gap: relative gap at which to stop, 0 or more.
        seconds: time after which the best so far is taken.
        nodes: branches after which the best so far is taken; unlike time, the same every time.
        start: values of some columns to begin from.
        progress: called with (best cost, gap) when a better solution is found.
        curved: Q, (columns, columns), symmetric and nowhere below nothing: half of x'Qx is added
            to the cost. No column may be whole then.
        at_once: it is done before anybody could want to stop it, and needs no thread of its own.
    """
    highs = _quiet_solver()
    highs.setOptionValue("mip_rel_gap", gap)
    highs.setOptionValue("time_limit", seconds)
    highs.setOptionValue("random_seed", 1)
    highs.HandleKeyboardInterrupt = not at_once  # lets `cancelSolve` work
    if nodes is not None:
        highs.setOptionValue("mip_max_nodes", nodes)
    highs.passModel(as_model(program))
    if curved is not None:
        _bend(highs, curved)
    if start:
        highs.setSolution(len(start), np.array(list(start)), np.array(list(start.values())))
    if progress is not None:
        tell = progress

        def improved(event: object) -> None:
            out = getattr(event, "data_out", None)
            if out is not None:
                tell(float(out.objective_function_value), float(out.mip_gap))

        highs.cbMipImprovingSolution.subscribe(improved)
    if at_once:
        highs.run()
        return _solution(highs, program)
    stopped = _run(highs)
    found = _solution(highs, program)
    return replace(found, ended="stopped") if stopped else found


def _run(highs: highspy.Highs) -> bool:
    """Runs it in a thread of its own, so that Ctrl-C stops it with what it has; whether it was."""
    highs.startSolve()
    stopped = False
    while True:
        try:
            done, _ = highs.wait(0.1)
        except KeyboardInterrupt:
            stopped = True
            highs.cancelSolve()  # type: ignore[no-untyped-call]
            continue
        if done:
            return stopped


def _quiet_solver() -> highspy.Highs:
    """A solver that says nothing. It prints its name as it is made, before it can be told not to:
    what the process writes to its standard output goes nowhere for that moment."""
    try:
        if sys.stdout is not None:
            sys.stdout.flush()
        kept = os.dup(1)
    except OSError:  # there is no standard output that could be written to
        highs = highspy.Highs()  # type: ignore[no-untyped-call]
        highs.silent()
        return highs
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 1)
        highs = highspy.Highs()  # type: ignore[no-untyped-call]
    finally:
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)
    highs.silent()
    return highs


def as_model(program: Program) -> highspy.HighsLp:
    """The programme as the solver takes it."""
    lp = highspy.HighsLp()
    lp.num_col_, lp.num_row_ = len(program.cost), len(program.row_names)
    lp.col_cost_ = np.array(program.cost, dtype=np.float64)
    lp.col_lower_ = _bounds(program.lower)
    lp.col_upper_ = _bounds(program.upper)
    lp.row_lower_ = _bounds(program.row_lower)
    lp.row_upper_ = _bounds(program.row_upper)
    lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    lp.a_matrix_.start_ = np.array(program.starts, dtype=np.int32)
    lp.a_matrix_.index_ = np.array(program.columns, dtype=np.int32)
    lp.a_matrix_.value_ = np.array(program.values, dtype=np.float64)
    kinds = (highspy.HighsVarType.kContinuous, highspy.HighsVarType.kInteger)
    lp.integrality_ = [kinds[whole] for whole in program.whole]
    return lp


def _bend(highs: highspy.Highs, curved: Array) -> None:
    """Adds half of x'Qx: the solver takes the lower half of Q, column by column."""
    n = len(curved)
    rows, columns = np.tril_indices(n)
    order = np.lexsort((rows, columns))
    starts = np.concatenate(([0], np.cumsum(np.arange(n, 0, -1))[:-1]))
    highs.passHessian(
        n,
        len(rows),
        int(highspy.HessianFormat.kTriangular),
        starts.astype(np.int32),
        rows[order].astype(np.int32),
        curved[rows[order], columns[order]],
    )


def _bounds(values: list[float]) -> Array:
    return np.clip(np.array(values, dtype=np.float64), -highspy.kHighsInf, highspy.kHighsInf)


def _solution(highs: highspy.Highs, program: Program) -> Solution:
    status = highs.getModelStatus()
    info = highs.getInfo()
    nothing = np.zeros(0)
    if status in (
        highspy.HighsModelStatus.kInfeasible,
        highspy.HighsModelStatus.kUnboundedOrInfeasible,
    ):
        return Solution("infeasible", nothing, 0.0, 0.0)
    if status == highspy.HighsModelStatus.kUnbounded:
        return Solution("none found", nothing, 0.0, 0.0)
    if info.primal_solution_status != highspy.SolutionStatus.kSolutionStatusFeasible:
        return Solution("none found", nothing, 0.0, 0.0)
    solution = highs.getSolution()
    values = np.array(solution.col_value, dtype=np.float64)
    optimal = status == highspy.HighsModelStatus.kOptimal
    gap = float(info.mip_gap) if any(program.whole) else 0.0
    cost = float(info.objective_function_value)
    priced = not any(program.whole) and solution.dual_valid
    return Solution(
        "optimal" if optimal else "best so far",
        values,
        cost,
        max(0.0, gap) if np.isfinite(gap) else 1.0,
        float(info.mip_dual_bound) if any(program.whole) else cost,
        np.array(solution.row_dual if priced else [], dtype=np.float64),
        np.array(solution.col_dual if priced else [], dtype=np.float64),
    )

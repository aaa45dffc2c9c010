"""The one place that calls the solver (HiGHS: Huangfu and Hall 2018, Parallelizing the dual revised
simplex method, Mathematical Programming Computation 10:119-142)."""

import os
import sys
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import highspy
import numpy as np
from numpy.typing import NDArray

from quailwright.planning.program import Program

Array = NDArray[np.float64]
Ended = Literal["optimal", "best so far", "infeasible", "none found"]


@dataclass(frozen=True)
class Solution:
    """What the solver found.

    Attributes:
        ended: "optimal" within the gap asked for, "best so far" when time ran out or somebody
            stopped it, "infeasible", or "none found".
        values: of the columns, shape (columns,); empty where there are none.
        cost: of those values.
        gap: how far the cost may be above the least possible, as a share of it.
    """

    ended: Ended
    values: Array
    cost: float
    gap: float

    @property
    def found(self) -> bool:
        """Whether there are values."""
        return len(self.values) > 0


def solve(
    program: Program,
    *,
    gap: float,
    seconds: float,
    start: Array | None = None,
    progress: Callable[[float, float], None] | None = None,
) -> Solution:
    """Solves a programme.

    Args:
        gap: relative gap at which to stop, 0 or more.
        seconds: time after which the best so far is taken.
        start: values to begin from, of an earlier solution of a like programme.
        progress: called with (best cost, gap) when a better solution is found.
    """
    highs = _quiet_solver()
    highs.setOptionValue("mip_rel_gap", gap)
    highs.setOptionValue("time_limit", seconds)
    highs.setOptionValue("random_seed", 1)
    highs.HandleKeyboardInterrupt = True
    highs.passModel(_model(program))
    if start is not None and len(start) == len(program.cost):
        warm = highspy.HighsSolution()
        warm.col_value = start.tolist()
        highs.setSolution(warm)
    if progress is not None:
        tell = progress

        def improved(event: object) -> None:
            out = getattr(event, "data_out", None)
            if out is not None:
                tell(float(out.objective_function_value), float(out.mip_gap))

        highs.cbMipImprovingSolution.subscribe(improved)
    highs.solve()
    return _solution(highs, program)


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


def _model(program: Program) -> highspy.HighsLp:
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
    values = np.array(highs.getSolution().col_value, dtype=np.float64)
    optimal = status == highspy.HighsModelStatus.kOptimal
    gap = float(info.mip_gap) if any(program.whole) else 0.0
    return Solution(
        "optimal" if optimal else "best so far",
        values,
        float(info.objective_function_value),
        max(0.0, gap) if np.isfinite(gap) else 1.0,
    )

"""Plans against bare HiGHS: `python -m benchmarks.plan [--rounds N] [--scenarios N]`.

Run from the project's folder with the Python of `.venv-check`. See docs/benchmarks.md for what each
row means. Nothing here is asserted.
"""

import argparse
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import highspy
import numpy as np
from benchmarks.measure import Ratio, seconds, side_by_side
from benchmarks.rows import Row, alone, row_of

from quailwright.flock.fold import fold
from quailwright.planning.accept import entries_of
from quailwright.planning.asked import Posed, pose
from quailwright.planning.columns import Columns
from quailwright.planning.given import Asked
from quailwright.planning.model import build
from quailwright.planning.plan import Plan, carried_out, make_plan, question_of
from quailwright.planning.program import Program
from quailwright.planning.solver import solve

ON, LATER = date(2027, 1, 10), date(2027, 2, 7)
NODES, GAP, SECONDS = 10, 0.03, 60.0
BRIEF = b"""
[goal]
eggs_per_week = 120
from = 2027-06-01
until = 2028-12-31
certainty = 0.8
[limits]
lamp = true
absences = [["2027-08-01", "2027-08-21"]]
[holding]
latitude = 54.0
timezone = "Europe/London"
[[place]]
place = "box"
role = "incubator"
capacity_eggs = 120
[[place]]
place = "hatcher"
role = "hatcher"
capacity_eggs = 120
[[place]]
place = "brooder"
role = "brooder"
floor_m2 = 3
[[place]]
place = "pens"
role = "pen"
floor_m2 = 8
[[source]]
source = "posted"
route = "shipped"
price_per_egg = 0.5
postage = 8
[[source]]
source = "near"
route = "collected"
price_per_egg = 0.6
[[source]]
source = "by the dozen"
route = "collected"
price_per_egg = 0.4
postage = 12
least_eggs = 40
[prices]
feed_per_kg = 1.1
minute = 0.05
"""


def main() -> int:
    """Runs every benchmark and prints its figures."""
    parser = argparse.ArgumentParser(description="Plans against bare HiGHS side by side.")
    parser.add_argument("--rounds", type=int, default=3, help="rounds of each pair (default 3)")
    parser.add_argument("--scenarios", type=int, default=200, help="of the large programme")
    parser.add_argument("--seconds", type=float, default=120.0, help="the most it may take")
    told = parser.parse_args()
    posed = pose("brief", BRIEF, fold([], ON), ON, {})
    plans: list[Plan] = []
    whole = seconds(lambda: plans.append(_planned(posed)))
    plan = plans[0]
    print(
        f"plan of {plan.problem.weeks} weeks, {len(plan.problem.sources)} sources, "
        f"{len(plan.asked.candidates)} days and sources to choose from: {whole:.1f} s, "
        f"{plan.status}, gap {plan.gap:.1%}, {len(plan.draft.sets)} sets, "
        f"cost {plan.cost.mean():.0f}"
    )
    _again(plan, posed)
    built = seconds(lambda: build(plan.asked))
    program, columns = build(plan.asked)
    print(
        f"its programme: {len(program.cost)} columns ({sum(program.whole)} whole), "
        f"{len(program.row_names)} rows, {len(program.values)} factors, built in {built:.3f} s"
    )
    with tempfile.TemporaryDirectory(prefix="benchmarks-") as folder:
        _show(_built_and_solved(plan, Path(folder), told.rounds))
    _scenarios(posed, plan, program, columns, told.scenarios, told.seconds)
    return 0


def rows(quick: bool) -> Iterator[Row]:
    """For the page of all benchmarks."""
    brief = BRIEF.replace(b"2028-12-31", b"2027-08-15") if quick else BRIEF
    posed = pose("brief", brief, fold([], ON), ON, {})
    plans: list[Plan] = []
    whole = seconds(lambda: plans.append(_planned(posed)))
    weeks = plans[0].problem.weeks
    yield alone("plans", f"a plan of {weeks} weeks, searched and confirmed", whole)
    with tempfile.TemporaryDirectory(prefix="benchmarks-") as folder:
        yield row_of("plans", _built_and_solved(plans[0], Path(folder), 1 if quick else 3))


def _built_and_solved(plan: Plan, folder: Path, rounds: int) -> Ratio:
    file = folder / "plan.mps"
    _exported(build(plan.asked)[0], file)
    return side_by_side(
        "build and solve its programme",
        lambda: seconds(lambda: _solved(build(plan.asked)[0])),
        "bare HiGHS on the exported model",
        lambda: seconds(lambda: _bare(file)),
        rounds,
        1.3,
    )


def _planned(posed: Posed) -> Plan:
    return make_plan(posed.situation, posed.problem, np.random.default_rng(1))


def _again(plan: Plan, posed: Posed) -> None:
    """The accepted plan made again four weeks later."""
    numbers = iter(range(10**6))
    entries = entries_of(
        plan,
        posed.brief,
        BRIEF.decode(),
        fold([], ON),
        datetime(ON.year, ON.month, ON.day, 12, tzinfo=UTC).isoformat(),
        lambda: f"{next(numbers):08x}-0000-4000-8000-000000000000",
    )
    later = fold(entries, LATER)
    again: list[Plan] = []

    def replan() -> None:
        whole = pose("brief", BRIEF, later, LATER, {})
        again.append(_planned(whole))

    took = seconds(replan)
    before = {one.on for one in plan.draft.sets}
    moved = {one.on for one in again[0].draft.sets} - before
    print(f"the same made again four weeks later: {took:.1f} s (aim 5), {len(moved)} dates moved")


def _solved(program: Program) -> None:
    solve(program, gap=GAP, seconds=SECONDS, nodes=NODES)


def _exported(program: Program, file: Path) -> None:
    from quailwright.planning.solver import as_model

    highs = highspy.Highs()  # type: ignore[no-untyped-call]
    highs.silent()
    highs.passModel(as_model(program))
    highs.writeModel(str(file))


def _bare(file: Path) -> None:
    highs = highspy.Highs()  # type: ignore[no-untyped-call]
    highs.silent()
    options: dict[str, Any] = {
        "mip_rel_gap": GAP,
        "time_limit": SECONDS,
        "mip_max_nodes": NODES,
        "random_seed": 1,
    }
    for name, value in options.items():
        highs.setOptionValue(name, value)
    highs.readModel(str(file))
    highs.run()


def _show(row: Ratio) -> None:
    low, high = row.spread
    aim = f"  aim {row.aim:g}" if row.aim is not None else ""
    print(
        f"{row.what}: {row.seconds:.2f} s; {row.against}: {row.reference_seconds:.2f} s; ratio "
        f"{row.ratio:.2f} ({low:.2f} to {high:.2f}){aim}",
        flush=True,
    )


def _scenarios(
    posed: Posed, plan: Plan, program: Program, columns: Columns, number: int, limit: float
) -> None:
    """The same goal as one programme over scenarios: in each, what hens of a set lay differs by its
    hatch and by the level of the flock; eggs wanting are counted in every one."""
    large = _over_scenarios(plan.asked, program, columns, number, posed.problem.on)
    found: list[Any] = []
    took = seconds(lambda: found.append(solve(large, gap=GAP, seconds=limit)))
    solution = found[0]
    print(
        f"the same over {number} scenarios in one programme: {len(large.row_names)} rows, "
        f"{len(large.values)} factors, {took:.0f} s, {solution.ended}, gap {solution.gap:.1%}"
    )
    if not solution.found:
        return
    from quailwright.planning.drafts import read

    draft = read(
        plan.asked, columns, replace(solution, values=solution.values[: len(program.cost)])
    )
    question = question_of(plan.problem, plan.asked, draft)
    ahead = carried_out(posed.situation, plan.problem, question, 7, 4000)
    weeks = plan.problem.wanted.eggs > 0
    met = (ahead.samples["eggs"][:, weeks] >= plan.problem.wanted.eggs[weeks]).mean(0)
    chance = plan.chance_met[weeks]
    print(
        f"  its plan meets a week with {met.mean():.0%} on the mean, {met.min():.0%} at least; "
        f"that of the margins {np.nanmean(chance):.0%} and {np.nanmin(chance):.0%}"
    )


def _over_scenarios(
    asked: Asked, program: Program, columns: Columns, number: int, on: date
) -> Program:
    rng = np.random.default_rng(on.toordinal())
    large = Program(*(list(getattr(program, name)) for name in program.__slots__))
    wanted = asked.problem.wanted.eggs
    spread = {n: one.spread * one.each for n, one in enumerate(asked.per_hen)}
    rows = {name: n for n, name in enumerate(program.row_names)}
    dear = {w: program.cost[columns.wanting[w]] for w in range(asked.problem.weeks)}
    day_of = {
        column: day for day, kept in zip(columns.days, columns.kept, strict=True) for column in kept
    }
    for scenario in range(number):
        level = float(np.exp(rng.normal(0.0, _LEVEL)))
        hatch = {
            day: max(0.2, 1.0 + rng.normal() * spread[asked.candidates[n].source])
            for n, day in enumerate(one.day for one in asked.candidates)
        }
        for week in np.flatnonzero(wanted > 0).tolist():
            row = rows[f"eggs in the week of {asked.problem.first_day(week)}"]
            inside = range(program.starts[row], program.starts[row + 1])
            terms = [
                (program.columns[i], program.values[i] * level * hatch[day_of[program.columns[i]]])
                for i in inside
                if program.columns[i] in day_of
            ]
            short = large.column(f"wanting in {scenario} of {week}", cost=dear[week] / number)
            large.row(
                f"scenario {scenario}, week {week}",
                [*terms, (short, 1.0)],
                lower=float(wanted[week]),
            )
    return large


_LEVEL = 0.12
"""Spread of the lay of a flock between scenarios (logarithm): they must differ by something."""


if __name__ == "__main__":
    raise SystemExit(main())

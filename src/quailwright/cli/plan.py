"""`plan`: which eggs to set, when and from whom, so that a goal is met."""

import sys
import textwrap
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from quailwright.cli import show
from quailwright.cli.offers import journal_of
from quailwright.cli.options import FlockOption, JsonOption, OnOption, moment_asked
from quailwright.cli.outlook import progress_bar
from quailwright.flock.fold import fold, newest_zone
from quailwright.flock.state import Flock
from quailwright.guide import wording
from quailwright.guide.round import day_at
from quailwright.journal.findings import BadInput
from quailwright.journal.jsonl import read_file, read_stream

if TYPE_CHECKING:
    from quailwright.planning.plan import Plan
    from quailwright.planning.ways_out import WayOut

EXAMPLES = """Examples:

\b
  quailwright plan brief.toml
  quailwright plan brief.toml --json
  quailwright plan brief.toml --on 2027-02-01 --no-ways-out

A brief says what you want; what it leaves out is taken from your journal:

\b
  [goal]
  eggs_per_week = 120
  from = 2027-06-01
  certainty = 0.8
  [limits]
  absences = [["2027-08-01", "2027-08-21"]]

All that it may hold: docs/plan.md."""


def plan(
    ctx: typer.Context,
    file: Annotated[str, typer.Argument(help="A brief in TOML, or - for standard input.")],
    flock_file: FlockOption = None,
    on: OnOption = None,
    as_json: JsonOption = False,
    seed: Annotated[
        int, typer.Option("--seed", metavar="N", help="The same number plans the same again.")
    ] = 1,
    no_ways_out: Annotated[
        bool, typer.Option("--no-ways-out", help="Do not look for ways out when it is not met.")
    ] = False,
) -> None:
    """The hatch calendar that meets a goal, or why none can."""
    if seed < 0:
        raise BadInput(f"--seed is 0 or more, not {seed}.")
    stdin = file == "-"
    data = read_stream(sys.stdin.buffer, "standard input") if stdin else read_file(Path(file))
    entries = journal_of(ctx, flock_file)
    asked_on = moment_asked(on, newest_zone(entries))
    flock = fold(entries, asked_on)
    day = day_at(flock, asked_on)
    import numpy as np

    from quailwright.outlook.forecast import learn
    from quailwright.planning.asked import problem_of
    from quailwright.planning.brief import completed, read_brief, taken_for_granted
    from quailwright.planning.plan import Situation, make_plan
    from quailwright.planning.ways_out import reasons, ways_out

    read, findings = read_brief(data)
    if read is None or findings:
        raise BadInput(f"{file} cannot be used as it is.", tuple(findings))
    brief, missing = completed(read, flock, day)
    if missing:
        raise BadInput("There is no plan without this:", tuple(missing))
    if flock.holding is None and brief.holding is not None:
        flock = replace(flock, holding=brief.holding, zone=brief.holding.timezone or flock.zone)
    situation = Situation(flock, learn(flock, day), {})
    problem = problem_of(brief, flock, day)
    rng = np.random.default_rng(seed)
    with progress_bar("Planning", True) as moved:
        found = make_plan(
            situation, problem, rng, progress=lambda _, part: moved(round(100 * part), 100)
        )
        ways: list[WayOut] = []
        if found.status != "met" and not no_ways_out:
            ways = ways_out(situation, found, rng)
    why = reasons(situation, found, ways)
    said = taken_for_granted(brief)
    if as_json:
        from quailwright.exchange.plan_shape import plan_shape

        show.json_document(plan_shape(found, why, ways, said, seed))
    else:
        _show(found, flock, why, ways, said)
    if found.status != "met":
        raise typer.Exit(1)


_STATUS = {
    "met": "This meets the goal.",
    "best_effort": "This does not meet the goal as surely as asked; it comes nearest.",
    "infeasible": "No: the goal is out of reach in some weeks. This comes nearest.",
}


def _show(
    found: "Plan", flock: Flock, why: list[str], ways: "list[WayOut]", said: list[str]
) -> None:
    problem = found.problem
    name = flock.holding.name if flock.holding is not None else ""
    print(f"{name + ': ' if name else ''}a plan from {wording.full_day(problem.on)}")
    print(_STATUS[found.status])
    goal_weeks = int((problem.wanted.eggs > 0).sum())
    if goal_weeks:
        print(
            f"A week of the goal is met with {found.chance_overall:.0%} on the mean "
            f"(asked: {problem.wanted.certainty:.0%}); all {goal_weeks} weeks together with "
            f"{found.chance_every_week:.0%}."
        )
    if found.table_met is not None:
        print(f"A month has birds enough for the table with {found.table_met:.0%}.")
    for sentence in [*why, *said]:
        print(textwrap.fill(sentence, 100, initial_indent="  ", subsequent_indent="  "))
    show.heading("Set")
    show.table(
        ("on", "eggs", "from", "in", "keep hens", "keep cocks"),
        [
            (
                wording.full_day(one.on),
                one.eggs,
                one.source,
                one.place,
                one.keep_hens,
                one.keep_cocks,
            )
            for one in found.draft.sets
        ],
    )
    if not found.draft.sets:
        print("  Nothing.")
    if found.draft.culls:
        show.heading("Let go")
        show.table(
            ("on", "of", "hens that stay"),
            [(wording.full_day(c.on), c.of, c.keep_hens) for c in found.draft.culls],
        )
    _show_weeks(found)
    _show_cost(found)
    if ways:
        show.heading("Ways out, each tried")
        show.table(
            ("if there were", "a week is met with", "costs more", ""),
            [
                (way.what, f"{way.chance:.0%}", f"{way.cost_more:+.0f}", _met(way.status))
                for way in ways
            ],
        )
        print("  The thing itself is not in its price.")


def _met(status: str) -> str:
    return "meets the goal" if status == "met" else ""


def _show_weeks(found: "Plan") -> None:
    from quailwright.outlook.report import spread_of

    problem = found.problem
    show.heading("Eggs a week with this plan: does it hold?")
    step = -(-problem.weeks // _SHOWN_WEEKS)
    weeks = range(0, problem.weeks, step)
    names = ("q10", "q25", "q50", "q75", "q90")
    bands = []
    for week in weeks:
        spread = spread_of(found.ahead.samples["eggs"][:, week])
        bands.append([spread[name] for name in names])
    wanted = float(problem.wanted.eggs.max())
    show.fan([wording.weekday(problem.first_day(week)) for week in weeks], bands, wanted or None)


_SHOWN_WEEKS = 26


def _show_cost(found: "Plan") -> None:
    import numpy as np

    prices = found.problem.prices
    low, high = np.quantile(found.cost, (0.1, 0.9))
    currency = f" {prices.currency}" if prices.currency else ""
    show.heading(f"Cost of all {found.problem.weeks} weeks")
    print(f"  {found.cost.mean():.0f}{currency}, likely {low:.0f} to {high:.0f}")
    for name, part in found.parts.items():
        if part:
            print(f"    {name.replace('_', ' ')}: {part:.0f}")
    peak = found.peak
    print(
        f"  At most {peak['incubator']:.0f} eggs in machines, {peak['brooder']:.0f} chicks, "
        f"{peak['pen']:.0f} grown birds, {found.minutes_a_day.max():.0f} minutes a day."
    )

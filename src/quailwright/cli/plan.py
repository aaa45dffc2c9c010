"""`plan`: which eggs to set, when and from whom, so that a goal is met."""

import textwrap
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Annotated

import typer

from quailwright.cli import show
from quailwright.cli.options import (
    FlockOption,
    JsonOption,
    OnOption,
    fresh_id,
    now,
    opened,
)
from quailwright.cli.outlook import progress_bar
from quailwright.cli.standing import Standing, asked_file, standing
from quailwright.exchange.typed import local
from quailwright.flock.fold import fold
from quailwright.flock.state import Flock
from quailwright.guide import wording
from quailwright.journal.entries import LONGEST_BRIEF
from quailwright.journal.findings import BadInput

if TYPE_CHECKING:
    from quailwright.planning.again import Again
    from quailwright.planning.answer import Answer
    from quailwright.planning.plan import Plan

EXAMPLES = """Examples:

\b
  quailwright plan brief.toml
  quailwright plan brief.toml --json
  quailwright plan brief.toml --choices
  quailwright plan brief.toml --choice "fewer hatches" --accept
  quailwright plan brief.toml --what-if limits.max_birds=100
  quailwright plan

A brief says what you want; what it leaves out is taken from your journal:

\b
  [goal]
  eggs_per_week = 120
  from = 2027-06-01
  certainty = 0.8
  [limits]
  absences = [["2027-08-01", "2027-08-21"]]

With no file the plan that you accepted is made again, with as few changes as things ask for.
All that a brief may hold: docs/plan.md."""


def plan(
    ctx: typer.Context,
    file: Annotated[
        str | None,
        typer.Argument(help="A brief in TOML, or - for standard input; none: the accepted one."),
    ] = None,
    flock_file: FlockOption = None,
    on: OnOption = None,
    as_json: JsonOption = False,
    seed: Annotated[
        int, typer.Option("--seed", metavar="N", help="The same number plans the same again.")
    ] = 1,
    no_ways_out: Annotated[
        bool, typer.Option("--no-ways-out", help="Do not look for ways out when it is not met.")
    ] = False,
    choices: Annotated[
        bool, typer.Option("--choices", help="Other plans beside it: surer, cheaper, less work.")
    ] = False,
    choice: Annotated[
        str | None,
        typer.Option("--choice", metavar="NAME", help="Make the plan that --choices calls so."),
    ] = None,
    what_if: Annotated[
        list[str] | None,
        typer.Option(
            "--what-if", metavar="KEY=VALUE", help="Beside it, the plan if this were different."
        ),
    ] = None,
    accept: Annotated[
        bool,
        typer.Option("--accept", help="Take the plan on: its sets go into the journal."),
    ] = False,
    anew: Annotated[
        bool, typer.Option("--anew", help="Plan as if no plan had been accepted.")
    ] = False,
) -> None:
    """The hatch calendar that meets a goal, or why none can."""
    if seed < 0:
        raise BadInput(f"--seed is 0 or more, not {seed}.")
    if accept and what_if:
        raise BadInput("--what-if only tries. Write the change into the brief, then --accept.")
    stands = standing(ctx, flock_file, on)
    name, data = _brief(file, stands.flock)
    from quailwright.planning.asked import pose

    flock, day, times = stands.flock, stands.day, stands.times
    posed = pose(name, data, flock, day, times, accepted=not anew)
    other = None
    if what_if:
        other = what_if, pose(name, data, flock, day, times, what_if, accepted=not anew)
    then = None
    if flock.plan is not None and not anew:
        then = fold(stands.entries, flock.plan.accepted_at)
    from quailwright.planning.answer import answered

    try:
        with _planning() as tell:
            answer = answered(
                posed,
                seed,
                choice=choice or "as asked",
                with_ways=not no_ways_out,
                with_choices=choices,
                what_if=other,
                then=then,
                progress=tell,
            )
    except ValueError as error:
        raise BadInput(f"--choice: {error}") from None
    except KeyboardInterrupt:
        raise BadInput("Stopped before any plan was made; nothing was written.") from None
    accepted = _accept(ctx, flock_file, stands, on, answer, data) if accept else 0
    if as_json:
        from quailwright.exchange.plan_shape import answer_shape

        show.json_document(answer_shape(answer, seed, accepted))
    else:
        _show(answer, flock)
        if accept:
            print(f"\nAccepted: {accepted} entries are in the journal.")
    if answer.plan.status != "met" and not accept:
        raise typer.Exit(1)


def _brief(file: str | None, flock: Flock) -> tuple[str, bytes]:
    """The name of the brief and its text: the accepted one where no file is named."""
    if file is not None:
        return file, asked_file(file)
    if flock.plan is None:
        raise BadInput("No plan has been accepted yet. Name a brief: quailwright plan brief.toml")
    return "The accepted brief", flock.plan.brief.encode()


@contextmanager
def _planning() -> Iterator[Callable[[str, float], None]]:
    """A bar that tells the best so far, on a terminal."""
    with progress_bar("Planning; Ctrl-C takes the best so far", True) as moved:
        yield lambda words, part: moved(round(100 * part), 100, words)


def _accept(
    ctx: typer.Context,
    flock_file: str | None,
    stands: Standing,
    on: str | None,
    answer: "Answer",
    brief: bytes,
) -> int:
    """Writes the plan's entries and gives their number."""
    from quailwright.exchange.record import record
    from quailwright.outlook.forecast import evening
    from quailwright.planning.accept import entries_of

    whole = answer.posed.situation.flock
    moment = now()
    if on is not None:
        asked = stands.asked
        moment = asked if isinstance(asked, datetime) else evening(whole, stands.day)
    at = local(moment, whole.zone).isoformat(timespec="seconds")
    text = brief.decode("utf-8-sig").replace("\r\n", "\n")
    if len(text) > LONGEST_BRIEF:
        raise BadInput(f"The brief has {len(text)} characters; {LONGEST_BRIEF} can be kept.")
    entries = entries_of(answer.plan, answer.posed.brief, text, stands.flock, at, fresh_id)
    with opened(ctx, flock_file, create=True) as store:
        return len(record(store, entries, now()).written)


_STATUS = {
    "met": "This meets the goal.",
    "best_effort": "This does not meet the goal as surely as asked; it comes nearest.",
    "infeasible": "No: at times too few {lacking} are in reach. This comes nearest.",
}


def _show(answer: "Answer", flock: Flock) -> None:
    plan = answer.plan
    name = flock.holding.name if flock.holding is not None else ""
    print(f"{name + ': ' if name else ''}a plan from {wording.full_day(plan.problem.on)}")
    lacking = " and ".join(plan.out_of_reach) or "eggs"
    print(_STATUS[plan.status].format(lacking=lacking))
    for sentence in [*_chances(plan), *answer.reasons, *answer.said]:
        print(textwrap.fill(sentence, 100, initial_indent="  ", subsequent_indent="  "))
    if answer.again is not None:
        _show_again(answer.again)
    _show_sets(plan)
    _show_calendar(plan)
    _show_weeks(plan)
    _show_cost(plan)
    if answer.ways:
        show.heading("Ways out, each tried")
        show.table(
            ("if there were", "a week is met with", "costs more", ""),
            [
                (
                    way.what,
                    f"{way.chance:.0%}",
                    f"{way.cost_more:+.0f}",
                    "meets the goal" if way.status == "met" else "",
                )
                for way in answer.ways
            ],
        )
        print("  Costs are of birds, eggs, work and a lamp's power, not of the thing itself.")
    if answer.choices:
        show.heading("Plans to pick from")
        show.table(_COMPARED, [(one.name, *_compared(one.plan)) for one in answer.choices])
        print('  Pick one: --choice "its name"; take it on: --accept.')
    if answer.what_if is not None:
        told, other = answer.what_if
        show.heading("What if")
        rows = [("the brief", plan), (", ".join(told), other)]
        show.table(_COMPARED, [(name, *_compared(one)) for name, one in rows])


_COMPARED = ("plan", "a week is met with", "all weeks", "costs", "hatches", "min a day", "birds")


def _compared(plan: "Plan") -> tuple[object, ...]:
    return (
        f"{plan.chance_overall:.0%}",
        f"{plan.chance_every_week:.0%}",
        f"{plan.cost.mean():.0f}",
        len({one.on for one in plan.draft.sets}),
        f"{plan.minutes_by_day.mean():.0f}",
        f"{plan.peak['pen']:.0f}",
    )


def _chances(plan: "Plan") -> Iterator[str]:
    asked = f"(asked: {plan.problem.wanted.certainty:.0%})"
    weeks = plan.weeks_asked
    if weeks:
        yield (
            f"A week of the goal is met with {plan.chance_overall:.0%} on the mean {asked}; all "
            f"{weeks} weeks together with {plan.chance_every_week:.0%}."
        )
    if plan.table_met is not None:
        yield f"A month has birds enough for the table with {plan.table_met:.0%} {asked}."


def _show_again(again: "Again") -> None:
    show.heading(f"Against the plan accepted on {wording.full_day(again.accepted_on)}")
    said = [change.words for change in again.changes if change.words]
    for sentence in said or ["No set changes."]:
        print(f"  {sentence}")
    if again.why:
        print("  Since then:")
    for sentence in again.why:
        print(textwrap.fill(sentence, 100, initial_indent="    ", subsequent_indent="    "))


def _show_sets(plan: "Plan") -> None:
    from quailwright.planning.problem import chosen_on

    show.heading("Set")
    show.table(
        ("on", "eggs", "from", "in", "choose on", "hens stay", "cocks stay"),
        [
            (
                wording.full_day(one.on),
                one.eggs,
                one.source,
                one.place,
                chosen_on(plan.problem, one.on),
                one.keep_hens,
                one.keep_cocks,
            )
            for one in plan.draft.sets
        ],
    )
    if not plan.draft.sets:
        print("  Nothing.")
    if plan.draft.culls:
        show.heading("Let go")
        show.table(
            ("on", "of", "hens that stay"),
            [(wording.full_day(c.on), c.of, c.keep_hens) for c in plan.draft.culls],
        )


_LETTERS = {"turned": "t", "hatching": "h", "brooder": "b", "growing": "g", "kept": "="}


def _show_calendar(plan: "Plan") -> None:
    from quailwright.planning.calendar import bars

    first = plan.problem.first_day(0)
    days = 7 * plan.problem.weeks
    rows = [
        (
            bar.name,
            [
                (_LETTERS[phase], (begun - first).days / days, ((last - first).days + 1) / days)
                for phase, begun, last in bar.phases
            ],
        )
        for bar in bars(plan)
    ]
    if rows:
        show.heading(f"The sets from {first} to {first + timedelta(days=days - 1)}")
        show.bars(rows, "t turned, h hatching, b brooder, g growing, = kept")


def _show_weeks(plan: "Plan") -> None:
    from quailwright.outlook.report import spread_of

    problem = plan.problem
    show.heading("Eggs a week with this plan: does it hold?")
    step = -(-problem.weeks // _SHOWN_WEEKS)
    weeks = range(0, problem.weeks, step)
    names = ("q10", "q25", "q50", "q75", "q90")
    bands = []
    for week in weeks:
        spread = spread_of(plan.ahead.samples["eggs"][:, week])
        bands.append([spread[name] for name in names])
    wanted = float(problem.wanted.eggs.max())
    show.fan([wording.weekday(problem.first_day(week)) for week in weeks], bands, wanted or None)


_SHOWN_WEEKS = 26


def _show_cost(plan: "Plan") -> None:
    from quailwright.outlook.report import spread_of

    prices = plan.problem.prices
    cost = spread_of(plan.cost)
    currency = f" {prices.currency}" if prices.currency else ""
    show.heading(f"Cost of all {plan.problem.weeks} weeks")
    print(f"  {cost['mean']:.0f}{currency}, likely {cost['q10']:.0f} to {cost['q90']:.0f}")
    for name, part in plan.parts.items():
        if part:
            print(f"    {name.replace('_', ' ')}: {part:.0f}")
    peak, (busiest, minutes) = plan.peak, plan.busiest_day
    print(
        f"  At most {peak['incubator']:.0f} eggs in machines, {peak['brooder']:.0f} chicks, "
        f"{peak['pen']:.0f} grown birds. The longest day is {wording.full_day(busiest)} with "
        f"{minutes:.0f} minutes."
    )

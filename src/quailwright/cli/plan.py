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
from quailwright.flock.state import Flock
from quailwright.guide import wording
from quailwright.journal.findings import BadInput
from quailwright.language import say, say_many

if TYPE_CHECKING:
    from quailwright.exchange.plan_told import PlanAsked
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
        raise BadInput(say("--seed is 0 or more, not {number}.", number=seed))
    if accept and what_if:
        raise BadInput(say("--what-if only tries. Write the change into the brief, then --accept."))
    stands = standing(ctx, flock_file, on)
    if file is None and stands.flock.plan is None:
        raise BadInput(
            say("No plan has been accepted yet. Name a brief: quailwright plan brief.toml")
        )
    data = b"" if file is None else asked_file(file)
    from quailwright.exchange.plan_told import PlanAsked, PlanFrom, answer_to

    asked = PlanAsked(
        file,
        data,
        seed,
        choice or "as asked",
        tuple(what_if or ()),
        with_ways=not no_ways_out,
        with_choices=choices,
        anew=anew,
    )
    flock = stands.flock
    with _planning() as tell:
        whole = PlanFrom(stands.entries, flock, stands.day, stands.times)
        answer = answer_to(asked, whole, tell)
    accepted = _accept(ctx, flock_file, stands, on, answer, asked) if accept else 0
    if as_json:
        from quailwright.exchange.plan_shape import answer_shape

        show.json_document(answer_shape(answer, seed, accepted))
    else:
        _show(answer, flock)
        if accept:
            print()
            print(
                say_many(
                    "Accepted: {n} entries are in the journal.",
                    "Accepted: {n} entries are in the journal.",
                    accepted,
                )
            )
    if answer.plan.status != "met" and not accept:
        raise typer.Exit(1)


@contextmanager
def _planning() -> Iterator[Callable[[str, float], None]]:
    """A bar that tells the best so far, on a terminal."""
    with progress_bar(say("Planning; Ctrl-C takes the best so far"), True) as moved:
        yield lambda words, part: moved(round(100 * part), 100, say(words))


def _accept(
    ctx: typer.Context,
    flock_file: str | None,
    stands: Standing,
    on: str | None,
    answer: "Answer",
    asked: "PlanAsked",
) -> int:
    """Writes the plan's entries and gives their number."""
    from quailwright.exchange.plan_told import brief_of, take_on
    from quailwright.outlook.forecast import evening

    moment = now()
    if on is not None:
        evening_then = evening(answer.posed.situation.flock, stands.day)
        moment = stands.asked if isinstance(stands.asked, datetime) else evening_then
    brief = brief_of(asked, stands.flock)
    with opened(ctx, flock_file, create=True) as store:
        taken = take_on(store, answer, brief, stands.flock, moment, now(), fresh_id)
    return len(taken.written)


def _show(answer: "Answer", flock: Flock) -> None:
    from quailwright.exchange.plan_told import chances, status_words

    plan = answer.plan
    name = flock.holding.name if flock.holding is not None else ""
    begins = say("a plan from {day}", day=wording.full_day(plan.problem.on))
    print(f"{name + ': ' if name else ''}{begins}")
    print(status_words(plan))
    for sentence in [*chances(plan), *answer.reasons, *answer.said]:
        print(textwrap.fill(say(sentence), 100, initial_indent="  ", subsequent_indent="  "))
    if answer.again is not None:
        _show_again(answer.again)
    _show_sets(plan)
    _show_calendar(plan)
    _show_weeks(plan)
    _show_cost(plan)
    if answer.ways:
        show.heading(say("Ways out, each tried"))
        show.table(
            (say("if there were"), say("a week is met with"), say("costs more"), ""),
            [
                (
                    say(way.what),
                    f"{way.chance:.0%}",
                    f"{way.cost_more:+.0f}",
                    say("meets the goal") if way.status == "met" else "",
                )
                for way in answer.ways
            ],
        )
        print(
            "  "
            + say("Costs are of birds, eggs, work and a lamp's power, not of the thing itself.")
        )
    if answer.choices:
        show.heading(say("Plans to pick from"))
        show.table(_columns(), [(one.name, *_compared(one.plan)) for one in answer.choices])
        print("  " + say('Pick one: --choice "its name"; take it on: --accept.'))
    if answer.what_if is not None:
        told, other = answer.what_if
        show.heading(say("What if"))
        rows = [(say("the brief"), plan), (", ".join(told), other)]
        show.table(_columns(), [(name, *_compared(one)) for name, one in rows])


def _columns() -> tuple[str, ...]:
    return (
        say("plan"),
        say("a week is met with"),
        say("all weeks"),
        say("costs"),
        say("hatches"),
        say("min a day"),
        say("birds"),
    )


def _compared(plan: "Plan") -> tuple[object, ...]:
    from quailwright.exchange.plan_told import beside

    one = beside(plan)
    return (
        f"{one.chance:.0%}",
        f"{one.every_week:.0%}",
        f"{one.cost:.0f}",
        one.hatches,
        f"{one.minutes:.0f}",
        f"{one.birds:.0f}",
    )


def _show_again(again: "Again") -> None:
    day = wording.full_day(again.accepted_on)
    show.heading(say("Against the plan accepted on {day}", day=day))
    said = [change.words for change in again.changes if change.words]
    for sentence in said or [say("No set changes.")]:
        print(f"  {sentence}")
    if again.why:
        print("  " + say("Since then:"))
    for sentence in again.why:
        print(textwrap.fill(say(sentence), 100, initial_indent="    ", subsequent_indent="    "))


def _show_sets(plan: "Plan") -> None:
    from quailwright.planning.problem import chosen_on

    show.heading(say("Set"))
    show.table(
        (
            say("on"),
            say("eggs"),
            say("from"),
            say("in"),
            say("choose on"),
            say("hens stay"),
            say("cocks stay"),
        ),
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
        print("  " + say("Nothing."))
    if plan.draft.culls:
        show.heading(say("Let go"))
        show.table(
            (say("on"), say("of"), say("hens that stay")),
            [(wording.full_day(c.on), say(c.of), c.keep_hens) for c in plan.draft.culls],
        )


_LETTERS = {"turned": "t", "hatching": "h", "brooder": "b", "growing": "g", "kept": "="}


def _show_calendar(plan: "Plan") -> None:
    from quailwright.planning.calendar import bars

    first = plan.problem.first_day(0)
    days = 7 * plan.problem.weeks
    rows = [
        (
            say(bar.name),
            [
                (_LETTERS[phase], (begun - first).days / days, ((last - first).days + 1) / days)
                for phase, begun, last in bar.phases
            ],
        )
        for bar in bars(plan)
    ]
    if rows:
        last = first + timedelta(days=days - 1)
        show.heading(say("The sets from {first} to {last}", first=first, last=last))
        show.bars(rows, say("t turned, h hatching, b brooder, g growing, = kept"))


def _show_weeks(plan: "Plan") -> None:
    from quailwright.outlook.report import spread_of

    problem = plan.problem
    show.heading(say("Eggs a week with this plan: does it hold?"))
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
    from quailwright.exchange.plan_told import PARTS, most_and_longest
    from quailwright.outlook.report import spread_of

    prices = plan.problem.prices
    cost = spread_of(plan.cost)
    currency = f" {prices.currency}" if prices.currency else ""
    show.heading(say("Cost of all {weeks} weeks", weeks=plan.problem.weeks))
    told = say(
        "{cost}, likely {low:.0f} to {high:.0f}",
        cost=f"{cost['mean']:.0f}{currency}",
        low=cost["q10"],
        high=cost["q90"],
    )
    print(f"  {told}")
    for name, part in plan.parts.items():
        if part:
            print(f"    {say(PARTS[name])}: {part:.0f}")
    print(f"  {most_and_longest(plan)}")

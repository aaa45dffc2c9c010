"""`today`, `rules` and `demo`: the round, the rules behind it, and an invented flock to try."""

import shlex
import sys
import textwrap
from datetime import date, datetime
from pathlib import Path
from typing import Annotated

import typer

from quailwright.cli import show
from quailwright.cli.options import (
    FlockOption,
    JsonOption,
    OnOption,
    data_folder,
    location,
    moment_asked,
    now,
    opened,
)
from quailwright.exchange import shapes
from quailwright.exchange.air_seen import air_seen
from quailwright.exchange.clock_told import clock_says
from quailwright.flock.fold import fold, newest_zone
from quailwright.flock.state import Flock
from quailwright.guide import wording
from quailwright.guide.round import Round, Task, day_at, todays_round, units_of
from quailwright.guide.rules import ShownRule, all_rules
from quailwright.journal.entries import Entry, Units
from quailwright.journal.findings import BadInput
from quailwright.journal.store import Store, open_store
from quailwright.language import mark, say, say_many

EXAMPLES = """Examples:

\b
  quailwright today
  quailwright today --on 2027-05-02 --why
  quailwright today --json

Tick a task: quailwright log care task=feed_water place=pen-a"""


def today(
    ctx: typer.Context,
    flock_file: FlockOption = None,
    on: OnOption = None,
    why: Annotated[bool, typer.Option("--why", help="Say why, and on whose word.")] = False,
    as_json: JsonOption = False,
) -> None:
    """The day's round: what to do, for how long, and what looks wrong."""
    with opened(ctx, flock_file) as store:
        if on is None and (clock := clock_says(store, now())):
            print(clock, file=sys.stderr)
        _print_round(store, store.entries(), on, why, as_json)


def _print_round(
    store: Store, entries: list[Entry], on: str | None, why: bool, as_json: bool
) -> None:
    asked = moment_asked(on, newest_zone(entries))
    flock = fold(entries, asked)
    the_round = todays_round(flock, day_at(flock, asked), air_seen(store, flock, asked))
    if as_json:
        show.json_document(shapes.round_shape(the_round))
        return
    _show_round(flock, the_round, why)


def _show_round(flock: Flock, the_round: Round, why: bool) -> None:
    name = f"{flock.holding.name}: " if flock.holding is not None and flock.holding.name else ""
    print(f"{name}{wording.full_day(the_round.on)}")
    if flock.holding is not None and flock.holding.note:
        print(flock.holding.note)
    if not flock.entries:
        show.first_steps()
        return
    if not the_round.places:
        print(say("Nothing to do, as far as the record knows."))
    elif the_round.minutes_apart:
        print(
            say(
                "About {minutes:.0f} minutes, and {apart:.0f} for bigger jobs.",
                minutes=the_round.minutes,
                apart=the_round.minutes_apart,
            )
        )
    else:
        print(say("About {minutes:.0f} minutes.", minutes=the_round.minutes))
    for held in the_round.withheld:
        text = _NOT_MOVED if held.what == "birds" else _NOT_USED if held.until else _NO_DATE
        print(
            say(
                text,
                what=say(held.what),
                of=held.of,
                day=wording.weekday(held.until) if held.until else "",
                why=held.because,
            )
        )
    told: set[str] = set()
    for sign in the_round.signs:
        look = say(
            "LOOK: {where}: {evidence} {check}",
            where=sign.where,
            evidence=sign.evidence,
            check=sign.check,
        )
        print(textwrap.fill(look, 98, subsequent_indent="      "))
        if sign.ring and sign.ring not in told:
            told.add(sign.ring)
            show.caution(sign.ring)
    for place in the_round.places:
        show.heading(place.place or say("Anywhere"))
        for task in place.tasks:
            _show_task(task, the_round.on, why, told, units_of(flock))
    if the_round.missed:
        show.heading(say("Too late now"))
        for missed in the_round.missed:
            late = say(
                "{subject}: {task} (was due {day}).",
                subject=missed.subject,
                task=missed.task,
                day=wording.when(missed.was_due, the_round.on),
            )
            print(f"  {late}")
            print("      " + say("Instead: {instead}", instead=missed.instead))
    if the_round.coming:
        show.heading(say("In the next days"))
        for task in the_round.coming:
            count = f" ({task.count})" if task.count else ""
            print(f"  {wording.when(task.due, the_round.on)}  {task.subject}: {task.task}{count}")


_NOT_MOVED = mark("NOT TO BE MOVED: {what} of {of}, up to and on {day} ({why}).")
_NO_DATE = mark("NOT TO BE USED: {what} of {of} ({why}).")
_NOT_USED = mark("NOT TO BE USED: {what} of {of}, up to and on {day} ({why}).")


def _show_task(task: Task, on: date, why: bool, told: set[str], units: Units) -> None:
    if task.times_left > 1:
        takes = say(
            "{times} times, {minutes:g} min in all", times=task.times_left, minutes=task.minutes
        )
    else:
        takes = say("{minutes:g} min", minutes=task.minutes)
    print(f"  [ ] {task.task} ({takes})")
    notes = [task.subject] if task.once else []
    notes += [task.count] if task.count else []
    if task.once:
        notes.append(say("due {day}", day=wording.when(task.due, on)))
    if task.overdue_days:
        notes.append(say_many("{n} day overdue", "{n} days overdue", task.overdue_days))
    if task.printed:
        notes.append(say("your change"))
        if task.printed != task.task:
            notes.append(say("printed: {task}", task=task.printed))
    if notes:
        print(f"      {'; '.join(notes)}")
    if why:
        print("      " + say("Why: {why}", why=task.why))
        for row in task.figures:
            print(f"        {wording.cited(row, units)}")
    if task.caution and task.caution not in told:
        told.add(task.caution)
        show.caution(task.caution)


RULES_EXAMPLES = """Examples:

\b
  quailwright rules
  quailwright rules wash
  quailwright log care_rule rule=wash every_days=45
  quailwright log care_rule rule=hatch_watch silenced=true
  quailwright log care_rule rule=oil_hinges stage=pen task="Oil the hinges" every_days=90"""


def rules(
    ctx: typer.Context,
    name: Annotated[str | None, typer.Argument(help="One rule, with its sources.")] = None,
    flock_file: FlockOption = None,
    as_json: JsonOption = False,
) -> None:
    """The rules of care: what they ask for, and on whose word."""
    flock = _flock_if_any(ctx, flock_file)
    shown = [s for s in all_rules(flock.care_rules) if name in (None, s.rule.rule)]
    if not shown:
        raise BadInput(say("There is no rule {name!r}. `quailwright rules` lists them.", name=name))
    if as_json:
        show.json_document([shapes.rule_shape(one) for one in shown])
        return
    units = units_of(flock)
    if name is not None:
        for one in shown:
            _show_rule(one, units)
        return
    rows = [
        (s.rule.rule, s.rule.stage, wording.plain(s.rule.task, units), _yours(s)) for s in shown
    ]
    show.table((say("rule"), say("of"), say("task"), ""), rows)


def _flock_if_any(ctx: typer.Context, flock_file: str | None) -> Flock:
    """What stands; nothing, where there is no flock yet."""
    if "://" not in location(ctx, flock_file) and not Path(location(ctx, flock_file)).exists():
        return Flock()
    with opened(ctx, flock_file) as store:
        return fold(store.entries())


def _yours(shown: ShownRule) -> str:
    yours = say("yours") if shown.rule.yours else ""
    if shown.silenced:
        yours = say("silenced by you")
    if not shown.place:
        return yours
    return yours + " " + say("at {place}", place=shown.place)


def _show_rule(shown: ShownRule, units: Units) -> None:
    rule = shown.rule
    yours = _yours(shown)
    print(f"{rule.rule} ({rule.stage}){', ' if yours else ''}{yours}")
    for label, text in (
        (mark("Task: {text}"), rule.task),
        (mark("Why: {text}"), rule.why),
        (mark("Caution: {text}"), rule.caution),
    ):
        if text:
            print(say(label, text=wording.plain(text, units)))
    print(say("When: {when}; {takes}", when=wording.rhythm(rule), takes=wording.takes(rule)))
    if rule.original is not None:
        printed = rule.original
        print(say("Printed: {task}", task=wording.plain(printed.task, units)))
        print(
            say(
                "Printed when: {when}; {takes}",
                when=wording.rhythm(printed),
                takes=wording.takes(printed),
            )
        )
    for row in rule.basis():
        print(f"  {row.key}: {wording.cited(row, units)}")
    if not rule.figures:
        print(f"  {say(rule.certainty)}")


DEMO_EXAMPLES = """Examples:

\b
  quailwright demo
  quailwright demo --no-serve --seed 7 --on 2027-05-02"""


def demo(
    ctx: typer.Context,
    flock_file: FlockOption = None,
    seed: Annotated[int, typer.Option("--seed", help="Another number, another flock.")] = 1,
    on: OnOption = None,
    no_serve: Annotated[
        bool, typer.Option("--no-serve", help="Only build it and print its round.")
    ] = False,
    port: Annotated[
        int | None, typer.Option("--port", metavar="N", help="The port to serve it at.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Build an invented flock and serve its pages."""
    from quailwright.exchange.demo_file import build_demo

    path = (ctx.obj or {}).get("flock") or flock_file or str(data_folder() / "demo.sqlite")
    asked = moment_asked(on, "")
    day = asked.date() if isinstance(asked, datetime) else asked
    entries = build_demo(path, day, seed, now())
    if not (no_serve or as_json):
        from quailwright.cli.serve import DEMO_PORT, serve_flock

        print(say("An invented flock to look around in; nothing here is real."))
        serve_flock(path, port, invented=True, near=DEMO_PORT)
        return
    with open_store(path) as store:
        _print_round(store, entries, on, why=False, as_json=as_json)
    if not as_json:
        show.heading(say("Everything above is invented. To look further:"))
        print(f"  ./start flock --flock {shlex.quote(path)}")
        print(f"  ./start today --why --flock {shlex.quote(path)}")

"""`today`, `rules` and `demo`: the round, the rules behind it, and an invented flock to try."""

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
from quailwright.flock.fold import fold, newest_zone
from quailwright.flock.state import Flock
from quailwright.guide import wording
from quailwright.guide.round import Round, Task, day_at, todays_round, units_of
from quailwright.guide.rules import ShownRule, all_rules
from quailwright.journal.entries import Entry, Units
from quailwright.journal.findings import BadInput

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
        entries = store.entries()
    _print_round(entries, on, why, as_json)


def _print_round(entries: list[Entry], on: str | None, why: bool, as_json: bool) -> None:
    asked = moment_asked(on, newest_zone(entries))
    flock = fold(entries, asked)
    the_round = todays_round(flock, day_at(flock, asked))
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
    apart = (
        f", and {the_round.minutes_apart:.0f} for bigger jobs" if the_round.minutes_apart else ""
    )
    if the_round.places:
        print(f"About {the_round.minutes:.0f} minutes{apart}.")
    else:
        print("Nothing to do, as far as the record knows.")
    for held in the_round.withheld:
        what = "NOT TO BE MOVED" if held.what == "birds" else "NOT TO BE USED"
        last = wording.weekday(held.until)
        print(f"{what}: {held.what} of {held.of}, up to and on {last} ({held.because}).")
    for sign in the_round.signs:
        print(f"LOOK: {sign.where}: {sign.evidence} {sign.check}")
    told: set[str] = set()
    for place in the_round.places:
        show.heading(place.place or "Anywhere")
        for task in place.tasks:
            _show_task(task, the_round.on, why, told, units_of(flock))
    if the_round.missed:
        show.heading("Too late now")
        for missed in the_round.missed:
            was_due = wording.when(missed.was_due, the_round.on)
            print(f"  {missed.subject}: {missed.task} (was due {was_due}).")
            print(f"      Instead: {missed.instead}")
    if the_round.coming:
        show.heading("In the next days")
        for task in the_round.coming:
            count = f" ({task.count})" if task.count else ""
            print(f"  {wording.when(task.due, the_round.on)}  {task.subject}: {task.task}{count}")


def _show_task(task: Task, on: date, why: bool, told: set[str], units: Units) -> None:
    times = f"{task.times_left} times, " if task.times_left > 1 else ""
    in_all = " in all" if times else ""
    print(f"  [ ] {task.task} ({times}{task.minutes:g} min{in_all})")
    notes = [task.subject] if task.once else []
    notes += [task.count] if task.count else []
    if task.once:
        notes.append(f"due {wording.when(task.due, on)}")
    if task.overdue_days:
        notes.append(f"{wording.counted(task.overdue_days, 'day')} overdue")
    if task.printed:
        differs = task.printed != task.task
        notes.append("your change" + (f"; printed: {task.printed}" if differs else ""))
    if notes:
        print(f"      {'; '.join(notes)}")
    if why:
        print(f"      Why: {task.why}")
        for figure in task.figures:
            print(f"        {wording.cited(figure, units)}")
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
        raise BadInput(f"There is no rule {name!r}. `quailwright rules` lists them.")
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
    show.table(("rule", "of", "task", ""), rows)


def _flock_if_any(ctx: typer.Context, flock_file: str | None) -> Flock:
    """What stands; nothing, where there is no flock yet."""
    if "://" not in location(ctx, flock_file) and not Path(location(ctx, flock_file)).exists():
        return Flock()
    with opened(ctx, flock_file) as store:
        return fold(store.entries())


def _yours(shown: ShownRule) -> str:
    yours = "yours" if shown.rule.yours else ""
    words = ("silenced by you" if shown.silenced else yours, f"at {shown.place}")
    return " ".join(words if shown.place else words[:1])


def _show_rule(shown: ShownRule, units: Units) -> None:
    rule = shown.rule
    yours = _yours(shown)
    print(f"{rule.rule} ({rule.stage}){', ' if yours else ''}{yours}")
    for label, text in (("Task", rule.task), ("Why", rule.why), ("Caution", rule.caution)):
        if text:
            print(f"{label}: {wording.plain(text, units)}")
    print(f"When: {wording.rhythm(rule)}; {wording.takes(rule)}")
    if rule.original is not None:
        printed = rule.original
        print(f"Printed: {wording.plain(printed.task, units)}")
        print(f"Printed when: {wording.rhythm(printed)}; {wording.takes(printed)}")
    for figure in rule.basis():
        print(f"  {figure.key}: {wording.cited(figure, units)}")
    if not rule.figures:
        print(f"  {rule.certainty}")


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

        print("An invented flock to look around in; nothing here is real.")
        serve_flock(path, port, invented=True, near=DEMO_PORT)
        return
    _print_round(entries, on, why=False, as_json=as_json)
    if not as_json:
        show.heading("Everything above is invented. To look further:")
        print(f"  ./start flock --flock {path}")
        print(f"  ./start today --why --flock {path}")

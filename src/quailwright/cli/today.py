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
from quailwright.guide.round import Round, Task, day_at, todays_round
from quailwright.guide.rules import Rule, printed_rules, rules_at
from quailwright.journal.entries import Entry
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
    """The day's round: what to do, place by place, how long it takes, and what looks wrong."""
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
        print("Nothing is recorded yet. Begin with where the flock lives:")
        print("  quailwright log holding name=... timezone=Europe/Lisbon units=metric")
        return
    apart = (
        f", and {the_round.minutes_apart:.0f} for bigger jobs" if the_round.minutes_apart else ""
    )
    print(f"About {the_round.minutes:.0f} minutes{apart}.")
    for held in the_round.withheld:
        print(f"NOT TO BE USED: {held.what} of {held.of}, up to {held.until} ({held.because}).")
    for sign in the_round.signs:
        print(f"LOOK: {sign.where}: {sign.evidence} {sign.check}")
    told: set[str] = set()
    for place in the_round.places:
        show.heading(place.place or "Anywhere")
        for task in place.tasks:
            _show_task(task, the_round.on, why, told)
    if the_round.missed:
        show.heading("Too late now")
        for missed in the_round.missed:
            print(f"  {missed.subject}: {missed.task} (was due {wording.clock(missed.was_due)}).")
            print(f"      Instead: {missed.instead}")
    if the_round.coming:
        show.heading("In the next days")
        for task in the_round.coming:
            count = f" ({task.count})" if task.count else ""
            print(f"  {_when(task.due)}  {task.subject}: {task.task}{count}")


def _show_task(task: Task, on: date, why: bool, told: set[str]) -> None:
    left = f", {task.times_left} times" if task.times_left > 1 else ""
    print(f"  [ ] {task.task} ({task.minutes:g} min{left})")
    notes = [task.subject] if task.once else []
    notes += [task.count] if task.count else []
    if task.once:
        notes.append(f"due {_when(task.due)}")
    if task.overdue_days:
        notes.append(f"{task.overdue_days} days overdue")
    if task.printed:
        notes.append(f"your change; printed: {task.printed}")
    if notes:
        print(f"      {'; '.join(notes)}")
    if why:
        print(f"      Why: {task.why}")
        for figure in task.figures:
            print(f"        {figure.cite()}")
    if task.caution and task.caution not in told:
        told.add(task.caution)
        show.caution(task.caution)


def _when(due: date | datetime) -> str:
    return wording.clock(due) if isinstance(due, datetime) else wording.weekday(due)


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
    held = {rule.rule: rule for rule in _rules(ctx, flock_file)}
    if name is not None and name not in held | dict(printed_rules()):
        raise BadInput(f"There is no rule {name!r}. `quailwright rules` lists them.")
    chosen = [held.get(name) or printed_rules()[name]] if name else list(held.values())
    if as_json:
        show.json_document([shapes.rule_shape(rule) for rule in chosen])
        return
    if name is None:
        rows = [(r.rule, r.stage, wording.plain(r.task, "metric"), _changed(r)) for r in chosen]
        show.table(("rule", "of", "task", ""), rows)
        return
    _show_rule(chosen[0], silenced=name not in held)


def _rules(ctx: typer.Context, flock_file: str | None) -> list[Rule]:
    """The rules as the flock's keeper has them; the printed ones where there is no flock yet."""
    if "://" not in location(ctx, flock_file) and not Path(location(ctx, flock_file)).exists():
        return list(printed_rules().values())
    with opened(ctx, flock_file) as store:
        return rules_at("", fold(store.entries()).care_rules)


def _changed(rule: Rule) -> str:
    return "yours" if rule.original is not None or rule.rule not in printed_rules() else ""


def _show_rule(rule: Rule, silenced: bool) -> None:
    print(f"{rule.rule} ({rule.stage}){', silenced by you' if silenced else ''}")
    for label, text in (("Task", rule.task), ("Why", rule.why), ("Caution", rule.caution)):
        if text:
            print(f"{label}: {wording.plain(text, 'metric')}")
    if rule.original is not None:
        print(f"Printed: {wording.plain(rule.original.task, 'metric')}")
    for figure in rule.basis():
        print(f"  {figure.key}: {figure.cite()}")
    if not rule.figures:
        print(f"  {rule.certainty}")


DEMO_EXAMPLES = """Examples:

\b
  quailwright demo --no-serve
  quailwright demo --no-serve --seed 7 --on 2027-05-02"""


def demo(
    ctx: typer.Context,
    flock_file: FlockOption = None,
    seed: Annotated[int, typer.Option("--seed", help="Another number, another flock.")] = 1,
    on: OnOption = None,
    no_serve: Annotated[
        bool, typer.Option("--no-serve", help="Only build it and print the round.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Build an invented flock and print its round. (There are no pages yet to serve.)"""
    from quailwright.exchange.demo_file import build_demo

    path = (ctx.obj or {}).get("flock") or flock_file or str(data_folder() / "demo.sqlite")
    asked = moment_asked(on, "")
    day = asked.date() if isinstance(asked, datetime) else asked
    entries = build_demo(path, day, seed, now())
    _print_round(entries, on, why=False, as_json=as_json)
    if not as_json:
        show.heading("Everything above is invented. To look further:")
        print(f"  ./start flock --flock {path}")
        print(f"  ./start today --why --flock {path}")

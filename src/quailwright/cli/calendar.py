"""`calendar`: what lies ahead, as a file for the calendar of a phone."""

import sys
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from quailwright.cli import show
from quailwright.cli.options import FlockOption, JsonOption, OnOption, moment_asked, opened
from quailwright.flock.fold import fold, newest_zone
from quailwright.guide import wording
from quailwright.journal.moments import until
from quailwright.language import say, say_many, spoken

if TYPE_CHECKING:
    from quailwright.exchange.calendar_events import Event
    from quailwright.exchange.calendar_told import FileTold

EXAMPLES = """Examples:

\b
  quailwright calendar
  quailwright calendar quail.ics
  quailwright calendar quail.ics --kinds hatch,plan --no-alarms
  quailwright calendar quail.ics --round 07:30 --address http://10.0.0.2:8347
  quailwright calendar - --json

Kinds: hatch, plan, orders, chicks, held, light, care, round. Written again over the same file, what
moved is told as moved and what is gone as called off. docs/calendar.md tells how."""


def calendar(
    ctx: typer.Context,
    file: Annotated[
        str, typer.Argument(metavar="[FILE.ics]", help="Where to write it; - for standard output.")
    ] = "",
    flock_file: FlockOption = None,
    on: OnOption = None,
    as_json: JsonOption = False,
    kinds: Annotated[
        str, typer.Option("--kinds", metavar="KIND,...", help="Only these. Default: all but round.")
    ] = "",
    round_at: Annotated[
        str, typer.Option("--round", metavar="HH:MM", help="The daily round too, at this time.")
    ] = "",
    alarms: Annotated[
        bool, typer.Option("--alarms/--no-alarms", help="Whether events ring.")
    ] = True,
    address: Annotated[
        str, typer.Option("--address", metavar="URL", help="Of your pages, for links to them.")
    ] = "",
) -> None:
    """What lies ahead, as a file for a phone's calendar."""
    from quailwright.exchange.calendar_ics import Wrapping
    from quailwright.exchange.calendar_told import (
        address_typed,
        calendar_name,
        events_of_store,
        ics_of,
        wanted_typed,
        write_file,
    )

    chosen = wanted_typed(spoken(), kinds, alarms, round_at)
    link = address_typed(address)
    with opened(ctx, flock_file) as store:
        entries = store.entries()
        asked = moment_asked(on, newest_zone(entries))
        flock = fold(entries, asked)
        events = events_of_store(store, flock, entries, asked, chosen)
    moment = until(asked, flock.zone).moment(flock.zone)
    mark = entries[0].id if entries else ""
    wrapping = Wrapping(mark, calendar_name(flock), flock.zone, link, chosen.alarms)
    told = None
    if file and file != "-":
        told = write_file(Path(file), events, moment, wrapping)
    if as_json:
        from quailwright.exchange.calendar_shape import calendar_shape

        show.json_document(calendar_shape(events, moment, flock.zone))
    elif file == "-":
        content, _ = ics_of(events, {}, moment, wrapping)
        sys.stdout.flush()
        sys.stdout.buffer.write(content)
        sys.stdout.buffer.flush()
    elif told is not None:
        _say_written(file, told)
    else:
        _show(events, moment.date())


def _say_written(file: str, told: "FileTold") -> None:
    print(
        say_many(
            "{file}: {n} event; {fresh} new, {changed} changed, {off} called off.",
            "{file}: {n} events; {fresh} new, {changed} changed, {off} called off.",
            told.events,
            file=file,
            fresh=told.fresh,
            changed=told.changed,
            off=told.called_off,
        )
    )
    print(say("Open it on the phone, or send it there; its calendar takes it in."))


def _show(events: "list[Event]", on: date) -> None:
    from quailwright.exchange.calendar_events import KIND_WORDS

    ahead = [event for event in events if event.daily or _last_day(event) >= on]
    if not ahead:
        print(say("Nothing lies ahead."))
        return
    print(say("What lies ahead, from {day}", day=wording.full_day(on)))
    show.table(
        (say("when"), say("what"), say("kind")),
        [(_when(event), event.summary, say(KIND_WORDS[event.kind])) for event in ahead],
    )


def _last_day(event: "Event") -> date:
    if isinstance(event.end, datetime):
        return event.end.date()
    return event.end - timedelta(days=1)


def _when(event: "Event") -> str:
    if event.daily and isinstance(event.start, datetime):
        return say("daily {time}", time=f"{event.start:%H:%M}")
    if not isinstance(event.start, datetime):
        return wording.weekday(event.start)
    return wording.clock(event.start)

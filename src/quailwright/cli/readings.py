"""`readings`: what thermometers and hygrometers showed, in from CSV and summed up."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from quailwright.cli import show
from quailwright.cli.options import (
    FlockOption,
    JsonOption,
    OnOption,
    moment_asked,
    now,
    opened,
    with_offset,
)
from quailwright.exchange.typed import local
from quailwright.flock.booking.known import near
from quailwright.flock.fold import fold, newest_zone
from quailwright.flock.state import Flock
from quailwright.guide import wording
from quailwright.guide.round import units_of
from quailwright.journal.entries import Units
from quailwright.journal.findings import BadInput
from quailwright.journal.moments import NotAMoment, instant, parse_moment, until, zone
from quailwright.language import figure, mark, say, say_many

if TYPE_CHECKING:
    from quailwright.exchange.readings_csv import Imported
    from quailwright.exchange.readings_report import Report
    from quailwright.exchange.readings_room import ReadingsRoom
    from quailwright.flock.climate import Climate

app = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    help="Readings of sensors: import, show, now, the room they take.",
    epilog="Example: quailwright readings import logger.csv --place incubator",
)

_IMPORT_EXAMPLES = """Examples:

\b
  quailwright readings import logger.csv --place incubator
  quailwright readings import logger.csv --place pen-1 --units f --dates mdy
  quailwright readings import logger.csv --place incubator --dry-run
  quailwright readings import logger.csv --place cellar --new-place

The file needs a line of headings: a time, and a temperature or a humidity.
All readings are kept, or none. Importing the same file again changes nothing."""

_SHOW_EXAMPLES = """Examples:

\b
  quailwright readings show --place incubator
  quailwright readings show --place incubator --from 2027-05-02 --until 2027-05-20"""

_ROOM_EXAMPLES = """Examples:

\b
  quailwright readings room
  quailwright readings room --json"""

_THIN_EXAMPLES = """Examples:

\b
  quailwright readings thin --dry-run
  quailwright readings thin

While the pages are served this is done by itself, once a day. What is left out cannot be had back;
the lowest and highest of every hour stay, at their own times."""

PlaceOption = Annotated[str, typer.Option("--place", help="Where the instrument hung.")]


@app.command("import", epilog=_IMPORT_EXAMPLES)
def import_(
    ctx: typer.Context,
    file: Annotated[str, typer.Argument(help="A CSV file, or - for standard input.")],
    place: PlaceOption,
    instrument: Annotated[
        str, typer.Option("--instrument", help="Which instrument, if there are several.")
    ] = "",
    timezone: Annotated[
        str,
        typer.Option("--timezone", help="Zone of times without one, such as Europe/Lisbon."),
    ] = "",
    units: Annotated[
        Literal["c", "f"] | None, typer.Option("--units", help="Unit of temperature.")
    ] = None,
    dates: Annotated[
        Literal["dmy", "mdy", "ymd"] | None,
        typer.Option("--dates", help="Order of day, month and year."),
    ] = None,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Say what would be kept; keep nothing.")
    ] = False,
    new_place: Annotated[
        bool, typer.Option("--new-place", help="The place may be one that no entry has named.")
    ] = False,
    flock_file: FlockOption = None,
    as_json: JsonOption = False,
) -> None:
    """Take in readings from a CSV file, all or none."""
    from quailwright.exchange.readings_csv import import_csv
    from quailwright.exchange.readings_layout import Told
    from quailwright.exchange.readings_taken import taken_shape

    with _as_file(file) as path, opened(ctx, flock_file, create=new_place) as store:
        flock = fold(store.entries())
        known = flock.places.get(place)
        if known is None and not new_place and not store.reading_extents(place):
            raise BadInput(_no_such_place(place, flock))
        told = Told(
            timezone,
            flock.zone or _computer_zone(),
            "" if flock.zone else say("this computer's zone"),
            units,
            dates,
            None if known is None else known.role,
        )
        imported = import_csv(store, path, place, instrument, told, dry_run, now())
    if as_json:
        show.json_document(taken_shape(imported, place, instrument, dry_run))
        return
    _say_imported(imported, flock.zone, dry_run)
    if known is None:
        print(say("The journal knows no place {place!r} yet: log it.", place=place))


def _no_such_place(place: str, flock: Flock) -> str:
    names = ", ".join(p.name for p in flock.in_walking_order())
    said = (
        say("--place: the journal knows no place {place!r}.", place=place),
        say(near(place, flock.places)).rstrip(),
        say("If it is a new one, say --new-place."),
        say("The journal knows {places}.", places=names) if names else "",
    )
    return " ".join(filter(None, said))


@contextmanager
def _as_file(name: str) -> Iterator[Path]:
    """The file, or what comes on standard input put into one, for it may be read twice."""
    if name != "-":
        yield Path(name)
        return
    import shutil

    from quailwright.journal.drafts import folder_apart

    with folder_apart() as folder:
        path = folder / "readings.csv"
        with path.open("wb") as copy:
            shutil.copyfileobj(sys.stdin.buffer, copy)
        yield path


def _computer_zone() -> str:
    """The IANA name of this computer's zone, or '' when it does not say."""
    linked = Path("/etc/localtime")
    names = [os.environ.get("TZ", "").removeprefix(":")]
    if linked.is_symlink():
        names.append(str(linked.resolve()).partition("zoneinfo/")[2])
    for name in filter(None, names):
        try:
            zone(name)
        except NotAMoment:
            continue
        return name
    return "" if any(names) or sys.platform == "win32" else "UTC"


def _say_imported(imported: "Imported", zone_name: str, dry_run: bool) -> None:
    kept = imported.kept
    said = [
        say_many("{n} reading would be kept", "{n} readings would be kept", kept.written)
        if dry_run
        else say_many("{n} reading kept", "{n} readings kept", kept.written)
    ]
    if kept.already:
        said.append(say_many("{n} were there already", "{n} were there already", kept.already))
    if imported.empty:
        said.append(
            say_many(
                "{n} lines had empty cells: a gap", "{n} lines had empty cells: a gap",
                imported.empty,
            )
        )  # fmt: skip
    print(f"{', '.join(said)}.")
    if imported.first is not None and imported.last is not None:
        first, last = (_minute(each, zone_name) for each in (imported.first, imported.last))
        print(say("From {first} to {last}.", first=first, last=last))
    for finding in imported.findings:
        print(f"  {finding.sentence}")


def _minute(moment: datetime, zone_name: str) -> str:
    return f"{local(moment, zone_name):%Y-%m-%d %H:%M}"


@app.command("show", epilog=_SHOW_EXAMPLES)
def show_(
    ctx: typer.Context,
    place: PlaceOption,
    from_: Annotated[
        str | None, typer.Option("--from", metavar="WHEN", help="First day, or an instant.")
    ] = None,
    until_: Annotated[
        str | None, typer.Option("--until", metavar="WHEN", help="Last day, or an instant.")
    ] = None,
    flock_file: FlockOption = None,
    as_json: JsonOption = False,
) -> None:
    """What the readings say: means, hours too warm or cold, gaps, faults."""
    from quailwright.exchange.readings_report import report, report_shape

    with opened(ctx, flock_file) as store:
        flock = fold(store.entries())
        start = None if from_ is None else _start(from_, flock.zone)
        end = None if until_ is None else _end(until_, flock.zone)
        told = report(store, flock, place, start, end)
    if as_json:
        show.json_document(report_shape(told))
        return
    _show(told, units_of(flock), flock.zone)


def _start(text: str, zone_name: str) -> datetime:
    _asked("--from", text, zone_name)
    return instant(with_offset(text, zone_name), zone_name, hour=0)


def _end(text: str, zone_name: str) -> datetime:
    asked = _asked("--until", text, zone_name)
    if isinstance(asked, datetime):
        return asked
    return until(asked, zone_name).moment(zone_name) + timedelta(seconds=1)


def _asked(option: str, text: str, zone_name: str) -> date | datetime:
    try:
        return parse_moment(with_offset(text, zone_name))
    except NotAMoment as error:
        raise BadInput(f"{option}: {error}") from None


def _show(told: "Report", units: Units, zone_name: str) -> None:
    start, end = (_minute(each, zone_name) for each in (told.start, told.end))
    print(say("{place}, {start} to {end}, as shown", place=told.place, start=start, end=end))
    for climate in told.climates:
        _show_climate(climate, units, zone_name)
    if told.days:
        print(say("Too many readings to look for faults. Ask for a shorter span. Days of UTC:"))
        show.table(
            [say(name) for name in _COLUMNS],
            [
                (day.start.date(), day.readings, "", *_warmth(day, units), *_damp(day))
                for day in told.days
            ],
        )
    if not (told.climates or told.days):
        first = local(min(extent.first for extent in told.kept), zone_name).date()
        last = local(max(extent.last for extent in told.kept), zone_name).date()
        print(say("No readings then. They run from {first} to {last}.", first=first, last=last))


_COLUMNS = (
    mark("day"), mark("readings"), mark("hours"), mark("mean"), mark("lowest"), mark("highest"),
    mark("% RH"), mark("lowest"), mark("highest"),
)  # fmt: skip


def _show_climate(climate: "Climate", units: Units, zone_name: str) -> None:
    show.heading(climate.instrument or say("Readings"))
    said = [
        say_many(
            "{n} readings over {covered:.0f} of {hours:.0f} h",
            "{n} readings over {covered:.0f} of {hours:.0f} h",
            climate.readings,
            covered=climate.hours_covered,
            hours=climate.hours,
        )
    ]
    warm, damp = climate.temperature, climate.humidity
    if warm is not None:
        said.append(
            say(
                "mean {mean}, {lowest} to {highest}",
                mean=wording.temperature(warm.mean, units),
                lowest=wording.temperature(warm.lowest, units),
                highest=wording.temperature(warm.highest, units),
            )
        )
        if warm.hours_far is not None:
            said.append(
                say(
                    "too cold {below:.1f} h, too warm {above:.1f} h, of these far off {far:.1f} h",
                    below=warm.hours_below,
                    above=warm.hours_above,
                    far=warm.hours_far,
                )
            )
    if damp is not None:
        said.append(
            say(
                "mean {mean:.0f} % RH, {lowest:.0f} to {highest:.0f} %",
                mean=damp.mean,
                lowest=damp.lowest,
                highest=damp.highest,
            )
        )
    said += [
        say(
            "nothing read for {hours:.1f} h from {start}",
            hours=gap.hours,
            start=_minute(gap.start, zone_name),
        )
        for gap in climate.gaps
    ]
    for sentence in (*said, *(finding.sentence for finding in climate.findings)):
        print(f"  {sentence}")
    show.table(
        [say(name) for name in _COLUMNS],
        [
            (
                day.on,
                day.readings,
                figure(day.hours_covered, ".1f"),
                *_warmth(day, units),
                *_damp(day),
            )
            for day in climate.days
        ],
    )


def _warmth(day: Any, units: Units) -> tuple[str, ...]:
    return tuple(
        "" if celsius is None else wording.temperature(celsius, units)
        for celsius in (day.temperature_c, day.temperature_low_c, day.temperature_high_c)
    )


def _damp(day: Any) -> tuple[str, ...]:
    return tuple(
        "" if percent is None else figure(percent, ".0f")
        for percent in (day.humidity_pct, day.humidity_low_pct, day.humidity_high_pct)
    )


_NOW_EXAMPLES = """Examples:

\b
  quailwright readings now
  quailwright readings now --json
  quailwright readings now --on 2027-05-02T21:00"""


@app.command("now", epilog=_NOW_EXAMPLES)
def now_(
    ctx: typer.Context,
    flock_file: FlockOption = None,
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """What every sensor shows now, how old that is, and whether it is as wanted."""
    from quailwright.exchange.now_page import now_page
    from quailwright.exchange.now_shown import days_shown, now_shape, readings_now

    with opened(ctx, flock_file) as store:
        entries = store.entries()
        zone_name = newest_zone(entries)
        asked = moment_asked(on, zone_name)
        flock = fold(entries, asked)
        at = now() if on is None else until(asked, zone_name).moment(zone_name)
        days = days_shown(store, flock, at)
        told = readings_now(store, flock, days, at, None if on is None else at)
    if as_json:
        show.json_document(now_shape(told))
        return
    shown = now_page(told, units_of(flock), flock.zone, charts=False)
    print(shown.summary)
    for place in shown.places:
        show.heading(place.place)
        if place.wanted:
            print(place.wanted)
        for one in place.instruments:
            parts = (one.name, one.value, one.damp, one.verdict, one.age, one.off)
            print("  " + "; ".join(filter(None, parts)))
    for sentence in shown.silent:
        print(sentence)


@app.command("room", epilog=_ROOM_EXAMPLES)
def room_(ctx: typer.Context, flock_file: FlockOption = None, as_json: JsonOption = False) -> None:
    """How much room readings take, and which are kept one by one."""
    from quailwright.exchange.readings_room import readings_room, room_shape

    with opened(ctx, flock_file) as store:
        flock = fold(store.entries())
        told = readings_room(store, flock, now())
    if as_json:
        show.json_document(room_shape(told))
        return
    _show_room(told, flock.zone)


def _show_room(told: "ReadingsRoom", zone_name: str) -> None:
    from quailwright.exchange.readings_room_told import room_told

    for sentence in room_told(told, zone_name):
        show.paragraph(sentence, "")
    if told.sensors:
        print()
        show.table(
            [say(name) for name in _ROOM_COLUMNS],
            [
                (
                    one.place,
                    one.instrument,
                    figure(one.readings, ",d"),
                    figure(one.kept, ",d"),
                )
                for one in told.sensors
            ],
        )


_ROOM_COLUMNS = (mark("place"), mark("instrument"), mark("readings"), mark("kept"))


@app.command("thin", epilog=_THIN_EXAMPLES)
def thin_(
    ctx: typer.Context,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Say what would be left out; change nothing.")
    ] = False,
    flock_file: FlockOption = None,
    as_json: JsonOption = False,
) -> None:
    """Leave out readings of long ago that the others tell."""
    from quailwright.exchange.readings_room import thin, thin_and_note

    with opened(ctx, flock_file) as store:
        at = now()
        flock = fold(store.entries(), at)
        left_out = (
            thin(store, flock, at, dry_run=True).left_out
            if dry_run
            else thin_and_note(store, flock, at).left_out
        )
    if as_json:
        show.json_document({"dry_run": dry_run, "left_out": left_out})
    elif not left_out:
        print(say("No reading is old enough to be left out."))
    elif dry_run:
        print(
            say_many(
                "{n} reading would be left out.", "{n:,} readings would be left out.", left_out
            )
        )
    else:
        print(say_many("{n} reading was left out.", "{n:,} readings were left out.", left_out))

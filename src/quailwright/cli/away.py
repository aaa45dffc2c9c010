"""`away`: a sheet for whoever looks after the birds while the keeper is away."""

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from quailwright.cli import show
from quailwright.cli.options import FlockOption, JsonOption, OnOption
from quailwright.cli.standing import flock_on
from quailwright.guide import told, wording
from quailwright.language import say

if TYPE_CHECKING:
    from quailwright.exchange.sitter import SitterSheet, Week

EXAMPLES = """Examples:

\b
  quailwright away 2027-05-10 2027-05-16
  quailwright away 2027-05-10 2027-05-16 --morning 07:00 --evening 18:30 --scoop 90
  quailwright away 2027-05-10 2027-05-16 --json

Whom to ring: quailwright log contact contact="Dr. Moss" role=vet phone="555 0100\""""

_WIDTH = 100


def away(
    ctx: typer.Context,
    first: Annotated[str, typer.Argument(metavar="FROM", help="The first day away.")],
    until: Annotated[str, typer.Argument(metavar="UNTIL", help="The last day away.")],
    flock_file: FlockOption = None,
    on: OnOption = None,
    morning: Annotated[str, typer.Option("--morning", help="When the first round is.")] = "",
    midday: Annotated[str, typer.Option("--midday", help="When the round at midday is.")] = "",
    evening: Annotated[str, typer.Option("--evening", help="When the last round is.")] = "",
    scoop: Annotated[
        str, typer.Option("--scoop", help="What a scoop of feed weighs, in grams (US: ounces).")
    ] = "",
    as_json: JsonOption = False,
) -> None:
    """A sitter's sheet: rounds, amounts, and whom to ring."""
    from quailwright.exchange.sitter import sitter_asked, sitter_sheet
    from quailwright.exchange.sitter_shape import sitter_shape

    flock, day = flock_on(ctx, flock_file, on)
    asked = sitter_asked(flock, day, first, until, morning, midday, evening, scoop)
    sheet = sitter_sheet(flock, day, asked)
    if as_json:
        show.json_document(sitter_shape(sheet))
        return
    _show(sheet)


def _show(sheet: "SitterSheet") -> None:
    print(
        say(
            "For the sitter: {first} to {last}",
            first=wording.full_day(sheet.asked.first),
            last=wording.full_day(sheet.asked.last),
        )
    )
    if sheet.empty:
        print(say("No birds and no eggs in a machine are written down: there is nothing to do."))
    for held in sheet.held:
        print(textwrap.fill(held, _WIDTH))
    if sheet.on_sheet:
        show.heading(say("STEPS ON THEIR OWN DAY"))
        for step in sheet.on_sheet:
            at = wording.when(step.at, sheet.on)
            if step.until is not None:
                at = say("{first} to {last}", first=at, last=wording.when(step.until, sheet.on))
            where = f"{step.place}, {step.subject}"
            print(
                textwrap.fill(f"[ ] {at}: {step.task} ({where})", _WIDTH, subsequent_indent="    ")
            )
    for week in sheet.weeks:
        _show_week(week)
    show.heading(say("Whom to ring"))
    _list([_contact(one.contact, one.role, one.phone) for one in sheet.contacts])
    _list([_contact("______________", role, "______________") for role in sheet.lacking])
    _list([say("The keeper: {line}", line="______________")])
    for heading, lines in (
        (say("Ring if"), sheet.ring_if),
        (say("To mind"), sheet.never),
        (say("Power, heat and cold"), sheet.failing),
        (say("Hands and children"), sheet.hands),
        (say("Before leaving"), sheet.before),
        (say("When back"), sheet.after),
    ):
        show.heading(heading)
        _list(lines)


def _contact(name: str, role: str, phone: str) -> str:
    return say("{name}, {role}: {phone}", name=name, role=told.choice_words(role), phone=phone)


def _show_week(week: "Week") -> None:
    for visit in week.visits:
        show.heading(
            say(
                "{name}, {clock}, from {first} to {last}",
                name=visit.name,
                clock=f"{visit.at:%H:%M}",
                first=wording.weekday(week.days[0]),
                last=wording.weekday(week.days[-1]),
            )
        )
        for stop in visit.stops:
            print(f"  {stop.place}: {stop.holds}" if stop.holds else f"  {stop.place}")
            if stop.held:
                print(f"      {stop.held}")
            for line in stop.lines:
                print(textwrap.fill(line.text, _WIDTH, initial_indent="      ",
                                    subsequent_indent="      "))  # fmt: skip
    if not week.visits:
        return
    days = [wording.weekday(day) for day in week.days]
    show.heading(say("To fill in"))
    rows = [f"{visit.name} {visit.at:%H:%M}" for visit in week.visits]
    rows += [say("eggs of {group}", group=group) for group in week.eggs]
    rows += [say("dead of {group}", group=whose) for whose in week.deaths]
    rows += [
        say("kg of {feed} ({amount} by this sheet)", feed=feed, amount=usual)
        if usual
        else say("kg of {feed}", feed=feed)
        for feed, usual in zip(week.feeds, week.feeds_usual, strict=True)
    ]
    rows += [
        say("litres at {place} ({amount} by this sheet)", place=place, amount=usual)
        for place, usual in zip(week.waters, week.waters_usual, strict=True)
    ]
    show.table(("", *days), [(row, *("____" for _ in days)) for row in rows])


def _list(lines: Sequence[str]) -> None:
    for line in lines:
        print(textwrap.fill(line, _WIDTH, initial_indent="  - ", subsequent_indent="    "))

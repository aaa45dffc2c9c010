"""`brooding`: heat by age in its room, what a heater holds, and when heat can end."""

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from quailwright.cli import show
from quailwright.cli.options import FlockOption, JsonOption, OnOption, moment_asked, opened
from quailwright.flock.fold import fold, newest_zone
from quailwright.guide.round import day_at
from quailwright.language import say

if TYPE_CHECKING:
    from quailwright.exchange.brooding_told import Told

EXAMPLES = """Examples:

\b
  quailwright brooding
  quailwright brooding may-chicks --room 18 --box 80x60x45 --watts 100 --price 0.25
  quailwright brooding --age 0 --birds 40 --room 64F --box 32x24x18in --wall cardboard --thickness 5
  quailwright brooding --place "warm box" --night 2027-05=8 --night 2027-06=11 --json

\b
Walls: plywood (12 mm unless told), softwood, cardboard, eps, xps, steel, plastic, glass.
Lids: closed, half, open. The heater's watts and the box are taken from the place where the
journal knows them. docs/brooding.md tells what is reckoned and what is not known."""


def brooding(
    ctx: typer.Context,
    group: Annotated[str | None, typer.Argument(help="Whose. Default: the youngest birds.")] = None,
    flock_file: FlockOption = None,
    on: OnOption = None,
    as_json: JsonOption = False,
    place: Annotated[str | None, typer.Option("--place", help="The brooder.")] = None,
    birds: Annotated[str | None, typer.Option("--birds", metavar="N", help="Their number.")] = None,
    age: Annotated[str | None, typer.Option("--age", metavar="DAYS", help="Their age.")] = None,
    room: Annotated[
        str | None, typer.Option("--room", metavar="C", help="Of the room, degrees C (or 68F).")
    ] = None,
    box: Annotated[
        str | None,
        typer.Option("--box", metavar="LxWxH", help="Inside of the box, cm (or 32x24x18in)."),
    ] = None,
    wall: Annotated[
        str | None, typer.Option("--wall", metavar="MATERIAL", help="Of the walls.")
    ] = None,
    thickness: Annotated[
        str | None, typer.Option("--thickness", metavar="MM", help="Of the walls, mm.")
    ] = None,
    lid: Annotated[str | None, typer.Option("--lid", help="closed, half or open.")] = None,
    litter: Annotated[
        str | None, typer.Option("--litter", metavar="CM", help="Its depth, cm.")
    ] = None,
    air_changes: Annotated[
        str | None, typer.Option("--air-changes", metavar="N", help="Of the box, an hour.")
    ] = None,
    watts: Annotated[
        str | None, typer.Option("--watts", metavar="W", help="Of the heater.")
    ] = None,
    price: Annotated[str | None, typer.Option("--price", help="Of a kWh, on your bill.")] = None,
    night: Annotated[
        list[str] | None,
        typer.Option("--night", metavar="MONTH=C", help="Lowest night of a month: 2027-05=8."),
    ] = None,
    room_in: Annotated[
        list[str] | None,
        typer.Option("--room-in", metavar="MONTH=C", help="Of the room in a month: 2027-06=16."),
    ] = None,
) -> None:
    """Heat for chicks: what a heater holds, when heat can end."""
    from quailwright.exchange.brooding_asked import given
    from quailwright.exchange.brooding_shape import brooding_shape
    from quailwright.exchange.brooding_told import brooding_of

    typed = {
        "group": group, "place": place, "birds": birds, "age": age, "room": room, "box": box,
        "wall": wall, "thickness": thickness, "lid": lid, "litter": litter,
        "air_changes": air_changes, "watts": watts, "price": price,
    }  # fmt: skip
    with opened(ctx, flock_file) as store:
        entries = store.entries()
        asked = moment_asked(on, newest_zone(entries))
        flock = fold(entries, asked)
        found = brooding_of(store, flock, day_at(flock, asked), given(typed, night, room_in))
    if as_json:
        show.json_document(brooding_shape(found))
    else:
        _show(found)


def _paragraphs(sentences: Sequence[str]) -> None:
    for sentence in sentences:
        print(textwrap.fill(sentence, 100, initial_indent="  ", subsequent_indent="  "))


def _show(told: "Told") -> None:
    from quailwright.exchange.brooding_told import heading

    print(heading(told.found))
    _paragraphs([*told.answer, *told.heat, *told.missing, told.lamp])
    show.cautions("command:brooding")
    if told.weeks:
        show.heading(say("How much heat, week by week?"))
        show.table(told.columns, told.weeks)
    if told.weeks:
        show.heading(say("What if the power fails?"))
        _paragraphs([*told.cut, *told.if_power_fails])
    if told.changes:
        show.heading(say("What would change the watts?"))
        _paragraphs([told.changes_answer])
        show.table((say("if it were otherwise"), say("needed")), told.changes)
    if told.seen_answer:
        show.heading(say("Was it warm enough?"))
        _paragraphs([told.seen_answer])
        show.table(told.seen_columns, told.seen)
    show.heading(say("When can heat end?"))
    _paragraphs(told.ends)
    show.heading(say("When can they go out?"))
    _paragraphs(told.out)
    show.heading(say("What this is, and what it is not"))
    _paragraphs(told.about)

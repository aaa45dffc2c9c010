"""`light`: day length, and when to set the lamp."""

import textwrap
from typing import TYPE_CHECKING, Annotated

import typer

from quailwright.cli import show
from quailwright.cli.options import FlockOption, JsonOption, OnOption
from quailwright.cli.standing import flock_on
from quailwright.guide import wording
from quailwright.language import say

if TYPE_CHECKING:
    from quailwright.exchange.light_page import LightPage

EXAMPLES = """Examples:

\b
  quailwright light
  quailwright light --hours 14 --end evening --until 2027-04-30
  quailwright light --watts 8 --price 0.30
  quailwright log holding lamp_on=05:30 lamp_off=08:00 light_target_h=14
  quailwright log holding rests_in_winter=true

The sun goes by the holding's latitude, longitude and timezone. docs/light.md tells how."""


def light(
    ctx: typer.Context,
    flock_file: FlockOption = None,
    on: OnOption = None,
    as_json: JsonOption = False,
    hours: Annotated[
        str, typer.Option("--hours", metavar="H", help="Hours of light aimed for. Default: yours.")
    ] = "",
    until: Annotated[
        str, typer.Option("--until", metavar="DAY", help="Last day. Default: a year on.")
    ] = "",
    end: Annotated[
        str,
        typer.Option("--end", metavar="WHEN", help="The lamp burns morning, evening or both."),
    ] = "",
    watts: Annotated[str, typer.Option("--watts", metavar="W", help="Watts of the lamp.")] = "",
    price: Annotated[
        str, typer.Option("--price", metavar="P", help="Price of a kilowatt hour.")
    ] = "",
) -> None:
    """The day's length, when to set the lamp, what follows."""
    flock, day = flock_on(ctx, flock_file, on)
    from quailwright.exchange.light_page import asked, light_page

    typed = {"hours": hours, "until": until, "end": end, "watts": watts, "price": price}
    found, told = light_page(flock, day, asked(typed))
    if as_json:
        from quailwright.exchange.light_shape import light_shape

        show.json_document(light_shape(found, told))
        return
    _show(told)


def _show(told: "LightPage") -> None:
    print(say("Light on {day}", day=wording.full_day(told.on)))
    for sentence in (told.summary, *told.answer):
        _wrapped(sentence)
    if not told.rests:
        show.cautions("command:light")
        show.heading(say("The timer by date"))
        show.table(
            (say("from"), say("lamp"), say("day, h"), say("light, h"), say("to mind")),
            [
                (wording.when(row.on, told.on), row.lamp, row.day_h, row.lit_h, row.note)
                for row in told.steps
            ],
        )
        if told.power:
            _wrapped(told.power)
    show.heading(say("And without a lamp?"))
    for sentence in (*told.if_not, told.year):
        _wrapped(sentence)
    show.heading(say("Or let them rest?"))
    for sentence in told.rest:
        _wrapped(sentence)
    show.heading(say("To know"))
    for sentence in told.notes:
        _wrapped(sentence)


def _wrapped(text: str) -> None:
    print(textwrap.fill(text, 100, initial_indent="  ", subsequent_indent="  "))

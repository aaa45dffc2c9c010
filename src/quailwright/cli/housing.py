"""`housing` and `manure`: room by pen, droppings, bedding and compost."""

import textwrap
from typing import TYPE_CHECKING, Annotated

import typer

from quailwright.cli import show
from quailwright.cli.options import FlockOption, JsonOption, OnOption
from quailwright.cli.standing import flock_on
from quailwright.guide import wording
from quailwright.language import figure, say

if TYPE_CHECKING:
    from quailwright.exchange.housing_told import Housing
    from quailwright.exchange.manure_told import Manure

EXAMPLES = """Examples:

\b
  quailwright housing
  quailwright housing --standard swiss
  quailwright log holding space_standard=wire

The standards of room do not agree: all are shown, and you choose one:
docs/housing.md tells more."""

MANURE_EXAMPLES = """Examples:

\b
  quailwright manure
  quailwright manure --bedding straw --json"""


def housing(
    ctx: typer.Context,
    flock_file: FlockOption = None,
    on: OnOption = None,
    as_json: JsonOption = False,
    standard: Annotated[
        str, typer.Option("--standard", metavar="KEY", help="By this standard, for now.")
    ] = "",
) -> None:
    """Room by pen, and the standards of room side by side."""
    from quailwright.exchange.housing_told import housing_shape, housing_told

    flock, day = flock_on(ctx, flock_file, on)
    told = housing_told(flock, day, standard)
    if as_json:
        show.json_document(housing_shape(told))
        return
    _show_housing(told)


def manure(
    ctx: typer.Context,
    flock_file: FlockOption = None,
    on: OnOption = None,
    as_json: JsonOption = False,
    bedding: Annotated[
        str,
        typer.Option("--bedding", metavar="MATERIAL", help="What is strewn and mixed in."),
    ] = "",
) -> None:
    """Droppings and bedding by week, and what to mix for compost."""
    from quailwright.exchange.manure_told import manure_shape, manure_told

    flock, day = flock_on(ctx, flock_file, on)
    told = manure_told(flock, day, bedding)
    if as_json:
        show.json_document(manure_shape(told))
        return
    _show_manure(told)


def _wrapped(text: str) -> None:
    print(textwrap.fill(text, 100, initial_indent="  ", subsequent_indent="  "))


def _show_housing(told: "Housing") -> None:
    from quailwright.exchange import housing_told as words

    print(say("Room on {day}", day=wording.full_day(told.on)))
    for sentence in (*told.answer, told.by_which):
        _wrapped(sentence)
    for sign in told.soon:
        _wrapped(
            say(
                "LOOK: {where}: {evidence} {check}",
                where=sign.where,
                evidence=sign.evidence,
                check=sign.check,
            )
        )
    for pen in told.pens:
        show.heading(pen.place)
        sentences = (
            words.room_words(pen, told.units),
            words.fits_words(pen),
            words.height_words(pen, told.units),
            words.ratio_words(pen),
            *(words.cleaning_words(one) for one in pen.cleaning),
        )
        for sentence in filter(None, sentences):
            _wrapped(sentence)
    show.heading(say("Standards of room"))
    _wrapped(told.between)
    _wrapped(say(words.LAW))
    for shown in told.standards:
        head = say("{name} [{key}]", name=say(shown.standard.name), key=shown.standard.key)
        _wrapped(head)
        for sentence in (*words.standard_words(shown, told.units), words.trust_words(shown)):
            print(textwrap.fill(sentence, 100, initial_indent="    ", subsequent_indent="    "))
    show.heading(say("Air and dust"))
    _wrapped(words.air_words())
    show.cautions("command:housing")
    if told.remarks:
        show.heading(say("What is not known"))
        for remark in told.remarks:
            _wrapped(remark.in_full)


def _show_manure(told: "Manure") -> None:
    from quailwright.exchange import manure_told as words

    print(say("Droppings and bedding on {day}", day=wording.full_day(told.on)))
    _wrapped(told.answer)
    _wrapped(told.bedding_answer)
    if told.untold:
        _wrapped(words.untold_words(told))
    show.heading(say("Week by week, if nothing leaves or dies"))
    show.table(
        (
            say("week from"),
            say("birds"),
            say("droppings, {unit}", unit=wording.feed_unit(told.units)),
            say("nitrogen, g"),
        ),
        [
            (
                wording.weekday(week.first),
                week.birds,
                figure(wording.feed_mass(week.droppings_kg, told.units), ".1f"),
                words.nitrogen_words(week),
            )
            for week in told.weeks
        ],
    )
    show.heading(say("What to mix for compost"))
    for sentence in told.mix_answer:
        _wrapped(sentence)
    for one in told.mixes[1:]:
        _wrapped(words.mix_words(one, told.units))
    _wrapped(words.heap_words())
    _wrapped(words.wait_words())
    show.cautions("command:manure")

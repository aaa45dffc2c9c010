"""`breeding`: matings, and rotation."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from quailwright.cli import show
from quailwright.cli.options import FlockOption, JsonOption, OnOption
from quailwright.cli.standing import asked_file, flock_on
from quailwright.guide import wording
from quailwright.language import say

if TYPE_CHECKING:
    from quailwright.exchange.matings_page import MatingsPage
    from quailwright.exchange.rotation_page import RotationPage

app = typer.Typer(rich_markup_mode=None)

MATINGS_EXAMPLES = """Examples:

\b
  quailwright breeding matings
  quailwright breeding matings --pens 3 --hens-per-cock 5
  quailwright breeding matings --with Rex=Ada --not Max=Bea --leave-out Tom
  quailwright breeding matings --by weight --gain 5
  quailwright breeding matings --values weights.csv --gain 8
  quailwright breeding matings --most 12.5%

docs/matings.md tells how."""

ROTATION_EXAMPLES = """Examples:

\b
  quailwright breeding rotation
  quailwright breeding rotation --pens 4 --cyclic
  quailwright breeding rotation --new-cocks 1 --every 3 --cock-price 15 --chick-price 2 --eggs 120

docs/matings.md tells how."""


@app.command("matings", epilog=MATINGS_EXAMPLES)
def matings(
    ctx: typer.Context,
    flock_file: FlockOption = None,
    on: OnOption = None,
    as_json: JsonOption = False,
    pens: Annotated[
        str, typer.Option("--pens", metavar="N", help="Pens to fill, one cock each.")
    ] = "",
    hens_per_cock: Annotated[
        str, typer.Option("--hens-per-cock", metavar="N", help="The most hens to a cock.")
    ] = "",
    keep_cocks: Annotated[
        str, typer.Option("--keep-cocks", metavar="N", help="Cocks to mate.")
    ] = "",
    keep_hens: Annotated[str, typer.Option("--keep-hens", metavar="N", help="Hens to mate.")] = "",
    together: Annotated[
        list[str] | None,
        typer.Option("--with", metavar="COCK=HEN", help="A pair that must be; may be repeated."),
    ] = None,
    apart: Annotated[
        list[str] | None,
        typer.Option("--not", metavar="COCK=HEN", help="A pair that must not be."),
    ] = None,
    leave_out: Annotated[
        list[str] | None, typer.Option("--leave-out", metavar="BIRD", help="Not to be mated.")
    ] = None,
    most: Annotated[
        str,
        typer.Option(
            "--most", metavar="SHARE", help="Inbreeding from which no pair is made. Default: 0.25."
        ),
    ] = "",
    values: Annotated[
        list[str] | None,
        typer.Option(
            "--values",
            metavar="FILE|BIRD=VALUE",
            help="Breeding values: a CSV file of bird,value, or one by one.",
        ),
    ] = None,
    by: Annotated[
        str,
        typer.Option(
            "--by", metavar="TRAIT", help="Gain by your records: weight, eggs or egg_weight."
        ),
    ] = "",
    gain: Annotated[
        str,
        typer.Option(
            "--gain", metavar="G", help="Wanted of the chicks, in the unit of the values."
        ),
    ] = "",
) -> None:
    """Who goes with whom: least kinship, at a gain where one is wanted."""
    flock, day = flock_on(ctx, flock_file, on)
    from dataclasses import replace

    from quailwright.exchange.matings_page import (
        asked,
        matings_page,
        pairs_typed,
        values_in,
        values_typed,
    )

    told: dict[str, float] = {}
    for each in values or ():
        if "=" in each and not Path(each).exists():
            told |= values_typed([each])
        else:
            told |= values_in(asked_file(each), each)
    typed = {
        "pens": pens, "hens_per_cock": hens_per_cock, "cocks": keep_cocks, "hens": keep_hens,
        "most": most, "gain": gain, "by": by,
    }  # fmt: skip
    ask = replace(
        asked(typed),
        together=pairs_typed(together or ()),
        apart=pairs_typed(apart or ()),
        leave_out=tuple(leave_out or ()),
        values=told,
    )
    plan, page = matings_page(flock, day, ask)
    if as_json:
        from quailwright.exchange.matings_shape import matings_shape

        show.json_document(matings_shape(plan, page))
        return
    _show_matings(page)


def _show_matings(told: "MatingsPage") -> None:
    print(say("Matings on {day}", day=wording.full_day(told.on)))
    _wrapped(told.summary)
    for card in told.pens:
        show.heading(card.pen)
        for sentence in (
            card.sentence, card.cock_note, card.warning, card.sure,
            card.moved and f"{card.moved}.", card.room,
        ):  # fmt: skip
            _wrapped(sentence)
        for hen, words in card.hens:
            print(f"    {hen}: {words}")
    if told.warnings or told.left:
        show.heading(say("To mind"))
    for sentence in (*told.warnings, *told.left):
        _wrapped(sentence)
    show.heading(say("What comes of it"))
    show.table(
        (
            say("how"), say("hens"), say("inbreeding of chicks"), say("rise a generation"),
            say("as so many birds"),
        ),
        [(row.way, row.hens, row.inbreeding, row.rise, row.size) for row in told.ways],
    )  # fmt: skip
    for sentence in told.meaning:
        _wrapped(sentence)
    if told.choices:
        show.heading(say("Kinship against gain"))
        show.table(
            (say("gain"), say("inbreeding of chicks"), say("of their chicks"), say("cocks")),
            [(row.gain, row.inbreeding, row.kinship, row.cocks) for row in told.choices],
        )
    show.heading(say("To know"))
    for sentence in told.notes:
        _wrapped(sentence)


@app.command("rotation", epilog=ROTATION_EXAMPLES)
def rotation(
    ctx: typer.Context,
    flock_file: FlockOption = None,
    on: OnOption = None,
    as_json: JsonOption = False,
    pens: Annotated[
        str, typer.Option("--pens", metavar="N", help="Pens of one cock each, 2 or more.")
    ] = "",
    hens_per_cock: Annotated[
        str, typer.Option("--hens-per-cock", metavar="N", help="The most hens to a cock.")
    ] = "",
    cyclic: Annotated[
        bool, typer.Option("--cyclic", help="Sons move one pen, then two, then three.")
    ] = False,
    generations: Annotated[
        str, typer.Option("--generations", metavar="N", help="How far ahead. Default: 10.")
    ] = "",
    generation_weeks: Annotated[
        str,
        typer.Option("--generation-weeks", metavar="W", help="From one generation to the next."),
    ] = "",
    new_cocks: Annotated[
        str, typer.Option("--new-cocks", metavar="N", help="Cocks from outside at a time.")
    ] = "",
    every: Annotated[
        str, typer.Option("--every", metavar="N", help="Generations between new cocks.")
    ] = "",
    eggs: Annotated[
        str, typer.Option("--eggs", metavar="N", help="Eggs set in a generation. Default: 100.")
    ] = "",
    cock_price: Annotated[
        str, typer.Option("--cock-price", metavar="P", help="What a new cock costs you.")
    ] = "",
    chick_price: Annotated[
        str, typer.Option("--chick-price", metavar="P", help="What a chick is worth to you.")
    ] = "",
) -> None:
    """For pens: sons move on, daughters stay; when new blood pays."""
    flock, day = flock_on(ctx, flock_file, on)
    from quailwright.exchange.rotation_page import asked, rotation_page

    typed = {
        "pens": pens, "hens_per_cock": hens_per_cock, "scheme": "cyclic" if cyclic else "",
        "generations": generations, "generation_weeks": generation_weeks, "new_cocks": new_cocks,
        "every": every, "eggs_set": eggs, "cock_price": cock_price, "chick_price": chick_price,
    }  # fmt: skip
    found, told = rotation_page(flock, day, asked(typed))
    if as_json:
        from quailwright.exchange.rotation_shape import rotation_shape

        show.json_document(rotation_shape(found, told))
        return
    _show_rotation(told)


def _show_rotation(told: "RotationPage") -> None:
    print(say("Rotation from {day}", day=wording.full_day(told.on)))
    for sentence in (told.summary, *told.findings):
        _wrapped(sentence)
    show.heading(say("The pens"))
    show.table(
        (say("pen"), say("cock"), say("hens"), say("his son goes to")),
        [(row.pen, row.cock, row.hens, row.son_goes) for row in told.start],
    )
    for sentence in told.steps:
        _wrapped(sentence)
    show.heading(say("When"))
    show.table(
        (say("round"), say("eggs from"), say("set"), say("hatch"), say("sons move")),
        [(row.number, row.eggs_from, row.set_on, row.hatch_on, row.move_on) for row in told.turns],
    )
    for sentence in told.moves:
        _wrapped(sentence)
    show.heading(say("Inbreeding ahead"))
    for sentence in told.ahead_says:
        _wrapped(sentence)
    show.table(
        (say("generation"), say("rotation"), say("all in one pen"), say("each pen to itself")),
        [(row.number, row.rotation, row.one_pen, row.closed) for row in told.ahead],
    )
    show.heading(say("How many pens"))
    _wrapped(told.pens_says)
    show.table(
        (
            say("pens"), say("rise a generation"), say("as so many birds"),
            say("generation as inbred as half sibs' chicks"),
        ),
        [(row.pens, row.rise, row.size, row.until) for row in told.pens],
    )  # fmt: skip
    if told.blood_says:
        show.heading(say("New blood"))
        for sentence in told.blood_says:
            _wrapped(sentence)
        show.table(
            (
                say("new blood"), say("inbreeding at the end"), say("chicks kept"),
                say("left over, by your prices"),
            ),
            [(row.how, row.inbreeding, row.chicks, row.money) for row in told.blood],
        )  # fmt: skip
    show.heading(say("To know"))
    for sentence in told.notes:
        _wrapped(sentence)


def _wrapped(text: str) -> None:
    if text:
        show.paragraph(text)

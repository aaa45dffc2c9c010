"""`ration`: the cheapest mix of ingredients that gives birds of a stage what they need."""

import textwrap
from typing import TYPE_CHECKING, Annotated

import typer

from quailwright.cli import show
from quailwright.cli.options import FlockOption, JsonOption, OnOption
from quailwright.cli.standing import asked_file, standing
from quailwright.language import figure, say

if TYPE_CHECKING:
    from quailwright.planning.ration import Ration
    from quailwright.planning.ration_brief import RationAsked

EXAMPLES = """Examples:

\b
  quailwright ration layer.toml
  quailwright ration layer.toml --json

\b
The file, in TOML:
  stage = "layer"           # starter, grower or layer
  batch_kg = 20
  scoop_kg = 0.25           # whole scoops; leave it out to weigh

\b
  [[ingredient]]
  ingredient = "maize"      # in the table
  price_per_kg = 0.30

\b
  [[ingredient]]
  ingredient = "farm wheat"
  like = "wheat_soft"       # what its sheet does not tell
  price_per_kg = 0.20
  stock_kg = 4
  contains = { protein = "11.8 %", energy = "12.9 MJ/kg" }

All that a brief may hold, and what is known of each ingredient: docs/feed.md.
The safe base is a balanced feed bought for quail."""


def ration(
    ctx: typer.Context,
    file: Annotated[str, typer.Argument(help="A brief in TOML, or - for standard input.")],
    flock_file: FlockOption = None,
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """The cheapest mix that meets the needs of a stage."""
    data = asked_file(file)
    flock = standing(ctx, flock_file, on).flock
    from quailwright.exchange.ration_told import ration_asked, ration_of

    asked = ration_asked(file, data, flock)
    found = ration_of(asked)
    if as_json:
        from quailwright.exchange.ration_shape import ration_shape

        show.json_document(ration_shape(asked, found))
    else:
        _show(asked, found)
    if found.status != "met":
        raise typer.Exit(1)


def _paragraph(text: str) -> None:
    print(textwrap.fill(text, 100, initial_indent="  ", subsequent_indent="  "))


def _show(asked: "RationAsked", found: "Ration") -> None:
    from quailwright.exchange import ration_told as told

    question = found.question
    print(told.heading(found))
    print(textwrap.fill(told.status_words(found), 100))
    for clash in found.clashes:
        _paragraph(told.clash_said(clash, question))
    for sentence in told.said(asked, found):
        _paragraph(sentence)
    met = found.status == "met"
    _show_mix(found)
    for sentence in told.short_said(found):
        _paragraph(sentence)
    _show_needs(found)
    if met and (found.need_prices or found.worths):
        show.heading(say("What it is worth"))
        for price in found.need_prices:
            _paragraph(told.price_said(price, question))
        for worth in found.worths:
            _paragraph(told.worth_said(worth, question))
    cautions = told.cautions(found)
    if cautions:
        show.heading(say("Cautions"))
        for name, caution in cautions:
            _paragraph(f"{name}: {caution}")


def _show_mix(found: "Ration") -> None:
    from quailwright.exchange import ration_told as told

    rows = told.mixed(found)
    if not rows:
        return
    show.heading(say("Mix") if found.status == "met" else say("The nearest mix, which falls short"))
    show.table(
        (say("ingredient"), say("kg"), say("% of it"), say("measure"), say("figures")),
        [
            (
                told.name_of(choice),
                figure(kilograms, ".3f"),
                figure(100 * share, ".2f"),
                told.scoops_said(choice, kilograms) if found.whole else "",
                told.sure_said(choice),
            )
            for choice, kilograms, share in rows
        ],
    )


def _show_needs(found: "Ration") -> None:
    from quailwright.exchange import ration_told as told
    from quailwright.husbandry.nutrients import NUTRIENTS, amount_said
    from quailwright.planning.ration_mix import checks

    if found.mix is None:
        return
    show.heading(say("Needs (a richer mix must hold more, as less of it is eaten)"))
    show.table(
        (
            say("need"),
            say("at least"),
            say("at most"),
            say("holds"),
            say("surely"),
            say("others ask"),
            say("taken from"),
        ),
        [
            (
                say(NUTRIENTS[check.need.nutrient].name),
                "" if check.least is None else amount_said(check.need.nutrient, check.least),
                "" if check.most is None else amount_said(check.need.nutrient, check.most),
                amount_said(check.need.nutrient, check.holds),
                amount_said(check.need.nutrient, check.surely),
                told.others_said(check.need, found.question),
                told.source_said(check.need),
            )
            for check in checks(found.question, found.mix.shares)
        ],
    )

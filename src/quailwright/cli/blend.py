"""`blend`: bought feeds mixed to a protein or calcium target."""

import textwrap
from typing import TYPE_CHECKING, Annotated

import typer

from quailwright.cli import show
from quailwright.cli.options import FlockOption, JsonOption, OnOption
from quailwright.cli.standing import asked_file, standing
from quailwright.language import figure, say

if TYPE_CHECKING:
    from quailwright.planning.blend import Blend

EXAMPLES = """Examples:

\b
  quailwright blend pen.toml
  quailwright blend pen.toml --json

\b
The file, in TOML:
  batch_kg = 10
  birds = ["grower", "layer"]   # who eats of it

\b
  [target]
  protein_pct = 20

\b
  [[feed]]
  feed = "starter crumbs"
  protein_pct = 28
  calcium_pct = 1.1
  price_per_kg = 1.20

\b
  [[feed]]
  feed = "maize"            # figures of the table

Without feeds, those of your journal whose protein is known are blended; without a target, to the
need of the most demanding birds. All that a brief may hold: docs/feed.md."""


def blend(
    ctx: typer.Context,
    file: Annotated[str, typer.Argument(help="A brief in TOML, or - for standard input.")],
    flock_file: FlockOption = None,
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """Bought feeds blended to a protein or calcium target."""
    data = asked_file(file)
    stands = standing(ctx, flock_file, on)
    from quailwright.exchange.blend_told import blend_of, blend_shape

    found = blend_of(file, data, stands.flock, stands.day)
    if as_json:
        show.json_document(blend_shape(found))
    else:
        _show(found)
    if found.status != "met":
        raise typer.Exit(1)


def _paragraph(text: str) -> None:
    print(textwrap.fill(text, 100, initial_indent="  ", subsequent_indent="  "))


def _show(found: "Blend") -> None:
    from quailwright.exchange import blend_told as told

    print(told.heading(found))
    print(textwrap.fill(told.status_words(found), 100))
    for caution in told.cautions(found):
        show.caution(caution)
    rows = told.mixed(found)
    if rows:
        show.heading(say("Mix") if found.status == "met" else say("The nearest"))
        show.table(
            (say("feed"), say("kg"), say("% of it")),
            [
                (feed.name, figure(kilograms, ".3f"), figure(100 * share, ".2f"))
                for feed, kilograms, share in rows
            ],
        )
        _paragraph(told.holds_said(found))
    if found.square is not None:
        show.heading(say("The square"))
        for line in told.square_lines(found.square):
            print(f"  {line}")
        _paragraph(say(told.SQUARE))
    for sentence in told.said(found):
        _paragraph(sentence)

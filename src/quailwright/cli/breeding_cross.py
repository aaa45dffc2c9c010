"""`breeding cross`, `breeding hidden`, `breeding colours`: what colours a cross makes, and why."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Annotated

import typer

from quailwright.cli import show
from quailwright.cli.options import FlockOption, JsonOption, OnOption
from quailwright.cli.standing import standing
from quailwright.language import say

if TYPE_CHECKING:
    from quailwright.exchange.colours_told import LocusTold
    from quailwright.exchange.cross_told import CrossTold
    from quailwright.exchange.hidden_told import HiddenTold

app = typer.Typer(rich_markup_mode=None)

_CROSS_EXAMPLES = """Examples:

\b
  quailwright breeding cross brown wild
  quailwright breeding cross Rex Ada
  quailwright breeding cross "B/+ E/E" silver
  quailwright breeding cross "AL: C/A" "AL: N/W" --json
  quailwright breeding cross wild lavender --carriers 0.3

A bird is its ring, its colour or its genes. Hens have one copy of a locus on Z: C/W."""

_HIDDEN_EXAMPLES = """Examples:

\b
  quailwright breeding hidden wild wild wild=13 lavender=5
  quailwright breeding hidden Rex Ada wild=13 silver=5
  quailwright breeding hidden brown wild "wild cocks=8" "brown hens=7" "roux hens=1"
"""

CockArgument = Annotated[str, typer.Argument(metavar="COCK", help="Ring, colour or genes.")]
HenArgument = Annotated[str, typer.Argument(metavar="HEN", help="Ring, colour or genes.")]
CarriersOption = Annotated[
    str,
    typer.Option(
        "--carriers", metavar="SHARE", help="Share of birds that hide something. Default: 0.1."
    ),
]
RecombinationOption = Annotated[
    str,
    typer.Option(
        "--recombination", metavar="SHARE", help="Between AL and BR in cocks. Default: 0.4."
    ),
]


@app.command("cross", no_args_is_help=True, epilog=_CROSS_EXAMPLES)
def cross(
    ctx: typer.Context,
    cock: CockArgument,
    hen: HenArgument,
    flock_file: FlockOption = None,
    on: OnOption = None,
    as_json: JsonOption = False,
    carriers: CarriersOption = "",
    recombination: RecombinationOption = "",
) -> None:
    """Colours to expect of a cross, by sex, with what dies and what tells the sex."""
    from quailwright.exchange.cross_parents import asked
    from quailwright.exchange.cross_told import cross_told

    flock = standing(ctx, flock_file, on).flock
    told = cross_told(flock, asked(_typed(cock, hen, carriers, recombination)))
    if as_json:
        from quailwright.exchange.cross_shape import cross_shape

        show.json_document(cross_shape(told))
        return
    _show_cross(told)


@app.command("hidden", no_args_is_help=True, epilog=_HIDDEN_EXAMPLES)
def hidden(
    ctx: typer.Context,
    cock: CockArgument,
    hen: HenArgument,
    counts: Annotated[
        list[str], typer.Argument(metavar="look=chicks ...", help="Chicks by colour.")
    ],
    flock_file: FlockOption = None,
    on: OnOption = None,
    as_json: JsonOption = False,
    carriers: CarriersOption = "",
    recombination: RecombinationOption = "",
) -> None:
    """What two parents hide, learnt from the colours of their chicks."""
    from quailwright.exchange.cross_parents import asked
    from quailwright.exchange.hidden_told import counts_of, hidden_told

    flock = standing(ctx, flock_file, on).flock
    ask = asked(_typed(cock, hen, carriers, recombination))
    told = hidden_told(flock, ask, counts_of(counts))
    if as_json:
        from quailwright.exchange.cross_shape import hidden_shape

        show.json_document(hidden_shape(told))
        return
    _show_hidden(told)


@app.command("colours")
def colours(
    ctx: typer.Context,
    flock_file: FlockOption = None,
    on: OnOption = None,
    as_json: JsonOption = False,
) -> None:
    """The table of colours, with sources; and birds whose chicks tell their sex."""
    from quailwright.exchange.colours_told import colours_told
    from quailwright.exchange.cross_told import sexable

    on_hand = sexable(standing(ctx, flock_file, on).flock)
    table = colours_told()
    if as_json:
        from quailwright.exchange.cross_shape import colours_shape

        show.json_document(colours_shape(table, on_hand))
        return
    for one in table:
        _show_locus(one)
    if on_hand:
        show.heading(say("Which birds on hand make chicks that tell their sex?"))
    for pair in on_hand:
        _all((", ".join(pair.cocks) + " x " + ", ".join(pair.hens), *pair.said))


def _typed(cock: str, hen: str, carriers: str, recombination: str) -> dict[str, str]:
    return {"cock": cock, "hen": hen, "carriers": carriers, "recombination": recombination}


def _show_cross(told: "CrossTold") -> None:
    print(say("Cock {cock}, hen {hen}", cock=told.cock.heading, hen=told.hen.heading))
    _all(told.answer)
    show.table(
        (say("look"), say("of all chicks"), say("of cocks"), say("of hens"), say("range")),
        [(row.name, row.words, row.of_cocks, row.of_hens, row.between) for row in told.rows],
    )
    if told.deaths:
        show.heading(say("What dies?"))
        _all(told.deaths)
    show.heading(say("Does colour tell the sex?"))
    _all(told.sexes)
    if told.cares:
        show.heading(say("Care for the birds"))
    for care in told.cares:
        show.caution(care)
    show.heading(say("To know"))
    _all(told.notes)


def _show_hidden(told: "HiddenTold") -> None:
    print(say("Cock {cock}, hen {hen}", cock=told.cock.heading, hen=told.hen.heading))
    _all((*told.warnings, *told.answer))
    if told.rows:
        show.table(
            (say("parent"), say("genes"), say("chance"), say("range")),
            [(row.who, row.genotype, row.chance, row.between) for row in told.rows],
        )
    if told.expected:
        show.table((say("look"), say("counted"), say("expected")), told.expected)
    if told.more:
        show.heading(say("How many chicks make it sure?"))
        _all(told.more)
    show.heading(say("To know"))
    _all(told.notes)


def _show_locus(one: "LocusTold") -> None:
    show.heading(f"{one.locus.code}: {one.name}")
    _all(filter(None, (one.standing, one.heading, one.carried, one.about, one.side_effects)))
    show.table((say("genes"), say("look"), say("seen")), one.looks)
    _all((say("Source: {source}.", source=one.locus.source) + " " + one.certain,))


def _all(sentences: Iterable[str]) -> None:
    for text in sentences:
        show.paragraph(text)

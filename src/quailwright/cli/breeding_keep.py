"""`breeding`: whom to keep, and what choosing brings."""

from typing import TYPE_CHECKING, Annotated

import typer

from quailwright.cli import show
from quailwright.cli.options import FlockOption, JsonOption, OnOption
from quailwright.cli.standing import flock_on
from quailwright.guide import wording
from quailwright.language import say

if TYPE_CHECKING:
    from quailwright.exchange.gain_page import GainPage
    from quailwright.exchange.keep_page import Card, KeepPage

app = typer.Typer(rich_markup_mode=None)

KEEP_EXAMPLES = """Examples:

\b
  quailwright breeding keep
  quailwright breeding keep --from march --cocks 4 --hens 12
  quailwright breeding keep --for "weight=1 eggs=2"
  quailwright log bird_weighed bird=Rex mass_g=214
  quailwright log hen_laid bird=Ada eggs=4 days=5 total_g=46

docs/selection.md tells how."""

GAIN_EXAMPLES = """Examples:

\b
  quailwright breeding gain
  quailwright breeding gain --by weight --cocks 4 --of-cocks 20 --hens 12 --of-hens 20
  quailwright breeding gain --by eggs --generations 3

docs/selection.md tells how."""


@app.command("keep", epilog=KEEP_EXAMPLES)
def keep(
    ctx: typer.Context,
    flock_file: FlockOption = None,
    on: OnOption = None,
    as_json: JsonOption = False,
    of: Annotated[
        str, typer.Option("--from", metavar="HATCH", help="Only birds of this hatch.")
    ] = "",
    cocks: Annotated[str, typer.Option("--cocks", metavar="N", help="Cocks to keep.")] = "",
    hens: Annotated[str, typer.Option("--hens", metavar="N", help="Hens to keep.")] = "",
    wish: Annotated[
        str,
        typer.Option(
            "--for",
            metavar="WISHES",
            help="What counts and how much, as in 'weight=1 eggs=2 egg_weight=1'.",
        ),
    ] = "",
) -> None:
    """Whom of the living to keep for breeding, and why."""
    flock, day = flock_on(ctx, flock_file, on)
    from quailwright.exchange.keep_page import asked, goal_typed, keep_page

    typed = {"from": of, "cocks": cocks, "hens": hens, **goal_typed(wish)}
    found, told = keep_page(flock, day, asked(typed))
    if as_json:
        from quailwright.exchange.keep_shape import keep_shape

        show.json_document(keep_shape(found, told))
        return
    _show_keep(told)


def _show_keep(told: "KeepPage") -> None:
    print(say("Whom to keep, {day}", day=wording.full_day(told.on)))
    for sentence in (*told.answer, told.wants):
        _wrapped(sentence)
    _section(say("What it brings"), told.brings)
    _cards(say("Cocks, the best first"), told.cocks)
    _cards(say("Hens, the best first"), told.hens)
    _section(say("Birds without a ring"), told.pens)
    _section(say("What to write down"), told.records)
    _section(say("What it stands on"), told.basis)
    _section(say("To know"), told.notes)


_MOST_SHOWN = 30


def _cards(title: str, cards: "list[Card]") -> None:
    if not cards:
        return
    show.heading(title)
    for card in cards[:_MOST_SHOWN]:
        _wrapped(say("{bird}: {verdict}", bird=card.name, verdict=card.verdict))
        for line in card.lines:
            show.paragraph(line, "      ")
    if len(cards) > _MOST_SHOWN:
        _wrapped(say("And {n} more; --json has them all.", n=len(cards) - _MOST_SHOWN))


@app.command("gain", epilog=GAIN_EXAMPLES)
def gain(
    ctx: typer.Context,
    flock_file: FlockOption = None,
    on: OnOption = None,
    as_json: JsonOption = False,
    by: Annotated[
        str,
        typer.Option("--by", metavar="TRAIT", help="weight, eggs or egg_weight."),
    ] = "",
    cocks: Annotated[str, typer.Option("--cocks", metavar="N", help="Cocks kept.")] = "",
    of_cocks: Annotated[
        str, typer.Option("--of-cocks", metavar="N", help="Cocks to choose from.")
    ] = "",
    hens: Annotated[str, typer.Option("--hens", metavar="N", help="Hens kept.")] = "",
    of_hens: Annotated[
        str, typer.Option("--of-hens", metavar="N", help="Hens to choose from.")
    ] = "",
    generations: Annotated[
        str, typer.Option("--generations", metavar="N", help="1 to 10. Default: 5.")
    ] = "",
    seed: Annotated[
        str, typer.Option("--seed", metavar="N", help="Of the chance. Default: 1.")
    ] = "",
) -> None:
    """What keeping the best brings over generations, and its cost in inbreeding."""
    flock, day = flock_on(ctx, flock_file, on)
    from quailwright.exchange.gain_page import gain_asked, gain_page

    typed = {
        "by": by, "cocks": cocks, "of_cocks": of_cocks, "hens": hens, "of_hens": of_hens,
        "generations": generations, "seed": seed,
    }  # fmt: skip
    found, told = gain_page(flock, day, gain_asked(typed))
    if as_json:
        from quailwright.exchange.keep_shape import gain_shape

        show.json_document(gain_shape(found, told))
        return
    _show_gain(told)


def _show_gain(told: "GainPage") -> None:
    print(say("What choosing brings, {day}", day=wording.full_day(told.on)))
    for sentence in told.answer:
        _wrapped(sentence)
    show.heading(say("Generation by generation"))
    show.table(
        (say("generation"), say("weight"), say("inbreeding")),
        [(row.number, row.weight, row.inbreeding) for row in told.rows],
    )
    print()
    show.table(
        (say("generation"), say("eggs"), say("egg weight")),
        [(row.number, row.eggs, row.egg_weight) for row in told.rows],
    )
    _section(say("To know"), told.notes)


def _section(title: str, sentences: list[str]) -> None:
    if not sentences:
        return
    show.heading(title)
    for sentence in sentences:
        _wrapped(sentence)


def _wrapped(text: str) -> None:
    show.paragraph(text)

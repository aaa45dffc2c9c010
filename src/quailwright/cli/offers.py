"""`offers`: hatching-egg offers compared."""

from math import isfinite
from typing import TYPE_CHECKING, Annotated

import typer

from quailwright.cli import show
from quailwright.cli.options import FlockOption, JsonOption, OnOption
from quailwright.cli.standing import asked_file, standing
from quailwright.flock.state import Flock
from quailwright.guide import wording
from quailwright.journal.findings import BadInput
from quailwright.language import figure, say, say_many

if TYPE_CHECKING:
    from datetime import date

    from quailwright.planning.offers import Answer, Compared

EXAMPLES = """Examples:

\b
  quailwright offers offers.toml --hens 25
  quailwright offers offers.toml --hens 25 --certainty 0.9 --json

\b
The file, in TOML:
  [[offer]]
  source = "creek-farm"
  route = "collected"       # own, collected or shipped
  price_per_egg = 0.50
  distance_km = 20          # one way
  cost_per_km = 0.30
  most_eggs = 150

\b
  [[offer]]
  source = "far-away"
  route = "shipped"
  price_per_egg = 0.35
  postage = 12
  fertility = 0.9           # as the seller claims

Without a flock file, what is published stands for your record."""


def offers(
    ctx: typer.Context,
    file: Annotated[str, typer.Argument(help="A TOML file of offers, or - for standard input.")],
    flock_file: FlockOption = None,
    on: OnOption = None,
    as_json: JsonOption = False,
    hens: Annotated[
        int | None, typer.Option("--hens", metavar="N", help="Hens you want at lay.")
    ] = None,
    certainty: Annotated[
        float | None,
        typer.Option("--certainty", metavar="P", help="How sure: 0.5 to 0.99. Default 0.8."),
    ] = None,
) -> None:
    """Hatching-egg offers compared by the cost of a hen at lay."""
    data = asked_file(file)
    stands = standing(ctx, flock_file, on)
    flock, day = stands.flock, stands.day
    import numpy as np

    from quailwright.planning.offers import answer, asking, read_offers

    asked, findings = read_offers(data)
    if asked is None:
        raise BadInput(say("{file} cannot be used as it is.", file=file), tuple(findings))
    try:
        found = answer(asking(asked, hens, certainty), flock, day, np.random.default_rng(1))
    except ValueError as error:
        raise BadInput(str(error)) from None
    if as_json:
        from quailwright.exchange.offers_shape import offers_shape

        show.json_document(offers_shape(found, day))
    else:
        _show(found, flock, day)
    if not found.reached:
        raise typer.Exit(1)


def _show(found: "Answer", flock: Flock, day: "date") -> None:
    name = flock.holding.name if flock.holding is not None else ""
    asked = say_many(
        "eggs for {n} hen at lay, with a chance of {certainty:.0%}, as of {day}",
        "eggs for {n} hens at lay, with a chance of {certainty:.0%}, as of {day}",
        found.hens,
        certainty=found.certainty,
        day=wording.full_day(day),
    )
    print(f"{name}: {asked}" if name else asked)
    for sentence in found.said:
        print(f"  {sentence}")
    show.heading(say("Offers, the cheapest way to those hens first (likely is four times in five)"))
    # Say: headings of columns, parted by commas
    columns = say("from, route, order, costs, chance, hens, a hen costs, hatch of set, own")
    show.table(
        columns.split(", "),
        [_row(one) for one in found.compared],
    )
    explained = say(
        "own: hatches of yours with these eggs. A hen costs: the order, without feed and heat."
    )
    print(f"  {explained}")
    for one in found.compared:
        if not one.reaches or one.eggs != one.eggs_needed:
            from quailwright.planning.offers import says_of

            print(f"  {one.offer.source}: {says_of(one, found.hens, found.certainty)}")


def _row(one: "Compared") -> list[object]:
    from quailwright.outlook.report import spread_of

    hatch = spread_of(one.belief.hatch)
    each = one.cost_per_hen
    costs = say("{mean:.2f} ({low:.2f} up)", mean=each.mean, low=each.q10)
    if isfinite(each.q90):
        costs = _likely(each.mean, each.q10, each.q90, ".2f")
    return [
        one.offer.source,
        one.offer.route,
        f"{one.eggs}" if one.reaches else say("all {eggs}", eggs=one.eggs),
        figure(one.cost, ".2f"),
        figure(one.chance, ".0%"),
        _likely(one.hens.mean, one.hens.q10, one.hens.q90, ".0f"),
        costs,
        _likely(hatch["mean"], hatch["q10"], hatch["q90"], ".0%"),
        one.belief.own_hatches,
    ]


def _likely(middle: float, low: float, high: float, spec: str) -> str:
    middle_, low_, high_ = (figure(each, spec) for each in (middle, low, high))
    return say("{middle} ({low} to {high})", middle=middle_, low=low_, high=high_)

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
from quailwright.language import figure, mark, say, say_many

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
        raise BadInput(say("{name} cannot be used as it is.", name=file), tuple(findings))
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
    told = say_many(
        "eggs for {n} hen at lay, with a chance of {chance:.0%}, as of {day}",
        "eggs for {n} hens at lay, with a chance of {chance:.0%}, as of {day}",
        found.hens,
        chance=found.certainty,
        day=wording.full_day(day),
    )
    print(f"{name + ': ' if name else ''}{told}")
    for sentence in found.said:
        print(f"  {sentence}")
    show.heading(say("Offers, the cheapest way to those hens first (likely is four times in five)"))
    show.table(
        (
            say("from"),
            say("route"),
            say("order"),
            say("costs"),
            say("chance"),
            say("hens"),
            say("a hen costs"),
            say("hatch of set"),
            say("own"),
        ),
        [_row(one) for one in found.compared],
    )
    own = say("own: hatches of yours with these eggs.")
    costs = say("A hen costs: the order, without feed and heat.")
    print(f"  {own} {costs}")
    for one in found.compared:
        if not one.reaches or one.eggs != one.eggs_needed:
            from quailwright.planning.offers import says_of

            print(f"  {one.offer.source}: {says_of(one, found.hens, found.certainty)}")


_ROUTES = {"own": mark("own"), "collected": mark("collected"), "shipped": mark("shipped")}


def _row(one: "Compared") -> list[object]:
    from quailwright.outlook.report import spread_of

    hatch = spread_of(one.belief.hatch)
    each = one.cost_per_hen
    return [
        one.offer.source,
        say(_ROUTES[one.offer.route]),
        f"{one.eggs}" if one.reaches else say("all {eggs}", eggs=one.eggs),
        figure(one.cost, ".2f"),
        f"{one.chance:.0%}",
        say(
            "{mean:.0f} ({low:.0f} to {high:.0f})",
            mean=one.hens.mean,
            low=one.hens.q10,
            high=one.hens.q90,
        ),
        say("{mean:.2f} ({low:.2f} to {high:.2f})", mean=each.mean, low=each.q10, high=each.q90)
        if isfinite(each.q90)
        else say("{mean:.2f} ({low:.2f} up)", mean=each.mean, low=each.q10),
        say(
            "{mean:.0%} ({low:.0%} to {high:.0%})",
            mean=hatch["mean"],
            low=hatch["q10"],
            high=hatch["q90"],
        ),
        one.belief.own_hatches,
    ]

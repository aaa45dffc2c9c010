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
        raise BadInput(f"{file} cannot be used as it is.", tuple(findings))
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
    print(
        f"{name + ': ' if name else ''}eggs for {wording.counted(found.hens, 'hen')} at lay, with "
        f"a chance of {found.certainty:.0%}, as of {wording.full_day(day)}"
    )
    for sentence in found.said:
        print(f"  {sentence}")
    show.heading("Offers, the cheapest way to those hens first (likely is four times in five)")
    show.table(
        ("from", "route", "order", "costs", "chance", "hens", "a hen costs", "hatch of set", "own"),
        [_row(one) for one in found.compared],
    )
    print("  own: hatches of yours with these eggs. A hen costs: the order, without feed and heat.")
    for one in found.compared:
        if not one.reaches or one.eggs != one.eggs_needed:
            from quailwright.planning.offers import says_of

            print(f"  {one.offer.source}: {says_of(one, found.hens, found.certainty)}")


def _row(one: "Compared") -> list[object]:
    from quailwright.outlook.report import spread_of

    hatch = spread_of(one.belief.hatch)
    each = one.cost_per_hen
    return [
        one.offer.source,
        one.offer.route,
        f"{one.eggs}" if one.reaches else f"all {one.eggs}",
        f"{one.cost:.2f}",
        f"{one.chance:.0%}",
        f"{one.hens.mean:.0f} ({one.hens.q10:.0f} to {one.hens.q90:.0f})",
        f"{each.mean:.2f} ({each.q10:.2f} {f'to {each.q90:.2f}' if isfinite(each.q90) else 'up'})",
        f"{hatch['mean']:.0%} ({hatch['q10']:.0%} to {hatch['q90']:.0%})",
        one.belief.own_hatches,
    ]

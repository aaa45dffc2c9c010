"""`eggs`: what is in the egg store, what may not be sold, and who received what."""

import textwrap
from collections.abc import Iterator
from datetime import date, datetime
from typing import Annotated

import typer

from quailwright.cli import show
from quailwright.cli.options import FlockOption, JsonOption, OnOption, moment_asked, opened
from quailwright.exchange.store_told import (
    SHOWN,
    Chances,
    EggStore,
    InLot,
    Received,
    order_chances,
    store_told,
)
from quailwright.flock.fold import fold, newest_zone
from quailwright.flock.state import Flock
from quailwright.guide import wording
from quailwright.guide.round import day_at
from quailwright.journal.store import Store as Journal
from quailwright.language import figure, mark, say, say_many

EXAMPLES = """Examples:

\b
  quailwright eggs
  quailwright eggs --of Ann
  quailwright eggs --of 2027-05-04 --json

docs/eggs.md tells what holds eggs back."""

STATES = {
    "treated": mark("withheld"),
    "quarantine": mark("not to be sold or given yet"),
    "age": mark("past the keeping time"),
    "": mark("free"),
    "open": mark("open"),
    "late": mark("late"),
    "filled": mark("filled"),
    "over": mark("more than ordered"),
    "called_off": mark("called off"),
}


def eggs(
    ctx: typer.Context,
    flock_file: FlockOption = None,
    on: OnOption = None,
    as_json: JsonOption = False,
    of: Annotated[
        str,
        typer.Option(
            "--of", metavar="WHAT", help="Only who received eggs of this person, order, group, day."
        ),
    ] = "",
    everything: Annotated[
        bool, typer.Option("--all", help="Everybody who received eggs, not the last 60 times.")
    ] = False,
) -> None:
    """The egg store: what may be sold, and who received what."""
    with opened(ctx, flock_file) as store:
        entries = store.entries()
        asked = moment_asked(on, newest_zone(entries))
        state = fold(entries, asked)
        chances = _chances(store, state, asked)
    shown = len(state.eggs_gone) if everything else SHOWN
    told = store_told(state, day_at(state, asked), entries, chances, of, shown)
    if as_json:
        show.json_document(told.shape)
        return
    _show(told)


def _chances(store: Journal, flock: Flock, asked: date | datetime) -> Chances | None:
    if not any(order.left for order in flock.orders.values()):
        return None
    from quailwright.exchange.outlook_page import as_asked

    return order_chances(flock, day_at(flock, asked), as_asked(store, flock, asked))


def _show(told: EggStore) -> None:
    print(f"{wording.full_day(told.on)}: {told.answer}")
    for one in told.sold_although_held:
        for text in _left_although_held(one):
            _fill(text)
    for ask in told.asks:
        _fill(ask)
    if told.lots:
        show.heading(say("Lots, the oldest first"))
        show.table(
            (say("laid"), say("group"), say("eggs"), say("in no box"), "", say("sell by")),
            [
                (lot.laid, lot.group, lot.eggs, lot.loose, say(STATES[lot.held]), lot.sell_by)
                for lot in told.lots
            ],
        )
        for why in dict.fromkeys(lot.why for lot in told.lots if lot.why):
            _fill(why)
    if told.boxes:
        show.heading(say("Boxes"))
        for box in told.boxes:
            eggs_in_it = say_many("{n} egg", "{n} eggs", box.eggs)
            print(f"  {box.box}: {eggs_in_it}: {_lots(box.lots)}")
            if box.held:
                _fill(say("HELD, the whole box. {why}", why=box.why))
    if told.orders:
        show.heading(say("Orders"))
        show.table(
            (say("for"), say("order"), say("to"), say("eggs"), say("left"), "", say("chance")),
            [
                (
                    order.on,
                    order.order,
                    order.to,
                    order.eggs,
                    order.left,
                    say(STATES[order.state]),
                    figure(order.chance, ".0%") if order.chance is not None else None,
                )
                for order in told.orders
            ],
        )
    print()
    show.cautions("command:eggs")
    if told.received:
        show.heading(say("Who received what"))
        show.table(
            (say("on"), say("use"), say("to"), say("eggs"), say("lots")),
            [(one.on, say(one.use), one.to, one.eggs, _received(one)) for one in told.received],
        )
    if told.more:
        print("  " + say_many("and {n} earlier time", "and {n} earlier times", told.more))


def _left_although_held(one: Received) -> Iterator[str]:
    """What is surely among them, and what may be."""
    parts = {
        "day": one.on,
        "use": say(one.use),
        "person": one.to or say("nobody named"),
        "why": one.why,
    }
    if one.affected:
        yield say(
            "NOT TO HAVE LEFT: {day}, {use}, to {person}: {lots}. {why} Ask the vet or the "
            "food authority what to do, and tell those who received them.",
            lots=_lots(one.affected),
            **parts,
        )
    if one.maybe and one.mixed:
        yield say(
            "MAY HAVE LEFT: {day}, {use}, to {person}: they came from a box into which {lots} "
            "were packed. {why} Ask the vet or the food authority what to do, and tell those who "
            "received them.",
            lots=_lots(one.maybe),
            **parts,
        )
    elif one.maybe:
        yield say(
            "MAY HAVE LEFT: {day}, {use}, to {person}: {lots} lay beside them, and the "
            "treatment was written down later. {why} Ask the vet or the food authority what to "
            "do, and tell those who received them.",
            lots=_lots(one.maybe),
            **parts,
        )


def _received(one: Received) -> str:
    if not one.mixed:
        return _lots(one.lots)
    return say(
        "{lots} (by the book; in the same box: {others})",
        lots=_lots(one.lots),
        others=_lots(one.mixed),
    )


def _lots(lots: list[InLot]) -> str:
    return "; ".join(
        say("{eggs} of {group} laid {day}", eggs=lot.eggs, group=lot.group, day=lot.laid)
        for lot in lots
    )


def _fill(text: str) -> None:
    print(textwrap.fill(text, 100, initial_indent="  ", subsequent_indent="  "))

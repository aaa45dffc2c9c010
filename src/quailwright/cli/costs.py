"""`costs`: what it costs."""

import textwrap
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from quailwright.cli import show
from quailwright.cli.options import (
    FlockOption,
    JsonOption,
    OnOption,
    moment_asked,
    opened,
    with_offset,
)
from quailwright.exchange.typed import local
from quailwright.flock.fold import fold, newest_zone
from quailwright.flock.state import Flock
from quailwright.guide import wording
from quailwright.guide.round import day_at, units_of
from quailwright.journal.entries import Units
from quailwright.journal.findings import BadInput
from quailwright.journal.moments import NotAMoment, parse_moment
from quailwright.language import figure, say, say_many

if TYPE_CHECKING:
    from quailwright.accounts.account import Account
    from quailwright.exchange.costs_told import Costs

EXAMPLES = """Examples:

\b
  quailwright costs
  quailwright costs --on 2027-06-01 --from 2027-01-01 --until 2027-03-31
  quailwright costs --minute 0.25
  quailwright costs --csv months.csv --sheet costs.xlsx --json

Days are those of the last year unless told. --minute counts your time as a cost. docs/costs.md
tells how costs are shared out."""


def costs(
    ctx: typer.Context,
    flock_file: FlockOption = None,
    on: OnOption = None,
    as_json: JsonOption = False,
    from_: Annotated[
        str | None, typer.Option("--from", metavar="DAY", help="First day. Default: a year back.")
    ] = None,
    until: Annotated[
        str | None, typer.Option("--until", metavar="DAY", help="Last day. Default: that of --on.")
    ] = None,
    minute: Annotated[
        float, typer.Option("--minute", metavar="PRICE", help="What a minute of yours is worth.")
    ] = 0.0,
    csv_file: Annotated[
        Path | None, typer.Option("--csv", metavar="FILE", help="Write the months as CSV.")
    ] = None,
    sheet_file: Annotated[
        Path | None,
        typer.Option("--sheet", metavar="FILE", help="Write a spreadsheet (xlsx) with formulas."),
    ] = None,
) -> None:
    """What it costs: an egg, a hen, an hour; by month and by hatch."""
    with opened(ctx, flock_file) as store:
        entries = store.entries()
    asked = moment_asked(on, newest_zone(entries))
    flock = fold(entries, asked)
    day = day_at(flock, asked)
    first, last = _day("--from", from_, flock), _day("--until", until, flock)
    from quailwright.exchange import costs_told

    found = costs_told.costs(entries, flock, day, first, last, minute)
    if csv_file is not None:
        costs_told.write_whole(csv_file, costs_told.costs_csv(found.account).encode())
    if sheet_file is not None:
        from quailwright.exchange.costs_sheet import costs_sheet

        costs_told.write_whole(sheet_file, costs_sheet(found))
    if as_json:
        from quailwright.exchange.costs_shape import costs_shape

        show.json_document(costs_shape(found))
        return
    _show(found, flock)
    for file in (csv_file, sheet_file):
        if file is not None:
            print(say("Written: {file}", file=file))


def _day(option: str, text: str | None, flock: Flock) -> date | None:
    if text is None:
        return None
    try:
        moment = parse_moment(with_offset(text, flock.zone))
    except NotAMoment as error:
        raise BadInput(f"{option}: {error}") from None
    return local(moment, flock.zone).date() if isinstance(moment, datetime) else moment


def _money(amount: float) -> str:
    return figure(amount + 0.0, ".2f")


def _or_none(amount: float | None) -> str:
    return "" if amount is None else _money(amount)


def _wrapped(text: str) -> None:
    print(textwrap.fill(text, 100, initial_indent="  ", subsequent_indent="  "))


def _show(costs: "Costs", flock: Flock) -> None:
    found = costs.account
    name = flock.holding.name if flock.holding is not None else ""
    days = say_many("{n} day", "{n} days", found.days)
    first, last = wording.full_day(found.first), wording.full_day(found.last)
    if name:
        print(
            say("{name}: what it cost from {first} to {last}, {days}",
                name=name, first=first, last=last, days=days)
        )  # fmt: skip
    else:
        print(say("What it cost from {first} to {last}, {days}", first=first, last=last, days=days))
    if not flock.entries:
        show.first_steps()
        return
    _show_whole(found)
    _show_each(found)
    _show_months(found, units_of(flock))
    _show_batches(found)
    _show_moves(costs)
    _show_met(costs)
    if found.said:
        show.heading(say("What is not known"))
        for sentence in found.said:
            _wrapped(sentence)


def _show_whole(found: "Account") -> None:
    from quailwright.exchange.costs_told import break_even_words, whole_words

    for sentence in (*whole_words(found), break_even_words(found)):
        if sentence:
            _wrapped(sentence)


def _show_each(found: "Account") -> None:
    from quailwright.exchange.costs_told import cocks_words, parts_words, raised_words, small

    show.heading(say("What each comes to"))
    rows = [
        (say("an egg"), found.per_egg),
        (say("a dozen"), found.per_dozen),
        (say("a hen at lay"), found.per_hen_at_lay),
        (say("a dressed bird"), found.per_dressed_bird),
        (say("an hour earns"), found.per_hour),
    ]
    show.table(
        (say("of what"), found.currency or say("money"), say("of which")),
        [
            (what, say("not known") if each.value is None else small(each.value), parts_words(each))
            for what, each in rows
        ],
    )
    _wrapped(
        say("An egg and a dozen: hens and the cocks with them. Raising hens is told apart, below.")
    )
    for sentence in (raised_words(found), cocks_words(found)):
        if sentence:
            _wrapped(sentence)


def _show_months(found: "Account", units: Units) -> None:
    from quailwright.exchange.costs_told import month_words, per_dozen_of

    show.heading(say("By month"))
    show.table(
        (
            say("month"),
            say("eggs"),
            say("feed, {unit}", unit=wording.feed_unit(units)),
            say("cost"),
            say("came in"),
            say("money left"),
            say("a dozen"),
        ),
        [
            (
                month_words(month.month),
                month.eggs,
                figure(wording.feed_mass(month.feed_kg, units), ".1f"),
                _money(sum(month.costs.values())),
                _money(sum(month.income.values())),
                _money(month.result),
                _or_none(per_dozen_of(month)),
            )
            for month in found.months
        ],
    )


def _show_batches(found: "Account") -> None:
    own = found.batches_of_these_days
    if not own:
        return
    show.heading(say("By hatch: what its birds cost until they were grown"))
    show.table(
        (
            say("hatch"),
            say("hatched on"),
            say("chicks"),
            say("hens"),
            say("cocks"),
            say("left young"),
            say("cost so far"),
            say("each bird"),
        ),
        [
            (
                b.hatch or say("chicks bought"),
                b.hatched_on,
                figure(b.chicks, ".0f"),
                figure(b.hens, ".0f") if b.grown_on else "",
                figure(b.cocks, ".0f") if b.grown_on else "",
                figure(b.left_young, ".0f"),
                _money(b.cost),
                _or_none(b.each),
            )
            for b in own
        ],
    )


def _show_moves(costs: "Costs") -> None:
    from quailwright.exchange.costs_told import moves_answer, moves_words

    moves = costs.moves
    if moves is None or not moves.bars:
        return
    show.heading(say("What moves the cost of a dozen?"))
    _wrapped(moves_answer(moves))
    ends = [end for bar in moves.bars for end in (bar.at_low, bar.at_high)]
    low, high = min(ends), max(ends)

    def at(cost: float) -> float:
        return (cost - low) / (high - low) if high > low else 0.0

    rows: list[tuple[str, list[tuple[str, float, float]]]] = []
    for bar in moves.bars:
        first, last = sorted((at(bar.at_low), at(bar.at_high)))
        rows.append((moves_words(bar.what), [("=", first, last)]))
    show.bars(rows, f"{_money(low)}{_money(high):>{_WIDE - len(_money(low))}}")
    show.table(
        (
            say("what is changed"),
            say("as it is"),
            say("changed to"),
            say("a dozen"),
            say("how far"),
        ),
        [
            (
                moves_words(bar.what),
                figure(bar.now, ".3g"),
                say("{low:.3g} or {high:.3g}", low=bar.low, high=bar.high),
                say("{low:.2f} or {high:.2f}", low=bar.at_low, high=bar.at_high),
                bar.basis,
            )
            for bar in moves.bars
        ],
    )


_WIDE = 50


def _show_met(costs: "Costs") -> None:
    from quailwright.exchange.costs_told import likely_words, month_words, verdict_words

    if not costs.met:
        return
    in_money = costs.met[0].feed is not None
    show.heading(
        say("Feed and hatching eggs: what the accepted plan reckoned, and what came")
        if in_money
        else say("Feed, kg: what the accepted plan reckoned, and what came")
    )
    rows = [
        (month_words(month.month), likely_words(month), _money(month.came), verdict_words(month))
        for month in costs.met
    ]
    show.table((say("month"), say("reckoned, likely"), say("what came"), ""), rows)

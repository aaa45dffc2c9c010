"""The costs as both faces ask for them, and their words."""

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np

from quailwright.accounts.account import DOZEN, Account, Each, MonthOf, account, default_first
from quailwright.accounts.what_moves import WhatMoves, what_moves
from quailwright.exchange.table_cells import safe_cell
from quailwright.exchange.typed import EARLIEST_YEAR
from quailwright.flock.fold import fold
from quailwright.flock.state import Flock
from quailwright.journal import drafts
from quailwright.journal.entries import Entry
from quailwright.journal.findings import BadInput
from quailwright.language import figure, mark, say
from quailwright.planning.costs_met import MonthMet, costs_met

_SEED = 1

_KINDS = {
    "feed": mark("feed"),
    "hatching_eggs": mark("hatching eggs"),
    "birds": mark("birds bought"),
    "equipment": mark("wear of equipment"),
    "time": mark("your time"),
    "eggs sold": mark("eggs sold"),
    "birds sold": mark("birds sold"),
}
_BEARERS = {
    "hens": mark("hens"),
    "cocks": mark("cocks with hens"),
    "table": mark("cocks apart, for the table"),
    "raising": mark("raising: eggs to hatch, chicks, growers, birds bought"),
    "nobody": mark("while there were no birds"),
}
_MOVES = {
    "feed_per_kg": mark("price of feed, a kg"),
    "lay": mark("eggs a hen a day"),
    "spill": mark("feed spilled"),
    "deaths_a_week": mark("hens that die in a week"),
    "raised_an_egg": mark("grown birds from an egg set"),
    "cocks": mark("cocks"),
}
_STEADY = {
    "feed_of_hens": mark("feed of the hens"),
    "feed_of_cocks": mark("feed of the cocks"),
    "other": mark("all else for these birds"),
    "raising": mark("raising the hens that follow"),
}


@dataclass(frozen=True)
class Costs:
    """The account, what moves the cost of a dozen, and the accepted plan beside what came.

    `moves` is None where there is too little to reckon with, `met` empty where no plan stands.
    """

    account: Account
    moves: WhatMoves | None
    met: list[MonthMet]


def costs(
    entries: Sequence[Entry],
    flock: Flock,
    day: date,
    first: date | None = None,
    last: date | None = None,
    minute_price: float = 0.0,
) -> Costs:
    """What it cost from `first` (a year back unless told) to `last` (the day unless told).

    Args:
        flock: the entries folded up to the end of `day`.

    Raises:
        BadInput: days that cannot be, or a price of a minute that is none.
    """
    until = day if last is None else last
    if min(until, first or until).year < EARLIEST_YEAR:
        raise BadInput(
            say("Days before {year} cannot be looked at: nothing is known of them.",
                year=str(EARLIEST_YEAR))
        )  # fmt: skip
    if until > day:
        raise BadInput(
            say(
                "The last day, {until}, lies after {day}, the day that is looked at.",
                until=until,
                day=day,
            )
        )
    begin = default_first(flock, until) if first is None else first
    if begin > until:
        raise BadInput(
            say("The first day, {first}, lies after the last day, {last}.", first=begin, last=until)
        )
    if not 0 <= minute_price <= _DEAREST_MINUTE:
        raise BadInput(
            say(
                "What a minute of yours is worth is 0 to {most:g}, not {told:g}.",
                most=_DEAREST_MINUTE,
                told=minute_price,
            )
        )
    found = account(flock, begin, until, minute_price)
    met: list[MonthMet] = []
    if flock.plan is not None:
        then = fold(entries, flock.plan.accepted_at)
        met = costs_met(flock, then, until, np.random.default_rng(_SEED))
    return Costs(found, what_moves(found), met)


_DEAREST_MINUTE = 1_000_000


def kind_words(kind: str) -> str:
    """A kind of cost or income in words; what is the keeper's own word stays."""
    return say(_KINDS[kind]) if kind in _KINDS else kind


def bearer_words(bearer: str) -> str:
    """Who bears a cost, in words."""
    return say(_BEARERS[bearer])


def moves_words(what: str) -> str:
    """What moves the cost, in words."""
    return say(_MOVES[what])


def steady_words(part: str) -> str:
    """A part of the steady dozen, in words."""
    return say(_STEADY[part])


def month_words(month: tuple[int, int]) -> str:
    """`2027-05`, as ISO 8601 writes it."""
    return f"{month[0]}-{month[1]:02d}"


def small(amount: float) -> str:
    """Money; thousandths where it is little."""
    return figure(amount + 0.0, ".3f" if abs(amount) < 1 else ".2f")


def with_currency(amount: float, found: Account) -> str:
    """Money with the currency of the holding, where it is told."""
    return f"{figure(amount + 0.0, '.2f')} {found.currency}".rstrip()


def parts_words(each: Each) -> str:
    """The parts of what one of something costs, the largest first."""
    parts = sorted(each.parts.items(), key=lambda pair: -abs(pair[1]))
    return ", ".join(f"{kind_words(kind)} {small(amount)}" for kind, amount in parts if amount)


def whole_words(found: Account) -> list[str]:
    """What came in, what it cost, and where the eggs went."""
    gone = found.gone
    return [
        say(
            "{income} came in, {cost} is what it cost: {left} left.",
            income=with_currency(sum(found.income.values()), found),
            cost=with_currency(found.cost, found),
            left=with_currency(found.earned, found),
        ),
        say(
            "{eggs} eggs laid; {sold} sold, {eaten} eaten (those are no income), {given} given.",
            eggs=found.eggs,
            sold=gone["sold"],
            eaten=gone["eaten"],
            given=gone["given"],
        ),
    ]


def break_even_words(found: Account) -> str:
    """What a dozen must bring to pay for everything; "" where there were no eggs."""
    paid, at_all, at_sold = (
        found.paid_per_dozen,
        found.break_even_dozen,
        found.break_even_dozen_sold,
    )
    if at_all is None:
        return ""
    if at_all <= 0 and paid is None:
        return say("What came in beside eggs pays for everything.")
    if at_sold is None or paid is None:
        return say("All eggs at {price:.2f} a dozen would pay for everything.", price=at_all)
    if at_sold <= 0:
        return say(
            "What came in beside eggs pays for everything. A dozen sold brought {paid:.2f}.",
            paid=paid,
        )
    return say(
        "The eggs sold would pay for everything at {sold:.2f} a dozen; if all had been sold, at "
        "{price:.2f}. A dozen brought {paid:.2f}.",
        sold=at_sold,
        price=at_all,
        paid=paid,
    )


def raised_words(found: Account) -> str:
    """Who shares what raising costs; "" where no birds were raised."""
    if found.per_hen_if_cocks_bear_none is None or found.per_hen_at_lay.value is None:
        return ""
    return say(
        "A hen at lay bears her share of {birds:.0f} birds raised or bought; if their "
        "brothers bore nothing, she would cost {all:.2f}.",
        birds=found.raised,
        all=found.per_hen_if_cocks_bear_none,
    )


def cocks_words(found: Account) -> str:
    """What the cocks with the hens cost; "" where there were none."""
    cocks = found.cocks
    if cocks.birds <= 0:
        return ""
    return say(
        "The cocks with the hens ({birds:.1f} on the mean) cost {week:.2f} a week, by what "
        "a cock eats; {most:.2f} if they eat as much as hens.",
        birds=cocks.birds,
        week=cocks.per_week,
        most=cocks.per_week_if_as_hens,
    )


def moves_answer(moves: WhatMoves) -> str:
    """What moves the cost of a dozen most, and what a dozen is made of; there is a bar at least."""
    parts = ", ".join(
        f"{steady_words(name)} {small(amount)}"
        for name, amount in moves.keeping.parts.items()
        if amount
    )
    return say(
        "{what} moves it most. With hens replaced as they go, a dozen costs {price:.2f}: {parts}.",
        what=moves_words(moves.bars[0].what).capitalize(),
        price=moves.keeping.per_dozen,
        parts=parts,
    )


def likely_words(month: MonthMet) -> str:
    """What the plan reckoned for a month, with the range of four times in five."""
    low, middle, high = month.likely
    return say("{middle:.2f} ({low:.2f} to {high:.2f})", middle=middle, low=low, high=high)


def verdict_words(month: MonthMet) -> str:
    """Whether what came is what was reckoned."""
    low, _, high = month.likely
    if month.came > high:
        return say("more than reckoned")
    return say("less than reckoned") if month.came < low else say("as reckoned")


def per_dozen_of(month: MonthOf) -> float | None:
    """What keeping hens and their cocks cost a dozen in a month; None where no feed is told."""
    is_told = month.eggs and (month.feed_kg or not month.bird_days)
    return DOZEN * month.keeping / month.eggs if is_told else None


def kinds_of(months: Sequence[MonthOf], of: str) -> list[str]:
    """Kinds of "costs" or "income" in any of the months, the largest in all first."""
    whole: dict[str, float] = {}
    for month in months:
        for kind, amount in getattr(month, of).items():
            whole[kind] = whole.get(kind, 0.0) + amount
    return sorted(whole, key=lambda kind: (-whole[kind], kind))


def costs_csv(found: Account) -> str:
    """The months as CSV: a row each, kinds of cost and income as columns; decimals have a point."""
    costs_, income = kinds_of(found.months, "costs"), kinds_of(found.months, "income")
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(
        [
            "month", "eggs_laid", "eggs_sold", "eggs_eaten", "eggs_given", "eggs_discarded",
            "feed_kg", "hen_days", "bird_days", "minutes",
            *(safe_cell(f"cost {kind}") for kind in costs_),
            *(safe_cell(f"income {kind}") for kind in income),
            "cost", "income", "result", "cash", "keeping_per_dozen",
        ]
    )  # fmt: skip
    for month in found.months:
        each = per_dozen_of(month)
        writer.writerow(
            [
                month_words(month.month),
                month.eggs,
                *(month.gone[use] for use in ("sold", "eaten", "given", "discarded")),
                round(month.feed_kg, 3),
                round(month.hen_days, 2),
                round(month.bird_days, 2),
                round(month.minutes, 1),
                *(round(month.costs.get(kind, 0.0), 4) for kind in costs_),
                *(round(month.income.get(kind, 0.0), 4) for kind in income),
                round(sum(month.costs.values()), 4),
                round(sum(month.income.values()), 4),
                round(month.result, 4),
                round(month.cash, 4),
                "" if each is None else round(each, 4),
            ]
        )
    return out.getvalue()


def write_whole(path: Path, data: bytes) -> None:
    """Writes a file whole or not at all. Raises BadInput."""
    try:
        drafts.write_whole(path, [data])
    except OSError as error:
        raise BadInput(
            say("{path} cannot be written: {why}.", path=path, why=error.strerror or error)
        ) from None

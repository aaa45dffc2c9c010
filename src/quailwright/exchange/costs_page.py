"""The costs as a page tells them: what is asked, each thing in words, and what is not known."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from quailwright.accounts.account import Account, Each
from quailwright.accounts.what_moves import Bar
from quailwright.exchange import costs_told
from quailwright.exchange.costs_chart import MonthsChart, MovesChart, months_chart, moves_chart
from quailwright.exchange.costs_shape import costs_shape
from quailwright.exchange.costs_sheet import costs_sheet
from quailwright.exchange.costs_told import (
    Costs,
    break_even_words,
    cocks_words,
    likely_words,
    month_words,
    moves_answer,
    moves_words,
    parts_words,
    per_dozen_of,
    raised_words,
    small,
    verdict_words,
    whole_words,
    with_currency,
)
from quailwright.exchange.json_types import CostsShape
from quailwright.exchange.typed import day_typed
from quailwright.flock.remark import Remark
from quailwright.flock.state import Flock
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.journal.entries import Entry
from quailwright.journal.findings import BadInput
from quailwright.language import dated, figure, say, say_many, with_point

THIS_MONTH = "month"
FIELDS = ("from", "until", "minute")
"""Of the form, as the page has them; `span` is `THIS_MONTH` or ""."""


@dataclass(frozen=True, slots=True)
class Asked:
    """The days that are asked for, None for the usual ones, and what a minute is worth."""

    first: date | None
    last: date | None
    minute: float


@dataclass(frozen=True, slots=True)
class Thing:
    """One of something: what it is, what it costs, the parts; where it is not known, `why`."""

    what: str
    costs: str
    parts: str
    why: Remark | None


@dataclass(frozen=True, slots=True)
class MonthRow:
    """A month in figures, as the table shows it."""

    month: str
    eggs: int
    feed_kg: float
    cost: str
    income: str
    left: str
    per_dozen: str


@dataclass(frozen=True, slots=True)
class HatchRow:
    """A hatch and what its birds cost; `hatch` is "" for chicks that were bought."""

    hatch: str
    hatched_on: date | None
    chicks: str
    hens: str
    cocks: str
    left_young: str
    cost: str
    each: str


@dataclass(frozen=True, slots=True)
class MoveRow:
    """A figure changed by itself, in words."""

    what: str
    now: str
    changed: str
    per_dozen: str
    basis: str


@dataclass(frozen=True, slots=True)
class PlanRow:
    """A month of the accepted plan beside what came."""

    month: str
    reckoned: str
    came: str
    verdict: str


@dataclass(frozen=True, slots=True)
class CostsPage:
    """All of it, said.

    Attributes:
        nothing: whether there is nothing to tell of yet.
        answer: what an egg costs, in sentences; `egg` the figure alone, "" where it is not known.
        whole: what came in and what it cost.
        more: what else is to be said of the things.
        remarks: what is not known of these days.
        months_answer, chart: by month; the chart is None for a single month.
        moves_answer, moves_chart: "" and None where there is too little to reckon with.
        in_money: whether the plan is held against money, or kilograms where no price was known.
        plan_answer: how many months came as reckoned.
    """

    first: date
    last: date
    minute: float
    nothing: bool
    egg: str
    answer: list[str]
    things: list[Thing]
    whole: list[str]
    more: list[str]
    remarks: list[Remark]
    months_answer: str
    months: list[MonthRow]
    chart: MonthsChart | None
    hatches: list[HatchRow]
    moves_answer: str
    moves: list[MoveRow]
    moves_chart: MovesChart | None
    in_money: bool
    plan_answer: str
    plan: list[PlanRow]


@dataclass(frozen=True, slots=True)
class Taken:
    """What is shown and taken along of the costs of some days.

    It is kept in place of the account, which holds every bird and bag of these days.
    """

    page: CostsPage
    shape: CostsShape
    months: str
    sheet: bytes


def taken(entries: Sequence[Entry], flock: Flock, day: date, days: Asked) -> Taken:
    """The costs of these days, as of `day`; `flock` is folded up to its end. Raises BadInput."""
    found = costs_told.costs(entries, flock, day, days.first, days.last, days.minute)
    return Taken(
        costs_page(found, flock),
        costs_shape(found),
        costs_told.costs_csv(found.account),
        costs_sheet(found),
    )


def asked(typed: Mapping[str, str], flock: Flock, day: date) -> Asked:
    """What is asked for, from the fields of the page; `day` is the present one.

    Days before the record begins are left out: there is nothing to tell of them. Raises BadInput.
    """
    first = (
        day.replace(day=1) if typed.get("span") == THIS_MONTH else day_typed(typed.get("from", ""))
    )
    if first is not None and flock.first_day is not None:
        first = max(first, flock.first_day)
    minute = typed.get("minute", "").strip()
    return Asked(first, day_typed(typed.get("until", "")), _price(minute) if minute else 0.0)


def _price(text: str) -> float:
    try:
        return float(with_point(text))
    except ValueError:
        raise BadInput(
            say("What a minute of yours is worth is a number, such as 0.25, not {told!r}.",
                told=text)
        ) from None  # fmt: skip


def costs_page(costs: Costs, flock: Flock) -> CostsPage:
    """The page of these costs."""
    found = costs.account
    moves = costs.moves if costs.moves is not None and costs.moves.bars else None
    return CostsPage(
        found.first,
        found.last,
        found.minute_price,
        not (found.costs or found.income or found.eggs or flock.groups),
        "" if found.per_egg.value is None else _amount(found.per_egg, found),
        _answer(found),
        _things(found),
        whole_words(found),
        [words for words in (raised_words(found),) if words],
        found.remarks,
        _months_answer(found),
        _months(found),
        months_chart(found.months) if len(found.months) > 1 else None,
        _hatches(found),
        "" if moves is None else moves_answer(moves),
        [] if moves is None else [_move(bar) for bar in moves.bars],
        None if moves is None else moves_chart(moves),
        bool(costs.met) and costs.met[0].feed is not None,
        _plan_answer(costs),
        [
            PlanRow(
                month_words(month.month),
                likely_words(month),
                figure(month.came + 0.0, ".2f"),
                verdict_words(month),
            )
            for month in costs.met
        ],
    )


def _amount(each: Each, found: Account) -> str:
    return f"{small(each.value or 0.0)} {found.currency}".rstrip()


def _answer(found: Account) -> list[str]:
    """What a dozen costs, and what would pay for it."""
    if found.per_dozen.value is None and found.eggs:
        return [say("What an egg costs is not known for these days: what feed cost is not told.")]
    if found.per_dozen.value is None:
        return [say("What an egg costs is not known for these days: no eggs are on the record.")]
    dozen = say(
        "A dozen costs {cost}: the hens and the cocks with them, over all eggs laid. Raising hens "
        "is told apart, below.",
        cost=_amount(found.per_dozen, found),
    )
    return [words for words in (dozen, break_even_words(found), cocks_words(found)) if words]


def _things(found: Account) -> list[Thing]:
    no_eggs = Remark(say("No eggs are on the record for these days."), "", "eggs_collected")
    if found.eggs:
        no_eggs = Remark(say("What feed cost is not told."), "", "feed_bought")
    no_minutes = Remark(
        say("No minutes are noted, so what an hour earns is not known."),
        "",
        "care",
        {"task": "feed_water"},
    )
    none_raised = Remark(
        say("No hatch has grown up in these days, and no grown birds were bought."), "", "group"
    )
    none_dressed = Remark(
        say("No birds for the table are on the record for these days."), "", "birds_processed"
    )
    rows = (
        (say("an egg"), found.per_egg, no_eggs),
        (say("a dozen"), found.per_dozen, no_eggs),
        (say("a hen at lay"), found.per_hen_at_lay, none_raised),
        (say("a dressed bird"), found.per_dressed_bird, none_dressed),
        (say("an hour earns"), found.per_hour, no_minutes),
    )
    cocks = found.cocks
    told = [
        Thing(
            what,
            say("not known") if each.value is None else _amount(each, found),
            parts_words(each),
            why if each.value is None else None,
        )
        for what, each, why in rows
    ]
    if cocks.birds > 0:
        weekly = Each.of(cocks.cost.parts, found.days / DAYS_A_WEEK)
        told.append(
            Thing(
                say("the cocks with hens, a week"),
                _amount(weekly, found),
                parts_words(weekly),
                None,
            )
        )
    return told


def _months_answer(found: Account) -> str:
    spent = [(sum(month.costs.values()), month) for month in found.months]
    dearest, month = max(spent, key=lambda pair: pair[0])
    gained = sum(one.result > 0 for one in found.months)
    whole = say_many(
        "In {n} month more came in than it cost, of {months} looked at.",
        "In {n} months more came in than it cost, of {months} looked at.",
        gained,
        months=len(found.months),
    )
    if dearest <= 0:
        return whole
    most = say(
        "{month} cost most: {cost}.",
        month=_month_in_words(month.month),
        cost=with_currency(dearest, found),
    )
    return f"{whole} {most}"


def _month_in_words(month: tuple[int, int]) -> str:
    first = date(*month, 1)
    return dated(first, f"{first:%B} {first.year}", "yMMMM")


def _months(found: Account) -> list[MonthRow]:
    rows = []
    for month in found.months:
        each = per_dozen_of(month)
        rows.append(
            MonthRow(
                month_words(month.month),
                month.eggs,
                month.feed_kg,
                _money(sum(month.costs.values())),
                _money(sum(month.income.values())),
                _money(month.result),
                "" if each is None else _money(each),
            )
        )
    return rows


def _hatches(found: Account) -> list[HatchRow]:
    return [
        HatchRow(
            batch.hatch,
            batch.hatched_on,
            figure(batch.chicks, ".0f"),
            figure(batch.hens, ".0f") if batch.grown_on else "",
            figure(batch.cocks, ".0f") if batch.grown_on else "",
            figure(batch.left_young, ".0f"),
            _money(batch.cost),
            "" if batch.each is None else _money(batch.each),
        )
        for batch in found.batches_of_these_days
    ]


def _move(bar: Bar) -> MoveRow:
    return MoveRow(
        moves_words(bar.what),
        figure(bar.now, ".3g"),
        say("{low:.3g} or {high:.3g}", low=bar.low, high=bar.high),
        say("{low:.2f} or {high:.2f}", low=bar.at_low, high=bar.at_high),
        bar.basis,
    )


def _plan_answer(costs: Costs) -> str:
    if not costs.met:
        return ""
    inside = sum(month.likely[0] <= month.came <= month.likely[2] for month in costs.met)
    return say_many(
        "{n} month came as reckoned, of {months}; a right reckoning holds four times in five.",
        "{n} months came as reckoned, of {months}; a right reckoning holds four times in five.",
        inside,
        months=len(costs.met),
    )


def _money(amount: float) -> str:
    return figure(amount + 0.0, ".2f")

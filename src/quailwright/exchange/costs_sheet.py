"""The costs as a spreadsheet (Office Open XML, ISO/IEC 29500) whose sums are formulas.

Every formula has its value beside it, so that viewers that do not reckon show figures too. Names
are written as text, so that none is taken for a formula.
"""

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from quailwright.accounts.account import DOZEN
from quailwright.accounts.heads import BEARERS
from quailwright.accounts.what_moves import Keeping
from quailwright.exchange.costs_told import (
    Costs,
    bearer_words,
    kind_words,
    kinds_of,
    month_words,
)
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.language import say

_GRAMS_A_KG = 1000


@dataclass
class _Sheet:
    """A sheet being written: text, numbers, and formulas with their values."""

    sheet: Any
    money: Any

    def text(self, row: int, column: int, text: str) -> None:
        self.sheet.write_string(row, column, text)

    def number(self, row: int, column: int, value: float) -> None:
        self.sheet.write_number(row, column, value)

    def formula(self, row: int, column: int, formula: str, value: float | None) -> None:
        shown = "" if value is None else value
        self.sheet.write_formula(row, column, f"={formula}", self.money, shown)


def costs_sheet(costs: Costs) -> bytes:
    """The file: the months, the shares of each kind of cost, and a steady flock to change."""
    import xlsxwriter  # type: ignore[import-untyped]

    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, {"in_memory": True, "strings_to_formulas": False})
    money = book.add_format({"num_format": "#,##0.00"})
    months, shares = say("Months"), say("Shares")
    _months(_Sheet(book.add_worksheet(months), money), costs)
    _shares(_Sheet(book.add_worksheet(shares), money), costs, months)
    if costs.moves is not None:
        _what_if(_Sheet(book.add_worksheet(say("What if")), money), costs.moves.keeping)
    book.close()
    return out.getvalue()


def _cell(row: int, column: int) -> str:
    """`B3` for row 2, column 1."""
    name, left = "", column + 1
    while left:
        left, rest = divmod(left - 1, 26)
        name = chr(ord("A") + rest) + name
    return f"{name}{row + 1}"


def _span(first: tuple[int, int], last: tuple[int, int]) -> str:
    return f"{_cell(*first)}:{_cell(*last)}"


def _months(sheet: _Sheet, costs: Costs) -> None:
    """A row each month, kinds of cost and income as columns, their sums, and all together."""
    found = costs.account
    spent, came = kinds_of(found.months, "costs"), kinds_of(found.months, "income")
    counts = [
        say("eggs laid"),
        say("sold, eggs"),
        say("eaten, eggs"),
        say("feed, kg"),
        say("hours"),
    ]
    heads = [
        say("month"),
        *counts,
        *(say("cost: {kind}", kind=kind_words(kind)) for kind in spent),
        say("all costs"),
        *(say("income: {kind}", kind=kind_words(kind)) for kind in came),
        say("all income"),
        say("money left"),
    ]
    for column, head in enumerate(heads):
        sheet.text(0, column, head)
    first_cost = 1 + len(counts)
    costs_at = first_cost + len(spent)
    income_at = costs_at + 1 + len(came)
    for row, month in enumerate(found.months, 1):
        sheet.text(row, 0, month_words(month.month))
        figures = [
            month.eggs, month.gone["sold"], month.gone["eaten"], month.feed_kg, month.minutes / 60,
        ]  # fmt: skip
        for column, value in enumerate(figures, 1):
            sheet.number(row, column, value)
        _summed(sheet, row, first_cost, [month.costs.get(kind, 0.0) for kind in spent])
        _summed(sheet, row, costs_at + 1, [month.income.get(kind, 0.0) for kind in came])
        left = f"{_cell(row, income_at)}-{_cell(row, costs_at)}"
        sheet.formula(row, income_at + 1, left, month.result)
    last = len(found.months)
    sheet.text(last + 1, 0, say("together"))
    together = [
        found.eggs,
        found.gone["sold"],
        found.gone["eaten"],
        found.feed_kg,
        found.minutes.hours,
        *(found.costs.get(kind, 0.0) for kind in spent),
        found.cost,
        *(found.income.get(kind, 0.0) for kind in came),
        sum(found.income.values()),
        found.earned,
    ]
    for column, value in enumerate(together, 1):
        sheet.formula(last + 1, column, f"SUM({_span((1, column), (last, column))})", value)


def _summed(sheet: _Sheet, row: int, first: int, values: Sequence[float]) -> None:
    """Values from the column `first` on, and their sum after them."""
    for column, value in enumerate(values, first):
        sheet.number(row, column, value)
    end = first + len(values)
    span = _span((row, first), (row, end - 1))
    sheet.formula(row, end, f"SUM({span})" if values else "0", sum(values))


def _shares(sheet: _Sheet, costs: Costs, months: str) -> None:
    """Who bears which kind of cost; and what an egg and a dozen cost by it."""
    found = costs.account
    kinds = sorted(found.costs, key=lambda kind: -found.costs[kind])
    bearers = [*BEARERS, "nobody"]
    for column, head in enumerate([say("cost"), *map(bearer_words, bearers), say("together")]):
        sheet.text(0, column, head)
    for row, kind in enumerate(kinds, 1):
        sheet.text(row, 0, kind_words(kind))
        _summed(sheet, row, 1, [found.by_bearer[who].get(kind, 0.0) for who in bearers])
    last = len(kinds)
    all_ = last + 1
    sheet.text(all_, 0, say("together"))
    whole = [sum(found.by_bearer[who].values()) for who in bearers]
    for column, value in enumerate([*whole, found.cost], 1):
        span = _span((1, column), (last, column))
        sheet.formula(all_, column, f"SUM({span})" if kinds else "0", value)
    eggs = f"'{months}'!{_cell(len(found.months) + 1, 1)}"
    keeping = f"{_cell(all_, 1)}+{_cell(all_, 2)}"
    sheet.text(all_ + 2, 0, say("an egg (hens and cocks with them, over eggs laid)"))
    if found.eggs and found.per_egg.value is None:
        sheet.text(all_ + 2, 1, say("not known"))
        return
    sheet.formula(all_ + 2, 1, f'IF({eggs}=0,"",({keeping})/{eggs})', found.per_egg.value)
    sheet.text(all_ + 3, 0, say("a dozen"))
    egg = _cell(all_ + 2, 1)
    sheet.formula(all_ + 3, 1, f'IF({egg}="","",{DOZEN}*{egg})', found.per_dozen.value)


def _what_if(sheet: _Sheet, now: Keeping) -> None:
    """A steady flock: change the figures, and the costs below follow."""
    sheet.text(0, 0, say("Change the figures below: the costs follow."))
    inputs = {
        "hens": (say("hens"), now.hens),
        "cocks": (say("cocks"), now.cocks),
        "hen_g": (say("feed a hen eats in a day, g"), now.hen_g),
        "cock_g": (say("feed a cock eats in a day, g"), now.cock_g),
        "used": (say("feed used over feed eaten (1.1: a tenth more)"), now.used_over_eaten),
        "price": (say("price of feed, a kg"), now.feed_per_kg),
        "lay": (say("eggs a hen a day"), now.lay),
        "other": (say("other costs a week"), now.other_per_week),
        "deaths": (say("part of the hens that die in a week"), now.deaths_a_week),
        "weeks": (say("weeks a hen is kept"), now.kept_w),
        "egg": (say("price of a hatching egg"), now.egg_price),
        "raised": (say("grown birds from an egg set"), now.raised_an_egg),
        "kg": (say("feed used to raise a bird, kg"), now.raise_kg),
        "more": (say("other costs to raise a bird"), now.raise_other),
    }
    at = {}
    for row, (name, (words, value)) in enumerate(inputs.items(), 2):
        sheet.text(row, 0, words)
        sheet.number(row, 1, value)
        at[name] = _cell(row, 1)
    row = len(inputs) + 3
    week = f"{DAYS_A_WEEK}/{_GRAMS_A_KG}*{at['used']}"
    grams = f"({at['hens']}*{at['hen_g']}+{at['cocks']}*{at['cock_g']})"
    hen = f"IF({at['raised']}=0,0,{at['egg']}/{at['raised']})+{at['kg']}*{at['price']}+{at['more']}"
    replaced = f"{at['hens']}*({at['deaths']}+IF({at['weeks']}=0,0,1/{at['weeks']}))"
    dozens = f"{at['hens']}*{at['lay']}*{DAYS_A_WEEK}/{DOZEN}"
    lines = (
        (say("feed a week, kg"), f"{grams}*{week}", now.feed_kg_a_week),
        (say("feed a week, money"), f"{_cell(row, 1)}*{at['price']}", now.feed_a_week),
        (
            say("of it, the cocks"),
            f"{at['cocks']}*{at['cock_g']}*{week}*{at['price']}",
            now.cocks_a_week,
        ),
        (say("raising a hen"), hen, now.hen_raised),
        (
            say("raising hens that follow, a week"),
            f"{replaced}*{_cell(row + 3, 1)}",
            now.replaced_a_week * now.hen_raised,
        ),
        (say("dozens a week"), dozens, now.dozens_a_week),
        (
            say("a dozen"),
            f'IF({_cell(row + 5, 1)}=0,"",({_cell(row + 1, 1)}+{at["other"]}'
            f"+{_cell(row + 4, 1)})/{_cell(row + 5, 1)})",
            now.per_dozen,
        ),
    )
    for number, (words, formula, value) in enumerate(lines, row):
        sheet.text(number, 0, words)
        sheet.formula(number, 1, formula, value)

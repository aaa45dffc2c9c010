"""The chance to fill orders: stock, draws of eggs to come, and what is withheld then."""

from datetime import date
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from tests.makers import made

from quailwright.exchange.store_told import order_chances
from quailwright.flock.fold import fold
from quailwright.journal.entries import Entry
from quailwright.outlook.forecast import Outlook

ON = date(2027, 5, 2)
HENS = made("group", "2027-05-01", group="hens", place="shed", hens=10)
OTHERS = made("group", "2027-05-01", group="others", place="barn", hens=10)
STOCK = made("eggs_collected", "2027-05-02", group="hens", eggs=6)


def ahead(*weeks: list[float], others: float = 0.0) -> Outlook:
    """Draws of eggs by week, of `hens` and as much of `others` as that share of the whole."""
    eggs = np.array(weeks).T
    means = eggs.mean(axis=0)
    made_up: Any = SimpleNamespace(
        samples={"eggs": eggs},
        weeks=len(weeks),
        eggs_by_group={"hens": means * (1 - others), "others": means * others},
        first_day=lambda week: date.fromordinal(ON.toordinal() + 1 + 7 * week),
    )
    outlook: Outlook = made_up
    return outlook


def order(name: str, eggs: int, on: str) -> Entry:
    return made("eggs_ordered", "2027-05-02", order=name, eggs=eggs, on=on)


def chances(entries: list[Entry], outlook: Outlook) -> dict[str, float]:
    flock = fold(entries)
    asked = sorted((one for one in flock.orders.values() if one.left), key=lambda one: one.on)
    return order_chances(flock, ON, outlook)(asked)


def test_stock_fills_the_first_order_and_the_draws_the_next() -> None:
    """6 in stock, 0, 7, 14 or 21 a week: by the 9th 6, 13, 20 or 27 against 6, then 6 + 10."""
    entries = [HENS, STOCK, order("a", 6, "2027-05-02"), order("b", 10, "2027-05-09")]
    found = chances(entries, ahead([0, 7, 14, 21]))
    assert found == {"a": 1.0, "b": 0.5}


def test_a_part_of_a_week_counts_by_its_days() -> None:
    """Three of seven days: 3, 6 or 9 of 7, 14, 21, on top of 6."""
    found = chances([HENS, STOCK, order("a", 12, "2027-05-05")], ahead([7, 14, 21]))
    assert found["a"] == pytest.approx(2 / 3)


def test_what_is_withheld_then_fills_nothing() -> None:
    treated = made("treated", "2027-05-02", group="others", product="powder",
                   eggs_withheld_until="2027-05-30", meat_withheld_until="2027-05-30")  # fmt: skip
    entries = [HENS, OTHERS, STOCK, order("a", 16, "2027-05-09")]
    assert chances(entries, ahead([14, 14], others=0.5))["a"] == 1.0
    assert chances([*entries, treated], ahead([14, 14], others=0.5))["a"] == 0.0
    unknown = made("treated", "2027-05-02", group="hens", product="drops")
    assert chances([*entries, unknown], ahead([90, 90]))["a"] == 0.0


def test_eggs_eaten_at_home_of_late_are_not_promised() -> None:
    """28 in four weeks is one a day: 7 less by the 9th."""
    eaten = made("eggs_out", "2027-05-02T20:00Z", use="eaten", eggs=28)
    more = made("eggs_collected", "2027-05-01", group="hens", eggs=28)
    entries = [HENS, STOCK, more, eaten, order("a", 13, "2027-05-09")]
    assert chances(entries, ahead([13, 14]))["a"] == 0.5


def test_eggs_too_old_by_the_day_are_not_counted() -> None:
    rule = made("egg_rule", "2027-05-01", storage="cool", keeps_days=3, checked_on="2027-05-01",
                said_by="the office")  # fmt: skip
    entries = [HENS, STOCK, order("a", 1, "2027-05-09")]
    assert chances([*entries, rule], ahead([0, 0]))["a"] == 0.0
    assert chances(entries, ahead([0, 0]))["a"] == 1.0

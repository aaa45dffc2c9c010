"""What the accepted plan reckoned, beside what came: by month, from what was known then."""

from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from tests.makers import made
from tests.outlook.flocks import NOWHERE, hens

from quailwright.flock.fold import fold
from quailwright.journal.entries import Entry
from quailwright.planning.costs_met import MonthMet, costs_met

ACCEPTED = date(2027, 4, 10)
LAST = date(2027, 6, 9)
BRIEF = "[goal]\neggs_per_week = 40\n"


def kept(kg_a_day: float, brief: str = BRIEF, **more: Any) -> list[Entry]:
    """20 hens fed by the record for ten weeks, a plan accepted, and so much given since."""
    before = ACCEPTED - timedelta(days=70)
    return [
        NOWHERE,
        hens(20),
        made("source", "2027-01-01", source="creek", route="collected", price_per_egg=0.5),
        made("feed_bought", before, feed="mash", kg=100, cost=90, **more),
        *(made("feed_given", before + timedelta(days=n), feed="mash", kg=0.5) for n in range(70)),
        made("plan_accepted", f"{ACCEPTED}T20:00:00Z", brief=brief, certainty=0.8),
        made("set_planned", f"{ACCEPTED}T20:00:00Z", hatch="may", on="2027-05-10", eggs=40,
             place="box", source="creek"),
        *(
            made("feed_given", ACCEPTED + timedelta(days=n), feed="mash", kg=kg_a_day)
            for n in range(1, 61)
        ),
    ]  # fmt: skip


def met(entries: list[Entry], on: date = LAST) -> list[MonthMet]:
    flock = fold(entries, on)
    assert flock.plan is not None
    then = fold(entries, flock.plan.accepted_at)
    return costs_met(flock, then, on, np.random.default_rng(1))


def test_months_since_the_plan_with_what_came_by_the_journal() -> None:
    months = met(kept(0.5))
    assert [month.month for month in months] == [(2027, 4), (2027, 5), (2027, 6)]
    april, may, june = months
    assert april.feed_kg_came == pytest.approx(20 * 0.5)
    assert may.feed_kg_came == pytest.approx(31 * 0.5)
    assert june.feed_kg_came == pytest.approx(9 * 0.5)
    assert may.feed_came == pytest.approx(31 * 0.5 * 0.90)
    # Set in May, 40 eggs at 0.50; none was bought, so none was paid.
    assert (april.eggs, may.eggs, june.eggs, may.eggs_came) == (0.0, 20.0, 0.0, 0.0)
    assert may.feed is not None
    assert may.feed.mean() == pytest.approx(31 * 0.5 * 0.90, rel=0.1)
    assert april.likely[0] <= april.came <= april.likely[2]


def test_far_more_than_reckoned_lies_outside() -> None:
    april = met(kept(1.0))[0]
    assert april.came > april.likely[2]


def test_the_price_of_the_brief_comes_before_that_of_the_journal() -> None:
    dear = met(kept(0.5, brief=f"{BRIEF}[prices]\nfeed_per_kg = 1.8\n"))[0]
    usual = met(kept(0.5))[0]
    assert dear.likely[1] == pytest.approx(2 * usual.likely[1], rel=0.01)


def test_without_any_price_it_is_told_in_kilograms() -> None:
    entries = [entry for entry in kept(0.5) if not hasattr(entry, "cost") or entry.cost is None]
    april = met(entries)[0]
    assert april.feed is None
    assert april.came == pytest.approx(10.0)


def test_on_the_day_itself_there_is_nothing_to_hold_against_it() -> None:
    assert met(kept(0.5), ACCEPTED) == []


def test_without_a_plan_there_is_none() -> None:
    flock = fold([NOWHERE, hens(5)], LAST)
    assert costs_met(flock, flock, LAST, np.random.default_rng(1)) == []

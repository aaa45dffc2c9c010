"""Feed ahead: kilograms by stage, when bags run out, and feed of late beside what was expected."""

from collections.abc import Sequence
from datetime import timedelta
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.makers import made
from tests.outlook.flocks import NOWHERE, ON, hens, outlook

from quailwright.flock.fold import fold
from quailwright.husbandry import facts
from quailwright.husbandry.feeding import STAGES
from quailwright.journal.entries import Entry
from quailwright.outlook.feed_ahead import EARLY, FeedAhead, feed_ahead


def ahead(entries: Sequence[Entry], weeks: int = 8, draws: int = 300) -> FeedAhead:
    return feed_ahead(outlook(entries, weeks=weeks, draws=draws), fold(entries, ON))


def pellets(**told: Any) -> Entry:
    return made("feed", "2027-01-01", feed="pellets", stage="layer", **told)


def bought(kg: float, days_ago: int = 3, feed: str = "pellets", **more: Any) -> Entry:
    return made("feed_bought", ON - timedelta(days=days_ago), feed=feed, kg=kg, **more)


def chicks(number: int, age_d: int) -> Entry:
    born = ON - timedelta(days=age_d)
    return made("group", born, group="chicks", place="box", chicks=number, hatched_on=str(born))


def fed(kg: float, first: int, last: int) -> list[Entry]:
    """So much given on each of the days from so many days ago to so many."""
    return [
        made("feed_given", ON - timedelta(days=n), feed="pellets", kg=kg)
        for n in range(first, last - 1, -1)
    ]


def test_stages_add_up_to_the_feed_of_the_outlook() -> None:
    entries = [NOWHERE, hens(20), chicks(30, 10)]
    drawn = outlook(entries, weeks=8)
    together = sum(drawn.feed_by_stage[stage] for stage in STAGES)
    np.testing.assert_allclose(together, drawn.samples["feed_kg"])


def test_chicks_pass_from_starter_to_grower_to_layer_feed_at_the_published_ages() -> None:
    """Lee et al. 1977: starter to 21 days; layer feed from 42 days (inferred)."""
    found = ahead([NOWHERE, chicks(30, 13)])
    mean = {stage: found.by_stage[stage].mean(0) for stage in STAGES}
    # The week from 14 days of age ends at 20: all of it starter; the next three are grower.
    assert mean["starter"][0] > 0
    assert mean["grower"][0] == mean["layer"][0] == 0
    for week in (1, 2, 3):
        assert mean["starter"][week] == mean["layer"][week] == 0
        assert mean["grower"][week] > 0
    assert mean["grower"][4] == 0
    assert mean["layer"][4] > 0


def test_a_bag_runs_out_when_so_many_hens_have_eaten_it() -> None:
    """20 hens at 23.24 g (Maiduguri 2022) and 10 % of feed offered spilled: 0.516 kg a day."""
    found = ahead([NOWHERE, hens(20), pellets(delivery_days=4), bought(15.5)])
    [one] = found.feeds
    days = 15.5 / (20 * 0.02324 / 0.9)
    median = found.day(one.runs_out, 0.5)
    assert median is not None
    # Hens not in full lay eat less, so it may last somewhat longer than that.
    assert -2 <= (median - ON).days - days <= 8
    early = found.day(one.runs_out, EARLY)
    assert early is not None
    assert early <= median
    assert one.order_by == early - timedelta(days=4)
    day = one.order_by
    assert day is not None
    assert f"Order pellets by {day.day} {day:%b} {day.year}." in found.said


def test_of_several_bags_the_oldest_is_eaten_first_and_each_has_its_day() -> None:
    counted = made("feed_counted", ON - timedelta(days=2), feed="pellets", kg=15)
    found = ahead([NOWHERE, hens(20), pellets(bag_kg=5), bought(5, 20), bought(10, 3), counted])
    [one] = found.feeds
    assert [bag.kg for bag in one.bags] == [5, 5, 5]
    assert [bag.bought_on for bag in one.bags] == [
        ON - timedelta(days=20), ON - timedelta(days=3), ON - timedelta(days=3),
    ]  # fmt: skip
    days = [bag.runs_out for bag in one.bags]
    assert (days[0] < days[1]).all()
    assert (days[1] < days[2]).all()


def test_of_feed_that_is_only_bought_no_day_is_told_until_it_is_weighed() -> None:
    """20 hens use half a kilogram a day; six bags bought in half a year, and no use logged."""
    only = [
        NOWHERE,
        hens(20),
        pellets(delivery_days=4),
        *(bought(15, 5 + 28 * n) for n in range(6)),
    ]
    found = ahead(only)
    [one] = found.feeds
    assert one.kg == 90
    assert found.day(one.runs_out, EARLY) is None
    assert one.order_by is None
    assert any("What was used of pellets since" in said and "kg=..." in said for said in found.said)
    assert not any("will be left on" in said or "should have been" in said for said in found.said)
    counted = made("feed_counted", ON - timedelta(days=1), feed="pellets", kg=12)
    weighed = ahead([*only, counted])
    assert weighed.day(weighed.feeds[0].runs_out, EARLY) is not None
    assert not any("is not told, so when it runs out" in said for said in weighed.said)


def test_an_opened_bag_holds_the_rest() -> None:
    entries = [NOWHERE, hens(20), pellets(bag_kg=5), bought(15, 10), *fed(0.5, 9, 8)]
    [one] = ahead(entries).feeds
    assert [round(bag.kg, 2) for bag in one.bags] == [4.0, 5.0, 5.0]


def test_what_lasts_beyond_the_weeks_has_no_day_and_no_order() -> None:
    found = ahead([NOWHERE, hens(2), pellets(delivery_days=4), bought(500)], weeks=2)
    [one] = found.feeds
    assert found.day(one.runs_out, EARLY) is None
    assert one.order_by is None
    assert not any(said.startswith("Order") for said in found.said)


def test_what_takes_longer_to_come_than_it_lasts_is_to_be_ordered_now() -> None:
    found = ahead([NOWHERE, hens(20), pellets(delivery_days=30), bought(5)])
    assert any(
        said.startswith("Order pellets now") and "takes 30 days to come" in said
        for said in found.said
    )


def test_untold_delivery_is_said_once_for_all_feeds() -> None:
    found = ahead([NOWHERE, hens(20), bought(5), bought(3, feed="other")])
    told = [said for said in found.said if "delivery_days=..." in said]
    assert len(told) == 1
    assert "(here: other, pellets)" in told[0] or "(here: pellets, other)" in told[0]


def test_feed_that_grows_old_before_it_is_eaten_is_told() -> None:
    """Mash keeps 7 weeks: judgement between a quail guide's 8 weeks and trade pages."""
    keeps = int(facts.value("feeding.mash_keeps_d"))
    old = ahead([NOWHERE, hens(2), bought(40, 10)])
    [bag] = old.feeds[0].bags
    assert bag.keeps_until == ON + timedelta(days=keeps - 10)
    assert bag.left_kg is not None
    assert 20 < np.median(bag.left_kg) < 40
    assert any("will be left on" in said for said in old.said)
    assert any("Unless a label tells" in said for said in old.said)
    # The day it was mixed counts, not the day it was bought; and a label's days before ours.
    mixed = ON - timedelta(days=30)
    told = ahead([NOWHERE, hens(2), pellets(keeps_days=20), bought(40, 10, mixed_on=str(mixed))])
    assert told.feeds[0].bags[0].keeps_until == mixed + timedelta(days=20)
    assert any("should have been used by" in said for said in told.said)
    assert not any("Unless a label tells" in said for said in told.said)


def test_feed_past_its_day_puts_off_no_order() -> None:
    """40 kg lie there that were good until three weeks ago; of what is good there are 3 kg."""
    counted = made("feed_counted", ON, feed="pellets", kg=43)
    old = [NOWHERE, hens(20), pellets(delivery_days=10), bought(40, 70), bought(3, 2), counted]
    found = ahead(old)
    [one] = found.feeds
    assert one.order_by is not None
    assert one.order_by <= ON
    assert any(said.startswith("Order pellets now") for said in found.said)


def test_a_feed_without_a_stage_serves_the_birds_that_no_other_is_for() -> None:
    entries = [NOWHERE, hens(20), chicks(20, 5), pellets(), bought(10), bought(5, feed="sack")]
    found = ahead(entries)
    serves = {one.feed: one.serves for one in found.feeds}
    assert serves == {"pellets": ("layer",), "sack": ("starter", "grower")}
    assert found.unserved == {}


def test_birds_that_no_feed_is_for_are_told() -> None:
    found = ahead([NOWHERE, hens(20), chicks(20, 5), pellets(), bought(10)])
    assert set(found.unserved) == {"starter", "grower"}
    assert any("There is no starter feed in the store" in said for said in found.said)


def test_usual_use_is_no_sign_and_odd_use_is() -> None:
    """20 hens given 0.5 kg a day for two months; then as before, a third more, a third less."""
    usual = [NOWHERE, hens(20), pellets(), bought(80, 80), *fed(0.5, 75, 14)]
    same = ahead([*usual, *fed(0.5, 13, 0)])
    assert same.use is not None
    assert not same.use.is_odd
    assert same.use.by_own
    assert same.use.expected_kg == pytest.approx(7.0, rel=0.05)
    more = ahead([*usual, *fed(0.67, 13, 0)])
    less = ahead([*usual, *fed(0.33, 13, 0)])
    assert any("Look under the feeders" in said for said in more.said)
    assert any("Look at the drinkers first" in said for said in less.said)
    for found in (more, less):
        assert found.use is not None
        assert found.use.is_odd
        assert not any("ill with" in said or "disease" in said for said in found.said)


def test_with_no_record_before_the_published_figure_stands_and_its_range_is_wide() -> None:
    found = ahead([NOWHERE, hens(20), pellets(), bought(20, 20), *fed(0.5, 13, 0)])
    assert found.use is not None
    assert not found.use.by_own
    assert found.use.high_kg > 1.2 * found.use.expected_kg
    assert not found.use.is_odd


def test_where_little_is_logged_nothing_is_said_of_use() -> None:
    assert ahead([NOWHERE, hens(20), pellets(), bought(20, 20), *fed(0.5, 3, 2)]).use is None


def test_an_empty_flock_has_no_feed_ahead() -> None:
    found = ahead([NOWHERE])
    assert found.feeds == []
    assert found.unserved == {}
    assert found.said == []


def test_the_first_week_begins_the_day_after() -> None:
    assert ahead([NOWHERE], weeks=2).first_day(1) == ON + timedelta(days=8)


@given(
    st.integers(1, 40),
    st.lists(st.tuples(st.floats(0.1, 60.0), st.integers(1, 90)), min_size=1, max_size=4),
    st.none() | st.floats(1.0, 30.0),
)
@settings(max_examples=15, deadline=None)
def test_bags_hold_what_is_there_and_run_out_in_order(
    birds: int, lots: list[tuple[float, int]], bag_kg: float | None
) -> None:
    told = {} if bag_kg is None else {"bag_kg": bag_kg}
    # Weighed today, and so much is there: else what is bought and never given has no day.
    counted = made("feed_counted", ON, feed="pellets", kg=sum(kg for kg, _ in lots))
    bags = [bought(kg, ago) for kg, ago in lots]
    entries = [NOWHERE, hens(birds), pellets(**told), *bags, counted]
    [one] = ahead(entries, weeks=3, draws=20).feeds
    assert sum(bag.kg for bag in one.bags) == pytest.approx(one.kg)
    for before, after in pairwise(one.bags):
        assert (before.runs_out <= after.runs_out).all()
        assert before.bought_on is not None
        assert after.bought_on is not None
        assert before.bought_on <= after.bought_on
    for bag in one.bags:
        assert bag.left_kg is not None
        assert ((bag.left_kg >= -1e-9) & (bag.left_kg <= bag.kg + 1e-9)).all()

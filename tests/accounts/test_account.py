"""The account of a flock: shares add up to the whole, and figures are those worked out by hand."""

from datetime import date, timedelta
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.flock.journals import DAYS, FIRST, journals
from tests.makers import made

from quailwright.accounts.account import Account, account
from quailwright.exchange.costs_told import break_even_words, per_dozen_of
from quailwright.flock.fold import fold
from quailwright.husbandry import facts
from quailwright.journal.entries import Entry

LAST = date(2027, 5, 30)
MONDAY = date(2027, 5, 3)


def accounted(
    entries: list[Entry], first: date = MONDAY, last: date = LAST, **more: Any
) -> Account:
    return account(fold(entries, last), first, last, **more)


def hens(hens: int = 40, cocks: int = 8, **more: Any) -> Entry:
    fields = {"group": "hens", "place": "pen", "hatched_on": "2026-10-01", **more}
    return made("group", fields.pop("at", "2027-05-03"), hens=hens, cocks=cocks, **fields)


def sized() -> list[Entry]:
    """40 hens and 8 cocks that use 26 g and a tenth more each, at 72 % lay, for four weeks."""
    entries = [
        made("feed", MONDAY, feed="pellets", stage="layer"),
        made("feed_bought", MONDAY, feed="pellets", kg=25, cost=24.00),
        made("feed_bought", MONDAY + timedelta(days=14), feed="pellets", kg=25, cost=24.00),
        hens(),
    ]
    for n in range(28):
        on = MONDAY + timedelta(days=n)
        entries.append(made("feed_given", on, feed="pellets", kg=48 * 26 * 1.1 / 1000))
        # 144 eggs in five days: 28.8 a day of 40 hens, 72 %.
        eggs = 28 if n % 5 == 4 else 29
        entries.append(made("eggs_collected", on, group="hens", eggs=eggs))
    return entries


def test_the_sizing_case_from_a_journal() -> None:
    """9.61 kg and 9.23 a week; a dozen at 72 % lay 0.55; cocks 1.54 a week if they eat as hens."""
    found = accounted(sized())
    assert found.days == 28
    assert found.feed_kg / 4 == pytest.approx(9.61, abs=0.005)
    assert found.cost / 4 == pytest.approx(9.23, abs=0.005)
    assert found.per_dozen.value == pytest.approx(found.cost / found.eggs * 12)
    assert found.per_dozen.value == pytest.approx(0.55, abs=0.005)
    assert found.cocks.per_week_if_as_hens == pytest.approx(1.54, abs=0.005)
    # By what they eat: New South Wales DPI, Raising Japanese quail (Primefact 602), 15 g a cock,
    # from memory; Maiduguri 2022, 23.24 g a hen.
    assert found.cocks.per_week == pytest.approx(9.2252 * 8 * 15 / (8 * 15 + 40 * 23.24), abs=0.001)
    assert found.said == [
        "No minutes are noted, so what an hour earns is not known. Note them with a tick: "
        "quailwright log care task=feed_water minutes=10",
        "What the birds of hens cost is not told: they cost nothing here. If they were paid for, "
        "correct their group entry with cost=...",
    ]


def test_depreciation_is_straight_line_to_nothing() -> None:
    """Cost over life, as much each day: any accounting text; common practice, no source."""
    cage = made("money", "2027-01-01", amount=-365.25, category="cage", lasts_years=2)
    entries = [hens(), cage]
    april = accounted(entries, date(2027, 4, 1), date(2027, 4, 30))
    assert april.costs == {"equipment": pytest.approx(30 * 0.5)}
    whole = account(fold(entries, date(2030, 1, 1)), date(2026, 1, 1), date(2030, 1, 1))
    assert whole.costs["equipment"] == pytest.approx(365.25)
    worn = [month.costs.get("equipment", 0.0) for month in whole.months]
    assert worn[12] == pytest.approx(31 * 0.5)
    assert worn[-1] == 0.0
    # It was paid at once all the same.
    assert whole.months[12].cash == -365.25


def test_feed_costs_when_it_is_eaten_not_when_it_is_paid() -> None:
    entries = [
        made("feed_bought", "2027-04-30", feed="pellets", kg=20, cost=10),
        made("feed_bought", "2027-05-10", feed="pellets", kg=20, cost=20),
        made("feed_given", "2027-05-11", feed="pellets", kg=30),
        hens(),
    ]
    found = accounted(entries)
    # Oldest first: 20 kg at 0.50 and 10 kg at 1.00.
    assert found.costs == {"feed": pytest.approx(20.0)}
    left = found.feed_in_store["pellets"]
    assert left.kg == pytest.approx(10.0)
    assert left.value == pytest.approx(10.0)


def test_a_bag_that_is_only_bought_lasts_until_the_next() -> None:
    bag = [
        made("feed_bought", date(2027, 5, day), feed="pellets", kg=14, cost=14)
        for day in (3, 10, 17)
    ]
    found = accounted([hens(), *bag], last=date(2027, 5, 20))
    # Two bags in two weeks, and of the third as much a day.
    assert found.feed_kg == pytest.approx(14 + 14 + 4 * 2.0)
    assert not any("only reckoned" in said for said in found.said)


def test_of_a_single_bag_the_use_is_reckoned_from_what_birds_eat_and_it_says_so() -> None:
    bag = made("feed_bought", "2027-05-03", feed="pellets", kg=100, cost=100)
    found = accounted([hens(), bag])
    eaten = 28 * (40 * 23.24 + 8 * 15) / 1000 / 0.9
    assert found.feed_kg == pytest.approx(eaten, rel=1e-6)
    assert any("How much of pellets is used is only reckoned" in said for said in found.said)


def test_what_a_count_finds_missing_was_used() -> None:
    entries = [
        made("feed_bought", "2027-05-03", feed="pellets", kg=50, cost=50),
        made("feed_given", "2027-05-05", feed="pellets", kg=10),
        made("feed_counted", "2027-05-20", feed="pellets", kg=25),
        hens(),
    ]
    found = accounted(entries)
    assert found.costs["feed"] == pytest.approx(25.0)
    assert found.feed_in_store["pellets"].kg == pytest.approx(25.0)


@pytest.mark.parametrize("told", ["feed_counted", "feed_given"])
def test_bags_bought_after_the_last_count_go_on_costing(told: str) -> None:
    """Invented: 10 kg a month, 12 hens; one count or one giving in the second month, then none."""
    bags = [
        made("feed_bought", date(2027, month, 1), feed="mash", kg=10, cost=10)
        for month in range(1, 8)
    ]
    kept = hens(12, 0, hatched_on="2026-10-01", at="2027-01-01")
    found = accounted(
        [kept, *bags, made(told, "2027-02-02", feed="mash", kg=9)],
        date(2027, 1, 1), date(2027, 6, 30),
    )  # fmt: skip
    for month in found.months[2:5]:
        assert month.feed_kg == pytest.approx(10.0, abs=1.0)
        assert month.costs["feed"] == pytest.approx(month.feed_kg)
    assert found.feed_in_store["mash"].kg == pytest.approx(60 - found.feed_kg)


def test_bags_stocked_up_lie_in_the_store() -> None:
    """12 hens use 0.31 kg a day: 25 kg are not gone in three days."""
    bags = [made("feed_bought", date(2027, 1, day), feed="mash", kg=25, cost=25) for day in (1, 4)]
    kept = hens(12, 0, hatched_on="2026-10-01", at="2027-01-01")
    found = accounted([kept, *bags], date(2027, 1, 1), date(2027, 1, 31))
    assert found.feed_kg == pytest.approx(31 * 12 * 0.02324 / 0.9, rel=1e-6)
    assert found.feed_in_store["mash"].kg == pytest.approx(50 - found.feed_kg)


def test_what_a_count_finds_beyond_all_that_was_bought_is_there_to_be_used() -> None:
    """Bought 10, given 2, counted 33: none was used, and 23 came that nobody bought."""
    entries = [
        hens(),
        made("feed_bought", "2027-05-03", feed="mash", kg=10, cost=10),
        made("feed_given", "2027-05-04", feed="mash", kg=2),
        made("feed_counted", "2027-05-05", feed="mash", kg=33),
        made("feed_given", "2027-05-20", feed="mash", kg=20),
    ]
    found = accounted(entries)
    assert found.feed_in_store["mash"].kg == pytest.approx(13.0)
    assert found.costs["feed"] == pytest.approx(10.0)
    assert sum(one.unpriced_kg for one in found.used) == pytest.approx(10.0)
    assert sum(one.unbought_kg for one in found.used) == 0


def test_feed_without_a_price_costs_nothing_and_it_says_which_entry_would_tell() -> None:
    entries = [made("feed_given", "2027-05-05", feed="pellets", kg=10), hens()]
    found = accounted(entries)
    assert found.costs == {}
    assert any(
        "10.0 kg of pellets have no price" in said and 'feed="pellets" price_per_kg=...' in said
        for said in found.said
    )
    told = accounted([*entries, made("feed", "2027-05-01", feed="pellets", price_per_kg=1.5)])
    assert told.costs == {"feed": pytest.approx(15.0)}


def test_no_feed_on_the_record_is_said() -> None:
    assert any("No feed is on the record" in said for said in accounted([hens()]).said)


def test_hatching_eggs_and_hatches_without_a_cost_are_said() -> None:
    free = made("eggs_received", "2027-05-10", source="creek", eggs=12)
    assert any(
        "the eggs that came from creek on 2027-05-10 cost is not told" in said
        for said in accounted([hens(), free]).said
    )


def test_a_stage_of_feed_is_borne_by_birds_of_that_age() -> None:
    entries = [
        made("feed", MONDAY, feed="crumb", stage="starter"),
        made("feed_bought", MONDAY, feed="crumb", kg=5, cost=10),
        made("feed_given", MONDAY + timedelta(days=2), feed="crumb", kg=5),
        hens(10, 2),
        made("group", MONDAY, group="chicks", place="box", chicks=20, hatched_on="2027-05-01"),
    ]
    found = accounted(entries, last=MONDAY + timedelta(days=6))
    assert found.by_bearer["raising"] == {"feed": pytest.approx(10.0)}


def test_cocks_that_live_apart_are_for_the_table() -> None:
    entries = [
        hens(10, 0),
        made("group", MONDAY, group="apart", place="cage", cocks=10, hatched_on="2027-03-01"),
        made("money", MONDAY, amount=-20, category="bedding"),
        made("birds_processed", MONDAY + timedelta(days=27), group="apart", cocks=5),
    ]
    found = accounted(entries)
    assert found.by_bearer["cocks"] == {}
    # 10 birds each for 27 days; from the day on which five were taken, five.
    days = (10 * 28, 10 * 27 + 5)
    assert found.by_bearer["table"]["bedding"] == pytest.approx(20 * days[1] / sum(days))
    assert found.dressed == 5


def raised() -> list[Entry]:
    """A hatch of 30 bought eggs: 20 chicks, of which 4 die, 2 go young, 8 hens and 6 cocks grow."""
    return [
        made("eggs_received", "2027-01-10", source="creek", eggs=32, broken=2, cost=15),
        made("eggs_set", "2027-01-12", hatch="jan", eggs=30, place="box", source="creek"),
        made("chicks_hatched", "2027-01-29", hatch="jan", chicks=20),
        made("group", "2027-01-29", group="jan", place="brooder", hatch="jan"),
        made("hatch_closed", "2027-01-31", hatch="jan"),
        made("birds_died", "2027-02-02", group="jan", chicks=4),
        made("birds_sexed", "2027-02-25", group="jan", hens=8, cocks=8),
        made("birds_processed", "2027-03-05", group="jan", cocks=2),
        made("feed_bought", "2027-01-29", feed="crumb", kg=8, cost=12),
        *(
            made("feed_given", date(2027, 1, 29) + timedelta(days=n), feed="crumb", kg=0.2)
            for n in range(40)
        ),
    ]


def test_a_hen_at_lay_by_hand() -> None:
    """15 of eggs and 12 of feed, borne alike by 16 birds that were raised."""
    found = accounted(raised(), date(2027, 1, 1), date(2027, 3, 31))
    assert found.raised == 16
    each = found.per_hen_at_lay
    assert each.parts == {
        "hatching_eggs": pytest.approx(15 / 16), "feed": pytest.approx(12 / 16)
    }  # fmt: skip
    assert each.value == pytest.approx(27 / 16)
    assert found.per_hen_if_cocks_bear_none == pytest.approx(27 / 8)
    [batch] = found.batches
    assert (batch.hatch, batch.chicks, batch.hens, batch.cocks, batch.left_young) == (
        "jan", 20, 8, 6, 2,
    )  # fmt: skip
    assert batch.grown_on == date(2027, 1, 29) + timedelta(
        days=facts.value("feeding.grower_until_d")
    )
    # Two were dressed young: each cost what a raised bird costs.
    assert found.dressed == 2
    assert found.per_dressed_bird.value == pytest.approx(27 / 16)


def test_while_they_grow_a_hatch_has_a_cost_and_no_hen_has() -> None:
    found = accounted(raised(), date(2027, 1, 1), date(2027, 2, 28))
    assert found.per_hen_at_lay.value is None
    [batch] = found.batches
    assert batch.grown_on is None
    assert batch.each is None
    assert batch.cost > 15


def test_bought_hens_cost_what_was_paid() -> None:
    found = accounted([hens(10, 2, cost=90)])
    assert found.per_hen_at_lay.value == pytest.approx(90 / 12)
    assert found.per_hen_if_cocks_bear_none == pytest.approx(9.0)
    assert found.by_bearer["raising"] == {"birds": pytest.approx(90.0)}
    assert found.per_egg.value is None


def given_away() -> list[Entry]:
    """Feed that cost nothing, and is known to."""
    return [
        made("feed_bought", "2027-05-03", feed="gift", kg=20, cost=0),
        made("feed_given", "2027-05-04", feed="gift", kg=10),
    ]


def test_without_any_feed_told_what_an_egg_costs_is_not_known() -> None:
    eggs = made("eggs_collected", "2027-05-05", group="hens", eggs=24)
    unpriced = made("feed_given", "2027-05-05", feed="pellets", kg=10)
    for entries in ([hens(), eggs], [hens(), eggs, unpriced]):
        found = accounted(entries)
        assert found.per_egg.value is None
        assert found.per_dozen.value is None
        assert found.cocks.per_egg is None
        assert found.break_even_dozen is None
        assert break_even_words(found) == ""
    assert accounted([hens(), eggs, *given_away()]).per_egg.value == 0


def test_months_in_which_no_feed_is_told_are_named() -> None:
    entries = [
        hens(at="2027-01-01"),
        made("feed_bought", "2027-01-01", feed="mash", kg=200, cost=200),
        *(made("feed_given", date(2027, 1, day), feed="mash", kg=1.2) for day in range(1, 32)),
        *(made("eggs_collected", date(2027, m, 9), group="hens", eggs=20) for m in (1, 2)),
    ]
    found = accounted(entries, date(2027, 1, 1), date(2027, 3, 31))
    assert any("In 2027-02, 2027-03 no feed is on the record" in said for said in found.said)
    assert per_dozen_of(found.months[0]) is not None
    assert per_dozen_of(found.months[1]) is None


def test_two_purchases_of_a_day_are_counted_once() -> None:
    both = [hens(5, 0, cost=50), hens(5, 0, cost=30)]
    found = accounted(both)
    assert found.raised == 10
    assert found.per_hen_at_lay.value == pytest.approx(8.0)


def test_cocks_alone_make_no_hen_at_lay() -> None:
    found = accounted([hens(0, 5, cost=20)])
    assert found.per_hen_at_lay.value is None
    assert found.by_bearer["raising"] == {"birds": pytest.approx(20.0)}


def test_where_other_income_pays_for_all_no_price_of_a_dozen_is_told() -> None:
    entries = [
        hens(10, 0),
        *given_away(),
        made("money", "2027-05-04", amount=50, category="manure"),
        made("eggs_collected", "2027-05-05", group="hens", eggs=24),
    ]
    found = accounted(entries)
    assert break_even_words(found) == "What came in beside eggs pays for everything."


def test_eggs_sold_without_income_told_are_no_free_eggs() -> None:
    entries = [
        hens(10, 0),
        *given_away(),
        made("eggs_collected", "2027-05-05", group="hens", eggs=36),
        made("eggs_out", "2027-05-06", use="sold", eggs=12, income=3),
        made("eggs_out", "2027-05-07", use="sold", eggs=24),
    ]
    found = accounted(entries)
    assert found.paid_per_dozen == pytest.approx(3.0)
    assert any("What 24 eggs sold brought is not told" in said for said in found.said)


def test_own_words_are_kept_apart_from_ours() -> None:
    own = [
        made("money", "2027-05-04", amount=-5, category=word)
        for word in ("time", "equipment", "feed")
    ]
    found = accounted([hens(10, 0), *given_away(), *own])
    assert {kind for kind, amount in found.costs.items() if amount} == {
        "money: time", "money: equipment", "money: feed",
    }  # fmt: skip
    assert found.earned == pytest.approx(-15)


def test_eaten_eggs_are_no_income_and_the_sold_ones_must_pay_for_them() -> None:
    entries = [
        hens(10, 0),
        *given_away(),
        made("money", "2027-05-04", amount=-12, category="bedding"),
        made("eggs_collected", "2027-05-05", group="hens", eggs=24),
        made("eggs_out", "2027-05-06", use="eaten", eggs=12),
        made("eggs_out", "2027-05-06", use="sold", eggs=12, income=3),
    ]
    found = accounted(entries)
    assert found.income == {"eggs sold": 3.0}
    assert found.gone == {"eaten": 12, "sold": 12}
    assert found.break_even_dozen == pytest.approx(6.0)
    assert found.break_even_dozen_sold == pytest.approx(12.0)
    assert found.paid_per_dozen == pytest.approx(3.0)
    assert found.earned == pytest.approx(-9.0)


def test_an_hour_earns_what_is_left_and_time_is_a_cost_only_when_it_has_a_price() -> None:
    entries = [
        hens(10, 0),
        made("eggs_collected", "2027-05-05", group="hens", eggs=60),
        made("eggs_out", "2027-05-06", use="sold", eggs=60, income=20),
        made("money", "2027-05-04", amount=-5, category="bedding"),
        *(made("care", date(2027, 5, day), task="feed_water", place="pen", minutes=15)
          for day in range(4, 10)),
        made("care", "2027-05-20", task="feed_water", place="pen"),
        made("care", "2027-05-21", task="polishing"),
    ]  # fmt: skip
    found = accounted(entries)
    assert found.minutes.noted == 90
    assert found.minutes.reckoned == pytest.approx(15)  # as the six before
    assert found.minutes.unknown_ticks == 1
    assert found.per_hour.value == pytest.approx(15 / 1.75)
    assert "time" not in found.costs
    priced = accounted(entries, minute_price=0.1)
    assert priced.costs["time"] == pytest.approx(10.5)
    assert priced.per_hour.value == pytest.approx(15 / 1.75)


def adds_up(found: Account) -> None:
    whole = sum(found.costs.values())
    shares = sum(sum(parts.values()) for parts in found.by_bearer.values())
    assert shares == pytest.approx(whole, abs=1e-6)
    for kind, amount in found.costs.items():
        own = sum(parts.get(kind, 0.0) for parts in found.by_bearer.values())
        assert own == pytest.approx(amount, abs=1e-6)
    months = sum(sum(month.costs.values()) for month in found.months)
    assert months == pytest.approx(whole, abs=1e-6)
    assert sum(month.result for month in found.months) == pytest.approx(found.earned, abs=1e-6)
    for each in (
        found.per_egg, found.per_dozen, found.per_hen_at_lay, found.per_dressed_bird,
        found.per_hour, found.cocks.cost,
    ):  # fmt: skip
        if each.value is not None:
            assert sum(each.parts.values()) == pytest.approx(each.value, abs=1e-6)


def no_cent_is_lost(entries: list[Entry], last: date) -> None:
    """Of feed that has a price, what was paid is what was used and what lies in the store."""
    flock = fold(entries, last)
    found = account(flock, date(1990, 1, 1), last)
    unbought = {one.feed for one in found.used if one.unbought_kg > 0}
    for name, stock in flock.feeds.items():
        bags = [bag for bag in stock.bought if bag.cost is not None]
        if name in unbought or len(bags) < len(stock.bought):
            continue
        paid = sum(bag.cost or 0.0 for bag in bags)
        used = sum(one.cost for one in found.used if one.feed == name)
        assert used + found.feed_in_store[name].value == pytest.approx(paid, abs=1e-6)


@given(journals(), st.integers(0, 7), st.integers(0, 7), st.sampled_from([0.0, 0.2]))
@settings(max_examples=80, deadline=None)
def test_shares_of_any_journal_add_up_to_the_whole(
    entries: list[Entry], begin: int, days: int, minute: float
) -> None:
    first = FIRST + timedelta(days=begin - 2)
    last = first + timedelta(days=days)
    adds_up(account(fold(entries, DAYS[-1]), first, last, minute))
    no_cent_is_lost(entries, DAYS[-1])


amounts = st.floats(0.01, 500.0).map(lambda value: round(value, 2))
days = st.integers(0, 119).map(lambda n: date(2027, 2, 1) + timedelta(days=n))
paid = st.one_of(
    st.builds(lambda d, a: made("money", d, amount=-a, category="bedding"), days, amounts),
    st.builds(
        lambda d, a, y: made("money", d, amount=-a, category="cage", lasts_years=y),
        days, amounts, st.floats(0.05, 10.0),
    ),
    st.builds(lambda d, k, a: made("feed_bought", d, feed="mash", kg=k, cost=a), days, amounts,
              amounts),
    st.builds(lambda d, k: made("feed_given", d, feed="mash", kg=k / 50), days, amounts),
    st.builds(lambda d, k: made("feed_counted", d, feed="mash", kg=k / 20), days, amounts),
    st.builds(lambda d, a: made("eggs_received", d, source="creek", eggs=10, cost=a), days,
              amounts),
    st.builds(lambda d, a: made("group", d, group="more", place="pen", hens=3, cost=a), days,
              amounts),
    st.builds(lambda d, m: made("care", d, task="wash", minutes=m), days, st.floats(0, 90)),
)  # fmt: skip


@given(st.lists(paid, max_size=14), st.lists(days, min_size=2, max_size=2, unique=True))
@settings(max_examples=80, deadline=None)
def test_money_of_every_kind_is_shared_out_whole(more: list[Entry], span: list[date]) -> None:
    entries = [*raised(), *more]
    last = date(2027, 5, 31)
    flock = fold(entries, last)
    first, until = min(span), max(span)
    adds_up(account(flock, first, until, 0.1))
    no_cent_is_lost(entries, last)
    # Spans that follow each other add up too.
    cut = first + (until - first) / 2
    parts = [account(flock, a, b) for a, b in ((first, cut), (cut + timedelta(days=1), until))
             if a <= b]  # fmt: skip
    together = account(flock, first, until)
    bought = sum(p.costs.get("equipment", 0.0) for p in parts)
    assert bought == pytest.approx(together.costs.get("equipment", 0.0), abs=1e-6)


def test_days_that_cannot_be_are_refused() -> None:
    with pytest.raises(ValueError, match="before the first"):
        accounted([hens()], LAST, MONDAY)


def test_months_follow_one_another() -> None:
    found = accounted([hens()], date(2026, 11, 15), date(2027, 2, 3))
    months = [month.month for month in found.months]
    assert months == [(2026, 11), (2026, 12), (2027, 1), (2027, 2)]
    assert all(a < b for a, b in pairwise(months))

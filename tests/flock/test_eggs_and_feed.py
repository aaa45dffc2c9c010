"""Eggs for the kitchen and the feed store, as small journals."""

from datetime import date

import pytest
from tests.makers import made

from quailwright.flock.fold import fold
from quailwright.flock.state import Flock
from quailwright.journal.entries import Entry

LAYERS = made("group", "2027-05-01", group="layers", place="shed", hens=20, cocks=4)
OTHERS = made("group", "2027-05-01", group="others", place="barn", hens=10)


def collected(day: int, eggs: int, group: str = "layers", cracked: int = 0) -> Entry:
    return made("eggs_collected", f"2027-05-{day:02d}", group=group, eggs=eggs, cracked=cracked)


def on_hand(flock: Flock) -> dict[tuple[int, str], int]:
    """Eggs in the store by day of May and group."""
    return {(lot.laid.day, lot.group): lot.on_hand for lot in flock.stocked.values()}


def only_finding(flock: Flock) -> str:
    """The one finding of the flock, as the keeper reads it."""
    (finding,) = flock.findings
    return finding.sentence


def test_eggs_are_kept_by_lay_date_and_group() -> None:
    flock = fold([LAYERS, OTHERS, collected(1, 15), collected(2, 14), collected(2, 8, "others")])
    assert on_hand(flock) == {(1, "layers"): 15, (2, "layers"): 14, (2, "others"): 8}


def test_two_gatherings_of_a_day_are_one_lot() -> None:
    flock = fold([LAYERS, collected(1, 9), collected(1, 6, cracked=2)])
    lot = flock.lots[date(2027, 5, 1), "layers"]
    assert (lot.collected, lot.cracked, lot.on_hand) == (15, 2, 15)


def test_the_oldest_eggs_leave_first() -> None:
    flock = fold(
        [LAYERS, collected(1, 15), collected(2, 14), made("eggs_out", "2027-05-03", use="eaten",
                                                          eggs=18)]
    )  # fmt: skip
    assert on_hand(flock) == {(2, "layers"): 11}


def test_eggs_out_of_a_group_and_of_lay_dates_take_only_those() -> None:
    stock = [LAYERS, OTHERS, collected(1, 15), collected(2, 14), collected(1, 5, "others")]
    sold = made("eggs_out", "2027-05-03", use="sold", eggs=4, group="others", income=2, to="Ann")
    picked = made("eggs_out", "2027-05-03", use="given", eggs=10, laid_from="2027-05-02")
    early = made("eggs_out", "2027-05-03", use="given", eggs=10, laid_to="2027-05-01")
    assert on_hand(fold([*stock, sold]))[1, "others"] == 1
    assert fold([*stock, sold]).payments[0].amount == 2
    assert on_hand(fold([*stock, picked]))[2, "layers"] == 4
    assert on_hand(fold([*stock, early]))[1, "layers"] == 5


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"eggs": 30}, "eggs: 30 eggs sold, but 29 fitting eggs are on hand."),
        ({"eggs": 15, "laid_from": "2027-05-02"}, "eggs: 15 eggs sold, but 14 fitting eggs are on"),
        ({"eggs": 9, "group": "others"}, "eggs: 9 eggs sold, but 0 fitting eggs of others are on"),
        ({"eggs": 9, "group": "othres"}, "group: there is no group 'othres' at that time. Did you"),
    ],
)
def test_eggs_beyond_the_stock_are_refused(fields: dict[str, object], sentence: str) -> None:
    out = made("eggs_out", "2027-05-03", use="sold", **fields)
    flock = fold([LAYERS, OTHERS, collected(1, 15), collected(2, 14), out])
    assert only_finding(flock).startswith(sentence)


def test_eggs_beyond_the_stock_by_force_are_booked_as_found() -> None:
    out = made("eggs_out", "2027-05-03", use="sold", eggs=20, force=True)
    flock = fold([LAYERS, collected(1, 15), out])
    assert on_hand(flock) == {}
    assert sum(lot.out for lot in flock.lots.values()) == 20
    assert sum(lot.found for lot in flock.lots.values()) == 5
    assert flock.findings[0].forced


TREATED = made(
    "treated", "2027-05-03", group="layers", product="powder", eggs_withheld_until="2027-05-05"
)


def test_withheld_eggs_are_refused_for_the_table_and_may_be_discarded() -> None:
    stock = [LAYERS, TREATED, collected(2, 5), *(collected(day, 10) for day in (3, 5, 6))]
    free = made("eggs_out", "2027-05-07", use="eaten", eggs=15)
    assert on_hand(fold([*stock, free])) == {(3, "layers"): 10, (5, "layers"): 10}

    too_many = made("eggs_out", "2027-05-07", use="sold", eggs=16)
    flock = fold([*stock, too_many])
    assert only_finding(flock) == (
        "eggs: 16 eggs sold, but of 35 on hand 20 are withheld: 10 of layers laid 2027-05-03, 10 "
        "of layers laid 2027-05-05. layers was treated with powder, eggs withheld until "
        "2027-05-05. Eggs of layers laid from 2027-05-06 on may be sold again. Discard them; ask "
        "the vet who directed it when in doubt."
    )
    assert flock.findings[0].kind == "withheld"

    discarded = made("eggs_out", "2027-05-07", use="discarded", eggs=20, laid_from="2027-05-03")
    assert fold([*stock, discarded]).findings == []


def test_eggs_of_another_group_are_not_withheld() -> None:
    stock = [LAYERS, OTHERS, TREATED, collected(4, 5), collected(4, 6, "others")]
    assert fold([*stock, made("eggs_out", "2027-05-05", use="eaten", eggs=6)]).findings == []


def test_the_longest_of_two_withholdings_counts() -> None:
    again = made(
        "treated", "2027-05-04", group="layers", product="drops", eggs_withheld_until="2027-05-20"
    )
    flock = fold([LAYERS, TREATED, again])
    held = flock.withheld_on("layers", date(2027, 5, 6))
    assert held is not None
    assert held.product == "drops"


# Feed.


def test_feed_in_the_store_and_its_cost() -> None:
    flock = fold(
        [
            made("feed", feed="layer", protein_pct=20, bag_kg=20),
            made("feed", "2027-05-03", feed="layer", price_per_kg=0.9),
            made("feed_bought", feed="layer", kg=20, cost=18),
            made("feed_given", "2027-05-04", feed="layer", kg=0.6, place="shed"),
        ]
    )
    stock = flock.feeds["layer"]
    assert stock.kg == pytest.approx(19.4)
    assert stock.last_given == date(2027, 5, 4)
    assert stock.label is not None
    assert (stock.label.protein_pct, stock.label.price_per_kg) == (20, 0.9)
    assert flock.payments[0].amount == -18
    assert flock.care["feed_given", "shed"] == [date(2027, 5, 4)]


@pytest.mark.parametrize(("counted", "difference"), [(12.5, 2.5), (7, -3), (10, None)])
def test_feed_counted_gives_a_signed_difference(counted: float, difference: float | None) -> None:
    flock = fold(
        [
            made("feed_bought", "2027-05-01", feed="layer", kg=10),
            made("feed_counted", feed="layer", kg=counted),
        ]
    )
    assert [d.amount for d in flock.differences] == ([] if difference is None else [difference])
    assert flock.feeds["layer"].kg == counted
    assert flock.feeds["layer"].counted_on == date(2027, 5, 2)


def test_the_arithmetic_of_floats_is_no_difference() -> None:
    flock = fold(
        [
            made("feed_bought", "2027-05-01", feed="layer", kg=0.1),
            made("feed_bought", "2027-05-01", feed="layer", kg=0.2),
            made("feed_counted", feed="layer", kg=0.3),
        ]
    )
    assert flock.differences == []


def test_feed_given_that_nobody_bought_is_shown_below_nothing() -> None:
    assert fold([made("feed_given", feed="layer", kg=1)]).feeds["layer"].kg == -1

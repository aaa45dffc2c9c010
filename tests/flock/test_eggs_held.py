"""The firm no: eggs held by a medicine, a quarantine or their age, loose and in shared boxes.

The scenarios are invented. That a box of mixed eggs is held whole, that no withholding is made
shorter by another, and that no date is no permission: common practice, no source.
"""

from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.flock.journals import BEGINNING, EGGS_KEPT, Draft, facts, numbered
from tests.makers import made

from quailwright.flock.fold import Record, fold, refusals
from quailwright.flock.held import free_from, hold_of, sell_by
from quailwright.flock.state import Flock
from quailwright.journal.entries import Entry

NORTH = made("group", "2027-05-01", group="north", place="shed", hens=15)
SOUTH = made("group", "2027-05-01", group="south", place="barn", hens=15)
BOTH = [NORTH, SOUTH]


def laid(day: int, eggs: int, group: str = "north") -> Entry:
    return made("eggs_collected", f"2027-05-{day:02d}", group=group, eggs=eggs)


def treated(day: int = 3, group: str = "north", product: str = "powder", **until: Any) -> Entry:
    return made("treated", f"2027-05-{day:02d}T07:00Z", group=group, product=product, **until)


def out(day: int, eggs: int, use: str = "sold", **fields: object) -> Entry:
    return made("eggs_out", f"2027-05-{day:02d}T18:00Z", use=use, eggs=eggs, **fields)


def boxed(day: int, eggs: int, box: str = "carton", **fields: object) -> Entry:
    return made("eggs_boxed", f"2027-05-{day:02d}T12:00Z", box=box, eggs=eggs, **fields)


def sentences(flock: Flock) -> list[str]:
    return [finding.sentence for finding in flock.findings]


EGGS_UNTIL_9: dict[str, Any] = {
    "eggs_withheld_until": "2027-05-09",
    "meat_withheld_until": "2027-05-12",
}
MIXED = [*BOTH, laid(2, 6), laid(4, 4), laid(4, 8, "south"), laid(5, 3), boxed(5, 21)]


def test_a_withheld_pen_mixed_into_a_box_holds_the_box_and_names_every_lot() -> None:
    """The treatment of the 3rd is logged after the box was packed on the 5th."""
    flock = fold([*MIXED, treated(**EGGS_UNTIL_9), out(6, 6, box="carton", to="Ann")])
    packed, sale = sentences(flock)
    lots = "4 of north laid 2027-05-04{box}, 3 of north laid 2027-05-05{box}."
    because = (
        "north was treated with powder, eggs withheld until 2027-05-09. Eggs of north laid from "
        "2027-05-10 on may be sold again."
    )
    assert sale.startswith(
        "box: 6 eggs sold from box carton, but the whole box is withheld: "
        + lots.format(box=" in box carton") + " " + because
    )  # fmt: skip
    assert packed.startswith(
        "eggs: 21 eggs into box carton, but of the oldest that fit these are withheld: "
        + lots.format(box="") + " " + because
    )  # fmt: skip
    assert {finding.kind for finding in flock.findings} == {"withheld"}


def test_a_box_that_is_held_may_be_discarded_and_no_egg_of_it_is_free() -> None:
    held = [*MIXED, treated(**EGGS_UNTIL_9)]
    assert len(fold([*held, out(6, 21, "discarded", box="carton")]).findings) == 1
    flock = fold([*held, laid(6, 5, "south"), out(6, 6, "given")])
    assert sentences(flock)[-1].startswith(
        "eggs: 6 eggs given, but of 26 on hand 21 are withheld: 4 of north laid 2027-05-04 in box "
    )
    assert len(fold([*held, laid(6, 5, "south"), out(6, 5, "given")]).findings) == 1


@pytest.mark.parametrize(("day", "free"), [(2, True), (3, False), (9, False), (10, True)])
def test_eggs_are_free_again_from_the_day_after_the_last_withheld_one(day: int, free: bool) -> None:
    stock = [NORTH, treated(**EGGS_UNTIL_9), laid(day, 5)]
    sold = fold([*stock, out(day, 5)])
    assert (sold.findings == []) is free
    assert (fold([*stock, boxed(day, 5)]).findings == []) is free
    held = sold.withheld_on("north", date(2027, 5, 5))
    assert held is not None
    assert free_from(sold, "north", held) == date(2027, 5, 10)


@pytest.mark.parametrize(
    ("zone", "at", "day"),
    [
        ("Europe/Lisbon", "2027-05-09T23:30+01:00", 9),  # 22:30 UTC
        ("Pacific/Auckland", "2027-05-09T23:30+12:00", 9),  # 11:30 UTC
        ("America/Los_Angeles", "2027-05-09T23:30-07:00", 9),  # 06:30 UTC of the 10th
        ("America/Los_Angeles", "2027-05-10T06:30Z", 9),  # the same instant, told in UTC
        ("Pacific/Auckland", "2027-05-09T13:00Z", 10),  # 01:00 of the 10th there
    ],
)
def test_the_day_of_lay_is_the_local_one_at_half_past_eleven(zone: str, at: str, day: int) -> None:
    flock = fold(
        [
            made("holding", "2027-05-01", timezone=zone), NORTH, treated(**EGGS_UNTIL_9),
            made("eggs_collected", at, group="north", eggs=5), out(11, 5),
        ]
    )  # fmt: skip
    assert [lot.laid for lot in flock.lots.values()] == [date(2027, 5, day)]
    assert bool(flock.findings) is (day == 9)


def test_a_date_on_the_day_of_treatment_withholds_that_day_only() -> None:
    one = treated(eggs_withheld_until="2027-05-03", meat_withheld_until="2027-05-03")
    assert fold([NORTH, one, laid(3, 5), out(4, 5)]).findings
    assert not fold([NORTH, one, laid(4, 5), out(4, 5)]).findings


def test_no_date_told_is_no_permission() -> None:
    flock = fold([NORTH, treated(), laid(20, 5), out(21, 5)])
    assert sentences(flock) == [
        "eggs: 5 eggs sold, but of 5 on hand 5 are withheld: 5 of north laid 2027-05-20. north was "
        "treated with powder, and nobody has told until when eggs of north are withheld. No date "
        "told: ask the vet or read the label, then log treated again with the date. Discard them; "
        "ask the vet who directed it when in doubt."
    ]
    told = treated(22, **dict.fromkeys(EGGS_UNTIL_9, "2027-05-23"))
    assert fold([NORTH, treated(), told, laid(23, 5), out(24, 5)]).findings
    assert not fold([NORTH, treated(), told, laid(24, 5), out(24, 5)]).findings


def test_meat_without_a_date_told_is_withheld() -> None:
    eaten = made("birds_processed", "2027-06-20", group="north", hens=1)
    only_eggs = treated(eggs_withheld_until="2027-05-09")
    (sentence,) = sentences(fold([NORTH, only_eggs, eaten]))
    assert sentence.startswith(
        "group: meat of north is withheld: north was treated with powder on 2027-05-03, and nobody "
        "has told until when meat is withheld. No date is no permission:"
    )
    told = made("treated", "2027-05-03", group="north", product="powder",
                meat_withheld_until="2027-05-30")  # fmt: skip
    flock = fold([NORTH, only_eggs, told, eaten])
    assert flock.findings == []
    assert flock.withheld_on("north", date(2027, 5, 10)) is None  # both dates are told by now


def test_telling_the_date_of_another_product_frees_nothing() -> None:
    other = treated(4, product="drops", **EGGS_UNTIL_9)
    assert fold([NORTH, treated(), other, laid(20, 5), out(20, 5)]).findings


def test_a_second_treatment_never_shortens_the_first() -> None:
    first = treated(eggs_withheld_until="2027-05-20", meat_withheld_until="2027-05-30")
    second = treated(5, **EGGS_UNTIL_9)
    flock = fold([NORTH, first, second])
    for day in (5, 9, 10, 20):
        held = flock.withheld_on("north", date(2027, 5, day))
        assert held is not None
        assert held.eggs_until == date(2027, 5, 20)
    meat = flock.meat_withheld_on("north", date(2027, 5, 6))
    assert meat is not None
    assert meat.meat_until == date(2027, 5, 30)
    assert flock.withheld_on("north", date(2027, 5, 21)) is None


def test_withholdings_one_after_another_are_free_only_after_the_last() -> None:
    second = treated(9, product="drops", eggs_withheld_until="2027-05-14")
    flock = fold([NORTH, treated(**EGGS_UNTIL_9), second, laid(4, 5)])
    hold = hold_of(flock, flock.lots[date(2027, 5, 4), "north"], date(2027, 5, 6), "sold")
    assert hold is not None
    assert hold.free == date(2027, 5, 15)


def test_taking_a_treatment_back_is_the_only_way_to_shorten_it() -> None:
    wrong = treated(**EGGS_UNTIL_9)
    back = made("retract", "2027-05-06", entry=wrong.id, why="another pen")
    assert not fold([NORTH, wrong, back, laid(7, 5), out(8, 5)]).findings


def test_a_withholding_follows_birds_that_join_others() -> None:
    """Without a date, too; and the date told for those treated holds for those that they joined."""
    join = made("birds_moved", "2027-05-05", group="north", place="barn", to_group="south", hens=5)
    eggs = laid(20, 6, "south")
    cases: list[tuple[dict[str, Any], int]]
    cases = [({}, 1), ({"eggs_withheld_until": "2027-05-19"}, 0)]
    for until, findings in cases:
        flock = fold([*BOTH, treated(**until), join, eggs, out(21, 6)])
        assert len(flock.findings) == findings
    told = treated(8, eggs_withheld_until="2027-05-20")
    free = out(21, 4, laid_from="2027-05-21")
    flock = fold([*BOTH, treated(), join, told, eggs, laid(21, 4, "south"), free])
    assert flock.findings == []
    assert fold([*BOTH, treated(), join, told, eggs, out(21, 4)]).findings
    assert not fold([*BOTH, treated(), join, laid(4, 6, "south"), out(6, 6)]).findings


@pytest.mark.parametrize("use", ["sold", "given"])
def test_live_birds_take_their_withholding_along(use: str) -> None:
    leave = {"group": "north", "use": use, "hens": 2}
    dated = treated(**EGGS_UNTIL_9)
    (sentence,) = sentences(fold([NORTH, dated, made("birds_out", "2027-05-12", **leave)]))
    assert sentence.startswith(
        "group: north was treated with powder: its eggs or meat are withheld until 2027-05-12, and "
        f"it is not to be {use} before."
    )
    assert not fold([NORTH, dated, made("birds_out", "2027-05-13", **leave)]).findings
    lost = made("birds_out", "2027-05-05", group="north", use="lost", hens=2)
    assert not fold([NORTH, dated, lost]).findings
    (finding,) = fold([NORTH, treated(), made("birds_out", "2027-05-30", **leave)]).findings
    assert "nobody has told until when its eggs and meat are withheld" in finding.sentence
    forced = made("birds_out", "2027-05-12", **leave, force=True)
    assert fold([NORTH, dated, forced]).groups["north"].alive.hens == 13


APART = made("quarantine", "2027-05-03", place="shed", until="2027-05-20")


@pytest.mark.parametrize("use", ["sold", "given"])
def test_eggs_laid_in_quarantine_wait_for_its_end(use: str) -> None:
    stock = [*BOTH, APART, laid(4, 6), laid(2, 3), laid(4, 2, "south")]
    flock = fold([*stock, out(20, 6, use)])
    assert sentences(flock)[0].startswith(
        f"eggs: 6 eggs {use}, but of 11 on hand 6 are withheld: 6 of north laid 2027-05-04. shed "
        "is in quarantine until 2027-05-20: eggs laid there may be sold or given from 2027-05-21 "
        "on. Keep them back"
    )
    assert not fold([*stock, out(20, 3, use, laid_to="2027-05-02")]).findings
    assert not fold([*stock, out(20, 2, use, group="south")]).findings
    assert not fold([*stock, out(21, 11, use)]).findings
    assert not fold([*stock, out(5, 11, "eaten")]).findings
    assert fold([*stock, boxed(5, 6)]).findings
    lifted = made("quarantine", "2027-05-10", place="shed", until="2027-05-10")
    assert not fold([*stock, lifted, out(11, 11, use)]).findings


RULE = made("egg_rule", "2027-05-01", storage="cool", keeps_days=21, checked_on="2027-05-01",
            said_by="the county office")  # fmt: skip


def test_eggs_past_the_time_that_was_told_are_not_sold_and_may_be_eaten() -> None:
    stock = [NORTH, RULE, laid(2, 5)]
    assert sell_by(fold(stock), date(2027, 5, 2)) == date(2027, 5, 23)
    assert not fold([*stock, out(23, 5)]).findings
    (sentence,) = sentences(fold([*stock, out(24, 5)]))
    assert "They are past the 21 days that eggs may be kept, as the county office said" in sentence
    assert not fold([*stock, out(24, 5, "eaten")]).findings
    assert not fold([NORTH, laid(2, 5), out(24, 5)]).findings  # no rule of ours
    fresh = fold([*stock, laid(20, 4), boxed(24, 4)])
    assert fresh.boxes["carton"].lots == {(date(2027, 5, 20), "north"): 4}


def test_the_rule_is_that_of_the_storage_chosen_and_none_where_that_is_open() -> None:
    room = made("egg_rule", "2027-05-01", storage="room", keeps_days=7, checked_on="2027-05-01",
                said_by="the county office")  # fmt: skip
    assert fold([NORTH, RULE]).egg_rule == RULE
    assert fold([NORTH, RULE, room]).egg_rule is None
    chosen = made("holding", "2027-05-01", egg_storage="room")
    assert fold([chosen, NORTH, RULE, room]).egg_rule == room
    assert fold([made("holding", "2027-05-01", egg_storage="refrigerated"), RULE]).egg_rule is None


# Boxes, and who received what.


def test_a_box_takes_the_oldest_eggs_that_are_in_no_box() -> None:
    flock = fold([*BOTH, laid(1, 4), laid(2, 4), laid(2, 4, "south"), boxed(2, 5, "a"),
                  boxed(2, 2, "b", group="south")])  # fmt: skip
    first, second = date(2027, 5, 1), date(2027, 5, 2)
    assert flock.boxes["a"].lots == {(first, "north"): 4, (second, "north"): 1}
    assert flock.boxes["b"].lots == {(second, "south"): 2}
    assert sum(lot.loose for lot in flock.lots.values()) == 5


def test_loose_eggs_leave_before_those_in_boxes_and_an_empty_box_is_gone() -> None:
    stock = [*BOTH, laid(1, 4), laid(2, 4, "south"), boxed(2, 4, "a")]
    assert fold([*stock, out(3, 4)]).boxes["a"].eggs == 4
    assert fold([*stock, out(3, 5)]).boxes["a"].eggs == 3
    assert fold([*stock, out(3, 4, box="a")]).boxes == {}
    (sentence,) = sentences(fold([*stock, out(3, 5, box="a")]))
    assert sentence.startswith("eggs: 5 eggs sold, but box a has 4 fitting eggs.")
    (sentence,) = sentences(fold([*stock, out(3, 5, box="aa")]))
    assert sentence.startswith("box: there are no eggs in a box 'aa' at that time. Did you mean")
    (sentence,) = sentences(fold([*stock, boxed(3, 5, "b")]))
    assert sentence.startswith("eggs: 5 eggs into box b, but 4 fitting eggs are in no box.")


def test_every_sale_keeps_which_lots_it_took_and_for_whom() -> None:
    order = made("eggs_ordered", "2027-05-01", order="ann-1", eggs=6, on="2027-05-04", to="Ann")
    flock = fold([*BOTH, laid(1, 4), laid(2, 4, "south"), boxed(2, 5, "a"), order,
                  out(3, 5, box="a", order="ann-1"), out(3, 3, "given", to="Bo")])  # fmt: skip
    ann, bo = flock.eggs_gone
    assert [(one.laid.day, one.group, one.eggs, one.box) for one in ann.lots] == [
        (1, "north", 4, "a"), (2, "south", 1, "a"),
    ]  # fmt: skip
    assert (ann.to, ann.order, flock.orders["ann-1"].left) == ("Ann", "ann-1", 1)
    assert [(one.laid.day, one.group, one.eggs, one.box) for one in bo.lots] == [
        (2, "south", 3, "")
    ]


def test_an_order_is_replaced_and_called_off() -> None:
    order = made("eggs_ordered", "2027-05-01", order="o", eggs=6, on="2027-05-04", to="Ann",
                 price_per_egg=0.4)  # fmt: skip
    more = made("eggs_ordered", "2027-05-02", order="o", eggs=9, on="2027-05-05")
    off = made("eggs_ordered", "2027-05-03", order="o", eggs=0, on="2027-05-05")
    stock = [NORTH, laid(1, 9), order, out(1, 4, order="o")]
    told = fold([*stock, more]).orders["o"]
    assert (told.eggs, told.on.day, told.to, told.price_per_egg) == (9, 5, "Ann", 0.4)
    assert told.left == 5
    assert fold([*stock, more, off]).orders["o"].left == 0
    (sentence,) = sentences(fold([NORTH, laid(1, 9), order, out(1, 4, order="oo")]))
    assert sentence.startswith("order: there is no order 'oo' at that time. Did you mean 'o'?")


# A withholding that is logged late.


def test_a_treatment_logged_late_is_taken_and_the_sale_stands_as_a_contradiction() -> None:
    record = Record([*BOTH, laid(4, 5), laid(4, 5, "south"), out(5, 10, to="Ann")])
    assert record.flock.findings == []
    late = treated(**EGGS_UNTIL_9)
    assert refusals(record, [late]) == []
    (finding,) = record.flock.findings
    assert finding.kind == "withheld"
    (gone,) = record.flock.eggs_gone
    assert [(one.group, one.held) for one in gone.lots] == [("south", False), ("north", True)]
    assert gone.to == "Ann"


def test_an_export_with_a_treatment_logged_late_comes_in_again() -> None:
    journal = [*BOTH, laid(4, 5), out(5, 5), treated(**EGGS_UNTIL_9)]
    assert refusals(Record([]), journal) == []
    first_told = [*BOTH, laid(4, 5), treated(**EGGS_UNTIL_9), out(5, 5)]
    assert [f.kind for f in refusals(Record([]), first_told)] == ["withheld"]


def test_a_sale_logged_after_the_treatment_is_refused_whatever_day_it_names() -> None:
    record = Record([*BOTH, laid(4, 5), treated(**EGGS_UNTIL_9)])
    assert [f.kind for f in refusals(record, [out(20, 5)])] == ["withheld"]


# Whatever is logged.

kept = st.lists(st.one_of(*EGGS_KEPT, *EGGS_KEPT, facts), max_size=16)


@given(kept)
def test_eggs_are_conserved_over_lots_boxes_and_uses(drafts: list[Draft]) -> None:
    flock = fold([numbered(draft, n) for n, draft in enumerate([*BEGINNING, *drafts])])
    boxed: dict[tuple[date, str], int] = {}
    for box in flock.boxes.values():
        assert box.lots
        for key, eggs in box.lots.items():
            assert eggs > 0
            boxed[key] = boxed.get(key, 0) + eggs
    for key, lot in flock.lots.items():
        assert lot.collected + lot.found == lot.on_hand + lot.out + lot.set_to_hatch
        assert 0 <= lot.boxed <= lot.on_hand
        assert lot.boxed == boxed.get(key, 0)
        assert (key in flock.stocked) is (lot.on_hand > 0)
    gone = sum(one.eggs for one in flock.eggs_gone)
    assert gone == sum(lot.out for lot in flock.lots.values())


@given(kept)
def test_no_sequence_of_entries_sells_a_withheld_egg_without_a_word(drafts: list[Draft]) -> None:
    entries = [numbered(draft, n) for n, draft in enumerate([*BEGINNING, *drafts])]
    flock = fold(entries)
    said = {finding.entry for finding in flock.findings if finding.kind == "withheld"}
    insisted = {finding.entry for finding in flock.findings if finding.forced}
    for gone in flock.eggs_gone:
        if any(one.held for one in gone.lots):
            assert gone.entry in said | insisted
        for one in gone.lots:
            held = flock.withheld_on(one.group, one.laid)
            if gone.use != "discarded" and held is not None and held.since < gone.day:
                assert one.held or held.treated, one


@given(kept)
def test_what_is_logged_one_by_one_never_sells_a_withheld_egg(drafts: list[Draft]) -> None:
    """As the keeper logs: an entry that is refused is not in the journal."""
    accepted: list[Entry] = []
    for n, draft in enumerate([*BEGINNING, *drafts]):
        entry = numbered(draft, n)
        if not refusals(Record(accepted), [entry]):
            accepted.append(entry)
    order = {entry.id: n for n, entry in enumerate(accepted)}
    for gone in fold(accepted).eggs_gone:
        sale = order[gone.entry]
        if accepted[sale].force or not any(one.held for one in gone.lots):
            continue
        # Only what was logged after the sale can have held its eggs back.
        earlier = fold(accepted[: sale + 1]).eggs_gone
        before = next(one for one in earlier if one.entry == gone.entry)
        assert not any(one.held for one in before.lots)


@pytest.mark.parametrize("use", ["sold", "given"])
def test_mixed_eggs_of_which_some_are_withheld_do_not_leave_until_somebody_says_whose(
    use: str,
) -> None:
    """A pen that is withheld, mixed with another in one store: each lot is named, and the day."""
    stock = [*BOTH, treated(**EGGS_UNTIL_9), laid(7, 6), laid(8, 5), laid(8, 12, "south")]
    (sentence,) = sentences(fold([*stock, out(9, 6, use)]))
    assert sentence.startswith(
        f"group: 6 eggs {use} and nobody says whose, while held ones lie beside them: 6 of north "
        "laid 2027-05-07"
    )
    assert "5 of north laid 2027-05-08" in sentence
    assert "2027-05-10" in sentence  # the first day of lay from which eggs may be sold
    assert not fold([*stock, out(9, 6, use, group="south")]).findings
    assert not fold([*stock, out(9, 6, "eaten")]).findings
    thrown = out(8, 11, "discarded", group="north")
    assert not fold([*stock, thrown, out(9, 6, use)]).findings

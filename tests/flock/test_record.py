"""What is refused and what is kept, the past as it was known, corrections, and two phones."""

from datetime import UTC, date, datetime
from typing import Any

import msgspec
import pytest
from tests.makers import made, uid

from quailwright.flock.fold import Record, fold, refusals
from quailwright.journal.entries import Entry

LAYERS = made("group", "2027-05-01", group="layers", place="shed", hens=20)
SET = made("eggs_set", "2027-05-01", hatch="may", eggs=24, place="box", source="creek")


def refused(journal: list[Entry], *new: Entry) -> list[str]:
    """What a keeper reads when the new entries are refused; nothing when they are taken."""
    return [finding.sentence for finding in refusals(Record(journal), new)]


def hens(journal: list[Entry], on: date | datetime | None = None) -> int:
    """Hens alive among the layers."""
    return fold(journal, on).groups["layers"].alive.hens


def correction(of: Entry, right: Entry, at: str, number: int) -> Entry:
    """A retract of an entry with the right one in its stead."""
    return made(
        "retract", at, id=uid(number), entry=of.id, why="a slip",
        instead=msgspec.to_builtins(right),
    )  # fmt: skip


# Refusals.


def test_a_sound_entry_is_taken() -> None:
    assert refused([LAYERS], made("birds_died", group="layers", hens=1)) == []


def test_what_contradicts_is_refused_with_figures_unless_forced() -> None:
    many: dict[str, Any] = {"hatch": "may", "chicks": 30}
    (sentence,) = refused([SET], made("chicks_hatched", "2027-05-18", **many))
    assert sentence.startswith("chicks: 30 hatched, but may has 24 eggs left: 24 set")
    assert refused([SET], made("chicks_hatched", "2027-05-18", **many, force=True)) == []


def test_force_does_not_help_an_entry_about_nothing() -> None:
    died = made("birds_died", group="geese", hens=1, force=True)
    assert refused([LAYERS], died)[0].startswith("group: there is no group 'geese'")


def test_entries_that_fit_only_together_are_taken_together() -> None:
    late = made("birds_died", "2027-05-03", group="new", chicks=1)
    first = made("group", "2027-05-02", group="new", place="box", chicks=5)
    assert refused([], late, first) == []
    assert refused([], late) != []


def test_an_entry_that_makes_a_later_one_impossible_is_refused() -> None:
    sold = made("birds_out", "2027-05-09", group="layers", use="sold", hens=20)
    died: dict[str, Any] = {"group": "layers", "hens": 1}
    (sentence,) = refused([LAYERS, sold], made("birds_died", "2027-05-05", **died))
    assert sentence.startswith("hens: 20 hens sold, but layers has 19 hens.")
    assert refused([LAYERS, sold], made("birds_died", "2027-05-05", **died, force=True)) == []


def test_a_contradiction_of_before_does_not_block_what_comes_after() -> None:
    # Kept from a late phone: 25 of 20 died.
    died = made("birds_died", "2027-05-05", group="layers", hens=25)
    journal = [LAYERS, died]
    assert refused(journal, made("eggs_collected", "2027-05-06", group="layers", eggs=3)) == []
    assert refused(journal, made("retract", "2027-05-06", entry=died.id, why="a slip")) == []
    # Two forgotten hens make it less wrong, not right: what was known before stays known.
    more: dict[str, Any] = {"group": "layers", "place": "shed", "hens": 2}
    assert refused(journal, made("group", "2027-05-02", **more)) == []


def test_what_was_insisted_on_is_taken_again_from_an_export() -> None:
    # The forced death makes the later sale impossible; the whole journal must come in again.
    sold = made("birds_out", "2027-05-09", group="layers", use="sold", hens=20)
    died = made("birds_died", "2027-05-05", group="layers", hens=1, force=True)
    assert refused([LAYERS, sold], died) == []
    assert refused([], LAYERS, sold, died) == []
    assert refused([], died, sold, LAYERS) == []


def test_insisting_on_one_entry_does_not_let_another_through() -> None:
    died = made("birds_died", "2027-05-05", group="layers", hens=21, force=True)
    hatched = made("chicks_hatched", "2027-05-18", hatch="may", chicks=30)
    (sentence,) = refused([LAYERS, SET], died, hatched)
    assert sentence.startswith("chicks: 30 hatched")
    (sentence,) = refused([], LAYERS, SET, died, hatched)
    assert sentence.startswith("chicks: 30 hatched")


def test_a_retract_that_leaves_others_hanging_is_refused() -> None:
    died = made("birds_died", group="layers", hens=1)
    back = made("retract", "2027-05-03", entry=LAYERS.id, why="not mine")
    assert refused([LAYERS, died], back)[0].startswith("group: there is no group 'layers'")


def test_a_retract_of_an_unknown_entry_is_refused() -> None:
    unknown = uid(0xFFFFFFFF)  # `made` counts up from 1
    back = made("retract", entry=unknown, why="a slip")
    assert refused([LAYERS], back) == [
        f"entry: It takes back entry {unknown}, which the journal does not hold. Check the id."
    ]


def test_a_wrong_correction_is_refused() -> None:
    died = made("birds_died", group="layers", hens=1)
    worse = made("birds_died", group="layers", hens=31)
    (sentence,) = refused([LAYERS, died], correction(died, worse, "2027-05-03", 600))
    assert sentence.startswith("hens: 31 hens died, but layers has 20 hens.")


def test_a_late_contradiction_is_kept_and_shown() -> None:
    # Two phones without signal: both sold the same last birds. Nothing is lost on either.
    one = made("birds_out", "2027-05-05T09:00+01:00", group="layers", use="sold", hens=15)
    two = made("birds_out", "2027-05-05T08:00+01:00", group="layers", use="given", hens=10)
    record = Record([LAYERS, one])
    record.add([two])
    layers = record.flock.groups["layers"]
    assert layers.gone == {"given": 10, "sold": 15}
    assert layers.came == {"in": 20, "found": 5}
    (finding,) = record.flock.findings
    assert finding.sentence.startswith("hens: 15 hens sold, but layers has 10 hens.")
    assert (finding.entry, finding.forced) == (one.id, False)


# The past.


def test_as_of_a_day_and_of_an_instant() -> None:
    journal = [
        LAYERS,
        made("birds_died", "2027-05-05T08:00+01:00", group="layers", hens=1),
        made("birds_died", "2027-05-05T20:00+01:00", group="layers", hens=2),
        made("birds_died", "2027-05-06", group="layers", hens=4),
    ]
    assert hens(journal, date(2027, 5, 4)) == 20
    assert hens(journal, datetime(2027, 5, 5, 7, 0, tzinfo=UTC)) == 19
    assert hens(journal, datetime(2027, 5, 5, 6, 59, tzinfo=UTC)) == 20
    assert hens(journal, date(2027, 5, 5)) == 17
    assert hens(journal, date(2027, 5, 6)) == hens(journal) == 13
    assert "layers" not in fold(journal, date(2027, 4, 30)).groups


def test_as_of_a_day_is_the_day_at_the_holding() -> None:
    # 13:00 UTC on 5 May is 01:00 on 6 May in Auckland (UTC+12 in May).
    home = made("holding", "2027-01-01", timezone="Pacific/Auckland")
    died = made("birds_died", "2027-05-05T13:00Z", group="layers", hens=1)
    assert hens([home, LAYERS, died], date(2027, 5, 5)) == 20
    assert hens([home, LAYERS, died], date(2027, 5, 6)) == 19
    assert fold([home, LAYERS, died]).groups["layers"].deaths[0].day == date(2027, 5, 6)


def test_the_past_is_as_it_was_known_then() -> None:
    died = made("birds_died", "2027-05-05", group="layers", hens=2)
    back = made("retract", "2027-05-08", entry=died.id, why="they were hiding")
    assert hens([LAYERS, died, back], date(2027, 5, 7)) == 18
    assert hens([LAYERS, died, back], date(2027, 5, 8)) == 20


# Retracts and corrections.


def test_a_correction_puts_the_right_entry_in_its_stead() -> None:
    died = made("birds_died", "2027-05-05", group="layers", hens=12)
    right = made("birds_died", "2027-05-04", group="layers", hens=1)
    flock = fold([LAYERS, died, correction(died, right, "2027-05-06", 600)])
    assert flock.groups["layers"].alive.hens == 19
    assert [death.day for death in flock.groups["layers"].deaths] == [date(2027, 5, 4)]


def test_a_correction_can_be_corrected() -> None:
    died = made("birds_died", "2027-05-05", group="layers", hens=12)
    first = made("birds_died", "2027-05-05", group="layers", hens=2)
    second = made("birds_died", "2027-05-05", group="layers", hens=3)
    flock = fold(
        [
            LAYERS,
            died,
            correction(died, first, "2027-05-06", 600),
            correction(first, second, "2027-05-07", 601),
        ]
    )
    assert flock.groups["layers"].alive.hens == 17
    assert flock.findings == []


def test_a_retract_of_a_correction_brings_the_first_entry_back() -> None:
    died = made("birds_died", "2027-05-05", group="layers", hens=12)
    first = correction(died, made("birds_died", group="layers", hens=2), "2027-05-06", 600)
    back = made("retract", "2027-05-07", entry=first.id, why="it was twelve")
    assert hens([LAYERS, died, first, back]) == 8


def test_two_phones_that_correct_the_same_entry_do_not_count_it_twice() -> None:
    wrong = made("eggs_collected", "2027-05-02", group="layers", eggs=12)
    right = [made("eggs_collected", "2027-05-02", group="layers", eggs=21) for _ in range(2)]
    one = correction(wrong, right[0], "2027-05-03", 600)
    two = correction(wrong, right[1], "2027-05-03", 601)
    flock = fold([LAYERS, wrong, two, one])
    assert sum(lot.on_hand for lot in flock.stocked.values()) == 21
    (finding,) = flock.findings
    assert finding.sentence == (
        f"entry: entry {wrong.id} was corrected already by entry {one.id}; the later counts. "
        "Retract the correction that is wrong."
    )
    mended = made("retract", "2027-05-04", entry=one.id, why="the same twice")
    assert fold([LAYERS, wrong, two, one, mended]).findings == []


def test_a_circle_of_retracts_does_nothing_in_any_order() -> None:
    died = made("birds_died", group="layers", hens=1)
    one = made("retract", "2027-05-03", id=uid(600), entry=uid(601), why="a")
    worse = made("birds_died", group="layers", hens=9, id=uid(602))
    circle = [one, correction(one, worse, "2027-05-03", 601)]
    assert hens([LAYERS, died, *circle]) == hens([LAYERS, died, *circle[::-1]]) == 19


@pytest.mark.parametrize(("length", "left"), [(4999, 20), (5000, 19)])
def test_a_long_chain_of_retracts_is_followed_to_its_end(length: int, left: int) -> None:
    died = made("birds_died", group="layers", hens=1, id=uid(600))
    chain = [
        made("retract", "2027-05-03", id=uid(601 + n), entry=uid(600 + n), why="no")
        for n in range(length)
    ]
    assert hens([LAYERS, died, *chain]) == left


def test_an_entry_taken_back_before_it_arrived_stays_out() -> None:
    died = made("birds_died", "2027-05-09", group="layers", hens=1, id=uid(600))
    back = made("retract", "2027-05-08", entry=died.id, why="a clock that was wrong")
    record = Record([LAYERS, back])
    record.add([died])
    assert record.flock.groups["layers"].alive.hens == 20
    assert record.flock.findings == []


# One moment, two phones.


def test_entries_of_one_day_fit_in_whatever_order_makes_sense() -> None:
    # By id the move stands before the sexing it needs, and the sale before the move.
    journal = [
        made("group", "2027-05-01", group="young", place="box", chicks=10),
        made("birds_out", id=uid(1), group="pen", use="sold", cocks=2, income=20),
        made("birds_moved", id=uid(2), group="young", place="pen", to_group="pen", cocks=4),
        made("birds_sexed", id=uid(3), group="young", hens=6, cocks=4),
    ]
    flock = fold(journal)
    assert flock.findings == []
    assert flock.groups["pen"].alive.cocks == 2


def test_of_many_entries_of_one_day_that_cannot_fit_each_is_named() -> None:
    # A file whose group was never logged must not take an hour to say so.
    lost = [made("birds_died", group="geese", hens=1, id=uid(n)) for n in range(5000)]
    flock = fold([LAYERS, *lost])
    assert [finding.entry for finding in flock.findings] == [entry.id for entry in lost]


def test_of_many_contradictions_of_one_day_each_is_named() -> None:
    many = [made("birds_died", group="layers", hens=21, id=uid(n)) for n in range(5000)]
    flock = fold([LAYERS, *many])
    assert [finding.entry for finding in flock.findings] == [entry.id for entry in many]
    assert flock.groups["layers"].gone["died"] == 5000 * 21


def test_a_record_keeps_entries_in_order_of_arrival() -> None:
    died = made("birds_died", "2027-05-05", group="layers", hens=1)
    record = Record([died])
    record.add([LAYERS])
    assert list(record.entries) == [died, LAYERS]
    assert record.flock.groups["layers"].alive.hens == 19


def test_a_date_alone_may_mean_any_time_of_its_day() -> None:
    collected = made("eggs_collected", "2027-05-06T18:00+01:00", group="layers", eggs=9)
    eaten = made("eggs_out", "2027-05-06", use="eaten", eggs=5)
    journal = [LAYERS, collected]
    assert refused(journal, eaten) == []
    lots = fold([*journal, eaten]).lots.values()
    assert [lot.on_hand for lot in lots] == [4]
    # But not a time of the next day.
    late = made("eggs_collected", "2027-05-07T08:00+01:00", group="layers", eggs=9)
    (sentence,) = refused([LAYERS, late], eaten)
    assert sentence.startswith("eggs: 5 eggs eaten, but 0 fitting eggs")

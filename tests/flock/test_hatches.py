"""Hatching eggs and hatches, as small journals."""

from datetime import UTC, date, datetime

import pytest
from tests.makers import made

from quailwright.flock.fold import fold
from quailwright.flock.state import Birds, Flock
from quailwright.journal.entries import Entry

SET = made("eggs_set", "2027-05-02T20:00+01:00", hatch="may", eggs=24, place="box", source="creek")
LAYERS = made("group", "2027-05-01", group="layers", place="shed", hens=20, cocks=4)


def only_finding(flock: Flock) -> str:
    """The one finding of the flock, as the keeper reads it."""
    (finding,) = flock.findings
    return finding.sentence


def test_a_hatch_from_setting_to_the_brooder() -> None:
    flock = fold(
        [
            SET,
            made("eggs_weighed", "2027-05-05", hatch="may", eggs=24, total_g=288),
            made("eggs_candled", "2027-05-10", hatch="may", clear=3, dead=1),
            made("turning_stopped", "2027-05-16", hatch="may", place="hatcher"),
            made("chicks_hatched", "2027-05-19", hatch="may", chicks=12),
            made("chicks_hatched", "2027-05-20", hatch="may", chicks=4),
            made("group", "2027-05-20", group="may chicks", place="brooder", hatch="may"),
            made("eggs_opened", "2027-05-21", hatch="may", late=3, pipped=1),
            made("hatch_closed", "2027-05-21", hatch="may"),
        ]
    )
    hatch = flock.hatches["may"]
    assert not flock.findings
    assert hatch.set_at == datetime(2027, 5, 2, 19, tzinfo=UTC)
    assert hatch.set_hour_known
    assert (hatch.eggs_set, hatch.removed, hatch.hatched, hatch.alive) == (24, 4, 16, 4)
    assert (hatch.place, hatch.set_in) == ("hatcher", "box")
    assert hatch.opened == {
        "infertile": 0, "early": 0, "middle": 0, "late": 3, "pipped": 1, "contaminated": 0,
    }  # fmt: skip
    assert hatch.to_house == 0
    assert list(flock.hatches_open()) == []
    chicks = flock.groups["may chicks"]
    assert (chicks.alive, chicks.hatches) == (Birds(chicks=16), ["may"])
    assert chicks.youngest == date(2027, 5, 19)


def test_a_hatch_set_on_a_date_is_taken_at_noon_at_the_holding() -> None:
    home = made("holding", "2027-01-01", timezone="Pacific/Auckland")
    undated = made("eggs_set", "2027-05-02", hatch="may", eggs=24, place="box", source="creek")
    hatch = fold([home, undated]).hatches["may"]
    # Auckland is on standard time in May, UTC+12 (IANA time zone database).
    assert hatch.set_at == datetime(2027, 5, 2, 0, tzinfo=UTC)
    assert not hatch.set_hour_known


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        (
            made("chicks_hatched", "2027-05-20", hatch="may", chicks=30),
            "chicks: 30 hatched, but may has 24 eggs left: 24 set, 0 taken out, 0 hatched. "
            "Mend the number, or retract the wrong entry before.",
        ),
        (
            made("eggs_candled", "2027-05-10", hatch="may", clear=20, dead=5),
            "clear: 25 taken out, but may has 24 eggs left",
        ),
        (
            made("eggs_weighed", "2027-05-10", hatch="may", eggs=25, total_g=300),
            "eggs: 25 eggs on the scale, but may has 24 left of 24 set.",
        ),
        (
            made("eggs_opened", "2027-05-21", hatch="may", infertile=20, late=5),
            "infertile: 25 eggs opened, but may left 24 unhatched of 24 set.",
        ),
        (
            made("group", "2027-05-20", group="new", place="brooder", hatch="may", chicks=5),
            "chicks: 5 birds from may, but of 0 hatched 0 are not housed yet.",
        ),
        (
            made("group", "2027-05-20", group="new", place="brooder", hatch="may"),
            "hatch: no chicks of may wait to be housed at that time (0 hatched). "
            "Log chicks_hatched first, or mend the time.",
        ),
        (
            made("chicks_hatched", "2027-05-20", hatch="mai", chicks=1),
            "hatch: there is no hatch 'mai' at that time. Did you mean 'may'? Log eggs_set first.",
        ),
        (made("eggs_candled", hatch="june", clear=1, dead=0), "hatch: there is no hatch 'june'"),
        (made("eggs_weighed", hatch="june", eggs=1, total_g=12), "hatch: there is no hatch"),
        (made("turning_stopped", hatch="june"), "hatch: there is no hatch 'june'"),
        (made("eggs_opened", hatch="june", early=1), "hatch: there is no hatch 'june'"),
        (made("hatch_closed", hatch="june"), "hatch: there is no hatch 'june'"),
        (made("group", group="g", place="p", hatch="june", chicks=1), "hatch: there is no hatch"),
        (
            made("eggs_set", "2027-06-01", hatch="may", eggs=10, place="box", source="creek"),
            "hatch: a hatch 'may' was set on 2027-05-02 already. Give this one a name of its own.",
        ),
        (
            made("eggs_set", "2027-05-02", hatch="own", eggs=10, place="box", group="geese"),
            "group: there is no group 'geese' at that time.",
        ),
    ],
)
def test_what_cannot_be_is_said_with_its_figures(wrong: Entry, sentence: str) -> None:
    flock = fold([SET, wrong])
    assert only_finding(flock).startswith(sentence)
    assert flock.findings[0].entry == wrong.id


def test_thirty_hatched_of_24_set_by_force_is_kept_and_shown() -> None:
    flock = fold([SET, made("chicks_hatched", "2027-05-20", hatch="may", chicks=30, force=True)])
    hatch = flock.hatches["may"]
    assert (hatch.hatched, hatch.found, hatch.alive, hatch.to_house) == (30, 6, 0, 30)
    assert flock.findings[0].forced


def test_chicks_after_all_eggs_were_opened_cannot_be() -> None:
    opened = made("eggs_opened", "2027-05-20", hatch="may", infertile=20)
    flock = fold([SET, opened, made("chicks_hatched", "2027-05-21", hatch="may", chicks=5)])
    assert only_finding(flock).startswith(
        "chicks: 5 hatched, but of 24 set 0 hatched before and 20 were opened unhatched."
    )
    assert not fold(
        [SET, opened, made("chicks_hatched", "2027-05-21", hatch="may", chicks=4)]
    ).findings


def test_eggs_set_within_a_day_are_the_same_hatch() -> None:
    more = made(
        "eggs_set", "2027-05-03T19:30+01:00", hatch="may", eggs=6, place="box", source="hill",
        mean_egg_g=11.5,
    )  # fmt: skip
    hatch = fold([SET, more]).hatches["may"]
    assert hatch.eggs_set == 30
    assert [(c.eggs, c.source) for c in hatch.clutches] == [(24, "creek"), (6, "hill")]
    assert hatch.set_at == datetime(2027, 5, 2, 19, tzinfo=UTC)


def test_a_closed_hatch_takes_no_more() -> None:
    closed = made("hatch_closed", "2027-05-21", hatch="may")
    flock = fold([SET, closed, made("chicks_hatched", "2027-05-22", hatch="may", chicks=1)])
    assert only_finding(flock).startswith(
        "hatch: may was closed on 2027-05-21. Retract the closing"
    )
    again = made("eggs_set", "2027-05-22", hatch="may", eggs=9, place="box", source="creek")
    assert only_finding(fold([SET, closed, again])).startswith("hatch: a hatch 'may' was set")


def test_a_hatch_closed_twice_was_over_the_first_time() -> None:
    closings = [made("hatch_closed", f"2027-05-{day}", hatch="may") for day in (21, 23)]
    closed_at = fold([SET, *closings]).hatches["may"].closed_at
    assert closed_at is not None
    assert closed_at.date() == date(2027, 5, 21)


def test_a_candling_takes_out_only_what_it_took_then() -> None:
    flock = fold(
        [
            SET,
            made("eggs_candled", "2027-05-09", hatch="may", clear=3, dead=0),
            made("eggs_candled", "2027-05-14", hatch="may", clear=1, dead=2),
        ]
    )
    hatch = flock.hatches["may"]
    assert (hatch.clear, hatch.dead, hatch.alive) == (4, 2, 18)


def test_chicks_of_one_hatch_may_go_to_two_groups() -> None:
    hatched = made("chicks_hatched", "2027-05-19", hatch="may", chicks=15)
    flock = fold(
        [
            SET,
            hatched,
            made("group", "2027-05-20", group="a", place="b1", hatch="may", chicks=10),
            made("group", "2027-05-21", group="b", place="b2", hatch="may"),
        ]
    )
    assert flock.groups["b"].alive.chicks == 5
    assert flock.hatches["may"].to_house == 0
    assert not flock.findings


# Where hatching eggs come from.

RECEIVED = made(
    "eggs_received", "2027-05-01", source="creek", eggs=24, broken=4, cost=18.5, lot="a",
    laid_from="2027-04-24", laid_to="2027-04-28",
)  # fmt: skip


def test_received_eggs_are_set_from_the_good_ones() -> None:
    flock = fold(
        [
            RECEIVED,
            made("eggs_set", hatch="may", eggs=18, place="box", source="creek", lot="a"),
        ]
    )
    (receipt,) = flock.receipts
    assert (receipt.good, receipt.on_hand, receipt.set_to_hatch) == (20, 2, 18)
    assert flock.payments[0].amount == -18.5
    assert not flock.findings


def test_more_set_than_received_is_refused_with_figures() -> None:
    flock = fold([RECEIVED, SET])
    assert only_finding(flock).startswith(
        "eggs: 24 set, but of 20 good eggs from creek 20 are left. Log eggs_received first"
    )
    (receipt,) = flock.receipts
    assert (receipt.on_hand, receipt.found, receipt.set_to_hatch) == (0, 4, 24)


def test_eggs_of_a_source_never_received_may_be_set() -> None:
    # Somebody who began to keep records with the setting.
    assert fold([SET]).findings == []


def test_own_eggs_set_leave_the_kitchen_store_freshest_first() -> None:
    flock = fold(
        [
            LAYERS,
            made("eggs_collected", "2027-05-01", group="layers", eggs=15),
            made("eggs_collected", "2027-05-02", group="layers", eggs=14),
            made("eggs_set", "2027-05-03", hatch="may", eggs=16, place="box", group="layers"),
        ]
    )
    assert flock.lots[date(2027, 5, 2), "layers"].on_hand == 0
    assert flock.lots[date(2027, 5, 1), "layers"].on_hand == 13
    assert not flock.findings


def test_own_eggs_nobody_logged_may_be_set_and_are_booked_as_found() -> None:
    own = made("eggs_set", "2027-05-03", hatch="may", eggs=16, place="box", group="layers")
    flock = fold([LAYERS, own])
    (lot,) = flock.lots.values()
    assert (lot.found, lot.set_to_hatch, lot.on_hand) == (16, 16, 0)
    assert not flock.findings


@pytest.mark.parametrize(("collected", "told"), [(5, [(5, 16, 11)]), (15, [(15, 16, 1)]), (16, [])])
def test_own_eggs_set_beyond_those_collected_are_a_difference(
    collected: int, told: list[tuple[float, float, float]]
) -> None:
    flock = fold(
        [
            LAYERS,
            made("eggs_collected", "2027-05-02", group="layers", eggs=collected),
            made("eggs_set", "2027-05-03", hatch="may", eggs=16, place="box", group="layers"),
        ]
    )
    assert [(d.recorded, d.counted, d.amount) for d in flock.differences] == told
    for difference in flock.differences:
        assert (difference.of, difference.what) == ("layers", "eggs_set")
        assert difference.day == date(2027, 5, 3)

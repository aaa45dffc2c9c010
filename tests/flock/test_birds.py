"""Groups of birds, as small journals."""

from datetime import date

import pytest
from tests.makers import made

from quailwright.flock.fold import fold
from quailwright.flock.state import Birds, Flock
from quailwright.journal.entries import Entry

LAYERS = made("group", "2027-05-01", group="layers", place="shed", hens=20, cocks=4, cost=96)
CHICKS = made(
    "group", "2027-05-01", group="chicks", place="box", chicks=30, hatched_on="2027-04-28"
)


def only_finding(flock: Flock) -> str:
    """The one finding of the flock, as the keeper reads it."""
    (finding,) = flock.findings
    return finding.sentence


def test_birds_bought_are_a_group_and_cost_money() -> None:
    flock = fold([LAYERS])
    layers = flock.groups["layers"]
    assert (layers.place, layers.alive) == ("shed", Birds(hens=20, cocks=4))
    assert str(layers.alive) == "20 hens, 4 cocks"
    assert [(p.amount, p.category) for p in flock.payments] == [(-96, "birds")]
    assert layers.age_days(date(2027, 5, 2)) is None
    assert flock.places["shed"].role is None  # nobody has described it


def test_a_second_group_entry_adds_birds_and_spreads_their_age() -> None:
    more = made(
        "group", "2027-05-03", group="chicks", place="box", chicks=10, hatched_on="2027-05-02"
    )
    chicks = fold([CHICKS, more]).groups["chicks"]
    assert chicks.alive.chicks == 40
    assert (chicks.oldest, chicks.youngest) == (date(2027, 4, 28), date(2027, 5, 2))
    assert chicks.age_days(date(2027, 5, 12)) == 10
    assert chicks.since == date(2027, 5, 1)


def test_birds_of_a_group_live_at_one_place() -> None:
    flock = fold([LAYERS, made("group", group="layers", place="barn", hens=1)])
    assert only_finding(flock).startswith("place: layers lives at shed. Log birds_moved")


def test_a_group_name_used_again_when_empty_starts_afresh() -> None:
    flock = fold(
        [
            CHICKS,
            made("birds_out", "2027-05-05", group="chicks", use="sold", chicks=30, income=60),
            made("group", "2027-06-01", group="chicks", place="barn", chicks=5),
        ]
    )
    chicks = flock.groups["chicks"]
    assert (chicks.place, chicks.alive.chicks, chicks.youngest) == ("barn", 5, None)
    assert (chicks.since, chicks.placed) == (date(2027, 6, 1), date(2027, 6, 1))
    assert flock.payments[-1].amount == 60
    assert not flock.findings


def test_chicks_found_to_be_hens_and_cocks_leave_the_rest_chicks() -> None:
    flock = fold([CHICKS, made("birds_sexed", "2027-05-20", group="chicks", hens=12, cocks=10)])
    assert flock.groups["chicks"].alive == Birds(chicks=8, hens=12, cocks=10)
    assert flock.groups["chicks"].sexed_on == date(2027, 5, 20)


def test_deaths_processing_and_sales_leave_the_group() -> None:
    flock = fold(
        [
            LAYERS,
            made("birds_died", group="layers", hens=1, found="predator"),
            made("birds_processed", group="layers", cocks=2, dressed_g=320),
            made("birds_out", group="layers", use="given", hens=3),
            made("birds_out", group="layers", use="lost", hens=1),
        ]
    )
    layers = flock.groups["layers"]
    assert layers.alive == Birds(hens=15, cocks=2)
    assert layers.gone == {"died": 1, "processed": 2, "given": 3, "lost": 1}
    (death,) = layers.deaths
    assert (death.day, death.birds, death.found) == (date(2027, 5, 2), Birds(hens=1), "predator")
    assert not flock.findings


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        (
            made("birds_died", group="layers", hens=21),
            "hens: 21 hens died, but layers has 20 hens, 4 cocks. "
            "Mend the number, or log birds_counted to set the record right.",
        ),
        (
            made("birds_processed", group="layers", hens=1, cocks=5),
            "cocks: 1 hen, 5 cocks processed, but layers has 20 hens, 4 cocks.",
        ),
        (made("birds_out", group="layers", use="sold", chicks=1), "chicks: 1 chick sold, but"),
        (made("birds_sexed", group="layers", hens=2, cocks=1), "chicks: 3 chicks sexed, but"),
        (
            made("birds_moved", group="layers", place="barn", to_group="new", hens=30),
            "hens: 30 hens moved, but layers has 20 hens, 4 cocks.",
        ),
        (
            made("birds_died", group="layer", hens=1),
            "group: there is no group 'layer' at that time. Did you mean 'layers'? "
            "Log the group first.",
        ),
        (made("birds_moved", group="geese", place="barn"), "group: there is no group 'geese'"),
        (made("birds_counted", group="geese", hens=1), "group: there is no group 'geese'"),
        (made("birds_weighed", group="geese", weights_g=[200]), "group: there is no group"),
        (made("birds_sexed", group="geese", hens=1, cocks=1), "group: there is no group"),
        (made("treated", group="geese", product="powder"), "group: there is no group"),
        (made("eggs_collected", group="geese", eggs=1), "group: there is no group"),
        (made("birds_processed", group="geese", hens=1), "group: there is no group"),
        (made("birds_out", group="geese", hens=1, use="sold"), "group: there is no group"),
        (
            made("birds_moved", group="layers", place="barn", hens=5),
            "to_group: 5 hens of 20 hens, 4 cocks moved, so the group parts in two. "
            "Add to_group: the name of the group they join or become.",
        ),
    ],
)
def test_what_cannot_be_is_said_with_its_figures(wrong: Entry, sentence: str) -> None:
    flock = fold([LAYERS, wrong])
    assert only_finding(flock).startswith(sentence)
    assert flock.findings[0].entry == wrong.id


def test_a_death_before_the_group_came_is_an_orphan() -> None:
    flock = fold([LAYERS, made("birds_died", "2027-04-30", group="layers", hens=1)])
    assert only_finding(flock).startswith("group: there is no group 'layers' at that time.")
    assert flock.groups["layers"].alive.hens == 20


def test_a_forced_contradiction_is_kept_and_shown() -> None:
    flock = fold([LAYERS, made("birds_died", group="layers", hens=23, force=True)])
    layers = flock.groups["layers"]
    assert layers.alive == Birds(cocks=4)
    assert layers.gone["died"] == 23
    assert layers.came["found"] == 3
    assert flock.findings[0].forced


# Counts.


def test_counts_give_signed_differences_and_are_taken_over() -> None:
    flock = fold([LAYERS, made("birds_counted", group="layers", hens=18, cocks=5)])
    assert flock.groups["layers"].alive == Birds(hens=18, cocks=5)
    assert flock.groups["layers"].came == {"in": 24, "found": -1}
    assert [(d.of, d.what, d.recorded, d.counted, d.amount) for d in flock.differences] == [
        ("layers", "hens", 20, 18, -2),
        ("layers", "cocks", 4, 5, 1),
    ]
    assert not flock.findings


def test_a_count_that_agrees_is_no_difference_and_a_class_not_counted_stays() -> None:
    flock = fold([LAYERS, made("birds_counted", group="layers", hens=20)])
    assert flock.differences == []
    assert flock.groups["layers"].alive == Birds(hens=20, cocks=4)
    assert flock.groups["layers"].counted_on == date(2027, 5, 2)


def test_a_count_stands_after_the_deaths_of_its_day() -> None:
    count = made(
        "birds_counted", group="layers", hens=18, id="00000000-0000-4000-8000-000000000000"
    )
    death = made("birds_died", group="layers", hens=2, id="ffffffff-0000-4000-8000-000000000000")
    flock = fold([LAYERS, count, death])
    assert flock.groups["layers"].alive.hens == 18
    assert flock.differences == []


# Moves.


def test_a_whole_move_takes_the_group_to_another_place() -> None:
    flock = fold([LAYERS, made("birds_moved", "2027-05-04", group="layers", place="barn")])
    layers = flock.groups["layers"]
    assert (layers.place, layers.placed, layers.since) == (
        "barn", date(2027, 5, 4), date(2027, 5, 1),
    )  # fmt: skip
    assert layers.alive == Birds(hens=20, cocks=4)
    assert flock.groups_at("shed") == []


def test_a_part_that_moves_becomes_a_group_of_the_same_age() -> None:
    flock = fold(
        [CHICKS, made("birds_moved", group="chicks", place="pen", to_group="big", chicks=12)]
    )
    assert flock.groups["chicks"].alive.chicks == 18
    big = flock.groups["big"]
    assert (big.place, big.alive.chicks, big.oldest) == ("pen", 12, date(2027, 4, 28))
    assert flock.groups["chicks"].gone == {"moved_out": 12}
    assert big.came == {"moved_in": 12}


def test_a_part_takes_along_what_is_known_of_the_birds() -> None:
    flock = fold(
        [
            made("eggs_set", "2027-05-01", hatch="may", eggs=24, place="box", source="creek"),
            made("chicks_hatched", "2027-05-18", hatch="may", chicks=20),
            made("group", "2027-05-19", group="may chicks", place="brooder", hatch="may"),
            made("birds_sexed", "2027-06-08", group="may chicks", hens=11, cocks=9),
            made("birds_moved", "2027-06-10", group="may chicks", place="pen", to_group="boys",
                 cocks=9),
        ]
    )  # fmt: skip
    boys = flock.groups["boys"]
    assert (boys.sexed_on, boys.hatches) == (date(2027, 6, 8), ["may"])
    assert (boys.oldest, boys.youngest) == (date(2027, 5, 18), date(2027, 5, 18))
    assert (boys.since, boys.placed) == (date(2027, 6, 10), date(2027, 6, 10))


def test_groups_merge_with_ages_and_hatches() -> None:
    younger = made(
        "group", "2027-05-03", group="tiny", place="box 2", chicks=9, hatched_on="2027-05-02"
    )
    flock = fold(
        [CHICKS, younger, made("birds_moved", "2027-05-20", group="tiny", place="box",
                               to_group="chicks")]
    )  # fmt: skip
    merged = flock.groups["chicks"]
    assert merged.alive.chicks == 39
    assert (merged.oldest, merged.youngest) == (date(2027, 4, 28), date(2027, 5, 2))
    assert flock.groups["tiny"].alive.total == 0
    assert [group.name for group in flock.groups_alive()] == ["chicks"]
    assert merged.hatches == []
    assert merged.since == date(2027, 5, 1)


def test_a_move_to_join_a_group_that_lives_elsewhere_is_refused() -> None:
    flock = fold(
        [LAYERS, CHICKS, made("birds_moved", group="chicks", place="pen", to_group="layers")]
    )
    assert only_finding(flock) == (
        "place: layers lives at shed, not at pen. Mend place or to_group."
    )


def test_an_empty_group_cannot_move() -> None:
    flock = fold(
        [
            CHICKS,
            made("birds_out", group="chicks", use="sold", chicks=30),
            made("birds_moved", "2027-05-03", group="chicks", place="pen"),
        ]
    )
    assert only_finding(flock) == "group: chicks has no birds. Mend the group's name."


# Withheld meat and quarantine.

TREATED = made(
    "treated", "2027-05-10", group="layers", product="powder", directed_by="the vet",
    eggs_withheld_until="2027-05-17", meat_withheld_until="2027-05-24",
)  # fmt: skip


@pytest.mark.parametrize(
    ("day", "held"), [("09", False), ("10", True), ("24", True), ("25", False)]
)
def test_meat_is_withheld_from_the_treatment_to_its_last_day(day: str, held: bool) -> None:
    flock = fold(
        [LAYERS, TREATED, made("birds_processed", f"2027-05-{day}", group="layers", cocks=1)]
    )
    assert bool(flock.findings) is held
    if held:
        assert only_finding(flock).startswith(
            "group: meat of layers is withheld until 2027-05-24 (treated with powder)."
        )
        assert flock.findings[0].kind == "withheld"


def test_a_withholding_follows_birds_into_the_group_they_join() -> None:
    flock = fold(
        [
            LAYERS, TREATED, CHICKS,
            made("birds_moved", "2027-05-12", group="layers", place="box", to_group="chicks",
                 cocks=1),
        ]
    )  # fmt: skip
    assert flock.meat_withheld_on("chicks", date(2027, 5, 11)) is None
    held = flock.meat_withheld_on("chicks", date(2027, 5, 24))
    assert held is not None
    assert held.product == "powder"
    assert flock.withheld_on("chicks", date(2027, 5, 17)) is not None
    assert flock.withheld_on("chicks", date(2027, 5, 18)) is None
    assert flock.meat_withheld_on("layers", date(2027, 5, 24)) is not None


def test_a_withholding_follows_on_its_last_day() -> None:
    moved = made("birds_moved", "2027-05-24", group="layers", place="barn", to_group="old")
    held = fold([LAYERS, TREATED, moved]).meat_withheld_on("old", date(2027, 5, 24))
    assert held is not None


def test_a_withholding_that_is_over_does_not_follow() -> None:
    moved = made("birds_moved", "2027-05-25", group="layers", place="barn", to_group="old")
    assert [held.group for held in fold([LAYERS, TREATED, moved]).withholdings] == ["layers"]


def test_moving_to_and_fro_does_not_multiply_withholdings() -> None:
    journal: list[Entry] = [LAYERS, TREATED]
    for n in range(12):
        here, there = ("layers", "other") if n % 2 == 0 else ("other", "layers")
        journal.append(
            made("birds_moved", f"2027-05-{11 + n}", group=here, place="barn", to_group=there)
        )
    flock = fold(journal)
    assert not flock.findings
    assert [held.group for held in flock.withholdings] == ["layers", "other"]


QUARANTINE = made("quarantine", "2027-05-01", place="shed", until="2027-05-31")


@pytest.mark.parametrize(
    "leaving",
    [
        made("birds_moved", "2027-05-31", group="layers", place="barn"),
        made("birds_moved", "2027-05-31", group="layers", place="barn", to_group="x", hens=1),
        made("birds_out", "2027-05-31", group="layers", use="sold", hens=1),
    ],
)
def test_nothing_moves_out_of_quarantine(leaving: Entry) -> None:
    flock = fold([LAYERS, QUARANTINE, leaving])
    assert only_finding(flock).startswith(
        "group: shed is in quarantine until 2027-05-31, so layers"
    )
    assert flock.findings[0].kind == "withheld"


@pytest.mark.parametrize(
    "allowed",
    [
        made("birds_moved", "2027-06-01", group="layers", place="barn"),
        made("birds_moved", "2027-05-20", group="layers", place="shed", to_group="x", hens=1),
        made("birds_out", "2027-05-20", group="layers", use="lost", hens=1),
        made("birds_died", "2027-05-20", group="layers", hens=1),
    ],
)
def test_what_quarantine_does_not_forbid(allowed: Entry) -> None:
    assert fold([LAYERS, QUARANTINE, allowed]).findings == []


def test_a_new_entry_ends_a_quarantine() -> None:
    ended = made("quarantine", "2027-05-10", place="shed", until="2027-05-09")
    moved = made("birds_moved", "2027-05-11", group="layers", place="barn")
    assert fold([LAYERS, QUARANTINE, ended, moved]).findings == []

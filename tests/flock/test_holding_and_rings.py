"""Places, care, money and ringed birds, as small journals."""

from datetime import date

import pytest
from tests.makers import made

from quailwright.flock.fold import fold, newest_zone
from quailwright.flock.state import Birds
from quailwright.journal.entries import Entry


def test_a_later_holding_entry_changes_only_what_it_says() -> None:
    flock = fold(
        [
            made("holding", "2027-05-01", name="home", latitude=-41.5, timezone="Pacific/Auckland"),
            made("holding", "2027-05-02", units="us", currency="NZD"),
        ]
    )
    assert flock.holding is not None
    assert (flock.holding.name, flock.holding.latitude) == ("home", -41.5)
    assert (flock.holding.units, flock.holding.currency) == ("us", "NZD")
    assert flock.zone == "Pacific/Auckland"


def test_the_newest_zone_that_stands_counts() -> None:
    lisbon = made("holding", "2027-05-01", timezone="Europe/Lisbon")
    wrong = made("holding", "2027-05-03", timezone="Pacific/Auckland")
    back = made("retract", "2027-05-04", entry=wrong.id, why="a slip")
    mended = made(
        "retract", "2027-05-04", entry=wrong.id, why="a slip",
        instead={"kind": "holding", "id": "0191d5a0-5f5e-7c3a-9d52-3f0c5a1b2c3d",
                 "at": "2027-05-03", "timezone": "Atlantic/Azores"},
    )  # fmt: skip
    assert newest_zone([]) == ""
    assert newest_zone([wrong, lisbon]) == "Pacific/Auckland"
    assert newest_zone([wrong, lisbon], date(2027, 5, 2)) == "Europe/Lisbon"
    assert newest_zone([wrong, lisbon, back]) == "Europe/Lisbon"
    assert newest_zone([wrong, lisbon, back], date(2027, 5, 3)) == "Pacific/Auckland"
    assert newest_zone([wrong, lisbon, mended]) == "Atlantic/Azores"


def test_a_place_described_again_keeps_what_is_not_said() -> None:
    flock = fold(
        [
            made("place", "2027-05-01", place="shed", role="pen", floor_m2=1.2, walk_order=2),
            made("place", "2027-05-02", place="shed", role="brooder", heater_w=60),
        ]
    )
    shed = flock.places["shed"]
    assert (shed.role, shed.floor_m2, shed.heater_w, shed.walk_order) == ("brooder", 1.2, 60, 2)


def test_a_place_closes_and_opens_again() -> None:
    closed = made("place", "2027-05-02", place="shed", role="pen", closed=True)
    opened = made("place", "2027-05-03", place="shed", role="pen")
    assert fold([closed]).places["shed"].closed
    assert not fold([closed, opened]).places["shed"].closed


def test_instruments_sources_goals_rules_and_outages_are_kept() -> None:
    flock = fold(
        [
            made("instrument", instrument="dial", place="box", temperature_offset_c=0.3),
            made(
                "instrument", "2027-05-03", instrument="dial", place="box", humidity_offset_pct=-4
            ),
            made("source", source="creek", route="shipped", price_per_egg=0.7),
            made("source", "2027-05-03", source="creek", route="collected"),
            made("goal", "2027-05-01", eggs_per_week=60),
            made("goal", "2027-05-03", eggs_per_week=80, until="2027-12-31"),
            made("care_rule", rule="water", silenced=True, place="shed"),
            made("outage", place="box", minutes=90, lowest_c=31),
        ]
    )
    dial, creek = flock.instruments["dial"], flock.sources["creek"]
    assert (dial.temperature_offset_c, dial.humidity_offset_pct) == (0.3, -4)
    assert (creek.route, creek.price_per_egg) == ("collected", 0.7)
    assert flock.goal is not None
    assert (flock.goal.eggs_per_week, flock.goal.until) == (80, date(2027, 12, 31))
    assert flock.care_rules["water", "shed"].silenced
    ((day, outage),) = flock.outages
    assert (day, outage.place, outage.minutes) == (date(2027, 5, 2), "box", 90)


def test_care_and_money() -> None:
    flock = fold(
        [
            made("care", "2027-05-03", task="water", place="shed"),
            made("care", "2027-05-02", task="water", place="shed", minutes=2),
            made("care", task="walk"),
            made("money", amount=-12.5, category="bedding"),
            made("money", amount=0, category="bedding"),
        ]
    )
    assert flock.care["water", "shed"] == [date(2027, 5, 2), date(2027, 5, 3)]
    assert flock.care["walk", ""] == [date(2027, 5, 2)]
    assert [(p.day, p.amount, p.category) for p in flock.payments] == [
        (date(2027, 5, 2), -12.5, "bedding")
    ]


# Ringed birds.

LAYERS = made("group", "2027-05-01", group="layers", place="shed", hens=2, cocks=1)
R1 = made("bird", "2027-05-01", bird="r1", sex="hen", group="layers", plumage="brown")


def test_a_ringed_bird_is_one_of_its_group() -> None:
    flock = fold(
        [
            LAYERS,
            R1,
            made("bird", bird="r1", sex="hen", dam="r0", hatched_on="2026-08-01"),
            made("bird_weighed", "2027-05-03", bird="r1", mass_g=231),
        ]
    )
    bird = flock.birds["r1"]
    assert flock.groups["layers"].alive.hens == 2
    assert (bird.group, bird.plumage, bird.dam) == ("layers", "brown", "r0")
    assert bird.weights == [(date(2027, 5, 3), 231)]


def test_a_ringed_bird_that_left_leaves_its_group_once() -> None:
    left = made("bird_left", "2027-05-03", bird="r1", use="died")
    flock = fold([LAYERS, R1, left])
    assert flock.groups["layers"].alive == Birds(hens=1, cocks=1)
    assert flock.groups["layers"].deaths[0].birds == Birds(hens=1)
    assert (flock.birds["r1"].left, flock.birds["r1"].left_on) == ("died", date(2027, 5, 3))

    flock = fold([LAYERS, R1, left, made("bird_left", "2027-05-04", bird="r1", use="sold")])
    assert flock.findings[0].sentence == (
        "bird: r1 left on 2027-05-03 already (died). Mend the ring."
    )


def test_a_ringed_hen_of_unsexed_chicks_leaves_as_a_chick() -> None:
    flock = fold(
        [
            made("group", "2027-05-01", group="young", place="box", chicks=6),
            made("bird", "2027-05-01", bird="r9", sex="hen", group="young"),
            made("bird_left", bird="r9", use="given"),
        ]
    )
    assert flock.groups["young"].alive == Birds(chicks=5)
    assert not flock.findings


def test_ringed_birds_follow_a_whole_move_into_another_group() -> None:
    moved = made("birds_moved", group="layers", place="barn", to_group="new")
    flock = fold([LAYERS, R1, moved, made("bird_left", "2027-05-03", bird="r1", use="sold")])
    assert flock.birds["r1"].group == "new"
    assert flock.groups["new"].alive == Birds(hens=1, cocks=1)


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        (
            made("bird_left", bird="r11", use="sold"),
            "bird: there is no bird 'r11' at that time. Did you mean 'r1'? Log the bird first.",
        ),
        (made("bird_weighed", bird="zz", mass_g=200), "bird: there is no bird 'zz' at that time."),
        (made("bird", bird="r2", sex="hen", group="geese"), "group: there is no group 'geese'"),
    ],
)
def test_an_unknown_ring_or_group_is_said(wrong: Entry, sentence: str) -> None:
    (finding,) = fold([LAYERS, R1, wrong]).findings
    assert finding.sentence.startswith(sentence)


def test_withheld_meat_and_quarantine_hold_for_a_ringed_bird_too() -> None:
    treated = made(
        "treated", "2027-05-01", group="layers", product="powder", meat_withheld_until="2027-05-09"
    )
    apart = made("quarantine", "2027-05-01", place="shed", until="2027-05-09")
    eaten = made("bird_left", "2027-05-09", bird="r1", use="processed")
    sold = made("bird_left", "2027-05-09", bird="r1", use="sold")
    died = made("bird_left", "2027-05-09", bird="r1", use="died")
    assert [f.kind for f in fold([LAYERS, R1, treated, eaten]).findings] == ["withheld"]
    assert [f.kind for f in fold([LAYERS, R1, apart, sold]).findings] == ["withheld"]
    assert fold([LAYERS, R1, apart, treated, died]).findings == []


def test_the_newest_pairing_of_a_pen_counts() -> None:
    flock = fold(
        [
            *(made("bird", "2027-04-30", bird=ring, sex="cock") for ring in ("c1", "c2")),
            *(made("bird", "2027-04-30", bird=ring, sex="hen") for ring in ("h1", "h2")),
            made("pairing", "2027-05-01", pen="loft", cocks=["c1"], hens=["h1", "h2"]),
            made("pairing", "2027-05-03", pen="loft", cocks=["c2"], hens=["h1"]),
        ]
    )
    assert flock.pairings["loft"].cocks == ["c2"]


def test_a_pairing_is_of_living_birds_of_that_sex() -> None:
    """A typing slip, a bird that is gone and a hen among the cocks: a sentence each."""
    birds = (
        made("bird", "2027-04-30", bird="Rex", sex="cock"),
        made("bird", "2027-04-30", bird="Ada", sex="hen"),
        made("bird", "2027-04-30", bird="Bea", sex="hen"),
        made("bird_left", "2027-05-01", bird="Bea", use="died"),
    )
    for cocks, hens, said in (
        (["Reks"], ["Ada"], "there is no bird 'Reks' at that time."),
        (["Rex"], ["Bea"], "Bea left on 2027-05-01 already (died)."),
        (["Ada"], [], "Ada is a hen, and stands among the cocks."),
        (["Rex"], ["Rex"], "Rex is a cock, and stands among the hens."),
    ):
        pairing = made("pairing", "2027-05-02", pen="loft", cocks=cocks, hens=hens)
        assert [one.what for one in fold([*birds, pairing]).findings] == [said]

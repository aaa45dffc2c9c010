"""Room that runs short before birds move in, brooders outgrown, and heights."""

import pytest
from tests.guide.rounds import adults, chicks, day, hatch, home, round_on, signs_of, standing_on
from tests.makers import made

from quailwright.guide.room import coming, pens, short_of_room, standard_of
from quailwright.journal.entries import Entry
from quailwright.journal.jsonl import parse_lines

SHORT = "pens too small soon"


def pen(floor_m2: float, name: str = "pen", **more: object) -> Entry:
    return made("place", day(0), place=name, role="pen", floor_m2=floor_m2, **more)


def chosen(standard: str, units: str = "metric") -> Entry:
    return made("holding", day(0), space_standard=standard, units=units, timezone="Europe/Lisbon")


def test_a_hatch_of_which_about_so_many_move_when() -> None:
    # 24 eggs of a source told nothing of, 65 % hatch (reference/incubation, prior mean of
    # published hatches); hatching after 17 days (408 h), moved at 28 days of age. Deaths 7.25, 2.06
    # and 0.93 % in the first weeks (Bhubaneswar farm, 2015), 0.3 % in the fourth.
    [one] = coming(standing_on([home(), hatch()], day(1)), day(1))
    living = 24 * 0.65 * (1 - 0.0725) * (1 - 0.0206) * (1 - 0.0093) * (1 - 0.003)
    assert one.birds == round(living) == 14
    assert one.hatched_on == day(17)
    assert one.moves_on == day(17 + 28)
    assert not one.counted


def test_clears_taken_out_are_no_chicks_to_come() -> None:
    candled = made("eggs_candled", day(7), hatch="may", clear=10, dead=2)
    [one] = coming(standing_on([home(), hatch(), candled], day(8)), day(8))
    # 12 eggs left, 72 % of fertile ones hatch (prior mean), 0.897 live to move.
    assert one.birds == round(12 * 0.72 * 0.897) == 8


def test_chicks_in_the_brooder_are_counted_and_hatches_that_are_over_are_not() -> None:
    journal = [home(), *chicks(30), hatch("old", at="2027-03-01T20:00+01:00")]
    found = coming(standing_on(journal, day(3)), day(3))
    assert [(one.name, one.counted, one.moves_on) for one in found] == [("chicks", True, day(28))]
    assert 26 <= found[0].birds <= 30


def short_pen(standard: str | None, floor_m2: float) -> list[Entry]:
    """12 grown birds in a pen, a brooder of 30 chicks hatched at the start."""
    journal = [home(), *adults(hens=10, cocks=2), pen(floor_m2), *chicks(30)]
    return [*journal, chosen(standard)] if standard else journal


def test_the_trigger_before_a_hatch_moves_in() -> None:
    # Default 0.1 m² a bird: 1.9 m² have room for 19, of which 12 are there: 7 more.
    [sign] = signs_of(round_on(short_pen("default", 1.9), day(5)), SHORT)
    assert sign.where == "chicks"
    assert "of chicks move to the pens about Sun 30 May." in sign.evidence
    assert "the pens have room for 7 more" in sign.evidence
    assert "quailwright's own default" in sign.evidence
    assert sign.check.startswith("Make room in time: another pen")
    assert any("cocks" in sentence for sentence in sign.then)


@pytest.mark.parametrize(
    ("standard", "floor_m2", "told"),
    [
        ("default", 3.9, False),  # 12 and 27 that live to move, at 0.1 m²
        ("default", 3.8, True),
        ("wire", 1.8, True),  # 12 and 27 that live to move, at 465 cm², want 1.81 m²
        ("wire", 1.9, False),
        ("trade", 1.1, False),  # 39 at 80 cm²; and at the least, 250 cm², 0.975 m²
        ("trade", 0.9, True),  # the least holds whatever is chosen
        (None, 1.1, False),
        (None, 0.9, True),
    ],
)
def test_by_the_chosen_standard_and_never_below_the_least(
    standard: str | None, floor_m2: float, told: bool
) -> None:
    assert bool(signs_of(round_on(short_pen(standard, floor_m2), day(1)), SHORT)) is told


def test_a_want_of_room_is_told_some_weeks_ahead_only() -> None:
    journal = [home(), *adults(), pen(4.0), chosen("default"), hatch()]
    # 40 birds at 0.1 m² fill 4 m². The hatch moves on day 45: six weeks before is day 3.
    assert signs_of(round_on(journal, day(2)), SHORT) == []
    [sign] = signs_of(round_on(journal, day(3)), SHORT)
    assert sign.evidence.startswith("About 14 birds of may move to the pens about Wed 16 Jun")
    assert "by published rates of hatch" in sign.evidence
    assert "room for 0 more" in sign.evidence
    assert sign.since == day(3)


def test_another_pen_ends_it_and_one_whose_floor_is_not_told_leaves_it_open() -> None:
    journal = short_pen("default", 1.9)
    assert signs_of(round_on([*journal, pen(3.0, "second")], day(5)), SHORT) == []
    untold = made("place", day(0), place="second", role="pen")
    assert signs_of(round_on([*journal, untold], day(5)), SHORT) == []
    closed = made("place", day(0), place="second", role="pen", floor_m2=3, closed=True)
    assert signs_of(round_on([*journal, closed], day(5)), SHORT)
    none = [home(), *chicks(30), chosen("default")]
    assert signs_of(round_on(none, day(5)), SHORT) == []


def test_two_hatches_share_the_room_that_is_left() -> None:
    journal = [
        home(),
        pen(1.6),
        chosen("default"),
        hatch(),
        hatch("june", "2027-05-05T20:00+01:00"),
    ]
    flock = standing_on(journal, day(10))
    # 16 birds have room; the first hatch brings about 14: 2 are left for the second.
    [short] = short_of_room(flock, day(10), "default")
    assert (short.coming.name, short.room) == ("june", 2)


def test_birds_that_are_planned_to_go_leave_room() -> None:
    journal = short_pen("default", 3.7)
    assert signs_of(round_on(journal, day(5)), SHORT)
    cull = made("cull_planned", day(1), on=str(day(40)), group="chicks", keep_hens=20, keep_cocks=4)
    assert signs_of(round_on([*journal, cull], day(5)), SHORT) == []
    late = made("cull_planned", day(1), on=str(day(60)), group="chicks", keep_hens=20, keep_cocks=4)
    assert signs_of(round_on([*journal, late], day(5)), SHORT)
    old = made(
        "cull_planned", day(1), on=str(day(30)), group="pen birds", keep_hens=6, keep_cocks=2
    )
    assert signs_of(round_on([*journal, old], day(5)), SHORT) == []


def test_a_pen_too_small_by_the_standard_but_not_by_the_least() -> None:
    # 40 grown birds on 2 m², 500 cm² each: enough on wire (465), not by the default (1,000).
    journal = [home(), *adults(), pen(2.0)]
    assert signs_of(round_on(journal, day(1)), "crowded") == []
    assert signs_of(round_on([*journal, chosen("wire")], day(1)), "crowded") == []
    [sign] = signs_of(round_on([*journal, chosen("default")], day(1)), "crowded")
    assert "by the standard that you keep to (quailwright's own default)" in sign.evidence
    assert "they need 4.00 m²" in sign.evidence
    [us] = signs_of(round_on([*journal, chosen("default", "us")], day(1)), "crowded")
    assert "21.5 sq ft" in us.evidence  # 2 m² of 10.7639 square feet
    assert "they need 43.1 sq ft" in us.evidence


def test_a_loose_standard_never_lets_the_least_pass() -> None:
    journal = [home(), *adults(), pen(0.9), chosen("trade")]
    [sign] = signs_of(round_on(journal, day(1)), "crowded")
    assert "at least 1.00 m²" in sign.evidence


def test_a_brooder_outgrown_is_told_a_week_ahead() -> None:
    # 30 chicks: 0.30 m² to day 7, 0.45 m² to day 21, 0.75 m² from day 22 (brooding.floor_week_*).
    brooder = made("place", day(0), place="brooder", role="brooder", floor_m2=0.5)
    journal = [home(), *chicks(30), brooder]
    name = "brooder outgrown soon"
    assert signs_of(round_on(journal, day(13)), name) == []
    [sign] = signs_of(round_on(journal, day(14)), name)
    assert (
        sign.evidence
    ) == "30 birds on 0.50 m². From Sun 23 May, at 21 days of age, they need 0.75 m²."
    assert signs_of(round_on(journal, day(21)), name) == []
    assert signs_of(round_on(journal, day(22)), "crowded")


@pytest.mark.parametrize(
    ("height_m", "standard", "told"),
    [(0.25, None, False), (0.3, None, False), (0.6, None, True), (1.8, None, False),
     (0.6, "wire", True), (0.6, "swiss", False), (0.4, "swiss", True)],
)  # fmt: skip
def test_a_height_between_low_and_tall_common_practice(
    height_m: float, standard: str | None, told: bool
) -> None:
    journal = [home(), *adults(), pen(20.0, height_m=height_m)]
    journal += [chosen(standard)] if standard else []
    found = signs_of(round_on(journal, day(1)), "height between")
    assert bool(found) is told
    # Once: it ends some days after the birds moved in.
    assert signs_of(round_on(journal, day(15)), "height between") == []
    if told:
        assert "hurt their heads" in found[0].evidence


def test_a_height_in_feet_and_inches_for_us_keepers() -> None:
    pens_of = [home(units="us"), *adults(), pen(20.0, height_m=0.6)]
    [sign] = signs_of(round_on(pens_of, day(1)), "height between")
    # 0.6 m is 23.6 in, 0.3 m 11.8 in, 1.2 m 3.9 ft (exact: 1 ft = 0.3048 m).
    for words in ("24 in high", "up to 12 in", "from 3.9 ft"):
        assert words in sign.evidence


def test_pens_in_use_only() -> None:
    journal = [home(), *adults(), *chicks(), pen(4, "spare"),
               made("place", day(0), place="old", role="pen", closed=True)]  # fmt: skip
    flock = standing_on(journal, day(1))
    assert {place.name for place in pens(flock, day(1))} == {"pen", "spare"}
    assert standard_of(flock) is None


def test_a_standard_that_is_none_is_refused_when_it_is_logged() -> None:
    line = b'{"kind":"holding","id":"00000001-0000-4000-8000-000000000001","at":"2027-05-02"'
    kept, [found] = parse_lines(line + b',"space_standard":"palace"}')
    assert kept == []
    assert found.field == "space_standard"
    assert "austrian, default, laboratory, solid, swiss, trade or wire" in found.sentence

"""Heat by week in a room, what was seen against it, and when heat can end."""

from datetime import date

import pytest
from tests.makers import made

from quailwright.flock.fold import fold
from quailwright.flock.state import Flock
from quailwright.guide.brooding import Air, Asked, air_seen, brooding
from quailwright.husbandry import facts
from quailwright.husbandry.brooding import heat_c
from quailwright.husbandry.heat_balance import Box, losses, watts_needed
from quailwright.journal.entries import Spot

ON = date(2027, 5, 2)
BOX = Box(0.8, 0.6, 0.45, "plywood", 0.012, litter_m=0.05)
ENTRIES = (
    made("holding", "2027-01-01", name="Home", timezone="Europe/Lisbon"),
    made("place", "2027-01-01", place="warm box", role="brooder"),
    made("place", "2027-01-01", place="pen", role="pen"),
    made("group", "2027-04-28", group="chicks", place="warm box", chicks=36,
         hatched_on="2027-04-28"),
    made("temperature_seen", "2027-05-01T07:00+01:00", place="warm box", spot="room",
         lowest_c=14, highest_c=22),
    made("temperature_seen", "2027-04-30T07:00+01:00", place="warm box", spot="heated",
         lowest_c=33, highest_c=35),
    made("temperature_seen", "2027-05-01T07:00+01:00", place="warm box", spot="away",
         lowest_c=12, highest_c=24),
    made("temperature_seen", "2027-05-01T07:00+01:00", place="pen", lowest_c=7, highest_c=19),
)  # fmt: skip


@pytest.fixture
def flock() -> Flock:
    return fold(ENTRIES, ON)


def asked(**more: object) -> Asked:
    return Asked(**({"group": "chicks", "place": "warm box"} | more))  # type: ignore[arg-type]


def test_the_plan_runs_from_this_week_to_the_sixth(flock: Flock) -> None:
    found = brooding(flock, ON, asked(), air_seen(flock))
    assert (found.birds, found.age_d) == (36, 4)
    assert [week.week for week in found.weeks] == [1, 2, 3, 4, 5, 6]
    assert found.weeks[0].first == ON
    assert found.weeks[1].first == date(2027, 5, 5)
    # New South Wales DPI and common practice: 35, then 2.8 less a week, 21 at the end.
    assert [week.wanted_c for week in found.weeks] == pytest.approx(
        [35, 32.2, 29.4, 26.6, 23.8, 21]
    )
    assert found.weeks[0].needed_w is None


def test_the_room_is_as_it_was_seen_and_its_coldest_sizes_the_heater(flock: Flock) -> None:
    found = brooding(flock, ON, asked(box=BOX, watts=100.0), air_seen(flock))
    assert (found.room_c, found.room_low_c, found.room_seen) == (18.0, 14.0, 1)
    first = found.weeks[0]
    assert first.needed_w is not None
    kg = first.birds_w  # The balance itself, asked by hand.
    lost = losses(BOX, 36 * 16.2 / 1000.0)
    by_hand = float(watts_needed(lost, heat_c(4), 14.0, kg))
    assert first.needed_w.usual == pytest.approx(by_hand, rel=0.02)
    assert first.needed_w.least < first.needed_w.usual < first.needed_w.most


def test_what_was_told_of_the_room_comes_before_what_was_seen(flock: Flock) -> None:
    found = brooding(flock, ON, asked(room_c=20.0), air_seen(flock))
    assert (found.room_c, found.room_low_c, found.room_told) == (20.0, 20.0, True)


def test_a_stronger_heater_is_enough_and_rests_more(flock: Flock) -> None:
    verdicts, duties = [], []
    for watts in (20.0, 110.0, 135.0, 1000.0):
        week = brooding(flock, ON, asked(box=BOX, watts=watts), air_seen(flock)).weeks[0]
        verdicts.append(week.enough)
        duties.append(week.duty or 0.0)
    assert verdicts == ["no", "perhaps", "likely", "yes"]
    assert duties == sorted(duties, reverse=True)
    assert duties[0] == 1.0


def test_energy_is_no_more_than_the_heater_has(flock: Flock) -> None:
    found = brooding(flock, ON, asked(box=BOX, watts=20.0), air_seen(flock))
    assert found.kwh is not None
    assert found.heat_days == 24
    assert found.kwh.most <= 20.0 * 24 * 24 / 1000.0 + 1e-9


def test_without_power_a_box_of_foam_stays_warm_longer(flock: Flock) -> None:
    foam = Box(0.8, 0.6, 0.45, "eps", 0.05, litter_m=0.05)
    plain, lined = (brooding(flock, ON, asked(box=box, room_c=15.0), []).cut for box in (BOX, foam))
    assert plain is not None
    assert lined is not None
    assert plain.to_danger_h.usual < lined.to_danger_h.usual
    assert plain.to_danger_h.least <= plain.to_danger_h.usual <= plain.to_danger_h.most
    assert plain.to_cold_h.usual < plain.to_danger_h.usual


def test_twelve_degrees_away_from_the_heat_is_danger_and_33_under_it_is_well(
    flock: Flock,
) -> None:
    found = brooding(flock, ON, asked(), air_seen(flock))
    assert [(one.air.spot, one.verdict) for one in found.seen] == [
        ("heated", "well"),
        ("away", "danger"),
    ]


def test_the_room_away_from_a_plate_is_no_danger_but_under_it_the_same_air_is(
    flock: Flock,
) -> None:
    # A popular guide has rooms of 18 to 24 degrees C about the heat source in these weeks; chicks
    # of 6 days could not move after 6 hours at 13 (Wentworth, Cigan and Schaaf 2009).
    def verdict(spot: Spot | None, lowest_c: float) -> str:
        air = [Air(ON, "warm box", lowest_c, None, spot)]
        return brooding(flock, ON, asked(), air).seen[0].verdict

    assert verdict("away", 20.0) == verdict(None, 20.0) == "well"
    assert verdict("away", 13.0) == verdict(None, 13.0) == "danger"
    assert verdict("heated", 20.0) == "danger"
    assert verdict("heated", 30.0) == "cold"


def test_readings_count_beside_what_was_written_down(flock: Flock) -> None:
    read = Air(ON, "warm box", 31.0, 39.5, None, by_readings=True)
    found = brooding(flock, ON, asked(), [*air_seen(flock), read])
    assert [one.verdict for one in found.seen] == ["well", "danger", "hot"]


def test_nights_seen_in_the_pen_decide_and_nights_told_come_before_them(flock: Flock) -> None:
    # Keepers: groups came through nights of 5 to 10 degrees C (common practice, no source).
    air = air_seen(flock)
    out = brooding(flock, ON, asked(), air).out
    assert [(one.of, one.lowest_c, one.nights) for one in out.nights] == [("pen", 7.0, 1)]
    assert out.allows == "in groups"
    assert brooding(flock, ON, asked(nights_c={"2027-05": 12.0}), air).out.allows == "yes"
    assert brooding(flock, ON, asked(nights_c={"2027-06": 2.0}), air).out.allows == "no"
    assert brooding(flock, ON, asked(nights_c={"2027-12": 2.0}), air).out.allows == "in groups"
    assert brooding(flock, ON, asked(), []).out.allows is None


def test_days_of_feathers_and_of_going_out_are_those_of_the_sources(flock: Flock) -> None:
    # NSW DPI: fully feathered at 21 to 28 days; keepers: heat off at about 21 days indoors,
    # outside at 28 to 42 days.
    out = brooding(flock, ON, asked(), []).out
    assert out.feathered_on == (date(2027, 5, 19), date(2027, 5, 26))
    assert out.heat_ends_on == (date(2027, 5, 19), date(2027, 6, 9))
    assert out.out_on == (date(2027, 5, 26), date(2027, 6, 9))


def test_a_warm_room_ends_heat_by_itself(flock: Flock) -> None:
    assert brooding(flock, ON, asked(room_c=18.0), []).out.room_enough_on is None
    warm = brooding(flock, ON, asked(room_c=27.0), []).out.room_enough_on
    assert warm == date(2027, 5, 19)
    hot = brooding(flock, ON, asked(room_c=38.0, box=BOX, watts=50.0), [])
    assert hot.weeks[0].needed_w is not None
    assert hot.weeks[0].needed_w.most == 0.0


def test_grown_birds_have_no_plan(flock: Flock) -> None:
    found = brooding(flock, ON, asked(age_d=60, box=BOX, room_c=10.0), [])
    assert found.weeks == ()
    assert found.heat_days == 0


def test_chicks_still_to_come_are_reckoned_without_their_own_heat(flock: Flock) -> None:
    found = brooding(flock, ON, Asked(box=BOX, room_c=18.0), [])
    assert (found.birds, found.age_d, found.hatched_on) == (0, 0, ON)
    assert found.weeks[0].birds_w == 0.0
    assert facts.value("brooding.heat_start") == found.weeks[0].wanted_c


def test_a_room_told_by_month_counts_in_its_month(flock: Flock) -> None:
    plain = brooding(flock, ON, asked(box=BOX, room_c=18.0), [])
    found = brooding(flock, ON, asked(box=BOX, room_c=18.0, rooms_c={"2027-06": 10.0}), [])
    assert [week.room_c for week in found.weeks] == [18, 18, 18, 18, 18, 10]
    for week, before in zip(found.weeks, plain.weeks, strict=True):
        assert week.needed_w is not None
        assert before.needed_w is not None
        assert (week.needed_w.usual > before.needed_w.usual) is (week.first.month == 6)
    now = brooding(flock, ON, asked(box=BOX, rooms_c={"2027-05": 20.0}), air_seen(flock))
    assert (now.room_c, now.room_told, now.room_seen) == (20.0, True, 0)
    warm = brooding(flock, ON, asked(room_c=10.0, rooms_c={"2027-06": 25.0}), [])
    assert warm.out.room_enough_on == date(2027, 6, 1)

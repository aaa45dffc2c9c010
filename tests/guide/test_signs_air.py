"""Brooders and pens too cold or too warm for the birds in them, and warmth that nobody reads."""

from typing import Any

import pytest
from tests.guide.rounds import adults, chicks, day, home, standing_on
from tests.makers import made

from quailwright.guide.signs import Sign
from quailwright.guide.signs.air import limits, signs_of_air
from quailwright.husbandry import facts
from quailwright.journal.entries import Entry

COLD, HOT, LATE, BLIND = (
    "brooder too cold", "brooder too hot", "heat kept too high", "warmth not measured",
)  # fmt: skip


def seen(number: int, place: str = "brooder", **read: Any) -> Entry:
    return made("temperature_seen", day(number), place=place, **read)


def signs(journal: list[Entry], on: int) -> list[Sign]:
    return list(signs_of_air(standing_on(journal, day(on)), day(on)))


def brooder(*entries: Entry, units: str = "metric") -> list[Entry]:
    return [home(units=units), *chicks(36), *entries]


def test_12_degrees_away_from_the_plate_on_day_2() -> None:
    """13 °C laid all 12 chicks of 6 days still: Wentworth, Cigan and Schaaf 2009."""
    [sign] = signs(brooder(seen(2, lowest_c=12, spot="away")), 2)
    assert (sign.sign, sign.where, sign.since) == (COLD, "brooder", day(2))
    assert sign.evidence == (
        "12 °C away from the heat (Tue 4 May): at 2 days a chick that strays there chills below "
        "about 18 °C; under the heat they want 32.2 to 35 °C."
    )
    assert sign.check.startswith("Before tonight")


def test_the_keepers_own_unit_is_spoken() -> None:
    [sign] = signs(brooder(seen(2, lowest_c=12, spot="away"), units="us"), 2)
    assert "53.6 °F" in sign.evidence
    assert "90 to 95 °F" in sign.check


@pytest.mark.parametrize(
    ("number", "read"),
    [
        (2, {"lowest_c": 20, "spot": "away"}),  # a plate in a room of 20 °C is usual
        (2, {"lowest_c": 20}),
        (2, {"lowest_c": 32, "highest_c": 38, "spot": "heated"}),
        (16, {"lowest_c": 14, "highest_c": 30, "spot": "away"}),
        (24, {"lowest_c": 10, "spot": "away"}),
    ],
)
def test_what_they_bear_is_no_sign(number: int, read: dict[str, Any]) -> None:
    assert signs(brooder(seen(number, **read)), number) == []


def test_limits_fall_with_age_and_published_cold_lies_below_them() -> None:
    falls = [limits(age, "away").low for age in (0, 7, 14, 21, 27)]
    assert falls == sorted(falls, reverse=True)
    deadly = facts.rows("brooding.away_danger_week_1")[1]
    assert "Wentworth" in deadly.source
    assert deadly.value is not None
    assert deadly.value < limits(6, "away").low < limits(6, "heated").low


def test_a_plate_that_failed() -> None:
    [sign] = signs(brooder(seen(3, lowest_c=22, spot="heated")), 3)
    assert sign.sign == COLD
    assert "under the heat" in sign.evidence


def test_an_outage_tells_too() -> None:
    outage = made("outage", day(3), place="brooder", minutes=240, lowest_c=14)
    assert [sign.sign for sign in signs(brooder(outage), 3)] == [COLD]


def test_the_cool_end_too_hot_leaves_them_nowhere_to_go() -> None:
    [sign] = signs(brooder(seen(3, highest_c=40, spot="away")), 3)
    assert (sign.sign, sign.where) == (HOT, "brooder")
    assert "nowhere to go" in sign.evidence


def test_late_heat_that_never_falls_is_to_be_stepped_down() -> None:
    """Week 4: 23.9 to 26.7 °C (Mississippi State), 24.5 (New South Wales Primefact 602)."""
    [sign] = signs(brooder(seen(23, lowest_c=30, highest_c=32, spot="heated")), 23)
    assert sign.sign == LATE
    assert "23.9 to 26.7 °C" in sign.evidence
    assert signs(brooder(seen(3, lowest_c=36, highest_c=38, spot="heated")), 3) == []


def test_chicks_whose_warmth_nobody_reads() -> None:
    assert [sign.sign for sign in signs(brooder(), 0)] == []
    assert [sign.sign for sign in signs(brooder(), 2)] == [BLIND]
    assert signs(brooder(), 9) == []
    assert signs(brooder(seen(2, lowest_c=30, spot="heated")), 2) == []
    looked = made("care", day(2), task="brooder_check", place="brooder")
    assert signs(brooder(looked), 2) == []


def test_readings_are_told_of_for_some_days() -> None:
    journal = brooder(seen(2, lowest_c=12, spot="away"), seen(5, lowest_c=25, spot="away"))
    assert [n for n in range(2, 12) if COLD in {s.sign for s in signs(journal, n)}] == [2, 3, 4, 5]


def pen(*entries: Entry) -> list[Entry]:
    return [home(), *adults(), *entries]


def test_a_pen_in_the_heat_and_in_the_frost() -> None:
    """Lay is kept to 33 °C (UNESP cyclic heat study); -7 °C dry and still: keepers' own limit."""
    [hot] = signs(pen(seen(3, "pen", highest_c=36)), 3)
    assert (hot.sign, hot.check.startswith("Cool water in the shade")) == ("pen too hot", True)
    [cold] = signs(pen(seen(3, "pen", lowest_c=-10)), 3)
    assert (cold.sign, cold.check.startswith("Water that is not frozen")) == ("pen too cold", True)
    assert signs(pen(seen(3, "pen", lowest_c=-5, highest_c=31)), 3) == []


def test_an_empty_brooder_and_an_incubator_show_nothing() -> None:
    empty = made("place", "2027-01-01", place="spare", role="brooder")
    machine = made("place", "2027-01-01", place="box", role="incubator")
    journal = pen(empty, machine, seen(3, "spare", lowest_c=3), seen(3, "box", lowest_c=3))
    assert signs(journal, 3) == []


def plate(**more: Any) -> Entry:
    return made("place", day(0), place="brooder", role="brooder", **more)


def test_a_cold_room_is_no_sign_while_the_plate_is_warm() -> None:
    """Chicks live under the plate, not in the room; a plate in a cool room is common practice."""
    room = seen(2, lowest_c=12, spot="room")
    warm = seen(2, lowest_c=33, highest_c=36, spot="heated")
    assert signs(brooder(room, warm), 2) == []
    assert COLD not in {s.sign for s in signs(brooder(plate(heater_w=40), room), 2)}
    assert [s.sign for s in signs(brooder(room), 2)][:1] == [COLD]
    cold = seen(2, lowest_c=22, spot="heated")
    assert COLD in {s.sign for s in signs(brooder(plate(heater_w=40), room, cold), 2)}
    out = made("outage", day(2), place="brooder", minutes=240)
    assert COLD in {s.sign for s in signs(brooder(plate(heater_w=40), room, out), 2)}


def test_the_room_alone_does_not_tell_how_warm_chicks_are() -> None:
    room = [seen(n, lowest_c=19, spot="room") for n in (0, 1, 2)]
    assert [s.sign for s in signs(brooder(*room), 2)] == [BLIND]

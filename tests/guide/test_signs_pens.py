"""Signs of lay, feed, water and cracked eggs: a pen against itself, beside the other pens.

Scenarios are invented; what is held is what a keeper should see, and when.
"""

import random
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.guide.rounds import round_on, standing_on
from tests.makers import made

from quailwright.guide.signs import Sign, signs
from quailwright.guide.signs.pens import when_to_ring
from quailwright.guide.signs.report import signs_report
from quailwright.guide.signs.watch import Scored, Seen, off_its_level
from quailwright.journal.entries import Entry

START = date(2027, 5, 3)
"""A Monday, in long days: no light fails by itself."""


def day(number: int) -> date:
    return START + timedelta(days=number)


def pen(name: str, hens: int = 15, **more: object) -> list[Entry]:
    fields = {"hens": hens, "hatched_on": "2026-10-20", **more}
    return [
        made("place", "2027-01-01", place=f"pen {name}", role="pen"),
        made("group", "2027-01-02", group=f"hens {name}", place=f"pen {name}", **fields),
    ]


def home(**more: object) -> Entry:
    return made("holding", "2027-01-01", timezone="Europe/Lisbon", light_target_h=15, **more)


def week_of_days(eggs: int, rng: random.Random) -> list[int]:
    """A week's eggs by day, as even as they can be, in an order of chance."""
    days = [eggs // 7 + (number < eggs % 7) for number in range(7)]
    rng.shuffle(days)
    return days


def laid(name: str, by_day: Sequence[int | None]) -> list[Entry]:
    return [
        made("eggs_collected", day(number), group=f"hens {name}", eggs=eggs)
        for number, eggs in enumerate(by_day)
        if eggs is not None
    ]


def fed(name: str, grams: Sequence[float], hens: int = 15) -> list[Entry]:
    return [
        made("feed_given", day(n), feed="layer", kg=round(hens * g / 1000, 3), place=f"pen {name}")
        for n, g in enumerate(grams)
    ]


def watered(name: str, millilitres: Sequence[float], hens: int = 15) -> list[Entry]:
    return [
        made("water_given", day(n), litres=round(hens * ml / 1000, 3), place=f"pen {name}")
        for n, ml in enumerate(millilitres)
    ]


def steady(days: int, share: float = 0.8, hens: int = 15, seed: int = 1) -> list[int]:
    rng = random.Random(seed)
    return [sum(rng.random() < share for _ in range(hens)) for _ in range(days)]


def signs_on(journal: Sequence[Entry], on: date) -> list[Sign]:
    return list(signs(standing_on(journal, on), on))


def first_sign(journal: Sequence[Entry], name: str, days: int) -> tuple[int, Sign]:
    for number in range(days):
        for sign in signs_on(journal, day(number)):
            if sign.sign == name:
                return number, sign
    raise AssertionError(f"no {name!r} in {days} days")


FALLS = (84, 85, 83, 62, 44)
HOLDS = (82, 83, 81, 82, 82)
APPETITE = [26.0] * 21 + [25.0, 24.0, 23.0, 22.0, 21.0, 20.0, 19.0] + [19.0] * 7


def two_pens(seed: int, feed: bool = True) -> list[Entry]:
    """Thirty hens in two pens of fifteen on one feed and one lamp, of which one pen falls."""
    rng = random.Random(seed)
    journal = [home(), *pen("a"), *pen("b")]
    journal += laid("a", [eggs for week in FALLS for eggs in week_of_days(week, rng)])
    journal += laid("b", [eggs for week in HOLDS for eggs in week_of_days(week, rng)])
    if feed:
        journal += fed("a", APPETITE) + fed("b", [26.0] * 35)
    return journal


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("feed", [True, False])
def test_a_pen_that_falls_alone_is_seen_inside_its_week_and_water_comes_first(
    seed: int, feed: bool
) -> None:
    journal = two_pens(seed, feed)
    number, sign = first_sign(journal, "lay falls", 35)
    assert 21 <= number < 28  # the fourth week
    assert sign.where == "pen a"
    assert day(19) <= sign.since <= day(number)
    assert sign.check.startswith("Water at pen a today")
    told = " ".join(sign.shared)
    assert "Light: pen b, under the same" in told
    assert "Age: pen b, as old" in told
    if feed:
        assert "Feed: pen b, on the same (layer)" in told
    first_to_check = (sign.check, *sign.then[:1])
    assert not any(word in " ".join(first_to_check).lower() for word in ("lamp", "age", "new feed"))


def test_the_sign_gives_its_figures() -> None:
    [sign] = [s for s in signs_on(two_pens(0), day(27)) if s.sign == "lay falls"]
    assert "62 eggs counted for 7 days" in sign.evidence
    assert "pen b holds: 82 eggs in 7 days" in sign.evidence
    assert "Feed fell from 26 to 2" in sign.evidence
    assert "ring a vet or the animal-health line" in sign.ring


def test_weekly_sums_are_enough() -> None:
    journal = [home(), *pen("a"), *pen("b")]
    for name, weeks in (("a", FALLS), ("b", HOLDS)):
        journal += [
            made("eggs_collected", day(7 * n + 6), group=f"hens {name}", eggs=eggs)
            for n, eggs in enumerate(weeks)
        ]
    number, sign = first_sign(journal, "lay falls", 35)
    assert (number, sign.where) == (27, "pen a")


def test_pens_that_fall_together_point_to_what_they_share() -> None:
    rng = random.Random(3)
    weeks = [eggs for week in (84, 83, 85, 60, 40) for eggs in week_of_days(week, rng)]
    journal = [home(lamp_on="05:00", lamp_off="09:00"), *pen("a"), *pen("b")]
    journal += laid("a", weeks) + laid("b", weeks)
    journal.append(made("outage", day(19), place="pen a", minutes=300))
    _, sign = first_sign(journal, "lay falls", 35)
    [sign] = [s for s in signs_on(journal, day(27)) if s.sign == "lay falls"]
    assert sign.where == "pen a, pen b"
    assert sign.check.startswith("Lamp and timer: after an outage")
    assert sign.shared == ()


def test_heat_told_comes_first_when_all_fall() -> None:
    rng = random.Random(4)
    weeks = [eggs for week in (84, 83, 85, 58) for eggs in week_of_days(week, rng)]
    journal = [home(), *pen("a"), *pen("b"), *laid("a", weeks), *laid("b", weeks)]
    journal += [
        made("temperature_seen", day(n), place="pen a", highest_c=38) for n in range(20, 27)
    ]
    [sign] = [s for s in signs_on(journal, day(27)) if s.sign == "lay falls"]
    assert sign.check.startswith("Shade")
    assert "38" in " ".join(sign.unshared)


def test_water_that_falls_is_told_before_the_eggs() -> None:
    drunk = [50.0] * 24 + [26.0] * 4
    journal = [home(), *pen("a"), *laid("a", steady(28)), *watered("a", drunk)]
    number, sign = first_sign(journal, "water falls", 28)
    assert number <= 26
    assert sign.check.startswith("Water at pen a today: they drink less")
    assert "from 50 to" in sign.evidence


def test_feed_alone_says_water_first_too() -> None:
    journal = [home(), *pen("a"), *laid("a", steady(28)), *fed("a", [25.0] * 22 + [19.0] * 6)]
    number, sign = first_sign(journal, "feed falls", 28)
    assert number <= 26
    assert sign.check.startswith("Water at pen a today")
    assert sign.unshared[0] == "Its own drinker."


def test_cracked_eggs_that_rise_are_told() -> None:
    journal = [home(), *pen("a", hens=30)]
    for number, eggs in enumerate(steady(40, hens=30)):
        cracked = (number % 4 == 0) if number < 33 else 5
        journal.append(
            made("eggs_collected", day(number), group="hens a", eggs=eggs, cracked=int(cracked))
        )
    number, sign = first_sign(journal, "more cracked eggs", 40)
    assert 33 <= number <= 38
    assert sign.check.startswith("Oyster shell")


# What is no sign.


def test_days_not_logged_are_no_eggs_and_no_sign() -> None:
    eggs: list[int | None] = [*steady(30)]
    for number in range(22, 29):
        eggs[number] = None
    journal = [home(), *pen("a"), *pen("b"), *laid("a", eggs), *laid("b", steady(30, seed=2))]
    assert all(
        sign.sign != "lay falls" for n in range(20, 30) for sign in signs_on(journal, day(n))
    )


def test_a_count_after_a_gap_may_be_of_several_days() -> None:
    eggs: list[int | None] = [*steady(30)]
    eggs[24] = eggs[25] = None
    eggs[26] = 36
    journal = [home(), *pen("a"), *laid("a", eggs)]
    assert [s for n in range(20, 30) for s in signs_on(journal, day(n)) if "fall" in s.sign] == []


def test_hens_that_leave_take_their_eggs_along() -> None:
    eggs = [*steady(24), *steady(10, hens=8, seed=5)]
    journal = [home(), *pen("a"), *laid("a", eggs)]
    journal.append(made("birds_out", day(23), group="hens a", hens=7, use="sold"))
    assert [s for n in range(20, 34) for s in signs_on(journal, day(n)) if "fall" in s.sign] == []


def test_the_first_half_of_a_day_is_no_fall() -> None:
    journal = [home(), *pen("a")]
    for number, eggs in enumerate(steady(30)):
        journal.append(made("eggs_collected", day(number), group="hens a", eggs=eggs // 2))
        if number < 29:
            rest = eggs - eggs // 2
            journal.append(made("eggs_collected", day(number), group="hens a", eggs=rest))
    assert [s for s in signs_on(journal, day(29)) if "fall" in s.sign] == []


@pytest.mark.parametrize("rests", [True, False])
def test_a_rest_in_the_dark_months_is_no_sign(rests: bool) -> None:
    """Without a lamp lay fades from October on at 52 degrees north; nobody is called for that."""
    holding = made(
        "holding", "2027-01-01", timezone="Europe/Berlin", latitude=52.5,
        **({"rests_in_winter": True} if rests else {}),
    )  # fmt: skip
    journal = [holding, *pen("a", hens=20)]
    rng = random.Random(7)
    first = date(2027, 8, 1)
    for number in range(130):
        share = 0.8 if number < 55 else max(0.0, 0.8 - 0.8 * (number - 55) / 60)
        eggs = sum(rng.random() < share for _ in range(20))
        on = first + timedelta(days=number)
        journal.append(made("eggs_collected", on, group="hens a", eggs=eggs))
    told = [
        sign
        for number in range(40, 130, 3)
        for sign in signs_on(journal, first + timedelta(days=number))
        if "fall" in sign.sign
    ]
    assert told == []


def test_a_fall_that_mends_is_no_longer_told() -> None:
    eggs = [*steady(24), *steady(6, share=0.4), *steady(14, seed=3)]
    journal = [home(), *pen("a"), *laid("a", eggs)]
    told = [any(s.sign == "lay falls" for s in signs_on(journal, day(n))) for n in range(len(eggs))]
    assert any(told[24:32])
    assert not any(told[38:])


def test_a_new_level_is_the_usual_one_in_the_end() -> None:
    eggs = [*steady(24), *steady(50, share=0.5)]
    journal = [home(), *pen("a"), *laid("a", eggs)]
    assert any(s.sign == "lay falls" for s in signs_on(journal, day(30)))
    assert not any(s.sign == "lay falls" for s in signs_on(journal, day(73)))


# The sum itself.


def plain(one: Seen, before: Sequence[Seen]) -> Scored:
    return Scored(one.amount, 2.0)


@given(st.lists(st.floats(-3, 3), min_size=20, max_size=60), st.integers(0, 59))
def test_a_sign_stands_only_where_the_sum_passed(scores: list[float], number: int) -> None:
    seen = [Seen(day(n), score, 1.0, 1.0) for n, score in enumerate(scores)]
    upto = min(number, len(seen) - 1)
    off = off_its_level(seen[: upto + 1], plain, seen[upto].day, 900.0)
    if off is not None:
        assert off.since <= off.told_on <= seen[upto].day
        assert off.before[-1].day < off.since
        assert max(scores[: upto + 1]) > 1.0


@given(st.lists(st.integers(0, 15), min_size=25, max_size=45), st.integers(0, 24))
def test_more_eggs_never_make_a_sign_of_today(eggs: list[int], more: int) -> None:
    """Raising only today's count cannot raise an alarm that was not there."""
    journal = [home(), *pen("a"), *laid("a", eggs)]
    on = day(len(eggs) - 1)
    fuller = [*eggs[:-1], min(15, eggs[-1] + more)]
    was = any(s.sign == "lay falls" for s in signs_on(journal, on))
    now = any(s.sign == "lay falls" for s in signs_on([home(), *pen("a"), *laid("a", fuller)], on))
    assert was or not now


def test_false_signs_a_year_set_how_easily_one_comes() -> None:
    journal = two_pens(0, feed=False)
    seldom = first_sign([*journal, home(false_signs_a_year=0.1)], "lay falls", 35)[0]
    often = first_sign([*journal, home(false_signs_a_year=12)], "lay falls", 35)[0]
    assert often < seldom


# Whom to ring, and what is watched.


def test_numbers_to_ring_stand_with_the_sign() -> None:
    journal = [home(), made("contact", "2027-01-01", contact="the vet", role="vet", phone="0100")]
    assert "ring the vet (0100)." in when_to_ring(standing_on(journal, day(0)))


def test_what_is_watched_and_what_is_not() -> None:
    told = signs_report(standing_on(two_pens(0), day(20)), day(20))
    assert [(one.place, one.what, one.ready) for one in told.watched] == [
        ("pen a", "eggs", True), ("pen a", "feed", True),
        ("pen b", "eggs", True), ("pen b", "feed", True),
    ]  # fmt: skip
    assert {(one.place, one.what) for one in told.blind} == {("pen a", "water"), ("pen b", "water")}
    assert told.signs == ()
    assert told.answer == "Nothing looks wrong, as far as the record tells."
    assert told.watched[0].amount(told.watched[0].usual) == "0.80 a hen and day"


def test_an_empty_flock_has_no_signs() -> None:
    told = signs_report(standing_on([], day(0)), day(0))
    assert (told.signs, told.watched, told.blind) == ((), (), ())
    assert replace(told).answer.startswith("Nothing looks wrong, but too little")


def test_the_round_carries_the_signs() -> None:
    found = [sign.sign for sign in round_on(two_pens(0), day(27)).signs]
    assert found == ["lay falls"]


@pytest.mark.parametrize(
    ("start", "latitude"),
    [("2027-05-03", 38.7), ("2027-09-06", 52.0), ("2027-10-04", 60.0), ("2027-01-04", 60.0),
     ("2027-03-01", -35.0), ("2027-06-07", -35.0)],
)  # fmt: skip
@pytest.mark.parametrize("weekly", [False, True])
def test_a_fall_beside_a_pen_that_holds_is_seen_where_no_light_is_told(
    start: str, latitude: float, weekly: bool
) -> None:
    """Hens that lay in the dark months have a lamp that nobody told of; the pen beside shows it."""
    rng = random.Random(3)
    first = date.fromisoformat(start)
    before = str(first - timedelta(days=100))
    journal = [made("holding", before, timezone="UTC", latitude=latitude, longitude=0.0)]
    for name, weeks in (("a", FALLS), ("b", HOLDS)):
        journal += [
            made("place", before, place=f"pen {name}", role="pen"),
            made("group", before, group=name, place=f"pen {name}", hens=15,
                 hatched_on=str(first - timedelta(days=190))),
        ]  # fmt: skip
        by_day = [eggs for week in weeks for eggs in week_of_days(week, rng)]
        if weekly:
            by_day = [sum(by_day[n - 6 : n + 1]) if n % 7 == 6 else -1 for n in range(35)]
        journal += [
            made("eggs_collected", first + timedelta(days=n), group=name, eggs=eggs)
            for n, eggs in enumerate(by_day)
            if eggs >= 0
        ]
    for number in range(28):
        found = [s for s in signs_on(journal, first + timedelta(days=number)) if "lay" in s.sign]
        if found:
            break
    [sign] = found
    assert 21 <= number < 28
    assert (sign.where, sign.check[:20]) == ("pen a", "Water at pen a today")
    assert any(text.startswith("Light: pen b") for text in sign.shared)


def test_lay_in_the_dark_proves_a_lamp_that_nobody_told_of() -> None:
    """At 52 degrees in December no hen lays by daylight: steady lay is a lamp's, and is watched."""
    holding = made("holding", "2027-01-01", timezone="Europe/Berlin", latitude=52.5)
    journal = [holding, *pen("a", hens=20)]
    first = date(2027, 10, 15)
    rng = random.Random(3)
    for number in range(80):
        share = 0.8 if number < 70 else 0.3
        eggs = sum(rng.random() < share for _ in range(20))
        on = first + timedelta(days=number)
        journal.append(made("eggs_collected", on, group="hens a", eggs=eggs))
    quiet = [s for n in range(60, 70) for s in signs_on(journal, first + timedelta(days=n))]
    assert [s for s in quiet if s.sign == "lay falls"] == []
    [sign] = [s for s in signs_on(journal, first + timedelta(days=76)) if s.sign == "lay falls"]
    assert sign.since >= first + timedelta(days=69)


def test_hens_that_stop_for_the_winter_may_eat_less() -> None:
    holding = made(
        "holding", "2027-01-01", timezone="Europe/Berlin", latitude=52.5, rests_in_winter=True
    )
    journal = [holding, *pen("a", hens=20)]
    first = date(2027, 9, 1)
    for number in range(100):
        on = first + timedelta(days=number)
        lay = 0.8 if number < 30 else max(0.0, 0.8 - 0.8 * (number - 30) / 45)
        journal.append(made("eggs_collected", on, group="hens a", eggs=round(20 * lay)))
        kg = round(20 * (0.016 + 0.010 * lay), 3)
        journal.append(made("feed_given", on, feed="layer", kg=kg, place="pen a"))
    told = [s.sign for n in range(30, 100, 2) for s in signs_on(journal, first + timedelta(days=n))]
    assert [name for name in told if name in ("lay falls", "feed falls", "more feed a dozen")] == []


def test_one_head_count_is_no_habit() -> None:
    journal = [home(), *pen("a"), made("birds_counted", day(0), group="hens a", hens=15)]
    assert [s.sign for s in signs_on(journal, day(14)) if "looked" in s.sign] == []

"""Birds, eggs and feed by day: every bird accounted for, bird-weeks counted by hand."""

from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.flock.journals import DAYS, journals
from tests.makers import made
from tests.outlook.flocks import LISBON, ON, hens, laid

from quailwright.flock.appetite import eaten_g_per_day
from quailwright.flock.cohorts import AGE_CLASSES, GroupHistory, birds_on, group_history
from quailwright.flock.cohorts_by_day import birds_by_day
from quailwright.flock.fold import fold
from quailwright.flock.history import feed_use, laid_days
from quailwright.flock.state import CLASSES
from quailwright.journal.entries import Entry

LAST = date(2027, 5, 30)


def history(entries: list[Entry], group: str = "hens", on: date = LAST) -> GroupHistory:
    return group_history(fold(entries, on).groups[group], on)


def chicks(number: int, at: str, hatched_on: str | None, group: str = "young") -> Entry:
    return made("group", at, group=group, place="box", chicks=number, hatched_on=hatched_on)


@given(journals())
@settings(max_examples=80)
def test_cohorts_hold_the_birds_that_the_group_holds(entries: list[Entry]) -> None:
    for on in (DAYS[3], DAYS[-1]):
        for group in fold(entries, on).groups.values():
            past = group_history(group, on)
            for name in CLASSES:
                held = sum(getattr(cohort, name) for cohort in past.cohorts)
                assert held == pytest.approx(getattr(group.alive, name), abs=1e-6), name
            assert all(
                getattr(cohort, name) >= 0
                for stretch in past.stretches
                for cohort in stretch.cohorts
                for name in CLASSES
            )


@given(journals())
@settings(max_examples=60)
def test_days_of_birds_follow_one_another_and_deaths_are_birds(entries: list[Entry]) -> None:
    for group in fold(entries, DAYS[-1]).groups.values():
        past = group_history(group, DAYS[-1])
        ends = [(stretch.first, stretch.end) for stretch in past.stretches]
        assert all(first < end for first, end in ends)
        assert all(a[1] <= b[0] for a, b in pairwise(ends))
        dead = sum(past.lived[name].deaths for name in AGE_CLASSES)
        assert 0 <= dead <= sum(group.came.values()) + sum(group.gone.values()) + 60


@given(journals(), st.integers(-3, 3), st.sampled_from([0.0, 0.4, 1.0, 1.7]))
@settings(max_examples=60)
def test_arrays_of_days_hold_what_the_cohorts_hold_one_by_one(
    entries: list[Entry], early: int, laying: float
) -> None:
    days = [DAYS[0] + timedelta(days=early + n) for n in range(len(DAYS) + 40)]
    for group in fold(entries, DAYS[-1]).groups.values():
        past = group_history(group, days[-1])
        found = birds_by_day(past, days[0], len(days))
        one_by_one = birds_on(past, days)
        for name in CLASSES:
            birds = [sum(getattr(cohort, name) for cohort in some) for some in one_by_one]
            assert getattr(found, name).sum(axis=1) == pytest.approx(birds)
        eaten = [
            sum(eaten_g_per_day(cohort, day, laying) for cohort in some)
            for day, some in zip(days, one_by_one, strict=True)
        ]
        assert found.eaten_g(np.full(len(days), laying)) == pytest.approx(eaten)


def test_bird_weeks_by_hand() -> None:
    past = history(
        [
            chicks(10, "2027-05-03", "2027-05-01"),
            made("birds_died", "2027-05-10", group="young", chicks=2),
            made("birds_out", "2027-05-20", group="young", use="sold", chicks=3),
        ],
        "young",
        date(2027, 5, 25),
    )
    # Hatched on 1 May: week 1 is 1 to 7, week 2 is 8 to 14, week 3 is 15 to 21 May.
    # 10 birds on 3 to 9 May, 8 on 10 to 19 May, 5 on 20 to 25 May (the last day counts whole).
    assert past.lived["week_1"].bird_weeks * 7 == pytest.approx(5 * 10)
    assert past.lived["week_2"].bird_weeks * 7 == pytest.approx(2 * 10 + 5 * 8)
    assert past.lived["week_3"].bird_weeks * 7 == pytest.approx(5 * 8 + 2 * 5)
    assert past.lived["grower"].bird_weeks * 7 == pytest.approx(4 * 5)
    assert past.lived["week_2"].deaths == 2
    assert sum(past.lived[name].deaths for name in AGE_CLASSES) == 2


def test_grown_hens_and_cocks_live_apart() -> None:
    past = history(
        [
            hens(20, at="2027-05-03", hatched_on="2026-10-01", cocks=4),
            made("birds_died", "2027-05-17", group="hens", cocks=1),
        ]
    )
    # 20 hens on 28 days; 4 cocks on 14 days and 3 on 14 days.
    assert past.lived["hen"].bird_weeks == pytest.approx(20 * 4)
    assert past.lived["cock"].bird_weeks == pytest.approx(4 * 2 + 3 * 2)
    assert (past.lived["hen"].deaths, past.lived["cock"].deaths) == (0, 1)


def test_birds_missing_at_a_count_are_deaths() -> None:
    past = history(
        [hens(20, at="2027-05-01"), made("birds_counted", "2027-05-20", group="hens", hens=18)]
    )
    assert past.lived["hen"].deaths == 2
    assert past.cohorts[0].hens == 18


def test_birds_miscounted_and_found_again_did_not_die() -> None:
    past = history(
        [
            hens(50, at="2027-05-01"),
            made("birds_counted", "2027-05-20", group="hens", hens=45),
            made("birds_counted", "2027-05-21", group="hens", hens=50),
        ]
    )
    assert past.cohorts[0].hens == 50
    assert past.lived["hen"].deaths == pytest.approx(0, abs=0.01)


def test_birds_sold_given_or_lost_are_no_deaths() -> None:
    past = history(
        [
            hens(20, at="2027-05-01"),
            made("birds_out", "2027-05-10", group="hens", use="sold", hens=5),
            made("birds_out", "2027-05-11", group="hens", use="lost", hens=1),
            made("birds_processed", "2027-05-12", group="hens", hens=4),
        ]
    )
    assert past.lived["hen"].deaths == 0
    assert past.cohorts[0].hens == 10


def test_birds_of_two_hatches_in_one_group_are_two_cohorts() -> None:
    entries = [
        chicks(10, "2027-05-02", "2027-05-01"),
        chicks(30, "2027-05-12", "2027-05-11"),
        made("birds_died", "2027-05-20", group="young", chicks=4),
    ]
    past = history(entries, "young")
    assert [cohort.hatched_on for cohort in past.cohorts] == [date(2027, 5, 1), date(2027, 5, 11)]
    # Nobody says whose the four were: as many as each has, one quarter and three.
    assert [cohort.chicks for cohort in past.cohorts] == pytest.approx([9, 27])
    assert past.lived["week_2"].deaths == pytest.approx(3)
    assert past.lived["week_3"].deaths == pytest.approx(1)


def test_chicks_told_apart_become_hens_and_cocks_the_oldest_first() -> None:
    past = history(
        [
            chicks(10, "2027-05-01", "2027-05-01"),
            chicks(10, "2027-05-15", "2027-05-15"),
            made("birds_sexed", "2027-05-22", group="young", hens=6, cocks=4),
        ],
        "young",
    )
    older, younger = past.cohorts
    assert (older.chicks, older.hens, older.cocks) == pytest.approx((0, 6, 4))
    assert (younger.chicks, younger.hens, younger.cocks) == pytest.approx((10, 0, 0))
    assert past.sexed_at_d == [21]


def test_a_group_that_empties_and_starts_again_is_young_again() -> None:
    past = history(
        [
            hens(10, at="2027-03-01", hatched_on="2026-01-01"),
            made("birds_out", "2027-03-15", group="hens", use="sold", hens=10),
            hens(6, at="2027-05-17", hatched_on="2027-03-01"),
        ]
    )
    (cohort,) = past.cohorts
    assert (cohort.hens, cohort.hatched_on) == (6, date(2027, 3, 1))
    assert [(s.first, s.end) for s in past.stretches] == [
        (date(2027, 3, 1), date(2027, 3, 15)),
        (date(2027, 5, 17), date(2027, 5, 31)),
    ]
    days = [date(2027, 3, 14), date(2027, 3, 15), date(2027, 5, 16), date(2027, 5, 17)]
    held = [sum(c.hens for c in cohorts) for cohorts in birds_on(past, days)]
    assert held == [10, 0, 0, 6]
    assert past.lived["hen"].bird_weeks == pytest.approx(10 * 2 + 6 * 2)


def test_birds_moved_to_another_group_keep_their_age() -> None:
    entries = [
        chicks(12, "2027-04-02", "2027-04-01"),
        made("birds_moved", "2027-05-10", group="young", place="pen", to_group="hens", chicks=12),
    ]
    moved = history(entries, "hens")
    assert [(c.hatched_on, c.chicks) for c in moved.cohorts] == [(date(2027, 4, 1), 12)]
    assert history(entries, "young").cohorts == ()
    assert sum(h.deaths for h in moved.lived.values()) == 0


def test_what_comes_later_is_not_known_yet() -> None:
    entries = [hens(20, at="2027-05-01"), made("birds_died", "2027-05-20", group="hens", hens=1)]
    past = group_history(fold(entries).groups["hens"], date(2027, 5, 19))
    assert past.cohorts[0].hens == 20
    assert past.lived["hen"].deaths == 0


def test_days_since_the_last_count_of_eggs() -> None:
    flock = fold([LISBON, hens(10), *laid([8, -1, 15, 9])])
    days = laid_days(flock, date(2027, 1, 1))["hens"]
    assert [(d.eggs, d.days_since) for d in days] == [(8, 0), (15, 2), (9, 1)]


def test_eggs_counted_in_parts_are_one_day_and_the_largest_part_is_kept() -> None:
    parts = [made("eggs_collected", ON, group="hens", eggs=eggs) for eggs in (3, 5)]
    (day,) = laid_days(fold([hens(10), *parts]), date(2027, 1, 1))["hens"]
    assert (day.eggs, day.without_repeat) == (8, 5)


def test_feed_given_day_by_day_counts_the_days_it_was_given_on() -> None:
    given = [
        made("feed_given", date(2027, 5, day), feed="pellets", kg=0.5) for day in (1, 2, 3, 5, 6)
    ]
    used = feed_use(fold([hens(20), *given]), date(2027, 4, 1), LAST)
    assert used is not None
    assert (used.kg, len(used.days), used.by) == (2.5, 5, "given")


def test_the_last_bag_is_not_used_up_yet() -> None:
    bags = [
        made("feed_bought", date(2027, month, 1), feed="pellets", kg=20) for month in (2, 3, 4, 5)
    ]
    used = feed_use(fold([hens(20), *bags]), date(2027, 1, 1), LAST)
    assert used is not None
    assert (used.kg, len(used.days), used.by) == (60, 28 + 31 + 30, "bought")
    assert feed_use(fold([hens(20), *bags[:3]]), date(2027, 1, 1), LAST) is None

"""What drifts over weeks: weights, fertility, feed a dozen; chores left, and a silent record."""

import random
from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.guide.rounds import START, adults, chicks, day, hatch, home, standing_on
from tests.makers import made

from quailwright.guide.signs import Sign
from quailwright.guide.signs.slow import signs_of_drift
from quailwright.husbandry import facts, growth
from quailwright.journal.entries import Entry

THIN, CLEAR, DOZEN = "growing slowly", "more clear eggs", "more feed a dozen"
WATER, LOOK, SILENT = "water and feed not ticked", "birds not looked at", "record silent"


def signs(journal: Iterable[Entry], on: int, name: str) -> list[Sign]:
    found = signs_of_drift(standing_on(journal, day(on)), day(on))
    return [sign for sign in found if sign.sign == name]


# Weights.


def weighed(number: int, mean: float, birds: int = 10) -> Entry:
    return made("birds_weighed", day(number), group="chicks", birds=birds, total_g=mean * birds)


def brood(*weighings: Entry) -> list[Entry]:
    return [home(), *chicks(36), *weighings]


def usual(age: int, line: growth.Line = "dual") -> float:
    return growth.mass_g(age, "chick", line)


@pytest.mark.parametrize("line", ["egg", "dual", "meat"])
def test_no_line_that_grows_by_its_own_curve_is_slow(line: growth.Line) -> None:
    """Gompertz curves of small, usual and large lines (facts/growth.csv)."""
    journal = brood(*(weighed(age, usual(age, line)) for age in (7, 14, 21, 28, 35)))
    for age in (7, 14, 21, 28, 35):
        assert signs(journal, age, THIN) == []


def test_114_g_at_21_days_is_no_slow_growth() -> None:
    """A New Zealand keeper's own record: 114 g at 21 days."""
    assert signs(brood(weighed(21, 114)), 21, THIN) == []


def test_a_brood_that_falls_behind_its_own_weighings() -> None:
    behind = weighed(21, 0.75 * usual(21))
    [sign] = signs(brood(weighed(7, usual(7)), weighed(14, usual(14)), behind), 21, THIN)
    assert (sign.where, sign.since) == ("chicks", day(21))
    assert "10 weighed" in sign.evidence
    assert "by their own earlier weighings" in sign.evidence
    assert sign.check.startswith("Feed first")
    assert signs(brood(weighed(7, usual(7)), weighed(14, usual(14)), behind), 40, THIN) == []


def test_the_same_shortfall_of_two_birds_says_too_little() -> None:
    before = [weighed(7, usual(7)), weighed(14, usual(14))]
    few = weighed(21, 0.82 * usual(21), birds=1)
    many = weighed(21, 0.82 * usual(21), birds=30)
    assert signs(brood(*before, few), 21, THIN) == []
    assert signs(brood(*before, many), 21, THIN)


@given(factor=st.floats(0.3, 1.3), birds=st.integers(1, 40))
def test_properties_a_lighter_weighing_is_never_less_of_a_sign(factor: float, birds: int) -> None:
    before = [weighed(7, usual(7)), weighed(14, usual(14))]
    if signs(brood(*before, weighed(21, factor * usual(21), birds)), 21, THIN):
        assert signs(brood(*before, weighed(21, 0.9 * factor * usual(21), birds)), 21, THIN)


def test_false_alarms_of_weighings_stay_at_the_stated_chance() -> None:
    """Lines 18 % apart, 9 % between birds, 4 % of the scale, 5 % of drift (facts)."""
    rng, alarms = random.Random(3), 0
    for _ in range(700):
        line = rng.gauss(1, facts.value("growth.line_sd"))
        journal = brood(
            *(
                weighed(
                    age,
                    usual(age) * line * (1 + rng.gauss(0, facts.value("growth.scale_sd")))
                    * (1 + rng.gauss(0, facts.value("signs.weight_drift_sd")))
                    * (1 + rng.gauss(0, facts.value("growth.between_bird_cv") / 10**0.5)),
                )
                for age in (7, 14, 21)
            )
        )  # fmt: skip
        alarms += bool(signs(journal, 21, THIN))
    # 0.01 is awaited; 15 of 700 or more come once in 200 times at that.
    assert alarms <= 15


# Fertility.


def sets(clear: Sequence[int], eggs: int = 30, **of: Any) -> list[Entry]:
    """A set of own eggs every week, candled after seven days with so many clear."""
    journal = [home(), *adults(hens=12, cocks=3, age=220)]
    for n, count in enumerate(clear):
        name, at = f"set {n + 1}", f"{day(7 * n)}T20:00+01:00"
        origin = of or {"group": "pen birds"}
        journal.append(made("eggs_set", at, hatch=name, eggs=eggs, place="box", **origin))
        journal.append(
            made("eggs_candled", f"{day(7 * n + 7)}T20:00+01:00", hatch=name, clear=count, dead=0)
        )
    return journal


def test_clear_eggs_that_rise_over_the_sets_before() -> None:
    [sign] = signs(sets([3, 2, 4, 3, 9, 12]), 42, CLEAR)
    assert (sign.where, sign.since) == ("pen birds", day(28))
    assert "21 of 60 eggs clear (35%) in set 5 and set 6; 12 of 120 (10%)" in sign.evidence
    assert "3 cocks with 12 hens, the oldest of 248 days then" in sign.evidence
    assert "past 180" in sign.evidence
    assert sign.check.startswith("The cocks")


@pytest.mark.parametrize("clear", [[3, 2, 4, 3, 4], [3, 2, 4, 6], [6], [0, 0, 1], [12, 11, 12, 13]])
def test_sets_as_before_or_as_published_are_no_sign(clear: list[int]) -> None:
    """Published fertility 57 to 96 % in small flocks (facts/incubation.csv)."""
    assert signs(sets(clear), 7 * len(clear), CLEAR) == []


def test_a_first_set_that_is_nearly_all_clear_is_held_against_the_published() -> None:
    [sign] = signs(sets([24]), 7, CLEAR)
    assert "in small flocks 20% is usual" in sign.evidence


def test_eggs_of_a_source_ask_the_source() -> None:
    [sign] = signs(sets([3, 2, 3, 14], source="friend"), 28, CLEAR)
    assert sign.check.startswith("Ask friend for the age of the cocks")


def test_false_alarms_of_steady_fertility_stay_low() -> None:
    """Fertility Beta(8, 2), eggs of a set alike by 0.02 (facts/incubation.csv): 8 sets each."""
    rng, alarms = random.Random(5), 0
    strength = 1 / facts.value("incubation.batch_icc") - 1
    for _ in range(150):
        share = 1 - rng.betavariate(8, 2)
        clear = []
        for _ in range(8):
            p = rng.betavariate(max(share * strength, 1e-3), (1 - share) * strength)
            clear.append(sum(rng.random() < p for _ in range(24)))
        journal = sets(clear, 24)
        alarms += any(signs(journal, 7 * n, CLEAR) for n in range(1, 9))
    # At most 0.01 for each of 8 looks is awaited.
    assert alarms / 150 <= 8 * facts.value("signs.fertility_level") + 0.04


# Feed a dozen.


def fed(kg: Sequence[float], eggs: int = 25) -> list[Entry]:
    """Fortnights in each of which so much feed is given and so many eggs gathered a day."""
    journal = [home(), *adults()]
    for n in range(14 * len(kg)):
        journal.append(made("feed_given", day(n), feed="pellets", kg=kg[n // 14]))
        journal.append(made("eggs_collected", day(n), group="pen birds", eggs=eggs + n % 3))
    return journal


def test_feed_a_dozen_that_rises_by_a_fifth() -> None:
    [sign] = signs(fed([1.0, 1.02, 0.98, 1.01, 1.25]), 69, DOZEN)
    assert "24% more" in sign.evidence or "25% more" in sign.evidence
    assert sign.check.startswith("Look under the feeders")
    assert sign.since == day(56)


@pytest.mark.parametrize(
    "kg", [[1.0, 1.02, 0.98, 1.01, 1.1], [1.0, 0.8, 1.25, 0.9, 1.2], [1.0, 1.3], [1, 1, 1, 1, 0.7]]
)
def test_small_rises_and_feed_that_always_differs_are_no_sign(kg: list[float]) -> None:
    assert signs(fed(kg), 14 * len(kg) - 1, DOZEN) == []


def test_what_growing_birds_eat_is_not_held_against_the_layers() -> None:
    """30 chicks in their fourth and fifth week eat about 0.5 kg a day by the printed table."""
    journal = fed([1.0, 1.02, 0.98, 1.01, 1.4])
    young = [
        made("place", "2027-01-01", place="grow", role="pen"),
        made("group", day(49), group="young", place="grow", chicks=30, hatched_on=str(day(35))),
    ]
    assert signs(journal, 69, DOZEN)
    assert signs([*journal, *young], 69, DOZEN) == []


def test_no_feed_logged_is_no_feed_saved() -> None:
    journal = [entry for entry in fed([1.0, 1.0, 1.0, 1.0, 1.5]) if entry.at < str(day(60))]
    assert signs(journal, 69, DOZEN) == []


# Chores, and silence.


def ticked(days: Iterable[int], *tasks: str) -> list[Entry]:
    return [
        home(),
        *adults(),
        *(made("care", day(n), task=task, place="pen") for n in days for task in tasks),
    ]


def test_a_chore_that_was_ticked_daily_and_then_not() -> None:
    journal = [*ticked(range(60), "look_count"), *ticked(range(57), "feed_water")[3:]]
    [sign] = signs(journal, 59, WATER)
    assert (sign.where, sign.since) == ("pen", day(57))
    assert "Not ticked for 2 days, after 57 of the 57 days before." in sign.evidence
    assert sign.check.startswith("Fill the water first")
    assert signs(journal, 58, WATER) == []  # one day, and today is not over
    assert signs(journal, 59, LOOK) == []


def test_one_who_began_three_weeks_ago_is_given_a_day_more() -> None:
    journal = [*ticked(range(30), "look_count"), *ticked(range(27), "feed_water")[3:]]
    assert [n for n in range(27, 31) if signs(journal, n, WATER)] == [30]


@pytest.mark.parametrize("share", [0.75, 0.9, 0.97])
def test_false_alarms_of_those_who_forget_at_random_are_rare(share: float) -> None:
    """Ten keepers for 250 days each: less than one in ten of them is told off in a year."""
    rng, alarms = random.Random(4), 0
    for _ in range(10):
        days = [n for n in range(250) if rng.random() < share]
        journal = [*ticked(range(250), "look_count"), *ticked(days, "feed_water")[3:]]
        mornings = [b for a, b in pairwise(days) if a > 30 and b - a > 2]
        for n in mornings:
            before = standing_on(journal, day(n - 1))
            alarms += WATER in {sign.sign for sign in signs_of_drift(before, day(n))}
    assert alarms <= 1


def test_water_filled_in_counts_as_the_chore() -> None:
    journal = [*ticked(range(60), "look_count"), *ticked(range(57), "feed_water")[3:]]
    filled = [made("water_given", day(n), place="pen", litres=2) for n in (57, 58)]
    assert signs([*journal, *filled], 59, WATER) == []


def test_one_who_ticks_now_and_then_is_not_told_off() -> None:
    journal = [*ticked(range(40), "look_count"), *ticked(range(0, 30, 4), "feed_water")[3:]]
    assert [n for n in range(30, 36) if signs(journal, n, WATER)] == []


def test_one_who_never_ticks_is_not_told_off() -> None:
    journal = ticked(range(30), "look_count")
    assert [n for n in range(30) if signs(journal, n, WATER)] == []


def test_a_record_that_falls_silent_says_so_and_that_signs_are_blind() -> None:
    journal = ticked(range(30), "look_count", "feed_water")
    assert signs(journal, 31, SILENT) == []
    [sign] = signs(journal, 34, SILENT)
    assert sign.since == day(30)
    assert "Nothing is in the record for 4 days." in sign.evidence
    assert "says nothing about the birds" in sign.evidence
    assert signs(journal, 34, WATER) == signs(journal, 34, LOOK) == []


def test_one_who_writes_once_a_week_is_not_silent_after_four_days() -> None:
    journal = ticked(range(0, 30, 7), "look_count")
    assert [n for n in range(29, 36) if signs(journal, n, SILENT)] == []


def test_no_birds_and_no_eggs_no_silence() -> None:
    assert signs([home(), made("place", place="pen", role="pen")], 60, SILENT) == []
    assert signs([*ticked(range(9), "look_count"), hatch()], 14, SILENT)
    assert date(2027, 5, 2) == START
    assert timedelta(days=facts.value("signs.chores_silent_d")) == timedelta(days=3)

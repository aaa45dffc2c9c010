"""Deaths read by pattern: however the keeper told it, and silence where losses are usual."""

import math
import random
from collections.abc import Sequence
from datetime import UTC, datetime, time, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.guide.rounds import adults, chicks, day, home, round_on, standing_on
from tests.makers import made

from quailwright.flock.state import AirSeen
from quailwright.guide.signs import Sign
from quailwright.guide.signs.deaths import signs_of_deaths
from quailwright.husbandry import facts
from quailwright.journal.entries import Entry

CHILL, FEED, MANY = "deaths of one night", "deaths of days 3 to 5", "more deaths than usual"
TAKEN, MOVE, WET = "taken by a predator", "deaths after a move", "wet or drowned"
PATTERN = (1, 0, 4, 0, 0)


def brood(dead: Sequence[int], number: int = 36, **told: Any) -> list[Entry]:
    """A brood hatched on day 0 with so many dead each day; `told` of the worst day's dead."""
    worst = max(dead, default=0)
    return [
        home(),
        *chicks(number),
        *(
            made("birds_died", day(n), group="chicks", chicks=count,
                 **(told if count == worst else {}))
            for n, count in enumerate(dead)
            if count
        ),
    ]  # fmt: skip


def pen(*deaths: tuple[int, dict[str, Any]], hens: int = 15, cocks: int = 3) -> list[Entry]:
    dead = [made("birds_died", day(n), group="pen birds", **birds) for n, birds in deaths]
    return [home(), *adults(hens=hens, cocks=cocks), *dead]


def signs(journal: Sequence[Entry], on: int, air: Sequence[AirSeen] = ()) -> list[Sign]:
    return list(signs_of_deaths(standing_on(journal, day(on)), day(on), air))


# One cold night. Chicks that stray from the heat at night: common practice, no source. All of 12
# chicks of 6 days lay still after 6 h at 13 °C: Wentworth, Cigan and Schaaf 2009.


def read(number: int = 2, **seen: Any) -> Entry:
    return made("temperature_seen", day(number), place="brooder", **seen)


def failed(number: int, **seen: Any) -> Entry:
    return made("outage", day(number), place="brooder", minutes=300, **seen)


SENSOR = AirSeen(datetime.combine(day(2), time(7), UTC), "brooder", 12.0, 24.0, None)

SURELY: dict[str, tuple[list[Entry], list[AirSeen]]] = {
    "all of it": ([*brood(PATTERN, found="chilled", together=True),
                   read(lowest_c=12, spot="away")], []),
    "read away from the heat": ([*brood(PATTERN), read(lowest_c=12, spot="away")], []),
    "read, and nobody said where": ([*brood(PATTERN), read(lowest_c=12)], []),
    "read in the room": ([*brood(PATTERN), read(lowest_c=12, spot="room")], []),
    "read under a plate gone cold": ([*brood(PATTERN), read(lowest_c=24, spot="heated")], []),
    "read only two days later": ([*brood(PATTERN), read(4, lowest_c=12, spot="away")], []),
    "found chilled, in one corner": (brood(PATTERN, found="chilled", together=True), []),
    "found chilled": (brood(PATTERN, found="chilled"), []),
    "in one corner": (brood(PATTERN, together=True), []),
    "an outage that morning": ([*brood(PATTERN), failed(2, lowest_c=12)], []),
    "an outage the evening before": ([*brood(PATTERN), failed(1, lowest_c=12)], []),
    "a sensor": (brood(PATTERN), [SENSOR]),
    "two dead, and a sensor": (brood((0, 0, 2)), [SENSOR]),
    "one chilled": (brood((0, 0, 1), found="chilled"), []),
}  # fmt: skip


@pytest.mark.parametrize("told", SURELY)
def test_chilling_comes_first_however_it_was_told(told: str) -> None:
    journal, air = SURELY[told]
    [sign] = signs(journal, 4, air)
    assert (sign.sign, sign.where, sign.since) == (CHILL, "brooder", day(2))
    assert sign.check.startswith("Chilling first. Tonight:")
    assert "32.2 to 35 °C" in sign.check  # Mississippi State and New South Wales, week 1
    assert "cold chick" in sign.then[0]
    assert "residual-current" in sign.then[-1]  # a heater at night: fire
    assert sign.ring.startswith("Ring a vet or the animal-health line if more die")
    for also in ("drinker", "Feed and water", "Overheating"):
        assert any(also in text for text in sign.then)


def test_the_evidence_has_its_figures() -> None:
    [sign] = signs(SURELY["all of it"][0], 4)
    assert sign.evidence == (
        "5 dead of 36: 1 on Sun 2 May, 4 on Tue 4 May. 4 of them lay together in one heap or "
        "corner on Tue 4 May. 4 were found chilled. Away from the heat it fell to 12 °C (Tue 4 "
        "May): at 2 days a chick that strays there chills below about 18 °C."
    )


def test_counts_alone_put_chilling_first_less_surely() -> None:
    [sign] = signs(brood(PATTERN), 4)
    assert (sign.sign, sign.since) == (CHILL, day(2))
    assert sign.check.startswith("Rule out chilling first. Tonight:")
    assert "How cold it was that night is not in the record." in sign.evidence


def test_a_night_that_was_warm_enough_is_no_cold_night() -> None:
    warm = read(lowest_c=22, spot="away")
    [sign] = signs([*brood(PATTERN), warm], 4)
    assert not sign.check.startswith("Chilling first")
    assert "The lowest that was read of that night, 22 °C, was not too cold" in sign.evidence
    assert "not in the record" not in sign.evidence
    assert signs([*brood((0, 0, 2)), warm], 4) == []


def test_a_night_of_long_ago_is_told_by_its_own_reading() -> None:
    """A sign may speak of deaths eleven days back: the next look is of another night."""
    warm, cold = read(2, lowest_c=22, spot="away"), read(3, lowest_c=12, spot="away")
    [sign] = signs([*brood((1, 0, 4, 0, 0, 0, 0, 0, 1)), warm, cold], 11)
    assert sign.sign == CHILL
    assert "22 °C" in sign.evidence
    assert "12 °C" not in sign.evidence


def test_a_cold_night_before_the_last_look_is_not_held_against_this_one() -> None:
    before = read(1, lowest_c=12, spot="away")
    after = read(2, lowest_c=22, spot="away")
    [sign] = signs([*brood(PATTERN), before, after], 4)
    assert "12 °C" not in sign.evidence


def test_it_is_told_for_some_days_and_no_longer() -> None:
    journal = SURELY["all of it"][0]
    told = [n for n in range(2, 15) if signs(journal, n)]
    assert told == [2, 3, 4, 5, 6]


def test_numbers_of_a_vet_are_named() -> None:
    vet = made("contact", contact="the vet in town", role="vet", phone="555 0100")
    [sign] = signs([*brood(PATTERN), vet], 4)
    assert sign.ring.startswith("Ring the vet in town (555 0100) if")


# Day 3 to 5, wet, moved, hot.


@pytest.mark.parametrize("dead", [(0, 0, 1, 2, 2, 1), (0, 0, 0, 2, 2, 2), (1, 0, 2, 2, 2)])
def test_deaths_spread_over_days_3_to_5_ask_for_feed_and_water(dead: tuple[int, ...]) -> None:
    """Chicks that never found feed or water die as the yolk runs out: common practice."""
    [sign] = signs(brood(dead), 5)
    assert sign.sign == FEED
    assert sign.check.startswith("Feed and water: starter ground fine")
    assert "weigh 5 chicks" in sign.check
    assert sign.then[0].startswith("Chilling")


def test_spread_deaths_in_the_cold_are_held_against_the_cold_first() -> None:
    cold = read(4, lowest_c=11, spot="away")
    [sign] = signs([*brood((0, 0, 0, 2, 2, 2)), cold], 5)
    assert sign.sign == CHILL


@pytest.mark.parametrize("found", ["drowned", "wet"])
def test_one_wet_chick_is_enough_to_look_at_the_drinker(found: str) -> None:
    [sign] = signs(brood((0, 1), found=found), 1)
    assert sign.sign == WET
    assert "pebbles or marbles" in sign.check


def test_deaths_after_a_move_ask_for_the_new_place() -> None:
    moved = made("birds_moved", day(25), group="chicks", place="pen")
    dead = made("birds_died", day(27), group="chicks", chicks=2)
    journal = [*brood(()), made("place", place="pen", role="pen"), moved, dead]
    [sign] = signs(journal, 27)
    assert sign.sign == MOVE
    assert sign.check.startswith("The new place")
    assert "moved on Thu 27 May" in sign.evidence
    early = made("birds_moved", day(2), group="chicks", place="box")
    [sign] = signs([*brood((0, 0, 0, 2, 3)), early], 4)
    assert sign.sign in (MOVE, FEED)
    assert any("new place" in text for text in (sign.check, *sign.then))


def test_deaths_in_an_overheated_brooder_ask_for_a_cool_end() -> None:
    hot = read(2, highest_c=44, lowest_c=30, spot="away")
    [sign] = signs([*brood((0, 0, 2, 1, 3, 1)), hot], 5)
    texts = (sign.check, *sign.then)
    assert any("Overheating" in text for text in texts)


# Usual losses.


@pytest.mark.parametrize("dead", [(0, 1, 0, 0, 1), (1, 1), (0, 0, 1, 0, 1, 0, 0), (0, 0, 2), ()])
def test_usual_losses_show_nothing(dead: tuple[int, ...]) -> None:
    """Published: 7.25 % in the first week, 2 to 3 of 36 (Int Res J Biol Sci 4(7):29-33, 2015)."""
    journal = brood(dead)
    assert [sign for n in range(10) for sign in signs(journal, n)] == []


@pytest.mark.parametrize("number", [12, 36, 80])
def test_false_alarms_of_500_usual_broods_stay_under_the_stated_share(number: int) -> None:
    """Losses Beta(3, 37), Beta(2, 98) and Beta(2, 213) by week, as in facts/survival.csv."""
    rng, alarmed = random.Random(number), 0
    for _ in range(500):
        weekly = [
            rng.betavariate(
                facts.value(f"survival.chick_week_{week}_beta_a"),
                facts.value(f"survival.chick_week_{week}_beta_b"),
            )
            for week in (1, 2, 3)
        ]
        alive, dead = number, []
        for n in range(21):
            daily = 1 - (1 - weekly[n // 7]) ** (1 / 7)
            dead.append(sum(rng.random() < daily for _ in range(alive)))
            alive -= dead[-1]
        journal = brood(dead, number)
        alarmed += any(signs(journal, n) for n in range(21) if dead[n])
    assert alarmed / 500 <= facts.value("signs.deaths_brood_false_alarm")
    assert alarmed > 0  # else the levels were needlessly dull


def test_false_alarms_of_usual_pens_stay_under_the_stated_rate() -> None:
    """Weekly losses log-normal about 0.4 %, as in facts/survival.csv: 120 pens for a year."""
    rng, alarms = random.Random(8), 0
    for _ in range(120):
        weekly = facts.value("survival.adult_week_hen") * math.exp(
            facts.value("survival.adult_week_hen_log_sd") * rng.gauss(0, 1)
        )
        alive, deaths, last = 24, [], -30
        for n in range(365):
            dead = sum(rng.random() < weekly / 7 for _ in range(alive))
            alive -= dead
            if dead:
                deaths.append((n, {"hens": dead}))
        journal = pen(*deaths, hens=24, cocks=0)
        for n, _ in deaths:
            if signs(journal, n):
                alarms += n - last > 14
                last = n
    assert alarms / 120 <= facts.value("signs.deaths_pen_false_alarm")


@given(
    dead=st.lists(st.integers(0, 4), min_size=1, max_size=12),
    number=st.integers(24, 60),
    found=st.sampled_from([None, "chilled", "wet", "predator", "unknown"]),
    together=st.booleans(),
)
def test_properties_another_death_never_takes_a_sign_away(
    dead: list[int], number: int, found: str | None, together: bool
) -> None:
    on = len(dead) - 1
    number = max(number, sum(dead) + 1)
    journal = brood(dead, number)
    more = made("birds_died", day(on), group="chicks", chicks=1, together=together,
                **({"found": found} if found else {}))  # fmt: skip
    if signs(journal, on):
        assert signs([*journal, more], on)


# Grown birds.


@given(
    days=st.lists(st.integers(10, 60), min_size=1, max_size=8),
    hens=st.integers(9, 60),
    found=st.sampled_from([None, "injured", "predator", "unknown"]),
)
def test_properties_another_grown_death_never_takes_a_sign_away(
    days: list[int], hens: int, found: str | None
) -> None:
    on = max(days)
    told = {"found": found} if found else {}
    deaths: list[tuple[int, dict[str, Any]]] = [(n, {"hens": 1}) for n in days]
    if signs(pen(*deaths, hens=hens), on):
        assert signs(pen(*deaths, (on, {"hens": 1, **told}), hens=hens), on)


def test_two_dead_hens_on_one_morning_in_a_pen_of_18_ring_the_vet() -> None:
    """Published about 0.4 % a week: two in one day hardly come by chance."""
    [sign] = signs(pen((30, {"hens": 2})), 30)
    assert (sign.sign, sign.where, sign.since) == (MANY, "pen birds", day(30))
    assert "move and sell neither birds nor eggs" in sign.ring
    assert "ring a vet or the animal-health line today" in sign.ring


def test_a_pen_of_like_age_that_lost_none_speaks_against_what_both_share() -> None:
    both = [*pen((30, {"hens": 2})), *adults("yard")]
    [sign] = signs(both, 30)
    assert sign.shared == (
        "What it shares with yard birds, of like age, which lost none since Tue 1 Jun: feed lot, "
        "water, weather.",
    )
    [alone] = signs(pen((30, {"hens": 2})), 30)
    assert alone.shared == ()


def test_one_death_and_then_another_weeks_later_are_usual() -> None:
    journal = pen((30, {"hens": 1}), (58, {"hens": 1}))
    assert [sign for n in range(30, 66) for sign in signs(journal, n)] == []


def test_deaths_with_a_cause_told_do_not_stop_all_selling() -> None:
    [sign] = signs(pen((30, {"hens": 3, "found": "injured"})), 30)
    assert "one more dies without a cause" in sign.ring


def test_a_pen_that_always_lost_more_is_held_against_itself() -> None:
    lossy = [(n, {"hens": 1}) for n in range(9, 190, 9)]
    journal = pen(*lossy, (196, {"hens": 1}), (197, {"hens": 1}), (199, {"hens": 1}), hens=60)
    quiet = pen((196, {"hens": 1}), (197, {"hens": 1}), (199, {"hens": 1}), hens=39)
    assert signs(quiet, 199)
    assert not signs(journal, 199)


def test_heat_is_looked_at_first_when_the_pen_was_hot() -> None:
    """Lay falls from 33 to 36 °C (UNESP cyclic heat study); birds in still air die: keepers."""
    hot = made("temperature_seen", day(30), place="pen", highest_c=39)
    [sign] = signs([*pen((30, {"hens": 3})), hot], 30)
    assert sign.sign == "deaths in the heat"
    assert sign.check.startswith("Shade")


def test_a_bird_taken_by_a_predator_is_told_at_once() -> None:
    [sign] = signs(pen((30, {"hens": 1, "found": "predator"})), 30)
    assert sign.sign == TAKEN
    assert sign.check.startswith("Before tonight")


def test_counts_short_on_two_days_speak_of_a_predator_and_on_one_do_not() -> None:
    once = made("birds_counted", day(30), group="pen birds", hens=14, cocks=3)
    again = made("birds_counted", day(32), group="pen birds", hens=12, cocks=3)
    assert [s for s in signs([*pen(), once], 30) if s.sign == TAKEN] == []
    [sign] = signs([*pen(), once, again], 32)
    assert (sign.sign, sign.since) == (TAKEN, day(30))


def test_deaths_in_several_pens_at_a_time_stop_everything() -> None:
    line = made("contact", contact="animal health", role="animal_health", phone="555 0199")
    both = [
        *pen((30, {"hens": 1}), (31, {"hens": 1})),
        *adults("yard"),
        made("birds_died", day(31), group="yard birds", hens=2),
        line,
    ]
    [sign] = [s for s in signs(both, 31) if s.sign == "deaths in several pens"]
    assert sign.where == "pen birds, yard birds"
    assert "1 in pen birds, 2 in yard birds" in sign.evidence
    assert sign.check.startswith("Stop: move no birds, sell neither birds nor eggs")
    assert "animal health (555 0199)" in sign.ring


def test_no_sign_names_a_disease() -> None:
    journals = [journal for journal, _ in SURELY.values()]
    journals += [pen((30, {"hens": 3})), brood((0, 0, 0, 2, 2, 2))]
    for journal in journals:
        for n in (4, 5, 30):
            for sign in round_on(journal, day(n)).signs:
                text = " ".join((sign.evidence, sign.check, *sign.then, sign.ring)).lower()
                for word in ("coccid", "influenza", "newcastle", "infect", "diseas", "dose"):
                    assert word not in text


def test_birds_that_came_after_a_loss_do_not_bear_it() -> None:
    gone = [
        home(),
        *adults(hens=2, cocks=0),
        made("birds_died", day(30), group="pen birds", hens=2),
    ]
    fresh = made("group", day(32), group="pen birds", place="pen", hens=20,
                 hatched_on=str(day(-90)))  # fmt: skip
    assert signs(gone, 30)
    assert signs([*gone, fresh], 33) == []


def test_a_journal_of_days_that_are_over_stays_silent() -> None:
    assert signs(pen((30, {"hens": 5})), 30 + 5) == []
    assert timedelta(days=facts.value("signs.deaths_told_d")) == timedelta(days=4)

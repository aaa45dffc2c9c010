"""The study of signs: flocks that add up, faults that change nothing before their day, records that
tell what was laid, and simple rules held against sums done by hand."""

import json
import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.random import default_rng
from studies.signs import alarms, simulate, summary, watch
from studies.signs_faults import FAULTS, QUIET, draw_flock
from studies.signs_keeper import CHICKS, Habits, draw_habits, keep
from studies.signs_rules import Sheet, before, fires, last, scores, sheet, stand_in
from studies.signs_scores import (
    NEVER_D,
    WITHIN_D,
    Alarm,
    Run,
    begins,
    by_size,
    delays,
    false_alarms,
    first_seen,
    names_right,
    of_birds,
    quiet_row,
    rule_first_seen,
    tuned,
)
from studies.signs_world import Effects, answer_to_light, live

from quailwright.flock.fold import Record, fold
from quailwright.journal.entries import BirdsOut, EggsCollected, decode, encode

KINDS = (*QUIET, *FAULTS)
NUMBERS = range(3)


@pytest.mark.parametrize("kind", KINDS)
def test_journals_fold_without_findings_and_birds_are_conserved(kind: str) -> None:
    for number in NUMBERS:
        setting, _, life, _, days = simulate(kind, number, 7)
        entries = [entry for written in days for entry in written]
        assert [decode(encode(entry)) for entry in entries] == entries
        assert fold(entries).findings == [], number
        for row, pen in enumerate(setting.pens):
            assert life.hens[row].min() >= 0
            assert (life.laid[row] <= np.maximum(life.hens[row], 0)).all(), pen


@pytest.mark.parametrize("kind", KINDS)
def test_every_egg_laid_is_found_the_same_day_or_the_next(kind: str) -> None:
    for number in NUMBERS:
        _, _, life, _, _ = simulate(kind, number, 7)
        laid, found = np.cumsum(life.laid, axis=1), np.cumsum(life.gathered, axis=1)
        assert (found <= laid).all()
        assert (found[:, 1:] >= laid[:, :-1]).all()


def test_a_keeper_who_misses_no_day_logs_every_egg() -> None:
    for number in NUMBERS:
        setting, effects, life, habits, _ = simulate("plain", number, 7)
        days = keep(default_rng(0), setting, effects, life, _careful(habits))
        flock = fold([entry for written in days for entry in written])
        for row, pen in enumerate(setting.pens):
            told = sum(lot.collected for lot in flock.lots.values() if lot.group == pen.group)
            assert told == life.gathered[row].sum()
            assert flock.groups[pen.group].alive.hens == life.hens[row, -1]


def test_sums_after_a_gap_lose_no_egg_up_to_the_last_day_written() -> None:
    setting, effects, life, habits, _ = simulate("holiday", 3, 7)
    missed = _careful(habits, missed=0.3, gap_d=2.0, sums=True)
    days = keep(default_rng(0), setting, effects, life, missed)
    names = [pen.name for pen in setting.pens], [pen.group for pen in setting.pens]
    record = sheet(days, *names)
    for row in range(len(setting.pens)):
        written = int(np.flatnonzero(~np.isnan(record.eggs[row])).max())
        told = np.nansum(record.eggs[row])
        assert told == life.gathered[row, : written + 1].sum()


def _careful(habits: Habits, **other: Any) -> Habits:
    return replace(
        habits, **{"missed": 0.0, "zeros": True, "deaths_told": 1.0, "head_count_every": 0} | other
    )


@pytest.mark.parametrize("kind", FAULTS)
def test_a_fault_changes_nothing_before_its_day(kind: str) -> None:
    for number in NUMBERS:
        setting, _, life, habits, days = simulate(kind, number, 7)
        none = Effects.none(len(setting.pens), setting.days)
        without = live(default_rng([7, number, 1]), setting, none)
        for name in ("hens", "laid", "gathered", "fed_g", "drunk_l", "highs", "chicks"):
            here, there = getattr(life, name), getattr(without, name)
            assert (here[..., : setting.onset] == there[..., : setting.onset]).all(), name
        usual = keep(default_rng([7, number, 3]), setting, none, without, habits)
        assert days[: setting.onset] == usual[: setting.onset]
        if kind == "nothing":
            assert days == usual
        elif life.gathered[:, setting.onset].all():
            assert days[setting.onset :] != usual[setting.onset :]


def test_the_same_seed_gives_the_same_flock_and_another_another() -> None:
    assert simulate("water", 2, 5)[4] == simulate("water", 2, 5)[4]
    assert simulate("water", 2, 5)[4] != simulate("water", 2, 6)[4]


def test_hens_stop_without_a_lamp_stein_and_bacon_1976() -> None:
    """6 days after 14L -> 8L in hens of 140 days and more, 15 at up to 89 days; none at 14 h."""
    hours = np.array([14.0] * 30 + [8.0] * 40)
    needs, slow = np.array([11.5, 11.5]), np.ones(2)
    ages = np.array([[300] * 70, [60] * 70])
    out = answer_to_light(hours, ages, needs, slow)
    assert np.flatnonzero(out[0])[0] == 36
    assert np.flatnonzero(out[1])[0] == 45
    assert not answer_to_light(np.full(70, 14.0), ages, needs, slow).any()


def test_water_fault_lowers_drink_at_once_then_feed_then_lay() -> None:
    for number in NUMBERS:
        setting, effects = draw_flock(default_rng([7, number, 0]), "water")
        place, onset = effects.places[0], setting.onset
        first = [
            int(np.flatnonzero(series[place] < 1.0)[0]) - onset
            for series in (effects.drink, effects.feed, effects.lay)
        ]
        assert first[0] == 0
        assert 0 <= first[1] <= 1
        assert 1 <= first[2] <= 3
        others = [row for row in range(len(setting.pens)) if row != place]
        assert (effects.lay[others] == 1.0).all()


def test_slips_change_what_is_written_not_what_is_laid() -> None:
    for kind in ("swapped", "double", "digit"):
        for number in NUMBERS:
            setting, effects, life, habits, _ = simulate(kind, number, 7)
            place, day = effects.slips[0][1:]
            assert (life.laid == live(
                default_rng([7, number, 1]), setting, Effects.none(len(setting.pens), setting.days)
            ).laid).all()  # fmt: skip
            days = keep(default_rng(1), setting, effects, life, _careful(habits))
            group = setting.pens[place].group
            told = [
                entry.eggs
                for entry in days[day]
                if isinstance(entry, EggsCollected) and entry.group == group
            ]
            found = int(life.gathered[place, day])
            if kind == "double":
                assert told == [found, found]
            elif kind == "digit":
                assert len(told) == 1
                assert told != [found]
            elif len(setting.pens) > 1:
                assert told == []


def test_moves_are_logged_and_nobody_is_lost() -> None:
    logged = 0
    for number in range(12):
        setting, effects, life, habits, _ = simulate("moves", number, 7, 4)
        days = keep(default_rng(1), setting, effects, life, _careful(habits))
        flock = fold([entry for written in days for entry in written])
        for row, pen in enumerate(setting.pens):
            assert flock.groups[pen.group].alive.hens == life.hens[row, -1]
        logged += sum(isinstance(e, BirdsOut) for written in days for e in written)
    assert logged > 5


def test_a_holiday_is_silent() -> None:
    _, effects, _, _, days = simulate("holiday", 1, 7, 4)
    assert effects.silent is not None
    assert not any(days[slice(*effects.silent)])


# The rules, by hand.


def _sheet(eggs: list[float], hens: float = 10.0, **other: list[float]) -> Sheet:
    nothing = np.full((2, len(eggs)), np.nan)

    def row(values: list[float]) -> np.ndarray:
        return np.array([values, [np.nan] * len(eggs)])

    return Sheet(
        row(eggs),
        np.full((2, len(eggs)), hens),
        row(other["feed"]) if "feed" in other else nothing,
        nothing,
        row(other["gone"]) if "gone" in other else np.zeros((2, len(eggs))),
        row(other["high"]) if "high" in other else nothing,
        nothing,
    )


def test_ten_points_below_the_mean_of_14_days_by_hand() -> None:
    """14 days of 8 eggs from 10 hens are 80 %; 7 eggs are 10 points below, which is not more."""
    made = scores(_sheet([8.0] * 14 + [7.0, 6.0]))["10 points, 1 day"][0]
    assert made[14] == pytest.approx(1.0)
    # Then the mean of the last 14 is (13 x 8 + 7) / 14 = 7.929: 6 is 19.29 points below.
    assert made[15] == pytest.approx(1.929, abs=0.001)
    assert math.isnan(made[6])


def test_ten_points_of_three_days_by_hand() -> None:
    """8, 6, 6 have a mean of 6.667; the 14 days before them lie at 80 %: 13.3 points."""
    made = scores(_sheet([8.0] * 15 + [6.0, 6.0]))["10 points, 3 days"][0]
    assert made[16] == pytest.approx(1.333, abs=0.001)


def test_two_sigma_by_hand() -> None:
    """Seven days each of 7 and 9: mean 8, deviation sqrt(14 / 13) = 1.0377: below 5.925."""
    score = scores(_sheet([7.0, 9.0] * 7 + [6.0]))["two sigma, 14 days"][0]
    assert score[14] == pytest.approx(2.0 / 1.0377 / 2.0, abs=1e-4)
    assert not fires(score)[14]
    assert fires(scores(_sheet([7.0, 9.0] * 7 + [5.0]))["two sigma, 14 days"][0])[14]


def test_other_rules_by_hand() -> None:
    """Feed from 250 to 200 g is 20 % down; one bird; 35 C where 32 is the limit."""
    made = scores(
        _sheet(
            [8.0] * 15,
            feed=[250.0] * 14 + [200.0],
            gone=[0.0] * 14 + [1.0],
            high=[20.0] * 14 + [35.0],
        )
    )
    assert made["feed 15 % down"][0, 14] == pytest.approx(0.20 / 0.15)
    for rule in ("feed 15 % down", "any death", "over 32 C", "10 points, 1 day, and all others"):
        fired = fires(made[rule][0])
        assert fired[14], rule
        assert not fired[:14].any(), rule


def test_days_without_a_record_are_no_days_without_eggs() -> None:
    silent = [8.0] * 14 + [math.nan] * 10 + [8.0]
    made = scores(_sheet(silent))["10 points, 1 day"][0]
    assert not fires(made).any()
    mean, spread = before(np.array([[1.0, math.nan] * 6]), 14)
    assert np.isnan(mean).all()
    assert np.isnan(spread).all()
    assert last(np.array([[4.0, math.nan, 2.0]]), 3)[0, 2] == pytest.approx(3.0)


# The scores, by hand.


def _run(alarms: list[Alarm], **other: object) -> Run:
    fields = {
        "kind": "water",
        "number": 0,
        "pens": 2,
        "onset": 20,
        "days": 40,
        "places": (0,),
        "told": "",
        "record": "neither",
        "light": "lamp, told",
        "hens": (10, 20),
        "silent": None,
        "scores": {},
    }
    return Run(**(fields | other | {"alarms": tuple(alarms)}))  # type: ignore[arg-type]


def _alarm(day: int, place: int, until: int = 0, check: str = "") -> Alarm:
    return Alarm(day, until or day, "lay falls", frozenset({place}), check, "", "")


def test_what_flickers_counts_once_a_week_and_what_stands_counts_once() -> None:
    assert begins(range(10, 40)) == [10]
    assert begins([10, 14, 17, 18]) == [10]
    assert begins([10, 14, 19]) == [10, 19]
    assert begins([10, 30], 20) == [30]
    assert begins([10, 12, 14, 16, 18, 20]) == [10]


def test_false_alarms_of_two_pens_are_two_and_of_both_together_one() -> None:
    assert len(false_alarms(_run([_alarm(22, 0), _alarm(23, 1)]))) == 2
    both = Alarm(24, 24, "lay falls", frozenset({0, 1}), "", "", "")
    assert len(false_alarms(_run([both]))) == 1
    assert len(false_alarms(_run([_alarm(22, 0), _alarm(23, 1), both]))) == 2
    assert false_alarms(_run([_alarm(12, 0, 21), _alarm(22, 0)])) == []


def test_delay_counts_from_the_fault_at_its_place() -> None:
    water = _alarm(26, 0, check="Water at Pen A")
    run = _run([_alarm(15, 0), _alarm(21, 1), _alarm(24, 0, check="Lamp"), water])
    seen = first_seen(run)
    assert seen is not None
    assert seen.day == 24
    assert not names_right(run, seen)
    assert names_right(run, water)
    found = delays([4, 2, NEVER_D, 3, 1, 2, 3, 4, 5, WITHIN_D])
    assert found["median"] == 3
    assert found["ninety"] == 14
    assert found["unseen"] == pytest.approx(0.1)


def test_a_rule_that_fires_since_before_the_fault_has_not_seen_it() -> None:
    score = np.zeros((2, 40))
    score[0, 18:24], score[0, 27] = 2.0, 3.0
    score[1, 20] = 2.0
    run = _run([], scores={"rule": score})
    assert rule_first_seen(run, "rule") == 27
    assert rule_first_seen(run, "rule", 4.0) == NEVER_D
    assert tuned([run], "rule", 0.0) == pytest.approx(3.0)


def test_the_study_runs_and_tells_the_same_twice() -> None:
    runs = {kind: [watch(kind, 0, 3, "stand-in")] for kind in ("plain", "timer")}
    told = summary(runs)
    again = summary({kind: [watch(kind, 0, 3, "stand-in")] for kind in runs})
    assert json.dumps(told) == json.dumps(again)
    assert told["faults"]["timer"]["n"] == 1


def test_a_flock_kept_up_day_by_day_is_the_flock_folded_at_once() -> None:
    setting, _, _, _, days = simulate("moves", 1, 7)
    record = Record([entry for written in days[:60] for entry in written])
    for written in days[60:]:
        record.add(written)
    whole = fold([entry for written in days for entry in written])
    assert record.flock.lots == whole.lots
    assert record.flock.groups == whole.groups
    seen = alarms(days, setting, stand_in)
    assert all(alarm.until >= alarm.day for alarm in seen)


def test_chicks_die_in_the_cold_night_and_the_others_live() -> None:
    for number in NUMBERS:
        setting, effects, life, _, days = simulate("chill", number, 7)
        assert effects.chilled is not None
        night = effects.chilled[0]
        assert life.chicks_died[night] >= 1
        assert life.chicks_low_c[night] < 15.0
        assert life.chicks.max() <= setting.chicks
        flock = fold([entry for written in days for entry in written])
        assert flock.groups[CHICKS].alive.chicks == life.chicks[-1]


def test_keepers_differ() -> None:
    drawn = [draw_habits(default_rng(number), "plain") for number in range(200)]
    assert 0.2 < np.mean([habits.missed == 0.0 for habits in drawn]) < 0.4
    assert {habits.feed for habits in drawn} == {"pen daily", "pen weekly", "all daily", "none"}


def test_what_reminds_of_the_record_sees_no_fault_and_is_counted_apart() -> None:
    silent = Alarm(22, 25, "record silent", frozenset({0}), "", "", "")
    run = _run([silent, _alarm(23, 0)])
    assert [alarm.day for alarm in of_birds(run)] == [23]
    seen = first_seen(run)
    assert seen is not None
    assert seen.day == 23
    row = quiet_row([replace(run, kind="plain")])
    # 20 days of 91 are 0.2198 of a quarter, and two pens of it.
    assert row["reminders"] == pytest.approx(1 / 0.2198, abs=0.01)
    assert row["per_pen_quarter"] == pytest.approx(1 / 0.4396, abs=0.01)
    assert by_size([run]) == {
        "4 to 8 hens": pytest.approx(math.nan, nan_ok=True),
        "9 to 18 hens": pytest.approx(1 / 0.2198, abs=0.01),
        "19 to 40 hens": 0.0,
    }

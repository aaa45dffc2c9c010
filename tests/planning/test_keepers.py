"""Whom to keep of a flock whose true breeding values are known, and what the choice brings."""

import math
from datetime import timedelta
from functools import cache

import msgspec
import numpy as np
import pytest
from hypothesis import given, settings
from tests.flock.journals import DAYS, journals
from tests.makers import made
from tests.planning.breeders import HATCHED, ON, breeders

from quailwright.flock.fold import fold
from quailwright.flock.pedigree import lines_of
from quailwright.husbandry import facts
from quailwright.husbandry.laying import hen_day_rate
from quailwright.husbandry.selection.traits import TRAITS
from quailwright.journal import entries as kinds
from quailwright.journal.entries import Entry
from quailwright.journal.findings import BadInput
from quailwright.planning.gain_ahead import GainAsk, gain_ahead
from quailwright.planning.keepers import Ask, Keepers, default_goal, keepers
from quailwright.planning.merit import Goal, merits

HEAVIER: Goal = {"weight": 1.0, "eggs": 0.0, "egg_weight": 0.0}


@cache
def march() -> Keepers:
    return keepers(fold(list(breeders()), ON), ON, Ask("march", 3, 9, HEAVIER))


def true_values() -> dict[str, float]:
    """Of each chick, by its ring."""
    birds = [entry for entry in breeders() if isinstance(entry, kinds.Bird) and entry.note]
    return {bird.bird: float(bird.note) for bird in birds}


def test_values_follow_the_true_ones_as_surely_as_they_say() -> None:
    found, true = march(), true_values()
    ranked = [*found.cocks, *found.hens]
    told = np.array([one.traits["weight"].mean for one in ranked])
    real = np.array([true[one.member.name] for one in ranked])
    assert np.corrcoef(told, real)[0, 1] > 0.6
    # The middle 80 % holds about 80 % of the true values, about the mean of all.
    off = real - real.mean() - told
    reach = np.array([one.traits["weight"].high - one.traits["weight"].mean for one in ranked])
    assert 0.6 < (np.abs(off) < reach).mean() < 0.95
    assert 0.3 < ranked[0].accuracy < 0.9


def test_one_son_a_sire_and_two_sisters_are_kept() -> None:
    found = march()
    fathers = [one.parents[0] for one in found.cocks if one.kept]
    assert sorted(fathers) == ["s0", "s1", "s2"]
    parents = [one.parents for one in found.hens if one.kept]
    assert len(parents) == 9
    assert max(parents.count(pair) for pair in parents) == 1  # nine pairs of parents are there
    assert all([one[0] for one in parents].count(father) <= 5 for father in ("s0", "s1", "s2"))
    few = keepers(fold(list(breeders()), ON), ON, Ask("march", 3, 4, HEAVIER))
    fathers = [one.parents[0] for one in few.hens if one.kept]
    assert max(fathers.count(father) for father in fathers) == 2
    passed = next(one for one in found.cocks if one.instead)
    assert not passed.kept
    assert {passed.parents[0]} == {
        one.parents[0] for one in found.cocks if one.member.name == passed.instead
    }
    assert found.effective_size == 9.0


def test_the_best_are_first_and_their_chicks_gain() -> None:
    found = march()
    points = [one.points.mean for one in found.cocks]
    assert points == sorted(points, reverse=True)
    change = found.change["weight"]
    assert 0 < change.low < change.mean < change.high
    kept = [one.traits["weight"].mean for one in found.cocks if one.kept]
    hens = [one.traits["weight"].mean for one in found.hens if one.kept]
    all_cocks = np.mean([one.traits["weight"].mean for one in found.cocks])
    all_hens = np.mean([one.traits["weight"].mean for one in found.hens])
    gain = (np.mean(kept) - all_cocks + np.mean(hens) - all_hens) / 2
    assert change.mean == pytest.approx(gain)
    # Half sibs and full sibs among them: chicks of brother and sister have 0.25.
    assert 0 < found.inbreeding < 0.25
    assert found.inbreeding_most == pytest.approx(0.25)


def test_fewer_brothers_stand_back_where_no_others_are_there() -> None:
    found = keepers(fold(list(breeders(sires=1)), ON), ON, Ask("march", 3, 2, HEAVIER))
    assert sum(one.kept for one in found.cocks) == 3
    assert {one.parents[0] for one in found.cocks if one.kept} == {"s0"}


def test_without_rings_it_tells_what_to_record_and_what_that_brings() -> None:
    flock = fold(list(breeders(ring=False)), ON)
    found = keepers(flock, ON, Ask("march"))
    assert (found.cocks, found.hens, found.change) == ([], [], {})
    assert math.isnan(found.inbreeding)
    assert [pen.group for pen in found.pens] == ["young"]
    assert {one.trait for one in found.worth} == {"weight", "eggs"}
    assert all(one.gain.mean > 0 for one in found.worth)


def test_pen_means_tell_families_apart_a_little() -> None:
    journal = [
        made("place", "2027-01-01", place="yard", role="pen"),
        *(made("group", "2027-01-01", group=name, place="yard", hens=6, cocks=2,
               hatched_on="2027-01-01") for name in ("a", "b", "c")),
        *(made("birds_weighed", "2027-02-12", group=name, birds=8, total_g=8 * mass)
          for name, mass in (("a", 190.0), ("b", 170.0), ("c", 180.0))),
    ]  # fmt: skip
    found = keepers(fold(journal, ON), ON, Ask(goal=HEAVIER))
    assert [pen.group for pen in found.pens] == ["a", "c", "b"]
    assert 0 < found.pens[0].accuracy < 0.8
    assert found.merits.performance.weight_age_d == 42


def test_eggs_of_pens_and_of_hens_alone_are_records() -> None:
    journal = list(breeders())
    for n in range(14):
        journal += [
            made("eggs_collected", f"2027-05-{1 + n:02d}", group="family 0", eggs=2, total_g=22)
        ]
    done = merits(fold(journal, ON), lines_of(fold(journal, ON)), ON)
    assert done.bases["eggs"].own == 9
    assert done.bases["eggs"].pens == 0  # her own counts serve
    assert "have counts of their own" in " ".join(done.performance.left_out)
    plain = [one for one in journal if not isinstance(one, kinds.HenLaid)]
    flock = fold(plain, ON)
    done = merits(flock, lines_of(flock), ON)
    assert done.bases["eggs"].pens == 1
    (eggs,) = done.performance.of("eggs")
    # Hens of 273 to 286 days, told as hens of 56 to 145: the usual curve of lay between.
    old = np.mean([hen_day_rate(age) for age in range(273, 287)])
    young = np.mean([hen_day_rate(age) for age in range(56, 146)])
    assert old < young
    assert eggs.value == pytest.approx(2 / 3 * 90 * young / old, rel=1e-3)
    (weight,) = done.performance.of("egg_weight")
    assert weight.value == pytest.approx(11.0)


def test_weights_are_told_as_of_one_age_and_what_is_not_used_is_said() -> None:
    journal = [
        *breeders(),
        made("bird_weighed", "2027-05-10", bird="c000", mass_g=240),
        made("bird", "2027-05-10", bird="odd", sex="hen"),
        made("bird_weighed", "2027-05-10", bird="odd", mass_g=200),
    ]
    flock = fold(journal, ON)
    done = merits(flock, lines_of(flock), ON).performance
    assert done.weight_age_d == facts.value("selection.weight_age_young_d")
    said = " ".join(done.left_out)
    assert "1 weighing is left out: weights are compared as of 4 weeks" in said
    assert "nobody told when that bird hatched" in said


@pytest.mark.parametrize("mass_g", [1214, 400, 21])
def test_a_slip_of_the_scale_is_left_out_and_said(mass_g: float) -> None:
    """A slip of a digit made the bird the best of all, and the spread six times as wide."""
    journal = [
        msgspec.structs.replace(each, mass_g=mass_g)
        if isinstance(each, kinds.BirdWeighed) and each.bird == "c000"
        else each
        for each in breeders()
    ]
    journal += [
        made("hen_laid", str(ON), bird="d00", eggs=40, days=5),
        made("hen_laid", str(ON), bird="d01", eggs=5, days=5, total_g=4600),
    ]
    flock = fold(journal, ON)
    done = merits(flock, lines_of(flock), ON)
    assert done.bases["weight"].own == 71
    assert done.bases["weight"].sd < 22
    assert max(one.value for one in done.performance.of("egg_weight")) < 14
    assert max(one.value for one in done.performance.of("eggs")) <= 90
    said = done.performance.left_out
    assert sum("and is left out" in one or "and are left out" in one for one in said) == 3
    assert any(f"c000: {mass_g} g on 2027-03-29 is far from" in one for one in said)


def test_quarantine_and_treatment_are_said_where_birds_are_chosen() -> None:
    assert not march().notes
    flock = fold(
        [
            *breeders(),
            made("quarantine", "2027-05-01", place="yard", until="2027-07-01"),
            made("treated", "2027-05-10", group="young", product="x",
                 meat_withheld_until="2027-07-02", directed_by="vet"),
        ],
        ON,
    )  # fmt: skip
    said = " ".join(keepers(flock, ON, Ask(hatch="march")).notes)
    assert "young is in quarantine up to and on 2027-07-01" in said
    assert "young was treated with x" in said
    assert "those not kept are not to be eaten or sold yet" in said


def test_the_last_weighing_of_a_day_counts() -> None:
    day = str(HATCHED + timedelta(days=28))
    flock = fold([*breeders(), made("bird_weighed", day, bird="c000", mass_g=160)], ON)
    done = merits(flock, lines_of(flock), ON).performance
    assert next(one.value for one in done.of("weight") if one.of == "c000") == 160


def test_a_record_of_weight_tells_of_eggs_through_the_genes() -> None:
    found = march().merits
    at = [one.place for one in march().cocks]
    kin = np.corrcoef(found.values[0, at], found.values[2, at])[0, 1]
    assert kin > 0.3  # heavier birds, larger eggs
    assert not found.bases["weight"].heritability_own
    assert found.bases["weight"].own == 72


def test_heritability_is_learned_from_many_records() -> None:
    journal = list(breeders(seed=1, chicks=12, sires=9))
    flock = fold(journal, ON)
    found = merits(flock, lines_of(flock), ON).bases["weight"]
    assert found.own == 324
    assert found.heritability_own
    assert found.heritability == pytest.approx(0.4, abs=2 * found.heritability_sd)
    assert 0.05 < found.heritability_sd <= 0.2


@pytest.mark.parametrize(
    ("ask", "sentence"),
    [
        (Ask("april"), "No hatch is called 'april'. Hatches: march."),
        (Ask(cocks=-1), "a number from 0"),
        (Ask(goal={"weight": 0.0}), "Say what counts"),
        (Ask(goal={"weight": math.nan}), "is a number from 0 to 10"),
    ],
)
def test_what_cannot_be_asked_is_refused(ask: Ask, sentence: str) -> None:
    with pytest.raises(BadInput, match=sentence):
        keepers(fold(list(breeders()), ON), ON, ask)


def test_the_goal_follows_what_the_holding_wants() -> None:
    assert default_goal(fold([], ON)) == {"weight": 1.0, "eggs": 1.0, "egg_weight": 0.0}
    eggs = fold([made("goal", "2027-01-01", eggs_per_week=40)], ON)
    assert default_goal(eggs)["weight"] == 0.0
    table = fold([made("goal", "2027-01-01", table_birds_per_month=10)], ON)
    assert default_goal(table)["weight"] == 2.0


def test_gain_ahead_of_weight_and_of_eggs() -> None:
    flock = fold(list(breeders()), ON)
    ahead = gain_ahead(flock, ON, GainAsk("weight", 4, 20, 12, 20, generations=3))
    gains = [one.gains["weight"].mean for one in ahead.generations]
    assert gains == sorted(gains)
    assert ahead.generations[-1].gains["egg_weight"].mean > 0
    eggs = ahead.generations[-1].gains["eggs"]
    assert eggs.low < 0 < eggs.high  # sources differ in its sign
    assert ahead.generations[0].inbreeding == 0
    # Parents hatched on 1 August, all chicks of the record on 1 March: 212 days.
    assert ahead.weeks == pytest.approx(212 / 7)
    assert ahead.generations[2].inbreeding > ahead.generations[2].inbreeding_even
    again = gain_ahead(flock, ON, GainAsk("weight", 4, 20, 12, 20, generations=3))
    assert again.generations == ahead.generations
    by_eggs = gain_ahead(flock, ON, GainAsk("eggs", 4, 20, 12, 20, generations=1))
    assert by_eggs.scheme.of_cocks == 4
    assert (ahead.by_sisters, by_eggs.sisters) == (0.0, 2)
    assert 0 < by_eggs.by_sisters < by_eggs.generations[0].gains["eggs"].mean * 2
    assert 0 < by_eggs.generations[0].gains["eggs"].mean < 5
    assert set(by_eggs.generations[0].gains) == set(TRAITS)
    for wrong in (GainAsk(generations=0), GainAsk(cocks=5, of_cocks=4), GainAsk(of_hens=4000)):
        with pytest.raises(BadInput):
            gain_ahead(flock, ON, wrong)


def test_a_hatch_with_few_records_is_pointed_out() -> None:
    journal = list(breeders(sires=1, chicks=1))  # three chicks of three hens
    found = merits(fold(journal, ON), lines_of(fold(journal, ON)), ON)
    assert found.bases["weight"].alone == 3
    assert found.bases["eggs"].alone == 3


@settings(max_examples=30)
@given(journals(size=20))
def test_any_journal_gets_an_answer(entries: list[Entry]) -> None:
    day = DAYS[-1] + timedelta(days=40)
    found = keepers(fold(entries, day), day, Ask())
    numbers = [one.points for one in (*found.cocks, *found.hens)]
    numbers += [pen.points for pen in found.pens]
    assert all(one.low <= one.mean <= one.high for one in numbers)

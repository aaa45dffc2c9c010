"""The weeks ahead draw by draw: birds conserved, closed forms of scipy, published trials."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from numpy.random import default_rng
from scipy import stats  # type: ignore[import-untyped]
from tests.makers import made
from tests.outlook.flocks import NOWHERE, ON, Array, binomial, hens, laid, outlook

from quailwright.flock.fold import fold
from quailwright.journal.entries import Entry
from quailwright.outlook.forecast import Outlook, Question, learn
from quailwright.outlook.hatching import PlannedSet
from quailwright.outlook.learning import Drawn, Prior
from quailwright.outlook.learning import learn as learn_share
from quailwright.outlook.rates import draw_rates
from quailwright.outlook.simulate import Flight, simulate

HATCH = made("eggs_set", "2027-05-25", hatch="may", eggs=60, place="machine", source="creek")
YOUNG = made(
    "group", "2027-05-20", group="young", place="brooder", chicks=30, hatched_on="2027-05-18"
)
FLOCK = [NOWHERE, hens(24, cocks=5), YOUNG, HATCH, *laid(binomial(24, 0.8, 40))]


def living(ahead: Outlook) -> Array:
    """Living birds at the end of each week, draw by draw."""
    return sum((ahead.samples[name] for name in ("hens", "cocks", "chicks")), np.zeros(1))


def test_birds_are_conserved_in_every_draw() -> None:
    ahead = outlook(FLOCK, weeks=20)
    (hatch,) = ahead.hatches
    of_groups = [flight for flight in ahead.flights if not flight.hatch]
    there = np.array([flight.hens + flight.cocks for flight in of_groups]).sum(0)
    assert (there <= 24 + 5 + 30).all()  # some may have died without a word
    started = there + hatch.chicks_samples
    assert started - ahead.samples["deaths"].sum(1) == pytest.approx(living(ahead)[:, -1])
    assert hatch.chicks_samples.max() <= 60
    assert (np.diff(living(ahead)[:, 5:], axis=1) <= 0).all()  # nothing comes any more
    assert (hatch.hens_at_8_weeks <= hatch.chicks_samples).all()


def test_chicks_are_hens_and_cocks_once_told_apart() -> None:
    ahead = outlook(FLOCK, weeks=10)
    assert (ahead.samples["chicks"][:, 3] > 0).mean() > 0.99
    assert (ahead.samples["chicks"][:, -1] == 0).all()
    assert ahead.samples["hens"][:, -1].mean() > 24 + 8
    assert ahead.samples["cocks"][:, -1].mean() > 5 + 8


def flights(number: int, hatched_on: date, draws: int) -> list[Flight]:
    there = np.full(draws, number, dtype=np.int64)
    none = np.zeros(draws, dtype=np.int64)
    return [Flight("young", hatched_on, there, none, none)]


def certain(share: float, draws: int) -> Drawn:
    """A share without doubt."""
    learnt = learn_share([], Prior(float(np.log(share / (1 - share))), 1e-9, (1.0, 0.0), 0.0))
    return Drawn(learnt, np.full((draws, 1), learnt.mode[0]))


def test_deaths_of_a_week_are_binomial() -> None:
    draws, chicks, share = 4000, 40, 0.12
    believed = draw_rates(learn(fold([]), ON), draws, default_rng(1))
    sure = replace(believed, deaths={**believed.deaths, "grower": certain(share, draws)})
    growers = flights(chicks, ON - timedelta(days=22), draws)
    ahead = simulate(growers, sure, sure.rates.light, ON, 1, default_rng(2)).weeks
    chances = stats.binom.pmf(np.arange(chicks + 1), chicks, share)
    seen = np.bincount(ahead["deaths"][:, 0].astype(int), minlength=chicks + 1)
    likely = chances * draws > 8
    assert stats.chisquare(
        [*seen[likely], seen[~likely].sum()],
        [*(chances[likely] * draws), draws * (1 - chances[likely].sum())],
    ).pvalue > 1e-3  # fmt: skip


def test_deaths_of_grown_birds_have_the_mean_of_the_rate_and_more_than_its_spread() -> None:
    draws, birds, share = 4000, 500, 0.01
    believed = draw_rates(learn(fold([]), ON), draws, default_rng(1))
    no_attacks = replace(believed.rates, attacks_a_week=0.0)
    adult = {**believed.deaths, "adult": certain(share, draws)}
    sure = replace(believed, rates=no_attacks, deaths=adult)
    ahead = simulate(
        flights(birds, ON - timedelta(weeks=30), draws),
        sure,
        sure.rates.light,
        ON,
        1,
        default_rng(2),
    ).weeks
    dead = ahead["deaths"][:, 0]
    assert dead.mean() == pytest.approx(birds * share, rel=0.05)
    assert dead.var() > 1.3 * birds * share * (1 - share)


# "Effect of season on mortality", Central Poultry Development Organisation Bhubaneswar 2015:
# 7.25, 2.06 and 0.93 % of chicks die in weeks 1, 2 and 3, 10.0 % in all.
@pytest.mark.parametrize("hatched", range(1, 8))
def test_chicks_die_as_published_on_whatever_weekday_they_hatch(hatched: int) -> None:
    planned = PlannedSet(ON + timedelta(days=hatched), 4000, "creek")
    ahead = outlook([NOWHERE], weeks=10, draws=1000, question=Question(sets=(planned,)))
    chicks = ahead.hatches[0].chicks_samples.sum()
    at_last = living(ahead)[:, 5].sum()
    lost = 1 - at_last / chicks
    assert 0.08 <= lost <= 0.13


# Maiduguri 2022, 300 birds, hens in their first 52 weeks of lay: 71.5 % in cages, 59.6 % on
# litter. Hens stand here at 7 to 58 weeks of age.
def test_a_year_of_lay_holds_the_published_trials() -> None:
    hatched = ON - timedelta(days=1)
    birds = made("group", ON, group="hens", place="pen", hens=300, hatched_on=hatched)
    ahead = outlook([NOWHERE, birds], weeks=58, draws=1000).samples
    lay = ahead["eggs"][:, 6:].sum(1) / (7 * (ahead["hens"] + ahead["chicks"])[:, 6:].sum(1))
    low, high = np.quantile(lay, (0.05, 0.95))
    assert low < 0.596 < high
    assert low < 0.7152 < high
    # Narinc et al. 2013 and Rahimzadeh 2016: the best week lies near 0.92; peaks were seen from
    # week 11 to week 26 of age.
    by_week = ahead["eggs"].mean(0) / (7 * (ahead["hens"] + ahead["chicks"]).mean(0))
    assert 8 <= int(np.argmax(by_week)) + 1 <= 26
    assert 0.75 < by_week.max() < 0.95


# Lay before the earliest first egg published (35 d, Narinc et al. 2013) would be a fault.
def test_no_egg_comes_of_birds_too_young() -> None:
    ahead = outlook([NOWHERE, YOUNG], weeks=10).samples["eggs"]
    assert ahead[:, :2].sum() == 0  # 13 to 28 days old
    assert (ahead[:, 8:].sum(1) > 0).mean() > 0.95


def test_chicks_of_unknown_age_do_not_lay_at_once() -> None:
    chicks = made("group", ON, group="young", place="brooder", chicks=30)
    ahead = outlook([NOWHERE, chicks]).samples
    assert ahead["eggs"][:, 0].mean() < 5
    assert ahead["chicks"][:, 0].mean() > 20


def test_chicks_of_unknown_age_are_not_hatched_again_when_moved() -> None:
    chicks = made("group", "2027-04-20", group="young", place="brooder", chicks=30)
    moved = made("birds_moved", ON, group="young", place="pen", to_group="pullets", chicks=30)
    stays, goes = (outlook([NOWHERE, chicks, *more]).samples for more in ([], [moved]))
    assert goes["eggs"][:, 3].mean() == pytest.approx(stays["eggs"][:, 3].mean(), rel=0.2)
    assert goes["deaths"][:, 0].mean() < 1


def test_a_bad_hatch_has_fewer_eggs_in_the_same_draw() -> None:
    ahead = outlook([NOWHERE, HATCH], weeks=20, draws=1000)
    chicks = ahead.hatches[0].chicks_samples
    for name, week in (("eggs", 19), ("hens", 19), ("feed_kg", 12)):
        assert np.corrcoef(chicks, ahead.samples[name][:, week])[0, 1] > 0.5, name


def test_two_hatches_of_one_source_are_good_or_bad_together() -> None:
    def together(other: str) -> float:
        sets = tuple(
            PlannedSet(ON + timedelta(days=n), 400, source)
            for n, source in ((4, "creek"), (5, other))
        )
        ahead = outlook([NOWHERE], draws=2000, question=Question(sets=sets), weeks=1)
        return float(np.corrcoef([hatch.chicks_samples for hatch in ahead.hatches])[0, 1])

    assert together("creek") > together("hill") + 0.15
    assert together("hill") > 0.1


def same(one: Outlook, other: Outlook) -> bool:
    return all(
        np.array_equal(one.samples[name], other.samples[name], equal_nan=True)
        for name in one.samples
    )


def test_the_same_seed_gives_the_same_outlook() -> None:
    assert same(outlook(FLOCK), outlook(FLOCK))
    assert not same(outlook(FLOCK), outlook(FLOCK, seed=2))
    one, other = (outlook(FLOCK, seed=seed, draws=2000).samples for seed in (1, 2))
    for name in ("eggs", "hens", "feed_kg"):
        assert other[name].mean(0) == pytest.approx(one[name].mean(0), rel=0.04), name


def asked(question: Question, entries: Sequence[Entry] = FLOCK, on: date = ON) -> Outlook:
    return outlook(entries, on, question=question)


def test_if_nothing_hatches_there_are_no_more_chicks() -> None:
    ahead = asked(Question(no_hatches=True))
    assert living(ahead).max() <= 24 + 5 + 30
    for hatch in ahead.hatches:
        assert hatch.chicks_samples.max() == hatch.hens_at_8_weeks.max() == 0
        assert np.isnan(hatch.first_at).all()


def test_fewer_birds_are_fewer_from_the_first_week_on() -> None:
    entries = [NOWHERE, hens(24, cocks=5), *laid(binomial(24, 0.8, 40))]
    ahead = asked(Question(fewer_cocks=3, fewer_hens=10), entries)
    assert (ahead.samples["cocks"][:, 0] <= 2).all()
    assert (ahead.samples["hens"][:, 0] <= 14).all()
    stands = outlook(entries)
    assert ahead.samples["eggs"].mean() < 0.65 * stands.samples["eggs"].mean()


def test_a_cock_fewer_costs_no_eggs_and_saves_feed() -> None:
    ahead, stands = asked(Question(fewer_cocks=1)), outlook(FLOCK)
    assert np.array_equal(ahead.samples["eggs"], stands.samples["eggs"])
    assert ahead.samples["feed_kg"].mean() < stands.samples["feed_kg"].mean()


def test_without_cocks_own_eggs_do_not_hatch() -> None:
    planned = PlannedSet(ON + timedelta(days=40), 60, "hens")
    ahead = asked(Question(fewer_cocks=5, sets=(planned,)), [NOWHERE, hens(24, cocks=5)])
    assert ahead.hatches[0].chicks_samples.mean() < 6


def test_eggs_of_hens_that_never_had_a_cock_do_not_hatch() -> None:
    planned = PlannedSet(ON + timedelta(days=4), 100, "hens")
    (hatch,) = asked(Question(sets=(planned,)), [NOWHERE, hens(20)]).hatches
    assert hatch.chicks_samples.mean() < 10


def test_eggs_set_bring_chicks_seventeen_days_later() -> None:
    ahead = asked(Question(sets=(PlannedSet(ON + timedelta(days=4), 100, "creek"),)), [NOWHERE])
    (hatch,) = ahead.hatches
    assert 40 < hatch.chicks_samples.mean() < 80
    # 390 to 441 h from setting (South African Journal of Animal Science 2005).
    days = (np.nanmedian(hatch.first_at) / 86400) - (ON - date(1970, 1, 1)).days - 4
    assert 15.5 < days < 19.5
    assert ahead.samples["chicks"][:, :2].max() == 0
    assert ahead.samples["chicks"][:, 3].mean() > 40


def test_two_sets_on_one_day_are_kept_apart() -> None:
    day = ON + timedelta(days=4)
    ahead = asked(
        Question(sets=(PlannedSet(day, 200, "creek"), PlannedSet(day, 10, "hill"))), [NOWHERE]
    )
    many, few = ahead.hatches
    assert many.hatch != few.hatch
    assert many.hens_at_8_weeks.mean() > 5 * few.hens_at_8_weeks.mean()


def test_what_cannot_lay_in_time_changes_no_egg() -> None:
    late = PlannedSet(ON + timedelta(weeks=6), 100, "creek")
    changed = asked(Question(sets=(late,))).samples["eggs"].sum(1)
    assert np.abs(changed - outlook(FLOCK).samples["eggs"].sum(1)).max() == 0


NORTH = made("holding", "2026-01-01", timezone="Europe/London", latitude=52.0)
DECEMBER = date(2026, 12, 1)


def faded(number: int, on: date) -> list[int]:
    """Eggs of hens without a lamp at 52 degrees from 8 August 2026 to `on`.

    The day there is 13 h long on 4 September and 10 h on 26 October (any almanac).
    """
    begun = binomial(number, 0.8, 28) + [int(eggs) for eggs in np.linspace(0.8 * number, 0, 54)]
    return begun + [0] * ((on - date(2026, 8, 8)).days + 1 - len(begun))


def test_a_lamp_in_december_brings_hens_back_to_lay() -> None:
    entries = [NORTH, hens(30, at="2026-08-01", hatched_on="2026-04-01")]
    none = [*entries, *laid(faded(30, DECEMBER), DECEMBER)]
    stands, lit = outlook(none, DECEMBER), asked(Question(lamp_h=15.0), none, DECEMBER)
    assert stands.samples["eggs"][:, 4].mean() < 30
    # Stein and Bacon 1976: hens past 140 days lay 5 days after the light.
    assert lit.samples["eggs"][:, 4].mean() > 85  # half of full lay and more
    assert lit.samples["eggs"][:, 0].mean() < lit.samples["eggs"][:, 4].mean()


def test_a_day_of_eight_hours_stops_them() -> None:
    birds = hens(30, at="2026-08-01", hatched_on="2026-04-01")
    lit = [NORTH, birds, *laid(binomial(30, 0.8, 110), DECEMBER)]
    ahead = asked(Question(lamp_h=8.0), lit, DECEMBER)
    assert ahead.samples["eggs"][:, -1].mean() < 20


@pytest.mark.parametrize(
    ("question", "says"),
    [
        (Question(fewer_cocks=30), "30 cocks cannot go: there are 5"),
        (Question(fewer_hens=50), "50 hens cannot go: there are 24"),
        (Question(lamp_h=25.0), "24 hours"),
    ],
)
def test_a_question_that_cannot_be_is_refused_in_a_sentence(question: Question, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        asked(question)


@pytest.mark.parametrize(("weeks", "draws"), [(0, 10), (521, 10), (1, 0)])
def test_an_outlook_of_no_weeks_or_draws_is_refused(weeks: int, draws: int) -> None:
    with pytest.raises(ValueError, match="1 to 520 weeks and 1 draw"):
        outlook([], weeks=weeks, draws=draws)


# Feed of hens in lay and out of it: 23.24 g/d (Maiduguri 2022) and 15 g/d of a bird out of lay
# (New South Wales DPI, from memory), and a tenth spilt.
def test_feed_of_hens_that_do_not_lay_is_learnt_and_foretold_alike() -> None:
    birds = [NORTH, hens(50, at="2026-08-01", hatched_on="2026-02-01")]
    on = date(2027, 1, 31)
    eggs = faded(50, on)
    weekly_kg = 50 * 0.015 * 1.11 * 7
    given = [
        made("feed_given", on - timedelta(days=n), feed="pellets", kg=round(weekly_kg / 7, 3))
        for n in range(60)
    ]
    ahead = outlook([*birds, *laid(eggs, on), *given], on).samples["feed_kg"][:, 0]
    assert np.quantile(ahead, 0.05) < weekly_kg < np.quantile(ahead, 0.95)

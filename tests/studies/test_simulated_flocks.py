"""The simulated flocks: journals that hold, records that tell the truth where the keeper does, and
true rates within what is published."""

from datetime import date, timedelta

import numpy as np
import pytest
from numpy.random import default_rng
from studies.simulated_flocks import SimulatedFlock, simulate
from studies.simulated_nature import (
    appetite,
    chance_of_lay,
    daylight_h,
    draw_nature,
    light_of,
    of_batch,
    shape_of_lay,
)

from quailwright.flock.fold import fold
from quailwright.journal.entries import decode, encode

FLOCKS = range(60)


def flock_of(number: int, *, perfect: bool = False) -> SimulatedFlock:
    """A flock with a day of its own."""
    rng = default_rng([20270502, number])
    today = date(2027, 1, 1) + timedelta(days=int(rng.integers(0, 365)))
    return simulate(rng, today, {"gaps"} if perfect else ())


@pytest.mark.parametrize("perfect", [False, True])
def test_journals_fold_without_findings(perfect: bool) -> None:
    for number in FLOCKS:
        flock = flock_of(number, perfect=perfect)
        assert fold(flock.entries, flock.today).findings == [], number


def test_entries_are_the_journals_own_and_none_lies_ahead() -> None:
    for number in FLOCKS:
        flock = flock_of(number)
        assert [decode(encode(entry)) for entry in flock.entries] == flock.entries
        assert len({entry.id for entry in flock.entries}) == len(flock.entries)
        assert max(entry.at[:10] for entry in flock.entries) <= flock.today.isoformat()


def test_perfect_record_agrees_with_the_truth() -> None:
    for number in FLOCKS:
        flock = flock_of(number, perfect=True)
        record = fold(flock.entries, flock.today)
        alive = [group.alive for group in record.groups.values()]
        chicks = sum(birds.chicks for birds in alive)
        chicks += sum(hatch.to_house for hatch in record.hatches.values())
        told = (sum(b.hens for b in alive), sum(b.cocks for b in alive), chicks)
        assert told == flock.truth.standing, number
        eggs = np.zeros(flock.history_days + 1, dtype=int)
        for (laid, _), lot in record.lots.items():
            eggs[flock.history_days - (flock.today - laid).days] += lot.collected
        assert eggs.tolist() == flock.truth.eggs_before.tolist(), number


def test_birds_ahead_are_conserved() -> None:
    """Nothing comes but chicks of hatches under way, and nothing goes but the dead."""
    checked = 0
    for number in FLOCKS:
        flock = flock_of(number)
        truth = flock.truth
        if any(hatch.under_way for hatch in truth.hatches):
            continue
        checked += 1
        birds = truth.hens + truth.cocks + truth.chicks
        assert (birds == sum(truth.standing) - np.cumsum(truth.deaths)).all(), number
    assert checked > 10


def test_same_seed_gives_the_same_flock() -> None:
    one, again = flock_of(3), flock_of(3)
    assert one.entries == again.entries
    assert one.truth.eggs.tolist() == again.truth.eggs.tolist()


def test_eggs_of_a_first_year_lie_between_ordinary_and_good_and_within_print() -> None:
    """261 eggs in ordinary and 307 in good care (suggested curves); 201 eggs in old stock (Woodard
    & Abplanalp), 300 at the best (Narinc et al. 2013)."""
    years = []
    for number in range(200):
        rng = default_rng([4, number])
        nature = draw_nature(rng)
        light = light_of(nature, np.full(450, 16.0))
        chance = chance_of_lay(rng, nature, light, shape_of_lay(nature), np.ones(450), 40, 0, 0)
        years.append(chance[:, 42 : 42 + 364].sum(axis=1).mean())
    low, middle, high = np.quantile(years, (0.05, 0.5, 0.95))
    assert 195 <= low <= 261 <= middle <= 307 <= high <= 330


def test_lay_ceases_under_short_days_and_comes_back() -> None:
    """No response to 10 h and less, full response from 13 h on (Poult Sci 1975, 54:1918); a stop
    within 15 days and a start within 20 (Stein & Bacon 1976)."""
    for number in range(20):
        rng = default_rng([5, number])
        nature = draw_nature(rng)
        hours = np.concatenate([np.full(200, 14.0), np.full(60, 9.5), np.full(60, 14.0)])
        chance = chance_of_lay(
            rng, nature, light_of(nature, hours), shape_of_lay(nature), np.ones(320), 30, 0, 0
        ).mean(axis=0)
        lays = chance[190:200].mean()
        assert lays > 0.4
        assert chance[217:260].max() <= 0.06 * lays + 1e-9
        assert chance[285:].mean() > 0.8 * lays


@pytest.mark.parametrize(
    ("latitude", "day", "hours"),
    [
        (51.5, date(2027, 6, 21), 16.63),
        (51.5, date(2027, 12, 21), 7.83),
        (0.0, date(2027, 3, 1), 12.1),
    ],
)
def test_daylight_of_greenwich_and_the_equator(latitude: float, day: date, hours: float) -> None:
    """From memory: the longest and the shortest day at 51.5 degrees north last 16 h 38 min and
    7 h 50 min; the equator's days last 12 h 7 min."""
    assert daylight_h(latitude, day, np.array([0]))[0] == pytest.approx(hours, abs=0.06)


def test_southern_days_mirror_northern() -> None:
    days = np.arange(365)
    north, south = (daylight_h(at, date(2027, 1, 1), days) for at in (45.0, -45.0))
    assert north.argmax() == pytest.approx(171, abs=2)
    assert south.argmin() == pytest.approx(171, abs=2)


def test_feed_of_the_first_six_weeks_lies_within_print() -> None:
    """407 to 513 g a bird in 42 days (Lima; Moura; Assiut trials), laying hens at 24 g a day."""
    assert 407.0 <= 24.0 * appetite(np.arange(42)).sum() <= 513.0


def test_batches_scatter_by_the_published_likeness() -> None:
    """A beta-binomial of likeness 0.02 has 0.02 of the variance of a single egg between batches."""
    rates = np.array([of_batch(default_rng([6, n]), 0.7) for n in range(4000)])
    assert rates.mean() == pytest.approx(0.7, abs=0.005)
    assert rates.var() == pytest.approx(0.02 * 0.7 * 0.3, rel=0.1)

"""Minutes that birds and hatches take, against what keepers say (common practice, no source)."""

from datetime import date, timedelta

import numpy as np
import pytest
from tests.planning.test_model import ON, problem

from quailwright.planning.hands import a_bird, jobs, minutes_by_day, minutes_once, watched_until
from quailwright.planning.problem import Set

WEEKS = 20


def eggs_set(eggs: int, day: date) -> Set:
    return Set(day, "creek", eggs, "box", 5, 1)


def test_forty_grown_birds_take_five_minutes_a_day() -> None:
    """About five minutes a day for some 40 grown birds (common practice, no source)."""
    assert 40 * a_bird() == pytest.approx(5.0)


def test_a_hatch_and_a_brood_take_ten_minutes_more_a_day() -> None:
    """Fifteen minutes a day in all while incubating and brooding (common practice, no source): a
    hatch set whenever the one before it has hatched keeps one of each going."""
    each, of_egg = minutes_once()
    days = (watched_until(ON) - ON).days
    assert 2 * (each + 60 * of_egg) / days == pytest.approx(10.0, rel=0.08)


def test_minutes_of_days_sum_to_those_of_the_sets_and_birds() -> None:
    """Property: nothing is lost between days."""
    day = ON + timedelta(days=10)
    birds = np.full(WEEKS, 12.0)
    minutes = minutes_by_day(problem([0.0] * WEEKS), [eggs_set(40, day)], birds)
    each, of_egg = minutes_once()
    assert minutes.sum() == pytest.approx(7 * WEEKS * 12 * a_bird() + each + 40 * of_egg)


def test_two_sets_of_one_day_are_watched_once() -> None:
    day = ON + timedelta(days=10)
    none = np.zeros(WEEKS)
    whole = problem([0.0] * WEEKS)
    one = minutes_by_day(whole, [eggs_set(40, day)], none)
    two = minutes_by_day(whole, [eggs_set(25, day), eggs_set(15, day)], none)
    np.testing.assert_allclose(one, two)


def test_jobs_fall_on_their_days() -> None:
    """Set on day 0, laid down on day 14, chicks on day 17, chosen six weeks later."""
    day = ON + timedelta(days=10)
    minutes = minutes_by_day(problem([0.0] * WEEKS), [eggs_set(60, day)], np.zeros(WEEKS))
    bound = {job.after_d for job in jobs() if not job.waits}
    assert bound == {0, 14, 17}
    quiet = minutes[9 + 5]
    for after in sorted(job.after_d for job in jobs()):
        assert minutes[9 + after] > quiet or after > 17 + 28
    assert minutes[9 + 17 + 42] > 0


def test_a_set_before_tomorrow_counts_only_from_tomorrow() -> None:
    day = ON - timedelta(days=20)
    minutes = minutes_by_day(problem([0.0] * WEEKS), [eggs_set(60, day)], np.zeros(WEEKS))
    assert minutes[: (watched_until(day) - ON).days].min() > 0
    assert minutes[-1] == 0

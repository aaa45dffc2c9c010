"""How well a group lays, from records as keepers make them. The flocks are invented."""

from datetime import date, timedelta

import numpy as np
import pytest
from tests.makers import made
from tests.outlook.flocks import LISBON, NOWHERE, ON, binomial, hens, laid, outlook, rate

from quailwright.flock.cohorts import group_history
from quailwright.flock.fold import fold
from quailwright.flock.history import laid_days
from quailwright.flock.light import lay_share, light_of
from quailwright.journal.entries import Entry
from quailwright.outlook.forecast import learn
from quailwright.outlook.lay import Weeks, curves, weeks_of

WEEKS = 8


def read(counts: list[float], more: list[Entry] | None = None, number: int = 50) -> Weeks:
    """Eight weeks of hens as they are made out from these counts, and entries beside them."""
    flock = fold([NOWHERE, hens(number), *laid(counts), *(more or [])], ON)
    first = ON - timedelta(weeks=WEEKS)
    light = light_of(flock, first - timedelta(weeks=60), ON)
    counted = laid_days(flock, first)["hens"]
    return weeks_of(group_history(flock.groups["hens"], ON), counted, light, ON, WEEKS)


def test_every_day_counted_is_read_as_it_stands() -> None:
    weeks = read([40.0] * 56)
    assert weeks.eggs.tolist() == [280.0] * WEEKS
    assert weeks.hen_days.tolist() == weeks.hens_lived.tolist() == [350.0] * WEEKS


def test_a_day_missed_is_a_gap_and_no_zero() -> None:
    counts = [40.0] * 56
    counts[10] = counts[30] = -1
    weeks = read(counts)
    assert weeks.eggs.sum() == 54 * 40
    assert weeks.hen_days.sum() == 54 * 50


def test_two_days_eggs_in_one_count_are_two_days() -> None:
    counts = [40.0] * 56
    counts[10], counts[11] = -1, 80
    counts[30], counts[31] = -1, 80
    weeks = read(counts)
    assert weeks.eggs.sum() == 56 * 40
    assert weeks.hen_days.sum() == 56 * 50


def test_a_week_of_eggs_in_one_count_is_a_week() -> None:
    weeks = read([280.0 if (day + 1) % 7 == 0 else -1 for day in range(56)])
    # The first count tells nothing: since when is not known.
    assert weeks.eggs.tolist() == [0.0] + [280.0] * (WEEKS - 1)
    assert weeks.hen_days.tolist() == [0.0] + [350.0] * (WEEKS - 1)


def test_eggs_that_two_people_counted_are_counted_once() -> None:
    days = [ON - timedelta(days=n) for n in (3, 12, 20)]
    again = [made("eggs_collected", day, group="hens", eggs=41) for day in days]
    weeks = read([40.0] * 56, again)
    assert weeks.eggs.sum() == pytest.approx(56 * 40, abs=3)
    assert weeks.hen_days.sum() == 56 * 50


def test_counts_of_a_day_that_add_up_are_one_day() -> None:
    evening = [
        made("eggs_collected", ON - timedelta(days=n), group="hens", eggs=28) for n in range(56)
    ]
    weeks = read([12.0] * 56, evening)
    assert weeks.eggs.sum() == 56 * 40
    assert weeks.hen_days.sum() == 56 * 50


def test_a_count_ten_times_too_high_is_a_slip() -> None:
    counts = [40.0] * 56
    counts[20] = 400
    weeks = read(counts)
    assert weeks.eggs.sum() == 55 * 40
    assert weeks.hen_days.sum() == 55 * 50


@pytest.mark.parametrize("number", [10, 50, 200])
def test_hens_that_stop_overnight_are_no_slip(number: int) -> None:
    weeks = read([0.84 * number] * 42 + [0.0] * 14, number=number)
    assert weeks.eggs[-2:].sum() == 0
    assert weeks.hen_days[-1] >= 6 * number


# Stein and Bacon 1976, Poult Sci: hens past 140 days lay again 5 days after the light.
@pytest.mark.parametrize("number", [10, 50, 200])
def test_hens_that_come_back_fast_are_no_slip(number: int) -> None:
    shares = [0.0] * 42 + [0.1, 0.3, 0.5, 0.7] + [0.8] * 10
    weeks = read([share * number for share in shares], number=number)
    assert weeks.hen_days[-1] >= 6 * number
    assert weeks.eggs[-1] / weeks.hen_days[-1] > 0.7


def test_four_weeks_of_fifty_hens_tell_their_level() -> None:
    level = rate([NOWHERE, hens(50), *laid(binomial(50, 0.8, 28))], "lay", "hens")
    assert level.q05 < 0.80 < level.q95
    assert level.q95 - level.q05 < 0.1
    assert level.records == 28 * 50
    assert level.weight_own > 0.5


def test_one_week_of_eggs_moves_it() -> None:
    before = rate([NOWHERE, hens(30)], "lay", "hens")
    after = rate([NOWHERE, hens(30), *laid(binomial(30, 0.5, 7))], "lay", "hens")
    assert before.weight_published == pytest.approx(1.0)
    assert abs(after.mean - 0.5) < abs(before.mean - 0.5) / 2
    assert after.weight_own > 0.2
    assert after.q95 - after.q05 < before.q95 - before.q05


@pytest.mark.parametrize("fallen_to", [0.4, 0.2, 0.0])
def test_a_fall_is_followed_within_two_weeks(fallen_to: float) -> None:
    counts = binomial(50, 0.85, 70) + binomial(50, fallen_to, 14, seed=2)
    entries = [NOWHERE, hens(50), *laid(counts)]
    level = rate(entries, "lay", "hens")
    assert level.mean < (0.85 + fallen_to) / 2
    assert level.q05 - 0.03 < fallen_to < level.q95 + 0.03
    assert np.median(outlook(entries).samples["eggs"][:, 0]) < 0.5 * 350


def test_a_fall_of_one_group_moves_another_little() -> None:
    falls = laid(binomial(40, 0.85, 70) + binomial(40, 0.4, 14, seed=2), group="falls")
    steady = laid(binomial(40, 0.85, 84, seed=3), group="steady")
    entries = [NOWHERE, hens(40, "falls"), hens(40, "steady"), *falls, *steady]
    assert rate(entries, "lay", "falls").mean < 0.5
    assert rate(entries, "lay", "steady").mean > 0.78


def test_one_hen_is_not_sworn_by() -> None:
    entries = [NOWHERE, hens(1), *laid([1] * 28)]
    level = rate(entries, "lay", "hens")
    assert level.q95 - level.q05 > 0.08
    ahead = outlook(entries, draws=1000).samples
    assert ahead["eggs"].max() <= 7 + 3
    assert np.quantile(ahead["eggs"][:, 0], 0.1) < 7
    assert (ahead["hens"][:, -1] == 0).any()


def test_weeks_without_a_count_widen_it() -> None:
    entries = [NOWHERE, hens(50), *laid(binomial(50, 0.8, 84), ON - timedelta(weeks=12))]
    then = rate(entries, "lay", "hens", ON - timedelta(weeks=12))
    now = rate(entries, "lay", "hens")
    assert now.q95 - now.q05 > 1.3 * (then.q95 - then.q05)
    assert now.records == then.records


WINTER = made("holding", "2026-01-01", timezone="Europe/London", latitude=50.0)
JANUARY = date(2027, 1, 31)


def lamp_chance(counts: list[int]) -> float:
    """Chance of a lamp at 50 degrees north after 23 weeks of eggs up to the end of January."""
    entries = [WINTER, hens(30, at="2026-06-01", hatched_on="2026-02-01")]
    believed = learn(fold([*entries, *laid(counts, JANUARY)], JANUARY), JANUARY)
    assert believed.light.names[0] == "lamp"
    return float(believed.lay.chances[believed.lay.hens.light == 0].sum())


def test_hens_that_lay_in_january_at_50_degrees_have_a_lamp() -> None:
    assert lamp_chance(binomial(30, 0.78, 161)) > 0.95


# The day there is 13 h long on 3 September and 10 h on 27 October (any almanac).
def test_hens_that_stop_as_days_shorten_at_50_degrees_have_none() -> None:
    fading = [int(eggs) for eggs in np.linspace(24, 0, 54)]
    assert lamp_chance(binomial(30, 0.8, 14) + fading + [0] * 93) < 0.05


# Stein and Bacon 1976, Poult Sci: hens brought up in 8 h lay first at 113 days, in 14 h at 43.
# Woodard and Abplanalp: half of the hens lay at 49 to 54 days in 14 h.
def test_pullets_of_long_and_of_short_days() -> None:
    flock = fold([made("holding", "2026-01-01", timezone="UTC", latitude=60.0)])
    light = light_of(flock, date(2026, 1, 1), date(2027, 12, 31))

    def half_lay_d(hatched: date, possibility: int) -> int:
        born = (hatched - light.first).days
        ages = np.arange(30, 250)
        share = lay_share(light, curves(), born + ages, np.full(len(ages), born))
        return int(ages[np.argmax(share[:, possibility, 1, 1] >= 0.5)])

    assert 49 <= half_lay_d(date(2026, 4, 10), 1) <= 54
    assert 49 <= half_lay_d(date(2026, 10, 1), 0) <= 54
    assert half_lay_d(date(2026, 10, 1), 1) > 100


def test_hens_older_than_the_light_known_are_grown() -> None:
    flock = fold([LISBON])
    light = light_of(flock, date(2027, 1, 1), date(2027, 12, 31))
    share = lay_share(light, curves(), np.array([150]), np.array([-400]))
    assert share.shape == (1, len(light.names), 3, 3)
    assert 0.5 < share[0, 0, 1, 1] < 1

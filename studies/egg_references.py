"""What a forecast of weekly eggs must beat: a rule of thumb, the last month, and exponential
smoothing. Each knows the record alone, as of the day on which it is made."""

import warnings
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from studies.forecast_scores import Floats

from quailwright.flock.state import Flock, Group

EGGS_A_HEN_DAY = 0.8
LAYING_AGE_DAYS = 49
HATCH_OF_SET = 0.65
CHICKS_KEPT = 0.9
DAYS_TO_HATCH = 17
"""The rule of thumb of keepers: four eggs from five hens, from the seventh week on; half of the
chicks are hens, and two in three eggs hatch (common practice, no source)."""

OVERDUE_DAYS = 25

SHORTEST_ETS_WEEKS = 20
FEWEST_ERRORS = 16
SPREAD_WITHOUT_RECORD = 0.4
"""What made the references best (least mean CRPS) on 400 simulated flocks of other seeds than those
scored here. There weeks without an entry also did best when taken as weeks without an egg (better
than left out or filled in between), and sums as logged better than scaled up for days missed."""


@dataclass(frozen=True)
class LoggedWeeks:
    """Eggs logged in each full week up to the day, the last week last, and whether there was any
    entry at all that week. Where the record is shorter than a week it is taken for a week."""

    eggs: Floats
    told: NDArray[np.bool_]


def logged_weeks(flock: Flock, today: date) -> LoggedWeeks:
    """The eggs of the record by week, from the first week with an entry. May be empty."""
    days = [(today - laid).days for laid, _ in flock.lots]
    logged = [
        (ago, lot.collected)
        for ago, lot in zip(days, flock.lots.values(), strict=True)
        if lot.counts and ago >= 0
    ]
    if not logged:
        return LoggedWeeks(np.zeros(0), np.zeros(0, dtype=np.bool_))
    span = max(ago for ago, _ in logged) + 1
    weeks = span // 7
    if not weeks:
        total = sum(eggs for _, eggs in logged)
        return LoggedWeeks(np.array([7.0 * total / span]), np.ones(1, dtype=np.bool_))
    eggs, told = np.zeros(weeks), np.zeros(weeks, dtype=np.bool_)
    for ago, number in logged:
        week = weeks - 1 - ago // 7
        if week >= 0:
            eggs[week] += number
            told[week] = True
    return LoggedWeeks(eggs, told)


def rule_of_thumb(flock: Flock, today: date, weeks: int) -> Floats:
    """Eggs a week, (weeks,): hens by the record of laying age, and those that come of age."""
    eggs = np.zeros(weeks)
    middle = 7 * np.arange(weeks) + 4
    a_week = 7.0 * EGGS_A_HEN_DAY
    for group in flock.groups_alive():
        old_enough = _age(group, today) + middle >= LAYING_AGE_DAYS
        eggs += a_week * (group.alive.hens + 0.5 * group.alive.chicks) * old_enough
    for hatch in flock.hatches_open():
        day = (today - hatch.set_at.date()).days
        if day <= OVERDUE_DAYS:
            chicks = max(hatch.to_house, 0) + (0.0 if hatch.hatched else HATCH_OF_SET * hatch.alive)
            of_age = middle >= LAYING_AGE_DAYS + DAYS_TO_HATCH - day
            eggs += a_week * 0.5 * CHICKS_KEPT * chicks * of_age
    return eggs


def _age(group: Group, today: date) -> int:
    """The age of a group's youngest; birds of unknown age are taken as grown, chicks as new."""
    age = group.age_days(today)
    if age is not None:
        return age
    return LAYING_AGE_DAYS if group.alive.hens else (today - (group.since or today)).days


def last_month(logged: LoggedWeeks, weeks: int, draws: int, rng: Generator) -> Floats:
    """Persistence, (draws, weeks): the mean of the last four weeks, spread by the errors that the
    same rule made so far ahead, or as far as there are enough of them to tell; a log-normal spread
    where there are none."""
    eggs = logged.eggs
    if not eggs.size:
        return np.zeros((draws, weeks))
    level = eggs[-4:].mean()
    means = np.array([eggs[max(0, i - 3) : i + 1].mean() for i in range(eggs.size)])
    paths = np.empty((draws, weeks))
    errors = np.zeros(0)
    for week in range(weeks):
        ahead = week + 1
        if eggs.size - ahead >= FEWEST_ERRORS:
            errors = eggs[ahead:] - means[: eggs.size - ahead]
        if errors.size:
            paths[:, week] = level + rng.choice(errors, draws)
        else:
            paths[:, week] = level * np.exp(rng.normal(0.0, SPREAD_WITHOUT_RECORD, draws))
    return np.maximum(0.0, paths)


def exponential_smoothing(
    logged: LoggedWeeks, weeks: int, draws: int, rng: Generator
) -> Floats:  # fmt: skip
    """Additive errors and a damped additive trend, no season, (draws, weeks) simulated paths cut
    at 0 (statsmodels); the last month where the record is too short or does not vary."""
    if logged.eggs.size < SHORTEST_ETS_WEEKS or np.ptp(logged.eggs) == 0.0:
        return last_month(logged, weeks, draws, rng)
    # Imported here so that the other parts work without it.
    from statsmodels.tsa.exponential_smoothing.ets import ETSModel  # type: ignore[import-untyped]

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        model = ETSModel(logged.eggs, error="add", trend="add", damped_trend=True)
        fitted: Any = model.fit(disp=False)
        paths = fitted.simulate(weeks, anchor="end", repetitions=draws, rng=rng)
    cut: Floats = np.maximum(0.0, np.asarray(paths).T)
    return cut if np.isfinite(cut).all() else last_month(logged, weeks, draws, rng)

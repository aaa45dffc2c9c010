"""How the flock's own past forecasts did: made again as of then, and held against what came."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.random import Generator

from quailwright.flock.cohorts import group_history
from quailwright.flock.fold import fold
from quailwright.flock.history import laid_days
from quailwright.flock.state import Flock
from quailwright.journal.entries import Entry
from quailwright.language import say_many
from quailwright.outlook.forecast import Question, forecast, learn, light_ahead
from quailwright.outlook.lay import Weeks, weeks_of
from quailwright.outlook.planned import planned_of

_ORIGINS = 8
_WEEKS_BETWEEN = 3
_DRAWS = 400
_HORIZONS = (1, 4, 12)
_FEWEST_DAYS = 0.5
"""Part of a week's hen-days that must be counted for the week to be compared."""


@dataclass(frozen=True, slots=True)
class Score:
    """Forecasts of a week's eggs, so many weeks ahead.

    Attributes:
        weeks_ahead: 1 for the next week.
        forecasts: how many could be compared.
        held: how many fell inside what was called likely (four in five should).
        error: mean distance of the middle of the forecast from what came [eggs a week].
        error_of_last_month: that of the mean of the four weeks before, on the same weeks.
    """

    weeks_ahead: int
    forecasts: int
    held: int
    error: float
    error_of_last_month: float

    @property
    def sentence(self) -> str:
        """The score in words."""
        told = {
            "held": self.held,
            "missed": self.error,
            "by_mean": self.error_of_last_month,
        }
        if self.weeks_ahead == 1:
            return say_many(
                "Of {n} forecast of the week ahead, {held} held (four in five should); they "
                "missed by {missed:.0f} eggs a week, last month's mean would have missed by "
                "{by_mean:.0f}.",
                "Of {n} forecasts of the week ahead, {held} held (four in five should); they "
                "missed by {missed:.0f} eggs a week, last month's mean would have missed by "
                "{by_mean:.0f}.",
                self.forecasts,
                **told,
            )
        return say_many(
            "Of {n} forecast of {weeks} weeks ahead, {held} held (four in five should); they "
            "missed by {missed:.0f} eggs a week, last month's mean would have missed by "
            "{by_mean:.0f}.",
            "Of {n} forecasts of {weeks} weeks ahead, {held} held (four in five should); they "
            "missed by {missed:.0f} eggs a week, last month's mean would have missed by "
            "{by_mean:.0f}.",
            self.forecasts,
            weeks=self.weeks_ahead,
            **told,
        )


def past_scores(
    entries: Sequence[Entry],
    on: date,
    rng: Generator,
    progress: Callable[[int, int], None] | None = None,
) -> list[Score]:
    """Scores of forecasts made every three weeks in the past, as of then.

    Args:
        entries: the whole journal.
        on: the day up to which is known what came.
        progress: called with (done, of) after each past day.
    """
    flock = fold(entries, on)
    if flock.first_day is None:
        return []
    origins = [on - timedelta(weeks=_WEEKS_BETWEEN * n) for n in range(1, _ORIGINS + 1)]
    origins = [day for day in origins if day - timedelta(weeks=4) >= flock.first_day]
    came = _eggs_by_week(flock, on, (on - min(origins, default=on)).days // 7 + 5)
    seen: dict[int, list[tuple[float, float, float, float]]] = {h: [] for h in _HORIZONS}
    for done, origin in enumerate(origins, 1):
        ago = (on - origin).days // 7
        horizons = [h for h in _HORIZONS if h <= ago]
        before = [week for week in came[-ago - 4 : len(came) - ago] if week is not None]
        if horizons and before:
            then = fold(entries, origin)
            made = forecast(
                then,
                origin,
                rng=rng,
                weeks=max(horizons),
                draws=_DRAWS,
                question=Question(planned=planned_of(then, origin, max(horizons))),
                rates=learn(then, origin),
            )
            for ahead in horizons:
                what_came = came[len(came) - ago + ahead - 1]
                if what_came is not None:
                    low, middle, high = np.quantile(
                        made.samples["eggs"][:, ahead - 1], (0.1, 0.5, 0.9)
                    )
                    last_month = sum(before) / len(before)
                    seen[ahead].append(
                        (
                            float(low <= what_came <= high),
                            abs(middle - what_came),
                            abs(last_month - what_came),
                            what_came,
                        )
                    )
        if progress is not None:
            progress(done, len(origins))
    return [
        Score(
            ahead,
            len(rows),
            int(sum(row[0] for row in rows)),
            float(np.mean([row[1] for row in rows])),
            float(np.mean([row[2] for row in rows])),
        )
        for ahead, rows in seen.items()
        if rows
    ]


def _eggs_by_week(flock: Flock, on: date, weeks: int) -> list[float | None]:
    """Eggs of the weeks that end on `on`, made whole for days not counted; None where too few."""
    light = light_ahead(flock, on)
    laid = laid_days(flock, on - timedelta(weeks=weeks), on)
    by_group: list[Weeks] = []
    for name, group in flock.groups.items():
        history = group_history(group, on)
        by_group.append(weeks_of(history, laid.get(name, ()), light, on, weeks))
    found: list[float | None] = []
    for week in range(weeks):
        total, counted, living = 0.0, 0.0, 0.0
        for own in by_group:
            if own.hens_lived[week] <= 0:
                continue
            living += own.hens_lived[week]
            counted += min(own.hen_days[week], own.hens_lived[week])
            if own.hen_days[week] > 0:
                total += own.eggs[week] * own.hens_lived[week] / own.hen_days[week]
        found.append(total if living > 0 and counted >= _FEWEST_DAYS * living else None)
    return found

"""The birds of a group day by day, as arrays: for what looks at each day of half a year."""

from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from quailwright.flock.appetite import intake_g
from quailwright.flock.cohorts import Cohort, GroupHistory

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ByDay:
    """The birds of a group by day and cohort.

    Attributes:
        first: the first day.
        cohorts: those that lived in those days; their birds are those of one of the days.
        hens, cocks, chicks: birds, shape (days, cohorts).
    """

    first: date
    cohorts: tuple[Cohort, ...]
    hens: Array
    cocks: Array
    chicks: Array

    def heads(self) -> Array:
        """All birds, shape (days,)."""
        whole: Array = (self.hens + self.cocks + self.chicks).sum(axis=1)
        return whole

    def ages_d(self, cohort: Cohort) -> list[int | None]:
        """The age of a cohort on each day [d], None where its hatching day is not known."""
        if cohort.hatched_on is None:
            return [None] * len(self.hens)
        before = (self.first - cohort.hatched_on).days
        return [max(0, before + n) for n in range(len(self.hens))]

    def eaten_g(self, laying: Array) -> Array:
        """What all eat in each day [g], shape (days,), as `appetite.eaten_g_per_day` has it.

        Args:
            laying: the share of the hens that lays, shape (days,).
        """
        eaten = np.zeros(len(self.hens))
        laying = np.minimum(1.0, laying)
        for n, cohort in enumerate(self.cohorts):
            intake = np.array([intake_g(age) for age in self.ages_d(cohort)])
            by_cock, by_hen, may_lay = intake.T
            by_hen = np.where(may_lay > 0, by_cock + (by_hen - by_cock) * laying, by_hen)
            half = self.chicks[:, n] / 2
            eaten += (self.hens[:, n] + half) * by_hen + (self.cocks[:, n] + half) * by_cock
        return eaten


def birds_by_day(history: GroupHistory, first: date, days: int) -> ByDay:
    """The birds of a group on so many days from `first`; none where it had none."""
    inside = []
    for stretch in history.stretches:
        begin, end = (stretch.first - first).days, (stretch.end - first).days
        if end > 0 and begin < days:
            inside.append((slice(max(0, begin), end), stretch.cohorts))
    cohorts = {(c.hatched_on, c.came_on): c for _, some in inside for c in some}
    column = {key: n for n, key in enumerate(cohorts)}
    found = ByDay(first, tuple(cohorts.values()), *np.zeros((3, days, len(cohorts))))
    for span, some in inside:
        for cohort in some:
            n = column[cohort.hatched_on, cohort.came_on]
            found.hens[span, n] += cohort.hens
            found.cocks[span, n] += cohort.cocks
            found.chicks[span, n] += cohort.chicks
    return found

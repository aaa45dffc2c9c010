"""Counts and amounts watched day by day: each against what it was before, and since when it is off.

What is usual is learnt from the weeks before, up to a week ago, or up to the day on which a change
may have begun. A sign stands from the day on which the cumulative sum passes its interval until
the scores are usual again, or until so many days have passed that the new level is the usual one.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from itertools import pairwise
from statistics import fmean, median

from quailwright.guide.signs.change import interval_for
from quailwright.husbandry import facts

_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Seen:
    """One observation.

    Attributes:
        day: on which it was made.
        amount: what was counted, weighed or measured.
        size: what it is in proportion to: hens times their expected share of full lay times days,
            bird-days of the appetite of a hen in lay, or eggs. The least that may be expected.
        units: whole hens, birds or eggs of one day behind it.
        days: that it stands for, 1 or more.
        most: the size at most, where what is to be expected is not sure; 0: the same.
    """

    day: date
    amount: float
    size: float
    units: float
    days: int = 1
    most: float = 0.0


@dataclass(frozen=True, slots=True)
class Scored:
    """How far an observation lies from the usual.

    Attributes:
        score: standard deviations, above 0 the way that means trouble.
        step: the standard deviations that a change worth a sign makes.
    """

    score: float
    step: float


Score = Callable[[Seen, Sequence[Seen]], Scored]


@dataclass(frozen=True, slots=True)
class Off:
    """A stream that stands off its usual level.

    Attributes:
        since: the first day of the change, as far as the sum tells.
        told_on: the day on which the sign first stood.
        before: the observations that tell what was usual.
        during: those from `since` on.
    """

    since: date
    told_on: date
    before: tuple[Seen, ...]
    during: tuple[Seen, ...]

    @property
    def usual(self) -> float:
        """The usual amount for each unit of size."""
        return usual_rate(self.before)

    @property
    def now(self) -> float:
        """The amount for each unit of size of late: of the last days of the change."""
        return rate(self.during[-_WEEK:])

    @property
    def change(self) -> float:
        """What is left of the usual, as a fraction: 0.6 is a fall of 40 %."""
        return self.now / self.usual if self.usual > 0 else 1.0


_LATELY = 3
"""Observations that show whether the level is usual again."""
_WEEK = 7
"""Observations that make up the level of late."""


def rate(seen: Iterable[Seen]) -> float:
    """Amount for each unit of size, all together; 0 where there is none."""
    some = list(seen)
    size = sum(one.size for one in some)
    return sum(one.amount for one in some) / size if size > 0 else 0.0


def usual_rate(seen: Iterable[Seen]) -> float:
    """The amount to be usual for each unit of size: the least that these observations allow."""
    some = list(seen)
    size = sum(max(one.size, one.most) for one in some)
    return sum(one.amount for one in some) / size if size > 0 else 0.0


HELD = 0.93
"""A stream that keeps this share of its usual up holds."""


def kept_since(seen: Sequence[Seen], day: date) -> float | None:
    """What was observed of late since a day over what was usual before it; None where unknown."""
    reach = timedelta(days=facts.value("signs.usual_over_d"))
    before = [one for one in seen if day - reach <= one.day < day]
    after = [one for one in seen if one.day >= day][-_WEEK:]
    if len(before) < 2 or not after or usual_rate(before) <= 0:
        return None
    return rate(after) / usual_rate(before)


def each(seen: Iterable[Seen]) -> float:
    """Amount for each unit and day as it is, all together; 0 where there is none."""
    some = list(seen)
    days = sum(one.units * one.days for one in some)
    return sum(one.amount for one in some) / days if days > 0 else 0.0


def usual_spacing(days: Sequence[date]) -> float:
    """Median days from one observation to the next; 1 where there are fewer than two."""
    between = [(b - a).days for a, b in pairwise(days)]
    return float(median(between)) if between else 1.0


def off_its_level(
    seen: Sequence[Seen],
    score: Score,
    on: date,
    days_between_false_signs: float,
    least_change: float = 0.0,
) -> Off | None:
    """Whether a stream stands off its usual level on the day `on`.

    Args:
        seen: in order of day, none after `on`.
        score: of one observation against those that tell what was usual.
        days_between_false_signs: mean days up to a sign while nothing is wrong.
        least_change: a change smaller than this share of the usual is not told of.
    """
    return _off_its_level(tuple(seen), score, on, days_between_false_signs, least_change)


@lru_cache(128)
def _off_its_level(
    seen: tuple[Seen, ...],
    score: Score,
    on: date,
    days_between_false_signs: float,
    least_change: float,
) -> Off | None:
    """The same, remembered: what is written of one pen leaves the streams of the others as they
    were, and of a pen most of its own."""
    lag = timedelta(days=facts.value("signs.usual_lag_d"))
    reach = timedelta(days=facts.value("signs.usual_over_d"))
    expires = timedelta(days=facts.value("signs.told_for_d"))
    spacing = max(1.0, usual_spacing([one.day for one in seen]))
    observations = max(2.0, days_between_false_signs / spacing)
    total, began, off = 0.0, None, None
    learn_from = date.min
    left_out: list[tuple[date, date]] = []
    recent: list[float] = []
    days = [one.day for one in seen]
    for number, one in enumerate(seen):
        if off is not None and one.day - off.told_on > expires:
            learn_from, off, total, began = off.since, None, 0.0, None
        if began is not None and off is None and one.day - began > expires:
            total, began = 0.0, None
        last = one.day - lag if began is None else min(one.day - lag, began - _DAY)
        first = bisect_left(days, max(learn_from, last - reach))
        before = tuple(seen[first : min(number, bisect_right(days, last))])
        if left_out:
            before = tuple(
                other
                for other in before
                if not any(begun <= other.day < over for begun, over in left_out)
            )
        if not enough(before):
            continue
        scored = score(one, before)
        recent.append(scored.score)
        if off is not None:
            off = Off(off.since, off.told_on, off.before, (*off.during, one))
            if len(off.during) >= _LATELY and fmean(recent[-_LATELY:]) < _USUAL_AGAIN:
                left_out.append((off.since, one.day))
                off, total, began = None, 0.0, None
            continue
        k = min(max(scored.step / 2.0, _LEAST_K), _MOST_K)
        total = max(0.0, total + min(scored.score, _MOST_SCORE) - k)
        if total <= 0:
            began = None
            continue
        began = began or one.day
        if total > interval_for(round(k, 1), observations):
            during = tuple(other for other in seen[: number + 1] if other.day >= began)
            found = Off(began, one.day, before, during)
            if abs(found.change - 1.0) >= least_change:
                off = found
    if off is not None and on - off.told_on > expires:
        return None
    return off


_LEAST_K, _MOST_K = 0.3, 1.6
"""Bounds of the reference value: small pens are slow to tell, and one odd day is no sign."""
_MOST_SCORE = 3.0
"""One day counts for no more than this: hens lay late, and an early walk finds half of the eggs."""
_USUAL_AGAIN = 0.5
"""A mean score below this over the last observations is the usual level again."""


def enough(before: Sequence[Seen]) -> bool:
    """Whether these observations tell what is usual."""
    days = sum(one.days for one in before)
    return len(before) > 1 and days >= facts.value("signs.usual_fewest_d")

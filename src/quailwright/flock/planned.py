"""How far a plan has come by a day: what lies ahead, is due, is done, or has lapsed.

`flock` is what stands on the day `on`: fold the entries up to then.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal, get_args

from quailwright.flock.cohorts import Cohort, birds_on, group_history, hatched
from quailwright.flock.state import Birds, CullToDo, Flock, Group, Hatch, SetToDo
from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK

Progress = Literal["ahead", "due", "done", "lapsed"]
PROGRESS: tuple[Progress, ...] = get_args(Progress)


def set_progress(planned: SetToDo, on: date) -> Progress:
    """`done` once set; `due` from its day on, `lapsed` when that is too long ago."""
    if planned.set_as is not None:
        return "done"
    if on < planned.on:
        return "ahead"
    return "due" if on <= set_lapses_after(planned) else "lapsed"


def set_lapses_after(planned: SetToDo) -> date:
    """The last day on which a planned set is still asked for."""
    return planned.on + timedelta(days=facts.value("planning.set_lapses_d"))


def sets_in(flock: Flock, on: date, *progress: Progress) -> list[SetToDo]:
    """Planned sets that have come so far by the day `on`, in order of their day."""
    found = [one for one in flock.planned_sets.values() if set_progress(one, on) in progress]
    return sorted(found, key=lambda one: (one.on, one.hatch))


def culls_in(flock: Flock, on: date, *progress: Progress) -> list[CullToDo]:
    """Planned culls that have come so far by the day `on`, in order of their day."""
    found = [
        one for one in flock.planned_culls.values() if cull_progress(flock, one, on) in progress
    ]
    return sorted(found, key=lambda one: (one.on, one.whose))


def cull_progress(flock: Flock, cull: CullToDo, on: date) -> Progress:
    """`due` from its day on, `done` once no more than that were left at the end of a day since.

    Birds that join later do not make it due again. It has lapsed when its hatch was never set, or
    its day is too long ago.
    """
    hatch = None
    if cull.hatch is not None:
        planned = flock.planned_sets.get(cull.hatch)
        hatch = flock.hatches.get(hatch_named(flock, cull.hatch))
        if hatch is None and (planned is None or set_progress(planned, on) == "lapsed"):
            return "lapsed"
    if on < cull.on:
        return "ahead"
    is_coming = cull.hatch is not None and (hatch is None or may_bring_chicks(hatch, on))
    if not is_coming and any(
        no_more_than(cull, birds) for birds in _birds_since(flock, cull, hatch, on)
    ):
        return "done"
    last = cull.on + timedelta(days=facts.value("planning.cull_lapses_d"))
    return "due" if on <= last else "lapsed"


def hatch_named(flock: Flock, name: str) -> str:
    """The hatch that stands for a planned one: what was set for it, under whatever name."""
    planned = flock.planned_sets.get(name)
    return planned.set_as if planned is not None and planned.set_as is not None else name


def may_bring_chicks(hatch: Hatch, on: date) -> bool:
    """Whether chicks may still come of a hatch."""
    last = facts.figure("incubation.hatch_day_possible").high or 0.0
    return (
        hatch.closed_at is None
        and hatch.alive > 0
        and on <= hatch.set_at.date() + timedelta(days=last)
    )


def no_more_than(cull: CullToDo, birds: Birds) -> bool:
    """Whether no more birds are there than are to stay. A chick not sexed yet may be either."""
    if cull.keep_hens is None:
        return cull.keep_cocks is None or birds.cocks + birds.chicks <= cull.keep_cocks
    if cull.keep_cocks is None:
        return birds.hens + birds.chicks <= cull.keep_hens
    return (
        birds.hens <= cull.keep_hens
        and birds.cocks <= cull.keep_cocks
        and birds.total <= cull.keep_hens + cull.keep_cocks
    )


@dataclass(frozen=True, slots=True)
class Meant:
    """Birds that a cull means: a cohort of a group."""

    group: Group
    cohort: Cohort


def birds_meant(flock: Flock, cull: CullToDo, on: date) -> list[Meant]:
    """The birds in groups that a cull means, the oldest first; chicks not housed yet are not told.

    Birds of a hatch are followed into every group that they are moved to. Of a group of mixed age
    those are meant whose day lies nearest, within a week.
    """
    hatch = None if cull.hatch is None else flock.hatches.get(hatch_named(flock, cull.hatch))
    found = [
        Meant(group, cohort)
        for group in _groups_meant(flock, cull, hatch)
        for cohort in _meant_of(flock, cull, hatch, group, group_history(group, on).cohorts)
    ]
    return sorted(found, key=lambda one: hatched(one.cohort))


def count_meant(flock: Flock, cull: CullToDo, on: date) -> Birds:
    """How many birds a cull means on the day `on`, chicks not housed yet among them."""
    hatch = None if cull.hatch is None else flock.hatches.get(hatch_named(flock, cull.hatch))
    return next(iter(_birds_of_days(flock, cull, hatch, [on])))


def _birds_since(flock: Flock, cull: CullToDo, hatch: Hatch | None, on: date) -> Iterator[Birds]:
    """The birds meant at the end of the cull's day, and of each day since on which any changed."""
    days = {cull.on, on}
    for group in _groups_meant(flock, cull, hatch):
        days.update(change.day for change in group.changes if cull.on <= change.day <= on)
    return _birds_of_days(flock, cull, hatch, sorted(days))


def _birds_of_days(
    flock: Flock, cull: CullToDo, hatch: Hatch | None, days: Sequence[date]
) -> Iterator[Birds]:
    by_group = [
        (group, birds_on(group_history(group, days[-1]), days))
        for group in _groups_meant(flock, cull, hatch)
    ]
    waiting = hatch.to_house if hatch is not None else 0
    for number in range(len(days)):
        meant = [
            cohort
            for group, cohorts in by_group
            for cohort in _meant_of(flock, cull, hatch, group, cohorts[number])
        ]
        yield Birds(
            waiting + round(sum(cohort.chicks for cohort in meant)),
            round(sum(cohort.hens for cohort in meant)),
            round(sum(cohort.cocks for cohort in meant)),
        )


def _groups_meant(flock: Flock, cull: CullToDo, hatch: Hatch | None) -> list[Group]:
    if cull.group is not None:
        group = flock.groups.get(cull.group)
        return [] if group is None else [group]
    if hatch is None:
        return []
    return [group for group in flock.groups.values() if hatch.name in group.hatches]


def _meant_of(
    flock: Flock, cull: CullToDo, hatch: Hatch | None, group: Group, cohorts: Sequence[Cohort]
) -> list[Cohort]:
    if hatch is not None:
        return [cohort for cohort in cohorts if _is_of(flock, hatch, group, cohort, len(cohorts))]
    day = cull.hatched_on
    if day is None:
        return list(cohorts)
    nearest = min((_days_apart(cohort, day) for cohort in cohorts), default=0)
    return [cohort for cohort in cohorts if _days_apart(cohort, day) == nearest <= DAYS_A_WEEK]


def _is_of(flock: Flock, hatch: Hatch, group: Group, cohort: Cohort, cohorts: int) -> bool:
    """Whether a cohort of a group came of that hatch: of those that it holds the nearest."""
    if cohorts == 1 and group.hatches == [hatch.name]:
        return True
    if not hatch.hatchings:
        return False
    own = _days_apart(cohort, hatch.hatchings[0][0].date())
    others = [
        _days_apart(cohort, other.hatchings[0][0].date())
        for name in group.hatches
        if (other := flock.hatches[name]).hatchings
    ]
    return own <= DAYS_A_WEEK and own == min(others)


def _days_apart(cohort: Cohort, day: date) -> int:
    return abs((hatched(cohort) - day).days)

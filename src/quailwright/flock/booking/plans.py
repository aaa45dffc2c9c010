"""Bookings of plans: what was accepted, what is to be set, and which birds are to go.

A plan may speak of what is not there: a hatch not set yet, or a group that is gone by then.
"""

from datetime import date, timedelta

from quailwright.flock.booking.known import contradict, place_of
from quailwright.flock.state import AcceptedPlan, Clutch, CullToDo, Flock, Hatch, SetToDo
from quailwright.husbandry import facts
from quailwright.journal import entries as kinds
from quailwright.journal.moments import instant
from quailwright.language import later


def plan_accepted(flock: Flock, entry: kinds.PlanAccepted, day: date, forced: bool) -> None:
    flock.plan = AcceptedPlan(instant(entry.at, flock.zone), entry.brief, entry.certainty)
    flock.planned_sets = {}
    flock.planned_culls = {}


def set_planned(flock: Flock, entry: kinds.SetPlanned, day: date, forced: bool) -> None:
    hatch = flock.hatches.get(entry.hatch)
    if hatch is not None and not _some_time_on(hatch, day):
        contradict(
            flock,
            entry,
            forced,
            "hatch",
            later(
                "a hatch {hatch!r} was set on {day} already.",
                hatch=entry.hatch,
                day=hatch.set_at.date(),
            ),
            later("Give the planned one a name of its own."),
            "conflict",
        )
    place = flock.places.get(entry.place)
    if place is not None and place.role not in (None, "incubator"):
        contradict(
            flock,
            entry,
            forced,
            "place",
            later(
                "{place} is a {role}, not an incubator.",
                place=entry.place,
                role=later(place.role),
            ),
            later("Name the incubator, or log what the place is now."),
            "conflict",
        )
    if place is not None and place.capacity_eggs is not None and entry.eggs > place.capacity_eggs:
        contradict(
            flock,
            entry,
            forced,
            "eggs",
            later(
                "{eggs} eggs, but {place} holds {capacity}.",
                eggs=entry.eggs,
                place=entry.place,
                capacity=place.capacity_eggs,
            ),
            later("Plan fewer, or part them between machines."),
        )
    place_of(flock, entry.place)
    flock.planned_sets[entry.hatch] = SetToDo(
        entry.hatch,
        entry.on,
        entry.eggs,
        entry.place,
        entry.source,
        entry.group,
        day,
        entry.hatch if hatch is not None else None,
    )


def _some_time_on(hatch: Hatch, day: date) -> bool:
    """Whether it was set on that day at an hour that nobody told: maybe after it was planned."""
    return hatch.set_at.date() == day and not hatch.set_hour_known


def cull_planned(flock: Flock, entry: kinds.CullPlanned, day: date, forced: bool) -> None:
    key = entry.on, entry.hatch, entry.group, entry.hatched_on
    flock.planned_culls[key] = CullToDo(*key, entry.keep_hens, entry.keep_cocks, day)


def set_as_planned(flock: Flock, hatch: Hatch, day: date) -> None:
    """Marks the planned set that the eggs last set in `hatch` fulfil.

    A set of its own name takes it back from eggs of another name, which may then fulfil another.
    """
    clutch = hatch.clutches[-1]
    named = flock.planned_sets.get(hatch.name)
    if named is not None and named.set_as != hatch.name:
        other, named.set_as = named.set_as, hatch.name
        if other is not None:
            before = flock.hatches[other]
            fitting = (eggs for eggs in before.clutches if _may_be(flock, named, eggs))
            own = next(fitting, before.clutches[0])  # a source may have changed its route since
            _fulfil_nearest(flock, other, own, before.set_at.date())
        return
    done = (planned for planned in flock.planned_sets.values() if planned.set_as == hatch.name)
    if not any(_may_be(flock, planned, clutch) for planned in done):
        _fulfil_nearest(flock, hatch.name, clutch, day)


def _fulfil_nearest(flock: Flock, hatch: str, clutch: Clutch, day: date) -> None:
    reach = timedelta(days=facts.value("planning.set_matches_d"))
    waiting = [
        planned
        for planned in flock.planned_sets.values()
        if planned.set_as is None
        and abs(planned.on - day) <= reach
        and _may_be(flock, planned, clutch)
    ]
    if waiting:
        nearest = min(waiting, key=lambda one: (abs(one.on - day), one.on, one.hatch))
        nearest.set_as = hatch


def _may_be(flock: Flock, planned: SetToDo, clutch: Clutch) -> bool:
    """Whether eggs are of the source or group planned; own eggs may be told either way."""
    if planned.whose == (clutch.group or clutch.source):
        return True
    one_by_source = planned.group is None or clutch.group is None
    return one_by_source and _are_own(flock, planned) and _are_own(flock, clutch)


def _are_own(flock: Flock, eggs: SetToDo | Clutch) -> bool:
    source = flock.sources.get(eggs.source or "")
    return eggs.group is not None or (source is not None and source.route == "own")

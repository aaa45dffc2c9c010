"""What the keeper has planned, for the outlook to count: sets to come and birds to be let go."""

from datetime import date, timedelta

from quailwright.flock.cohorts import hatched
from quailwright.flock.planned import birds_meant, culls_in, hatch_named, sets_in
from quailwright.flock.state import CullToDo, Flock
from quailwright.outlook.forecast import WEEKS
from quailwright.outlook.hatching import BirdsKey, Planned, PlannedCull, PlannedSet, Stay


def planned_of(flock: Flock, on: date, weeks: int = WEEKS) -> Planned:
    """Sets and culls planned for the weeks after the day `on`, and those that are due.

    What is done or has lapsed is left out; what is overdue is taken to be done tomorrow.

    Args:
        flock: folded up to the end of that day.
    """
    tomorrow, last = on + timedelta(days=1), on + timedelta(weeks=weeks)
    return Planned(
        tuple(
            PlannedSet(max(one.on, tomorrow), one.eggs, one.whose, one.place, hatch=one.hatch)
            for one in sets_in(flock, on, "ahead", "due")
            if one.on <= last
        ),
        tuple(
            PlannedCull(
                Stay(max(one.on, tomorrow), one.keep_hens, one.keep_cocks),
                _birds(flock, one, on),
                one.whose,
            )
            for one in culls_in(flock, on, "ahead", "due")
            if one.on <= last
        ),
    )


def _birds(flock: Flock, cull: CullToDo, on: date) -> tuple[BirdsKey, ...]:
    """Those there, then those that hatch still to come: a hatch may be partly housed."""
    there = [(one.group.name, hatched(one.cohort)) for one in birds_meant(flock, cull, on)]
    if cull.hatch is None:
        return tuple(there)
    return (*there, (hatch_named(flock, cull.hatch), None))

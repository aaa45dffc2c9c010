"""An accepted plan as journal entries, which the round and the outlook then know."""

from collections.abc import Callable, Iterable, Iterator
from datetime import date, timedelta

import msgspec

from quailwright.flock.planned import culls_in, hatch_named, sets_in
from quailwright.flock.state import CullToDo, Flock
from quailwright.journal import entries as kinds
from quailwright.journal.entries import CullPlanned, Entry, PlanAccepted, SetPlanned
from quailwright.outlook.hatching import Stay
from quailwright.planning.brief import Brief
from quailwright.planning.calendar import name_of
from quailwright.planning.plan import Plan, question_of
from quailwright.planning.problem import Cull, Set, aged, of_set

_LONGEST_NAME = 80


def entries_of(
    plan: Plan, asked: Brief, brief: str, flock: Flock, at: str, fresh_id: Callable[[], str]
) -> list[Entry]:
    """The entries that take a plan on: goal, places and sources that only the brief told of, the
    acceptance, its sets, and what is let go when.

    Args:
        asked: the brief, complete.
        brief: its TOML text, to plan again from.
        flock: as it stands, for names that are taken.
        at: the moment, as entries write it.
        fresh_id: makes the id of an entry.
    """
    sure = round(plan.chance_overall, 3)
    found: list[Entry] = [*_told_of(asked, flock, at, fresh_id)]
    found.append(PlanAccepted(id=fresh_id(), at=at, brief=brief, certainty=sure))
    named = _names(plan, flock)
    own = {source.name for source in plan.problem.sources if source.own}
    for one, hatch in named:
        is_group = one.source in own and one.source in flock.groups
        found.append(
            SetPlanned(
                id=fresh_id(),
                at=at,
                hatch=hatch,
                on=one.on,
                eggs=one.eggs,
                place=one.place,
                group=one.source if is_group else None,
                source=None if is_group else one.source,
            )
        )
    question = question_of(plan.problem, plan.asked, plan.draft)
    for (_, hatch), planned in zip(named, question.sets, strict=True):
        found += [_cull(fresh_id(), at, stay, hatch=hatch) for stay in planned.stay]
    for (name, hatched_on), stays in question.stay.items():
        for stay in stays:
            if hatched_on is None:
                found.append(_cull(fresh_id(), at, stay, hatch=name))
            else:
                day = hatched_on if _several(plan, name) else None
                found.append(_cull(fresh_id(), at, stay, group=name, hatched_on=day))
    return found


def _told_of(asked: Brief, flock: Flock, at: str, fresh_id: Callable[[], str]) -> Iterator[Entry]:
    if asked.holding is not None and flock.holding is None:
        yield msgspec.structs.replace(asked.holding, id=fresh_id(), at=at)
    goal, kept = asked.goal, flock.goal
    amounts = goal.eggs_per_week, goal.table_birds_per_month
    if any(amounts) and (
        kept is None or amounts != (kept.eggs_per_week, kept.table_birds_per_month)
    ):
        yield kinds.Goal(
            id=fresh_id(),
            at=at,
            eggs_per_week=goal.eggs_per_week,
            table_birds_per_month=goal.table_birds_per_month,
            from_=goal.first,
            until=goal.last,
            certainty=goal.sure,
        )
    for place in asked.places:
        known = flock.places.get(place.name)
        if known is None or known.role is None:
            yield kinds.Place(
                id=fresh_id(),
                at=at,
                place=place.name,
                role=place.role,
                capacity_eggs=place.capacity_eggs,
                floor_m2=place.floor_m2,
                heater_w=place.heater_w,
            )
    for source in asked.sources:
        if source.name not in flock.sources and source.name not in flock.groups:
            yield kinds.Source(
                id=fresh_id(),
                at=at,
                source=source.name,
                route=source.route,
                price_per_egg=source.price_per_egg,
            )


def _cull(
    entry_id: str,
    at: str,
    stay: Stay,
    *,
    hatch: str | None = None,
    group: str | None = None,
    hatched_on: date | None = None,
) -> CullPlanned:
    return CullPlanned(
        id=entry_id,
        at=at,
        on=stay.on,
        hatch=hatch,
        group=group,
        hatched_on=hatched_on,
        keep_hens=stay.hens,
        keep_cocks=stay.cocks,
    )


def _several(plan: Plan, group: str) -> bool:
    """Whether birds of several ages live in a group."""
    return sum(there.key[0] == group for there in plan.asked.there) > 1


def _names(plan: Plan, flock: Flock) -> list[tuple[Set, str]]:
    """Each set with a name for its hatch that no other has."""
    taken = {*flock.hatches, *flock.groups}
    found = []
    for one in plan.draft.sets:
        name = plain = name_of(one)[: _LONGEST_NAME - 4].rstrip()
        number = 1
        while name in taken:
            number += 1
            name = f"{plain} {number}"
        taken.add(name)
        found.append((one, name))
    return found


def accepted_ahead(flock: Flock, on: date) -> tuple[tuple[Set, ...], tuple[Cull, ...]]:
    """Sets and culls of the accepted plan that are to come after the day `on`, as a plan has them;
    none where there is none.

    Of each set the first cull says what is kept of it; the cocks of hatches under way are chosen
    as any plan chooses them.
    """
    if flock.plan is None:
        return (), ()
    coming = {one.hatch: one for one in sets_in(flock, on, "ahead")}
    first: dict[str, CullToDo] = {}
    further: dict[tuple[date, str], list[CullToDo]] = {}
    for cull in culls_in(flock, on, "ahead", "due"):
        if cull.hatch in coming and cull.hatch not in first:
            first[cull.hatch] = cull
        elif cull.hatch in coming:
            further.setdefault((cull.on, of_set(coming[cull.hatch].on)), []).append(cull)
        elif cull.keep_hens is not None:
            of = cull.group or hatch_named(flock, cull.hatch or "")
            if cull.hatched_on is not None:
                of = aged(of, cull.hatched_on)
            further.setdefault((max(cull.on, on + timedelta(days=1)), of), []).append(cull)
    sets = []
    for name, one in coming.items():
        chosen = first.get(name)
        hens = chosen.keep_hens if chosen is not None else None
        cocks = chosen.keep_cocks if chosen is not None else None
        hens = one.eggs if hens is None else hens
        sets.append(Set(one.on, one.whose, one.eggs, one.place, hens, cocks or 0))
    culls = [
        Cull(day, of, _sum(c.keep_hens for c in group), _sum(c.keep_cocks for c in group))
        for (day, of), group in sorted(further.items())
    ]
    return tuple(sorted(sets, key=lambda one: one.on)), tuple(culls)


def _sum(counts: Iterable[int | None]) -> int | None:
    known = [count for count in counts if count is not None]
    return sum(known) if known else None

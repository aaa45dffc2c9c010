"""An accepted plan as journal entries, which the round and the outlook then know."""

from collections.abc import Callable, Iterator
from datetime import date

from quailwright.flock.state import Flock
from quailwright.journal.entries import CullPlanned, Entry, PlanAccepted, SetPlanned
from quailwright.planning.calendar import name_of
from quailwright.planning.plan import Plan, chosen_on
from quailwright.planning.problem import Cull, Set

_LONGEST_NAME = 80


def entries_of(
    plan: Plan, brief: str, flock: Flock, at: str, fresh_id: Callable[[], str]
) -> list[Entry]:
    """The entries that take a plan on: the acceptance, its sets, and what is let go when.

    Args:
        brief: the TOML text that the plan answers, to plan again from.
        flock: as it stands, for names that are taken.
        at: the moment, as entries write it.
        fresh_id: makes the id of an entry.
    """
    sure = round(plan.chance_overall, 3)
    found: list[Entry] = [PlanAccepted(id=fresh_id(), at=at, brief=brief, certainty=sure)]
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
    for one, hatch in named:
        found.append(
            CullPlanned(
                id=fresh_id(),
                at=at,
                on=chosen_on(plan.problem, one.on),
                hatch=hatch,
                keep_hens=one.keep_hens,
                keep_cocks=one.keep_cocks,
            )
        )
    for cull in plan.draft.culls:
        for fields in _whose(plan, cull, named):
            found.append(CullPlanned(id=fresh_id(), at=at, on=cull.on, **fields))
    return found


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


def _whose(
    plan: Plan, cull: Cull, named: list[tuple[Set, str]]
) -> Iterator[dict[str, str | int | date | None]]:
    """The birds that a cull of a plan means, as an entry names them, and how many stay."""
    there = next((one for one in plan.asked.there if one.name == cull.of), None)
    if there is not None:
        group, hatched_on = there.key
        kept = {"keep_hens": cull.keep_hens, "keep_cocks": cull.keep_cocks}
        if hatched_on is None:
            yield {"hatch": group, **kept}
            return
        alone = sum(one.key[0] == group for one in plan.asked.there) == 1
        yield {"group": group, "hatched_on": None if alone else hatched_on, **kept}
        return
    sets = [(one, name) for one, name in named if cull.of == f"set of {one.on}"]
    hens = sum(one.keep_hens for one, _ in sets)
    left = cull.keep_hens
    for number, (one, name) in enumerate(sets, 1):
        share = None
        if cull.keep_hens is not None and left is not None:
            part = round(cull.keep_hens * one.keep_hens / hens) if hens else 0
            share = left if number == len(sets) else min(left, part)
            left -= share
        yield {"hatch": name, "keep_hens": share, "keep_cocks": cull.keep_cocks}

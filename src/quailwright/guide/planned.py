"""What a plan asks for on a day: eggs to order or keep back, a machine to make ready, eggs to set,
and birds to let go.
"""

from collections.abc import Iterator
from datetime import date, datetime, time

from quailwright.flock.planned import (
    birds_meant,
    count_meant,
    culls_in,
    hatch_named,
    no_more_than,
    sets_in,
)
from quailwright.flock.state import CullToDo, Flock, SetToDo
from quailwright.guide import wording
from quailwright.guide.occasions import MEMORY, Occasion, egg_store
from quailwright.journal.moments import zone
from quailwright.language import say, say_many


def planned_occasions(flock: Flock, on: date) -> Iterator[Occasion]:
    """What is planned and not done on the day `on`, and for a while what has lapsed."""
    at_hand: dict[str, int] = {}
    for receipt in flock.receipts:
        at_hand[receipt.source] = at_hand.get(receipt.source, 0) + receipt.on_hand
    for planned in sets_in(flock, on, "ahead", "due"):
        there = at_hand.get(planned.whose, 0) if planned.group is None else 0
        at_hand[planned.whose] = max(0, there - planned.eggs)
        yield from _eggs_wanted(flock, planned, there)
        yield _setting(flock, planned, _machine_rests(flock, planned))
    for planned in sets_in(flock, on, "lapsed"):
        yield _setting(flock, planned, False)
    for cull in culls_in(flock, on, "ahead", "due", "lapsed"):
        if on >= cull.on - MEMORY:
            yield from _letting_go(flock, cull, on)


def _eggs_wanted(flock: Flock, planned: SetToDo, there: int) -> Iterator[Occasion]:
    """The eggs to get hold of, unless enough for this set, after those before it, are there."""
    if there >= planned.eggs:
        return
    source = flock.sources.get(planned.source or "")
    route = "own" if planned.group is not None else (source.route if source else "shipped")
    holds = {"own": "to_keep", "collected": "to_fetch", "shipped": "to_order"}[route]
    place = egg_store(flock) if route == "own" else ""
    yield _of_set(flock, planned, place, frozenset({holds}), planned.eggs - there)


def _setting(flock: Flock, planned: SetToDo, rests: bool) -> Occasion:
    holds = frozenset({"to_set", "machine_free"} if rests else {"to_set"})
    return _of_set(flock, planned, planned.place, holds, planned.eggs)


def _machine_rests(flock: Flock, planned: SetToDo) -> bool:
    return not any(h.place == planned.place and h.alive > 0 for h in flock.hatches_open())


def _of_set(
    flock: Flock, planned: SetToDo, place: str, holds: frozenset[str], eggs: int
) -> Occasion:
    of = {"group": planned.group} if planned.group is not None else {"source": planned.source}
    return Occasion(
        "planned_set",
        place,
        planned.hatch,
        _midnight(flock, planned.on),
        eggs,
        planned.since,
        holds,
        lambda: {
            "eggs": str(eggs),
            "whose": planned.whose,
            "machine": planned.place,
            "hatch": planned.hatch,
            "day": wording.weekday(planned.on),
        },
        known_since=planned.since,
        entry={"hatch": planned.hatch, "eggs": planned.eggs, "place": planned.place, **of},
    )


def _midnight(flock: Flock, day: date) -> datetime:
    return datetime.combine(day, time(), tzinfo=zone(flock.zone or "UTC"))


def _letting_go(flock: Flock, cull: CullToDo, on: date) -> Iterator[Occasion]:
    birds = count_meant(flock, cull, on)
    if no_more_than(cull, birds):
        return
    groups = list(dict.fromkeys(meant.group.name for meant in birds_meant(flock, cull, on)))
    hatch = None if cull.hatch is None else flock.hatches.get(hatch_named(flock, cull.hatch))
    place = flock.groups[groups[0]].place if groups else hatch.place if hatch is not None else ""
    yield Occasion(
        "planned_cull",
        place,
        say(cull.whose),
        _midnight(flock, cull.on),
        birds.total,
        cull.since,
        words=lambda: {
            "stay": _stay(cull),
            "whose": say(cull.whose),
            "others": _others(cull),
            "there": say(birds.told()),
        },
        known_since=cull.since,
        entry={"group": groups[0]} if len(groups) == 1 else {},
    )


def _stay(cull: CullToDo) -> str:
    hens, cocks = cull.keep_hens, cull.keep_cocks
    if hens is None:
        return "" if cocks is None else _cocks(cocks)
    if cocks is None:
        return _hens(hens)
    return say("{hens} and {cocks}", hens=_hens(hens), cocks=_cocks(cocks))


def _hens(number: int) -> str:
    return say_many("{n} hen", "{n} hens", number) if number else say("no hens")


def _cocks(number: int) -> str:
    return say_many("{n} cock", "{n} cocks", number) if number else say("no cocks")


def _others(cull: CullToDo) -> str:
    if cull.keep_hens is None:
        return say("the other cocks")
    return say("the other hens") if cull.keep_cocks is None else say("the others")

"""What a bird's parents cannot be: refused, or where insisted on kept and said.

A pedigree holds no circle. Where an entry closes one (in the order in which entries fold, whatever
their order of arrival), the parent that closes it counts as not known; so does a bird named as its
own parent, and one named as both. All else that cannot be is kept as told until it is mended.
"""

from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from datetime import date
from graphlib import CycleError, TopologicalSorter

from quailwright.flock.booking.known import contradict
from quailwright.flock.state import Flock, RingedBird
from quailwright.husbandry import facts
from quailwright.husbandry.incubation import hatch_day_range
from quailwright.journal import entries as kinds
from quailwright.language import Said, later

_MEND_RING = later("Mend the ring, or log the bird again with its true parents.")
_MEND_SEX = later("Mend the ring, or log the bird with its true sex.")
_MEND_DAY = later("Mend the ring or the day: hatched_on, or the hatch.")
_MEND_DEATH = later("Mend the ring, the hatching day, or the day on which the parent left.")
_MOST_SHOWN = 6
PARENT_FIELDS = ("sire", "dam", "sex", "hatched_on")
"""Fields that findings on parents name."""


def check_parents(
    flock: Flock, entry: kinds.Bird, fresh: RingedBird, known: RingedBird | None, forced: bool
) -> None:
    """Checks a ringed bird against its parents and its chicks, before it is written down.

    When forced, takes from `fresh` the parents that no pedigree can hold. Raises Refused.
    """
    for role, name in (("sire", fresh.sire), ("dam", fresh.dam)):
        if name == fresh.name:
            contradict(flock, entry, forced, role, _own(role, fresh.name), _MEND_RING)
            setattr(fresh, role, None)
    if fresh.sire is not None and fresh.sire == fresh.dam:
        contradict(
            flock,
            entry,
            forced,
            "dam",
            later(
                "{parent} is named as both father and mother of {bird}.",
                parent=fresh.sire,
                bird=fresh.name,
            ),
            _MEND_RING,
        )
        fresh.sire = fresh.dam = None
    _sexes(flock, entry, fresh, known, forced)
    if entry.sire or entry.dam or entry.hatched_on or entry.hatch:
        _ages(flock, entry, fresh, forced)
    _circles(flock, entry, fresh, forced)


def rank_ahead(flock: Flock, entries: Iterable[kinds.Entry]) -> None:
    """Ranks all birds of the first entries at once, each above its parents.

    So none must move when entries come in an order in which chicks stand before their parents.
    Birds of a circle get no rank here; the entry that closes it is found when it is booked.
    """
    if flock.ranks:
        return
    ahead: TopologicalSorter[str] = TopologicalSorter()
    for entry in entries:
        if type(entry) is kinds.Bird:
            ahead.add(entry.bird, *filter(None, (entry.sire, entry.dam)))
    with suppress(CycleError):
        ahead.prepare()
    while ahead.is_active():
        ready = ahead.get_ready()
        for name in ready:
            flock.ranks[name] = len(flock.ranks)
        ahead.done(*ready)


def note_parents(flock: Flock, fresh: RingedBird, known: RingedBird | None) -> None:
    """Notes whose chick a bird is."""
    for name in {fresh.sire, fresh.dam} - {None}:
        chicks = flock.named.get(name or "", ())
        if known is None or fresh.name not in chicks:
            flock.named[name or ""] = (*chicks, fresh.name)


def hatched(flock: Flock, bird: RingedBird) -> date | None:
    """The day on which a ringed bird hatched, by itself or by its hatch; None if not told."""
    if bird.hatched_on is not None:
        return bird.hatched_on
    hatch = flock.hatches.get(bird.hatch or "")
    return hatch.hatchings[0][0].date() if hatch is not None and hatch.hatchings else None


def _own(role: str, bird: str) -> Said:
    if role == "sire":
        return later("{bird} is named as its own father.", bird=bird)
    return later("{bird} is named as its own mother.", bird=bird)


def _chicks(flock: Flock, bird: RingedBird) -> Iterator[tuple[RingedBird, str]]:
    """The birds that name this one as a parent, and as which."""
    for name in flock.named.get(bird.name, ()):
        chick = flock.birds[name]
        for role in ("sire", "dam"):
            if getattr(chick, role) == bird.name:
                yield chick, role


def _sexes(
    flock: Flock, entry: kinds.Bird, fresh: RingedBird, known: RingedBird | None, forced: bool
) -> None:
    if entry.sire is not None and fresh.sire is not None:
        parent = flock.birds.get(fresh.sire)
        if parent is not None and parent.sex == "hen":
            what = later(
                "{parent} is named as the father of {bird}, but is logged as a hen.",
                parent=parent.name,
                bird=fresh.name,
            )
            contradict(flock, entry, forced, "sire", what, _MEND_SEX, "conflict")
    if entry.dam is not None and fresh.dam is not None:
        parent = flock.birds.get(fresh.dam)
        if parent is not None and parent.sex == "cock":
            what = later(
                "{parent} is named as the mother of {bird}, but is logged as a cock.",
                parent=parent.name,
                bird=fresh.name,
            )
            contradict(flock, entry, forced, "dam", what, _MEND_SEX, "conflict")
    if known is not None and known.sex == fresh.sex:
        return
    for chick, role in _chicks(flock, fresh):
        if (fresh.sex, role) == ("hen", "sire"):
            what = later(
                "{parent} is named as the father of {bird}, so it cannot be a hen.",
                parent=fresh.name,
                bird=chick.name,
            )
        elif (fresh.sex, role) == ("cock", "dam"):
            what = later(
                "{parent} is named as the mother of {bird}, so it cannot be a cock.",
                parent=fresh.name,
                bird=chick.name,
            )
        else:
            continue
        contradict(flock, entry, forced, "sex", what, _MEND_SEX, "conflict")
        return


def _ages(flock: Flock, entry: kinds.Bird, fresh: RingedBird, forced: bool) -> None:
    born = hatched(flock, fresh)
    if born is None:
        return
    for role, name in (("sire", fresh.sire), ("dam", fresh.dam)):
        parent = flock.birds.get(name or "")
        day = None if parent is None else hatched(flock, parent)
        if parent is not None and day is not None and _too_young(day, born):
            what = _too_young_told(parent.name, day, fresh.name, born)
            contradict(flock, entry, forced, role, what, _MEND_DAY)
        elif parent is not None and _dead_too_long(parent, role, born):
            what = later(
                "{parent} died on {day}, and is named as a parent of {bird}, which hatched on "
                "{chick_day}, {days} days later: too late, however long its egg was kept.",
                parent=parent.name,
                day=parent.left_on,
                bird=fresh.name,
                chick_day=born,
                days=(born - parent.left_on).days if parent.left_on else 0,
            )
            contradict(flock, entry, forced, role, what, _MEND_DEATH)
    if entry.hatched_on is None and entry.hatch is None:
        return
    for chick, _ in _chicks(flock, fresh):
        day = hatched(flock, chick)
        if day is not None and _too_young(born, day):
            what = _too_young_told(fresh.name, born, chick.name, day)
            contradict(flock, entry, forced, "hatched_on", what, _MEND_DAY)
            return


def _too_young(parent: date, chick: date) -> bool:
    return (chick - parent).days < facts.value("laying.breeds_from_d")


def _dead_too_long(parent: RingedBird, role: str, chick: date) -> bool:
    """Whether the egg was laid after a hen's death, or after the seed of a dead cock was spent.

    Eggs hatch to the last day after as long in store as any were seen to. Birds sold, given or lost
    live on elsewhere, so nothing is said of them.
    """
    if parent.left not in ("died", "processed") or parent.left_on is None:
        return False
    kept = facts.value("storage.longest_d") + hatch_day_range()[2]
    # Only here: `today` and `log` start without numerics.
    from quailwright.flock.pens import sure_after_d

    seed = sure_after_d() if role == "sire" else 0
    return (chick - parent.left_on).days > kept + seed


def _too_young_told(parent: str, parent_on: date, chick: str, chick_on: date) -> Said:
    days = (chick_on - parent_on).days
    parts = {"parent": parent, "day": parent_on, "bird": chick, "chick_day": chick_on}
    if days <= 0:
        return later(
            "{parent} hatched on {day}, and is named as a parent of {bird}, which hatched on "
            "{chick_day}: a parent is older than its chick.",
            **parts,
        )
    return later(
        "{parent} hatched on {day}, and is named as a parent of {bird}, which hatched on "
        "{chick_day}, {days} days later: no bird breeds before it is {least:g} days old.",
        days=days,
        least=facts.value("laying.breeds_from_d"),
        **parts,
    )


def _circles(flock: Flock, entry: kinds.Bird, fresh: RingedBird, forced: bool) -> None:
    for role, name in (("sire", fresh.sire), ("dam", fresh.dam)):
        if name is None or not _closes(flock, name, fresh.name):
            continue
        path = _path_up(flock, name, fresh.name) or []
        shown = path if len(path) <= _MOST_SHOWN else [*path[: _MOST_SHOWN - 1], "...", path[-1]]
        what = later(
            "{bird} would be its own ancestor: {parent}, named as its parent, descends from it "
            "(from parent to chick: {path}).",
            bird=fresh.name,
            parent=name,
            path=", ".join(shown),
        )
        contradict(flock, entry, forced, role, what, _MEND_RING)
        setattr(fresh, role, None)


def _closes(flock: Flock, parent: str, bird: str) -> bool:
    """Whether the bird is an ancestor of its parent already; if not, ranks the one below the other.

    Only birds ranked between the two are looked at, so that a large pedigree logged in any order
    is checked in seconds. Any ranks in which parents stand below their chicks will do.

    Source: Pearce and Kelly 2006, A dynamic topological sort algorithm for directed acyclic graphs,
    ACM J Exp Algorithmics 11:1.7 (from memory).
    """
    ranks = flock.ranks
    if bird not in ranks:
        ranks.setdefault(parent, len(ranks))
        ranks[bird] = len(ranks)
        return False
    if parent not in ranks:
        ranks[parent] = -len(ranks)
        return False
    low, high = ranks[bird], ranks[parent]
    if high < low:
        return False
    below = _reached(flock, bird, lambda one: _chicks_of(flock, one), lambda at: at <= high)
    if parent in below:
        return True
    above = _reached(flock, parent, lambda one: _parents_of(flock, one), lambda at: at >= low)
    order = [*sorted(above, key=ranks.__getitem__), *sorted(below, key=ranks.__getitem__)]
    for name, rank in zip(order, sorted(ranks[name] for name in order), strict=True):
        ranks[name] = rank
    return False


def _reached(
    flock: Flock, start: str, on: Callable[[str], Iterable[str]], fits: Callable[[int], bool]
) -> set[str]:
    found, ahead = {start}, [start]
    while ahead:
        for name in on(ahead.pop()):
            if name not in found and fits(flock.ranks[name]):
                found.add(name)
                ahead.append(name)
    return found


def _chicks_of(flock: Flock, name: str) -> Iterator[str]:
    for chick in flock.named.get(name, ()):
        if name in (flock.birds[chick].sire, flock.birds[chick].dam):
            yield chick


def _parents_of(flock: Flock, name: str) -> Iterator[str]:
    bird = flock.birds.get(name)
    if bird is not None:
        yield from (parent for parent in (bird.sire, bird.dam) if parent is not None)


def _path_up(flock: Flock, start: str | None, goal: str) -> list[str] | None:
    """From a bird up to one of its ancestors, both with it; None where that is none."""
    if start is None:
        return None
    came: dict[str, str | None] = {start: None}
    ahead = [start]
    while ahead:
        name = ahead.pop()
        if name == goal:
            path: list[str] = []
            step: str | None = name
            while step is not None:
                path.append(step)
                step = came[step]
            return path
        bird = flock.birds.get(name)
        for parent in (bird.sire, bird.dam) if bird is not None else ():
            if parent is not None and parent not in came:
                came[parent] = name
                ahead.append(parent)
    return None

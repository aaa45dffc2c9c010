"""Room in the pens: by the keeper's standard, now and when the birds that are coming move in."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from math import inf

from quailwright.flock.planned import birds_meant, count_meant, culls_in
from quailwright.flock.state import CullToDo, Flock, Group, Hatch, Place
from quailwright.guide.occasions import ends, is_brooder
from quailwright.husbandry import facts, housing
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.husbandry.incubation import hatch_day_range
from quailwright.husbandry.survival import weekly_death_rate


@dataclass(frozen=True, slots=True)
class Coming:
    """Birds on their way to the pens: of a hatch under way, or in a brooder.

    Attributes:
        name: of the hatch or group.
        place: where they are.
        birds: about so many of them, at `moves_on`.
        counted: whether they are hatched already, so that only deaths are guessed.
        hatched_on: the day taken for their hatching.
        moves_on: about when they move to a pen; today where they should have.
    """

    name: str
    place: str
    birds: int
    counted: bool
    hatched_on: date
    moves_on: date

    @property
    def grown_on(self) -> date:
        """The day from which they need the floor of grown birds."""
        return self.hatched_on + timedelta(days=housing.AGE_CLASSES_D[-1])


def coming(flock: Flock, on: date) -> list[Coming]:
    """Birds on their way to the pens, those that move first before the others."""
    found = [*_of_hatches(flock, on), *_of_brooders(flock, on)]
    return sorted((one for one in found if one.birds), key=lambda one: (one.moves_on, one.name))


def _of_hatches(flock: Flock, on: date) -> Iterator[Coming]:
    for hatch in flock.hatches.values():
        alive = hatch.alive if hatch.closed_at is None and on <= ends(hatch).date() else 0
        waiting = max(0, hatch.to_house)
        if alive <= 0 and not waiting:
            continue
        _, likely, _ = hatch_day_range()
        hatched_on = (
            hatch.hatchings[0][0].date()
            if hatch.hatchings
            else max(on, (hatch.set_at + timedelta(days=likely)).date())
        )
        chicks = waiting + max(0, alive) * _hatching_share(flock, hatch)
        age = max(0, (on - hatched_on).days)
        yield _coming(hatch.name, hatch.place, chicks, alive <= 0, hatched_on, age, on)


def _hatching_share(flock: Flock, hatch: Hatch) -> float:
    """Of the eggs still in a hatch, the share that is published to bring chicks."""
    if hatch.candled:
        return facts.value("incubation.hatch_of_fertile")
    routes = {
        source.route
        for clutch in hatch.clutches
        if clutch.source is not None and (source := flock.sources.get(clutch.source)) is not None
    }
    if "shipped" in routes:
        return facts.value("incubation.hatch_of_set_shipped")
    if all(clutch.group is not None for clutch in hatch.clutches) or routes:
        return facts.value("incubation.hatch_of_set_collected")
    return facts.value("incubation.hatch_of_set")


def _of_brooders(flock: Flock, on: date) -> Iterator[Coming]:
    longest = facts.figure("care.move_out_age_d").high or 0.0
    for group in flock.groups_alive():
        age = group.age_days(on)
        if age is None or group.youngest is None or age > longest:
            continue
        if is_brooder(flock.places[group.place], age):
            alive = group.alive.total
            yield _coming(group.name, group.place, alive, True, group.youngest, age, on)


def _coming(
    name: str, place: str, chicks: float, counted: bool, hatched_on: date, age: int, on: date
) -> Coming:
    move_d = round(facts.value("care.move_out_age_d"))
    for day in range(age, move_d):
        chicks *= (1.0 - weekly_death_rate(day, "chick")) ** (1.0 / DAYS_A_WEEK)
    moves_on = max(on, hatched_on + timedelta(days=move_d))
    return Coming(name, place, round(chicks), counted, hatched_on, moves_on)


def standard_of(flock: Flock) -> str | None:
    """The standard of room that the keeper chose, or None."""
    return flock.holding.space_standard if flock.holding is not None else None


def birds_by_age(flock: Flock, place: Place, on: date) -> list[tuple[float | None, int]]:
    """The birds at a place by age in days, as `housing.Birds`."""
    return [(group.age_days(on), group.alive.total) for group in flock.groups_at(place.name)]


def pens(flock: Flock, on: date) -> list[Place]:
    """Places for grown birds that are in use, in the order of the walk."""
    walk = flock.in_walking_order()
    return [place for place in walk if not place.closed and _is_pen(flock, place, on)]


def _is_pen(flock: Flock, place: Place, on: date) -> bool:
    if place.role is not None:
        return place.role == "pen"
    groups = flock.groups_at(place.name)
    ages = [age for group in groups if (age := group.age_days(on)) is not None]
    return bool(groups) and not is_brooder(place, min(ages, default=None))


@dataclass(frozen=True, slots=True)
class Short:
    """Birds that are coming and find too little room.

    Attributes:
        coming: which.
        birds: of them, those that stay once grown, as planned.
        room: for so many more grown birds, in all pens, after those that come before them.
    """

    coming: Coming
    birds: int
    room: int


def short_of_room(flock: Flock, on: date, standard: str | None) -> list[Short]:
    """Batches for which the pens will have too little room once they are grown.

    By the standard, where there is one, and never below the least. Nothing is told while no pen is
    in the record, or one whose floor nobody has told: there may be room.
    """
    places = pens(flock, on)
    floors = [place.floor_m2 for place in places]
    if not places or any(floor is None for floor in floors):
        return []
    found, before = [], 0
    for batch in coming(flock, on):
        gone = _leaving_pens(flock, on, batch.grown_on)
        room = -before
        for place in places:
            there = sum(
                max(0, group.alive.total - gone.get(group.name, 0))
                for group in flock.groups_at(place.name)
            )
            room += housing.further_birds(place.floor_m2 or 0.0, standard, [(None, there)])
        stay = max(0, batch.birds - _leaving(flock, batch, on))
        if stay > max(0, room):
            found.append(Short(batch, stay, max(0, room)))
        before += stay
    return found


def _leaving(flock: Flock, batch: Coming, on: date) -> int:
    """Of a batch, those that are planned to go by the time it is grown; half are taken as cocks."""
    group = flock.groups.get(batch.name)
    names = {batch.name, *(group.hatches if group is not None else ())}
    return sum(
        _over(batch.birds / 2, batch.birds / 2, cull)
        for cull in culls_in(flock, on, "due", "ahead")
        if cull.on <= batch.grown_on and (cull.hatch in names or cull.group in names)
    )


def _leaving_pens(flock: Flock, on: date, by: date) -> dict[str, int]:
    """Birds that are planned to go from groups by that day, by group."""
    gone: dict[str, int] = {}
    for cull in culls_in(flock, on, "due", "ahead"):
        if cull.on > by:
            continue
        there = count_meant(flock, cull, on)
        left = _over(there.hens + there.chicks / 2, there.cocks + there.chicks / 2, cull)
        for meant in birds_meant(flock, cull, on):
            taken = min(left, round(meant.cohort.hens + meant.cohort.cocks + meant.cohort.chicks))
            gone[meant.group.name] = gone.get(meant.group.name, 0) + taken
            left -= taken
    return gone


def _over(hens: float, cocks: float, cull: CullToDo) -> int:
    """Of so many hens and cocks, those that a cull takes away."""
    keep_hens = inf if cull.keep_hens is None else cull.keep_hens
    keep_cocks = inf if cull.keep_cocks is None else cull.keep_cocks
    return round(max(0.0, hens - keep_hens) + max(0.0, cocks - keep_cocks))


@dataclass(frozen=True, slots=True)
class Outgrown:
    """A brooder that will be too small before its birds move.

    Attributes:
        place: the brooder.
        groups: that live in it.
        day: from which it is too small.
        age_d: of the youngest birds on that day.
        birds: there.
        needed_m2: that they need from then on.
    """

    place: Place
    groups: list[Group]
    day: date
    age_d: int
    birds: int
    needed_m2: float


def outgrown_soon(flock: Flock, on: date, standard: str | None) -> list[Outgrown]:
    """Brooders that have room enough today and will not within a week, before their birds move."""
    found = []
    move_d = round(facts.value("care.move_out_age_d"))
    for place in flock.places.values():
        groups = [group for group in flock.groups_at(place.name) if group.youngest is not None]
        ages = [age for group in groups if (age := group.age_days(on)) is not None]
        if place.floor_m2 is None or not ages or not is_brooder(place, min(ages)):
            continue
        if housing.needed_m2(birds_by_age(flock, place, on), standard) > place.floor_m2:
            continue
        for day in (on + timedelta(days=n) for n in range(1, DAYS_A_WEEK + 1)):
            birds = [(a, n) for a, n in birds_by_age(flock, place, day) if a is None or a < move_d]
            needed = housing.needed_m2(birds, standard)
            if needed > place.floor_m2:
                age = min(ages) + (day - on).days
                number = sum(n for _, n in birds)
                found.append(Outgrown(place, groups, day, age, number, needed))
                break
    return found

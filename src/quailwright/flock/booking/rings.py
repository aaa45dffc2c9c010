"""Bookings of ringed birds and pairings."""

from datetime import date

from quailwright.flock.booking.birds import (
    leave,
    not_from_quarantine,
    not_withheld,
    not_withheld_live,
)
from quailwright.flock.booking.known import bird_of, contradict, group_of, near, place_of
from quailwright.flock.booking.parents import check_parents, note_parents
from quailwright.flock.state import Birds, Death, Flock, Group, RingedBird
from quailwright.journal import entries as kinds
from quailwright.language import later


def bird(flock: Flock, entry: kinds.Bird, day: date, forced: bool) -> None:
    if entry.group is not None:
        group_of(flock, entry, entry.group)
    known = flock.birds.get(entry.bird)
    fresh = RingedBird(
        entry.bird,
        entry.sex,
        entry.group,
        entry.hatch,
        entry.sire,
        entry.dam,
        entry.plumage,
        entry.hatched_on,
        genotype=entry.genotype,
    )
    if known is not None:
        for name in (
            "group", "hatch", "sire", "dam", "plumage", "hatched_on", "genotype",
        ):  # fmt: skip
            setattr(fresh, name, getattr(fresh, name) or getattr(known, name))
        fresh.left, fresh.left_on = known.left, known.left_on
        fresh.weights, fresh.laid = known.weights, known.laid
    check_parents(flock, entry, fresh, known, forced)
    note_parents(flock, fresh, known)
    flock.birds[entry.bird] = fresh


def bird_weighed(flock: Flock, entry: kinds.BirdWeighed, day: date, forced: bool) -> None:
    bird_of(flock, entry, entry.bird).weights.append((day, entry.mass_g))


def hen_laid(flock: Flock, entry: kinds.HenLaid, day: date, forced: bool) -> None:
    hen = bird_of(flock, entry, entry.bird)
    if hen.sex == "cock":
        contradict(
            flock,
            entry,
            forced,
            "bird",
            later("{bird} is a cock, and lays no eggs.", bird=hen.name),
            later("Mend the ring, or log the bird again with its true sex."),
            "conflict",
        )
    hen.laid.append((day, entry))


def bird_left(flock: Flock, entry: kinds.BirdLeft, day: date, forced: bool) -> None:
    bird = bird_of(flock, entry, entry.bird)
    if bird.left is not None:
        contradict(
            flock,
            entry,
            forced,
            "bird",
            later(
                "{bird} left on {day} already ({how}).",
                bird=bird.name,
                day=bird.left_on,
                how=later(bird.left),
            ),
            later("Mend the ring."),
            "conflict",
        )
    group = flock.groups.get(bird.group or "")
    if group is not None:
        one = Birds(**{_class_of(bird, group): 1})
        if entry.use == "processed":
            not_withheld(flock, entry, group, day, forced)
        elif entry.use in ("sold", "given"):
            not_from_quarantine(flock, entry, group, day, forced, entry.use)
            not_withheld_live(flock, entry, group, day, forced, entry.use)
        leave(flock, entry, group, one, day, forced, entry.use)
        if entry.use == "died":
            group.deaths.append(Death(day, one, None))
    bird.left, bird.left_on = entry.use, day


def _class_of(bird: RingedBird, group: Group) -> str:
    """Where the group counts this bird: by its sex, or still among the chicks."""
    by_sex = {"hen": "hens", "cock": "cocks", "unknown": "chicks"}[bird.sex]
    return by_sex if getattr(group.alive, by_sex) or not group.alive.chicks else "chicks"


def pairing(flock: Flock, entry: kinds.Pairing, day: date, forced: bool) -> None:
    for field, sex, rings in (("cocks", "cock", entry.cocks), ("hens", "hen", entry.hens)):
        for ring in rings:
            _may_pair(flock, entry, forced, field, sex, ring)
    place_of(flock, entry.pen)
    flock.pairings[entry.pen] = entry
    flock.paired.append((day, entry))


def _may_pair(
    flock: Flock, entry: kinds.Pairing, forced: bool, field: str, sex: str, ring: str
) -> None:
    """Checks that a ring is one of a living bird of that sex. Raises Refused."""
    found = flock.birds.get(ring)
    if found is None:
        contradict(
            flock,
            entry,
            forced,
            field,
            later("there is no bird {name!r} at that time.", name=ring),
            near(ring, flock.birds, later("Log the bird first.")),
            "orphan",
        )
    elif found.left is not None:
        contradict(
            flock,
            entry,
            forced,
            field,
            later(
                "{bird} left on {day} already ({how}).",
                bird=ring,
                day=found.left_on,
                how=later(found.left),
            ),
            later("Leave it out of the pairing, or mend the ring."),
            "conflict",
        )
    elif found.sex not in (sex, "unknown"):
        contradict(
            flock,
            entry,
            forced,
            field,
            later("{bird} is a hen, and stands among the cocks.", bird=ring)
            if sex == "cock"
            else later("{bird} is a cock, and stands among the hens.", bird=ring),
            later("Mend the ring, or log the bird again with its true sex."),
            "conflict",
        )

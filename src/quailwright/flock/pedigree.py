"""The flock's pedigree: ringed birds, and the birds of each group that have no ring."""

from dataclasses import dataclass, field
from datetime import date

from quailwright.flock.state import Flock, RingedBird
from quailwright.husbandry.inheritance.pedigree import Chances, Pedigree
from quailwright.journal.entries import Sex


@dataclass(frozen=True, slots=True)
class Member:
    """A bird of the pedigree: a ringed one, or one of those of a group that have no ring.

    Attributes:
        name: its ring; of others the group, the sex and a number.
        group: where it lives, or lived last.
        ringed: whether it has a ring. The others stand for so many birds nobody tells apart.
        source: of a bird bought, or hatched from eggs bought: from whom.
        generation: 0 of birds without known parents; else one more than the mean of its parents.
    """

    name: str
    sex: Sex
    group: str | None
    ringed: bool
    hatched_on: date | None
    alive: bool
    source: str | None
    generation: float


@dataclass(frozen=True)
class Lines:
    """All birds of the record as a pedigree, `members[i]` being its bird i.

    `problems` are sentences on what in the record cannot be, or is not known; to be said when
    shown.
    """

    pedigree: Pedigree
    members: tuple[Member, ...]
    problems: tuple[str, ...] = ()
    places: dict[str, int] = field(default_factory=dict)
    """Where each ringed bird stands in the pedigree."""

    @property
    def alive(self) -> list[int]:
        """Places of the living."""
        return [at for at, member in enumerate(self.members) if member.alive]


def lines_of(flock: Flock) -> Lines:
    """The pedigree that the record tells, as of the moment the flock was folded for."""
    order: list[RingedBird] = []
    seen: set[str] = set()

    def take(name: str | None) -> None:
        bird = flock.birds.get(name or "")
        if bird is None or bird.name in seen:
            return
        seen.add(bird.name)
        take(bird.sire)
        take(bird.dam)
        order.append(bird)

    for name in flock.birds:
        take(name)
    places = {bird.name: at for at, bird in enumerate(order)}
    fathers: list[Chances] = []
    mothers: list[Chances] = []
    members: list[Member] = []
    for bird in order:
        parents = [places.get(name or "") for name in (bird.sire, bird.dam)]
        fathers.append({} if parents[0] is None else {parents[0]: 1.0})
        mothers.append({} if parents[1] is None else {parents[1]: 1.0})
        known = [members[at].generation for at in parents if at is not None]
        members.append(
            Member(
                bird.name, bird.sex, bird.group, True, bird.hatched_on, bird.left is None, None,
                1 + sum(known) / 2 if known else 0.0,
            )
        )  # fmt: skip
    return Lines(Pedigree(fathers, mothers), tuple(members), (), places)

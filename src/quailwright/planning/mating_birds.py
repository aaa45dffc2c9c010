"""What matings are planned from: the birds that may breed, and the pens that may hold them."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from quailwright.flock.pedigree import Lines, Member
from quailwright.flock.state import Flock, Place
from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.language import say

Why = Literal["young", "quarantine", "unsexed", "told", "spare", "no partner", "no room", "no cock"]


@dataclass(frozen=True, slots=True)
class Candidate:
    """A bird that may breed.

    Attributes:
        at: its place in the pedigree.
        name: its ring; of a bird without one, the name that the pedigree gives it.
        place: where it lives.
        age_d: None where nobody said when it hatched.
    """

    at: int
    name: str
    sex: Literal["hen", "cock"]
    ringed: bool
    group: str
    place: str
    age_d: int | None

    @property
    def is_cock(self) -> bool:
        """Whether it is a cock."""
        return self.sex == "cock"

    @property
    def old(self) -> bool:
        """Whether it is a cock past the age at which fertility is seen to fall."""
        return (
            self.is_cock
            and self.age_d is not None
            and self.age_d > facts.value("mating.cock_old_d")
        )

    @property
    def weeks_old(self) -> float:
        """Weeks past that age, 0 of all others."""
        if not self.old or self.age_d is None:
            return 0.0
        return (self.age_d - facts.value("mating.cock_old_d")) / DAYS_A_WEEK

    @property
    def called(self) -> str:
        """Its name in the language spoken now; a ring stays as it is."""
        return self.name if self.ringed else say(self.name)


def weeks_if_old(member: Member, on: date) -> float | None:
    """The age of a cock past his best [weeks]; None of all other birds."""
    if member.sex != "cock" or member.hatched_on is None:
        return None
    age_d = (on - member.hatched_on).days
    return age_d / DAYS_A_WEEK if age_d > facts.value("mating.cock_old_d") else None


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A bird that is not mated, and why; `until`: the day on which that ends, where it does."""

    name: str
    sex: str
    ringed: bool
    group: str
    why: Why
    until: date | None = None


@dataclass(frozen=True, slots=True)
class Pen:
    """A pen for one cock and his hens. `known`: it stands in the record; else it is to be made."""

    name: str
    known: bool
    floor_m2: float | None
    most_hens: int


def breeders(
    flock: Flock, lines: Lines, on: date, leave_out: Collection[str] = ()
) -> tuple[list[Candidate], list[LeftOut]]:
    """The living birds that may breed on a day, and those that may not, with why.

    A bird without a hatching day is taken for grown.
    """
    fit: list[Candidate] = []
    out: list[LeftOut] = []
    for at in lines.alive:
        member = lines.members[at]
        group = flock.groups.get(member.group or "")
        place = group.place if group is not None else ""
        left = _left_out(flock, member, place, on, leave_out)
        if left is not None:
            out.append(left)
            continue
        age = None if member.hatched_on is None else (on - member.hatched_on).days
        sex: Literal["hen", "cock"] = "cock" if member.sex == "cock" else "hen"
        fit.append(Candidate(at, member.name, sex, member.ringed, member.group or "", place, age))
    return fit, out


def _left_out(
    flock: Flock, member: Member, place: str, on: date, leave_out: Collection[str]
) -> LeftOut | None:
    told = (member.name, member.sex, member.ringed, member.group or "")
    if member.name in leave_out:
        return LeftOut(*told, "told")
    if member.hatched_on is not None:
        grown = member.hatched_on + timedelta(days=grown_d(member.sex == "cock"))
        if grown > on:
            return LeftOut(*told, "young", grown)
    if member.sex == "unknown":
        return LeftOut(*told, "unsexed")
    apart = flock.places[place].quarantined_until if place in flock.places else None
    if apart is not None and apart >= on:
        return LeftOut(*told, "quarantine", apart)
    return None


def grown_d(cock: bool) -> int:
    """Age from which a bird breeds [d]: a cock fully fertile, a hen at lay."""
    if cock:
        return round(facts.value("incubation.fertility_cock_full_d"))
    return round(facts.value("planning.hen_at_lay_w") * DAYS_A_WEEK)


def pens_of(flock: Flock, fit: Sequence[Candidate], on: date, most_hens: int | None) -> list[Pen]:
    """Pens that stand in the record and may be filled, where birds to be mated live first.

    Left out are pens in quarantine, closed ones, and those where only other birds live.

    Args:
        most_hens: the most to a cock; None: as many as fertility is seen to bear.
    """
    homes = {bird.place for bird in fit}
    found = []
    for place in flock.in_walking_order():
        lived_in = place.name in homes
        if place.closed or not (place.role == "pen" or (lived_in and place.role is None)):
            continue
        if place.quarantined_until is not None and place.quarantined_until >= on:
            continue
        if not lived_in and flock.groups_at(place.name):
            continue
        found.append(Pen(place.name, True, place.floor_m2, _room(place, most_hens)))
    return sorted(found, key=lambda pen: pen.name not in homes)


def most_to_a_cock(told: int | None) -> int:
    """The most hens to a cock: as told, else up to which fertility does not fall."""
    return told or round(facts.value("incubation.fertility_hens_flat"))


def _room(place: Place, most_hens: int | None) -> int:
    """Hens that a pen holds beside a cock, at the floor to aim for; one at least."""
    most = most_to_a_cock(most_hens)
    if place.floor_m2 is None:
        return most
    return max(1, min(most, int(place.floor_m2 / facts.value("housing.floor_m2_adult") + 1e-9) - 1))

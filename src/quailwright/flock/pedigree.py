"""The flock's pedigree: ringed birds, and the birds of each group that have no ring."""

from collections import Counter, defaultdict, deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

import numpy as np

from quailwright.flock.booking.parents import PARENT_FIELDS, hatched
from quailwright.flock.fold import collector_at_rest
from quailwright.flock.individuals import (
    MOST_APART,
    Individual,
    Origin,
    Stay,
    individuals_of,
)
from quailwright.flock.pens import Odds, Pens, Ran, is_grown, summed
from quailwright.flock.state import Flock, RingedBird
from quailwright.husbandry.inheritance.kinship import relationships
from quailwright.husbandry.inheritance.pedigree import Chances, Mates, Pedigree
from quailwright.journal.entries import Sex
from quailwright.language import later, later_many, mark, say


@dataclass(frozen=True, slots=True)
class Member:
    """A bird of the pedigree: a ringed one, or one of those of a group that have no ring.

    Attributes:
        name: its ring; of others the group, the sex and a number. `called` says it.
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

    @property
    def called(self) -> str:
        """Its name in the language spoken now; a keeper's own name stays as it is."""
        return self.name if self.ringed else say(self.name)


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
    _told: "_Told | None" = field(default=None, repr=False, compare=False)

    def running(self, on: date) -> tuple["Running", ...]:
        """Cocks and hens that run together on a day from the last entry on, by place."""
        if self._told is None:
            return ()
        if on not in self._told.ran:
            self._told.ran[on] = self._told.running(on)
        return self._told.ran[on]

    @property
    def alive(self) -> list[int]:
        """Places of the living."""
        return [at for at, member in enumerate(self.members) if member.alive]


@dataclass(frozen=True, slots=True)
class Running:
    """Grown birds of both sexes at one place.

    Attributes:
        cocks, hens: their places in the pedigree.
        sure_from: as `parentage_sure_from`.
    """

    place: str
    cocks: tuple[int, ...]
    hens: tuple[int, ...]
    sure_from: date | None


def lines_of(flock: Flock) -> Lines:
    """The pedigree that the record tells, as of the moment the flock was folded for.

    Ringed birds with sire and dam have them for sure. Others have the parents that their hatch
    may have: the birds that ran together where its eggs were laid, each with its chance. Birds
    without a ring that live, or may be parents of others, stand in it as their group's. Where the
    record tells no parents, birds are founders, unrelated to all.

    Runs in time linear in birds, chances of parents and entries of groups.
    """
    with collector_at_rest():
        return _Told(flock).lines()


def parentage_sure_from(flock: Flock, pen: str) -> date | None:
    """The day from which eggs laid in a pen are surely of the cocks that run there now.

    After the last day on which another cock left it, as many days as stored sperm was seen to
    last (`quailwright.flock.pens.sure_after_d`). It may be past.

    Returns:
        None where by the record no other cock ever ran there, or where none runs there now.
    """
    today = flock.last_day
    return None if today is None else _Told(flock).pens.sure_from(pen, today)


def chicks_inbred(flock: Flock, hatch: str) -> float | None:
    """The inbreeding expected of the chicks of a hatch, above 0 to 1, as far as the record goes.

    Returns:
        None where the record tells of no kin among those that may be their parents.
    """
    if not any(bird.sire or bird.dam for bird in flock.birds.values()) and not any(
        clutch.group for each in flock.hatches.values() if each.housed for clutch in each.clutches
    ):
        return None
    with collector_at_rest():
        told = _Told(flock)
        together = told.pens.parents_of(hatch).together
        if not together:
            return None
        parents = {bird for ran in together for bird in (*ran.fathers, *ran.mothers)}
        pedigree = told.lines(parents).pedigree
        at = {bird: n for n, bird in enumerate(sorted(parents, key=told.at.__getitem__))}
        related = relationships(pedigree, np.array([told.at[bird] for bird in at], int))
    inbred = sum(
        ran.share * of_father * of_mother * float(related[at[father], at[mother]]) / 2
        for ran in together
        for father, of_father in ran.fathers.items()
        for mother, of_mother in ran.mothers.items()
    )
    return inbred or None


_SEXES: tuple[Sex, Sex] = ("cock", "hen")


@dataclass(frozen=True, slots=True)
class _Parents:
    """Who may be the parents of a bird, and from whom it was bought."""

    fathers: Odds
    mothers: Odds
    source: str | None = None
    together: tuple[Ran, ...] = ()


_UNKNOWN = _Parents({}, {})


def _knowing(told: _Parents, sire: Individual | None, dam: Individual | None) -> _Parents:
    """Who may be the other parent, where one is known: those that ran with it, if any did."""
    ran_with = [
        ran._replace(share=ran.share * chance)
        for ran in told.together
        if (chance := (1.0 if sire is None else ran.fathers.get(sire, 0.0))
            * (1.0 if dam is None else ran.mothers.get(dam, 0.0)))
    ]  # fmt: skip
    total = sum(ran.share for ran in ran_with)
    if not total:
        return _Parents(told.fathers, told.mothers, told.source)
    fathers, mothers = summed(ran._replace(share=ran.share / total) for ran in ran_with)
    return _Parents(fathers, mothers, told.source)


class _Told:
    """What the record tells of each bird, step by step."""

    def __init__(self, flock: Flock) -> None:
        self.flock = flock
        self.birds = individuals_of(flock)
        self.by_ring: dict[str, Individual] = {}
        self.origins: dict[Individual, dict[Origin, float]] = {}
        self.depth: dict[Individual, int] = {}
        self.came_of: dict[Individual, int] = {}
        self.problems: list[str] = []
        self._of_hatch: dict[str, _Parents] = {}
        self.ran: dict[date, tuple[Running, ...]] = {}
        self._ring()
        self._named_outside()
        self._when()
        self.pens = Pens(flock, self.birds, self.by_ring, self.came_of)

    # Who is who.

    def _ring(self) -> None:
        """Each ringed bird takes the place of one that its group counts."""
        free: defaultdict[tuple[str, date | None], list[Individual]] = defaultdict(list)
        for bird in self.birds:
            if bird.stays:
                free[(bird.stays[-1].group, bird.left)].append(bird)
        whole = {key: list(some) for key, some in free.items()}
        taken: dict[tuple[str, date | None, Sex], Individual] = {}
        for ring in self.flock.birds.values():
            key = (ring.group or "", ring.left_on)
            place = _best(ring, free.get(key, ()))
            if place is not None:
                free[key].remove(place)
                taken.setdefault((*key, ring.sex), place)
                self.origins[place] = _origin_shares(ring, place, whole[key])
            else:
                place = self._without_place(ring, taken.get((*key, ring.sex)))
                self.birds.append(place)
            place.ring, place.sex = ring.name, ring.sex if ring.sex != "unknown" else place.sex
            place.hatched_on = hatched(self.flock, ring) or place.hatched_on
            self.by_ring[ring.name] = place

    def _without_place(self, ring: RingedBird, like: Individual | None) -> Individual:
        """A bird that its group does not count, or not apart: it lived as others there."""
        hatch = ring.hatch if ring.hatch in self.flock.hatches else None
        made = Individual(ring.sex, Origin(hatch or ""), left=ring.left_on)
        if like is not None:
            made.stays = [Stay(stay.group, stay.since, stay.until) for stay in like.stays]
            self.origins[made] = {Origin(hatch): 1.0} if hatch else self.origins[like]
            return made
        if ring.group in self.flock.groups:
            since = self.flock.groups[ring.group].lived
            first = since[0][0] if since else date.min
            made.stays = [Stay(ring.group, first, ring.left_on or date.max)]
        self.origins[made] = {made.origin: 1.0}
        return made

    def _named_outside(self) -> None:
        """Parents named that nobody logged are founders, one for each name."""
        self.outside: dict[str, Individual] = {}
        for ring in self.flock.birds.values():
            for name, sex, sentence in (
                (ring.sire, "cock", _NO_FATHER),
                (ring.dam, "hen", _NO_MOTHER),
            ):
                if name and name not in self.by_ring and name not in self.outside:
                    made = Individual("cock" if sex == "cock" else "hen", ring=name, left=date.min)
                    self.outside[name] = made
                    if len(self.outside) <= _MOST_LISTED:
                        self.problems.append(later(sentence, parent=name, bird=ring.name))
        if len(self.outside) > _MOST_LISTED:
            self.problems.append(
                later_many(
                    "{n} more parent is named that nobody logged: it is taken as unrelated too.",
                    "{n} more parents are named that nobody logged: they are taken as unrelated "
                    "too.",
                    len(self.outside) - _MOST_LISTED,
                )
            )

    def parent(self, name: str | None) -> Individual | None:
        """The bird of a ring, logged or only named."""
        return (self.by_ring.get(name) or self.outside.get(name)) if name else None

    # When each came: what stands before what.

    def _when(self) -> None:
        """Orders birds so that parents by name stand before their chicks, and dates each.

        A bird comes with the eggs that it hatched from, and not before its parents by name. Who
        may be a parent by chance must have come before the egg was laid: so none comes to be its
        own ancestor. Those named are no circle: the bookings see to that.
        """
        waits: dict[Individual, int] = {}
        chicks: defaultdict[Individual, list[Individual]] = defaultdict(list)
        for ring in self.flock.birds.values():
            bird = self.by_ring[ring.name]
            named = [self.parent(name) for name in (ring.sire, ring.dam) if name]
            for parent in named:
                if parent is not None:
                    chicks[parent].append(bird)
            if named:
                waits[bird] = len(named)
        everyone = [*self.outside.values(), *self.birds]
        ready = deque(bird for bird in everyone if bird not in waits)
        for bird in everyone:
            self.came_of[bird] = max(
                (self._set_on(origin.hatch) for origin in self._origin_of(bird)), default=0
            )
            self.depth[bird] = 0
        while ready:
            bird = ready.popleft()
            for chick in chicks[bird]:
                self.came_of[chick] = max(self.came_of[chick], self.came_of[bird])
                self.depth[chick] = max(self.depth[chick], self.depth[bird] + 1)
                waits[chick] -= 1
                if not waits[chick]:
                    ready.append(chick)

    def _set_on(self, hatch: str) -> int:
        found = self.flock.hatches.get(hatch)
        return found.set_at.date().toordinal() if found is not None else 0

    def _origin_of(self, bird: Individual) -> dict[Origin, float]:
        """Where it may come from; {} where both parents are named, so that nothing hangs on it."""
        ring = self.flock.birds.get(bird.ring) if bird.ring else None
        if ring is not None and ring.sire and ring.dam:
            return {}
        return self.origins.get(bird) or {bird.origin: 1.0}

    # Whose chicks they are.

    def parents_of(self, bird: Individual) -> _Parents:
        """Who may be the parents of a bird: those named, else those of its hatch."""
        told = self._of_origins(self._origin_of(bird))
        ring = self.flock.birds.get(bird.ring) if bird.ring else None
        if ring is None:
            return told
        sire, dam = self.parent(ring.sire), self.parent(ring.dam)
        if sire is None and dam is None:
            return told
        told = _knowing(told, sire, dam)
        return _Parents(
            told.fathers if sire is None else {sire: 1.0},
            told.mothers if dam is None else {dam: 1.0},
            told.source,
        )

    def _of_origins(self, origins: dict[Origin, float]) -> _Parents:
        if not origins:
            return _UNKNOWN
        if len(origins) == 1:
            return self._of_origin(next(iter(origins)))
        together = [
            ran._replace(share=share * ran.share)
            for origin, share in origins.items()
            for ran in self._of_origin(origin).together
        ]
        return _Parents(*summed(together), None, tuple(together))

    def _of_origin(self, origin: Origin) -> _Parents:
        if origin.hatch not in self.flock.hatches:
            return _Parents({}, {}, origin.source or None)
        if origin.hatch not in self._of_hatch:
            found = self.pens.parents_of(origin.hatch)
            source = next(iter(found.sources), None) if len(found.sources) == 1 else None
            whole = not found.mothers and not found.fathers
            self._of_hatch[origin.hatch] = _Parents(
                found.fathers,
                found.mothers,
                (source or None) if whole else None,
                found.together,
            )
        return self._of_hatch[origin.hatch]

    # The pedigree.

    def alive(self, bird: Individual) -> bool:
        """Whether it lives by the record."""
        if bird.left is not None:
            return False
        group = self.flock.groups.get(bird.group or "")
        return group is None or group.alive.total > 0

    def lines(self, also: Iterable[Individual] = ()) -> Lines:
        """All of it; with `also`, birds that are gone and left no chicks, and their ancestors."""
        found = self._needed(also)
        order = sorted(found, key=lambda bird: (self.came_of[bird], self.depth[bird]))
        places = {bird: at for at, bird in enumerate(order)}
        fathers: list[Chances] = []
        mothers: list[Chances] = []
        members: list[Member] = []
        numbers: Counter[tuple[str, Sex]] = Counter()
        shared: dict[int, tuple[Chances, Chances]] = {}
        mates: dict[int, tuple[Mates, ...]] = {}
        of_mates: dict[int, tuple[Mates, ...]] = {}
        for at, bird in enumerate(order):
            parents = found[bird]
            chances = shared.get(id(parents))
            if chances is None:
                chances = (
                    {places[parent]: chance for parent, chance in parents.fathers.items()},
                    {places[parent]: chance for parent, chance in parents.mothers.items()},
                )
                shared[id(parents)] = chances
                if len(parents.together) > 1:
                    of_mates[id(parents)] = tuple(
                        Mates(
                            ran.share,
                            {places[cock]: chance for cock, chance in ran.fathers.items()},
                            {places[hen]: chance for hen, chance in ran.mothers.items()},
                        )
                        for ran in parents.together
                    )
            if id(parents) in of_mates:
                mates[at] = of_mates[id(parents)]
            fathers.append(chances[0])
            mothers.append(chances[1])
            members.append(
                Member(
                    bird.ring or _named(bird, numbers),
                    bird.sex,
                    self._group_of(bird),
                    bool(bird.ring),
                    bird.hatched_on,
                    self.alive(bird),
                    parents.source,
                    _generation(chances, members),
                )
            )
        self.at = places
        rings = {bird.ring: at for bird, at in places.items() if bird.ring}
        lines = Lines(Pedigree(fathers, mothers, mates), tuple(members), (), rings, self)
        return replace(lines, problems=(*self.problems, *self._not_known(lines)))

    def running(self, today: date) -> tuple[Running, ...]:
        """The birds that run together, by place in walking order."""
        found = []
        for place in self.flock.in_walking_order():
            if place.role not in (None, "pen"):
                continue  # Grown birds left in a brooder are on their way out of it.
            cocks, hens = (
                tuple(sorted(self.at[bird] for bird in self.pens.there(place.name, today, sex)
                             if bird in self.at and is_grown(bird, today)))
                for sex in _SEXES
            )  # fmt: skip
            if cocks and hens and not set(cocks) & set(hens):
                sure = self.pens.sure_from(place.name, today)
                found.append(Running(place.name, cocks, hens, sure))
        return tuple(found)

    def _group_of(self, bird: Individual) -> str | None:
        ring = self.flock.birds.get(bird.ring) if bird.ring else None
        return ring.group if ring is not None else bird.group

    def _needed(self, also: Iterable[Individual]) -> dict[Individual, _Parents]:
        """Ringed birds, the living, and all who may be their ancestors, with their parents."""
        found: dict[Individual, _Parents] = {}
        ahead = [bird for bird in self.birds if bird.ring or self.alive(bird)] + list(also)
        while ahead:
            bird = ahead.pop()
            if bird in found:
                continue
            parents = found[bird] = self.parents_of(bird)
            ahead += [parent for parent in parents.fathers if parent not in found]
            ahead += [parent for parent in parents.mothers if parent not in found]
        order = {bird: at for at, bird in enumerate([*self.outside.values(), *self.birds])}
        return {bird: found[bird] for bird in sorted(found, key=order.__getitem__)}

    def _not_known(self, lines: Lines) -> Iterator[str]:
        """Sentences on what the record does not tell of the living."""
        yield from (
            later("{what} {mend}", what=finding.what, mend=finding.mend)
            for finding in self.flock.findings
            if finding.field in PARENT_FIELDS
        )
        yield from self._pairings_wrong()
        for ring in self.flock.birds.values():
            if ring.hatch and ring.hatch not in self.flock.hatches and not (ring.sire and ring.dam):
                yield later(
                    "{bird} is logged as of hatch {hatch}, but no hatch {hatch} is: its parents "
                    "cannot be told. Mend the name of the hatch, or log sire and dam.",
                    bird=ring.name,
                    hatch=ring.hatch,
                )
        gone = [
            ring.name
            for ring in self.flock.birds.values()
            if ring.left is None and not self.alive(self.by_ring[ring.name])
        ]
        if gone:
            yield later_many(
                "{n} ringed bird is taken as gone, because its group has no birds left: {birds}. "
                "Log bird_left, or the group it lives in now.",
                "{n} ringed birds are taken as gone, because their groups have no birds left: "
                "{birds}. Log bird_left, or the group they live in now.",
                len(gone),
                birds=_listed(gone),
            )
        nowhere = [
            ring.name
            for ring in self.flock.birds.values()
            if ring.group is None and ring.left is None
        ]
        if nowhere and any(self.flock.groups_alive()):
            yield later_many(
                "{n} ringed bird is logged without a group: {birds}. It counts beside those of the "
                "groups, and twice if it is one of them: log it again with its group.",
                "{n} ringed birds are logged without a group: {birds}. They count beside those of "
                "the groups, and twice if they are some of them: log them again with their group.",
                len(nowhere),
                birds=_listed(nowhere),
            )
        yield from self._more_rings_than_birds()
        unknown, sources = 0, Counter[str]()
        for at in lines.alive:
            if lines.pedigree.fathers[at] or lines.pedigree.mothers[at]:
                continue
            source = lines.members[at].source
            if source is None:
                unknown += 1
            else:
                sources[source] += 1
        if unknown:
            yield later_many(
                "The parents of {n} bird are not known: it is taken as unrelated to all others. "
                "Log bird ... sire=... dam=... to tell.",
                "The parents of {n} birds are not known: they are taken as unrelated to all "
                "others. Log bird ... sire=... dam=... to tell.",
                unknown,
            )
        for source, number in sources.items():
            if number > 1:
                yield later(
                    "{n} birds come from {source}. They are taken as unrelated, but birds of one "
                    "source may well be brothers and sisters: ask there, and pair them with birds "
                    "from elsewhere first.",
                    n=number,
                    source=source,
                )
        for group in self.flock.groups_alive():
            if max(group.alive.chicks, group.alive.hens, group.alive.cocks) > MOST_APART:
                yield later(
                    "{group} has so many birds that {most} of each sex stand for all of them here.",
                    group=group.name,
                    most=MOST_APART,
                )

    def _more_rings_than_birds(self) -> Iterator[str]:
        """Sentences on groups with more living ringed birds than they count."""
        rings = Counter(
            (ring.group, ring.sex)
            for ring in self.flock.birds.values()
            if ring.group and self.alive(self.by_ring[ring.name])
        )
        for group in self.flock.groups_alive():
            there = group.alive
            for sentence, ringed, counted in (
                (_MORE_HENS, rings[group.name, "hen"], there.hens + there.chicks),
                (_MORE_COCKS, rings[group.name, "cock"], there.cocks + there.chicks),
            ):
                if ringed > counted:
                    yield later(sentence, group=group.name, ringed=ringed, counted=counted)

    def _pairings_wrong(self) -> Iterator[str]:
        """Sentences on rings that the pairings of today name and that cannot be there."""
        for pen, entry in self.flock.pairings.items():
            for rings, other in ((entry.cocks, "hen"), (entry.hens, "cock")):
                for ring in rings:
                    bird = self.flock.birds.get(ring)
                    if bird is None:
                        yield later(
                            "{bird} is named in the pairing of {pen}, but no bird {bird} is "
                            "logged. Log the bird, or the pairing again.",
                            bird=ring,
                            pen=pen,
                        )
                    elif bird.sex == other:
                        yield later(
                            "{bird} is named among the cocks of {pen}, but is logged as a hen. "
                            "Log the pairing again, or the bird with its true sex.",
                            bird=ring,
                            pen=pen,
                        ) if other == "hen" else later(
                            "{bird} is named among the hens of {pen}, but is logged as a cock. "
                            "Log the pairing again, or the bird with its true sex.",
                            bird=ring,
                            pen=pen,
                        )  # fmt: skip


_NO_FATHER = mark(
    "{parent} is named as the father of {bird}, but no bird {parent} is logged: it is taken as "
    "unrelated to all others. Log it as a cock by that ring, or mend the ring here."
)
_NO_MOTHER = mark(
    "{parent} is named as the mother of {bird}, but no bird {parent} is logged: it is taken as "
    "unrelated to all others. Log it as a hen by that ring, or mend the ring here."
)
_MORE_HENS = mark(
    "{ringed} ringed hens are logged as living in {group}, but it counts {counted}: some may be "
    "gone. Log bird_left for those, or the group they live in now."
)
_MORE_COCKS = mark(
    "{ringed} ringed cocks are logged as living in {group}, but it counts {counted}: some may be "
    "gone. Log bird_left for those, or the group they live in now."
)
_MOST_LISTED = 5


def _listed(names: Sequence[str]) -> str:
    some = ", ".join(names[:_MOST_LISTED])
    return f"{some}, ..." if len(names) > _MOST_LISTED else some


def _best(ring: RingedBird, some: Iterable[Individual]) -> Individual | None:
    """The bird of a group that the ringed one is: of its sex, its hatch, its hatching day."""
    best, most = None, -1
    for bird in some:
        if ring.sex not in ("unknown", bird.sex) and bird.sex != "unknown":
            continue
        fits = (
            4 * (ring.sex == bird.sex)
            + 2 * (ring.hatch is not None and ring.hatch == bird.origin.hatch)
            + (ring.hatched_on is not None and ring.hatched_on == bird.hatched_on)
        )
        if fits > most:
            best, most = bird, fits
    return best


def _origin_shares(
    ring: RingedBird, place: Individual, there: Sequence[Individual]
) -> dict[Origin, float]:
    """Where a ringed bird may come from: its hatch, else as the birds of its group and sex."""
    if ring.hatch:
        return {Origin(ring.hatch): 1.0}
    like = [bird for bird in there if bird.sex == place.sex]
    if ring.hatched_on is not None:
        like = [bird for bird in like if bird.hatched_on == ring.hatched_on] or like
    origins = Counter(bird.origin for bird in like)
    total = origins.total()
    if not total:
        return {place.origin: 1.0}
    return {origin: number / total for origin, number in origins.items()}


_NAMES: dict[Sex, str] = {
    "hen": mark("{group}, hen {n}"),
    "cock": mark("{group}, cock {n}"),
    "unknown": mark("{group}, bird {n}"),
}


def _named(bird: Individual, numbers: Counter[tuple[str, Sex]]) -> str:
    group = bird.group or ""
    numbers[(group, bird.sex)] += 1
    return later(_NAMES[bird.sex], group=group, n=numbers[(group, bird.sex)])


def _generation(chances: tuple[Chances, Chances], members: Sequence[Member]) -> float:
    if not any(chances):
        return 0.0
    return 1.0 + sum(
        chance * members[parent].generation
        for parents in chances
        for parent, chance in parents.items()
    ) / len(chances)

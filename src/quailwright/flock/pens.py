"""Who ran with whom: the cocks and hens of each pen by day, and whose chicks a hatch may hold."""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import cache, cached_property
from typing import NamedTuple

from quailwright.flock.individuals import MOST_APART, Individual, evenly
from quailwright.flock.state import Clutch, Flock
from quailwright.husbandry import facts
from quailwright.husbandry.fertility import fertility_after_cock_left
from quailwright.journal.entries import Pairing, Sex

Odds = dict[Individual, float]
"""Birds, and the chance that each is the parent."""

_DAY = timedelta(days=1)
_MOST_DAYS = 14
"""Lay days of one clutch that are looked at, spread over it: cocks seldom change more often."""


@cache
def stored_sperm() -> tuple[float, ...]:
    """Weight of a cock gone for 0, 1, 2 ... days beside one that is there, to the last that counts.

    His is the share of fertility left by what hens store (`fertility_after_cock_left`).
    """
    weights: list[float] = []
    for days in range(_LONGEST_D):
        left = float(fertility_after_cock_left(days))
        if left < _NO_MORE:
            break
        weights.append(left)
    return tuple(weights)


_LONGEST_D = 60
_NO_MORE = 0.01
"""Below this share of his fertility a cock that is gone is no father any more."""


@cache
def sure_after_d() -> int:
    """Days after a cock has gone until eggs are surely of those that are there.

    It goes by the cocks whose sperm lasted longest in the published range: half of the fertility
    left after the highest of ``incubation.fertile_half_d``, until less than 1 % is left.
    """
    half = facts.figure("incubation.fertile_half_d")
    longer = (half.high or 0.0) - (half.value or 0.0)
    for days in range(_LONGEST_D):
        if float(fertility_after_cock_left(max(0.0, days - longer))) < _NO_MORE:
            return days
    return _LONGEST_D


class Ran(NamedTuple):
    """Cocks and hens that ran together, and the share of the eggs that are theirs.

    The chances of fathers, and of mothers, come to 1, or less where some are not known.
    """

    share: float
    fathers: Odds
    mothers: Odds


@dataclass(frozen=True)
class HatchParents:
    """Whose chicks a hatch may hold.

    `together` are those that ran together; `fathers` and `mothers` their sums, which come to 1,
    less what is not known; `sources` are the shares of eggs that came from elsewhere.
    """

    fathers: Odds
    mothers: Odds
    sources: dict[str, float]
    together: tuple[Ran, ...] = ()


def summed(together: Iterable[Ran]) -> tuple[Odds, Odds]:
    """The chances of all fathers, and of all mothers."""
    fathers: defaultdict[Individual, float] = defaultdict(float)
    mothers: defaultdict[Individual, float] = defaultdict(float)
    for ran in together:
        for bird, chance in ran.fathers.items():
            fathers[bird] += ran.share * chance
        for bird, chance in ran.mothers.items():
            mothers[bird] += ran.share * chance
    return dict(fathers), dict(mothers)


@dataclass
class Pens:
    """Cocks and hens of each place by day.

    `came_of[bird]` is the ordinal of the day before which no egg of the bird can have been laid,
    so that no bird becomes its own ancestor.
    """

    flock: Flock
    birds: Sequence[Individual]
    by_ring: Mapping[str, Individual]
    came_of: Mapping[Individual, int] = field(default_factory=dict)
    _there: dict[tuple[str, date, Sex], list[Individual]] = field(default_factory=dict)
    _present: dict[tuple[str, int], list[Individual]] = field(default_factory=dict)

    @cached_property
    def _in_group(self) -> dict[str, list[Individual]]:
        found: dict[str, list[Individual]] = {}
        for bird in self.birds:
            for group in {stay.group for stay in bird.stays}:
                found.setdefault(group, []).append(bird)
        return found

    @cached_property
    def _pairings(self) -> dict[str, tuple[list[date], list[Pairing]]]:
        found: defaultdict[str, tuple[list[date], list[Pairing]]] = defaultdict(lambda: ([], []))
        for day, entry in self.flock.paired:
            found[entry.pen][0].append(day)
            found[entry.pen][1].append(entry)
        return found

    @cached_property
    def _pens_of(self) -> dict[str, tuple[list[date], list[str]]]:
        """By ring: from which day on a pairing put it into which pen."""
        found: defaultdict[str, tuple[list[date], list[str]]] = defaultdict(lambda: ([], []))
        for day, entry in self.flock.paired:
            for ring in {*entry.cocks, *entry.hens}:
                found[ring][0].append(day)
                found[ring][1].append(entry.pen)
        return found

    def place_of_group(self, group: str, day: date) -> str:
        """Where a group lived on a day; before its first, where it lived first."""
        found = self.flock.groups[group]
        at = bisect_right(found.lived, day, key=lambda lived: lived[0])
        return found.lived[max(0, at - 1)][1] if found.lived else found.place

    def _pairing(self, pen: str, day: date) -> Pairing | None:
        days, entries = self._pairings.get(pen, ([], []))
        at = bisect_right(days, day)
        return entries[at - 1] if at else None

    def _paired_to(self, bird: Individual, day: date) -> str | None:
        """The pen that the last pairing with this bird put it into, if it holds still."""
        days, pens = self._pens_of.get(bird.ring, ([], [])) if bird.ring else ([], [])
        at = bisect_right(days, day)
        if not at or _gone(bird, day):
            return None
        pen = pens[at - 1]
        now = self._pairing(pen, day)
        return pen if now is not None and bird.ring in (*now.cocks, *now.hens) else None

    def where(self, bird: Individual, day: date) -> str | None:
        """The place where a bird was on a day."""
        pen = self._paired_to(bird, day)
        if pen is not None:
            return pen
        for stay in bird.stays:
            if stay.holds(day):
                return self.place_of_group(stay.group, day)
        return None

    def there(self, place: str, day: date, sex: Sex) -> list[Individual]:
        """The cocks or hens that ran at a place on a day: of its pairing, else of its groups.

        A pairing says which cocks run there. It cannot name hens without a ring: those of the
        groups there run with them too.

        Where there are none, the birds not sexed yet that were grown.
        """
        key = (place, day, sex)
        if key not in self._there:
            self._there[key] = self._look(place, day, sex)
        return self._there[key]

    @cached_property
    def _at_place(self) -> dict[str, list[str]]:
        """By place, the groups that ever lived there."""
        found: defaultdict[str, list[str]] = defaultdict(list)
        for name, group in self.flock.groups.items():
            for place in {place for _, place in group.lived}:
                found[place].append(name)
        return found

    @cached_property
    def _turns_of(self) -> dict[str, list[date]]:
        """By group, the days on which birds came to it or left it, in order."""
        found: defaultdict[str, set[date]] = defaultdict(set)
        for bird in self.birds:
            for stay in bird.stays:
                found[stay.group] |= {stay.since, stay.until}
        return {group: sorted(days) for group, days in found.items()}

    def present(self, group: str, day: date) -> list[Individual]:
        """The birds of a group on a day."""
        key = (group, bisect_right(self._turns_of.get(group, ()), day))
        if key not in self._present:
            self._present[key] = [
                bird
                for bird in self._in_group.get(group, ())
                for stay in bird.stays
                if stay.group == group and stay.holds(day)
            ]
        return self._present[key]

    def _look(self, place: str, day: date, sex: Sex) -> list[Individual]:
        named = self._named(place, day, sex)
        if named and sex == "cock":
            return named
        some = [
            bird
            for name in self._at_place.get(place, ())
            if self.place_of_group(name, day) == place
            for bird in self.present(name, day)
            if self._paired_to(bird, day) in (None, place)
        ]
        if named:
            return [*named, *(hen for hen in _of_sex(some, sex, day) if not hen.ring)]
        return _of_sex(some, sex, day)

    def _named(self, place: str, day: date, sex: Sex) -> list[Individual]:
        entry = self._pairing(place, day)
        if entry is None:
            return []
        rings = entry.cocks if sex == "cock" else entry.hens
        known = [self.by_ring[ring] for ring in dict.fromkeys(rings) if ring in self.by_ring]
        return [bird for bird in known if self._paired_to(bird, day) == place]

    def hens_of(self, group: str, day: date) -> list[Individual]:
        """The hens whose eggs were gathered as of a group.

        Those of its place's pairing and its hens without a ring; else all its hens. Pairings move
        no bird from group to group: hens of the group paired elsewhere lay for it still, unless
        other birds live there, for whose group they lay then.
        """
        place, mine = self.place_of_group(group, day), self.present(group, day)
        if not self.flock.paired:
            return _of_sex(mine, "hen", day)
        away = {bird: self._paired_to(bird, day) for bird in mine}
        lent = {bird for bird, pen in away.items() if pen not in (None, place)}
        still = [
            bird for bird in mine if bird in lent and not self._lived_in(away[bird] or "", day)
        ]
        paired = [
            bird
            for bird in self._named(place, day, "hen")
            if bird in away or self._lives_elsewhere(bird, place, day)
        ]
        here = [bird for bird in mine if bird not in lent and not (paired and bird.ring)]
        here = [*paired, *(bird for bird in here if bird not in paired)]
        return _of_sex([*here, *still], "hen", day)

    def _lived_in(self, place: str, day: date) -> bool:
        """Whether a group with birds lived at a place on a day."""
        return any(
            self.place_of_group(name, day) == place and self.present(name, day)
            for name in self._at_place.get(place, ())
        )

    def _lives_elsewhere(self, bird: Individual, place: str, day: date) -> bool:
        """Whether it is of no group of that place."""
        return not any(
            stay.holds(day) and self.place_of_group(stay.group, day) == place for stay in bird.stays
        )

    def cocks_before(self, track: Sequence[str | None], day: date) -> Odds:
        """Chances of the fathers of an egg laid on a day by a hen that was at `track` before.

        `track[k]` is where she was k days before. Each cock that is there counts as one; one that
        is gone, or that she left, counts as much as his stored sperm.
        """
        weights: Odds = {}
        for days, (weight, place) in enumerate(zip(stored_sperm(), track, strict=False)):
            if place is None:
                continue
            for cock in self.there(place, day - days * _DAY, "cock"):
                if cock not in weights and self._may(cock, day):
                    weights[cock] = weight
        return _shares(_grown(weights, day))

    def sure_from(self, place: str, today: date) -> date | None:
        """The day from which eggs of a place are surely of the cocks there; None: all are."""
        left = self.last_other_cock(place, today)
        return None if left is None else left + timedelta(days=sure_after_d())

    def last_other_cock(self, place: str, today: date) -> date | None:
        """The day from which the hens of a place have met no cock but those there now.

        Of the place, and of the hens themselves, who may have come from elsewhere.
        None where no other ever ran there, or where no cock runs there now.
        """
        now = set(self.there(place, today, "cock"))
        if not now:
            return None
        hens = evenly(self.there(place, today, "hen"), MOST_APART)
        for day in sorted(self._turns(), reverse=True):
            if day > today:
                continue
            before = day - _DAY
            for where in {place, *(self.where(hen, before) for hen in hens)} - {None}:
                if set(self.there(where or "", before, "cock")) - now:
                    return day
        return None

    def _turns(self) -> set[date]:
        """Days on which any bird came to a place or left it."""
        turns = {day for day, _ in self.flock.paired}
        for group in self.flock.groups.values():
            turns.update(day for day, _ in group.lived)
        for bird in self.birds:
            turns.update(stay.since for stay in bird.stays)
            turns.update(stay.until for stay in bird.stays if stay.until < date.max)
        return {day for day in turns if day > date.min}

    def _may(self, bird: Individual, day: date) -> bool:
        return self.came_of.get(bird, 0) < day.toordinal()

    def parents_of(self, hatch: str) -> HatchParents:
        """Whose chicks the hatch may hold, by share of eggs."""
        found = self.flock.hatches[hatch]
        set_on = found.set_at.date()
        total = sum(clutch.eggs for clutch in found.clutches)
        sources: defaultdict[str, float] = defaultdict(float)
        together: list[Ran] = []
        for clutch in found.clutches:
            share = clutch.eggs / total
            if clutch.group is None:
                sources[clutch.source or ""] += share
                continue
            together += (
                ran._replace(share=share * ran.share)
                for ran in self._of_clutch(clutch, clutch.group, set_on)
            )
        together = _likeliest(together)
        return HatchParents(*summed(together), dict(sources), tuple(together))

    def _of_clutch(self, clutch: Clutch, group: str, set_on: date) -> list[Ran]:
        # Eggs of before the record began are of the birds with which it begins.
        return self._laid_on(group, lay_days(clutch, set_on)) or self._laid_on(group, [set_on])

    def _laid_on(self, group: str, days: Sequence[date]) -> list[Ran]:
        """Hens by the cocks that they had, each hen alike for each day that she was there."""
        hens_of: defaultdict[tuple[tuple[Individual, float], ...], Odds] = defaultdict(dict)
        for day in days:
            hens = [bird for bird in self.hens_of(group, day) if self._may(bird, day)]
            some = list(_grown(dict.fromkeys(hens, 1.0), day))
            for track, mates in self._tracks(some, day).items():
                laid = hens_of[tuple(self.cocks_before(track, day).items())]
                for hen in mates:
                    laid[hen] = laid.get(hen, 0.0) + 1.0
        total = sum(sum(laid.values()) for laid in hens_of.values())
        return [
            Ran(sum(laid.values()) / total, dict(fathers), _shares(laid))
            for fathers, laid in hens_of.items()
        ]

    def _tracks(
        self, hens: Sequence[Individual], day: date
    ) -> dict[tuple[str | None, ...], list[Individual]]:
        """Where hens were on a day and before it, and which of them were there."""
        alike: defaultdict[tuple[tuple[str, date, date], ...] | str, list[Individual]]
        alike = defaultdict(list)
        for hen in hens:
            key = hen.ring or tuple((stay.group, stay.since, stay.until) for stay in hen.stays)
            alike[key].append(hen)
        found: defaultdict[tuple[str | None, ...], list[Individual]] = defaultdict(list)
        for some in alike.values():
            days = range(len(stored_sperm()))
            found[tuple(self.where(some[0], day - k * _DAY) for k in days)] += some
        return dict(found)


def lay_days(clutch: Clutch, set_on: date) -> list[date]:
    """Days on which the eggs may have been laid; where not told, those for which eggs keep well."""
    last = min(clutch.laid_to or set_on, set_on)
    keep = timedelta(days=facts.value("incubation.storage_best_days"))
    first = min(clutch.laid_from or last - keep, last)
    days = (last - first).days + 1
    number = min(days, _MOST_DAYS)
    return [first + timedelta(days=(2 * n + 1) * days // (2 * number)) for n in range(number)]


def _gone(bird: Individual, day: date) -> bool:
    return bird.left is not None and bird.left <= day


def _of_sex(some: Sequence[Individual], sex: Sex, day: date) -> list[Individual]:
    known = [bird for bird in some if bird.sex == sex]
    return known or [bird for bird in some if bird.sex == "unknown" and is_grown(bird, day)]


def is_grown(bird: Individual, day: date) -> bool:
    """Whether it may breed on a day, by its age where that is told."""
    return bird.hatched_on is None or (day - bird.hatched_on).days >= least_age_d()


def _grown(weights: Odds, day: date) -> Odds:
    """Those old enough to be parents; all, where none is by the record."""
    return {bird: w for bird, w in weights.items() if is_grown(bird, day)} or weights


@cache
def least_age_d() -> float:
    """The youngest at which a bird was seen to lay or to fertilise [d]."""
    return facts.value("laying.breeds_from_d")


def _shares(weights: Odds) -> Odds:
    total = sum(weights.values())
    return {bird: weight / total for bird, weight in weights.items()}


def _likeliest(together: Sequence[Ran]) -> list[Ran]:
    """Those that ran together, of them the likeliest where there are too many to be told apart."""
    total = sum(ran.share for ran in together)
    found = []
    for ran in together:
        most = max(1, round(MOST_APART * ran.share / total))
        found.append(Ran(ran.share, _most(ran.fathers, most), _most(ran.mothers, most)))
    return found


def _most(chances: Odds, most: int) -> Odds:
    """The likeliest where there are more, with the same sum."""
    if len(chances) <= most:
        return dict(chances)
    total = sum(chances.values())
    order = sorted(chances, key=lambda bird: -chances[bird])
    least = chances[order[most - 1]]
    sure = [bird for bird in order if chances[bird] > least]
    rest = [bird for bird in order if chances[bird] == least]
    some = [*sure, *evenly(rest, most - len(sure))]
    kept = sum(chances[bird] for bird in some)
    return {bird: chances[bird] * total / kept for bird in some}

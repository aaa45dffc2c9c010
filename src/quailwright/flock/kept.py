"""A fold kept at hand: what arrives is added in milliseconds, even when it happened days ago.

The entries of before a day are folded once, into a flock that stays as it is; those from that day
on are booked on a copy of it, again whenever one more comes. Nothing of it needs keeping: it is
derived, and `fold` gives the same.
"""

from bisect import bisect_left
from collections import ChainMap
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import cached_property
from operator import itemgetter

from quailwright.flock.corrections import corrections, retracts_nothing
from quailwright.flock.fold import Keyed, book, collector_at_rest, fold, newest_zone
from quailwright.flock.state import Flock
from quailwright.journal.entries import RANK, Entry, Holding, Retract
from quailwright.journal.findings import Finding
from quailwright.journal.moments import has_happened, instant, order_key, until

_CLOCKS_APART = timedelta(days=2)
"""Two clocks never are: an entry of so many days ago has happened, whatever its offset."""


def facts_of(entry: Entry) -> tuple[Entry, ...]:
    """The entry, and what it puts in another's stead."""
    if isinstance(entry, Retract) and entry.instead is not None:
        return (entry, entry.instead)
    return (entry,)


def _by_id(entries: Iterable[Entry]) -> dict[str, Entry]:
    return {fact.id: fact for entry in entries for fact in facts_of(entry)}


@dataclass(frozen=True, slots=True)
class _Corrected:
    """What retracts do: the ids that they take back, what stands instead, what is wrong."""

    gone: set[str]
    instead: list[Keyed]
    findings: list[Finding]

    def standing(self, keyed: list[Keyed], instead: list[Keyed]) -> list[Keyed]:
        """What of these entries stands, with what stands instead, in order."""
        kept = [pair for pair in keyed if pair[1].id not in self.gone] if self.gone else keyed
        return sorted(kept + instead, key=itemgetter(0)) if instead else kept


_NOTHING = _Corrected(set(), [], [])


class _Early:
    """The entries of before a day, folded: shared by all that was added since, never changed."""

    def __init__(self, day: str, keyed: list[Keyed], flock: Flock) -> None:
        self.day = day
        self.flock = flock
        self.retracts = _retracts(keyed)
        self.corrected = _NOTHING
        self._keyed = keyed

    @cached_property
    def facts(self) -> dict[str, Entry]:
        """Every early entry, and what early ones put in others' stead, by id."""
        return _by_id(entry for _, entry in self._keyed)

    @cached_property
    def ids(self) -> set[str]:
        """The ids of the early entries."""
        return {entry.id for _, entry in self._keyed}

    def instead(self, corrected: _Corrected) -> list[Keyed]:
        """What stands among the early entries in others' stead."""
        return [pair for pair in corrected.instead if pair[0][0] < self.day]

    def stands(self, corrected: _Corrected) -> bool:
        """Whether the early flock is as it was, after these corrections of all entries."""
        was = self.corrected
        return (
            corrected.findings == was.findings
            and self.ids.isdisjoint(corrected.gone ^ was.gone)
            and self.instead(corrected) == self.instead(was)
        )


def _retracts(keyed: Iterable[Keyed]) -> list[Retract]:
    return [entry for _, entry in keyed if isinstance(entry, Retract)]


class Kept:
    """Entries, in order of arrival, and the flock that they fold to.

    It never changes: `and_` gives another. An entry that happened before `day`, or that takes back
    or corrects one of then, has everything folded anew.
    """

    def __init__(self, entries: Iterable[Entry], day: date) -> None:
        """Folds the entries; those from `day` on may be followed by others of that time."""
        self.entries: Sequence[Entry] = list(entries)
        self.day = day
        self._telling = [e for e in self.entries if isinstance(e, Holding | Retract)]
        self.zone = newest_zone(self._telling)
        with collector_at_rest():
            keyed = self._keyed(self.entries)
            middle = bisect_left(keyed, (day.isoformat(),), key=itemgetter(0))
            self._late = keyed[middle:]
            self._early = early = _Early(day.isoformat(), keyed[:middle], Flock(zone=self.zone))
            self._corrected = early.corrected = self._corrections(self._late)
            early.flock.findings = list(self._corrected.findings)
            instead = early.instead(self._corrected)
            book(early.flock, self._corrected.standing(keyed[:middle], instead))
        self.flock = self._with_late(self._late, self._corrected)

    @property
    def facts(self) -> Mapping[str, Entry]:
        """Every entry, and everything that was put in another's stead, by id."""
        return ChainMap(_by_id(entry for _, entry in self._late), self._early.facts)

    def and_(self, new: Iterable[Entry]) -> "Kept":
        """These entries and `new`, which arrived after them."""
        arrived = list(new)
        together = [*self.entries, *arrived]
        telling = [e for e in arrived if isinstance(e, Holding | Retract)]
        made = object.__new__(Kept)
        made.entries, made.day, made._early = together, self.day, self._early
        made._telling = self._telling + telling
        made.zone = newest_zone(made._telling) if telling else self.zone
        keyed = made._keyed(arrived)
        if made.zone != self.zone or (keyed and keyed[0][0][0] < self._early.day):
            return Kept(together, self.day)
        made._late = sorted(self._late + keyed, key=itemgetter(0))
        made._corrected = made._corrections(made._late)
        if not self._early.stands(made._corrected):
            return Kept(together, self.day)
        made.flock = made._with_late(made._late, made._corrected)
        return made

    def as_of(self, now: datetime) -> Flock:
        """What stands at `now` (aware), from what has happened by then."""
        cut = until(now, self.zone)
        if cut.day - _CLOCKS_APART < self.day or newest_zone(self._telling, now) != self.zone:
            return fold(self.entries, now)
        late = [pair for pair in self._late if cut.includes(pair[0])]
        ahead = len(late) < len(self._late)
        if not ahead and all(cut.includes(key) for key, _ in self._corrected.instead):
            return self.flock
        corrected = self._corrections(late)
        instead = [pair for pair in corrected.instead if cut.includes(pair[0])]
        corrected = replace(corrected, instead=instead)
        if not self._early.stands(corrected):
            return fold(self.entries, now)
        return self._with_late(late, corrected)

    def next_after(self, now: datetime) -> datetime | None:
        """When the next entry will have happened, of those that lie ahead of `now` (aware).

        Only entries from `day` on are looked at; `now` is later.
        """
        ahead = [
            instant(fact.at, self.zone, hour=0)
            for _, entry in self._late
            for fact in facts_of(entry)
            if not has_happened(fact.at, now, self.zone)
        ]
        return min(ahead, default=None)

    def since(self, day: date) -> Sequence[Entry]:
        """The entries of `day` and later, and maybe some of before it, in no certain order."""
        if day - _CLOCKS_APART < self.day:
            return self.entries
        return [entry for _, entry in self._late]

    def _keyed(self, entries: Iterable[Entry]) -> list[Keyed]:
        zone = self.zone
        keyed = [(order_key(e.at, RANK[e.__class__], e.id, zone), e) for e in entries]
        keyed.sort(key=itemgetter(0))
        return keyed

    def _corrections(self, late: list[Keyed]) -> _Corrected:
        """What the retracts of the early entries and of these late ones do."""
        retracts = self._early.retracts + _retracts(late)
        if not retracts:
            return _NOTHING
        gone, instead, findings = corrections(retracts)
        known = {entry.id for _, entry in late}
        known.update(retract.instead.id for retract in retracts if retract.instead is not None)
        findings += [
            retracts_nothing(retract)
            for retract in retracts
            if retract.id not in gone
            and retract.entry not in known
            and retract.entry not in self._early.ids
        ]
        return _Corrected(gone, self._keyed(instead), findings)

    def _with_late(self, late: list[Keyed], corrected: _Corrected) -> Flock:
        """The early flock with the late entries booked on a copy."""
        flock = self._early.flock.copy()
        instead = [pair for pair in corrected.instead if pair[0][0] >= self._early.day]
        book(flock, corrected.standing(late, instead))
        return flock

"""The fold: entries in the order in which they happened, made into what stands.

`fold(entries)` gives the flock as of the last entry, `fold(entries, until)` as of then, from the
entries up to then. `Record` is the same, kept up to date as entries arrive.

An entry that contradicts the record is not lost: it is applied, what it adds or takes beyond the
record is booked as a signed `found`, and a finding says so. An entry about something that the
record does not know (a group, a hatch, a bird) cannot be applied; a finding says that.
"""

import gc
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date, datetime
from operator import itemgetter

from quailwright.flock.booking import BOOKINGS, Refused
from quailwright.flock.booking.parents import rank_ahead
from quailwright.flock.corrections import corrections, retracts_nothing
from quailwright.flock.state import Flock
from quailwright.journal.entries import (
    RANK,
    BirdsMoved,
    EggRule,
    Entry,
    Holding,
    Quarantine,
    Retract,
    Treated,
)
from quailwright.journal.findings import Finding
from quailwright.journal.moments import (
    OrderKey,
    Until,
    as_date,
    has_only_a_date,
    order_key,
    until,
)

Keyed = tuple[OrderKey, Entry]
"""An entry and what it is sorted by."""

_PATIENCE = 30
"""Of more entries of one moment than this that do not fit, all are booked in order as they are:
trying the rest again after each would take hours on a file with one day's mistake in every line."""


@contextmanager
def collector_at_rest() -> Iterator[None]:
    """A fold makes no garbage in circles, and looking for some would take a fifth of its time."""
    works = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if works:
            gc.enable()


def fold(entries: Iterable[Entry], on: date | datetime | None = None) -> Flock:
    """What stands after `entries` (any order), or as of `on`: a whole day, or an instant."""
    return Record(entries, on).flock


def newest_zone(entries: Iterable[Entry], on: date | datetime | None = None) -> str:
    """The time zone that the newest `holding` entry names (up to the day of `on`), else ''."""
    last_day = "9999-99-99" if on is None else on.isoformat()[:10]
    told: list[Entry] = []
    retracts: list[Retract] = []
    for entry in entries:
        if type(entry) is Holding:
            told.append(entry)
        elif type(entry) is Retract and entry.at[:10] <= last_day:
            retracts.append(entry)
    retracts.sort(key=lambda retract: order_key(retract.at, 0, retract.id, ""))
    gone, instead, _ = corrections(retracts)
    named = [
        (entry.at, entry.id, entry.timezone)
        for entry in told + instead
        if isinstance(entry, Holding)
        and entry.timezone
        and entry.at[:10] <= last_day
        and entry.id not in gone
    ]
    return max(named)[2] if named else ""


class Record:
    """The entries and the flock they fold to.

    `add` folds an entry that happened after all others by itself, in microseconds; one that
    happened earlier, or takes another back, folds everything again.
    """

    def __init__(self, entries: Iterable[Entry], on: date | datetime | None = None) -> None:
        self._entries = list(entries)
        self.on = on
        self._refold()

    @property
    def entries(self) -> Sequence[Entry]:
        """Every entry, in order of arrival."""
        return self._entries

    def add(self, new: Iterable[Entry]) -> None:
        """Takes in more entries; `flock` then stands as if all had been folded at once."""
        arrived = list(new)
        self._entries.extend(arrived)
        if not self._settled or any(map(self._reaches_back, arrived)):
            self._refold()
            return
        keyed = self._keyed(arrived)
        if not keyed or self._last_key is None or keyed[0][0] > self._last_key:
            self._run(keyed)
        else:
            self._refold()

    def _reaches_back(self, entry: Entry) -> bool:
        """Whether it changes how others fold, or was taken back before it arrived."""
        return isinstance(entry, (Retract, Holding)) or entry.id in self._taken_back

    def _refold(self) -> None:
        self.zone = newest_zone(self._entries, self.on)
        self.flock = Flock(zone=self.zone)
        self._until: Until | None = None if self.on is None else until(self.on, self.zone)
        self._last_key: OrderKey | None = None
        self._settled = True
        self._taken_back: set[str] = set()
        with collector_at_rest():
            self._run(self._keyed(self._entries))

    def _keyed(self, entries: Iterable[Entry]) -> list[Keyed]:
        zone = self.zone
        keyed = [(order_key(e.at, RANK[e.__class__], e.id, zone), e) for e in entries]
        if self._until is not None:
            includes = self._until.includes
            keyed = [pair for pair in keyed if includes(pair[0])]
        keyed.sort(key=itemgetter(0))
        retracts = [entry for _, entry in keyed if type(entry) is Retract]
        return self._corrected(keyed, retracts) if retracts else keyed

    def _corrected(self, keyed: list[Keyed], retracts: Sequence[Retract]) -> list[Keyed]:
        """Without what is taken back, with what stands instead, in order."""
        gone, instead, findings = corrections(retracts)
        known = {entry.id for _, entry in keyed}
        known.update(retract.instead.id for retract in retracts if retract.instead is not None)
        self._taken_back = {retract.entry for retract in retracts}
        self.flock.findings += findings
        self.flock.findings += [
            retracts_nothing(retract)
            for retract in retracts
            if retract.id not in gone and retract.entry not in known
        ]
        kept = [pair for pair in keyed if pair[1].id not in gone]
        return sorted(kept + self._keyed(instead), key=itemgetter(0)) if instead else kept

    def _run(self, keyed: list[Keyed]) -> None:
        if not book(self.flock, keyed):
            self._settled = False
        if keyed:
            self._last_key = keyed[-1][0]


def book(flock: Flock, keyed: Sequence[Keyed]) -> bool:
    """Books entries in the order of their keys; gives whether each fitted as it came.

    Entries of one moment have no order among them: one that does not fit yet is tried again
    after the others of its moment. One with a date alone happened some time that day: it is
    tried again until the day is over.
    """
    rank_ahead(flock, (entry for _, entry in keyed))
    waiting: list[Keyed] = []
    settled = True
    before = keyed[0][0] if keyed else None
    for pair in keyed:
        key, entry = pair
        if waiting and before is not None and before[:2] != key[:2]:
            waiting = _settle(flock, waiting, day_over=before[0] != key[0])
        before = key
        try:
            BOOKINGS[entry.__class__](flock, entry, as_date(key[0]), entry.force)
        except Refused:
            waiting.append(pair)
    if waiting:
        settled = False
        _settle(flock, waiting, day_over=True)
    if keyed:
        flock.first_day = flock.first_day or as_date(keyed[0][0][0])
        flock.last_day = as_date(keyed[-1][0][0])
        flock.entries += len(keyed)
    return settled


def _settle(flock: Flock, waiting: list[Keyed], day_over: bool) -> list[Keyed]:
    """Books what fits by now, and insists on what can wait no longer; gives what still can."""
    while waiting:
        still = [pair for pair in waiting if not _booked(flock, pair)]
        if len(still) < len(waiting):
            waiting = still
            continue
        overdue = [pair for pair in still if not has_only_a_date(pair[0])]
        if not overdue and day_over:
            overdue = still
        if not overdue:
            return still
        insisted = overdue if len(overdue) > _PATIENCE else overdue[:1]
        for key, entry in insisted:
            try:
                BOOKINGS[entry.__class__](flock, entry, as_date(key[0]), True)
            except Refused as refusal:
                flock.findings.append(refusal.finding)
        done = {entry.id for _, entry in insisted}
        waiting = [pair for pair in still if pair[1].id not in done]
    return []


def _booked(flock: Flock, pair: Keyed) -> bool:
    key, entry = pair
    try:
        BOOKINGS[entry.__class__](flock, entry, as_date(key[0]), False)
    except Refused:
        return False
    return True


def refusals(record: Record, new: Sequence[Entry]) -> list[Finding]:
    """Adds `new` to `record`, and gives what must be refused: contradictions that they bring.

    A contradiction that an entry insists on (`force`) is kept and shown, not refused; so is one
    that it makes of another entry, of before or new, which would not be there without it. And what
    could be logged one by one in the order given is taken: so an export comes in again as a whole.
    A withholding logged late is taken, and what left meanwhile becomes a contradiction.
    """
    known, before = list(record.entries), list(record.flock.findings)
    record.add(new)
    return refused(known, before, record.flock, new, record.on)


def refused(
    known: Sequence[Entry],
    before: Iterable[Finding],
    after: Flock,
    new: Sequence[Entry],
    on: date | datetime | None = None,
) -> list[Finding]:
    """As `refusals`, of `new` that was added already.

    `known` are the entries of before and `before` the findings on them; `after` is the flock with
    the new ones.
    """
    open_before = _open(before)
    brought = _brought(after, open_before)
    if any(f.kind == "withheld" for f in brought) and any(map(_holds_back, new)):
        brought = brought if not _fit_one_by_one(Record(known, on), new) else []
    insisting = {entry.id for entry in new if _insists(entry)}
    if not brought or not insisting:
        return brought
    others = Record([*known, *(entry for entry in new if entry.id not in insisting)], on)
    without = _open(others.flock.findings).keys() - open_before.keys()
    remain = [f for f in brought if f.entry in insisting or _about(f) in without]
    return remain if remain and not _fit_one_by_one(Record(known, on), new) else []


def _fit_one_by_one(record: Record, new: Sequence[Entry]) -> bool:
    for entry in new:
        before = _open(record.flock.findings)
        record.add([entry])
        own = {fact.id for fact in (entry, getattr(entry, "instead", None)) if fact is not None}
        may_upset = _insists(entry)
        for finding in _brought(record.flock, before):
            told_late = finding.kind == "withheld" and _holds_back(entry)
            if finding.entry in own or not (may_upset or told_late):
                return False
    return True


def _holds_back(entry: Entry) -> bool:
    """Whether it may hold eggs or birds back that left before anyone had logged it.

    It is taken all the same, or a treatment logged late could not be logged at all: what left
    stands as a contradiction from then on.
    """
    fact = entry.instead if isinstance(entry, Retract) else entry
    return isinstance(fact, Treated | Quarantine | BirdsMoved | EggRule)


_About = tuple[str, str, str]


def _about(finding: Finding) -> _About:
    """What stays the same of a contradiction when only its figures change."""
    return (finding.entry, finding.kind, finding.field)


def _open(findings: Iterable[Finding]) -> dict[_About, Finding]:
    """Contradictions that nobody insisted on."""
    return {_about(f): f for f in findings if not f.forced}


def _brought(flock: Flock, before: dict[_About, Finding]) -> list[Finding]:
    return [f for about, f in _open(flock.findings).items() if about not in before]


def _insists(entry: Entry) -> bool:
    correction = isinstance(entry, Retract) and entry.instead is not None and entry.instead.force
    return entry.force or correction

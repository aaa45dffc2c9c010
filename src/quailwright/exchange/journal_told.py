"""The journal as a list to read: newest first, with what was taken back and what corrects it."""

from bisect import insort
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import cached_property

from quailwright.flock.corrections import corrections
from quailwright.guide import told
from quailwright.journal.entries import RANK, Entry, Retract, kind_of
from quailwright.journal.moments import OrderKey, day_text, has_happened, order_key
from quailwright.language import spoken

LINES_ON_A_PAGE = 50
_FEW = 50
"""Up to so many new lines are put in their places; more are sorted in."""


@dataclass(frozen=True, slots=True)
class Line:
    """One entry of the journal, or one that stands in another's stead.

    `day` is its day at the holding (ISO). `taken_back` is the retract that did so, if one stands;
    `corrects` the entry that this one stands for, or "".
    """

    entry: Entry
    day: str
    taken_back: Retract | None
    corrects: str


class Listing:
    """The lines of a journal; it never changes, `and_` gives another with more."""

    def __init__(self, entries: Iterable[Entry], zone_name: str) -> None:
        self.zone = zone_name
        self._retracts: list[Retract] = []
        self._by: dict[str, Retract | None] = {}
        self._told: dict[str, dict[str, str]] = {}
        self._searchable: dict[str, list[str]] = {}
        self._oldest_first: list[Line] = []
        self._take_in(list(entries))

    @cached_property
    def lines(self) -> list[Line]:
        """Every entry and correction, the one that happened last first."""
        return self._oldest_first[::-1]

    def and_(self, new: Sequence[Entry]) -> "Listing":
        """The lines with those of `new`, which arrived since."""
        made = object.__new__(Listing)
        made.zone, made._retracts, made._by = self.zone, self._retracts, self._by
        made._told, made._searchable = self._told, {}
        made._oldest_first = self._oldest_first.copy()
        made._take_in(new)
        return made

    def found(self, text: str = "", kind: str = "") -> list[Line]:
        """The lines of a kind (any, if "") in which a text stands, the newest first.

        It is looked for in what the entry says, whoever wrote it and in its note, however written.
        """
        looked_for = text.casefold()
        lines = self.lines
        if text:
            texts = self._searched(spoken())
            lines = [line for line, held in zip(lines, texts, strict=True) if looked_for in held]
        return [line for line in lines if not kind or kind_of(line.entry) == kind]

    def _searched(self, language: str) -> list[str]:
        """What is searched of each line. What an entry says never changes: it is told once."""
        if language not in self._searchable:
            known = self._told.setdefault(language, {})
            for line in self.lines:
                entry = line.entry
                if entry.id not in known:
                    whole = f"{told.in_a_line(entry)} {entry.by} {entry.note} {entry.at} {entry.id}"
                    known[entry.id] = whole.casefold()
            self._searchable[language] = [known[line.entry.id] for line in self.lines]
        return self._searchable[language]

    def _take_in(self, new: Sequence[Entry]) -> None:
        retracts = [entry for entry in new if isinstance(entry, Retract)]
        if retracts:
            self._take_back(retracts)
        facts = [(entry, "") for entry in new]
        facts += [(one.instead, one.entry) for one in retracts if one.instead is not None]
        added = [
            Line(fact, day_text(fact.at, self.zone), self._by.get(fact.id), corrects)
            for fact, corrects in facts
        ]
        if len(added) < _FEW:
            for line in added:
                insort(self._oldest_first, line, key=self._key)
        else:
            self._oldest_first = sorted([*self._oldest_first, *added], key=self._key)

    def _take_back(self, retracts: list[Retract]) -> None:
        """Marks what these, and those of before, take back."""
        self._retracts = [*self._retracts, *retracts]
        self._retracts.sort(key=lambda retract: order_key(retract.at, 0, retract.id, self.zone))
        gone, _, _ = corrections(self._retracts)
        was = self._by
        last = {retract.entry: retract for retract in self._retracts if retract.id not in gone}
        self._by = {entry_id: last.get(entry_id) for entry_id in gone}
        changed = {
            entry_id
            for entry_id in was.keys() | self._by.keys()
            if was.get(entry_id) is not self._by.get(entry_id)
        }
        for number, line in enumerate(self._oldest_first):
            if line.entry.id in changed:
                taken_back = self._by.get(line.entry.id)
                self._oldest_first[number] = replace(line, taken_back=taken_back)

    def _key(self, line: Line) -> OrderKey:
        fact = line.entry
        return order_key(fact.at, RANK[type(fact)], fact.id, self.zone)


def lines(entries: Iterable[Entry], zone_name: str) -> list[Line]:
    """Every entry and correction, the one that happened last first."""
    return Listing(entries, zone_name).lines


def with_id(all_lines: Iterable[Line], entry_id: str) -> Line | None:
    """The line of an entry, if the journal holds it."""
    return next((line for line in all_lines if line.entry.id == entry_id), None)


def written_on(entries: Iterable[Entry], on: date, now: datetime, zone_name: str) -> list[Line]:
    """What was done on a day up to `now` and still stands, the last first."""
    day = on.isoformat()
    # Two clocks are never two days apart: what happened that day is written with one of these.
    near = {(on + timedelta(days=days)).isoformat() for days in (-1, 0, 1)}
    return [
        line
        for line in lines((entry for entry in entries if entry.at[:10] in near), zone_name)
        if line.day == day
        and line.taken_back is None
        and not isinstance(line.entry, Retract)
        and has_happened(line.entry.at, now, zone_name)
    ]

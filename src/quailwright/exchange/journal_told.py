"""The journal as a list to read: newest first, with what was taken back and what corrects it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from quailwright.flock.corrections import corrections
from quailwright.guide import told
from quailwright.journal.entries import RANK, Entry, Retract, kind_of
from quailwright.journal.moments import has_happened, order_key

LINES_ON_A_PAGE = 50


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

    def holds(self, text: str) -> bool:
        """Whether the text stands in what the entry says, whoever wrote it and in its note."""
        entry = self.entry
        whole = f"{told.in_a_line(entry)} {entry.by} {entry.note} {entry.at} {entry.id}"
        return text.casefold() in whole.casefold()


def lines(entries: Iterable[Entry], zone_name: str) -> list[Line]:
    """Every entry and correction, the one that happened last first."""
    facts: list[tuple[Entry, str]] = []
    retracts: list[Retract] = []
    for entry in entries:
        facts.append((entry, ""))
        if isinstance(entry, Retract):
            retracts.append(entry)
            if entry.instead is not None:
                facts.append((entry.instead, entry.entry))
    retracts.sort(key=lambda retract: order_key(retract.at, 0, retract.id, zone_name))
    gone, _, _ = corrections(retracts)
    by = {retract.entry: retract for retract in retracts if retract.id not in gone}
    keyed = [
        (order_key(fact.at, RANK[type(fact)], fact.id, zone_name), fact, corrects)
        for fact, corrects in facts
    ]
    keyed.sort(key=lambda each: each[0], reverse=True)
    return [
        Line(fact, key[0], by.get(fact.id) if fact.id in gone else None, corrects)
        for key, fact, corrects in keyed
    ]


def found(all_lines: Sequence[Line], text: str = "", kind: str = "") -> list[Line]:
    """The lines of a kind (any, if "") in which a text stands."""
    return [
        line
        for line in all_lines
        if (not kind or kind_of(line.entry) == kind) and (not text or line.holds(text))
    ]


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

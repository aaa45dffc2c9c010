"""What was taken in from sheets, and taking it back."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from quailwright.exchange.tables_in_known import MARK, UNDONE
from quailwright.journal.checks import build_entry
from quailwright.journal.entries import (
    Entry,
    Retract,
)
from quailwright.journal.findings import BadInput
from quailwright.language import say


@dataclass(slots=True)
class Imported:
    """One import that the journal holds: its id, the file, how many entries, how many stand."""

    id: str
    file: str
    entries: int = 0
    standing: int = 0
    first: str = ""
    last: str = ""


def imports(entries: Iterable[Entry]) -> list[Imported]:
    """What was imported from sheets, in order of arrival."""
    found: dict[str, Imported] = {}
    everything = list(entries)
    gone = {entry.entry for entry in everything if isinstance(entry, Retract)}
    for entry in everything:
        marked = MARK.search(entry.note)
        if marked is None:
            continue
        came = entry.note[: marked.start()].rpartition("; ")[2].strip()
        one = found.setdefault(marked[1], Imported(marked[1], came))
        one.entries += 1
        one.standing += entry.id not in gone
        one.first = min(filter(None, (one.first, entry.at[:10])))
        one.last = max(one.last, entry.at[:10])
    return list(found.values())


def undoing(
    import_id: str, entries: Sequence[Entry], at: str, by: str, fresh_id: Callable[[], str]
) -> list[Entry]:
    """The entries that take an import back, those that stand of it. Raises BadInput."""
    import_id = import_id.strip().casefold()
    gone = {entry.entry for entry in entries if isinstance(entry, Retract)}
    own = [
        entry
        for entry in entries
        if (found := MARK.search(entry.note)) is not None and found[1] == import_id
    ]
    if not own:
        known = ", ".join(one.id for one in imports(entries)[-5:])
        raise BadInput(
            say("There is no import {id!r}. The last were: {known}.", id=import_id, known=known)
            if known
            else say("There is no import {id!r}: nothing was imported from a sheet.", id=import_id)
        )
    standing = [entry for entry in own if entry.id not in gone]
    if not standing:
        raise BadInput(say("The import {id} is taken back already.", id=import_id))
    made = []
    for entry in standing:
        fields = {"kind": "retract", "id": fresh_id(), "at": at, "entry": entry.id}
        built, findings = build_entry({**fields, "why": f"{UNDONE}{import_id}", "by": by})
        if built is None:
            raise BadInput(say("Not kept; nothing was written."), tuple(findings))
        made.append(built)
    return made

"""Which rows the journal holds already, and whether the others fit it.

The id of an entry is made of what its row says, so that the same row gives the same entry from
whatever file, and is written once.
"""

import hashlib
import re
import uuid
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace

import msgspec

from quailwright.exchange.record import fitting
from quailwright.exchange.tables_in_grid import (
    Grid,
)
from quailwright.exchange.tables_in_match import (
    JOURNAL,
)
from quailwright.exchange.tables_in_seen import MOST_PROBLEMS, Preview, Problem, Row
from quailwright.flock.kept import Kept, facts_of
from quailwright.journal.entries import (
    LONGEST_NAME,
    Entry,
    Group,
    Retract,
    as_dict,
    kind_of,
)
from quailwright.journal.findings import QuailwrightError
from quailwright.language import say, say_many

_SPACE = uuid.UUID("6f1c2f0e-7b5d-5c1e-9a60-5a2f4b1d8c37")
"""The name space (RFC 9562, section 5.5) of ids made of rows."""
_LONGEST_NOTE = 2000
MARK = re.compile(r"\[import ([0-9a-f]{8})\]\s*\Z")
"""How the note of an entry that came from a sheet ends: the import that it came with."""
UNDONE = "tables undo "
"""How the reason begins with which the entries of an import were taken back together."""


def sorted_out(seen: Preview, entries: Sequence[Entry]) -> None:
    """Gives each entry its id, and tells those that the journal holds from new ones."""
    known = {fact.id: fact for entry in entries for fact in facts_of(entry)}
    by: dict[str, Retract] = {
        fact.entry: fact for fact in known.values() if isinstance(fact, Retract)
    }
    times: Counter[bytes] = Counter()
    fresh: list[Row] = []
    for number, row in enumerate(seen.rows):
        if seen.match.kind == JOURNAL:
            made = row
        else:
            content = _content(row.entry)
            made = replace(row, entry=_with_id(row.entry, content, times[content], known, by))
            times[content] += 1
        seen.rows[number] = made
        if made.entry.id not in known:
            fresh.append(made)
        elif seen.match.kind == JOURNAL and known[made.entry.id] != made.entry:
            seen.problems.append(
                Problem(
                    say("{sheet}, row {row}", sheet=seen.match.sheet, row=row.row),
                    say("id {id} already belongs to another entry.", id=made.entry.id),
                    say(
                        "An entry is never changed: give this one an id of its own, and retract "
                        "the wrong one."
                    ),
                )
            )
        else:
            seen.already += 1
            seen.taken_back += made.entry.id in by and seen.match.kind != JOURNAL
    seen.new = [row.entry for row in fresh]
    if seen.match.kind != JOURNAL:
        _changed_since(seen, fresh, known, by)
    if fresh and seen.match.kind != JOURNAL:
        digest = hashlib.sha256("".join(row.entry.id for row in fresh).encode())
        seen.import_id = digest.hexdigest()[:8]
        seen.new = [_noted(row, seen) for row in fresh]


_DAYS_NAMED = 5
_WHAT = (
    "hatch", "group", "bird", "place", "feed", "source", "task", "use", "to", "category", "product"
)  # fmt: skip
"""Fields that tell what an entry is about."""


def _about(entry: Entry) -> tuple[str, ...]:
    return (kind_of(entry), entry.at[:10], *(str(getattr(entry, name, "")) for name in _WHAT))


def _changed_since(
    seen: Preview, fresh: Sequence[Row], known: Mapping[str, Entry], by: Mapping[str, Retract]
) -> None:
    """Rows that stand where the same sheet said something else when it was imported before: with
    both in the journal, things would count twice."""
    begun = {fact.group for fact in known.values() if isinstance(fact, Group) and fact.id not in by}
    for first in fresh:
        if not first.row and isinstance(first.entry, Group) and first.entry.group in begun:
            seen.problems.append(
                Problem(
                    say("told for {file}", file=seen.book.file),
                    say("the journal has a group {name!r} already.", name=first.entry.group),
                    say("Take out what is told of it first, so that its birds do not count twice."),
                )
            )
    new = {_about(row.entry): row for row in fresh if row.row}
    if not new:
        return
    still = {row.entry.id for row in seen.rows}
    beside: dict[int, str] = {}
    for entry in known.values():
        row = new.get(_about(entry))
        if row is None or entry.id in still or entry.id in by:
            continue
        marked = MARK.search(entry.note)
        if marked is None:
            beside.setdefault(row.row, entry.at[:10])
            continue
        if f", {seen.match.sheet[:LONGEST_NAME]}, " not in entry.note:
            continue
        seen.problems.append(
            Problem(
                say("{sheet}, row {row}", sheet=seen.match.sheet, row=row.row),
                say(
                    "this row was imported before and said something else then (entry {id}).",
                    id=entry.id,
                ),
                say(
                    "Take that entry back on its page, or the whole import with `tables undo "
                    "{id}`, so that it does not count twice.",
                    id=marked[1],
                ),
            )
        )
    if beside:
        seen.remarks.append(
            say_many(
                "{n} row tells what was logged for the same day already ({days}): see that it does "
                "not count twice.",
                "{n} rows tell what was logged for the same days already ({days}): see that they "
                "do not count twice.",
                len(beside),
                days=", ".join(list(dict.fromkeys(beside.values()))[:_DAYS_NAMED]),
            )
        )


def _content(entry: Entry) -> bytes:
    plain = {name: value for name, value in as_dict(entry).items() if name != "id"}
    return msgspec.json.encode(plain, order="sorted")


def _with_id(
    entry: Entry, content: bytes, time_: int, known: Mapping[str, Entry], by: Mapping[str, Retract]
) -> Entry:
    """The entry with the id that its content gives the so-many-th time it stands in the sheet.

    Entries whose import was taken back as a whole may come again, as others.
    """
    again = 0
    while True:
        name = f"{time_}.{again}.{content.decode()}"
        made = str(uuid.uuid5(_SPACE, name))
        undone = by.get(made)
        if made not in known or undone is None or not undone.why.startswith(UNDONE):
            return msgspec.structs.replace(entry, id=made)
        again += 1


def _noted(row: Row, seen: Preview) -> Entry:
    """The entry with a note of where it came from."""
    if row.row:
        came = say(
            "from {file}, {sheet}, row {row}",
            file=seen.book.file[-LONGEST_NAME:],
            sheet=seen.match.sheet[:LONGEST_NAME],
            row=row.row,
        )
    else:
        came = say("told for {file}", file=seen.book.file[-LONGEST_NAME:])
    came = "".join(c if c.isprintable() else " " for c in came)
    ending = f"{came} [import {seen.import_id}]"
    own = row.entry.note[: _LONGEST_NOTE - len(ending) - 3]
    return msgspec.structs.replace(row.entry, note=f"{own}; {ending}" if own else ending)


def tried(seen: Preview, grid: Grid, kept: Kept) -> None:
    """Tries the new entries against the journal; what does not fit is told with its cell."""
    try:
        fitting(kept, seen.new)
    except QuailwrightError as error:
        rows = {row.entry.id: row for row in seen.rows}
        found = sorted(
            error.findings,
            key=lambda finding: rows[finding.entry].row if finding.entry in rows else 0,
        )
        for finding in found[:MOST_PROBLEMS]:
            row = rows.get(finding.entry)
            if row is None:
                where = ""
            elif not row.row:
                where = say("told for {file}", file=seen.book.file)
            else:
                cell = row.cells.get(finding.field) or say("row {row}", row=row.row)
                where = say("{sheet}, {cell}", sheet=grid.name, cell=cell)
            mend = say(finding.mend)
            name = getattr(row.entry, "group", None) if row is not None else None
            if finding.kind == "orphan" and finding.field == "group" and name in kept.flock.groups:
                assert row is not None
                mend = say(
                    "It began later. Records from before it are of another group: give it a name "
                    "of its own, such as {example}.",
                    example=say(
                        "{group} before {year}", group=name, year=int(row.entry.at[:4]) + 1
                    ),
                )
            seen.problems.append(Problem(where, say(finding.what), mend))

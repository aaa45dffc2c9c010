"""What was understood of a keeper's sheet, and what came of it, in words and as JSON."""

from collections import Counter
from typing import Any

from quailwright.exchange.tables_in_grid import column_of
from quailwright.exchange.tables_in_guess import label, labels
from quailwright.exchange.tables_in_match import CLOCK, JOURNAL, OFFERED, SPENT, TICK
from quailwright.exchange.tables_in_seen import Left, Preview
from quailwright.guide import told
from quailwright.journal.entries import as_dict, kind_of
from quailwright.language import mark, say, say_many

CANNOT_BE_READ = mark(
    "Colours, comments on cells, pictures and formulas are not read: what only a colour tells, "
    "write in a column."
)


def kind_told(kind: str) -> str:
    """What one row of that kind tells."""
    return say(OFFERED[kind]) if kind in OFFERED else told.kind_words(kind)


def field_told(name: str) -> str:
    """A field as a keeper reads it."""
    special = {
        "at": mark("day"),
        SPENT: mark("money spent"),
        CLOCK: mark("time of day"),
        TICK: mark("tick"),
    }
    return say(special[name]) if name in special else told.field_words(name)


def read_as(seen: Preview) -> list[str]:
    """How the sheet was read: the sheet, its head, what a row tells, each column."""
    match = seen.match
    grid = seen.book.sheet(match.sheet)
    lines = [say("{file}, sheet {sheet!r}:", file=seen.book.file, sheet=match.sheet)]
    first, last = match.head
    if first and first == last:
        lines.append(say("The head stands in row {row}.", row=first))
    elif first:
        lines.append(say("The head stands in rows {first} to {last}.", first=first, last=last))
    if match.kind:
        lines.append(say("A row tells: {what}.", what=kind_told(match.kind)))
    heads = labels(grid, match.head) if first <= last <= len(grid.rows) else []
    for letter, name in match.columns.items():
        column = column_of(letter)
        head = label(heads[column]) if column is not None and column < len(heads) else ""
        if name:
            lines.append(
                say("{column} ({head}): {field}", column=letter, head=head, field=field_told(name))
            )
    if match.wide is not None:
        for letter, name in match.wide.columns.items():
            lines.append(
                say(
                    "{column}: {field} of {name}",
                    column=letter,
                    field=field_told(match.wide.field),
                    name=match.names.get(name, name),
                )
            )
    for name, value in match.always.items():
        lines.append(say("In every row {field} is {value}.", field=field_told(name), value=value))
    if match.kind != JOURNAL:
        lines.append(say(CANNOT_BE_READ))
    return lines


def left_words(left: Left) -> str:
    """A row that is left out, and why."""
    return say("Row {row}: {why}", row=left.row, why=left.why)


def outcome(seen: Preview, written: bool) -> list[str]:
    """What was written, or would be, and what is there already."""
    if seen.asked or seen.problems:
        return []
    lines = []
    if seen.already:
        lines.append(
            say_many(
                "{n} entry is in the journal already.",
                "{n} entries are in the journal already.",
                seen.already,
            )
        )
    if seen.taken_back:
        lines.append(
            say_many(
                "{n} of these was taken back or corrected; it is not written again.",
                "{n} of these were taken back or corrected; they are not written again.",
                seen.taken_back,
            )
        )
    if not seen.new:
        lines.append(say("Nothing new to write."))
    elif written:
        lines.append(say_many("{n} entry was written.", "{n} entries were written.", len(seen.new)))
        if seen.import_id:
            lines.append(
                say("To take all of it back: quailwright tables undo {id}", id=seen.import_id)
            )
    else:
        lines.append(
            say_many(
                "{n} entry would be written; all of it fits the journal.",
                "{n} entries would be written; all of it fits the journal.",
                len(seen.new),
            )
        )
    return lines


def preview_shape(seen: Preview, written: bool) -> dict[str, Any]:
    """All of it as JSON values."""
    match = seen.match
    return {
        "file": seen.book.file,
        "sheet": match.sheet,
        "head": list(match.head),
        "kind": match.kind,
        "columns": match.columns,
        "asked": [
            {"about": one.about, "question": one.text, "choices": list(one.choices)}
            for one in seen.asked
        ],
        "entries": [{"row": row.row, "entry": as_dict(row.entry)} for row in seen.rows],
        "left_out": [{"row": left.row, "why": left.why} for left in seen.left],
        "problems": [
            {"where": one.where, "what": one.what, "mend": one.mend} for one in seen.problems
        ],
        "remarks": seen.remarks,
        "already": seen.already,
        "new": dict(Counter(kind_of(entry) for entry in seen.new)),
        "import": seen.import_id,
        "written": len(seen.new) if written else 0,
    }

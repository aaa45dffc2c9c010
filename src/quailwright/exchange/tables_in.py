"""A keeper's own sheet taken in: read by its match, laid beside the journal, nothing written."""

from collections.abc import Sequence
from datetime import datetime

from quailwright.exchange.record import kept_at_hand
from quailwright.exchange.tables_in_grid import (
    Book,
    Grid,
    column_of,
    letters,
)
from quailwright.exchange.tables_in_guess import (
    days_across,
    questions,
    settled,
)
from quailwright.exchange.tables_in_journal import of_journal
from quailwright.exchange.tables_in_known import sorted_out, tried
from quailwright.exchange.tables_in_match import (
    JOURNAL,
    Match,
)
from quailwright.exchange.tables_in_rows import Reading
from quailwright.exchange.tables_in_seen import Preview, Problem
from quailwright.flock.kept import Kept
from quailwright.flock.state import Flock
from quailwright.journal.entries import (
    Entry,
)
from quailwright.journal.findings import BadInput
from quailwright.language import say


def previewed(
    book: Book,
    match: Match,
    flock: Flock,
    entries: Sequence[Entry],
    now: datetime,
    kept: Kept | None = None,
) -> Preview:
    """What the rows of a sheet become, tried against the journal; nothing is written.

    Args:
        book: what was read.
        match: how to read it.
        flock: what stands now.
        entries: the journal.
        now: the present instant.
        kept: the journal folded, where that is at hand.

    Raises:
        BadInput: the book has no such sheet, or the match names columns that it does not have.
    """
    grid = book.sheet(match.sheet)
    match = settled(grid, match)
    _fits(grid, match)
    seen = Preview(book, match, questions(grid, match, flock))
    if grid.hidden:
        seen.remarks.append(say("The sheet {sheet!r} is hidden in its book.", sheet=grid.name))
    others = [each.name for each in book.sheets if each is not grid and len(each.rows) > 1]
    if others and match.kind != JOURNAL:
        seen.remarks.append(
            say("Other sheets of the book are not read now: {sheets}.", sheets=", ".join(others))
        )
    if seen.asked:
        if match.head == (0, 0) and days_across(grid):
            seen.remarks.append(
                say(
                    "Days stand side by side in this sheet. Turn it first: copy the table and "
                    "paste it with rows and columns changed round (Transpose)."
                )
            )
        return seen
    if match.kind == JOURNAL:
        of_journal(grid, seen)
    else:
        Reading(grid, seen, flock, now).read()
    if not seen.rows and not seen.problems:
        seen.problems.append(
            Problem(
                grid.name,
                say("no row under the head becomes an entry."),
                say(
                    "Check in which rows the head stands, and the columns. Formulas are read by "
                    "what they came to when the sheet was last saved: open and save it once more."
                ),
            )
        )
    if not seen.problems:
        sorted_out(seen, entries)
    if not seen.problems and seen.new:
        tried(seen, grid, kept or kept_at_hand(entries, now))
    return seen


def _fits(grid: Grid, match: Match) -> None:
    if match.head[1] > len(grid.rows):
        raise BadInput(
            say(
                "head: the sheet {sheet!r} has only {rows} rows.",
                sheet=grid.name,
                rows=len(grid.rows),
            )
        )
    wide = match.wide.columns if match.wide is not None else {}
    for name in (*match.columns, *match.down, *wide):
        column = column_of(name)
        if column is None or column >= grid.width:
            raise BadInput(
                say(
                    "columns: the sheet {sheet!r} has no column {column}; its last is {last}.",
                    sheet=grid.name,
                    column=name,
                    last=letters(grid.width - 1),
                )
            )

"""Entries from the table of a journal, as `tables export` writes it."""

from datetime import date
from typing import Any

from quailwright.exchange.tables_in_grid import (
    Grid,
    Value,
    cell_name,
)
from quailwright.exchange.tables_in_seen import MOST_PROBLEMS, Preview, Problem, Row
from quailwright.exchange.tables_out import BESIDE, of_text
from quailwright.journal.checks import build_entry
from quailwright.journal.entries import (
    KINDS,
)
from quailwright.language import say


def of_journal(grid: Grid, seen: Preview) -> None:
    """Entries from a sheet whose head names their fields, as `tables export` writes it."""
    first = seen.match.head[1] or 1
    heads = [str(cell or "").strip() for cell in grid.rows[first - 1]]
    for row in range(first, len(grid.rows)):
        told = {
            name: (column, value)
            for column, name in enumerate(heads)
            if name and name not in BESIDE and (value := grid.rows[row][column]) is not None
        }
        if not told:
            continue
        before = len(seen.problems)
        kind = str(told["kind"][1]).strip() if "kind" in told else ""
        fields: dict[str, Any] = {}
        for name, (column, value) in told.items():
            try:
                fields[name] = _as_written(kind, name, value)
            except ValueError:
                where = say("{sheet}, {cell}", sheet=grid.name, cell=cell_name(row, column))
                what = say(
                    "{given!r} is not what {field} takes.", given=str(value)[:60], field=name
                )
                mend = say("Leave this sheet as it was written.")
                seen.problems.append(Problem(where, what, mend))
        if len(seen.problems) > before:
            continue
        cells = {name: cell_name(row, column) for name, (column, _) in told.items()}
        entry, findings = build_entry(fields)
        for finding in findings:
            cell = cells.get(finding.field, say("row {row}", row=row + 1))
            where = say("{sheet}, {cell}", sheet=grid.name, cell=cell)
            seen.problems.append(Problem(where, say(finding.what), say(finding.mend)))
        if entry is not None:
            seen.rows.append(Row(row + 1, entry, cells))
        if len(seen.problems) >= MOST_PROBLEMS:
            return


def _as_written(kind: str, name: str, value: Value) -> object:
    if isinstance(value, str):
        return of_text(kind, name, value) if kind in KINDS else value
    if isinstance(value, float) and value == int(value):
        return int(value)
    return value.isoformat() if isinstance(value, date) else value

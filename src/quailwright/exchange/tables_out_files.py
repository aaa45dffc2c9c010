"""Tables as files: CSV (RFC 4180), a folder or .zip of these, and one workbook (.xlsx).

Texts are never formulas: in a workbook they are written as texts, in CSV as `table_cells` tells.
"""

import io
import zipfile
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from itertools import islice
from pathlib import Path
from typing import Any

from quailwright.exchange.costs_told import write_whole
from quailwright.exchange.table_cells import safe_cell
from quailwright.exchange.tables_out import TABLES, Asked, Cell, Column, Row, Table, table_named
from quailwright.guide import wording
from quailwright.journal.drafts import folder_apart
from quailwright.journal.findings import BadInput
from quailwright.language import say

_LONGEST_CELL = 32_767
_MOST_ROWS = 1_048_575
"""Of a sheet beside its head, and characters of a cell: limits of spreadsheet programs."""
_NARROWEST, _WIDEST, _MEASURED = 8, 44, 200
_LONGEST_SHEET_NAME = 31
_FORMATS = {"day": "yyyy-mm-dd", "moment": "yyyy-mm-dd hh:mm", "number": "General", "whole": "0"}
BYTE_ORDER_MARK = "\ufeff"
"""Without it some spreadsheet programs take UTF-8 for an older code."""


def csv_text(table: Table, asked: Asked) -> str:
    """A table as CSV: heads with units, ISO 8601 dates, texts in quotes, all else without."""
    lines = [",".join(_in_csv(column.name) for column in table.columns)]
    lines += (
        ",".join("" if cell is None else _in_csv(cell) for cell in row) for row in table.rows(asked)
    )
    return "".join(f"{line}\r\n" for line in lines)


def _in_csv(cell: Cell) -> str:
    match cell:
        case bool():
            return "true" if cell else "false"
        case datetime():
            return cell.isoformat(timespec="minutes")
        case date():
            return cell.isoformat()
        case str():
            # Always in quotes, so that blanks at the ends stay and "" is no missing figure.
            return '"' + safe_cell(cell).replace('"', '""') + '"'
        case _:
            return repr(cell)


def written(path: Path, asked: Asked, names: Sequence[str], invented: bool) -> list[Path]:
    """Writes tables to a workbook, a .zip, one .csv or a folder, by how `path` ends.

    Args:
        path: where to.
        asked: what the tables are made of.
        names: which tables; none: all.
        invented: whether the flock is an invented one, which a workbook says.

    Returns:
        The files written.

    Raises:
        BadInput: there is no such table, or it cannot be written.
    """
    tables = [table_named(name) for name in names] or list(TABLES)
    match path.suffix.lower():
        case ".xlsx":
            write_whole(path, workbook(tables, asked, invented))
            return [path]
        case ".zip":
            write_whole(path, zipped(tables, asked))
            return [path]
        case ".csv":
            if len(tables) != 1:
                raise BadInput(
                    say("One CSV file holds one table: name it with --table, or give a folder.")
                )
            write_whole(path, (BYTE_ORDER_MARK + csv_text(tables[0], asked)).encode())
            return [path]
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BadInput(
            say("{path} cannot be written: {why}.", path=path, why=error.strerror)
        ) from None
    files = []
    for table in tables:
        file = path / f"{table.name}.csv"
        write_whole(file, (BYTE_ORDER_MARK + csv_text(table, asked)).encode())
        files.append(file)
    return files


def zipped(tables: Iterable[Table], asked: Asked) -> bytes:
    """The tables as CSV files in a .zip."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for table in tables:
            packed.writestr(
                f"{table.name}.csv", (BYTE_ORDER_MARK + csv_text(table, asked)).encode()
            )
    return out.getvalue()


def workbook(tables: Iterable[Table], asked: Asked, invented: bool) -> bytes:
    """The tables as one workbook, with a first sheet that tells what stands in each."""
    import xlsxwriter  # type: ignore[import-untyped]

    options = {
        # Rows go to a file as they are written, so that a long journal takes no memory.
        "constant_memory": True,
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
        "default_date_format": _FORMATS["day"],
    }
    with folder_apart() as folder:
        out = io.BytesIO()
        book = xlsxwriter.Workbook(out, {**options, "tmpdir": str(folder)})
        kept = list(tables)
        formats = {takes: book.add_format({"num_format": code}) for takes, code in _FORMATS.items()}
        formats["head"] = book.add_format({"bold": True, "text_wrap": True, "valign": "top"})
        _about(book.add_worksheet(_sheet_name(say("About"), 0)), kept, asked, invented, formats)
        for table in kept:
            _sheets(book, table, asked, formats)
        book.close()
        return out.getvalue()


def _about(
    sheet: Any, tables: Sequence[Table], asked: Asked, invented: bool, formats: dict[str, Any]
) -> None:
    flock = asked.flock
    name = flock.holding.name if flock.holding is not None else ""
    currency = flock.holding.currency if flock.holding is not None else ""
    lines = [
        name or say("A flock of quail"),
        say("As of {day}.", day=wording.full_day(asked.day)),
        *([say("Everything here is invented.")] if invented else []),
        say("Weights are in g or kg, temperatures in °C, floors in m², times those of the flock."),
        say("Money is in {currency}.", currency=currency)
        if currency
        else say("Money is in the currency that you wrote it in."),
        say("A blank cell is not known or does not apply; it is not nothing."),
    ]
    row = 0
    for line in lines:
        sheet.write_string(row, 0, line)
        row += 1
    row += 1
    for column, head in enumerate((say("sheet"), say("what stands in it"), say("name in files"))):
        sheet.write_string(row, column, head, formats["head"])
    for table in tables:
        row += 1
        sheet.write_string(row, 0, _sheet_name(say(table.title), 0))
        sheet.write_string(row, 1, say(table.about))
        sheet.write_string(row, 2, table.name)
    sheet.set_column(0, 0, 26)
    sheet.set_column(1, 1, 60)
    sheet.set_column(2, 2, 20)


def _sheet_name(title: str, part: int) -> str:
    """A name that spreadsheet programs take: 31 characters, none of their signs."""
    plain = "".join(" " if sign in "[]:*?/\\" else sign for sign in title).strip("'")
    ending = f" {part + 1}" if part else ""
    return plain[: _LONGEST_SHEET_NAME - len(ending)] + ending


def _sheets(book: Any, table: Table, asked: Asked, formats: dict[str, Any]) -> None:
    """The table on a sheet, and on others where it is longer than a sheet may be."""
    rows = iter(table.rows(asked))
    part = 0
    while True:
        first = list(islice(rows, _MEASURED))
        if part and not first:
            return
        sheet = book.add_worksheet(_sheet_name(say(table.title), part))
        for number, column in enumerate(table.columns):
            sheet.set_column(number, number, _width(column, number, first))
            sheet.write_string(0, number, column.over, formats["head"])
        row = 0
        for row, cells in enumerate(_first_and(first, rows), 1):
            for number, cell in enumerate(cells):
                if cell is not None:
                    _write(sheet, row, number, cell, table.columns[number], formats)
        sheet.freeze_panes(1, 1)
        sheet.autofilter(0, 0, row, len(table.columns) - 1)
        part += 1


def _first_and(first: Sequence[Row], rest: Iterable[Row]) -> Iterable[Row]:
    yield from first
    yield from islice(rest, _MOST_ROWS - len(first))


def _width(column: Column, number: int, rows: Sequence[Row]) -> int:
    head = max(map(len, column.over.split()), default=0)
    if column.takes == "moment":
        return 17
    longest = max((len(str(row[number])) for row in rows if row[number] is not None), default=0)
    if column.takes == "number":
        longest = min(longest, _NARROWEST)
    return max(_NARROWEST, min(_WIDEST, max(head, longest) + 2))


def _write(
    sheet: Any, row: int, number: int, cell: Cell, column: Column, formats: dict[str, Any]
) -> None:
    match cell:
        case bool():
            sheet.write_boolean(row, number, cell)
        case datetime():
            # Spreadsheets know no zones: what stands is the clock of the flock.
            sheet.write_datetime(row, number, cell.replace(tzinfo=None), formats["moment"])
        case date():
            sheet.write_datetime(row, number, cell, formats["day"])
        case str():
            if len(cell) > _LONGEST_CELL:
                cell = cell[: _LONGEST_CELL - 1] + "…"
            sheet.write_string(row, number, cell)
        case _:
            if float(f"{cell:.16g}") != cell:
                # A workbook keeps 16 figures of a number; the journal is told to the last.
                sheet.write_string(row, number, repr(cell)) if not column.head else (
                    sheet.write_number(row, number, cell, formats[_takes(column)])
                )
                return
            sheet.write_number(row, number, cell, formats[_takes(column)])


def _takes(column: Column) -> str:
    return column.takes if column.takes in _FORMATS else "number"
